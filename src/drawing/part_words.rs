//! What is said of one part: its figures with their intervals and tolerances, what to change, what to know.
use super::{
    ViewToDraw, figures,
    flow::{Flow, Marks},
    paper::GAP,
    scene::{Box2, Scene},
    table, view_block,
};
use crate::{
    job::Region,
    measurement::{Correction, RegionMeasure},
    statistics::Measured,
};

/// Least width of a column of these words, paper millimetres.
const COLUMN: f64 = 110.0;

fn columns(width: f64) -> (usize, f64) {
    let count = ((width + GAP) / (COLUMN + GAP)).floor().max(1.0);
    (count as usize, (width + GAP) / count - GAP)
}

/// Height of the words below pictures as wide as the page.
pub(crate) fn height(input: &ViewToDraw<'_>, part: usize, width: f64) -> f64 {
    let (count, width) = columns(width);
    // What is said of the view stands in the block below as well.
    let words = of_part(input, part, Flow::new(width));
    // Columns end where a section does not fit: a little more than the even share.
    words.height() / count as f64 * 1.15 + 4.0
}

/// Draws what is said of the part; whether all of it is there.
pub(crate) fn draw(scene: &mut Scene, input: &ViewToDraw<'_>, part: usize, area: Box2) -> bool {
    let (count, width) = columns(area.width);
    let mut flow = of_part(input, part, Flow::new(width));
    for column in 0..count {
        let x = area.x + (width + GAP) * column as f64;
        flow.fill(scene, Box2::new(x, area.y, width, area.height));
    }
    flow.is_done()
}

/// All that is said of the part and of the view, for pages of its own.
pub(crate) fn in_full(input: &ViewToDraw<'_>, part: usize) -> Flow {
    let mut flow = of_part(input, part, Flow::for_pages(input.paper));
    flow.section("The reference", &view_block::facts(input), Marks::None);
    flow.section("What to know", &view_block::statements(input), Marks::None);
    flow
}

fn of_part(input: &ViewToDraw<'_>, part: usize, mut flow: Flow) -> Flow {
    let region = &input.view.regions[part];
    let measure = &input.measurement.regions[part];
    let heading = format!("{}: {}", region.name, measure.verdict.signed());
    flow.section(&heading, &figures_of(region, measure), Marks::None);
    let corrections = corrections(input, region);
    if corrections.is_empty() {
        let none = match measure.verdict {
            crate::measurement::Verdict::Within => "Nothing to change.",
            _ => table::no_correction(input.measurement),
        };
        flow.section("Correction in CAD", &[none.to_owned()], Marks::None);
    } else {
        let heading = match input.measurement.why_distrusted() {
            Some(why) => format!("Correction not to be trusted yet: {why}"),
            None => "Correction in CAD".to_owned(),
        };
        flow.section(&heading, &corrections, Marks::Numbers);
    }
    let rows = table::rows_at(input, region);
    flow.table("Lengths and angles at it", &rows, table::offset_unit(input));
    flow
}

/// The changes that are asked of the part and of lengths and angles at it.
fn corrections(input: &ViewToDraw<'_>, region: &Region) -> Vec<String> {
    let about_it = table::names_at(input, region);
    let is_of_it = |c: &&Correction| c.about == region.name || about_it.contains(&c.about.as_str());
    let all = input.measurement.corrections.iter().filter(is_of_it);
    all.map(table::in_words).collect()
}

fn figures_of(region: &Region, measure: &RegionMeasure) -> Vec<String> {
    let tolerance = &region.tolerance;
    let percent = |what: &str, figure: Option<Measured>| {
        let tolerated = figures::plain(tolerance.proportion_percent);
        told(
            what,
            figure,
            |f| figures::signed_with(f, " %"),
            &format!("{tolerated} %"),
        )
    };
    let angle = figures::plain(tolerance.angle_deg);
    let turned = |f| figures::signed_with(f, "°");
    let mut lines = vec![
        percent("width", measure.width_percent),
        percent("height", measure.height_percent),
        told(
            "turned, clockwise",
            measure.rotation_deg,
            turned,
            &format!("{angle}°"),
        ),
    ];
    for (axis, what) in ["offset across", "offset down"].into_iter().enumerate() {
        let (offsets, unit) = figures::region_offset(measure);
        let full_size = measure.offset_full_size_mm[axis].filter(|_| unit == " mm");
        let full_size = full_size.map_or(String::new(), |f| {
            format!(" ({} full size)", figures::offset(f, axis, " mm"))
        });
        let words = |f| format!("{}{full_size}", figures::offset(f, axis, unit));
        let tolerated = match unit {
            " mm" => format!("{} mm", figures::plain(tolerance.offset.0)),
            _ => "no scale is known".to_owned(),
        };
        lines.push(told(what, offsets[axis], words, &tolerated));
    }
    if let Some(overlap) = &measure.edge_overlap {
        lines.push(format!(
            "edge overlap {:.2} above chance; asked for {:.2}",
            overlap.above_chance, tolerance.edge_overlap
        ));
    }
    lines.push(format!("rests on: {}", measure.sureness));
    if let Some([width, height]) = measure.size_model_mm {
        lines.push(format!("size on the model {width:.2} x {height:.2} mm"));
    }
    lines.extend(measure.note.iter().map(|note| format!("note: {note}")));
    lines
}

/// "width: +4.0 ±2.0 %; tolerated 2 %".
fn told(
    what: &str,
    figure: Option<Measured>,
    words: impl Fn(Measured) -> String,
    tolerated: &str,
) -> String {
    match figure {
        Some(figure) => format!("{what}: {}; tolerated {tolerated}", words(figure)),
        None => format!("{what}: cannot tell"),
    }
}
