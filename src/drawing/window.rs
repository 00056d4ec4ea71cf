//! Which part of the pictures a sheet shows, and at which ratio to the model it is printed.
use super::{ViewToDraw, drawing_scale::DrawingScale, scene::Box2};
use crate::frame::{Point, RenderPx};

/// The part of the working grid that is printed, and its size on paper.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Window {
    /// Left, top, width, height in whole working pixels.
    pub crop: [u32; 4],
    /// Paper millimetres per working pixel.
    pub paper_mm_per_px: f64,
    /// Paper millimetres per millimetre of the model; `None` where the render has no scale.
    pub ratio: Option<f64>,
}

impl Window {
    /// Width and height on paper, millimetres.
    pub(crate) fn paper(&self) -> [f64; 2] {
        [self.crop[2], self.crop[3]].map(|px| f64::from(px) * self.paper_mm_per_px)
    }
}

/// The part that matters: all regions and landmarks and a little around them, working pixels.
pub(crate) fn focus(input: &ViewToDraw<'_>) -> Box2 {
    let outlines = input
        .view
        .regions
        .iter()
        .flat_map(|region| region.outline.iter().copied());
    let marks = input.pairs.iter().map(|pair| pair.render);
    let whole = whole_picture(input);
    let margin = 0.06 * whole.width.max(whole.height);
    around(input, outlines.chain(marks), margin)
}

/// How much around a part is shown beside its own longer side: enough to see where it sits.
const AROUND_PART: f64 = 0.1;

/// A part and a little around it, working pixels.
pub(crate) fn focus_on(input: &ViewToDraw<'_>, region: usize) -> Box2 {
    let outline = &input.view.regions[region].outline;
    let per_work_px = input.work.render_from_work.rows()[0][0];
    let size = Box2::around(outline.iter().map(|p| p.xy()));
    let size = size.map_or(0.0, |size| size.width.max(size.height));
    around(
        input,
        outline.iter().copied(),
        AROUND_PART * size / per_work_px,
    )
}

/// What lies within so much of these points, as far as the picture goes; all of it where none of them lies in it.
fn around(
    input: &ViewToDraw<'_>,
    points: impl Iterator<Item = Point<RenderPx>>,
    margin: f64,
) -> Box2 {
    let whole = whole_picture(input);
    let work_from_render = input.work.render_from_work.inverse();
    let points = points.map(|p| work_from_render.apply(p).xy());
    let inside = points.filter(|p| whole.holds(Box2::new(p[0], p[1], 0.0, 0.0)));
    let Some(tight) = Box2::around(inside) else {
        return whole;
    };
    // Half a pixel at least: what has no extent fills no place.
    let around = tight.grown(margin.max(0.5));
    let (x, y) = (around.x.max(0.0), around.y.max(0.0));
    let (right, bottom) = (
        around.right().min(whole.width),
        around.bottom().min(whole.height),
    );
    Box2::new(x, y, right - x, bottom - y)
}

fn whole_picture(input: &ViewToDraw<'_>) -> Box2 {
    let (width, height) = input.work.render.dimensions();
    Box2::new(0.0, 0.0, f64::from(width), f64::from(height))
}

/// Millimetres on the model in a working pixel, where a scale is known.
pub(crate) fn model_mm_per_work_px(input: &ViewToDraw<'_>) -> Option<f64> {
    let per_work_px = input.work.render_from_work.rows()[0][0];
    let scales = &input.measurement.scales;
    scales
        .model_mm_per_render_px(input.job.scale)
        .map(|mm| mm.value() * per_work_px)
        .filter(|mm| mm.is_finite() && *mm > 0.0)
}

/// At which scale a picture is printed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Fit {
    /// True model scale where the part that matters fits and does not come out tiny; else the drawing scale that shows it largest.
    TrueScale,
    /// The drawing scale that shows it largest.
    DrawingScale,
    /// As large as it fits.
    Largest,
}

/// The window for a place of `cell` paper millimetres, around `focus`; the whole picture, as large as it fits, where the render has
/// no scale and one is asked for.
pub(crate) fn choose(input: &ViewToDraw<'_>, focus: Box2, cell: [f64; 2], fit: Fit) -> Window {
    let size = input.work.render.dimensions().into();
    let mm_per_px = model_mm_per_work_px(input);
    let largest = (cell[0] / focus.width).min(cell[1] / focus.height);
    if fit == Fit::Largest {
        let ratio = mm_per_px.map(|mm| largest / mm);
        return cut(size, focus, cell, (largest, ratio));
    }
    let Some(mm_per_px) = mm_per_px else {
        return whole(size, cell, None);
    };
    let scale = match fit {
        Fit::TrueScale => simple_scale(largest / mm_per_px),
        Fit::DrawingScale | Fit::Largest => DrawingScale::largest_within(largest / mm_per_px),
    };
    match scale.map(DrawingScale::ratio) {
        Some(ratio) => cut(size, focus, cell, (ratio * mm_per_px, Some(ratio))),
        None => whole(size, cell, Some(mm_per_px)),
    }
}

/// The scale to print at where the part that matters would fill its place at `fit`.
pub(crate) fn simple_scale(fit: f64) -> Option<DrawingScale> {
    // At true scale unless a third of the place or less would be filled.
    if (1.0..3.0).contains(&fit) {
        return Some(DrawingScale::FULL_SIZE);
    }
    DrawingScale::largest_within(fit)
}

fn whole(size: [u32; 2], cell: [f64; 2], model_mm_per_px: Option<f64>) -> Window {
    let paper_mm_per_px = (cell[0] / f64::from(size[0])).min(cell[1] / f64::from(size[1]));
    Window {
        crop: [0, 0, size[0], size[1]],
        paper_mm_per_px,
        ratio: model_mm_per_px.map(|mm| paper_mm_per_px / mm),
    }
}

/// As much of the picture round the part that matters as the place holds at so many paper millimetres a pixel.
fn cut(
    size: [u32; 2],
    focus: Box2,
    cell: [f64; 2],
    (paper_mm_per_px, ratio): (f64, Option<f64>),
) -> Window {
    let centre = focus.centre();
    let range = |k: usize| {
        let room = (cell[k] / paper_mm_per_px + 1e-9).floor().max(1.0);
        let count = size[k].min(room as u32);
        let start = (centre[k] - f64::from(count) / 2.0).round();
        (start.clamp(0.0, f64::from(size[k] - count)) as u32, count)
    };
    let ((x, width), (y, height)) = (range(0), range(1));
    Window {
        crop: [x, y, width, height],
        paper_mm_per_px,
        ratio,
    }
}

/// The ratio in words: `2:1`, `1:5`, `1:3.7`.
pub(crate) fn ratio_words(ratio: f64) -> String {
    let plain = super::figures::plain;
    if ratio >= 1.0 {
        format!("{}:1", plain(ratio))
    } else {
        format!("1:{}", plain(1.0 / ratio))
    }
}

impl Window {
    /// Its scale as a title block says it.
    pub(crate) fn scale_words(&self) -> String {
        self.ratio.map_or("not to scale".to_owned(), ratio_words)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn true_scale_is_taken_where_it_fits_and_is_not_tiny() {
        let ratio = |fit| simple_scale(fit).map(DrawingScale::ratio);
        assert_eq!(ratio(1.0), Some(1.0));
        assert_eq!(ratio(2.9), Some(1.0));
        assert_eq!(ratio(4.0), Some(2.0));
        assert_eq!(ratio(80.0), Some(50.0));
        assert_eq!(ratio(0.99), Some(0.5));
        assert_eq!(ratio(1e-6), None);
    }

    #[test]
    fn a_cut_window_keeps_the_scale_and_stays_in_the_picture() {
        let focus = Box2::new(900.0, 100.0, 90.0, 200.0);
        let window = cut([1000, 800], focus, [50.0, 60.0], (0.1, Some(1.0)));
        assert_eq!(window.crop, [500, 0, 500, 600]);
        assert!((window.paper()[0] - 50.0).abs() < 1e-9);
        let small = cut(
            [100, 80],
            Box2::new(0.0, 0.0, 100.0, 80.0),
            [50.0, 60.0],
            (0.1, Some(1.0)),
        );
        assert_eq!(small.crop, [0, 0, 100, 80]);
        assert!((small.paper()[0] - 10.0).abs() < 1e-9);
    }

    #[test]
    fn ratios_read_as_on_a_drawing() {
        assert_eq!(ratio_words(2.0), "2:1");
        assert_eq!(ratio_words(1.0), "1:1");
        assert_eq!(ratio_words(0.2), "1:5");
    }
}
