//! The structural similarity of two planes, place by place.
//!
//! # Source
//! Z. Wang, A. C. Bovik, H. R. Sheikh and E. P. Simoncelli, "Image quality assessment: from error visibility to structural
//! similarity", IEEE Transactions on Image Processing 13 (2004), equation 13 with the settings of its section III-C: a Gaussian
//! window of 1.5 px, K1 = 0.01, K2 = 0.03, 255 levels.
use super::{Plane, blur, plane_of};
use ndarray::s;
use rayon::prelude::*;

/// Standard deviation of the window, px, and how far it reaches.
const WINDOW: f64 = 1.5;
const REACH: usize = 5;
const C1: f32 = (0.01 * 255.0) * (0.01 * 255.0);
const C2: f32 = (0.03 * 255.0) * (0.03 * 255.0);
/// Rows that are looked at together: what they need in between stays small.
const BAND: usize = 64;

/// -1 to 1 at each pixel, 1 where both are equal around it. Beyond the border both are mirrored.
///
/// # Panics
/// Where the planes differ in size.
pub fn structural_similarity(a: &Plane<u8>, b: &Plane<u8>) -> Plane<f32> {
    assert_eq!(a.dim(), b.dim(), "both have one size");
    let (height, width) = a.dim();
    let mut pixels = vec![0.0; width * height];
    pixels
        .par_chunks_mut((width * BAND).max(1))
        .enumerate()
        .for_each(|(index, rows)| {
            let first = index * BAND;
            let last = first + rows.len() / width;
            let from = first.saturating_sub(REACH);
            let to = (last + REACH).min(height);
            let band = |plane: &Plane<u8>| plane.slice(s![from..to, ..]).mapv(f32::from);
            let found = of_band(&band(a), &band(b));
            let inner = found.slice(s![first - from..last - from, ..]);
            for (pixel, value) in rows.iter_mut().zip(inner) {
                *pixel = *value;
            }
        });
    plane_of(width, height, pixels)
}

fn of_band(a: &Plane<f32>, b: &Plane<f32>) -> Plane<f32> {
    let mean = |plane: &Plane<f32>| blur::gaussian_f32(plane, WINDOW);
    let (mean_a, mean_b) = (mean(a), mean(b));
    let (aa, bb, ab) = (mean(&(a * a)), mean(&(b * b)), mean(&(a * b)));
    let mut found = ab;
    ndarray::Zip::from(&mut found)
        .and(&mean_a)
        .and(&mean_b)
        .and(&aa)
        .and(&bb)
        .for_each(|ab, &a, &b, &aa, &bb| {
            let (between, of_a, of_b) = (*ab - a * b, aa - a * a, bb - b * b);
            let light = (2.0 * a * b + C1) / (a * a + b * b + C1);
            *ab = light * (2.0 * between + C2) / (of_a + of_b + C2);
        });
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::kernels::test_planes::noise;

    /// The sums written out at one pixel.
    fn slow(a: &Plane<u8>, b: &Plane<u8>, [y, x]: [usize; 2]) -> f64 {
        let (height, width) = a.dim();
        let mirrored = |v: isize, size: usize| {
            let last = size as isize - 1;
            let v = if v < 0 { -v } else { v };
            (if v > last { 2 * last - v } else { v }) as usize
        };
        let (mut weight, mut sums) = (0.0, [0.0; 5]);
        for dy in -5..=5_isize {
            for dx in -5..=5_isize {
                let w = (-((dy * dy + dx * dx) as f64) / (2.0 * WINDOW * WINDOW)).exp();
                let at = [
                    mirrored(y as isize + dy, height),
                    mirrored(x as isize + dx, width),
                ];
                let (p, q) = (f64::from(a[at]), f64::from(b[at]));
                weight += w;
                for (sum, v) in sums.iter_mut().zip([p, q, p * p, q * q, p * q]) {
                    *sum += w * v;
                }
            }
        }
        let [p, q, pp, qq, pq] = sums.map(|s| s / weight);
        let (c1, c2) = (f64::from(C1), f64::from(C2));
        (2.0 * p * q + c1) * (2.0 * (pq - p * q) + c2)
            / ((p * p + q * q + c1) * (pp - p * p + qq - q * q + c2))
    }

    #[test]
    fn it_is_what_the_sums_written_out_give() {
        let (a, b) = (noise(40, 150, 3), noise(40, 150, 4));
        let found = structural_similarity(&a, &b);
        for at in [[0, 0], [63, 17], [64, 20], [70, 39], [149, 5]] {
            let expected = slow(&a, &b, at);
            assert!((f64::from(found[at]) - expected).abs() < 1e-4, "{at:?}");
        }
    }

    #[test]
    fn equal_planes_are_alike_everywhere_and_order_does_not_matter() {
        let (a, b) = (noise(30, 70, 5), noise(30, 70, 6));
        assert!(
            structural_similarity(&a, &a)
                .iter()
                .all(|v| (v - 1.0).abs() < 1e-4)
        );
        let (there, back) = (structural_similarity(&a, &b), structural_similarity(&b, &a));
        assert!(there.iter().zip(&back).all(|(p, q)| (p - q).abs() < 1e-5));
        for (width, height) in [(1, 1), (1, 9), (9, 1)] {
            let a = noise(width, height, 7);
            assert!((structural_similarity(&a, &a)[[0, 0]] - 1.0).abs() < 1e-4);
        }
    }
}
