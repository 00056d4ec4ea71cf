//! The strip: a cell for each landmark, with what the render shows at its mark, below it what the reference shows at its own, laid
//! over the render, and between them how far both marks lie apart. Part by part, the farthest first.
use super::{
    Error, ViewToDraw,
    colours::{GREY, INK, PAPER, REFERENCE, RENDER, Rgb, WRONG},
    figures,
    overlay::{is_wrong, name_of},
    raster::Ground,
    scene::{Align, Box2, Fill, Line, Position, Scene, Stroke},
    text::{self, Font},
};
use crate::{
    job::LandmarkUse,
    measurement::{self, MarkPatches, PATCH_SIDE},
    registration::{Finding, LandmarkFit},
    statistics::Measured,
};
use image::RgbImage;
use std::collections::BTreeSet;

/// Sizes in units: a pixel of the picture, less on paper. A patch is as many units wide as it has pixels.
const PATCH: f64 = PATCH_SIDE as f64;
/// From a cell to the next one, across.
pub(crate) const PITCH: f64 = 126.0;
pub(crate) const CELL: f64 = 121.0;
const GAP: f64 = 8.0;
const PAD: f64 = (CELL - PATCH) / 2.0;
const NAME: f64 = 11.5;
const WORDS: f64 = 10.5;
const STEP: f64 = 13.5;
/// Height of a figure and its bar, for x and for y.
const BAR: f64 = 24.0;
/// Half the length of the longest bar.
const LONGEST: f64 = PATCH / 2.0 - 4.0;
/// Cells beside each other in the picture: as wide as the page for a phone has room for.
const COLUMNS: usize = 6;
/// Most cells of the picture: it would be too high. A sheet has all of them.
const MOST_CELLS: usize = 60;

/// Draws the strip of a view: of many marks those that lie the most off.
pub(crate) fn draw(input: &ViewToDraw<'_>) -> Result<RgbImage, Error> {
    let (scene, patches) = lay_out(input);
    let mut ground = Ground::plain(scene.size.map(|side| side as u32), PAPER)?;
    for (picture, place) in patches {
        ground.lay(picture, [place.x.round() as u32, place.y.round() as u32]);
    }
    ground.draw(&scene, 1.0)
}

/// What is drawn, and the patches that lie below it, each with its place.
fn lay_out<'a>(input: &ViewToDraw<'a>) -> (Scene, Vec<(&'a RgbImage, Box2)>) {
    let mut strip = Strip::of(input, None);
    let all = strip.cells.len();
    strip.keep_farthest(MOST_CELLS);
    let shown = strip.cells.len();
    let margin = GAP / 2.0;
    let width = PITCH * COLUMNS as f64 - (PITCH - CELL) + 2.0 * margin;
    let mut scene = Scene::new([width, 0.0]);
    let mut words = strip.words(input);
    if shown < all {
        words.push(format!(
            "Of {all} marks these {shown} lie the most off; \"tickstrip sheet --strip\" prints the others too."
        ));
    }
    let room = Box2::new(margin, margin, width - 2.0 * margin, f64::INFINITY);
    let mut y = strip.draw_head(&mut scene, room, 1.0, &words) + GAP;
    let mut patches = Vec::new();
    for row in strip.cells.chunks(COLUMNS) {
        let row = Row::of(row);
        strip.draw_row(
            &mut scene,
            [margin, y],
            1.0,
            &row,
            &mut |_, patch, place| {
                patches.push((patch, place));
            },
        );
        y += row.height() + GAP;
    }
    scene.size[1] = (y - GAP + margin).ceil();
    (scene, patches)
}

/// The cells of a view or a part.
pub(crate) struct Strip<'a> {
    pub cells: Vec<Cell<'a>>,
    /// Render pixels that a patch is wide.
    width_px: f64,
    /// Units a render pixel of a bar.
    per_px: f64,
    /// Words for a length of bars.
    bar_words: String,
    /// Units that this length has.
    bar: f64,
}

/// Told of a patch and where it belongs.
pub(crate) type Put<'p, 'a> = dyn FnMut(&mut Scene, &'a RgbImage, Box2) + 'p;

/// What is said of a landmark, and what both images show there.
pub(crate) struct Cell<'a> {
    patches: &'a MarkPatches,
    name: Vec<String>,
    about: Vec<String>,
    finding: Vec<String>,
    is_wrong: bool,
    offset_px: [Measured; 2],
    times_interval: f64,
}

/// Cells beside each other: all as high as the fullest of them.
pub(crate) struct Row<'c, 'a> {
    cells: &'c [Cell<'a>],
    names: usize,
    abouts: usize,
    findings: usize,
}

impl<'c, 'a> Row<'c, 'a> {
    pub(crate) fn of(cells: &'c [Cell<'a>]) -> Self {
        let most = |lines: fn(&Cell<'a>) -> usize| cells.iter().map(lines).max().unwrap_or(0);
        Self {
            cells,
            names: most(|cell| cell.name.len()),
            abouts: most(|cell| cell.about.len()),
            findings: most(|cell| cell.finding.len()),
        }
    }

    /// In units.
    pub(crate) fn height(&self) -> f64 {
        let words = (self.names + self.abouts + self.findings) as f64 * STEP;
        let below = if self.findings > 0 { PAD } else { 0.0 };
        words + below + 2.0 * PATCH + 2.0 * BAR + 3.0 * PAD
    }
}

impl<'a> Strip<'a> {
    /// The cells of a view, or of the landmarks of this region alone.
    pub(crate) fn of(input: &ViewToDraw<'a>, region: Option<usize>) -> Self {
        let regions = &input.view.regions;
        let part_of = |i: usize| regions.iter().position(|r| r.landmarks.contains(&i));
        let is_shown = |i: usize| region.is_none_or(|r| regions[r].landmarks.contains(&i));
        let fits = &input.measurement.registration.landmarks;
        let mut found: Vec<_> = (input.work.patches.iter())
            .filter(|patches| is_shown(patches.landmark))
            .filter_map(|patches| {
                let fit = fits.get(patches.landmark)?;
                let part = part_of(patches.landmark);
                let cell = Cell::of(input, patches, part, fit);
                Some((part.unwrap_or(usize::MAX), cell))
            })
            .collect();
        found.sort_by(|(a_part, a), (b_part, b)| {
            let farther = b.times_interval.total_cmp(&a.times_interval);
            a_part.cmp(b_part).then(farther)
        });
        let cells: Vec<Cell<'a>> = found.into_iter().map(|(_, cell)| cell).collect();
        let longest = longest_bar(&cells);
        let per_px = LONGEST / longest;
        let bar_px = figures::round_down(longest);
        let mm = input
            .measurement
            .scales
            .model_mm_per_render_px(input.job.scale);
        let mm = mm.map(|mm| format!(" = {} mm on the model", figures::plain(bar_px * mm.value())));
        Self {
            cells,
            width_px: measurement::patch_width(&input.work.render_from_work),
            per_px,
            bar_words: format!(
                "{} px of the render{}",
                figures::plain(bar_px),
                mm.unwrap_or_default()
            ),
            bar: bar_px * per_px,
        }
    }

    /// Leaves out the cells that lie the least off, where there are more than `most`.
    fn keep_farthest(&mut self, most: usize) {
        // An exchanged mark lies off by little once that is known, and is to be seen all the same.
        let times = |k: &usize| match self.cells[*k].is_wrong {
            true => f64::INFINITY,
            false => self.cells[*k].times_interval,
        };
        let mut order: Vec<usize> = (0..self.cells.len()).collect();
        order.sort_by(|a, b| times(b).total_cmp(&times(a)));
        let left_out: BTreeSet<usize> = order.into_iter().skip(most).collect();
        let mut numbers = 0..;
        self.cells
            .retain(|_| numbers.next().is_some_and(|k| !left_out.contains(&k)));
    }

    /// What has to be known to read it.
    pub(crate) fn words(&self, input: &ViewToDraw<'_>) -> Vec<String> {
        let mut words = vec![format!(
            "Above, the render around its mark; below, the reference around its own, turned and scaled as it lies over the render: {} \
             px of the render wide. Both show the same place where both marks are right. Bars: how far the render's mark lies from \
             the reference's (→ and ↓ to the right of the middle), with the 95 % interval; an arrow at the end: longer than drawn.",
            figures::plain(self.width_px)
        )];
        let names: Vec<&str> = (self.cells.iter())
            .filter(|cell| cell.is_wrong)
            .map(|cell| name_of(input.view, cell.patches.landmark))
            .collect();
        if !names.is_empty() {
            let names = crate::printable::listed(names.into_iter());
            words.push(format!(
                "Contradict the others, framed: {names}; exchanged ones are measured the other way round."
            ));
        }
        words
    }

    /// Draws the words over the cells, and the length of a bar; where they end.
    pub(crate) fn draw_head(
        &self,
        scene: &mut Scene,
        room: Box2,
        unit: f64,
        words: &[String],
    ) -> f64 {
        let size = WORDS * unit;
        let mut y = room.y;
        for (k, entry) in words.iter().enumerate() {
            let font = if k == 0 { Font::Regular } else { Font::Bold };
            for line in text::lines(entry, font, size, room.width) {
                y += STEP * unit;
                scene.text([room.x, y], size, font, line);
            }
        }
        if self.cells.is_empty() {
            y += STEP * unit;
            scene.text([room.x, y], size, Font::Bold, "There is no landmark here.");
            return y;
        }
        y += 1.3 * STEP * unit;
        let middle = y - size * text::CAPITAL_HEIGHT / 2.0;
        let place = Box2::new(room.x, middle - 3.5 * unit, self.bar * unit, 7.0 * unit);
        scene.rectangle(
            place,
            Some(Stroke::solid(INK, unit)),
            Some(Fill::opaque(BAR_FILL)),
        );
        let start = place.right() + 6.0 * unit;
        let words = text::shorten(&self.bar_words, Font::Regular, size, room.right() - start);
        scene.text([start, y], size, Font::Regular, words);
        y
    }

    /// Draws cells beside each other, the first with its top left corner here; `put` is told each patch with its place, before
    /// anything is drawn over it.
    pub(crate) fn draw_row(
        &self,
        scene: &mut Scene,
        [left, top]: Position,
        unit: f64,
        row: &Row<'_, 'a>,
        put: &mut Put<'_, 'a>,
    ) {
        for (k, cell) in row.cells.iter().enumerate() {
            let area = Box2::new(
                left + PITCH * unit * k as f64,
                top,
                CELL * unit,
                row.height() * unit,
            );
            self.draw_cell(scene, area, unit, (row, cell), put);
        }
    }

    fn draw_cell(
        &self,
        scene: &mut Scene,
        area: Box2,
        unit: f64,
        (row, cell): (&Row<'_, 'a>, &Cell<'a>),
        put: &mut Put<'_, 'a>,
    ) {
        let frame = match cell.is_wrong {
            true => Stroke::dashed(WRONG.darker(0.85), 4.0 * unit),
            false => Stroke::solid(FRAME, 0.8 * unit),
        };
        scene.rectangle(area, Some(frame), None);
        let x = area.x + PAD * unit;
        let mut y = area.y + PAD * unit;
        let mut write = |lines: &[String], room: usize, font, colour| {
            for (k, line) in lines.iter().enumerate() {
                let at = [x, y + (k as f64 + 0.75) * STEP * unit];
                let size = if font == Font::Bold { NAME } else { WORDS } * unit;
                styled(scene, line, at, (size, font, colour));
            }
            y += room as f64 * STEP * unit;
            y
        };
        write(&cell.name, row.names, Font::Bold, INK);
        let y = write(&cell.about, row.abouts, Font::Regular, INK);
        let side = PATCH * unit;
        let above = Box2::new(x, y, side, side);
        let bars = Box2::new(x, above.bottom(), side, BAR * unit);
        self.draw_bars(scene, bars, unit, cell);
        let below = Box2::new(x, above.bottom() + (2.0 * BAR + PAD) * unit, side, side);
        let shown = [
            (&cell.patches.render, above, RENDER),
            (&cell.patches.reference, below, REFERENCE),
        ];
        for (patch, place, colour) in shown {
            put(scene, patch, place);
            draw_tick(scene, place.centre(), unit, colour);
        }
        if !cell.finding.is_empty() {
            draw_finding(scene, [x, below.bottom() + PAD * unit], unit, cell);
        }
    }

    /// How far the render's mark lies from the reference's, along x and along y, each in figures and as a bar.
    fn draw_bars(&self, scene: &mut Scene, first: Box2, unit: f64, cell: &Cell<'_>) {
        for axis in 0..2 {
            let top = first.y + first.height * axis as f64;
            let figure = cell.offset_px[axis];
            let size = WORDS * unit;
            let words = figures::offset(figure, axis, " px");
            let words = text::shorten(&words, Font::Regular, size, first.width);
            scene.text([first.x, top + 11.0 * unit], size, Font::Regular, words);
            let middle = [first.centre()[0], top + 18.5 * unit];
            self.draw_bar(scene, middle, unit, figure);
        }
    }

    fn draw_bar(&self, scene: &mut Scene, [zero, y]: Position, unit: f64, figure: Measured) {
        let end = |px: f64| {
            let long = (px * self.per_px).clamp(-LONGEST, LONGEST);
            zero + long * unit
        };
        let rule = Stroke::solid(GREY, 0.8 * unit);
        scene.line([end(-1e9), y], [end(1e9), y], rule);
        let value = end(figure.value());
        let (left, right) = (zero.min(value), zero.max(value));
        let bar = Box2::new(left, y - 3.5 * unit, right - left, 7.0 * unit);
        let ink = Stroke::solid(INK, unit);
        scene.rectangle(bar, Some(ink), Some(Fill::opaque(BAR_FILL)));
        let whisker = Stroke::solid(INK, 1.6 * unit);
        let ends = [figure.low(), figure.high()];
        scene.line([end(ends[0]), y], [end(ends[1]), y], whisker);
        for px in ends {
            let (at, long) = (end(px), px * self.per_px);
            match long.abs() > LONGEST {
                // It goes on beyond what is drawn.
                true => draw_head_of_arrow(scene, [at, y], unit * long.signum()),
                false => scene.line([at, y - 4.0 * unit], [at, y + 4.0 * unit], whisker),
            }
        }
        let zero_line = Stroke::solid(INK, 1.2 * unit);
        scene.line([zero, y - 5.5 * unit], [zero, y + 5.5 * unit], zero_line);
    }
}

const BAR_FILL: Rgb = Rgb(150, 150, 150);
const FRAME: Rgb = Rgb(190, 190, 190);

impl<'a> Cell<'a> {
    fn of(
        input: &ViewToDraw<'_>,
        patches: &'a MarkPatches,
        part: Option<usize>,
        fit: &LandmarkFit,
    ) -> Self {
        let landmark = &input.view.landmarks[patches.landmark];
        let part = part.map(|part| input.view.regions[part].name.as_str());
        let usage = match landmark.usage {
            LandmarkUse::Datum => "datum",
            LandmarkUse::Check => "check",
        };
        let about = match part.or(landmark.part.as_deref()) {
            Some(part) => format!("{usage}, {part}"),
            None => usage.to_owned(),
        };
        let is_wrong = is_wrong(fit);
        let finding = fit
            .finding
            .as_ref()
            .map(|found| found_in_words(input, found));
        let font = if is_wrong { Font::Bold } else { Font::Regular };
        let finding = finding.map(|words| text::wrap(&words, font, WORDS, PATCH - 6.0, 3));
        Self {
            patches,
            name: text::wrap(&landmark.name, Font::Bold, NAME, PATCH, 2),
            about: text::wrap(&about, Font::Regular, WORDS, PATCH, 2),
            finding: finding.unwrap_or_default(),
            is_wrong,
            offset_px: fit.offset_px,
            times_interval: measurement::times_interval(fit),
        }
    }
}

fn found_in_words(input: &ViewToDraw<'_>, found: &Finding) -> String {
    match found {
        Finding::Wrong => "wrong mark, left out".to_owned(),
        Finding::SwappedWith(other) => {
            let other = name_of(input.view, *other);
            format!("exchanged with {other}")
        }
        Finding::OffWithPart(part) => {
            let part = input.view.regions.get(*part);
            format!("off with all of {}", part.map_or("its part", |p| &p.name))
        }
        Finding::WrongPlace => "wrong place on the model".to_owned(),
        Finding::Contradicts(other) => {
            format!("this or {} is wrong", name_of(input.view, *other))
        }
        Finding::Uncontrolled => "no other mark checks it".to_owned(),
    }
}

/// Render pixels of the longest bar: that of the marks that are not wrong, but for few that lie far out.
fn longest_bar(cells: &[Cell<'_>]) -> f64 {
    /// A bar may be so many times as long as that of the middle mark.
    const MOST_TIMES: f64 = 4.0;
    let sound = cells.iter().filter(|cell| !cell.is_wrong);
    let mut ends: Vec<f64> = sound
        .flat_map(|cell| cell.offset_px)
        .map(|figure| figure.low().abs().max(figure.high().abs()))
        .filter(|px| px.is_finite())
        .collect();
    ends.sort_by(f64::total_cmp);
    let longest = match (ends.get(ends.len() / 2), ends.last()) {
        (Some(middle), Some(last)) => last.min(MOST_TIMES * middle),
        _ => 1.0,
    };
    longest.clamp(0.1, 1e6)
}

/// An open cross about the mark: what lies under it stays visible.
fn draw_tick(scene: &mut Scene, [x, y]: Position, unit: f64, colour: Rgb) {
    let (near, far) = (7.0 * unit, 24.0 * unit);
    let arms = [[1.0, 0.0], [-1.0, 0.0], [0.0, 1.0], [0.0, -1.0]];
    for stroke in [
        Stroke::solid(PAPER, 4.4 * unit),
        Stroke::solid(INK, 2.8 * unit),
        Stroke::solid(colour, 1.8 * unit),
    ] {
        for [dx, dy] in arms {
            scene.line(
                [x + dx * near, y + dy * near],
                [x + dx * far, y + dy * far],
                stroke,
            );
        }
    }
}

/// The head of an arrow at the end of a bar, to the right where `unit` is above 0.
fn draw_head_of_arrow(scene: &mut Scene, [x, y]: Position, unit: f64) {
    let (back, half) = (x - 4.0 * unit, 5.0 * unit.abs());
    let corners = vec![[x + 4.0 * unit, y], [back, y - half], [back, y + half]];
    scene.polygon(corners, None, Some(Fill::opaque(INK)));
}

/// What was found out about a mark; light on dark where it is wrong.
fn draw_finding(scene: &mut Scene, [x, y]: Position, unit: f64, cell: &Cell<'_>) {
    let step = STEP * unit;
    let (font, colour) = match cell.is_wrong {
        true => (Font::Bold, PAPER),
        false => (Font::Regular, INK),
    };
    if cell.is_wrong {
        let height = step * cell.finding.len() as f64;
        let area = Box2::new(x, y, PATCH * unit, height);
        scene.rectangle(area, None, Some(Fill::opaque(INK)));
    }
    for (k, line) in cell.finding.iter().enumerate() {
        let at = [x + 3.0 * unit, y + (k as f64 + 0.75) * step];
        styled(scene, line, at, (WORDS * unit, font, colour));
    }
}

fn styled(scene: &mut Scene, line: &str, at: Position, (size, font, colour): (f64, Font, Rgb)) {
    scene.styled(Line {
        text: line.to_owned(),
        at,
        size,
        font,
        align: Align::Start,
        colour,
        halo: 0.0,
    });
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drawing::{
        Paper,
        scene::Shape,
        synthetic::{Sample, Wish, foreign_name, long_name, plain_name},
    };

    /// The box of each text, from its capitals to its base line.
    fn texts(scene: &Scene) -> Vec<(&str, Box2)> {
        let boxes = scene.shapes().iter().filter_map(|shape| match shape {
            Shape::Text(line) => {
                let high = line.size * text::CAPITAL_HEIGHT;
                let long = text::width(&line.text, line.font, line.size);
                let area = Box2::new(line.at[0], line.at[1] - high, long, high);
                Some((line.text.as_str(), area))
            }
            _ => None,
        });
        boxes.collect()
    }

    fn words(scene: &Scene) -> String {
        let all: Vec<&str> = texts(scene).into_iter().map(|(text, _)| text).collect();
        all.join(" ")
    }

    #[test]
    fn nothing_leaves_the_strip_or_lies_over_anything_else() {
        for name in [plain_name as fn(usize) -> String, long_name, foreign_name] {
            for landmarks in [1, 12, 50] {
                let sample = Sample::new(Wish {
                    name,
                    landmarks,
                    ..Wish::new(700, 500, 7)
                });
                let (scene, patches) = lay_out(&sample.input(Paper::A4));
                assert_eq!(patches.len(), 2 * landmarks.min(MOST_CELLS));
                let whole = Box2::new(0.0, 0.0, scene.size[0], scene.size[1]);
                let texts = texts(&scene);
                for (i, (text, area)) in texts.iter().enumerate() {
                    assert!(whole.holds(*area), "{text:?} at {area:?}");
                    for (other, beside) in &texts[..i] {
                        let shared = area.grown(-0.2).shared(*beside);
                        assert_eq!(shared, 0.0, "{text:?} lies over {other:?}");
                    }
                    let on = patches.iter().find(|(_, place)| place.shared(*area) > 0.0);
                    assert!(on.is_none(), "{text:?} lies on a patch");
                }
                for (_, place) in patches {
                    assert!(whole.holds(place), "{place:?}");
                }
            }
        }
    }

    #[test]
    fn a_wrong_mark_is_named_over_all_cells_and_in_its_own() {
        let sample = Sample::new(Wish::new(700, 500, 7));
        let (scene, _) = lay_out(&sample.input(Paper::A4));
        let said = words(&scene);
        let names: Vec<&str> = [5, 7, 8]
            .map(|i| sample.job.views[0].landmarks[i].name.as_str())
            .to_vec();
        for name in &names {
            let head = said.split("px of the render =").next().expect("a head");
            assert!(head.contains(&format!("\"{name}\"")), "{name}: {said}");
        }
        assert_eq!(said.matches("wrong mark, left").count(), 1, "{said}");
        assert_eq!(said.matches("exchanged with").count(), 2, "{said}");
        let dashed = scene.shapes().iter().filter(|shape| {
            matches!(shape, Shape::Rectangle { stroke: Some(stroke), .. } if stroke.dash == crate::drawing::scene::Dash::Dashed)
        });
        assert_eq!(dashed.count(), 3);
    }

    #[test]
    fn cells_go_part_by_part_and_the_farthest_come_first() {
        let mut sample = Sample::new(Wish::new(700, 500, 7));
        sample.job.views[0].regions[0].landmarks = vec![2, 3, 4];
        sample.job.views[0].regions[1].landmarks = vec![0, 1];
        let strip = Strip::of(&sample.input(Paper::A4), None);
        let order: Vec<usize> = strip.cells.iter().map(|c| c.patches.landmark).collect();
        let groups: [&[usize]; 3] = [&order[..3], &order[3..5], &order[5..]];
        for (group, wanted) in
            groups
                .into_iter()
                .zip([vec![2, 3, 4], vec![0, 1], (5..12).collect()])
        {
            let mut sorted = group.to_vec();
            sorted.sort_unstable();
            assert_eq!(sorted, wanted, "{order:?}");
        }
        for range in [0..3, 3..5, 5..12] {
            let far = strip.cells[range].windows(2);
            for pair in far {
                assert!(pair[0].times_interval >= pair[1].times_interval);
            }
        }
        let part = Strip::of(&sample.input(Paper::A4), Some(1));
        assert_eq!(part.cells.len(), 2);
    }

    #[test]
    fn of_many_marks_the_picture_shows_those_that_lie_the_most_off_and_says_so() {
        let sample = Sample::new(Wish {
            landmarks: 300,
            ..Wish::new(300, 200, 7)
        });
        let input = sample.input(Paper::A4);
        let all = Strip::of(&input, None);
        let (scene, patches) = lay_out(&input);
        assert_eq!(patches.len(), 2 * MOST_CELLS);
        assert!(words(&scene).contains("Of 300 marks these 60 lie the most off"));
        let mut strip = Strip::of(&input, None);
        strip.keep_farthest(MOST_CELLS);
        let least = strip
            .cells
            .iter()
            .filter(|c| !c.is_wrong)
            .map(|c| c.times_interval)
            .fold(f64::MAX, f64::min);
        let farther = all.cells.iter().filter(|c| c.times_interval > least);
        assert!(farther.count() < MOST_CELLS);
        let wrong = |strip: &Strip<'_>| strip.cells.iter().filter(|c| c.is_wrong).count();
        assert_eq!(wrong(&strip), wrong(&all));
    }

    #[test]
    fn bars_are_as_long_as_the_scale_says_and_stop_where_there_is_no_room() {
        let sample = Sample::new(Wish::new(700, 500, 7));
        let strip = Strip::of(&sample.input(Paper::A4), None);
        let bar = |value: f64, half: f64| {
            let mut scene = Scene::new([200.0, 20.0]);
            let figure = Measured::plus_minus(value, half).expect("finite");
            strip.draw_bar(&mut scene, [100.0, 10.0], 1.0, figure);
            let filled = scene.shapes().iter().find_map(|shape| match shape {
                Shape::Rectangle { area, .. } => Some(*area),
                _ => None,
            });
            let heads = scene
                .shapes()
                .iter()
                .filter(|shape| matches!(shape, Shape::Path { closed: true, .. }));
            (filled.expect("a bar"), heads.count())
        };
        let px = 0.5 * LONGEST / strip.per_px;
        let (area, heads) = bar(px, 0.1 * px);
        assert!((area.x - 100.0).abs() < 1e-9 && (area.width - px * strip.per_px).abs() < 1e-9);
        assert_eq!(heads, 0);
        let (area, heads) = bar(-9.0 * px, 0.1 * px);
        assert!((area.right() - 100.0).abs() < 1e-9 && (area.width - LONGEST).abs() < 1e-9);
        assert_eq!(heads, 2, "both ends of the interval lie beyond");
    }

    #[test]
    fn a_view_without_landmarks_says_so() {
        let sample = Sample::new(Wish {
            landmarks: 0,
            ..Wish::new(300, 200, 0)
        });
        let (scene, patches) = lay_out(&sample.input(Paper::A4));
        assert!(patches.is_empty());
        assert!(words(&scene).contains("There is no landmark here."));
    }
}
