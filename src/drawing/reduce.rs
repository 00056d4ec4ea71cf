//! A picture cut out and brought to the size at which it is shown.
use crate::kernels::resize;
use image::RgbImage;
use std::borrow::Cow;

/// No picture is higher than this, pixels: a strip a few pixels wide would otherwise grow without end.
const MOST_HEIGHT: u32 = 6000;

/// The picture enlarged by a whole factor, but no wider than `most` pixels and no higher than [`MOST_HEIGHT`]; as it is
/// where that is its own width.
///
/// Area average in sRGB values, not in linear light: thin lines keep their weight to the eye. Enlarged pixels stay
/// squares: they are to be seen as they are.
pub(crate) fn fitted(source: &RgbImage, factor: u32, most: u32) -> Cow<'_, RgbImage> {
    let (width, height) = source.dimensions();
    let new_width = width.saturating_mul(factor).min(most.max(1));
    let is_low = height <= MOST_HEIGHT;
    if new_width == width && is_low || height == 0 || width == 0 {
        return Cow::Borrowed(source);
    }
    let share = f64::from(new_width) / f64::from(width);
    let share = share.min(f64::from(MOST_HEIGHT) / f64::from(height));
    let side = |n: u32| ((f64::from(n) * share).round() as u32).max(1);
    Cow::Owned(resize::reduce_rgb(source, side(width), side(height)))
}

/// The picture at exactly this size: area average where it becomes smaller, smooth where it becomes larger.
pub(crate) fn stretched(source: &RgbImage, width: u32, height: u32) -> RgbImage {
    if width <= source.width() && height <= source.height() {
        resize::reduce_rgb(source, width, height)
    } else {
        image::imageops::resize(source, width, height, image::imageops::CatmullRom)
    }
}

/// The part of a picture with this left, top, width and height, which lies inside.
pub(crate) fn cut(source: &RgbImage, [left, top, width, height]: [u32; 4]) -> Cow<'_, RgbImage> {
    if [width, height] == [source.width(), source.height()] {
        return Cow::Borrowed(source);
    }
    let bytes = |pixels: u32| pixels as usize * 3;
    let mut pixels = Vec::with_capacity(bytes(width) * height as usize);
    let rows = source.as_raw().chunks_exact(bytes(source.width()).max(1));
    for row in rows.skip(top as usize).take(height as usize) {
        pixels.extend_from_slice(&row[bytes(left)..bytes(left + width)]);
    }
    Cow::Owned(RgbImage::from_raw(width, height, pixels).expect("the part lies inside"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reducing_keeps_the_shape_and_the_mean() {
        let source = RgbImage::from_fn(2400, 900, |x, _| {
            image::Rgb([if x % 2 == 0 { 0 } else { 200 }; 3])
        });
        let small = fitted(&source, 1, 1200);
        assert_eq!(small.dimensions(), (1200, 450));
        assert!(small.pixels().all(|p| p.0[0] == 100));
        assert_eq!(fitted(&small, 1, 1200), small);
    }

    #[test]
    fn enlarging_repeats_pixels_and_ends_at_the_most() {
        let source = RgbImage::from_fn(2, 2, |x, y| image::Rgb([x as u8, y as u8, 0]));
        let out = fitted(&source, 3, 100);
        assert_eq!(out.dimensions(), (6, 6));
        assert!(
            out.enumerate_pixels()
                .all(|(x, y, p)| p.0 == [(x / 3) as u8, (y / 3) as u8, 0])
        );
        assert_eq!(fitted(&source, 3, 5).dimensions(), (5, 5));
    }

    #[test]
    fn a_strip_ends_at_the_most_height_too() {
        let strip = RgbImage::new(2, 60_000);
        assert_eq!(fitted(&strip, 360, 720).dimensions(), (1, MOST_HEIGHT));
        assert_eq!(fitted(&strip, 1, 720).dimensions(), (1, MOST_HEIGHT));
    }

    #[test]
    fn a_cut_shows_its_part() {
        let source = RgbImage::from_fn(9, 7, |x, y| image::Rgb([x as u8, y as u8, 5]));
        let part = cut(&source, [2, 3, 4, 2]);
        assert_eq!(part.dimensions(), (4, 2));
        assert_eq!(part.get_pixel(0, 0).0, [2, 3, 5]);
        assert_eq!(part.get_pixel(3, 1).0, [5, 4, 5]);
        assert_eq!(cut(&source, [0, 0, 9, 7]), Cow::Borrowed(&source));
    }

    #[test]
    fn stretching_gives_the_size_asked_for() {
        let source = RgbImage::from_pixel(8, 6, image::Rgb([10, 20, 30]));
        for (width, height) in [(4, 3), (20, 15), (4, 12)] {
            let out = stretched(&source, width, height);
            assert_eq!(out.dimensions(), (width, height));
            assert!(out.pixels().all(|p| p.0 == [10, 20, 30]));
        }
    }
}
