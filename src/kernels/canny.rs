//! Edges after Canny, with the direction of each.
//!
//! # Source
//! J. Canny, A computational approach to edge detection, IEEE PAMI 8 (6), 1986, 679-698. We differ in that the caller
//! blurs, in that ties are kept on both sides (see [`canny`]), and in that every choice is made in whole numbers, so
//! that turning or mirroring the image turns or mirrors the edges exactly.
use super::{
    Plane, plane_of, row_by_row,
    sobel::{Gradient, Sobel},
    wide::built_twice,
};
use rayon::prelude::*;

const ROWS_A_BAND: usize = 64;
/// Set in the code of a pixel that belongs to an edge; without it the pixel is only a candidate.
const ACCEPTED: u8 = 0x80;
/// Pixels looked at together: most are far from any edge.
const BLOCK: usize = 16;

/// The edges of an image.
#[derive(Clone, Debug, PartialEq)]
pub struct Edges {
    /// 0 where there is no edge, else one bit of eight: `1 << k` where the gradient points along `k * 22.5` degrees,
    /// to the nearest, modulo 180 degrees; 0 is to the right, 90 down.
    pub direction_bits: Plane<u8>,
    /// How many pixels are edges.
    pub count: usize,
}

/// How often each gradient magnitude occurs: element `m` counts the pixels whose Sobel magnitude
/// (`sqrt(dx^2 + dy^2)`, 8ths of a grey level a pixel) rounds to `m`. The largest that can occur is 1443.
///
/// The thresholds of [`canny`] are on the same scale.
pub fn gradients_histogram(blurred: &Plane<u8>) -> [u64; 2048] {
    let (height, width) = blurred.dim();
    if blurred.is_empty() {
        return [0; 2048];
    }
    let pixels = row_by_row(blurred);
    (0..height.div_ceil(ROWS_A_BAND))
        .into_par_iter()
        .map(|band| {
            let mut counts = [0; 2048];
            let mut sobel = Sobel::new(&pixels, width);
            let mut gradient = Gradient::new(width);
            let mut magnitudes = vec![0; width];
            for y in band * ROWS_A_BAND..((band + 1) * ROWS_A_BAND).min(height) {
                sobel.row(y, &mut gradient);
                round_roots(&gradient.squared[1..=width], &mut magnitudes);
                for &magnitude in &magnitudes {
                    counts[usize::from(magnitude) & 2047] += 1;
                }
            }
            counts
        })
        .reduce(|| [0; 2048], |a, b| std::array::from_fn(|i| a[i] + b[i]))
}

built_twice! {
    /// Square roots of whole numbers below 2^22, rounded.
    ///
    /// No such root lies nearer to a half than `0.25 / root` once a quarter is taken off the square, which is more than
    /// the error of an f32 root.
    fn round_roots(squares: &[i32], roots: &mut [u16]) {
        for (root, &square) in roots.iter_mut().zip(squares) {
            *root = ((square as f32 - 0.25).max(0.0).sqrt() + 0.5) as i32 as u16;
        }
    }
}

/// The edges of an image that has been blurred already.
///
/// An edge pixel has a Sobel magnitude (3 x 3, `sqrt(dx^2 + dy^2)`, border pixels repeated, at most 1443) above `low`,
/// at least that of both neighbours along its gradient (to the nearest 45 degrees), and is connected by such pixels,
/// over all 8 neighbours, to one whose magnitude is above `high`. A `low` above `high` is taken as `high`; below 0 or
/// NaN counts as 0, so flat pixels are never edges.
///
/// A ridge of two equal magnitudes, as beside an ideal step between two pixels, is kept in both and comes out two
/// pixels wide: to choose one would be to prefer a side. No gradient of whole numbers lies exactly between two of the
/// directions, because the tangents there are irrational; so no rule for that is needed.
pub fn canny(blurred: &Plane<u8>, low: f64, high: f64) -> Edges {
    let (height, width) = blurred.dim();
    let mut codes = vec![0; width * height];
    if codes.is_empty() {
        return Edges {
            direction_bits: plane_of(width, height, codes),
            count: 0,
        };
    }
    let pixels = row_by_row(blurred);
    let limits = Limits::new(low, high);
    codes
        .par_chunks_mut(width * ROWS_A_BAND)
        .enumerate()
        .for_each_init(
            || Thinning::new(&pixels, width),
            |thinning, (band, codes)| {
                thinning.run(band * ROWS_A_BAND, codes, limits);
                flood(codes, width, &mut thinning.strong);
            },
        );
    let mut open = accepted_at_band_borders(width, &codes);
    flood(&mut codes, width, &mut open);
    let count = codes
        .par_chunks_mut(width * ROWS_A_BAND)
        .map(codes_to_bits)
        .sum();
    Edges {
        direction_bits: plane_of(width, height, codes),
        count,
    }
}

/// Thresholds on the squared magnitude: exactly the whole numbers whose root is above the limit are above these.
#[derive(Clone, Copy)]
struct Limits {
    low: i32,
    high: i32,
}

impl Limits {
    fn new(low: f64, high: f64) -> Self {
        // `max` takes the other one of NaN; the conversion saturates, far above the largest square.
        let square = |limit: f64| (limit.max(0.0) * limit.max(0.0)).floor() as i32;
        let (low, high) = (square(low), square(high));
        Self {
            low: low.min(high),
            high,
        }
    }
}

/// Non-maximum suppression of one band of rows: three rows of gradients that move down.
struct Thinning<'a> {
    sobel: Sobel<'a>,
    height: usize,
    gradients: [Gradient; 3],
    /// Places within the band of the candidates above the high limit.
    strong: Vec<usize>,
}

impl<'a> Thinning<'a> {
    fn new(pixels: &'a [u8], width: usize) -> Self {
        Self {
            sobel: Sobel::new(pixels, width),
            height: pixels.len() / width,
            gradients: std::array::from_fn(|_| Gradient::new(width)),
            strong: Vec::new(),
        }
    }

    /// Writes the codes of the rows from `top` on: 0, or 1 + direction for a candidate, [`ACCEPTED`] where strong.
    fn run(&mut self, top: usize, codes: &mut [u8], limits: Limits) {
        let width = self.gradients[0].x.len();
        match top.checked_sub(1) {
            Some(above) => self.sobel.row(above, &mut self.gradients[0]),
            None => self.gradients[0].squared.fill(0),
        }
        self.sobel.row(top, &mut self.gradients[1]);
        for (i, row) in codes.chunks_exact_mut(width).enumerate() {
            if top + i + 1 < self.height {
                self.sobel.row(top + i + 1, &mut self.gradients[2]);
            } else {
                self.gradients[2].squared.fill(0);
            }
            thin_row(&self.gradients, limits, i * width, row, &mut self.strong);
            self.gradients.rotate_left(1);
        }
    }
}

built_twice! {
    fn thin_row(gradients: &[Gradient; 3], limits: Limits, start: usize, codes: &mut [u8], strong: &mut Vec<usize>) {
        let squared = &gradients[1].squared[1..=codes.len()];
        for (block, squares) in squared.chunks(BLOCK).enumerate() {
            if squares.iter().fold(0, |most, &m| most.max(m)) <= limits.low {
                continue;
            }
            for (i, &square) in squares.iter().enumerate() {
                let x = block * BLOCK + i;
                let (dx, dy) = (i32::from(gradients[1].x[x]), i32::from(gradients[1].y[x]));
                if square <= limits.low || !is_ridge(gradients, x + 1, dx, dy) {
                    continue;
                }
                codes[x] = 1 + direction(dx, dy);
                if square > limits.high {
                    codes[x] |= ACCEPTED;
                    strong.push(start + x);
                }
            }
        }
    }
}

/// Whether the magnitude at `k` (of the padded row) is at least that of both neighbours along the gradient.
///
/// The slope of 22.5 degrees is the root `sqrt(2) - 1` of `t^2 + 2 t = 1`, so `b / a` is below it where
/// `b^2 + 2 a b < a^2`.
#[inline(always)]
fn is_ridge(gradients: &[Gradient; 3], k: usize, dx: i32, dy: i32) -> bool {
    let [above, here, below] = [0, 1, 2].map(|i| &gradients[i].squared);
    let (a, b) = (dx.abs(), dy.abs());
    let (one, other) = if b * b + 2 * a * b < a * a {
        (here[k - 1], here[k + 1])
    } else if a * a + 2 * a * b < b * b {
        (above[k], below[k])
    } else if (dx < 0) == (dy < 0) {
        (above[k - 1], below[k + 1])
    } else {
        (above[k + 1], below[k - 1])
    };
    here[k] >= one && here[k] >= other
}

/// The bin of eight, each 22.5 degrees wide, that a gradient modulo 180 degrees falls into; bin 0 points to the right.
///
/// Squaring `dx + i dy` doubles the angle: modulo 360 degrees then, in eight bins of 45 degrees.
#[inline(always)]
fn direction(dx: i32, dy: i32) -> u8 {
    let (dx, dy) = (i64::from(dx), i64::from(dy));
    let (x, y) = (dx * dx - dy * dy, 2 * dx * dy);
    let (a, b) = (x.abs(), y.abs());
    if b * b + 2 * a * b < a * a {
        if x > 0 { 0 } else { 4 }
    } else if a * a + 2 * a * b < b * b {
        if y > 0 { 2 } else { 6 }
    } else {
        match (x > 0, y > 0) {
            (true, true) => 1,
            (false, true) => 3,
            (false, false) => 5,
            (true, false) => 7,
        }
    }
}

/// Accepts all candidates that are connected to those in `open`. The result does not depend on their order.
fn flood(codes: &mut [u8], width: usize, open: &mut Vec<usize>) {
    let height = codes.len() / width;
    while let Some(at) = open.pop() {
        let (x, y) = (at % width, at / width);
        for near_y in y.saturating_sub(1)..=(y + 1).min(height - 1) {
            for near_x in x.saturating_sub(1)..=(x + 1).min(width - 1) {
                let near = near_y * width + near_x;
                if codes[near] != 0 && codes[near] & ACCEPTED == 0 {
                    codes[near] |= ACCEPTED;
                    open.push(near);
                }
            }
        }
    }
}

/// The accepted pixels in the first and last rows of the bands: only from there can a flood enter another band.
fn accepted_at_band_borders(width: usize, codes: &[u8]) -> Vec<usize> {
    let is_border = |y: &usize| [0, ROWS_A_BAND - 1].contains(&(y % ROWS_A_BAND));
    (0..codes.len() / width)
        .filter(is_border)
        .flat_map(|y| y * width..(y + 1) * width)
        .filter(|&at| codes[at] & ACCEPTED != 0)
        .collect()
}

/// Replaces codes by direction bits, and counts the edges.
fn codes_to_bits(codes: &mut [u8]) -> usize {
    let mut count = 0;
    for block in codes.chunks_mut(2 * BLOCK) {
        if block.iter().fold(0, |any, &code| any | code) == 0 {
            continue;
        }
        for code in block {
            *code = if *code & ACCEPTED == 0 {
                0
            } else {
                count += 1;
                1 << ((*code & !ACCEPTED) - 1)
            };
        }
    }
    count
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::kernels::{
        blur::gaussian,
        test_planes::{mirrored, noise, quarter_turned},
    };

    /// Gradients by the definition, angles by `atan2`, and a flood that goes over the image until nothing changes.
    fn slow(plane: &Plane<u8>, low: f64, high: f64) -> Plane<u8> {
        let (height, width) = plane.dim();
        let at = |x: i64, y: i64| {
            let inside = |i: i64, n: usize| i.clamp(0, n as i64 - 1) as usize;
            i32::from(plane[[inside(y, height), inside(x, width)]])
        };
        let gradient = |x: i64, y: i64| {
            let side = |dx: i64| at(x + dx, y - 1) + 2 * at(x + dx, y) + at(x + dx, y + 1);
            let level = |dy: i64| at(x - 1, y + dy) + 2 * at(x, y + dy) + at(x + 1, y + dy);
            (
                f64::from(side(1) - side(-1)),
                f64::from(level(1) - level(-1)),
            )
        };
        let magnitude = |x: i64, y: i64| {
            let inside = x >= 0 && y >= 0 && x < width as i64 && y < height as i64;
            let (gx, gy) = gradient(x, y);
            if inside {
                (gx * gx + gy * gy).sqrt()
            } else {
                0.0
            }
        };
        let mut bits = Plane::zeros((height, width));
        let mut edges = Plane::from_elem((height, width), false);
        for ((y, x), bit) in bits.indexed_iter_mut() {
            let (x, y) = (x as i64, y as i64);
            let (gx, gy) = gradient(x, y);
            let angle = gy.atan2(gx).to_degrees().rem_euclid(180.0);
            let (sx, sy) = [(1, 0), (1, 1), (0, 1), (-1, 1)][(angle / 45.0).round() as usize % 4];
            let m = magnitude(x, y);
            if m > low && m >= magnitude(x + sx, y + sy) && m >= magnitude(x - sx, y - sy) {
                *bit = 1 << ((angle / 22.5).round() as usize % 8);
                edges[[y as usize, x as usize]] = m > high;
            }
        }
        loop {
            let before = edges.clone();
            for ((y, x), edge) in edges.indexed_iter_mut() {
                let rows = y.saturating_sub(1)..(y + 2).min(height);
                let near = before.slice(ndarray::s![rows, x.saturating_sub(1)..(x + 2).min(width)]);
                *edge |= bits[[y, x]] != 0 && near.iter().any(|&e| e);
            }
            if edges == before {
                bits.zip_mut_with(&edges, |bit, &edge| *bit *= u8::from(edge));
                return bits;
            }
        }
    }

    /// The bits after every direction `k` has become `to(k)`.
    fn redirected(bits: &Plane<u8>, to: impl Fn(u32) -> u32) -> Plane<u8> {
        bits.mapv(|bit| {
            if bit == 0 {
                0
            } else {
                1 << (to(bit.trailing_zeros()) % 8)
            }
        })
    }

    #[test]
    fn a_ramp_between_two_flats_is_one_line_with_its_gradient_to_the_right() {
        let row = [0, 0, 100, 200, 200];
        let plane = Plane::from_shape_fn((5, 5), |(_, x)| row[x]);
        // Derivatives 0, 400, 800, 400, 0: only the middle is a maximum.
        let edges = canny(&plane, 100.0, 500.0);
        let expected = Plane::from_shape_fn((5, 5), |(_, x)| u8::from(x == 2));
        assert_eq!(
            edges,
            Edges {
                direction_bits: expected,
                count: 5
            }
        );
    }

    #[test]
    fn an_ideal_step_is_kept_on_both_sides() {
        let plane = Plane::from_shape_fn((6, 6), |(y, _)| if y < 3 { 0 } else { 90 });
        let edges = canny(&plane, 10.0, 20.0);
        let expected =
            Plane::from_shape_fn((6, 6), |(y, _)| if y == 2 || y == 3 { 1 << 4 } else { 0 });
        assert_eq!(edges.direction_bits, expected);
    }

    #[test]
    fn agrees_with_the_definition_on_random_images_of_any_shape() {
        for (width, height, sigma) in [
            (90, 150, 1.2),
            (61, 40, 0.0),
            (1, 1, 0.0),
            (1, 30, 0.0),
            (30, 1, 0.0),
            (17, 200, 2.0),
        ] {
            let plane = gaussian(&noise(width, height, 21), sigma);
            for (low, high) in [(20.0, 60.0), (0.0, 100.0), (150.0, 400.0)] {
                let edges = canny(&plane, low, high);
                assert_eq!(
                    edges.direction_bits,
                    slow(&plane, low, high),
                    "{width}x{height} {low} {high}"
                );
                assert_eq!(
                    edges.count,
                    edges.direction_bits.iter().filter(|&&b| b != 0).count()
                );
            }
        }
    }

    #[test]
    fn every_direction_has_the_nearest_bin() {
        for dx in -60..=60 {
            for dy in -60..=60 {
                if (dx, dy) != (0, 0) {
                    let angle = f64::from(dy)
                        .atan2(f64::from(dx))
                        .to_degrees()
                        .rem_euclid(180.0);
                    assert_eq!(
                        direction(dx, dy),
                        (angle / 22.5).round() as u8 % 8,
                        "({dx}, {dy})"
                    );
                }
            }
        }
    }

    #[test]
    fn turning_and_mirroring_the_image_turns_and_mirrors_the_edges_exactly() {
        let plane = gaussian(&noise(83, 140, 2), 1.0);
        let bits = canny(&plane, 30.0, 110.0).direction_bits;
        let mirror = canny(&mirrored(&plane), 30.0, 110.0).direction_bits;
        assert_eq!(mirror, redirected(&mirrored(&bits), |k| 8 - k));
        let turned = canny(&quarter_turned(&plane), 30.0, 110.0).direction_bits;
        assert_eq!(turned, redirected(&quarter_turned(&bits), |k| k + 4));
    }

    #[test]
    fn weak_edges_are_followed_through_many_bands_on_any_number_of_threads() {
        // A vertical ramp over 400 rows that gets steeper from row to row: strong at the lower end alone.
        let plane = Plane::from_shape_fn((400, 9), |(y, x)| {
            (x.clamp(3, 5) - 3) as u8 * (20 + y / 4) as u8
        });
        let edges = |threads: usize| {
            let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build();
            pool.expect("threads can be started")
                .install(|| canny(&plane, 100.0, 900.0))
        };
        let alone = edges(1);
        assert!((0..400).all(|y| alone.direction_bits[[y, 4]] == 1));
        assert_eq!(alone, edges(3));
        assert_eq!(canny(&plane, 100.0, 2000.0).count, 0);
    }

    #[test]
    fn odd_limits_do_no_harm() {
        let plane = noise(20, 20, 6);
        assert_eq!(canny(&plane, f64::NAN, f64::NAN), canny(&plane, 0.0, -5.0));
        assert_eq!(canny(&plane, 500.0, 300.0), canny(&plane, 300.0, 300.0));
        assert_eq!(canny(&plane, 0.0, f64::INFINITY).count, 0);
        assert_eq!(canny(&Plane::from_elem((9, 9), 7), 0.0, 0.0).count, 0);
        assert_eq!(canny(&Plane::zeros((0, 4)), 1.0, 2.0).count, 0);
    }

    #[test]
    fn the_histogram_counts_rounded_magnitudes() {
        let row = [0, 0, 100, 200, 200];
        let histogram = gradients_histogram(&Plane::from_shape_fn((5, 5), |(_, x)| row[x]));
        assert_eq!((histogram[0], histogram[400], histogram[800]), (10, 10, 5));
        let noisy = gradients_histogram(&noise(200, 130, 8));
        assert_eq!(noisy.iter().sum::<u64>(), 200 * 130);
        assert_eq!(gradients_histogram(&Plane::zeros((0, 0))), [0; 2048]);
    }

    #[test]
    fn roots_are_rounded_exactly() {
        let squares: Vec<i32> = (0..=2 * 1020 * 1020).collect();
        let mut roots = vec![0; squares.len()];
        round_roots(&squares, &mut roots);
        for (square, root) in squares.iter().zip(roots) {
            assert_eq!(root, f64::from(*square).sqrt().round() as u16);
        }
    }
}
