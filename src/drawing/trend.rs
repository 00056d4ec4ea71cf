//! Errors over several results as a chart: a panel for each unit, a line for each figure with its interval as a whisker, named where
//! it ends.
use super::{
    Error,
    colours::{GREY, GROUND, INK, OUT, PAPER, REFERENCE, RENDER, Rgb, WITHIN, WRONG},
    png::encode_png,
    raster::Ground,
    scene::{Align, Box2, Dash, Fill, Line, Position, Scene, Stroke},
    svg::to_svg,
    text::{self, Font},
};

/// Lines in one panel: more cannot be told apart.
pub const MOST_TREND_LINES: usize = 6;

/// A panel of the chart.
#[derive(Clone, Debug, PartialEq)]
pub struct TrendPanel {
    /// What is drawn, with its unit.
    pub title: String,
    /// Unit of the axis.
    pub unit: &'static str,
    /// The smallest tolerance of its lines.
    pub tolerance: Option<f64>,
    /// At most [`MOST_TREND_LINES`] are drawn, the first ones.
    pub lines: Vec<TrendLine>,
}

/// A figure over all results.
#[derive(Clone, Debug, PartialEq)]
pub struct TrendLine {
    /// What it is called.
    pub name: String,
    /// Low, value and high in each result; `None` where it is not told.
    pub figures: Vec<Option<[f64; 3]>>,
}

/// The chart as SVG and as PNG; `results` are the names below, one for each figure of a line.
///
/// # Errors
/// Where the picture cannot be drawn.
pub fn trend_chart(results: &[String], panels: &[TrendPanel]) -> Result<[Vec<u8>; 2], Error> {
    let scene = scene(results, panels);
    let svg = to_svg(&with_ground(&scene));
    let size = scene.size.map(|side| (side * SCALE).round() as u32);
    let picture = Ground::plain(size, PAPER)?.draw(&scene, SCALE)?;
    Ok([svg.into_bytes(), encode_png(&picture)?])
}

/// Pixels a unit.
const SCALE: f64 = 2.0;
const WIDTH: f64 = 1000.0;
const PANEL: f64 = 330.0;
/// Around the plot of a panel: left, top, right, bottom.
const AROUND: [f64; 4] = [84.0, 40.0, 270.0, 44.0];
const TEXT: f64 = 13.0;
const SMALL: f64 = 12.0;

/// Colour, style and mark of each line.
const LOOKS: [(Rgb, Dash, Mark); MOST_TREND_LINES] = [
    (RENDER, Dash::Solid, Mark::Disc),
    (REFERENCE, Dash::Dashed, Mark::Square),
    (WITHIN, Dash::Dotted, Mark::Ring),
    (OUT, Dash::Solid, Mark::Square),
    (WRONG, Dash::Dashed, Mark::Disc),
    (INK, Dash::Dotted, Mark::Ring),
];

#[derive(Clone, Copy)]
enum Mark {
    Disc,
    Square,
    Ring,
}

/// The same with the paper behind it, for viewers with a dark ground.
fn with_ground(scene: &Scene) -> Scene {
    let mut whole = Scene::new(scene.size);
    let [width, height] = scene.size;
    let area = Box2::new(0.0, 0.0, width, height);
    whole.rectangle(area, None, Some(Fill::opaque(PAPER)));
    scene
        .shapes()
        .iter()
        .for_each(|shape| whole.push(shape.clone()));
    whole
}

fn scene(results: &[String], panels: &[TrendPanel]) -> Scene {
    let mut scene = Scene::new([WIDTH, PANEL * panels.len().max(1) as f64]);
    for (k, panel) in panels.iter().enumerate() {
        let top = PANEL * k as f64;
        let [left, above, right, below] = AROUND;
        let area = Box2::new(
            left,
            top + above,
            WIDTH - left - right,
            PANEL - above - below,
        );
        let title = text::shorten(
            &text::clean(&panel.title),
            Font::Bold,
            TEXT + 1.0,
            WIDTH - left,
        );
        scene.text([left, top + 24.0], TEXT + 1.0, Font::Bold, title);
        Plot::new(panel, area, results.len()).draw(&mut scene, results);
    }
    scene
}

/// One panel with its scales.
struct Plot<'a> {
    panel: &'a TrendPanel,
    lines: &'a [TrendLine],
    area: Box2,
    columns: usize,
    /// Lower and upper end of the axis, and the distance of its ticks.
    low: f64,
    high: f64,
    tick: f64,
}

impl<'a> Plot<'a> {
    fn new(panel: &'a TrendPanel, area: Box2, columns: usize) -> Self {
        let lines = &panel.lines[..panel.lines.len().min(MOST_TREND_LINES)];
        let figures = lines.iter().flat_map(|line| line.figures.iter().flatten());
        let tolerance = panel.tolerance.unwrap_or(0.0);
        let ends = figures.flatten().copied().filter(|v| v.is_finite());
        let (low, high) = ends.fold((-tolerance, tolerance), |(low, high), v| {
            (low.min(v), high.max(v))
        });
        let tick = nice_step((high - low) / 5.0);
        Self {
            panel,
            lines,
            area,
            columns,
            low: (low / tick).floor() * tick,
            high: (high / tick).ceil() * tick,
            tick,
        }
    }

    fn y(&self, value: f64) -> f64 {
        let share = (value - self.low) / (self.high - self.low);
        self.area.bottom() - share * self.area.height
    }

    /// The middle of a result's column.
    fn x(&self, column: usize) -> f64 {
        self.area.x + self.area.width * (column as f64 + 0.5) / self.columns as f64
    }

    /// The same beside the other lines, so that whiskers do not hide each other.
    fn x_of(&self, column: usize, line: usize) -> f64 {
        let step = (self.area.width / self.columns as f64 / 12.0).min(7.0);
        self.x(column) + step * (line as f64 - (self.lines.len() as f64 - 1.0) / 2.0)
    }

    fn draw(&self, scene: &mut Scene, results: &[String]) {
        self.ground(scene);
        self.names_of_results(scene, results);
        let mut ends = Vec::new();
        for (k, line) in self.lines.iter().enumerate() {
            ends.extend(self.line(scene, k, line));
        }
        self.names_of_lines(scene, &ends);
        let left_out = self.panel.lines.len() - self.lines.len();
        if left_out > 0 {
            let words = format!("{left_out} more stand in the table");
            let at = [self.area.right() + 14.0, self.area.bottom() + 20.0];
            scene.styled(plain(words, at, Align::Start, GREY));
        }
    }

    /// The tolerance, ticks and the line of no error.
    fn ground(&self, scene: &mut Scene) {
        if let Some(tolerance) = self.panel.tolerance {
            let (top, bottom) = (self.y(tolerance), self.y(-tolerance));
            let band = Box2::new(self.area.x, top, self.area.width, bottom - top);
            scene.rectangle(band, None, Some(Fill::opaque(GROUND)));
        }
        let count = ((self.high - self.low) / self.tick).round() as i64;
        for k in 0..=count.min(20) {
            let value = self.low + k as f64 * self.tick;
            let y = self.y(value);
            let (from, to) = ([self.area.x, y], [self.area.right(), y]);
            let is_zero = value.abs() < self.tick / 2.0;
            let stroke = match is_zero {
                true => Stroke::solid(INK, 1.2),
                false => Stroke::solid(Rgb(215, 215, 215), 0.6),
            };
            scene.line(from, to, stroke);
            let words = tick_words(value, self.tick, self.panel.unit);
            let at = [self.area.x - 8.0, y + SMALL * 0.35];
            scene.styled(plain(words, at, Align::End, INK));
        }
    }

    /// As many as have room.
    fn names_of_results(&self, scene: &mut Scene, results: &[String]) {
        let slot = self.area.width / self.columns.max(1) as f64;
        let every = (90.0 / slot).ceil().max(1.0) as usize;
        for (column, name) in results.iter().enumerate() {
            // The newest one is always named.
            if !(self.columns - 1 - column).is_multiple_of(every) {
                continue;
            }
            let room = slot * every as f64 - 8.0;
            let words = text::shorten(&text::clean(name), Font::Regular, SMALL, room);
            let at = [self.x(column), self.area.bottom() + 20.0];
            scene.styled(plain(words, at, Align::Middle, INK));
        }
    }

    /// Draws a line with its whiskers; returns where it ends, where it is told at all.
    fn line(&self, scene: &mut Scene, k: usize, line: &TrendLine) -> Option<(usize, Position)> {
        let (colour, dash, mark) = LOOKS[k];
        let stroke = Stroke {
            colour,
            width: 1.8,
            dash,
        };
        let told = line.figures.iter().enumerate();
        let told = told.filter_map(|(column, figure)| Some((column, (*figure)?)));
        let told: Vec<_> = told.collect();
        for pair in told.windows(2) {
            let [(a, from), (b, to)] = [pair[0], pair[1]];
            // A result without the figure breaks the line.
            if b == a + 1 {
                let place = |column, value| [self.x_of(column, k), self.y(value)];
                scene.line(place(a, from[1]), place(b, to[1]), stroke);
            }
        }
        for (column, [low, value, high]) in &told {
            let x = self.x_of(*column, k);
            let [low, value, high] = [low, value, high].map(|v| self.y(*v));
            scene.line([x, low], [x, high], Stroke::solid(colour, 1.2));
            for end in [low, high] {
                scene.line([x - 3.0, end], [x + 3.0, end], Stroke::solid(colour, 1.2));
            }
            draw_mark(scene, mark, [x, value], colour);
        }
        let (column, [_, value, _]) = told.last()?;
        Some((k, [self.x_of(*column, k), self.y(*value)]))
    }

    /// Names at the right, each led to by a thin line, moved apart where they would lie on each other.
    fn names_of_lines(&self, scene: &mut Scene, ends: &[(usize, Position)]) {
        const STEP: f64 = TEXT + 5.0;
        let mut places: Vec<(usize, Position, f64)> =
            ends.iter().map(|(k, end)| (*k, *end, end[1])).collect();
        places.sort_by(|a, b| a.2.total_cmp(&b.2));
        let mut lowest = self.area.y - STEP + TEXT;
        for (.., y) in &mut places {
            *y = y.max(lowest + STEP);
            lowest = *y;
        }
        let mut highest = self.area.bottom() + STEP;
        for (.., y) in places.iter_mut().rev() {
            *y = y.min(highest - STEP);
            highest = *y;
        }
        let left = self.area.right() + 14.0;
        for (k, end, y) in places {
            let (colour, _, mark) = LOOKS[k];
            scene.line(
                [end[0] + 6.0, end[1]],
                [left - 4.0, y],
                Stroke::solid(colour, 0.6),
            );
            draw_mark(scene, mark, [left + 3.0, y], colour);
            let room = WIDTH - left - 20.0;
            let words = text::shorten(&text::clean(&self.lines[k].name), Font::Regular, TEXT, room);
            scene.text([left + 13.0, y + TEXT * 0.35], TEXT, Font::Regular, words);
        }
    }
}

fn draw_mark(scene: &mut Scene, mark: Mark, at: Position, colour: Rgb) {
    match mark {
        Mark::Disc => scene.circle(at, 4.0, None, Some(Fill::opaque(colour))),
        Mark::Ring => scene.circle(
            at,
            4.0,
            Some(Stroke::solid(colour, 1.6)),
            Some(Fill::opaque(PAPER)),
        ),
        Mark::Square => {
            let area = Box2::new(at[0] - 3.6, at[1] - 3.6, 7.2, 7.2);
            scene.rectangle(area, None, Some(Fill::opaque(colour)));
        }
    }
}

fn plain(text: String, at: Position, align: Align, colour: Rgb) -> Line {
    Line {
        text,
        at,
        size: SMALL,
        font: Font::Regular,
        align,
        colour,
        halo: 0.0,
    }
}

/// The next of 1, 2, 5, 10, ... times a power of ten.
fn nice_step(least: f64) -> f64 {
    if !(least.is_finite() && least > 0.0) {
        return 1.0;
    }
    let power = 10_f64.powf(least.log10().floor());
    let step = [1.0, 2.0, 5.0].map(|m| m * power);
    step.into_iter()
        .find(|s| *s >= least)
        .unwrap_or(10.0 * power)
}

/// "+2 %", with as many decimals as the ticks need.
fn tick_words(value: f64, tick: f64, unit: &str) -> String {
    let unit = match unit {
        "°" => unit.to_owned(),
        _ => format!(" {unit}"),
    };
    let places = (-tick.log10().floor()).clamp(0.0, 6.0) as usize;
    if value.abs() < tick / 2.0 {
        return format!("0{unit}");
    }
    format!("{value:+.places$}{unit}").replace('-', "−")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round() {
        for (least, step) in [
            (0.03, 0.05),
            (1.0, 1.0),
            (1.2, 2.0),
            (60.0, 100.0),
            (0.0, 1.0),
        ] {
            assert!((nice_step(least) - step).abs() < 1e-12, "{least}");
        }
        assert_eq!(tick_words(-0.5, 0.5, "mm"), "−0.5 mm");
        assert_eq!(tick_words(0.0, 2.0, "%"), "0 %");
    }

    #[test]
    fn names_of_lines_that_end_together_do_not_lie_on_each_other() {
        let line = |k: usize| TrendLine {
            name: format!("part {k}"),
            figures: vec![
                Some([0.9, 1.0, 1.1]),
                None,
                Some([-0.1, 0.001 * k as f64, 0.1]),
            ],
        };
        let panel = TrendPanel {
            title: "Sizes".to_owned(),
            unit: "%",
            tolerance: Some(2.0),
            lines: (0..8).map(line).collect(),
        };
        let results = ["a", "b", "c"].map(str::to_owned);
        let scene = scene(&results, &[panel]);
        let mut names: Vec<f64> = scene
            .shapes()
            .iter()
            .filter_map(|shape| match shape {
                crate::drawing::scene::Shape::Text(line) if line.text.starts_with("part ") => {
                    Some(line.at[1])
                }
                _ => None,
            })
            .collect();
        assert_eq!(names.len(), MOST_TREND_LINES);
        names.sort_by(f64::total_cmp);
        assert!(names.windows(2).all(|y| y[1] - y[0] >= TEXT), "{names:?}");
        assert!(names.iter().all(|y| *y > 0.0 && *y < PANEL));
    }
}
