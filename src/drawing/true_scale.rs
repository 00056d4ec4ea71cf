//! A rectified reference as a picture for CAD: so many pixels a millimetre of the model, the same with a grid at true scale as SVG
//! and as a page of PDF.
use super::{
    Error,
    colours::{GREY, INK, REFERENCE},
    pdf,
    png::{encode_jpeg, encode_png_at},
    printed_page::PrintedPage,
    scene::{Align, Box2, Line, Position, Scene, Stroke},
    svg,
    text::Font,
};
use crate::{
    frame::{FromReference, PlainMm, Projective, RectifiedPx},
    kernels::warp,
};
use image::RgbImage;
use std::{borrow::Cow, sync::Arc};

/// What is shown of a reference.
#[derive(Clone, Copy, Debug)]
pub struct TrueScale<'a> {
    /// Title of the document.
    pub title: &'a str,
    /// Name of the view.
    pub view: &'a str,
    /// From the reference to full-size millimetres in its plane.
    pub plain_from_reference: &'a FromReference<PlainMm>,
    /// N of the scale 1:N.
    pub denominator: f64,
    /// Left, top, width and height of what is shown, millimetres on the model from the plane's own zero.
    pub area_mm: [f64; 4],
    /// Where the origin lies, millimetres on the model from there.
    pub origin_mm: [f64; 2],
    /// What runs to the right and upwards, for the grid: names of axes with their signs.
    pub axes: [(&'a str, f64); 2],
    /// Pixels a millimetre of the model.
    pub px_per_mm: f64,
}

/// The files of a backdrop.
#[derive(Clone, Debug)]
pub struct TrueScaleFiles {
    /// The picture; it says how many pixels a metre it has.
    pub png: Vec<u8>,
    /// The picture, by its file's name, with the grid; sizes in millimetres.
    pub svg: String,
    /// The same as a page as large as the picture.
    pub pdf: Vec<u8>,
}

/// File name of the picture, by which the SVG finds it beside itself.
pub const BACKDROP_PICTURE: &str = "backdrop.png";
/// Lines of the grid at most in each direction; the step grows so far.
const MOST_LINES: f64 = 400.0;
/// Longest side of a page, millimetres: PDF knows 14400 points.
pub const LONGEST_PAGE_MM: f64 = 5080.0;

/// Width and height in pixels of an area of this width and height in millimetres.
pub fn true_scale_size([width, height]: [f64; 2], px_per_mm: f64) -> [f64; 2] {
    [width, height].map(|mm| (mm * px_per_mm).round().max(1.0))
}

/// Shows a reference at true scale. The caller sees to it that the size is within bounds.
///
/// # Errors
/// [`Error::Png`], [`Error::Jpeg`], [`Error::Pdf`], [`Error::Scene`] and [`Error::Stopped`].
pub fn draw_true_scale(
    reference: &RgbImage,
    shown: &TrueScale<'_>,
) -> Result<TrueScaleFiles, Error> {
    let [left, top, width, height] = shown.area_mm;
    let [columns, rows] = true_scale_size([width, height], shown.px_per_mm);
    let mm_per_px = 1.0 / shown.px_per_mm;
    let plain_from_picture = Projective::<PlainMm, RectifiedPx>::similarity(
        mm_per_px * shown.denominator,
        0.0,
        [left * shown.denominator, top * shown.denominator],
    );
    let back = shown
        .plain_from_reference
        .inverse()
        .after(&plain_from_picture);
    let picture = warp::warp_finely(reference, (columns as u32, rows as u32), &back);
    // Whole pixels: the picture may reach half a pixel less or more than the area.
    let size = [columns * mm_per_px, rows * mm_per_px];
    let jpeg = Arc::new(encode_jpeg(&picture)?);
    let page = PrintedPage {
        title: shown.title.to_owned(),
        chapter: shown.view.to_owned(),
        name: shown.view.to_owned(),
        size_mm: size,
        svg: svg::to_svg(&scene(shown, size, Cow::Borrowed("backdrop"))),
        pictures: vec![("backdrop".to_owned(), jpeg)],
        aspect: None,
    };
    Ok(TrueScaleFiles {
        png: encode_png_at(&picture, shown.px_per_mm * 25.4)?,
        svg: svg::to_svg_in_mm(&scene(shown, size, Cow::Borrowed(BACKDROP_PICTURE))),
        pdf: pdf::sheets_pdf(1, [Ok(page)])?,
    })
}

/// The picture with the grid over it, in millimetres.
fn scene(shown: &TrueScale<'_>, size: [f64; 2], picture: Cow<'static, str>) -> Scene {
    let mut scene = Scene::new(size);
    scene.picture(picture, Box2::new(0.0, 0.0, size[0], size[1]));
    let origin = [0, 1].map(|k| shown.origin_mm[k] - shown.area_mm[k]);
    let step = grid_step(size[0].max(size[1]));
    for axis in [0, 1] {
        grid(&mut scene, axis, origin[axis], step, size);
    }
    for (axis, (name, sign)) in shown.axes.into_iter().enumerate() {
        figures(&mut scene, axis, (name, sign), (origin, step), size);
    }
    scene
}

/// Ten millimetres, or so much more that the lines can be told apart.
fn grid_step(longest: f64) -> f64 {
    let mut step = 10.0;
    while longest / step > MOST_LINES {
        step *= 10.0;
    }
    step
}

/// Whole steps of the grid from the origin that lie in the picture.
fn steps(origin: f64, step: f64, length: f64) -> impl Iterator<Item = i64> {
    let first = (-origin / step).ceil() as i64;
    let last = ((length - origin) / step).floor() as i64;
    first..=last
}

fn grid(scene: &mut Scene, axis: usize, origin: f64, step: f64, size: [f64; 2]) {
    for number in steps(origin, step, size[axis]) {
        let at = origin + number as f64 * step;
        let (from, to): (Position, Position) = match axis {
            0 => ([at, 0.0], [at, size[1]]),
            _ => ([0.0, at], [size[0], at]),
        };
        let stroke = match number {
            0 => Stroke::solid(REFERENCE, 0.25),
            number if number % 5 == 0 => Stroke::solid(GREY, 0.12),
            _ => Stroke::solid(GREY, 0.05),
        };
        scene.line(from, to, stroke);
    }
}

/// Figures along the upper and the left border at every fifth line, and the names of the axes beside the origin's lines.
fn figures(
    scene: &mut Scene,
    axis: usize,
    (name, sign): (&str, f64),
    (origin, step): (Position, f64),
    size: [f64; 2],
) {
    const SIZE: f64 = 2.2;
    let line = |text: String, at: Position, align: Align| Line {
        text,
        at,
        size: SIZE,
        font: Font::Regular,
        align,
        colour: INK,
        halo: 0.4,
    };
    for number in steps(origin[axis], step, size[axis]).filter(|number| number % 5 == 0) {
        let value = number as f64 * step * sign;
        let words = match number {
            0 => format!("{name} 0"),
            _ => format!("{value}").replace('-', "−"),
        };
        let at = origin[axis] + number as f64 * step;
        // What would be cut by the border is left out.
        let (place, align, room) = match axis {
            0 => ([at, SIZE * 1.2], Align::Middle, 4.0),
            _ => ([0.8, at + SIZE * 0.35], Align::Start, SIZE * 2.0),
        };
        if at > room && at < size[axis] - room {
            scene.styled(line(words, place, align));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_grid_goes_through_the_origin_and_stays_within_the_picture() {
        let found: Vec<i64> = steps(23.0, 10.0, 60.0).collect();
        assert_eq!(found, [-2, -1, 0, 1, 2, 3]);
        assert_eq!(steps(-5.0, 10.0, 3.0).count(), 0);
        assert_eq!(grid_step(300.0), 10.0);
        assert_eq!(grid_step(4001.0), 100.0);
    }
}
