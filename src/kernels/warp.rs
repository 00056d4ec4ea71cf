//! Images seen through a projective map, and through a lens behind it.
//!
//! The maps take a point of the target to the point of the source that is shown there, both in continuous coordinates
//! (first pixel centre at (0.5, 0.5)). [`IndexMap`] is the only place that changes over to pixel indices.
//!
//! A map with a vanishing line shows the source twice, once from behind. In front is the side that shows the centre of
//! the source, whatever the sign or scale of the matrix; behind the horizon everything is outside.
mod finely;
mod index_map;
mod mixing;
mod through_lens;

pub use finely::warp_finely;

use super::{Plane, plane_of, resize, row_by_row, wide::built_twice};
use crate::{
    frame::{Frame, IntoReference, Lens},
    stop,
};
use image::RgbImage;
use index_map::{IndexMap, Matrix};
use mixing::{BLOCK, POSITION_BITS, blend_at, pick_at};
use rayon::prelude::*;
use through_lens::{LensMap, blend_lens_row, cover_lens_row, pick_lens_row};

/// A map from the target to the source: a projective one, then, where there is one, a lens.
///
/// Without a lens (or with one that bends nothing) the kernels do what they do for a matrix, to the last bit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SourceMap {
    rows: Matrix,
    lens: Option<Lens>,
}

impl From<&Matrix> for SourceMap {
    fn from(rows: &Matrix) -> Self {
        Self {
            rows: *rows,
            lens: None,
        }
    }
}

impl<Target: Frame> From<&IntoReference<Target>> for SourceMap {
    fn from(map: &IntoReference<Target>) -> Self {
        Self {
            rows: map.rows(),
            lens: Some(map.lens()).filter(|lens| !lens.is_none()),
        }
    }
}

/// The source as the map shows it, in a target of `size` (width, height); black outside the source.
///
/// Bilinear between the four nearest pixel centres, at positions rounded to 1/64 pixel, values rounded to the nearest
/// (no bias); the outermost half pixel of the source fades to black. Where the map shrinks by 1.5 or more on average
/// over what is seen, the source is first reduced by that factor, rounded to a whole one, by area average, so that
/// nothing aliases. All is black where the matrix is singular or not finite, or the source is empty.
pub fn warp_rgb(
    source: &RgbImage,
    size: (u32, u32),
    source_from_target: impl Into<SourceMap>,
) -> RgbImage {
    let source_from_target = source_from_target.into();
    let from = (source.width() as usize, source.height() as usize);
    let to = (size.0 as usize, size.1 as usize);
    let factor = match source_from_target.lens {
        None => {
            IndexMap::new(&source_from_target.rows, from).map_or(1, |map| map.reduction(from, to))
        }
        Some(lens) => LensMap::new(&source_from_target.rows, lens, from, [1.0; 2])
            .map_or(1, |map| map.reduction(from, to)),
    };
    let pixels = if factor > 1 {
        let reduce = |length: u32| ((length + factor / 2) / factor).max(1);
        let (width, height) = (reduce(source.width()), reduce(source.height()));
        // Continuous coordinates have their origin in the image's corner: a reduction is nothing but a factor there.
        let ratios = [
            f64::from(width) / f64::from(source.width()),
            f64::from(height) / f64::from(source.height()),
        ];
        let reduced = resize::reduce_rgb(source, width, height);
        blend(&reduced, to, &source_from_target, ratios)
    } else {
        blend(source, to, &source_from_target, [1.0; 2])
    };
    RgbImage::from_raw(size.0, size.1, pixels).expect("three bytes for each pixel of the target")
}

/// A mask as the map shows it, in a target of `size` (width, height): the value of the source pixel in which each
/// target pixel's centre falls, 0 outside.
pub fn warp_mask(
    mask: &Plane<u8>,
    size: (usize, usize),
    source_from_target: impl Into<SourceMap>,
) -> Plane<u8> {
    let SourceMap { rows, lens } = source_from_target.into();
    let (height, width) = mask.dim();
    let source = row_by_row(mask);
    let mut pixels = vec![0; size.0 * size.1];
    let lines = pixels.par_chunks_mut(size.0.max(1)).enumerate();
    match lens {
        None => {
            if let Some(map) = IndexMap::new(&rows, (width, height)) {
                lines.for_each(|(y, row)| pick_row(&source, (width, height), &map, y, row));
            }
        }
        Some(lens) => {
            if let Some(map) = LensMap::new(&rows, lens, (width, height), [1.0; 2]) {
                lines.for_each(|(y, row)| pick_lens_row(&source, (width, height), &map, y, row));
            }
        }
    }
    plane_of(size.0, size.1, pixels)
}

/// Where the source covers a target of `size` (width, height): 255 where a pixel's centre falls inside the source, at
/// least half a source pixel from its border (so that [`warp_rgb`] mixes in no black), 0 elsewhere.
pub fn coverage(
    source_size: (usize, usize),
    size: (usize, usize),
    source_from_target: impl Into<SourceMap>,
) -> Plane<u8> {
    let SourceMap { rows, lens } = source_from_target.into();
    let mut pixels = vec![0; size.0 * size.1];
    let lines = pixels.par_chunks_mut(size.0.max(1)).enumerate();
    match lens {
        None => {
            if let Some(map) = IndexMap::new(&rows, source_size) {
                lines.for_each(|(y, row)| {
                    let (from, to) = map.covered(source_size, y, row.len());
                    row[from..to].fill(255);
                });
            }
        }
        Some(lens) => {
            if let Some(map) = LensMap::new(&rows, lens, source_size, [1.0; 2]) {
                lines.for_each(|(y, row)| cover_lens_row(source_size, &map, y, row));
            }
        }
    }
    plane_of(size.0, size.1, pixels)
}

/// The source positions of target pixels `left`.. of row `y`, times `scale`, rounded; far outside where the horizon is
/// passed.
#[inline(always)]
fn positions(
    map: &IndexMap,
    scale: f64,
    left: usize,
    y: usize,
    at: &mut [[i32; BLOCK]; 2],
    count: usize,
) {
    const FAR: f64 = (1 << 30) as f64;
    // Added to a whole number below 2^51, this leaves the number in the low bits of the sum.
    const TO_BITS: f64 = 6755399441055744.0;
    let [a, b, c] = map.rows;
    let row = map.apply(0.0, y as f64);
    #[expect(
        clippy::manual_clamp,
        reason = "a value that is not a number is to become a far one"
    )]
    let whole = |value: f64| ((value + 0.5).floor().max(-FAR).min(FAR) + TO_BITS).to_bits() as i32;
    let [us, vs] = at;
    for (i, (u, v)) in us[..count].iter_mut().zip(&mut vs[..count]).enumerate() {
        let x = f64::from(left as i32 + i as i32);
        let w = c[0] * x + row[2];
        let factor = if w > 0.0 { scale / w } else { f64::NAN };
        *u = whole((a[0] * x + row[0]) * factor);
        *v = whole((b[0] * x + row[1]) * factor);
    }
}

/// The source through the map, row by row; the source is reduced by `ratios` against the one that the map leads to.
fn blend(
    source: &RgbImage,
    size: (usize, usize),
    SourceMap { rows, lens }: &SourceMap,
    ratios: [f64; 2],
) -> Vec<u8> {
    let source_size = (source.width() as usize, source.height() as usize);
    let mut pixels = vec![0; 3 * size.0 * size.1];
    let lines = pixels.par_chunks_mut((3 * size.0).max(1)).enumerate();
    match lens {
        None => {
            let [x, y] = ratios;
            let factors = [x, y, 1.0];
            let rows: Matrix = std::array::from_fn(|r| rows[r].map(|v| v * factors[r]));
            if let Some(map) = IndexMap::new(&rows, source_size) {
                lines.for_each(|(y, row)| {
                    if !stop::is_asked() {
                        blend_row(source.as_raw(), source_size, &map, y, row);
                    }
                });
            }
        }
        Some(lens) => {
            if let Some(map) = LensMap::new(rows, *lens, source_size, ratios) {
                lines.for_each(|(y, row)| {
                    if !stop::is_asked() {
                        blend_lens_row(source.as_raw(), source_size, &map, y, row);
                    }
                });
            }
        }
    }
    pixels
}

built_twice! {
    fn blend_row(source: &[u8], size: (usize, usize), map: &IndexMap, y: usize, row: &mut [u8]) {
        let mut at = [[0; BLOCK]; 2];
        for (block, colours) in row.chunks_mut(3 * BLOCK).enumerate() {
            let scale = f64::from(1 << POSITION_BITS);
            positions(map, scale, block * BLOCK, y, &mut at, colours.len() / 3);
            blend_at(source, size, &at, colours);
        }
    }
}

built_twice! {
    fn pick_row(source: &[u8], size: (usize, usize), map: &IndexMap, y: usize, row: &mut [u8]) {
        let mut at = [[0; BLOCK]; 2];
        for (block, values) in row.chunks_mut(BLOCK).enumerate() {
            positions(map, 1.0, block * BLOCK, y, &mut at, values.len());
            pick_at(source, size, &at, values);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::kernels::test_planes::{mirrored, noise, quarter_turned};

    const IDENTITY: Matrix = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];
    const PERSPECTIVE: Matrix = [[0.9, 0.15, -7.0], [-0.1, 1.05, 4.0], [9e-4, -6e-4, 1.0]];

    fn colours(planes: [&Plane<u8>; 3]) -> RgbImage {
        let (height, width) = planes[0].dim();
        RgbImage::from_fn(width as u32, height as u32, |x, y| {
            image::Rgb(planes.map(|plane| plane[[y as usize, x as usize]]))
        })
    }

    fn random(width: usize, height: usize) -> RgbImage {
        colours([
            &noise(width, height, 1),
            &noise(width, height, 2),
            &noise(width, height, 3),
        ])
    }

    fn channel(image: &RgbImage, channel: usize) -> Plane<u8> {
        Plane::from_shape_fn(
            (image.height() as usize, image.width() as usize),
            |(y, x)| image[(x as u32, y as u32)].0[channel],
        )
    }

    fn shift(x: f64, y: f64) -> Matrix {
        [[1.0, 0.0, x], [0.0, 1.0, y], [0.0, 0.0, 1.0]]
    }

    /// The point that the centre of target pixel (x, y) shows, where it lies in front.
    fn point(matrix: &Matrix, x: u32, y: u32) -> Option<[f64; 2]> {
        let p = matrix.map(|r| r[0] * (f64::from(x) + 0.5) + r[1] * (f64::from(y) + 0.5) + r[2]);
        (p[2] > 0.0).then(|| [p[0] / p[2], p[1] / p[2]])
    }

    /// Bilinear in f64, without rounding of the position.
    fn slow(image: &RgbImage, matrix: &Matrix, x: u32, y: u32) -> [f64; 3] {
        let Some([u, v]) = point(matrix, x, y) else {
            return [0.0; 3];
        };
        let (u, v) = (u - 0.5, v - 0.5);
        std::array::from_fn(|c| {
            let near = |x: f64, y: f64| {
                let inside = x >= 0.0
                    && y >= 0.0
                    && x < f64::from(image.width())
                    && y < f64::from(image.height());
                let value = if inside {
                    f64::from(image[(x as u32, y as u32)].0[c])
                } else {
                    0.0
                };
                value * (1.0 - (u - x).abs()) * (1.0 - (v - y).abs())
            };
            let (x, y) = (u.floor(), v.floor());
            near(x, y) + near(x + 1.0, y) + near(x, y + 1.0) + near(x + 1.0, y + 1.0)
        })
    }

    #[test]
    fn half_a_pixel_to_the_right_written_out() {
        let row = [0, 100, 200, 60, 40];
        let plane = Plane::from_shape_fn((5, 5), |(_, x)| row[x]);
        let moved = warp_rgb(&colours([&plane; 3]), (5, 5), &shift(0.5, 0.0));
        // The mean of each pixel and its right neighbour; beyond the last all is black.
        let expected = [50, 150, 130, 50, 20];
        assert_eq!(
            channel(&moved, 1),
            Plane::from_shape_fn((5, 5), |(_, x)| expected[x])
        );
    }

    #[test]
    fn the_identity_changes_nothing_and_covers_all() {
        for (width, height) in [(300, 21), (1, 1), (1, 9), (9, 1)] {
            let image = random(width, height);
            assert_eq!(warp_rgb(&image, image.dimensions(), &IDENTITY), image);
            assert!(
                coverage((width, height), (width, height), &IDENTITY)
                    .iter()
                    .all(|&v| v == 255)
            );
            let mask = noise(width, height, 4);
            assert_eq!(warp_mask(&mask, (width, height), &IDENTITY), mask);
        }
    }

    #[test]
    fn agrees_with_bilinear_in_floating_point() {
        let image = random(120, 90);
        let warped = warp_rgb(&image, (150, 110), &PERSPECTIVE);
        let (mut bias, mut count) = (0.0, 0.0);
        for (x, y, colour) in warped.enumerate_pixels() {
            let exact = slow(&image, &PERSPECTIVE, x, y);
            for (value, expected) in colour.0.iter().zip(&exact) {
                let error = f64::from(*value) - expected;
                // 1/128 pixel in both directions times the largest step of 255, and rounding.
                assert!(
                    error.abs() <= 0.5 + 2.0 * 255.0 / 128.0,
                    "({x}, {y}): {error}"
                );
                bias += error;
                count += 1.0;
            }
        }
        // The standard deviation of an error is below 1, of the mean of 49500 below 0.005.
        assert!((bias / count).abs() < 0.02, "{}", bias / count);
    }

    #[test]
    fn turning_and_mirroring_come_out_exactly() {
        let plane = noise(40, 30, 5);
        let image = colours([&plane; 3]);
        let mirror = [[-1.0, 0.0, 40.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];
        assert_eq!(
            channel(&warp_rgb(&image, (40, 30), &mirror), 0),
            mirrored(&plane)
        );
        assert_eq!(warp_mask(&plane, (40, 30), &mirror), mirrored(&plane));
        let turn = [[0.0, 1.0, 0.0], [-1.0, 0.0, 30.0], [0.0, 0.0, 1.0]];
        assert_eq!(
            channel(&warp_rgb(&image, (30, 40), &turn), 2),
            quarter_turned(&plane)
        );
        assert_eq!(warp_mask(&plane, (30, 40), &turn), quarter_turned(&plane));
    }

    #[test]
    fn shrinking_averages_first_and_does_not_move_the_image() {
        // A checkerboard of single pixels aliases to black or white without averaging.
        let board =
            Plane::from_shape_fn((90, 120), |(y, x)| if (x + y) % 2 == 0 { 0 } else { 200 });
        let third = [[4.0, 0.0, 0.0], [0.0, 4.0, 0.0], [0.0, 0.0, 1.0]];
        let small = channel(&warp_rgb(&colours([&board; 3]), (30, 22), &third), 0);
        assert!(small.iter().all(|&v| v == 100));
        // A ramp stays where it is, whether the factor divides the size or not.
        for (width, factor) in [(120, 3.0), (121, 3.0), (125, 2.4), (119, 1.7), (120, 1.4)] {
            let ramp = Plane::from_shape_fn((60, width), |(_, x)| 2 * x as u8);
            let matrix = [[factor, 0.0, 0.25], [0.0, factor, 0.0], [0.0, 0.0, 1.0]];
            let small = channel(&warp_rgb(&colours([&ramp; 3]), (30, 20), &matrix), 0);
            for x in 2..28 {
                // The ramp has the value 2 u - 1 at u: two roundings to whole numbers, and 1/128 pixel.
                let exact = 2.0 * ((x as f64 + 0.5) * factor + 0.25) - 1.0;
                assert!(
                    (f64::from(small[[10, x]]) - exact).abs() <= 1.1,
                    "{width} {factor} at {x}"
                );
            }
        }
    }

    #[test]
    fn coverage_and_masks_agree_with_the_point_by_point_definition() {
        let horizon = [[1.0, 0.2, 0.0], [0.1, 1.0, -5.0], [-0.02, 0.003, 1.0]];
        let whole_turn = [[-0.8, 0.1, 90.0], [-0.1, -0.7, 70.0], [0.0, 0.0, 1.0]];
        for matrix in [
            PERSPECTIVE,
            horizon,
            whole_turn,
            shift(-30.3, 7.9),
            shift(500.0, 0.0),
        ] {
            let (width, height) = (100, 80);
            let mask = noise(width, height, 8);
            let covered = coverage((width, height), (130, 90), &matrix);
            let picked = warp_mask(&mask, (130, 90), &matrix);
            for ((y, x), &value) in covered.indexed_iter() {
                let shown = point(&matrix, x as u32, y as u32);
                let inside = |[u, v]: [f64; 2]| {
                    u >= 0.5 && v >= 0.5 && u <= width as f64 - 0.5 && v <= height as f64 - 0.5
                };
                assert_eq!(value == 255, shown.is_some_and(inside), "({x}, {y})");
                let is_between_pixels =
                    |[u, v]: [f64; 2]| (u - u.round()).abs() < 1e-9 || (v - v.round()).abs() < 1e-9;
                if shown.is_some_and(is_between_pixels) {
                    // Rounding of the point decides there.
                    continue;
                }
                let pixel = shown.and_then(|[u, v]| {
                    let is_inside = u >= 0.0 && v >= 0.0;
                    is_inside
                        .then(|| mask.get([v as usize, u as usize]).copied())
                        .flatten()
                });
                assert_eq!(picked[[y, x]], pixel.unwrap_or(0), "({x}, {y})");
            }
        }
    }

    #[test]
    fn the_scale_and_sign_of_the_matrix_do_not_matter() {
        let image = random(60, 50);
        let negative = PERSPECTIVE.map(|row| row.map(|v| -2.0 * v));
        assert_eq!(
            warp_rgb(&image, (70, 60), &negative),
            warp_rgb(&image, (70, 60), &PERSPECTIVE)
        );
        assert_eq!(
            coverage((60, 50), (70, 60), &negative),
            coverage((60, 50), (70, 60), &PERSPECTIVE)
        );
    }

    #[test]
    fn nothing_is_shown_from_behind_the_horizon() {
        // With x from 300: (x + 10, y - 25) / (1 - 0.02 x) + (60, 20). The horizon is x = 350 of the target. In front the
        // source is seen from u = 10 on; behind, from x = 650 on, what lies left of that.
        let parts = [
            shift(60.0, 20.0),
            [[1.0, 0.0, 10.0], [0.0, 1.0, -25.0], [-0.02, 0.0, 1.0]],
            shift(-300.0, 0.0),
        ];
        let times = |a: Matrix, b: Matrix| {
            a.map(|row| std::array::from_fn(|c| (0..3).map(|k| row[k] * b[k][c]).sum()))
        };
        let matrix = times(times(parts[0], parts[1]), parts[2]);
        let white = RgbImage::from_pixel(40, 40, image::Rgb([255; 3]));
        for matrix in [matrix, matrix.map(|row| row.map(|v| -v))] {
            let warped = channel(&warp_rgb(&white, (900, 50), &matrix), 0);
            let covered = coverage((40, 40), (900, 50), &matrix);
            let mask = warp_mask(&Plane::from_elem((40, 40), 255), (900, 50), &matrix);
            for plane in [warped, covered, mask] {
                let seen = plane.indexed_iter().filter(|(_, v)| **v > 0);
                let most = seen
                    .map(|((_, x), _)| x)
                    .max()
                    .expect("the source is seen in front");
                assert!(most < 350, "seen at {most}");
            }
        }
    }

    #[test]
    fn matrices_without_sense_show_nothing() {
        let image = random(8, 8);
        for matrix in [
            [[0.0; 3]; 3],
            [[f64::NAN; 3]; 3],
            [[1.0, 2.0, 3.0], [2.0, 4.0, 6.0], [0.0, 0.0, 1.0]],
        ] {
            assert!(warp_rgb(&image, (6, 6), &matrix).iter().all(|&v| v == 0));
            assert!(coverage((8, 8), (6, 6), &matrix).iter().all(|&v| v == 0));
            assert!(
                warp_mask(&noise(8, 8, 1), (6, 6), &matrix)
                    .iter()
                    .all(|&v| v == 0)
            );
        }
        assert!(
            warp_rgb(&RgbImage::new(0, 0), (3, 3), &IDENTITY)
                .iter()
                .all(|&v| v == 0)
        );
        assert_eq!(warp_rgb(&image, (0, 0), &IDENTITY).dimensions(), (0, 0));
        assert_eq!(coverage((8, 8), (0, 4), &IDENTITY).dim(), (4, 0));
    }
}
