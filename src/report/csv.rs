//! One row a figure, for spreadsheets: comma separated values after RFC 4180 (Shafranovich 2005), UTF-8, CRLF.
use super::{json::*, wording::kind_word};
use crate::{measurement::verdict_of, printable::is_command, statistics::Measured};

/// The columns.
const HEAD: [&str; 11] = [
    "view",
    "kind",
    "name",
    "measure",
    "unit",
    "value",
    "low",
    "high",
    "tolerance",
    "verdict",
    "verdict of the measure",
];

/// All figures of a report, one a row; a figure that is absent has no row.
///
/// The columns are view, kind (region, span, angle, landmark, known length, edge overlap, registration, leave alone, or
/// view for one that could not be compared), name, measure, unit, value, low and high (95 %), tolerance where one holds, the verdict on
/// the whole region, span or angle, and that on the row's own figure, where its interval is judged by a tolerance. Text that a spreadsheet would run as a formula
/// begins with an apostrophe.
pub fn to_csv(report: &Report) -> String {
    let mut rows = Rows(format!("{}\r\n", HEAD.join(",")));
    for view in &report.views {
        view_rows(&mut rows, view, report.job.smallest_visible_mm);
    }
    rows.0
}

/// The errors of the parts in space, one a row, in the columns of [`to_csv`]; the kind is part, and each row has the verdict of
/// the whole part. What cannot be told has a row without numbers.
pub fn space_to_csv(space: &SpaceEntry) -> String {
    let mut rows = Rows(format!("{}\r\n", HEAD.join(",")));
    for part in &space.parts {
        let views = part.views.join(" and ");
        let item = Item {
            view: &views,
            kind: "part",
            name: &part.name,
            verdict: Some(part.verdict),
        };
        for (measure, unit, figure, tolerance) in part.rows() {
            let ends = figure.map(|f| [f.value, f.low, f.high]);
            let [value, low, high] = [0, 1, 2].map(|k| ends.map(|ends| ends[k]));
            rows.add(&item, measure, unit, [value, low, high, Some(tolerance)]);
        }
        let full_size = &part.offset_full_size_mm;
        for (measure, figure) in [
            ("offset along x", full_size.x),
            ("offset along y", full_size.y),
            ("offset along z", full_size.z),
        ] {
            rows.figure(&item, measure, "mm on the full-size object", figure, None);
        }
    }
    rows.0
}

fn view_rows(rows: &mut Rows, view: &ViewEntry, smallest_visible_mm: f64) {
    if let Some(error) = &view.error {
        rows.add(
            &Item::of(view, "view", "", None),
            &format!("not compared: {}", error.code),
            "",
            [None; 4],
        );
    }
    for region in &view.regions {
        region_rows(rows, view, region);
    }
    view.spans.iter().for_each(|s| span_rows(rows, view, s));
    view.angles.iter().for_each(|a| angle_rows(rows, view, a));
    if let Some(edges) = &view.edge_overlap {
        edge_rows(rows, &Item::of(view, "edge overlap", "", None), edges, None);
    }
    if let Some(registration) = &view.registration {
        registration_rows(rows, view, registration);
    }
    scale_rows(rows, view);
    silhouette_rows(rows, view);
    earlier_issue_rows(rows, view);
    symmetry_rows(rows, view);
    if let Some(sizes) = &view.sizes {
        size_rows(rows, view, sizes);
    }
    for small in &view.leave_alone {
        rows.figure(
            &Item::of(view, "leave alone", &small.about, Some(small.verdict)),
            &small.measure,
            "mm on the model",
            small.error_model_mm,
            Some(smallest_visible_mm),
        );
    }
}

/// What a row is about.
struct Item<'a> {
    view: &'a str,
    kind: &'a str,
    name: &'a str,
    verdict: Option<Verdict>,
}

impl<'a> Item<'a> {
    fn of(view: &'a ViewEntry, kind: &'a str, name: &'a str, verdict: Option<Verdict>) -> Self {
        Self {
            view: &view.name,
            kind,
            name,
            verdict,
        }
    }
}

/// The text so far.
struct Rows(String);

impl Rows {
    /// One row; the numbers are value, low, high, tolerance.
    fn add(&mut self, item: &Item<'_>, measure: &str, unit: &str, numbers: [Option<f64>; 4]) {
        let texts = [item.view, item.kind, item.name, measure, unit].map(cell);
        let own = own_verdict(numbers).map_or("", Verdict::word);
        let numbers = numbers.map(|n| n.map_or(String::new(), number));
        let verdict = item.verdict.map_or("", Verdict::word);
        self.0.push_str(&format!(
            "{},{},{verdict},{own}\r\n",
            texts.join(","),
            numbers.join(",")
        ));
    }

    fn figure(
        &mut self,
        item: &Item<'_>,
        measure: &str,
        unit: &str,
        figure: Option<Figure>,
        tolerance: Option<f64>,
    ) {
        if let Some(f) = figure {
            self.add(
                item,
                measure,
                unit,
                [Some(f.value), Some(f.low), Some(f.high), tolerance],
            );
        }
    }

    fn plain(&mut self, item: &Item<'_>, measure: &str, unit: &str, value: Option<f64>) {
        if value.is_some() {
            self.add(item, measure, unit, [value, None, None, None]);
        }
    }
}

/// The verdict on a figure with an interval and a tolerance.
fn own_verdict([value, low, high, tolerance]: [Option<f64>; 4]) -> Option<Verdict> {
    let figure = Measured::new(value?, low?, high?)?;
    Some(verdict_of(figure, tolerance?))
}

/// Nine significant digits; an exponent only where the plain number would be very long.
pub(super) fn number(x: f64) -> String {
    let x = nine_digits(x);
    if x != 0.0 && !(1e-9..1e15).contains(&x.abs()) {
        return format!("{x:e}");
    }
    format!("{x}")
}

/// What spreadsheets take for the begin of a formula: also in full width, and in the small forms.
const FORMULA_SIGNS: [char; 12] = [
    '=', '+', '-', '@', '＝', '＋', '－', '＠', '﹦', '﹢', '﹣', '﹫',
];

/// Whether a character before a formula sign may be dropped by a spreadsheet: blanks, quotes, and what is not seen.
fn is_dropped(c: char) -> bool {
    c.is_whitespace()
        || is_command(c)
        || matches!(c, '"' | '\u{34F}' | '\u{115F}' | '\u{1160}' | '\u{17B4}' | '\u{17B5}' | '\u{180B}'..='\u{180F}'
            | '\u{200C}' | '\u{200D}' | '\u{2800}' | '\u{3164}' | '\u{FE00}'..='\u{FE0F}' | '\u{FFA0}'
            | '\u{E0100}'..='\u{E01EF}')
}

/// The text with an apostrophe where a spreadsheet would begin a formula. Some separate cells by semicolons or tabs:
/// what follows one begins a cell too.
fn disarmed(text: &str) -> String {
    let begins_cell = |part: &str| {
        part.trim_start_matches(is_dropped)
            .starts_with(FORMULA_SIGNS)
    };
    let mut safe = String::with_capacity(text.len());
    if text.starts_with(['\t', '\r']) {
        safe.push('\'');
    }
    for part in text.split_inclusive([';', '\t', '\r', '\n']) {
        if begins_cell(part) {
            safe.push('\'');
        }
        safe.push_str(part);
    }
    safe
}

/// A text cell: disarmed, and quoted where RFC 4180 asks for it.
pub(super) fn cell(text: &str) -> String {
    let text = disarmed(text);
    if text.contains([',', '"', '\r', '\n']) {
        return format!("\"{}\"", text.replace('"', "\"\""));
    }
    text
}

fn region_rows(rows: &mut Rows, view: &ViewEntry, r: &RegionEntry) {
    let item = Item::of(view, "region", &r.name, Some(r.verdict));
    let t = &r.tolerance;
    let size = Some(t.proportion_percent);
    rows.figure(&item, "width error", "%", r.width_percent, size);
    rows.figure(&item, "height error", "%", r.height_percent, size);
    rows.figure(&item, "rotation", "deg", r.rotation_deg, Some(t.angle_deg));
    for (measure, unit, figure) in [
        ("absolute width error", "%", r.absolute_width_percent),
        ("absolute height error", "%", r.absolute_height_percent),
        (
            "absolute width error",
            "mm on the model",
            r.absolute_width_model_mm,
        ),
        (
            "absolute height error",
            "mm on the model",
            r.absolute_height_model_mm,
        ),
    ] {
        rows.figure(&item, measure, unit, figure, None);
    }
    pair_rows(rows, &item, "px", &r.offset_px, None);
    pair_rows(
        rows,
        &item,
        "mm on the model",
        &r.offset_model_mm,
        Some(t.offset_mm),
    );
    pair_rows(rows, &item, "mm full size", &r.offset_full_size_mm, None);
    if let Some(edges) = &r.edge_overlap {
        edge_rows(rows, &item, edges, Some(t.edge_overlap));
    }
}

fn pair_rows(rows: &mut Rows, item: &Item<'_>, unit: &str, pair: &Pair, tolerance: Option<f64>) {
    rows.figure(item, "offset x", unit, pair.x, tolerance);
    rows.figure(item, "offset y", unit, pair.y, tolerance);
}

fn span_rows(rows: &mut Rows, view: &ViewEntry, s: &SpanEntry) {
    let item = Item::of(view, "span", &s.name, Some(s.verdict));
    let tolerance = Some(s.tolerance.proportion_percent);
    rows.figure(&item, "proportion error", "%", s.error_percent, tolerance);
    rows.figure(&item, "error", "mm on the model", s.error_model_mm, None);
    rows.figure(&item, "error", "mm full size", s.error_full_size_mm, None);
    rows.figure(&item, "length in the render", "px", s.render_px, None);
    rows.figure(
        &item,
        "length in the registered reference",
        "px",
        s.reference_px,
        None,
    );
    rows.figure(
        &item,
        "length of the model",
        "mm on the model",
        s.model_mm,
        None,
    );
    rows.figure(
        &item,
        "length of the subject",
        "mm full size",
        s.full_size_mm,
        None,
    );
    rows.figure(&item, "absolute error", "%", s.absolute_percent, None);
    rows.figure(
        &item,
        "absolute error",
        "mm on the model",
        s.absolute_model_mm,
        None,
    );
    rows.figure(
        &item,
        "absolute error",
        "mm full size",
        s.absolute_full_size_mm,
        None,
    );
}

fn angle_rows(rows: &mut Rows, view: &ViewEntry, a: &AngleEntry) {
    let item = Item::of(view, "angle", &a.name, Some(a.verdict));
    rows.figure(
        &item,
        "error",
        "deg",
        a.error_deg,
        Some(a.tolerance.angle_deg),
    );
    rows.figure(&item, "in the render", "deg", a.render_deg, None);
    rows.figure(
        &item,
        "in the registered reference",
        "deg",
        a.reference_deg,
        None,
    );
}

fn edge_rows(rows: &mut Rows, item: &Item<'_>, e: &EdgeOverlapEntry, least: Option<f64>) {
    if e.above_chance.is_some() {
        rows.add(
            item,
            "edge overlap above chance",
            "",
            [e.above_chance, None, None, least],
        );
    }
    rows.plain(item, "edge overlap", "", e.score);
    rows.plain(item, "edge overlap by chance", "", e.chance);
    rows.plain(item, "edge precision", "", e.precision);
    rows.plain(item, "edge recall", "", e.recall);
    rows.plain(item, "edge tolerance", "px", e.tolerance_px);
    rows.plain(item, "mean edge distance", "px", e.mean_distance_px);
    rows.plain(
        item,
        "95th percentile of edge distance",
        "px",
        e.p95_distance_px,
    );
}

fn registration_rows(rows: &mut Rows, view: &ViewEntry, r: &RegistrationEntry) {
    let item = Item::of(view, "registration", kind_word(r.kind), None);
    rows.figure(&item, "scale", "px per px", r.scale, None);
    rows.figure(&item, "rotation", "deg", r.rotation_deg, None);
    rows.plain(&item, "rms of the datum residuals", "px", r.rms_px);
    rows.plain(&item, "sigma0", "", r.sigma0);
    rows.plain(
        &item,
        "degrees of freedom",
        "",
        Some(r.degrees_of_freedom as f64),
    );
    rows.plain(
        &item,
        "mark sigma in the render",
        "px",
        r.render_mark_sigma_px,
    );
    rows.plain(
        &item,
        "mark sigma in the reference",
        "px",
        r.reference_mark_sigma_px,
    );
    for landmark in &r.landmarks {
        let item = Item::of(view, "landmark", &landmark.name, None);
        pair_rows(rows, &item, "px", &landmark.offset_px, None);
        pair_rows(rows, &item, "mm on the model", &landmark.offset_mm, None);
    }
}

fn scale_rows(rows: &mut Rows, view: &ViewEntry) {
    let Some(scales) = &view.scales else { return };
    let item = Item::of(view, "registration", "scales", None);
    rows.figure(
        &item,
        "scale of the render",
        "px per mm on the model",
        scales.render_px_per_model_mm,
        None,
    );
    rows.figure(
        &item,
        "scale of the registered reference",
        "px per mm full size",
        scales.registered_px_per_full_size_mm,
        None,
    );
    rows.figure(
        &item,
        "size of the whole model, error",
        "%",
        scales.model_size_percent,
        None,
    );
    for (image, fit) in [
        ("render", &scales.render_dimensions),
        ("reference", &scales.reference_dimensions),
    ] {
        if let Some(fit) = fit {
            dimension_rows(rows, view, image, fit);
        }
    }
    for known in &scales.known {
        known_rows(rows, view, known);
    }
}

fn known_rows(rows: &mut Rows, view: &ViewEntry, known: &KnownEntry) {
    let name = format!("{} to {}", known.from, known.to);
    let item = Item::of(view, "known length", &name, None);
    rows.plain(&item, "disagreement", "%", known.disagreement_percent);
    rows.plain(&item, "test statistic", "", known.test_statistic);
    rows.figure(
        &item,
        "length that the others ask for",
        "mm full size",
        known.others_ask_for_full_size_mm,
        None,
    );
}

fn silhouette_rows(rows: &mut Rows, view: &ViewEntry) {
    let Some(s) = &view.silhouette else { return };
    let item = Item::of(view, "silhouette", "", None);
    rows.plain(&item, "overlap", "", s.overlap);
    for (measure, px, mm) in [
        ("mean distance, model beyond", s.mean_px, s.mean_model_mm),
        ("95th percentile of distance", s.p95_px, s.p95_model_mm),
        ("largest distance", s.max_px, s.max_model_mm),
    ] {
        rows.plain(&item, measure, "px", px);
        rows.plain(&item, measure, "mm on the model", mm);
    }
}

fn earlier_issue_rows(rows: &mut Rows, view: &ViewEntry) {
    let Some(found) = &view.earlier_issue else {
        return;
    };
    let item = Item::of(view, "earlier issue", "", None);
    rows.plain(&item, "structural similarity", "", found.likeness);
    for part in &found.parts {
        let item = Item::of(view, "earlier issue", &part.name, None);
        rows.plain(&item, "structural similarity", "", part.likeness);
    }
}

fn symmetry_rows(rows: &mut Rows, view: &ViewEntry) {
    let Some(symmetry) = &view.symmetry else {
        return;
    };
    let item = Item::of(view, "registration", "symmetry of the reference", None);
    let test = symmetry.test;
    rows.add(
        &item,
        "test statistic",
        "",
        [test.statistic, None, None, test.critical_value],
    );
    rows.figure(&item, "axis", "deg", symmetry.axis_deg, None);
    rows.figure(&item, "askew", "deg", symmetry.skew_deg, None);
}

fn dimension_rows(rows: &mut Rows, view: &ViewEntry, image: &str, fit: &DimensionsEntry) {
    let name = format!("known lengths of the {image}");
    let item = Item::of(view, "registration", &name, None);
    rows.figure(&item, "scale", "px per mm", fit.px_per_mm, None);
    rows.figure(&item, "angle", "deg", fit.angle_deg, None);
    rows.figure(
        &item,
        "stretch of x against y",
        "%",
        fit.stretch_percent,
        None,
    );
    rows.figure(&item, "out of square", "deg", fit.out_of_square_deg, None);
}

/// How both images differ in size and angle; the sentence stands where other rows have their measure.
fn size_rows(rows: &mut Rows, view: &ViewEntry, sizes: &SizesEntry) {
    let item = Item::of(view, "registration", "sizes", None);
    rows.figure(&item, "reference larger", "%", sizes.larger_percent, None);
    rows.figure(&item, "reference turned", "deg", sizes.turned_deg, None);
    rows.add(&item, &sizes.text, "", [None; 4]);
    for span in &sizes.spans {
        let item = Item::of(view, "span", &span.name, None);
        for (measure, unit, figure) in [
            ("by the render", "mm on the model", span.was_model_mm),
            ("by the reference", "mm on the model", span.becomes_model_mm),
            ("by the render", "mm full size", span.was_full_size_mm),
            (
                "by the reference",
                "mm full size",
                span.becomes_full_size_mm,
            ),
        ] {
            rows.figure(&item, measure, unit, figure, None);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_cells_are_quoted_and_disarmed() {
        assert_eq!(cell("tank, front"), "\"tank, front\"");
        assert_eq!(cell("the \"lip\""), "\"the \"\"lip\"\"\"");
        assert_eq!(cell("two\nlines"), "\"two\nlines\"");
        assert_eq!(cell("=1+1"), "'=1+1");
        assert_eq!(cell("  @a"), "'  @a");
        assert_eq!(cell("-x,y"), "\"'-x,y\"");
        assert_eq!(cell("tank-front"), "tank-front");
        assert_eq!(cell("tank; lantern"), "tank; lantern");
    }

    #[test]
    fn formulas_are_disarmed_wherever_a_cell_may_begin() {
        assert_eq!(cell("a;=1+1"), "a;'=1+1");
        assert_eq!(cell("a; \"=1+1\""), "\"a;' \"\"=1+1\"\"\"");
        assert_eq!(cell("a\t@b"), "a\t'@b");
        assert_eq!(cell("a\r\n+1"), "\"a\r\n'+1\"");
        assert_eq!(cell("\t=1"), "'\t'=1");
        for hidden in [
            "\u{200b}",
            "\u{feff}",
            "\u{202e}",
            "\u{2066}",
            "\u{200d}",
            "\u{ad}",
            "\u{34f}",
            "\u{fe0f}",
            "\u{3164}",
            "\u{a0}",
            "\u{3000}",
            "\u{1}",
            " \u{2060} ",
        ] {
            assert_eq!(cell(&format!("{hidden}=1")), format!("'{hidden}=1"));
        }
        for sign in "＝＋－＠﹦﹢﹣﹫".chars() {
            assert_eq!(cell(&format!("{sign}1")), format!("'{sign}1"));
            assert_eq!(cell(&format!("a;{sign}1")), format!("a;'{sign}1"));
        }
    }

    #[test]
    fn numbers_are_never_cell_text() {
        assert_eq!(number(-0.25), "-0.25");
        assert_eq!(number(1e300), "1e300");
    }
}
