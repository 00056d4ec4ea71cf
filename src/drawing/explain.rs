//! Before and after: what was done to a reference before it was measured, one picture a step.
use super::{
    DrawnFile, Error,
    colours::{GREY, PAPER, REFERENCE, Rgb},
    raster::Ground,
    reduce,
    scene::{Scene, Stroke},
    text::{self, Font},
};
use crate::{
    frame::{Point, ReferencePx},
    kernels::Plane,
    measurement::{Explained, Step},
};
use image::RgbImage;
use std::borrow::Cow;

/// Widest that one side may be, pixels; smaller ones are enlarged by a whole factor.
const MOST_WIDTH: u32 = 720;
/// Font size, and the margin around both sides.
const TEXT: f64 = 20.0;
const MARGIN: u32 = 16;
/// Most lines of a caption.
const MOST_LINES: usize = 3;
/// Width of the stripes over what is masked, pixels, and their colours: a grey print shows them too.
const STRIPE: usize = 6;
const STRIPES: [Rgb; 2] = [PAPER, GREY];

/// The pictures of the steps that acted.
///
/// # Errors
/// Where a picture cannot be drawn or encoded.
pub fn explain(steps: &[Explained]) -> Result<Vec<DrawnFile>, Error> {
    let draw = |step: &Explained| {
        let (names, captions) = words(step.step);
        let after = match &step.usable {
            None => Cow::Borrowed(&step.after),
            Some(usable) => Cow::Owned(striped(&step.after, usable)),
        };
        DrawnFile::of_picture(names, &side_by_side(&step.before, &after, captions, &[])?)
    };
    steps.iter().map(draw).collect()
}

/// The reference with the corners that were marked in it (none where it was rectified by something else), and the
/// rectified picture.
///
/// # Errors
/// Where the picture cannot be drawn or encoded.
pub fn explain_rectification(
    reference: &RgbImage,
    corners: &[Point<ReferencePx>],
    rectified: &RgbImage,
) -> Result<DrawnFile, Error> {
    let before = if corners.is_empty() {
        "Before: the reference as it is on disk"
    } else {
        "Before: the reference as it is on disk, with the marked corners"
    };
    let captions = [before, "After: the same picture rectified"];
    let corners: Vec<[f64; 2]> = corners.iter().map(|c| c.xy()).collect();
    let names = ("explain_rectify", "explain-rectify.png");
    DrawnFile::of_picture(
        names,
        &side_by_side(reference, rectified, captions, &corners)?,
    )
}

/// Key in the report, name of the file; captions before and after.
fn words(step: Step) -> ((&'static str, &'static str), [&'static str; 2]) {
    match step {
        Step::Descreen => (
            ("explain_descreen", "explain-descreen.png"),
            [
                "Before: a piece from the middle of the reference, its pixels enlarged",
                "After: the screen's pattern filtered out; edges are looked for in this",
            ],
        ),
        Step::Glare => (
            ("explain_glare", "explain-glare.png"),
            [
                "Before: the reference",
                "After: no edge is taken from the striped patches, where a light is mirrored",
            ],
        ),
        Step::Letterbox => (
            ("explain_letterbox", "explain-letterbox.png"),
            [
                "Before: the whole picture on the screen",
                "After: no edge is taken from the striped bars and their borders",
            ],
        ),
    }
}

/// Both pictures beside each other with their captions below; `corners`, in pixels of the first, are drawn over it.
fn side_by_side(
    before: &RgbImage,
    after: &RgbImage,
    captions: [&str; 2],
    corners: &[[f64; 2]],
) -> Result<RgbImage, Error> {
    let sides = [before, after].map(fitted);
    let widest = sides.iter().map(|s| s.width()).max().unwrap_or(1).max(320);
    let highest = sides.iter().map(|s| s.height()).max().unwrap_or(1);
    let lines = captions
        .map(|caption| text::wrap(caption, Font::Regular, TEXT, f64::from(widest), MOST_LINES));
    let count = lines.iter().map(Vec::len).max().unwrap_or(1) as f64;
    let below = (TEXT * (1.4 * count + 0.6)).ceil() as u32;
    let size = [2 * widest + 3 * MARGIN, highest + below + 2 * MARGIN];
    let mut ground = Ground::plain(size, PAPER)?;
    let mut scene = Scene::new(size.map(f64::from));
    for (k, side) in sides.iter().enumerate() {
        let left = MARGIN + k as u32 * (widest + MARGIN);
        ground.lay(side, [left, MARGIN]);
        for (i, line) in lines[k].iter().enumerate() {
            let base = f64::from(MARGIN + highest) + TEXT * (1.5 + 1.4 * i as f64);
            scene.text([f64::from(left), base], TEXT, Font::Regular, line.clone());
        }
    }
    let factor = f64::from(sides[0].width()) / f64::from(before.width().max(1));
    let place = |p: &[f64; 2]| p.map(|v| f64::from(MARGIN) + v * factor);
    for (k, corner) in corners.iter().enumerate() {
        let next = corners[(k + 1) % corners.len()];
        for (colour, width) in [(PAPER, 5.0), (REFERENCE, 2.5)] {
            scene.line(place(corner), place(&next), Stroke::solid(colour, width));
        }
    }
    ground.draw(&scene, 1.0)
}

/// The picture at the size at which it is shown.
fn fitted(picture: &RgbImage) -> Cow<'_, RgbImage> {
    let factor = (MOST_WIDTH / picture.width().max(1)).max(1);
    reduce::fitted(picture, factor, MOST_WIDTH)
}

/// Stripes where nothing is usable.
fn striped(picture: &RgbImage, usable: &Plane<u8>) -> RgbImage {
    let mut striped = picture.clone();
    for (x, y, pixel) in striped.enumerate_pixels_mut() {
        let at = [y as usize, x as usize];
        if usable.get(at) == Some(&0) {
            let stripe = (at[0] + at[1]) / STRIPE % 2;
            *pixel = image::Rgb(STRIPES[stripe].channels());
        }
    }
    striped
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_masked_is_striped_and_the_rest_stays() {
        let picture = RgbImage::from_pixel(40, 20, image::Rgb([90; 3]));
        let usable = Plane::from_shape_fn((20, 40), |(_, x)| if x < 20 { 0 } else { 255 });
        let striped = striped(&picture, &usable);
        assert_eq!(striped.get_pixel(0, 0).0, PAPER.channels());
        assert_eq!(striped.get_pixel(6, 0).0, GREY.channels());
        assert_eq!(striped.get_pixel(30, 10).0, [90; 3]);
    }

    #[test]
    fn both_sides_and_their_captions_fit() {
        for (width, height) in [(30, 20), (720, 400), (3000, 200), (1, 1), (3, 200_000)] {
            let picture = RgbImage::new(width, height);
            let captions = [
                "Before: a long caption that needs more than one line",
                "After",
            ];
            let drawn = side_by_side(&picture, &picture, captions, &[]).expect("drawn");
            assert!(drawn.width() <= 2 * MOST_WIDTH + 3 * MARGIN);
            assert!(drawn.width() >= 640 && drawn.height() > MARGIN + 20);
            assert!(drawn.height() < 6200, "{width} x {height}");
        }
    }
}
