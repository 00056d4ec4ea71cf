//! Figures of a revision in words.
use super::entry::{Change, RevisionEntry, RevisionMeasure, RevisionViewEntry};
use crate::{
    measurement::{MeasureKind, PartKind},
    report::wording::{Sign, clean, plus_minus, with_unit},
};

/// The word of a figure.
pub(in crate::report) fn measure_word(measure: MeasureKind) -> &'static str {
    match measure {
        MeasureKind::Width => "width",
        MeasureKind::Height => "height",
        MeasureKind::Rotation => "rotation",
        MeasureKind::OffsetX => "offset x",
        MeasureKind::OffsetY => "offset y",
        MeasureKind::Depth => "depth",
        MeasureKind::TurnX => "turn about x",
        MeasureKind::TurnY => "turn about y",
        MeasureKind::TurnZ => "turn about z",
        MeasureKind::AlongX => "offset along x",
        MeasureKind::AlongY => "offset along y",
        MeasureKind::AlongZ => "offset along z",
        MeasureKind::Length => "length",
        MeasureKind::Angle => "angle",
    }
}

/// The word of what a figure is of.
pub(in crate::report) fn part_word(of: PartKind) -> &'static str {
    match of {
        PartKind::Region => "region",
        PartKind::Span => "span",
        PartKind::Angle => "angle",
        PartKind::Part => "part",
    }
}

/// "width +4.0 ±0.6 -> +0.5 ±0.8 %".
pub(in crate::report) fn measure_line(m: &RevisionMeasure) -> String {
    let shown = |f: &Option<_>| {
        f.as_ref()
            .map_or("?".to_owned(), |f| plus_minus(f, Sign::Always))
    };
    let (word, before, after) = (measure_word(m.measure), shown(&m.before), shown(&m.after));
    with_unit(&format!("{word} {before} -> {after}"), &m.unit)
}

/// "side: lantern width".
pub(in crate::report) fn full_name(view: &RevisionViewEntry, m: &RevisionMeasure) -> String {
    let (view, name) = (clean(&view.name), clean(&m.name));
    format!("{view}: {name} {}", measure_word(m.measure))
}

/// All figures that became this, with their views.
pub(in crate::report) fn those(
    revision: &RevisionEntry,
    change: Change,
) -> impl Iterator<Item = (&RevisionViewEntry, &RevisionMeasure)> + Clone {
    revision.views.iter().flat_map(move |view| {
        let measures = view.measures.iter().filter(move |m| m.change == change);
        measures.map(move |m| (view, m))
    })
}

/// What a reader must know of figures that are told worse; `None` where none is.
pub(in crate::report) fn by_chance(revision: &RevisionEntry) -> Option<&'static str> {
    (revision.counts.worse > 0).then_some(
        "Of figures that did not change one in forty is told worse by chance: look whether the part was meant to change.",
    )
}

/// A revision in words, for a sheet.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RevisionTold {
    /// Which results it is held against, and how many figures became what.
    pub head: String,
    /// A line for each figure that is worse or better, one for all that became the same other, and what else is to be known.
    pub lines: Vec<String>,
    /// Name of each part that has a figure that is worse or better, and its sign.
    pub changed: Vec<(String, char)>,
}

/// What became of one view, or of several, in words.
pub fn revision_told(revision: &RevisionEntry) -> RevisionTold {
    let mut told = RevisionTold {
        head: format!(
            "Against the earlier results of {}: {}",
            clean(&revision.job_file),
            revision.text
        ),
        lines: Vec::new(),
        changed: Vec::new(),
    };
    for change in [Change::Worse, Change::Better] {
        for (_, m) in those(revision, change) {
            let (word, sign, name) = (change.word(), change.sign(), clean(&m.name));
            told.lines
                .push(format!("{word} {sign} {name}: {}", measure_line(m)));
            let changed = (m.name.clone(), sign);
            if !told.changed.contains(&changed) {
                told.changed.push(changed);
            }
        }
    }
    told.lines.extend(by_chance(revision).map(str::to_owned));
    for change in [Change::CannotTell, Change::New, Change::Gone] {
        let names = those(revision, change);
        let names = names.map(|(_, m)| format!("{} {}", clean(&m.name), measure_word(m.measure)));
        let names: Vec<String> = names.collect();
        if !names.is_empty() {
            let (word, sign) = (change.word(), change.sign());
            told.lines
                .push(format!("{word} {sign} {}", names.join("; ")));
        }
    }
    let independent = revision.views.iter().filter_map(|v| v.independent.as_ref());
    let independent =
        independent.map(|why| format!("Both are taken for independent, so less is told: {why}"));
    told.lines.extend(independent);
    told
}
