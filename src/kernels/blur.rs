//! Gaussian blur, as a separable sum of weighted neighbours.
use super::{Plane, plane_of, row_by_row, wide::built_twice};
use crate::stop;
use rayon::prelude::*;
use std::ops::AddAssign;

/// The largest standard deviation, in pixels; larger ones are taken as this.
pub const LARGEST_SIGMA: f64 = 20.0;

/// Sum of the whole-number weights: 15 bits keep weights and values in the range that processors multiply fastest.
const ONE: i32 = 1 << 15;
/// Columns summed at a time: their sums stay in the fastest memory while the neighbours are gone through.
const STRIP: usize = 1024;

/// Gaussian blur of an 8-bit plane, rounded to the nearest whole number without bias.
///
/// `sigma` is the standard deviation in pixels, above 0 and up to [`LARGEST_SIGMA`]; 0, negative or NaN changes
/// nothing. The sum goes to `ceil(3 sigma)` pixels on each side; beyond the border the image is mirrored about its
/// outermost pixel centres (`dcb|abcd|cba`). The weights are whole multiples of 1/32768 and sum to exactly 1, so a
/// constant stays constant; the sum down the columns is kept to 1/64 of a grey level. Both together move the value that
/// is rounded by some 0.02 of a grey level.
pub fn gaussian(plane: &Plane<u8>, sigma: f64) -> Plane<u8> {
    let Some(exact) = half_kernel(sigma) else {
        return plane.clone();
    };
    let mut weights: Vec<i16> = exact
        .iter()
        .map(|w| (w * f64::from(ONE)).round() as i16)
        .collect();
    let sides: i32 = weights[1..].iter().map(|&w| 2 * i32::from(w)).sum();
    if sides == 0 {
        return plane.clone();
    }
    weights[0] = (ONE - sides) as i16;
    separable(
        plane,
        weights.len() - 1,
        |rows, sums| add_rows(rows, &weights, sums),
        |sums, row| add_columns(sums, &weights, row),
    )
}

/// Gaussian blur of a plane of real numbers; `sigma`, extent and border as in [`gaussian`].
pub fn gaussian_f32(plane: &Plane<f32>, sigma: f64) -> Plane<f32> {
    let Some(exact) = half_kernel(sigma) else {
        return plane.clone();
    };
    let weights: Vec<f32> = exact.iter().map(|&w| w as f32).collect();
    separable(
        plane,
        weights.len() - 1,
        |rows, sums| add_rows_f32(rows, &weights, sums),
        |sums, row| add_columns_f32(sums, &weights, row),
    )
}

/// The weights from the centre outwards; centre plus twice the others is 1. `None` where nothing is to be blurred.
fn half_kernel(sigma: f64) -> Option<Vec<f64>> {
    if sigma.is_nan() || sigma <= 0.0 {
        return None;
    }
    let sigma = sigma.min(LARGEST_SIGMA);
    let radius = (3.0 * sigma).ceil() as usize;
    let bell: Vec<f64> = (0..=radius)
        .map(|i| libm::exp(-0.5 * (i as f64 / sigma).powi(2)))
        .collect();
    let sum = bell[0] + 2.0 * bell[1..].iter().sum::<f64>();
    Some(bell.iter().map(|b| b / sum).collect())
}

/// Runs `down` (neighbouring rows to one row of sums) and `across` (sums, with `radius` more at each end, to one row).
fn separable<T, S>(
    plane: &Plane<T>,
    radius: usize,
    down: impl Fn(&[&[T]], &mut [S]) + Sync,
    across: impl Fn(&[S], &mut [T]) + Sync,
) -> Plane<T>
where
    T: Copy + Default + Send + Sync,
    S: Copy + Default + Send,
{
    let (height, width) = plane.dim();
    let source = row_by_row(plane);
    let mut blurred = vec![T::default(); width * height];
    blurred
        .par_chunks_mut(width.max(1))
        .enumerate()
        .for_each_init(
            || {
                let sums = vec![S::default(); width + 2 * radius];
                (Vec::with_capacity(2 * radius + 1), sums)
            },
            |(rows, sums), (y, row)| {
                if stop::is_asked() {
                    return;
                }
                rows.clear();
                rows.extend((0..=2 * radius).map(|i| {
                    let from = mirror(y as isize + i as isize - radius as isize, height);
                    &source[from * width..(from + 1) * width]
                }));
                down(rows, &mut sums[radius..radius + width]);
                for i in 1..=radius {
                    sums[radius - i] = sums[radius + mirror(-(i as isize), width)];
                    let beyond = width - 1 + i;
                    sums[radius + beyond] = sums[radius + mirror(beyond as isize, width)];
                }
                across(sums, row);
            },
        );
    plane_of(width, height, blurred)
}

/// The pixel that stands for `i` in a line of `length` pixels mirrored about its outermost pixel centres.
fn mirror(i: isize, length: usize) -> usize {
    if length == 1 {
        return 0;
    }
    let last = length - 1;
    let i = i.unsigned_abs() % (2 * last);
    if i <= last { i } else { 2 * last - i }
}

/// Adds `product` of the values on both sides and the weight of each step away from the centre, four steps at a time:
/// their sum then stays in registers. `before(j)` and `after(j)` are the values `j` steps to the sides.
#[inline(always)]
fn add_sides<'a, V: Copy + 'a, W: Copy, S: Copy + AddAssign>(
    total: &mut [S],
    weights: &[W],
    before: impl Fn(usize) -> &'a [V],
    after: impl Fn(usize) -> &'a [V],
    product: impl Fn(V, V, W) -> S + Copy,
) {
    let mut step = 1;
    while step < weights.len() {
        let (left, right, weights) = (|i| before(step + i), |i| after(step + i), &weights[step..]);
        step += match weights.len() {
            1 => add_steps::<1, V, W, S>(total, weights, left, right, product),
            2 => add_steps::<2, V, W, S>(total, weights, left, right, product),
            3 => add_steps::<3, V, W, S>(total, weights, left, right, product),
            _ => add_steps::<4, V, W, S>(total, weights, left, right, product),
        };
    }
}

#[inline(always)]
fn add_steps<'a, const STEPS: usize, V: Copy + 'a, W: Copy, S: Copy + AddAssign>(
    total: &mut [S],
    weights: &[W],
    before: impl Fn(usize) -> &'a [V],
    after: impl Fn(usize) -> &'a [V],
    product: impl Fn(V, V, W) -> S + Copy,
) -> usize {
    let length = total.len();
    let left: [&[V]; STEPS] = std::array::from_fn(|i| &before(i)[..length]);
    let right: [&[V]; STEPS] = std::array::from_fn(|i| &after(i)[..length]);
    let weights: [W; STEPS] = std::array::from_fn(|i| weights[i]);
    for x in 0..length {
        let mut sum = total[x];
        for i in 0..STEPS {
            sum += product(left[i][x], right[i][x], weights[i]);
        }
        total[x] = sum;
    }
    STEPS
}

#[inline(always)]
fn whole_product<V: Into<i16>>(left: V, right: V, weight: i16) -> i32 {
    i32::from(left.into() + right.into()) * i32::from(weight)
}

#[inline(always)]
fn real_product(left: f32, right: f32, weight: f32) -> f32 {
    (left + right) * weight
}

built_twice! {
    /// Weighted sum of rows, in 1/64 of a grey level: two of them still fit into 15 bits.
    fn add_rows(rows: &[&[u8]], weights: &[i16], sums: &mut [i16]) {
        let middle = weights.len() - 1;
        let mut total = [0; STRIP];
        for (strip, sums) in sums.chunks_mut(STRIP).enumerate() {
            let total = &mut total[..sums.len()];
            let row = |i: usize| &rows[i][strip * STRIP..];
            for (total, &value) in total.iter_mut().zip(row(middle)) {
                *total = i32::from(value) * i32::from(weights[0]) + (1 << 8);
            }
            add_sides(total, weights, |j| row(middle - j), |j| row(middle + j), whole_product);
            for (sum, &total) in sums.iter_mut().zip(&*total) {
                *sum = (total >> 9) as i16;
            }
        }
    }
}

built_twice! {
    fn add_columns(sums: &[i16], weights: &[i16], row: &mut [u8]) {
        let middle = weights.len() - 1;
        let mut total = [0; STRIP];
        for (strip, row) in row.chunks_mut(STRIP).enumerate() {
            let total = &mut total[..row.len()];
            let from = |i: usize| &sums[strip * STRIP + i..];
            for (total, &value) in total.iter_mut().zip(from(middle)) {
                *total = i32::from(value) * i32::from(weights[0]) + (1 << 20);
            }
            add_sides(total, weights, |j| from(middle - j), |j| from(middle + j), whole_product);
            for (out, &total) in row.iter_mut().zip(&*total) {
                *out = (total >> 21) as u8;
            }
        }
    }
}

built_twice! {
    fn add_rows_f32(rows: &[&[f32]], weights: &[f32], sums: &mut [f32]) {
        let middle = weights.len() - 1;
        for (strip, total) in sums.chunks_mut(STRIP).enumerate() {
            let row = |i: usize| &rows[i][strip * STRIP..];
            for (total, &value) in total.iter_mut().zip(row(middle)) {
                *total = value * weights[0];
            }
            add_sides(total, weights, |j| row(middle - j), |j| row(middle + j), real_product);
        }
    }
}

built_twice! {
    fn add_columns_f32(sums: &[f32], weights: &[f32], row: &mut [f32]) {
        let middle = weights.len() - 1;
        for (strip, total) in row.chunks_mut(STRIP).enumerate() {
            let from = |i: usize| &sums[strip * STRIP + i..];
            for (total, &value) in total.iter_mut().zip(from(middle)) {
                *total = value * weights[0];
            }
            add_sides(total, weights, |j| from(middle - j), |j| from(middle + j), real_product);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::kernels::test_planes::{mirrored, noise, quarter_turned};

    /// The plain double sum over the square, in f64, with its own way to mirror.
    fn slow(plane: &Plane<f64>, sigma: f64) -> Plane<f64> {
        let (height, width) = plane.dim();
        let radius = (3.0 * sigma).ceil() as i64;
        let weight = |d: i64| libm::exp(-((d * d) as f64) / (2.0 * sigma * sigma));
        let sum: f64 = (-radius..=radius).map(weight).sum();
        let inside = |mut i: i64, n: usize| {
            let last = n as i64 - 1;
            while i < 0 || i > last {
                i = if last == 0 {
                    0
                } else if i < 0 {
                    -i
                } else {
                    2 * last - i
                };
            }
            i as usize
        };
        Plane::from_shape_fn((height, width), |(y, x)| {
            let mut total = 0.0;
            for dy in -radius..=radius {
                for dx in -radius..=radius {
                    let at = [inside(y as i64 + dy, height), inside(x as i64 + dx, width)];
                    total += plane[at] * weight(dy) * weight(dx);
                }
            }
            total / (sum * sum)
        })
    }

    #[test]
    fn a_single_bright_pixel_becomes_the_bell_written_out() {
        let mut plane = Plane::zeros((5, 5));
        plane[[2, 2]] = 255;
        // exp(-d^2 / 0.5) for sigma 0.5: 1, 0.135335, 0.000335; normalised 0.786571, 0.106451, 0.000264.
        let blurred = gaussian(&plane, 0.5);
        let rows = [
            [0, 0, 0, 0, 0],
            [0, 3, 21, 3, 0],
            [0, 21, 158, 21, 0],
            [0, 3, 21, 3, 0],
            [0, 0, 0, 0, 0],
        ];
        assert_eq!(blurred, Plane::from_shape_fn((5, 5), |(y, x)| rows[y][x]));
    }

    #[test]
    fn both_blurs_agree_with_the_double_sum_on_random_images_of_any_shape() {
        for (width, height, sigma) in [
            (70, 9, 1.4),
            (1, 1, 2.0),
            (1, 40, 0.8),
            (33, 1, 3.0),
            (41, 37, 7.3),
            (2, 3, 20.0),
        ] {
            let plane = noise(width, height, 7);
            let exact = slow(&plane.mapv(f64::from), sigma);
            let bytes = gaussian(&plane, sigma);
            let reals = gaussian_f32(&plane.mapv(f32::from), sigma);
            for (at, &value) in exact.indexed_iter() {
                // Rounding to a whole number, and the rounding of the weights.
                assert!(
                    (f64::from(bytes[at]) - value).abs() < 0.52,
                    "{width}x{height} sigma {sigma} at {at:?}"
                );
                // Some 120 sums of f32 numbers up to 255.
                assert!((f64::from(reals[at]) - value).abs() < 1e-3);
            }
        }
    }

    #[test]
    fn rounding_has_no_bias() {
        let plane = noise(256, 256, 3);
        let exact = slow(&plane.mapv(f64::from), 1.0);
        let blurred = gaussian(&plane, 1.0);
        let bias: f64 = exact
            .indexed_iter()
            .map(|(at, v)| f64::from(blurred[at]) - v)
            .sum::<f64>()
            / 65536.0;
        // The mean of 65536 rounding errors of standard deviation 0.29 has a standard deviation of 0.0011.
        assert!(bias.abs() < 0.005, "{bias}");
    }

    #[test]
    fn constants_stay_constant_at_every_sigma() {
        for sigma in [0.01, 0.3, 1.4, 6.0, 20.0, 99.0] {
            for grey in [0, 1, 128, 255] {
                let plane = Plane::from_elem((11, 45), grey);
                assert_eq!(gaussian(&plane, sigma), plane);
            }
        }
    }

    #[test]
    fn no_blur_is_a_copy_and_empty_planes_pass() {
        let plane = noise(8, 8, 5);
        for sigma in [0.0, -1.0, f64::NAN] {
            assert_eq!(gaussian(&plane, sigma), plane);
        }
        assert_eq!(gaussian(&Plane::zeros((0, 0)), 2.0).dim(), (0, 0));
        assert_eq!(gaussian(&Plane::zeros((3, 0)), 2.0).dim(), (3, 0));
    }

    #[test]
    fn mirroring_commutes_with_the_blur() {
        let plane = noise(53, 31, 11);
        let blurred = gaussian(&plane, 2.2);
        assert_eq!(gaussian(&mirrored(&plane), 2.2), mirrored(&blurred));
        // A quarter turn exchanges the order of both sums, whose first is rounded to 1/128.
        let turned = gaussian(&quarter_turned(&plane), 2.2);
        let expected = quarter_turned(&blurred);
        let differences = turned.iter().zip(&expected).map(|(a, b)| a.abs_diff(*b));
        assert!(differences.max() <= Some(1));
    }
}
