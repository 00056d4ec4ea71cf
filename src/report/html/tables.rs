//! The tables of the page.
use super::badge::badge;
use crate::report::{
    json::*,
    revision::{RevisionMeasure, RevisionViewEntry, measure_word},
    trend::Trend,
    wording::*,
};
use maud::{Markup, html};

/// One row of a table.
struct Row {
    /// Its head, then its cells.
    cells: Vec<Cell>,
    /// What is said below it, over the whole width.
    below: Option<String>,
}

impl From<Vec<Cell>> for Row {
    fn from(cells: Vec<Cell>) -> Self {
        Self { cells, below: None }
    }
}

enum Cell {
    /// What the row is about.
    Head(Markup),
    Words(Markup),
    /// `None` where the figure is absent.
    Figure(Option<Markup>),
}

impl Cell {
    fn is_absent(&self) -> bool {
        matches!(self, Self::Figure(None))
    }

    fn markup(&self) -> Markup {
        html! {
            @match self {
                Self::Head(head) => th scope="row" { (head) },
                Self::Words(words) => td { (words) },
                Self::Figure(Some(figure)) => td.number { (figure) },
                Self::Figure(None) => td.number { (ABSENT) },
            }
        }
    }
}

/// What stands where a figure is absent.
const ABSENT: &str = "-";

/// A table whose rows begin with a head; empty where it has no rows. A column without a single figure is left out.
fn html_table(title: &str, heads: &[&str], rows: &[Row]) -> Markup {
    if rows.is_empty() {
        return Markup::default();
    }
    let kept: Vec<usize> = (0..heads.len())
        .filter(|&i| rows.iter().any(|row| !row.cells[i].is_absent()))
        .collect();
    html! {
        h3 { (title) }
        "\n"
        div.scroll role="region" aria-label=(title) tabindex="0" {
            table {
                thead { tr { @for &i in &kept { th scope="col" { (heads[i]) } } } }
                "\n"
                tbody { @for row in rows { (body_row(row, &kept)) } }
            }
        }
        "\n"
    }
}

/// A row with the columns that are kept.
fn body_row(row: &Row, kept: &[usize]) -> Markup {
    html! {
        tr { @for &i in kept { (row.cells[i].markup()) } }
        "\n"
        @if let Some(text) = &row.below {
            tr.below { td colspan=(kept.len()) { (text) } }
            "\n"
        }
    }
}

/// The name of a row, and below it what is special about it.
fn row_head(name: &str, below: Option<String>) -> Cell {
    Cell::Head(html! {
        (clean(name))
        @if let Some(text) = below { span.soft { (text) } }
    })
}

fn words_cell(text: &str) -> Cell {
    Cell::Words(html! { (text) })
}

fn verdict_cell(verdict: Verdict) -> Cell {
    Cell::Words(badge(Some(verdict)))
}

fn figure_cell(text: Option<String>) -> Cell {
    Cell::Figure(text.map(|text| html! { (text) }))
}

fn error_cell(figure: &Option<Figure>) -> Cell {
    figure_cell(error_text(figure))
}

fn error_text(figure: &Option<Figure>) -> Option<String> {
    figure.map(|f| plus_minus(&f, Sign::Always))
}

fn length_cell(figure: &Option<Figure>) -> Cell {
    figure_cell(figure.map(|f| plus_minus(&f, Sign::Minus)))
}

fn number_text(x: Option<f64>, places: usize) -> Option<String> {
    x.map(|x| decimals(x, places))
}

fn number_cell(x: Option<f64>, places: usize) -> Cell {
    figure_cell(number_text(x, places))
}

/// Two figures below each other; absent where both are.
fn xy_cell(x: Option<String>, y: Option<String>, unit: &str) -> Cell {
    if x.is_none() && y.is_none() {
        return Cell::Figure(None);
    }
    let [x, y] = [x, y].map(|text| text.unwrap_or_else(|| ABSENT.to_owned()));
    Cell::Figure(Some(html! { "x " (x) (unit) br; "y " (y) (unit) }))
}

/// The parts in space, the worst first.
pub(super) fn part_table(parts: &[SpacePartEntry]) -> Markup {
    let heads = [
        "part",
        "verdict",
        "width %",
        "depth %",
        "height %",
        "offset mm",
        "full size mm",
        "turn deg",
    ];
    let rows: Vec<Row> = parts.iter().map(part_row).collect();
    html_table("Parts in space", &heads, &rows)
}

fn part_row(part: &SpacePartEntry) -> Row {
    let sizes = &part.size_percent;
    let triple = |t: &Triple| {
        let axes = [("x ", t.x), ("y ", t.y), ("z ", t.z)];
        if axes.iter().all(|(_, figure)| figure.is_none()) {
            return Cell::Figure(None);
        }
        Cell::Figure(Some(html! {
            @for (k, (axis, figure)) in axes.iter().enumerate() {
                @if k > 0 { br; }
                (axis) (error_text(figure).unwrap_or_else(|| ABSENT.to_owned()))
            }
        }))
    };
    let mut below = Vec::new();
    if !part.cannot_tell.is_empty() {
        below.push(format!(
            "cannot tell {}",
            clean(&part.cannot_tell.join(", "))
        ));
    }
    below.extend(part.would_tell.as_ref().map(|text| clean(text)));
    below.extend(edges_in_words(part));
    Row {
        cells: vec![
            row_head(&part.name, Some(format!(" {} marks", part.marks))),
            verdict_cell(part.verdict),
            error_cell(&sizes.width),
            error_cell(&sizes.depth),
            error_cell(&sizes.height),
            triple(&part.offset_model_mm),
            triple(&part.offset_full_size_mm),
            triple(&part.rotation_deg),
        ],
        below: (!below.is_empty()).then(|| below.join("; ")),
    }
}

/// The regions of a view; a tolerance is named where it is not the job's.
pub(super) fn region_table(view: &ViewEntry, usual: &Tolerance) -> Markup {
    let rows = regions_worst_first(view);
    let rows: Vec<_> = rows.into_iter().map(|r| region_row(r, usual)).collect();
    let heads = [
        "region",
        "verdict",
        "width %",
        "height %",
        "absolute width and height %",
        "offset, mm on the model",
        "rotation °",
        "edges above chance",
    ];
    html_table("Regions, worst first", &heads, &rows)
}

fn region_row(r: &RegionEntry, usual: &Tolerance) -> Row {
    let t = &r.tolerance;
    let tolerance = (t != usual).then(|| {
        format!(
            "tolerance {} %, {} mm, {}°, edges {}",
            t.proportion_percent, t.offset_mm, t.angle_deg, t.edge_overlap
        )
    });
    let overlap = r.edge_overlap.as_ref().and_then(|e| e.above_chance);
    let note = r.note.as_ref();
    let note = note.map_or(String::new(), |note| format!(" · note: {}", clean(note)));
    let cells = vec![
        row_head(&r.name, tolerance),
        verdict_cell(r.verdict),
        error_cell(&r.width_percent),
        error_cell(&r.height_percent),
        absolute_cell(r),
        offset_cell(r),
        error_cell(&r.rotation_deg),
        number_cell(overlap, 2),
    ];
    let below = format!(
        "{} · rests on: {}{note}",
        clean(&r.sureness),
        method_word(r.method)
    );
    Row {
        cells,
        below: Some(below),
    }
}

/// Width and height against the subject absolutely, with millimetres on the model.
fn absolute_cell(r: &RegionEntry) -> Cell {
    let one = |percent: &Option<Figure>, mm: &Option<Figure>| {
        let percent = error_text(percent)?;
        Some(match error_text(mm) {
            Some(mm) => format!("{percent} ({mm} mm)"),
            None => percent,
        })
    };
    xy_cell(
        one(&r.absolute_width_percent, &r.absolute_width_model_mm),
        one(&r.absolute_height_percent, &r.absolute_height_model_mm),
        "",
    )
}

/// Offsets on the model, or in pixels where there is no scale.
fn offset_cell(r: &RegionEntry) -> Cell {
    let in_mm = &r.offset_model_mm;
    let (pair, unit) = if in_mm.x.is_some() || in_mm.y.is_some() {
        (in_mm, "")
    } else {
        (&r.offset_px, " px")
    };
    xy_cell(error_text(&pair.x), error_text(&pair.y), unit)
}

/// The spans of a view; a tolerance is named where it is not the job's.
pub(super) fn span_table(view: &ViewEntry, usual: &Tolerance) -> Markup {
    let row = |s: &SpanEntry| -> Row {
        let percent = s.tolerance.proportion_percent;
        let is_special = percent != usual.proportion_percent;
        vec![
            row_head(
                &s.name,
                is_special.then(|| format!("tolerance {percent} %")),
            ),
            verdict_cell(s.verdict),
            error_cell(&s.error_percent),
            error_cell(&s.error_model_mm),
            error_cell(&s.error_full_size_mm),
            length_cell(&s.model_mm),
            length_cell(&s.full_size_mm),
            error_cell(&s.absolute_percent),
            error_cell(&s.absolute_model_mm),
        ]
        .into()
    };
    let heads = [
        "span",
        "verdict",
        "error %",
        "error, mm on the model",
        "error, mm full size",
        "length of the model, mm",
        "length of the subject, mm",
        "absolute error %",
        "absolute error, mm on the model",
    ];
    let rows: Vec<_> = spans_worst_first(view).into_iter().map(row).collect();
    html_table("Spans, worst first", &heads, &rows)
}

/// The angles of a view; a tolerance is named where it is not the job's.
pub(super) fn angle_table(view: &ViewEntry, usual: &Tolerance) -> Markup {
    let row = |a: &AngleEntry| -> Row {
        let degrees = a.tolerance.angle_deg;
        let is_special = degrees != usual.angle_deg;
        vec![
            row_head(&a.name, is_special.then(|| format!("tolerance {degrees}°"))),
            verdict_cell(a.verdict),
            error_cell(&a.error_deg),
            length_cell(&a.render_deg),
            length_cell(&a.reference_deg),
        ]
        .into()
    };
    let heads = [
        "angle",
        "verdict",
        "error °",
        "in the render °",
        "in the registered reference °",
    ];
    let rows: Vec<_> = angles_worst_first(view).into_iter().map(row).collect();
    html_table("Angles, worst first", &heads, &rows)
}

/// All landmarks and known lengths, folded away.
pub(super) fn landmark_tables(view: &ViewEntry) -> Markup {
    let landmarks = view.registration.iter().flat_map(|r| &r.landmarks);
    let rows: Vec<_> = landmarks.map(landmark_row).collect();
    let heads = [
        "landmark",
        "use",
        "residual px",
        "offset, mm on the model",
        "test",
        "limit of the test",
        "redundancy",
        "smallest detectable error, px",
    ];
    let known = view.scales.iter().flat_map(|s| &s.known);
    let known: Vec<_> = known.map(known_row).collect();
    html! {
        @if !rows.is_empty() || !known.is_empty() {
            details {
                summary { "Landmarks and known lengths" }
                (html_table("All landmarks", &heads, &rows))
                (html_table("Known lengths", &KNOWN_HEADS, &known))
            }
            "\n"
        }
    }
}

fn landmark_row(l: &LandmarkEntry) -> Row {
    let usage = match l.usage {
        LandmarkUse::Datum => "datum",
        LandmarkUse::Check => "check",
    };
    let [x, y] = l.residual_px.map(|r| number_text(r, 2));
    vec![
        row_head(&l.name, None),
        words_cell(usage),
        xy_cell(x, y, ""),
        xy_cell(error_text(&l.offset_mm.x), error_text(&l.offset_mm.y), ""),
        number_cell(l.test_statistic, 1),
        number_cell(l.critical_value, 1),
        number_cell(l.redundancy, 2),
        number_cell(l.smallest_detectable_px, 1),
    ]
    .into()
}

const KNOWN_HEADS: [&str; 8] = [
    "known length",
    "in",
    "full size",
    "disagreement %",
    "test",
    "limit of the test",
    "the others ask for, mm full size",
    "finding",
];

fn known_row(k: &KnownEntry) -> Row {
    let side = match k.side {
        Side::Render => "render",
        Side::Reference => "reference",
    };
    let finding = match (k.doubtful, k.test_statistic) {
        (true, _) if k.ambiguous => "contradicts another",
        (true, _) => "probably misread",
        (false, Some(_)) => "agrees with the others",
        (false, None) => "nothing checks it",
    };
    let asked = k.others_ask_for_full_size_mm.map(|asked| {
        let feet = k.others_ask_for_feet_and_inches.as_deref().unwrap_or("");
        format!("{} ({})", plus_minus(&asked, Sign::Minus), clean(feet))
    });
    vec![
        row_head(&format!("{} to {}", k.from, k.to), None),
        words_cell(side),
        words_cell(&clean(&k.length)),
        number_cell(k.disagreement_percent, 1),
        number_cell(k.test_statistic, 1),
        number_cell(k.critical_value, 1),
        figure_cell(asked),
        words_cell(finding),
    ]
    .into()
}

/// Figures that became the same thing, each then and now.
pub(super) fn revision_table(
    title: &str,
    measures: &[(&RevisionViewEntry, &RevisionMeasure)],
) -> Markup {
    let rows: Vec<Row> = measures
        .iter()
        .map(|(view, m)| {
            let in_unit = |figure: &Option<Figure>| {
                let text = error_text(figure)?;
                Some(with_unit(&text, &m.unit))
            };
            let below = format!("{}, {}", measure_word(m.measure), clean(&view.name));
            let figures = [m.before, m.after, m.difference];
            let figures = figures.iter().map(|figure| figure_cell(in_unit(figure)));
            let head = [row_head(&m.name, Some(below))];
            head.into_iter().chain(figures).collect::<Vec<_>>().into()
        })
        .collect();
    html_table(title, &["Part", "Then", "Now", "Difference"], &rows)
}

/// Every figure in every result.
pub(super) fn trend_table(trend: &Trend) -> Markup {
    let rows: Vec<Row> = trend
        .series
        .iter()
        .map(|series| {
            let head = row_head(&series.title(false), Some(clean(&series.view)));
            let figures = series.figures.iter().map(|figure| {
                let text = error_text(figure)?;
                Some(with_unit(&text, &series.unit))
            });
            let change = series.change.map(|c| format!("{} {}", c.word(), c.sign()));
            let cells = [head].into_iter().chain(figures.map(figure_cell));
            cells
                .chain([figure_cell(change)])
                .collect::<Vec<_>>()
                .into()
        })
        .collect();
    let names: Vec<String> = trend.results.iter().map(|name| clean(name)).collect();
    let results = names.iter().map(String::as_str);
    let heads: Vec<&str> = ["Figure"]
        .into_iter()
        .chain(results)
        .chain(["Change"])
        .collect();
    html_table(
        "All figures: what changed first, then what is off the most",
        &heads,
        &rows,
    )
}
