//! Which part of the pictures a sheet shows, and at which ratio to the model it is printed.
use super::{ViewToDraw, scene::Box2};

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
    let (width, height) = input.work.render.dimensions();
    let whole = Box2::new(0.0, 0.0, f64::from(width), f64::from(height));
    let work_from_render = input.work.render_from_work.inverse();
    let outlines = input
        .view
        .regions
        .iter()
        .flat_map(|region| region.outline.iter().copied());
    let marks = input.pairs.iter().map(|pair| pair.render);
    let points = outlines
        .chain(marks)
        .map(|p| work_from_render.apply(p).xy());
    let inside = points.filter(|p| whole.holds(Box2::new(p[0], p[1], 0.0, 0.0)));
    let Some(tight) = Box2::around(inside) else {
        return whole;
    };
    let around = tight.grown(0.06 * whole.width.max(whole.height));
    let (x, y) = (around.x.max(0.0), around.y.max(0.0));
    let (right, bottom) = (
        around.right().min(whole.width),
        around.bottom().min(whole.height),
    );
    Box2::new(x, y, right - x, bottom - y)
}

/// The window for a place of `cell` paper millimetres.
///
/// True model scale where the part that matters fits and does not come out tiny; else the simple ratio that shows it
/// largest; the whole picture, as large as it fits, where the render has no scale.
pub(crate) fn choose(input: &ViewToDraw<'_>, cell: [f64; 2]) -> Window {
    let (width, height) = input.work.render.dimensions();
    let focus = focus(input);
    let per_work_px = input.work.render_from_work.rows()[0][0];
    let scale = &input.measurement.scales;
    let scale = scale
        .model_mm_per_render_px(input.job.scale)
        .map(|mm| mm.value() * per_work_px)
        .filter(|mm| mm.is_finite() && *mm > 0.0);
    let Some(model_mm_per_px) = scale else {
        return whole([width, height], cell, None);
    };
    let fit = (cell[0] / focus.width).min(cell[1] / focus.height) / model_mm_per_px;
    match simple_ratio(fit) {
        Some(ratio) => cut([width, height], focus, cell, model_mm_per_px, ratio),
        None => whole([width, height], cell, Some(model_mm_per_px)),
    }
}

/// The ratio to print at where the part that matters would fill its place at `fit`.
fn simple_ratio(fit: f64) -> Option<f64> {
    // At true scale unless a third of the place or less would be filled.
    if (1.0..3.0).contains(&fit) {
        return Some(1.0);
    }
    const RATIOS: [f64; 12] = [
        10.0, 5.0, 2.0, 1.0, 0.5, 0.2, 0.1, 0.05, 0.02, 0.01, 0.005, 0.002,
    ];
    RATIOS.into_iter().find(|ratio| *ratio <= fit)
}

fn whole(size: [u32; 2], cell: [f64; 2], model_mm_per_px: Option<f64>) -> Window {
    let paper_mm_per_px = (cell[0] / f64::from(size[0])).min(cell[1] / f64::from(size[1]));
    Window {
        crop: [0, 0, size[0], size[1]],
        paper_mm_per_px,
        ratio: model_mm_per_px.map(|mm| paper_mm_per_px / mm),
    }
}

/// As much of the picture round the part that matters as the place holds at this ratio.
fn cut(size: [u32; 2], focus: Box2, cell: [f64; 2], model_mm_per_px: f64, ratio: f64) -> Window {
    let paper_mm_per_px = ratio * model_mm_per_px;
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
        ratio: Some(ratio),
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn true_scale_is_taken_where_it_fits_and_is_not_tiny() {
        assert_eq!(simple_ratio(1.0), Some(1.0));
        assert_eq!(simple_ratio(2.9), Some(1.0));
        assert_eq!(simple_ratio(4.0), Some(2.0));
        assert_eq!(simple_ratio(80.0), Some(10.0));
        assert_eq!(simple_ratio(0.99), Some(0.5));
        assert_eq!(simple_ratio(1e-6), None);
    }

    #[test]
    fn a_cut_window_keeps_the_scale_and_stays_in_the_picture() {
        let focus = Box2::new(900.0, 100.0, 90.0, 200.0);
        let window = cut([1000, 800], focus, [50.0, 60.0], 0.1, 1.0);
        assert_eq!(window.crop, [500, 0, 500, 600]);
        assert!((window.paper()[0] - 50.0).abs() < 1e-9);
        let small = cut(
            [100, 80],
            Box2::new(0.0, 0.0, 100.0, 80.0),
            [50.0, 60.0],
            0.1,
            1.0,
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
