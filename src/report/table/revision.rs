//! A revision as lines of a terminal.
use super::grid::Page;
use crate::report::{
    revision::{Change, RevisionEntry, by_chance, full_name, measure_line, those},
    wording::clean,
};

/// The verdict first, then what is worse and what is better with its figures, then the names of what is not told.
pub(super) fn revision_lines(page: &mut Page, revision: &RevisionEntry) {
    let job = clean(&revision.job_file);
    let head = format!("against the earlier results of {job}: {}", revision.text);
    page.wrapped("", &head, "  ");
    for change in [Change::Worse, Change::Better] {
        for (view, m) in those(revision, change) {
            let (word, sign) = (change.word(), change.sign());
            let text = format!(
                "{}: {}: {}",
                clean(&view.name),
                clean(&m.name),
                measure_line(m)
            );
            page.wrapped(&format!("  {word} {sign}  "), &text, "      ");
        }
    }
    if let Some(note) = by_chance(revision) {
        page.wrapped("  ", note, "  ");
    }
    for change in [Change::CannotTell, Change::New, Change::Gone] {
        let names: Vec<String> = those(revision, change)
            .map(|(view, m)| full_name(view, m))
            .collect();
        if !names.is_empty() {
            let (word, sign) = (change.word(), change.sign());
            page.wrapped(&format!("  {word} {sign}  "), &names.join("; "), "      ");
        }
    }
    for view in &revision.views {
        if let Some(why) = &view.independent {
            let text = format!(
                "{}: both are taken for independent, so less is told: {why}",
                clean(&view.name)
            );
            page.wrapped("  ", &text, "    ");
        }
    }
}
