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
    job::Region,
    measurement::{Correction, RegionMeasure, Verdict, ViewMeasurement, ranking},
    statistics::{
        Measured,
        words::{self, Sign},
    },
};

/// Least width of the table and of what stands beside or below it, paper millimetres.
pub(crate) const WIDTH: f64 = 132.0;
/// Font size of the table, paper millimetres.
const SIZE: f64 = 2.3;
/// Height of a row, and of a further line of it.
pub(crate) const ROW: f64 = 3.9;
pub(crate) const FURTHER: f64 = 3.1;
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

#[derive(Clone)]
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

/// One line of a row: names and reasons go on in as many as they need.
pub(crate) struct RowLine {
    /// Number of the row, on its first line.
    number: Option<usize>,
    name: String,
    figures: Figures,
    verdict: Option<Verdict>,
    is_last: bool,
}

impl RowLine {
    /// Height, paper millimetres.
    pub(crate) fn height(&self) -> f64 {
        if self.number.is_some() { ROW } else { FURTHER }
    }
}

/// All lines of a row in a table of this width.
pub(crate) fn lines(row: &Row, number: usize, width: f64) -> Vec<RowLine> {
    let area = Box2::new(0.0, 0.0, width, ROW);
    let names = text::lines(&row.name, Font::Regular, SIZE, name_room(area));
    let (columns, words) = match &row.figures {
        Figures::Columns(columns) if columns.iter().all(|c| fits_column(c)) => {
            (Some(columns), Vec::new())
        }
        Figures::Columns([width, height, x, y, turned]) => {
            let words = format!("width {width}, height {height}, → {x}, ↓ {y}, turned {turned}");
            (None, words_lines(&words, area))
        }
        Figures::Words(words) => (None, words_lines(words, area)),
    };
    let count = names.len().max(words.len()).max(1);
    let (mut names, mut words) = (names.into_iter(), words.into_iter());
    let line = |k: usize| RowLine {
        number: (k == 0).then_some(number),
        name: names.next().unwrap_or_default(),
        figures: match columns {
            Some(columns) if k == 0 => Figures::Columns(columns.clone()),
            _ => Figures::Words(words.next().unwrap_or_default()),
        },
        verdict: (k == 0).then_some(row.verdict),
        is_last: k + 1 == count,
    };
    (0..count).map(line).collect()
}

fn fits_column(words: &str) -> bool {
    text::width(words, Font::Regular, SIZE) <= COLUMN_ROOM
}

/// Widest that a figure in a column may be.
const COLUMN_ROOM: f64 = 19.0;

fn words_lines(words: &str, area: Box2) -> Vec<String> {
    text::lines(
        words,
        Font::Regular,
        SIZE,
        words_end(area) - words_start(area),
    )
}

/// Height of the whole table in this width, paper millimetres.
pub(crate) fn height(rows: &[Row], width: f64) -> f64 {
    let numbered = rows.iter().enumerate();
    let lines = numbered.flat_map(|(i, row)| lines(row, i + 1, width));
    ROW * 1.5 + lines.map(|line| line.height()).sum::<f64>()
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
    for (i, row) in rows.iter().enumerate() {
        let lines = lines(row, i + 1, area.width);
        let height: f64 = lines.iter().map(RowLine::height).sum();
        // Below the last row no line is needed to say how many are left.
        let below = if i + 1 < rows.len() { ROW } else { 0.0 };
        if y + height + below > area.bottom() + 1e-9 {
            let rest = format!("and {} more on the next page", rows.len() - i);
            grey(scene, [area.x + NUMBER, y + ROW * 0.7], &rest);
            return (y + ROW, false);
        }
        for line in lines {
            draw_line(
                scene,
                &line,
                Box2::new(area.x, y, area.width, line.height()),
            );
            y += line.height();
        }
    }
    (y, true)
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

/// Where words that stand in place of figures begin and end.
fn words_start(area: Box2) -> f64 {
    column_ends(area)[0] - COLUMNS[0] + 1.0
}

fn words_end(area: Box2) -> f64 {
    column_ends(area)[4] - 1.0
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

/// Draws one line of a row.
pub(crate) fn draw_line(scene: &mut Scene, line: &RowLine, area: Box2) {
    let base = area.y + line.height() - ROW * 0.3;
    if line.is_last {
        scene.line(
            [area.x, area.bottom()],
            [area.right(), area.bottom()],
            Stroke::solid(GREY, 0.08),
        );
    }
    if let Some(number) = line.number {
        let at = [area.x + NUMBER - 1.5, base];
        right_aligned(scene, at, Font::Regular, &number.to_string());
    }
    scene.text(
        [area.x + NUMBER, base],
        SIZE,
        Font::Regular,
        line.name.as_str(),
    );
    match &line.figures {
        Figures::Columns(columns) => {
            for (words, end) in columns.iter().zip(column_ends(area)) {
                right_aligned(scene, [end - 1.0, base], Font::Regular, words);
            }
        }
        Figures::Words(words) => {
            scene.text(
                [words_start(area), base],
                SIZE,
                Font::Regular,
                words.as_str(),
            );
        }
    }
    if let Some(verdict) = line.verdict {
        draw_verdict(
            scene,
            verdict,
            [area.right() - COLUMNS[5] + 1.0, area.y + 0.7],
        );
    }
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
    let fits = text::lines(&words, Font::Regular, SIZE, area.width).len() <= room;
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
pub(crate) fn correction_words(measurement: &ViewMeasurement) -> Vec<String> {
    let all = measurement.corrections.iter();
    all.map(in_words).collect()
}

/// A correction with what it is about.
pub(crate) fn in_words(correction: &Correction) -> String {
    if correction.text.contains(&correction.about) {
        correction.text.clone()
    } else {
        format!("{}: {}", correction.about, correction.text)
    }
}

/// Names of the lengths and angles that begin or end at a landmark of this part.
pub(crate) fn names_at<'a>(input: &ViewToDraw<'a>, region: &Region) -> Vec<&'a str> {
    let is_at = |ends: [usize; 2]| ends.iter().any(|end| region.landmarks.contains(end));
    let spans = input.view.spans.iter().filter(|s| is_at([s.from, s.to]));
    let angles = input.view.angles.iter().filter(|a| is_at([a.from, a.to]));
    let spans = spans.map(|s| s.name.as_str());
    spans.chain(angles.map(|a| a.name.as_str())).collect()
}

/// The measures of those, the worst first.
pub(crate) fn rows_at(input: &ViewToDraw<'_>, region: &Region) -> Vec<Row> {
    let names = names_at(input, region);
    let is_at = |row: &Row| row.region.is_none() && names.contains(&row.name.as_str());
    rows(input).into_iter().filter(is_at).collect()
}

/// Most lines that what stands over the corrections takes on a sheet.
const MOST_HEADING: usize = 3;
const HEADING: f64 = 3.0;

/// Draws what stands over the corrections, of a distrusted view the reason too; the baseline of the next line, and whether all of
/// it is there.
fn heading(scene: &mut Scene, input: &ViewToDraw<'_>, area: Box2) -> (f64, bool) {
    let words = corrections_heading(input);
    let is_whole = text::lines(&words, Font::Bold, HEADING, area.width).len() <= MOST_HEADING;
    let mut y = area.y + 3.2;
    for line in text::wrap(&words, Font::Bold, HEADING, area.width, MOST_HEADING) {
        scene.text([area.x, y], HEADING, Font::Bold, line);
        y += HEADING * 1.25;
    }
    (y + 0.81, is_whole)
}

/// Size of a correction, its line's height, and how far it is indented.
const CORRECTION: f64 = 2.6;
const STEP: f64 = 3.8;
const INDENT: f64 = 5.0;

/// What stands there where there is no correction.
pub(crate) fn no_correction(measurement: &ViewMeasurement) -> &'static str {
    match measurement.verdict {
        _ if measurement.is_distrusted() => "None is given.",
        Verdict::Within => "Nothing to change.",
        Verdict::Undecided | Verdict::Out => "None that the pictures can state.",
    }
}

/// Height of heading, corrections and what to leave alone in this width, paper millimetres.
pub(crate) fn corrections_height(input: &ViewToDraw<'_>, width: f64) -> f64 {
    let count = |words: &str, size: f64, width: f64| {
        text::lines(words, Font::Regular, size, width).len() as f64
    };
    let corrections = correction_words(input.measurement);
    let of_corrections: f64 = (corrections.iter())
        .map(|words| count(words, CORRECTION, width - INDENT))
        .sum();
    let small = leave_alone_words(input).map_or(0.0, |words| count(&words, SIZE, width));
    let heading = text::lines(&corrections_heading(input), Font::Bold, HEADING, width).len();
    // The heading, and a little room above and below.
    let heading = HEADING * 1.25 * heading.min(MOST_HEADING) as f64 + 8.0;
    heading + of_corrections.max(1.0) * STEP + small * SMALL_STEP
}

/// Draws the corrections and returns the baseline of the next line, and whether all of them are there in full.
fn corrections(scene: &mut Scene, input: &ViewToDraw<'_>, area: Box2) -> (f64, bool) {
    let (mut y, is_whole) = heading(scene, input, area);
    let all = correction_words(input.measurement);
    if all.is_empty() {
        let words = text::shorten(
            no_correction(input.measurement),
            Font::Regular,
            CORRECTION,
            area.width,
        );
        scene.text([area.x, y], CORRECTION, Font::Regular, words);
        return (y + STEP, is_whole);
    }
    for (i, words) in all.iter().enumerate() {
        let lines = text::lines(words, Font::Regular, CORRECTION, area.width - INDENT);
        let last = i + 1 == all.len();
        let needed = lines.len() as f64 + if last { 0.0 } else { 1.0 };
        if y + (needed - 1.0) * STEP > area.bottom() {
            grey(
                scene,
                [area.x, y.min(area.bottom())],
                &format!("and {} more on the next page", all.len() - i),
            );
            return (y.min(area.bottom()) + STEP, false);
        }
        scene.text(
            [area.x, y],
            CORRECTION,
            Font::Regular,
            format!("{}.", i + 1),
        );
        for line in lines {
            scene.text([area.x + INDENT, y], CORRECTION, Font::Regular, line);
            y += STEP;
        }
    }
    (y, is_whole)
}
