//! What the page in front of the sheets of several views says: what to change in all of them, and what to know of all of them.
use super::{
    json::{ChangeState, Report},
    wording::{change_notes, changes_in, clean, distrusted_views, no_changes, undecided_by_part},
};

/// A heading and what stands below it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FrontSection {
    /// The heading.
    pub heading: String,
    /// Below it.
    pub entries: Vec<String>,
    /// Whether they are numbered: the worst first.
    pub is_ranked: bool,
}

/// All sections that have something to say, what to change first.
pub fn front_page(report: &Report) -> Vec<FrontSection> {
    let section = |heading: &str, entries: Vec<String>, is_ranked| FrontSection {
        heading: heading.to_owned(),
        entries,
        is_ranked,
    };
    let changes: Vec<String> = changes_in(report, ChangeState::Change)
        .into_iter()
        .map(|c| format!("{} {}", clean(&c.text), clean(&change_notes(c, report))))
        .collect();
    let heading = "What to change in CAD, worst first";
    let mut sections = vec![match changes.is_empty() {
        true => section(heading, vec![no_changes(report).to_owned()], false),
        false => section(heading, changes, true),
    }];
    for (view, why) in distrusted_views(report) {
        let heading = format!("Not to be trusted yet, {}: {why}", clean(&view.name));
        let corrections = view.corrections.iter().map(|c| clean(&c.text));
        sections.push(section(&heading, corrections.collect(), true));
    }
    for view in &report.views {
        if let Some(error) = &view.error {
            let heading = format!("{}: not compared", clean(&view.name));
            sections.push(section(&heading, vec![clean(&error.text)], false));
        }
    }
    let warnings = report.warnings.iter().map(|w| clean(&w.text));
    sections.push(section("To know of all views", warnings.collect(), false));
    let contradicted = changes_in(report, ChangeState::Contradicted);
    let contradicted = contradicted.into_iter().map(|c| clean(&c.text));
    sections.push(section(
        "Views contradict each other",
        contradicted.collect(),
        false,
    ));
    sections.push(section(
        "Undecided: better marks or pictures would tell",
        undecided_by_part(report),
        false,
    ));
    sections.retain(|section| !section.entries.is_empty());
    sections
}
