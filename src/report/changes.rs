//! What got better or worse from one comparison to the next, as far as the figures can tell: one line for each part.
use super::{
    json::{Report, Verdict, ViewEntry, Warning},
    revision::{Change, RevisionMeasure, compared, measure_line},
};
use crate::{measurement::PartKind, warning::Code};

/// One line for each part that changed, and one for each view where nothing did.
///
/// A figure has changed where it is better or worse beyond the interval of the difference; see [`super::revision`].
pub fn changes(before: &Report, after: &Report) -> Vec<String> {
    let mut lines = Vec::new();
    for view in &after.views {
        let old = before.views.iter().find(|v| v.name == view.name);
        view_lines(old, view, &mut lines);
    }
    let is_gone = |v: &&ViewEntry| after.views.iter().all(|w| w.name != v.name);
    for gone in before.views.iter().filter(is_gone) {
        lines.push(format!("{}: no longer in the job", gone.name));
    }
    lines
}

fn view_lines(old: Option<&ViewEntry>, view: &ViewEntry, lines: &mut Vec<String>) {
    let name = &view.name;
    if let Some(error) = &view.error {
        lines.push(format!("{name}: could not be compared: {}", error.text));
        return;
    }
    let verdict = view.verdict.map_or("no verdict", Verdict::word);
    let Some(old) = old.filter(|old| old.error.is_none()) else {
        lines.push(format!(
            "{name}: {verdict}; nothing earlier to hold it against"
        ));
        return;
    };
    let is_of_image = |w: &&Warning| w.code == Code::ChangedImage.as_str();
    let of_images = view.warnings.iter().filter(is_of_image);
    lines.extend(of_images.map(|w| format!("{name}: {}", w.text)));
    let first = lines.len();
    let all = compared(Some(old), Some(view)).measures;
    let earlier = parts(old);
    for (of, part, verdict) in parts(view) {
        let is_of_part = |m: &&RevisionMeasure| m.of == of && m.name == part;
        let measures: Vec<_> = all.iter().filter(is_of_part).collect();
        let was = earlier.iter().find(|(o, p, _)| (*o, *p) == (of, part));
        lines.extend(part_line(
            name,
            part,
            [was.map(|w| w.2), Some(verdict)],
            &measures,
        ));
    }
    if lines.len() == first {
        lines.push(format!(
            "{name}: unchanged within the intervals ({verdict})"
        ));
    }
}

/// All parts of a view with their verdicts.
fn parts(view: &ViewEntry) -> Vec<(PartKind, &str, Verdict)> {
    let regions = view
        .regions
        .iter()
        .map(|r| (PartKind::Region, r.name.as_str(), r.verdict));
    let spans = view
        .spans
        .iter()
        .map(|s| (PartKind::Span, s.name.as_str(), s.verdict));
    let angles = view
        .angles
        .iter()
        .map(|a| (PartKind::Angle, a.name.as_str(), a.verdict));
    regions.chain(spans).chain(angles).collect()
}

/// `None` where nothing of the part is better or worse.
fn part_line(
    view: &str,
    part: &str,
    [old, new]: [Option<Verdict>; 2],
    measures: &[&RevisionMeasure],
) -> Option<String> {
    let new = new?;
    let Some(old) = old else {
        return Some(format!("{view}: {part}: new, {}", new.signed()));
    };
    let is_told = |m: &&&RevisionMeasure| matches!(m.change, Change::Better | Change::Worse);
    let told = measures.iter().filter(is_told);
    let mut told: Vec<String> = told
        .map(|m| format!("{}: {}", m.change.word(), measure_line(m)))
        .collect();
    if told.is_empty() {
        return None;
    }
    if old != new {
        told.push(format!("{} -> {}", old.signed(), new.signed()));
    }
    Some(format!("{view}: {part}: {}", told.join("; ")))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{measurement::MeasureKind, report::json::Figure};

    fn measure(before: f64, after: f64, change: Change) -> RevisionMeasure {
        let figure = |value| Figure {
            value,
            low: value - 0.5,
            high: value + 0.5,
        };
        RevisionMeasure {
            of: PartKind::Span,
            name: "beam".to_owned(),
            measure: MeasureKind::Length,
            unit: "%".to_owned(),
            before: Some(figure(before)),
            after: Some(figure(after)),
            difference: None,
            less_off: None,
            tolerance: None,
            change,
        }
    }

    #[test]
    fn a_verdict_is_told_with_its_figures() {
        let (out, within) = (Some(Verdict::Out), Some(Verdict::Within));
        let better = measure(5.0, 0.2, Change::Better);
        assert_eq!(
            part_line("side", "beam", [out, within], &[&better]).as_deref(),
            Some("side: beam: better: length +5.0 ±0.5 -> +0.2 ±0.5 %; out ✕ -> within ✓")
        );
        // A verdict may tip over where the figures hardly move: that is no news.
        let same = measure(5.0, 5.0, Change::Same);
        assert_eq!(part_line("side", "beam", [out, within], &[&same]), None);
        assert_eq!(
            part_line("side", "tank", [None, within], &[]).as_deref(),
            Some("side: tank: new, within ✓")
        );
    }
}
