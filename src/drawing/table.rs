//! The table of the worst measures and the list of corrections, as they stand on a sheet.
use super::{
    ViewToDraw,
    colours::{GREY, INK},
    difference::{verdict_colour, verdict_ink},
    figures,
    scene::{Align, Box2, Fill, Line, Scene, Stroke},
    text::{self, Font},
};
use crate::{
    measurement::{RegionMeasure, Verdict, ranking},
    statistics::{
        Measured,
        words::{self, Sign},
    },
};

/// Least width of the table and of what stands beside or below it, paper millimetres.
pub(crate) const WIDTH: f64 = 132.0;
/// Font size of the table, paper millimetres.
const SIZE: f64 = 2.3;
/// Height of a row.
pub(crate) const ROW: f64 = 3.9;
/// Widths of the columns after the name: width, height, offset x, offset y, turned, verdict.
const COLUMNS: [f64; 6] = [15.5, 15.5, 20.5, 20.5, 20.0, 18.5];
/// Width of the column of numbers.
const NUMBER: f64 = 5.5;

/// One measure of the view.
pub(crate) struct Row {
    /// Index among the view's regions, where it is one.
    pub region: Option<usize>,
    name: String,
    figures: Figures,
    pub verdict: Verdict,
    times_tolerance: f64,
}

enum Figures {
    /// Width, height, offset x, offset y, rotation.
    Columns([String; 5]),
    Words(String),
}

/// All measures, the worst first.
pub(crate) fn rows(input: &ViewToDraw<'_>) -> Vec<Row> {
    let mut rows: Vec<Row> = region_rows(input).collect();
    rows.extend(span_rows(input));
    rows.extend(angle_rows(input));
    let rank = |row: &Row| (row.verdict, row.times_tolerance);
    rows.sort_by(|a, b| ranking::worse_first(rank(a), rank(b)));
    rows
}

fn region_rows<'a>(input: &ViewToDraw<'a>) -> impl Iterator<Item = Row> + use<'a> {
    let measures = input.measurement.regions.iter();
    measures.enumerate().map(|(index, measure)| Row {
        region: Some(index),
        name: measure.name.clone(),
        figures: region_figures(measure),
        verdict: measure.verdict,
        times_tolerance: measure.times_tolerance,
    })
}

fn region_figures(measure: &RegionMeasure) -> Figures {
    let ([x, y], _) = figures::region_offset(measure);
    let all = [
        measure.width_percent,
        measure.height_percent,
        x,
        y,
        measure.rotation_deg,
    ];
    if all.iter().all(Option::is_none) {
        return Figures::Words(measure.sureness.clone());
    }
    Figures::Columns(all.map(|figure| figure.map_or("–".to_owned(), compact)))
}

/// Value and half width alone; the wider half of a lopsided interval, for want of room.
fn compact(figure: Measured) -> String {
    words::plus_minus(figure, Sign::Always, "")
}

fn span_rows<'a>(input: &ViewToDraw<'a>) -> impl Iterator<Item = Row> + use<'a> {
    input.measurement.spans.iter().map(|measure| {
        let absolute = measure
            .absolute_percent
            .map(|m| format!(", absolutely {}", figures::signed_with(m, " %")));
        let mut words = format!(
            "length {}",
            figures::signed_with(measure.error_percent, " %")
        );
        if let Some(mm) = measure.error_model_mm {
            words += &format!(", {}", figures::signed_with(mm, " mm"));
        }
        words += &absolute.unwrap_or_default();
        Row {
            region: None,
            name: measure.name.clone(),
            figures: Figures::Words(words),
            verdict: measure.verdict,
            times_tolerance: measure.times_tolerance,
        }
    })
}

fn angle_rows<'a>(input: &ViewToDraw<'a>) -> impl Iterator<Item = Row> + use<'a> {
    input.measurement.angles.iter().map(|measure| Row {
        region: None,
        name: measure.name.clone(),
        figures: Figures::Words(format!(
            "angle {}",
            figures::signed_with(measure.error_deg, "°")
        )),
        verdict: measure.verdict,
        times_tolerance: measure.times_tolerance,
    })
}

/// Height of the whole table, paper millimetres.
pub(crate) fn height(rows: &[Row]) -> f64 {
    ROW * (rows.len() as f64 + 1.5)
}

/// The unit of offsets: millimetres on the model where there is a scale.
pub(crate) fn offset_unit(input: &ViewToDraw<'_>) -> &'static str {
    let mut regions = input.measurement.regions.iter();
    if regions.any(|r| r.offset_model_mm.iter().any(Option::is_some)) {
        "mm"
    } else {
        "px"
    }
}

/// Draws as many rows as `area` holds and returns the y at which the table ends, and whether all are there.
pub(crate) fn draw(
    scene: &mut Scene,
    input: &ViewToDraw<'_>,
    rows: &[Row],
    area: Box2,
) -> (f64, bool) {
    draw_head(scene, area, offset_unit(input));
    let mut y = area.y + ROW * 1.15;
    if rows.is_empty() {
        scene.text(
            [area.x, y + ROW * 0.7],
            SIZE,
            Font::Regular,
            "No regions, spans or angles in this view.",
        );
        return (y + ROW, true);
    }
    let room = ((area.bottom() - y) / ROW + 1e-9).floor().max(0.0) as usize;
    // The last row is needed to say how many are left.
    let shown = if rows.len() <= room {
        rows.len()
    } else {
        room.saturating_sub(1)
    };
    for (i, row) in rows.iter().take(shown).enumerate() {
        draw_row(scene, row, i + 1, Box2::new(area.x, y, area.width, ROW));
        y += ROW;
    }
    if shown < rows.len() {
        let rest = format!("and {} more on the next page", rows.len() - shown);
        grey(scene, [area.x + NUMBER, y + ROW * 0.7], &rest);
        y += ROW;
    }
    (y, shown == rows.len())
}

/// Right edges of the columns, paper millimetres.
fn column_ends(area: Box2) -> [f64; 6] {
    let mut end = area.right();
    let mut ends = [0.0; 6];
    for (i, width) in COLUMNS.iter().enumerate().rev() {
        ends[i] = end;
        end -= width;
    }
    ends
}

fn name_room(area: Box2) -> f64 {
    area.width - NUMBER - COLUMNS.iter().sum::<f64>() - 1.0
}

pub(crate) fn draw_head(scene: &mut Scene, area: Box2, unit: &str) {
    let base = area.y + ROW * 0.72;
    let (x, y) = (format!("→ {unit}"), format!("↓ {unit}"));
    scene.text([area.x + NUMBER, base], SIZE, Font::Bold, "part");
    let heads = ["width %", "height %", x.as_str(), y.as_str(), "turned °"];
    for (head, end) in heads.into_iter().zip(column_ends(area)) {
        right_aligned(scene, [end - 1.0, base], Font::Bold, head);
    }
    let verdict = area.right() - COLUMNS[5] + 1.0;
    scene.text([verdict, base], SIZE, Font::Bold, "verdict");
    let rule = area.y + ROW;
    scene.line(
        [area.x, rule],
        [area.right(), rule],
        Stroke::solid(INK, 0.25),
    );
}

fn right_aligned(scene: &mut Scene, at: [f64; 2], font: Font, words: &str) {
    scene.styled(Line {
        text: words.to_owned(),
        at,
        size: SIZE,
        font,
        align: Align::End,
        colour: INK,
        halo: 0.0,
    });
}

fn grey(scene: &mut Scene, at: [f64; 2], words: &str) {
    scene.styled(Line {
        text: words.to_owned(),
        at,
        size: SIZE,
        font: Font::Regular,
        align: Align::Start,
        colour: GREY,
        halo: 0.0,
    });
}

pub(crate) fn draw_row(scene: &mut Scene, row: &Row, number: usize, area: Box2) {
    let base = area.y + ROW * 0.7;
    scene.line(
        [area.x, area.bottom()],
        [area.right(), area.bottom()],
        Stroke::solid(GREY, 0.08),
    );
    right_aligned(
        scene,
        [area.x + NUMBER - 1.5, base],
        Font::Regular,
        &number.to_string(),
    );
    let name = text::shorten(&row.name, Font::Regular, SIZE, name_room(area));
    scene.text([area.x + NUMBER, base], SIZE, Font::Regular, name);
    let ends = column_ends(area);
    match &row.figures {
        Figures::Columns(columns) => {
            for (words, end) in columns.iter().zip(ends) {
                let words = text::shorten(words, Font::Regular, SIZE, 19.0);
                right_aligned(scene, [end - 1.0, base], Font::Regular, &words);
            }
        }
        Figures::Words(words) => {
            let start = ends[0] - COLUMNS[0] + 1.0;
            let words = text::shorten(words, Font::Regular, SIZE, ends[4] - start - 1.0);
            scene.text([start, base], SIZE, Font::Regular, words);
        }
    }
    draw_verdict(
        scene,
        row.verdict,
        [ends[5] - COLUMNS[5] + 1.0, area.y + 0.7],
    );
}

/// The verdict's colour with its word, so that the colour is never alone.
fn draw_verdict(scene: &mut Scene, verdict: Verdict, [x, y]: [f64; 2]) {
    let side = ROW - 1.4;
    let patch = Box2::new(x, y, side * 0.6, side);
    let rim = Stroke::solid(verdict_ink(verdict), 0.2);
    scene.rectangle(
        patch,
        Some(rim),
        Some(Fill::opaque(verdict_colour(verdict))),
    );
    let at = [x + side * 0.6 + 0.8, y + ROW * 0.7 - 0.7];
    scene.text(at, SIZE, Font::Regular, verdict.signed());
}

/// What is too small to be printed or seen.
pub(crate) fn leave_alone_words(input: &ViewToDraw<'_>) -> Option<String> {
    let mut parts: Vec<(&str, Vec<&str>)> = Vec::new();
    for small in &input.measurement.leave_alone {
        match parts.last_mut() {
            Some((about, measures)) if *about == small.about => measures.push(small.measure),
            _ => parts.push((&small.about, vec![small.measure])),
        }
    }
    if parts.is_empty() {
        return None;
    }
    let words: Vec<String> = parts
        .iter()
        .map(|(about, measures)| format!("{about} ({})", measures.join(", ")))
        .collect();
    let reason = input
        .job
        .print
        .map_or(String::new(), |p| format!(" ({})", p.in_words()));
    Some(format!(
        "Leave alone, below {:.3} mm on the model{reason}: {}",
        input.job.smallest_visible.0,
        words.join("; ")
    ))
}

/// Height of a line of what to leave alone, paper millimetres.
const SMALL_STEP: f64 = 3.2;

/// Draws as many corrections as `area` holds, the worst first, and below them what to leave alone, in the room that they
/// leave; whether all of it is there.
pub(crate) fn draw_corrections(scene: &mut Scene, input: &ViewToDraw<'_>, area: Box2) -> bool {
    let (end, is_whole) = corrections(scene, input, area);
    let mut y = end + 1.0;
    let Some(words) = leave_alone_words(input) else {
        return is_whole;
    };
    let room = ((area.bottom() - y) / SMALL_STEP + 1.0).floor().max(0.0) as usize;
    let lines = text::wrap(&words, Font::Regular, SIZE, area.width, usize::MAX);
    let fits = lines.len() <= room;
    let lines = text::wrap(&words, Font::Regular, SIZE, area.width, room);
    for line in lines {
        grey(scene, [area.x, y], &line);
        y += SMALL_STEP;
    }
    is_whole && fits
}

/// What stands over the corrections, of a distrusted view the reason too.
pub(crate) fn corrections_heading(input: &ViewToDraw<'_>) -> String {
    match input.measurement.why_distrusted() {
        Some(why) => format!("Corrections not to be trusted yet: {why}"),
        None => "Corrections in CAD, the worst first".to_owned(),
    }
}

/// The corrections, each with what it is about.
pub(crate) fn correction_words(input: &ViewToDraw<'_>) -> Vec<String> {
    let all = input.measurement.corrections.iter();
    all.map(|correction| {
        if correction.text.contains(&correction.about) {
            correction.text.clone()
        } else {
            format!("{}: {}", correction.about, correction.text)
        }
    })
    .collect()
}

/// Draws what stands over the corrections, of a distrusted view the reason too, and returns the baseline of the next line.
fn heading(scene: &mut Scene, input: &ViewToDraw<'_>, area: Box2) -> f64 {
    let size = 3.0;
    let words = corrections_heading(input);
    let mut y = area.y + 3.2;
    for line in text::wrap(&words, Font::Bold, size, area.width, 3) {
        scene.text([area.x, y], size, Font::Bold, line);
        y += size * 1.25;
    }
    y + 0.81
}

/// Draws the corrections and returns the baseline of the next line, and whether all of them are there in full.
fn corrections(scene: &mut Scene, input: &ViewToDraw<'_>, area: Box2) -> (f64, bool) {
    let size = 2.6;
    let step = 3.8;
    let mut y = heading(scene, input, area);
    let all = correction_words(input);
    let mut is_whole = true;
    if all.is_empty() {
        let words = match input.measurement.verdict {
            _ if input.measurement.is_distrusted() => "None is given.",
            Verdict::Within => "Nothing to change.",
            Verdict::Undecided | Verdict::Out => "None that the pictures can state.",
        };
        let words = text::shorten(words, Font::Regular, size, area.width);
        scene.text([area.x, y], size, Font::Regular, words);
        return (y + step, true);
    }
    let indent = 5.0;
    for (i, words) in all.iter().enumerate() {
        let lines = |most| text::wrap(words, Font::Regular, size, area.width - indent, most);
        is_whole &= lines(usize::MAX).len() <= 2;
        let lines = lines(2);
        let last = i + 1 == all.len();
        let needed = lines.len() as f64 + if last { 0.0 } else { 1.0 };
        if y + (needed - 1.0) * step > area.bottom() {
            grey(
                scene,
                [area.x, y.min(area.bottom())],
                &format!("and {} more on the next page", all.len() - i),
            );
            return (y.min(area.bottom()) + step, false);
        }
        scene.text([area.x, y], size, Font::Regular, format!("{}.", i + 1));
        for line in lines {
            scene.text([area.x + indent, y], size, Font::Regular, line);
            y += step;
        }
    }
    (y, is_whole)
}
