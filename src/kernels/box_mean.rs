//! The mean over a square box, at the same cost whatever its size.
use super::{Plane, wide::built_twice};
use rayon::prelude::*;

/// Rows that one task sums up.
const BAND: usize = 256;

/// The mean of `plane` over the square of `2 radius + 1` pixels around each pixel; at the border over the part of the
/// square that lies inside.
pub fn box_mean(plane: Plane<f32>, radius: usize) -> Plane<f32> {
    let (height, width) = plane.dim();
    let mut along_rows = plane;
    if width == 0 || height == 0 {
        return along_rows;
    }
    let rows = along_rows
        .as_slice_mut()
        .expect("rows are contiguous")
        .par_chunks_mut(width);
    rows.for_each_init(
        || vec![0.0; width],
        |sums, row| sliding_mean(row, sums, radius),
    );
    let source = along_rows.as_slice().expect("rows are contiguous");
    let mut out = Plane::zeros((height, width));
    let bands = out
        .as_slice_mut()
        .expect("rows are contiguous")
        .par_chunks_mut(BAND * width);
    bands.enumerate().for_each_init(
        || vec![0.0; width],
        |sums, (k, band)| column_means(source, sums, (k * BAND, radius), band),
    );
    out
}

/// Pixels of `n` that the box around pixel `at` has along one axis.
fn count(at: usize, n: usize, radius: usize) -> f64 {
    ((at + radius + 1).min(n) - at.saturating_sub(radius)) as f64
}

/// Puts the means along a row in its place; `sums` is room as long.
fn sliding_mean(row: &mut [f32], sums: &mut [f64], radius: usize) {
    let n = row.len();
    let mut sum: f64 = row.iter().take(radius).map(|v| f64::from(*v)).sum();
    for (x, here) in sums.iter_mut().enumerate() {
        if x + radius < n {
            sum += f64::from(row[x + radius]);
        }
        if x > radius {
            sum -= f64::from(row[x - radius - 1]);
        }
        *here = sum;
    }
    // Where the box is whole it has as many pixels everywhere.
    let whole = radius.min(n)..n.saturating_sub(radius).max(radius.min(n));
    for x in (0..whole.start).chain(whole.end..n) {
        row[x] = (sums[x] / count(x, n, radius)) as f32;
    }
    divide(
        &sums[whole.clone()],
        (2 * radius + 1) as f64,
        &mut row[whole],
    );
}

/// Writes the means down the columns of whole rows from `first` on; `sums` is room of one row.
fn column_means(
    source: &[f32],
    sums: &mut [f64],
    (first, radius): (usize, usize),
    out: &mut [f32],
) {
    let width = sums.len();
    let height = source.len() / width;
    let row = |y: usize| &source[y * width..(y + 1) * width];
    sums.fill(0.0);
    for y in first.saturating_sub(radius)..(first + radius).min(height) {
        add(row(y), sums);
    }
    for (y, out) in (first..).zip(out.chunks_exact_mut(width)) {
        if y + radius < height {
            add(row(y + radius), sums);
        }
        if y > radius && y > first {
            subtract(row(y - radius - 1), sums);
        }
        divide(sums, count(y, height, radius), out);
    }
}

built_twice! {
    fn add(row: &[f32], sums: &mut [f64]) {
        for (sum, v) in sums.iter_mut().zip(row) {
            *sum += f64::from(*v);
        }
    }
}

built_twice! {
    fn subtract(row: &[f32], sums: &mut [f64]) {
        for (sum, v) in sums.iter_mut().zip(row) {
            *sum -= f64::from(*v);
        }
    }
}

built_twice! {
    fn divide(sums: &[f64], count: f64, means: &mut [f32]) {
        for (mean, sum) in means.iter_mut().zip(sums) {
            *mean = (sum / count) as f32;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn slow(plane: &Plane<f32>, radius: usize) -> Plane<f32> {
        let (height, width) = plane.dim();
        Plane::from_shape_fn((height, width), |(y, x)| {
            let (mut sum, mut count) = (0.0, 0);
            for v in y.saturating_sub(radius)..(y + radius + 1).min(height) {
                for u in x.saturating_sub(radius)..(x + radius + 1).min(width) {
                    sum += plane[[v, u]];
                    count += 1;
                }
            }
            sum / count as f32
        })
    }

    #[test]
    fn it_equals_the_slow_obvious_mean() {
        for (height, width, radius) in [
            (1, 1, 3),
            (1, 9, 2),
            (7, 1, 1),
            (13, 150, 4),
            (90, 70, 30),
            (600, 5, 30),
        ] {
            let plane =
                Plane::from_shape_fn((height, width), |(y, x)| ((y * 7 + x * 13) % 11) as f32);
            let slow = slow(&plane, radius);
            let fast = box_mean(plane, radius);
            for (a, b) in fast.iter().zip(&slow) {
                assert!((a - b).abs() < 1e-4, "{height} x {width}, radius {radius}");
            }
        }
    }
}
