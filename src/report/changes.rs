//! What got better or worse from one comparison to the next, as far as the figures can tell.
use super::{
    json::{AngleEntry, Figure, RegionEntry, Report, SpanEntry, Verdict, ViewEntry, Warning},
    wording::{Sign, plus_minus},
};
use crate::warning::Code;

/// One line for each part that changed, and one for each view where nothing did.
///
/// A figure has changed where the difference of its two values is larger than both 95 % intervals together explain
/// (root of the sum of their squared half widths, as for independent errors). The same reference marks go into both, so
/// that the true uncertainty of the difference is smaller, if anything: a change that is told is one.
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
    for region in &view.regions {
        let earlier = old.regions.iter().find(|r| r.name == region.name);
        let figures = earlier.map(|r| [region_figures(r), region_figures(region)]);
        part_line(
            name,
            &region.name,
            earlier.map(|r| r.verdict),
            region.verdict,
            figures,
            lines,
        );
    }
    for span in &view.spans {
        let earlier = old.spans.iter().find(|s| s.name == span.name);
        let figures = earlier.map(|s| [span_figures(s), span_figures(span)]);
        part_line(
            name,
            &span.name,
            earlier.map(|s| s.verdict),
            span.verdict,
            figures,
            lines,
        );
    }
    for angle in &view.angles {
        let earlier = old.angles.iter().find(|a| a.name == angle.name);
        let figures = earlier.map(|a| [angle_figures(a), angle_figures(angle)]);
        part_line(
            name,
            &angle.name,
            earlier.map(|a| a.verdict),
            angle.verdict,
            figures,
            lines,
        );
    }
    if lines.len() == first {
        lines.push(format!(
            "{name}: unchanged within the intervals ({verdict})"
        ));
    }
}

/// A figure of a part, in the unit that both comparisons have.
type Named = (&'static str, &'static str, Option<Figure>);

fn region_figures(region: &RegionEntry) -> Vec<Named> {
    let [mm, px] = [region.offset_model_mm, region.offset_px];
    vec![
        ("width", "%", region.width_percent),
        ("height", "%", region.height_percent),
        ("rotation", "°", region.rotation_deg),
        ("offset x", "mm", mm.x),
        ("offset y", "mm", mm.y),
        // Only where no millimetres are known: the same offset is not told twice.
        ("offset x", "px", px.x.filter(|_| mm.x.is_none())),
        ("offset y", "px", px.y.filter(|_| mm.y.is_none())),
    ]
}

fn span_figures(span: &SpanEntry) -> Vec<Named> {
    vec![("length", "%", span.error_percent)]
}

fn angle_figures(angle: &AngleEntry) -> Vec<Named> {
    vec![("angle", "°", angle.error_deg)]
}

fn part_line(
    view: &str,
    part: &str,
    old_verdict: Option<Verdict>,
    verdict: Verdict,
    figures: Option<[Vec<Named>; 2]>,
    lines: &mut Vec<String>,
) {
    let (Some(old_verdict), Some([before, after])) = (old_verdict, figures) else {
        lines.push(format!("{view}: {part}: new, {}", verdict.signed()));
        return;
    };
    let mut told: Vec<String> = before
        .iter()
        .zip(&after)
        .filter_map(|((name, unit, old), (.., new))| figure_change(name, unit, (*old)?, (*new)?))
        .collect();
    if told.is_empty() {
        return;
    }
    if old_verdict != verdict {
        told.push(format!("{} -> {}", old_verdict.signed(), verdict.signed()));
    }
    lines.push(format!("{view}: {part}: {}", told.join("; ")));
}

/// `None` where the intervals explain the difference.
fn figure_change(name: &str, unit: &str, old: Figure, new: Figure) -> Option<String> {
    let half = |f: Figure| (f.high - f.low) / 2.0;
    if (new.value - old.value).abs() <= half(old).hypot(half(new)) {
        return None;
    }
    let direction = if new.value.abs() < old.value.abs() {
        "better"
    } else {
        "worse"
    };
    let shown = |f: Figure| plus_minus(&f, Sign::Always);
    Some(format!(
        "{direction}: {name} {} -> {} {unit}",
        shown(old),
        shown(new)
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn figure(value: f64, half: f64) -> Figure {
        Figure {
            value,
            low: value - half,
            high: value + half,
        }
    }

    #[test]
    fn a_figure_changes_beyond_both_intervals_only() {
        let told = |old, new| figure_change("width", "%", old, new);
        // The root of 0.6² + 0.8² is 1.
        assert_eq!(told(figure(4.0, 0.6), figure(3.1, 0.8)), None);
        assert_eq!(
            told(figure(4.0, 0.6), figure(0.5, 0.8)).as_deref(),
            Some("better: width +4.0 ±0.6 -> +0.5 ±0.8 %")
        );
        let worse = told(figure(0.5, 0.1), figure(-2.0, 0.1)).expect("told");
        assert!(worse.starts_with("worse: width +0.5"), "{worse}");
    }

    #[test]
    fn a_verdict_is_told_with_its_figures() {
        let mut lines = Vec::new();
        let old = vec![("length", "%", Some(figure(5.0, 0.5)))];
        let new = vec![("length", "%", Some(figure(0.2, 0.5)))];
        let figures = Some([old.clone(), new]);
        part_line(
            "side",
            "beam",
            Some(Verdict::Out),
            Verdict::Within,
            figures,
            &mut lines,
        );
        // A verdict may tip over where the figures hardly move: that is no news.
        let same = Some([old.clone(), old]);
        part_line(
            "side",
            "beam",
            Some(Verdict::Out),
            Verdict::Undecided,
            same,
            &mut lines,
        );
        part_line("side", "tank", None, Verdict::Within, None, &mut lines);
        assert_eq!(
            lines,
            [
                "side: beam: better: length +5.0 ±0.5 -> +0.2 ±0.5 %; out ✕ -> within ✓",
                "side: tank: new, within ✓"
            ]
        );
    }
}
