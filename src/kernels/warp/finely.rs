//! A picture seen through a map once, as well as it can be had: for pictures to look at, not to measure on.
//!
//! # Source
//! R. Keys, "Cubic convolution interpolation for digital image processing", IEEE Trans. ASSP 29 (1981), a = -1/2.
use super::{SourceMap, through_lens::LensMap};
use crate::{frame::Lens, stop};
use image::RgbImage;
use rayon::prelude::*;

/// Most samples of a target pixel in either direction.
const MOST_SAMPLES: f64 = 16.0;

/// The source as the map shows it, in a target of `size` (width, height); black outside the source.
///
/// Where the map shrinks, each target pixel is the mean of samples spread over it, as many as it covers source pixels;
/// elsewhere the source is interpolated by cubic convolution. All is black where the map is singular or the source is empty.
pub fn warp_finely(
    source: &RgbImage,
    size: (u32, u32),
    source_from_target: impl Into<SourceMap>,
) -> RgbImage {
    let SourceMap { rows, lens } = source_from_target.into();
    let source_size = (source.width() as usize, source.height() as usize);
    let mut target = RgbImage::new(size.0, size.1);
    let lens = lens.unwrap_or(Lens::none());
    let Some(map) = LensMap::new(&rows, lens, source_size, [1.0; 2]) else {
        return target;
    };
    let pixels: &mut [u8] = &mut target;
    pixels
        .par_chunks_mut((3 * size.0 as usize).max(1))
        .enumerate()
        .for_each(|(y, row)| {
            if stop::is_asked() {
                return;
            }
            for (x, colour) in row.chunks_exact_mut(3).enumerate() {
                let sum = pixel(source, &map, x as f64, y as f64);
                for (byte, value) in colour.iter_mut().zip(sum) {
                    *byte = (value + 0.5).clamp(0.0, 255.0) as u8;
                }
            }
        });
    target
}

fn pixel(source: &RgbImage, map: &LensMap, x: f64, y: f64) -> [f64; 3] {
    let side = map.length_of_side(x, y);
    // Not a number beyond the horizon: one sample then finds that out.
    let n = if side > 1.0 {
        side.min(MOST_SAMPLES).ceil()
    } else {
        1.0
    };
    if n <= 1.0 {
        return cubic(source, map.at(x, y));
    }
    let count = n as usize;
    let mut sum = [0.0; 3];
    for k in 0..count * count {
        let part = |i: usize| (i as f64 + 0.5) / n - 0.5;
        let at = map.at(x + part(k % count), y + part(k / count));
        for (sum, value) in sum.iter_mut().zip(linear(source, at)) {
            *sum += value;
        }
    }
    sum.map(|v| v / (n * n))
}

/// Whether a position lies on the source.
fn is_inside(source: &RgbImage, [x, y]: [f64; 2]) -> bool {
    let inside = |v: f64, n: u32| v >= 0.0 && v <= f64::from(n);
    inside(x, source.width()) && inside(y, source.height())
}

/// The sample at a position, its border pixels going on outside; black outside of the source.
fn sampled<const N: usize>(
    source: &RgbImage,
    at: [f64; 2],
    weights: impl Fn(f64) -> [f64; N],
) -> [f64; 3] {
    if !is_inside(source, at) {
        return [0.0; 3];
    }
    let [u, v] = at.map(|c| c - 0.5);
    let (wx, wy) = (weights(u - u.floor()), weights(v - v.floor()));
    let first = N as i64 / 2 - 1;
    let place = |c: f64, k: usize, n: u32| {
        (c.floor() as i64 - first + k as i64).clamp(0, i64::from(n) - 1) as u32
    };
    let mut sum = [0.0; 3];
    for (j, wy) in wy.iter().enumerate() {
        let y = place(v, j, source.height());
        for (i, wx) in wx.iter().enumerate() {
            let p = source[(place(u, i, source.width()), y)];
            for (sum, value) in sum.iter_mut().zip(p.0) {
                *sum += wx * wy * f64::from(value);
            }
        }
    }
    sum
}

fn linear(source: &RgbImage, at: [f64; 2]) -> [f64; 3] {
    sampled(source, at, |t| [1.0 - t, t])
}

fn cubic(source: &RgbImage, at: [f64; 2]) -> [f64; 3] {
    sampled(source, at, |t| {
        let near = |t: f64| (1.5 * t - 2.5) * t * t + 1.0;
        let far = |t: f64| ((-0.5 * t + 2.5) * t - 4.0) * t + 2.0;
        [far(1.0 + t), near(t), near(1.0 - t), far(2.0 - t)]
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn scale(factor: f64) -> [[f64; 3]; 3] {
        [[factor, 0.0, 0.0], [0.0, factor, 0.0], [0.0, 0.0, 1.0]]
    }

    #[test]
    fn the_identity_changes_nothing() {
        let image = RgbImage::from_fn(31, 17, |x, y| {
            image::Rgb([(x * 7 + y * 13) as u8, (x * y) as u8, (200 - x) as u8])
        });
        assert_eq!(warp_finely(&image, (31, 17), &scale(1.0)), image);
    }

    #[test]
    fn shrinking_averages_the_area() {
        let stripes = RgbImage::from_fn(64, 64, |x, _| {
            image::Rgb([if x % 2 == 0 { 0 } else { 200 }; 3])
        });
        let small = warp_finely(&stripes, (16, 16), &scale(4.0));
        assert!(
            small.pixels().all(|p| p[0].abs_diff(100) <= 1),
            "{:?}",
            small[(5, 5)]
        );
    }

    #[test]
    fn enlarging_keeps_a_ramp_straight() {
        let ramp = RgbImage::from_fn(40, 8, |x, _| image::Rgb([(5 * x) as u8; 3]));
        let large = warp_finely(&ramp, (160, 32), &scale(0.25));
        for x in 10..150 {
            // The value at ((x + 0.5) / 4 - 0.5), rounded.
            let expected = 5.0 * ((f64::from(x) + 0.5) / 4.0 - 0.5);
            assert!((f64::from(large[(x, 16)][0]) - expected).abs() <= 0.51);
        }
    }

    #[test]
    fn outside_the_source_all_is_black() {
        let image = RgbImage::from_pixel(10, 10, image::Rgb([255; 3]));
        let map = [[1.0, 0.0, 20.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];
        assert!(
            warp_finely(&image, (10, 10), &map)
                .pixels()
                .all(|p| p[0] == 0)
        );
    }
}
