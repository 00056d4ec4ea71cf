//! The tables of the page.
use super::{badge::badge, escaped::escaped};
use crate::report::{json::*, wording::*};

/// One row of a table.
struct Row {
    /// Its head, then its cells.
    cells: Vec<String>,
    /// What is said below it, over the whole width; may be empty.
    below: String,
}

impl From<Vec<String>> for Row {
    fn from(cells: Vec<String>) -> Self {
        Self {
            cells,
            below: String::new(),
        }
    }
}

/// What stands where a figure is absent.
const ABSENT: &str = "-";

/// A table whose rows begin with a head; empty where it has no rows. A column without a single figure is left out.
fn html_table(title: &str, heads: &[&str], rows: &[Row]) -> String {
    if rows.is_empty() {
        return String::new();
    }
    let absent = figure_cell(ABSENT);
    let kept: Vec<usize> = (0..heads.len())
        .filter(|&i| rows.iter().any(|row| row.cells[i] != absent))
        .collect();
    let heads = kept
        .iter()
        .map(|&i| format!("<th scope=\"col\">{}</th>", heads[i]));
    let body = rows.iter().map(|row| {
        let cells: String = kept.iter().map(|&i| row.cells[i].as_str()).collect();
        let below = match row.below.as_str() {
            "" => String::new(),
            text => format!(
                "<tr class=\"below\"><td colspan=\"{}\">{text}</td></tr>\n",
                kept.len()
            ),
        };
        format!("<tr>{cells}</tr>\n{below}")
    });
    format!(
        "<h3>{title}</h3>\n<div class=\"scroll\" role=\"region\" aria-label=\"{title}\" \
         tabindex=\"0\"><table>\n<thead><tr>{}</tr></thead>\n<tbody>\n{}</tbody></table></div>\n",
        heads.collect::<String>(),
        body.collect::<String>()
    )
}

/// The name of a row, and below it what is special about it.
fn row_head(name: &str, below: Option<String>) -> String {
    let below = below.map_or(String::new(), |text| {
        format!("<span class=\"soft\">{text}</span>")
    });
    format!("<th scope=\"row\">{}{below}</th>", escaped(name))
}

fn cell(html: &str) -> String {
    format!("<td>{html}</td>")
}

fn figure_cell(text: &str) -> String {
    format!("<td class=\"number\">{text}</td>")
}

fn error_cell(figure: &Option<Figure>) -> String {
    figure_cell(&error_text(figure))
}

fn error_text(figure: &Option<Figure>) -> String {
    let text = |f: Figure| plus_minus(&f, Sign::Always);
    figure.map_or(ABSENT.to_owned(), text)
}

fn length_cell(figure: &Option<Figure>) -> String {
    let text = |f: Figure| plus_minus(&f, Sign::Minus);
    figure_cell(&figure.map_or(ABSENT.to_owned(), text))
}

fn number_text(x: Option<f64>, places: usize) -> String {
    x.map_or(ABSENT.to_owned(), |x| decimals(x, places))
}

fn xy_cell(x: &str, y: &str, unit: &str) -> String {
    if (x, y) == (ABSENT, ABSENT) {
        return figure_cell(ABSENT);
    }
    figure_cell(&format!("x {x}{unit}<br>y {y}{unit}"))
}

/// The regions of a view; a tolerance is named where it is not the job's.
pub(super) fn region_table(view: &ViewEntry, usual: &Tolerance) -> String {
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
    let note = r
        .note
        .as_ref()
        .map_or(String::new(), |note| format!(" · note: {}", escaped(note)));
    let cells = vec![
        row_head(&r.name, tolerance),
        cell(&badge(Some(r.verdict))),
        error_cell(&r.width_percent),
        error_cell(&r.height_percent),
        absolute_cell(r),
        offset_cell(r),
        error_cell(&r.rotation_deg),
        figure_cell(&number_text(overlap, 2)),
    ];
    let below = format!(
        "{} · rests on: {}{note}",
        escaped(&r.sureness),
        method_word(r.method)
    );
    Row { cells, below }
}

/// Width and height against the subject absolutely, with millimetres on the model.
fn absolute_cell(r: &RegionEntry) -> String {
    let one = |percent: &Option<Figure>, mm: &Option<Figure>| match (percent, mm) {
        (None, _) => ABSENT.to_owned(),
        (Some(_), None) => error_text(percent),
        (Some(_), Some(_)) => format!("{} ({} mm)", error_text(percent), error_text(mm)),
    };
    xy_cell(
        &one(&r.absolute_width_percent, &r.absolute_width_model_mm),
        &one(&r.absolute_height_percent, &r.absolute_height_model_mm),
        "",
    )
}

/// Offsets on the model, or in pixels where there is no scale.
fn offset_cell(r: &RegionEntry) -> String {
    let in_mm = &r.offset_model_mm;
    let (pair, unit) = if in_mm.x.is_some() || in_mm.y.is_some() {
        (in_mm, "")
    } else {
        (&r.offset_px, " px")
    };
    xy_cell(&error_text(&pair.x), &error_text(&pair.y), unit)
}

/// The spans of a view; a tolerance is named where it is not the job's.
pub(super) fn span_table(view: &ViewEntry, usual: &Tolerance) -> String {
    let row = |s: &SpanEntry| -> Row {
        let percent = s.tolerance.proportion_percent;
        let is_special = percent != usual.proportion_percent;
        vec![
            row_head(
                &s.name,
                is_special.then(|| format!("tolerance {percent} %")),
            ),
            cell(&badge(Some(s.verdict))),
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
pub(super) fn angle_table(view: &ViewEntry, usual: &Tolerance) -> String {
    let row = |a: &AngleEntry| -> Row {
        let degrees = a.tolerance.angle_deg;
        let is_special = degrees != usual.angle_deg;
        vec![
            row_head(&a.name, is_special.then(|| format!("tolerance {degrees}°"))),
            cell(&badge(Some(a.verdict))),
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
pub(super) fn landmark_tables(view: &ViewEntry) -> String {
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
    let tables = html_table("All landmarks", &heads, &rows) + &known_table(view);
    if tables.is_empty() {
        return tables;
    }
    format!("<details><summary>Landmarks and known lengths</summary>{tables}</details>\n")
}

fn landmark_row(l: &LandmarkEntry) -> Row {
    let usage = match l.usage {
        LandmarkUse::Datum => "datum",
        LandmarkUse::Check => "check",
    };
    let [x, y] = l.residual_px.map(|r| number_text(r, 2));
    vec![
        row_head(&l.name, None),
        cell(usage),
        xy_cell(&x, &y, ""),
        xy_cell(&error_text(&l.offset_mm.x), &error_text(&l.offset_mm.y), ""),
        figure_cell(&number_text(l.test_statistic, 1)),
        figure_cell(&number_text(l.critical_value, 1)),
        figure_cell(&number_text(l.redundancy, 2)),
        figure_cell(&number_text(l.smallest_detectable_px, 1)),
    ]
    .into()
}

fn known_table(view: &ViewEntry) -> String {
    let row = |k: &KnownEntry| -> Row {
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
            format!("{} ({})", plus_minus(&asked, Sign::Minus), escaped(feet))
        });
        vec![
            row_head(&format!("{} to {}", k.from, k.to), None),
            cell(side),
            cell(&escaped(&k.length)),
            figure_cell(&number_text(k.disagreement_percent, 1)),
            figure_cell(&number_text(k.test_statistic, 1)),
            figure_cell(&number_text(k.critical_value, 1)),
            figure_cell(&asked.unwrap_or_else(|| ABSENT.to_owned())),
            cell(finding),
        ]
        .into()
    };
    let known = view.scales.iter().flat_map(|s| &s.known);
    let heads = [
        "known length",
        "in",
        "full size",
        "disagreement %",
        "test",
        "limit of the test",
        "the others ask for, mm full size",
        "finding",
    ];
    html_table("Known lengths", &heads, &known.map(row).collect::<Vec<_>>())
}
