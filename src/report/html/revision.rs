//! The section of what became of the model since earlier results.
use super::tables::revision_table;
use crate::report::{
    revision::{Change, RevisionEntry, by_chance, those},
    wording::*,
};
use maud::{Markup, html};

/// The verdict, then the figures: what is as far off as before is folded away.
pub(super) fn revision_section(revision: &RevisionEntry) -> Markup {
    let of = |change: Change| those(revision, change).collect::<Vec<_>>();
    let told = [
        (Change::Worse, "Worse than before"),
        (Change::Better, "Better than before"),
        (Change::CannotTell, "Cannot tell"),
        (Change::New, "Not measured before"),
        (Change::Gone, "Not measured any more"),
    ];
    html! {
        section id="revision" {
            h2 { "Against the earlier results of " (clean(&revision.job_file)) }
            "\n"
            p { strong { (revision.text) } }
            p.soft {
                "A figure is better or worse where it is less or more off beyond the 95 % interval of the difference, "
                "same where that interval lies within the tolerance."
            }
            @for view in revision.views.iter().filter(|view| view.independent.is_some()) {
                p.soft {
                    (clean(&view.name)) ": both are taken for independent, so less is told: "
                    (view.independent.as_deref().map(clean).unwrap_or_default())
                }
            }
            @for (change, title) in told { (revision_table(&format!("{title} {}", change.sign()), &of(change))) }
            @if let Some(note) = by_chance(revision) { p.soft { (note) } }
            @let same = of(Change::Same);
            @if !same.is_empty() {
                details {
                    summary { "As far off as before (" (same.len()) ")" }
                    (revision_table("Same =", &same))
                }
            }
        }
        "\n"
    }
}
