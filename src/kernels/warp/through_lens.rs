//! The rows of a warp with a lens behind the projective map: the same mixing of pixels, at bent positions.
use super::{
    index_map::{IndexMap, Matrix, REDUCE_FROM},
    mixing::{BLOCK, POSITION_BITS, blend_at, pick_at},
};
use crate::{frame::Lens, kernels::wide::built_twice};

/// Positions beyond this are far outside of any source.
const FAR: f64 = (1 << 30) as f64;

/// A projective map from pixel indices of the target to the source without its distortion, in continuous coordinates, and
/// the lens that follows.
pub(super) struct LensMap {
    rows: Matrix,
    determinant: f64,
    centre: [f64; 2],
    radius: f64,
    lens: Lens,
    ratios: [f64; 2],
}

impl LensMap {
    /// `ratios` are those of the source, which may have been reduced, to the one that the lens belongs to. `None` where
    /// nothing can be shown.
    pub(super) fn new(
        rows: &Matrix,
        lens: Lens,
        source_size: (usize, usize),
        ratios: [f64; 2],
    ) -> Option<Self> {
        // The index map settles which side of the horizon is in front; here its last step to indices is taken back.
        let full = [
            source_size.0 as f64 / ratios[0],
            source_size.1 as f64 / ratios[1],
        ];
        let full = (full[0].round() as usize, full[1].round() as usize);
        let index = IndexMap::new(rows, full)?;
        let third = index.rows[2];
        let continuous = |row: [f64; 3]| std::array::from_fn(|k| row[k] + 0.5 * third[k]);
        Some(Self {
            rows: [continuous(index.rows[0]), continuous(index.rows[1]), third],
            determinant: index.determinant,
            centre: lens.centre().xy(),
            radius: lens.radius(),
            lens,
            ratios,
        })
    }

    /// The source position (continuous, of the source as it is) that the target pixel (`x`, `y`) shows; far outside where
    /// the horizon is passed or the lens shows nothing.
    #[inline(always)]
    pub(super) fn at(&self, x: f64, y: f64) -> [f64; 2] {
        let [u, v, w] = self.rows.map(|row| row[0] * x + row[1] * y + row[2]);
        let one_over = if w > 0.0 { 1.0 / w } else { f64::NAN };
        let (dx, dy) = (u * one_over - self.centre[0], v * one_over - self.centre[1]);
        let square = (dx * dx + dy * dy) / (self.radius * self.radius);
        let factor = self.lens.distortion_factor(square);
        [
            (self.centre[0] + dx * factor) * self.ratios[0],
            (self.centre[1] + dy * factor) * self.ratios[1],
        ]
    }

    /// As [`IndexMap::reduction`], the lens' own reduction in it.
    pub(super) fn reduction(&self, source_size: (usize, usize), size: (usize, usize)) -> u32 {
        const GRID: usize = 48;
        let places = |length: usize| {
            let n = length.min(GRID);
            (0..n).map(move |i| (2 * i + 1) * length / (2 * n))
        };
        let (mut sum, mut count) = (0.0, 0.0);
        for y in places(size.1) {
            for x in places(size.0) {
                let (x, y) = (x as f64, y as f64);
                if is_covered(source_size, self.at(x, y)) {
                    sum += self.length_of_side(x, y);
                    count += 1.0;
                }
            }
        }
        let mean: f64 = sum / count;
        if mean >= REDUCE_FROM {
            mean.round() as u32
        } else {
            1
        }
    }

    /// Source length that the side of the target pixel stands for: root of the determinant of the derivative.
    pub(super) fn length_of_side(&self, x: f64, y: f64) -> f64 {
        let w = self.rows[2][0] * x + self.rows[2][1] * y + self.rows[2][2];
        let projective = self.determinant / w.powi(3);
        let [u, v] = [0, 1].map(|k| self.rows[k][0] * x + self.rows[k][1] * y + self.rows[k][2]);
        let (dx, dy) = (u / w - self.centre[0], v / w - self.centre[1]);
        let square = (dx * dx + dy * dy) / (self.radius * self.radius);
        // Across the radius the lens stretches by f, along it by f + 2 s f' (s the square of the radius).
        let across = self.lens.distortion_factor(square);
        let step = 1e-6;
        let slope = (self.lens.distortion_factor(square + step) - across) / step;
        (projective * across * (across + 2.0 * square * slope)).sqrt()
    }
}

/// Whether a position lies between pixel centres of the source.
fn is_covered(source_size: (usize, usize), [x, y]: [f64; 2]) -> bool {
    let inside = |v: f64, length: usize| v >= 0.5 && v <= length as f64 - 0.5;
    inside(x, source_size.0) && inside(y, source_size.1)
}

/// The source's pixel indices for target pixels `left`.. of row `y`, times `scale`, rounded.
#[inline(always)]
fn positions(
    map: &LensMap,
    scale: f64,
    left: usize,
    y: usize,
    at: &mut [[i32; BLOCK]; 2],
    count: usize,
) {
    #[expect(
        clippy::manual_clamp,
        reason = "a value that is not a number is to become a far one"
    )]
    let whole = |value: f64| ((value - 0.5) * scale + 0.5).floor().max(-FAR).min(FAR) as i32;
    let [us, vs] = at;
    for (i, (u, v)) in us[..count].iter_mut().zip(&mut vs[..count]).enumerate() {
        let [x, y] = map.at((left + i) as f64, y as f64);
        (*u, *v) = (whole(x), whole(y));
    }
}

built_twice! {
    pub(super) fn blend_lens_row(source: &[u8], size: (usize, usize), map: &LensMap, y: usize, row: &mut [u8]) {
        let mut at = [[0; BLOCK]; 2];
        for (block, colours) in row.chunks_mut(3 * BLOCK).enumerate() {
            let scale = f64::from(1 << POSITION_BITS);
            positions(map, scale, block * BLOCK, y, &mut at, colours.len() / 3);
            blend_at(source, size, &at, colours);
        }
    }
}

built_twice! {
    pub(super) fn pick_lens_row(source: &[u8], size: (usize, usize), map: &LensMap, y: usize, row: &mut [u8]) {
        let mut at = [[0; BLOCK]; 2];
        for (block, values) in row.chunks_mut(BLOCK).enumerate() {
            positions(map, 1.0, block * BLOCK, y, &mut at, values.len());
            pick_at(source, size, &at, values);
        }
    }
}

/// 255 where the target pixel shows a point between pixel centres of the source. A bent picture may cover a row in two
/// pieces, so every pixel is asked.
pub(super) fn cover_lens_row(source_size: (usize, usize), map: &LensMap, y: usize, row: &mut [u8]) {
    for (x, value) in row.iter_mut().enumerate() {
        if is_covered(source_size, map.at(x as f64, y as f64)) {
            *value = 255;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        frame::{FromReference, IntoReference, Point, Projective, RenderPx, UndistortedPx},
        kernels::{
            test_planes::noise,
            warp::{coverage, warp_mask, warp_rgb},
        },
    };
    use image::RgbImage;
    use nalgebra::Matrix3;

    fn picture(width: u32, height: u32) -> RgbImage {
        let planes = [1, 2, 3].map(|seed| noise(width as usize, height as usize, seed));
        RgbImage::from_fn(width, height, |x, y| {
            image::Rgb([0, 1, 2].map(|c| planes[c][[y as usize, x as usize]]))
        })
    }

    fn map(coefficient: f64, size: (u32, u32)) -> IntoReference<RenderPx> {
        let matrix = Matrix3::new(0.9, 0.15, -7.0, -0.1, 1.05, 4.0, 9e-4, -6e-4, 1.0);
        let projective = Projective::<UndistortedPx, RenderPx>::from_matrix(matrix);
        let lens = Lens::of_picture(coefficient, size).expect("within the limits");
        FromReference::new(lens, projective.expect("invertible").inverse()).inverse()
    }

    /// Bilinear in f64, without rounding of the position; `None` at the border and outside.
    fn slow(image: &RgbImage, [x, y]: [f64; 2]) -> Option<[f64; 3]> {
        let (u, v) = (x - 0.5, y - 0.5);
        let inside = |v: f64, n: u32| v >= 0.0 && v < f64::from(n) - 1.0;
        if !(inside(u, image.width()) && inside(v, image.height())) {
            return None;
        }
        let (i, j) = (u.floor(), v.floor());
        let at = |dx: u32, dy: u32| image[(i as u32 + dx, j as u32 + dy)];
        let (fx, fy) = (u - i, v - j);
        Some(std::array::from_fn(|c| {
            let value = |dx, dy| f64::from(at(dx, dy)[c]);
            (value(0, 0) * (1.0 - fx) + value(1, 0) * fx) * (1.0 - fy)
                + (value(0, 1) * (1.0 - fx) + value(1, 1) * fx) * fy
        }))
    }

    #[test]
    fn agrees_with_bilinear_in_floating_point() {
        let image = picture(120, 90);
        for coefficient in [-0.3, 0.1] {
            let map = map(coefficient, image.dimensions());
            let warped = warp_rgb(&image, (150, 110), &map);
            let covered = coverage((120, 90), (150, 110), &map);
            let mut seen = 0;
            for (x, y, colour) in warped.enumerate_pixels() {
                let at = map.apply(Point::new(f64::from(x) + 0.5, f64::from(y) + 0.5));
                let Some(expected) = slow(&image, at.xy()) else {
                    continue;
                };
                seen += 1;
                assert_eq!(covered[[y as usize, x as usize]], 255);
                for c in 0..3 {
                    // Positions are rounded to 1/64 pixel; noise changes by up to 255 from pixel to pixel.
                    let off = (f64::from(colour[c]) - expected[c]).abs();
                    assert!(off < 255.0 / 64.0 + 1.0, "({x}, {y}): {off}");
                }
            }
            assert!(seen > 5000, "{seen}");
        }
    }

    #[test]
    fn a_mask_shows_the_pixel_in_which_the_centre_falls() {
        let mask = noise(120, 90, 4);
        let map = map(-0.3, (120, 90));
        let warped = warp_mask(&mask, (150, 110), &map);
        for ((y, x), value) in warped.indexed_iter() {
            let at = map.apply(Point::new(x as f64 + 0.5, y as f64 + 0.5));
            let inside = at.x >= 0.0 && at.y >= 0.0 && at.x < 120.0 && at.y < 90.0;
            let expected = if inside {
                mask[[at.y as usize, at.x as usize]]
            } else {
                0
            };
            assert_eq!(*value, expected, "({x}, {y})");
        }
    }

    #[test]
    fn a_lens_that_bends_nothing_gives_the_same_bytes() {
        let image = picture(120, 90);
        let map = map(0.0, image.dimensions());
        assert_eq!(
            warp_rgb(&image, (150, 110), &map),
            warp_rgb(&image, (150, 110), &map.rows())
        );
    }

    #[test]
    fn a_shrinking_map_averages_the_source() {
        let image = RgbImage::from_fn(400, 400, |x, y| {
            image::Rgb([if (x + y) % 2 == 0 { 0 } else { 200 }; 3])
        });
        let lens = Lens::of_picture(-0.2, (400, 400)).expect("within the limits");
        let shrink = Projective::<RenderPx, UndistortedPx>::similarity(0.25, 0.0, [0.0, 0.0]);
        let map = FromReference::new(lens, shrink).inverse();
        let warped = warp_rgb(&image, (100, 100), &map);
        for (x, y, colour) in warped.enumerate_pixels() {
            if (10..90).contains(&x) && (10..90).contains(&y) {
                // Blocks of three by three hold one light pixel more or less than dark ones.
                assert!((90..=112).contains(&colour[0]), "({x}, {y}): {colour:?}");
            }
        }
    }
}
