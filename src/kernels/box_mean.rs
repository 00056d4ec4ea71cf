//! The mean over a square box, at the same cost whatever its size.
use super::Plane;
use rayon::prelude::*;

/// Columns that one task sums up.
const STRIP: usize = 64;

/// The mean of `plane` over the square of `2 radius + 1` pixels around each pixel; at the border over the part of the
/// square that lies inside.
pub fn box_mean(plane: Plane<f32>, radius: usize) -> Plane<f32> {
    let (height, width) = plane.dim();
    let mut along_rows = plane;
    if width == 0 || height == 0 {
        return along_rows;
    }
    along_rows
        .as_slice_mut()
        .expect("rows are contiguous")
        .par_chunks_mut(width)
        .for_each_init(
            || vec![0.0; width],
            |out, row| {
                sliding_mean(row, out, radius);
                row.copy_from_slice(out);
            },
        );
    let source = along_rows.as_slice().expect("rows are contiguous");
    let strips: Vec<(usize, Vec<f32>)> = (0..width.div_ceil(STRIP))
        .into_par_iter()
        .map(|s| {
            let (from, to) = (s * STRIP, ((s + 1) * STRIP).min(width));
            (from, column_means(source, width, height, from..to, radius))
        })
        .collect();
    let mut out = Plane::zeros((height, width));
    let rows = out.as_slice_mut().expect("rows are contiguous");
    for (from, strip) in strips {
        let n = strip.len() / height;
        for (row, values) in rows.chunks_mut(width).zip(strip.chunks(n)) {
            row[from..from + n].copy_from_slice(values);
        }
    }
    out
}

fn sliding_mean(row: &[f32], out: &mut [f32], radius: usize) {
    let n = row.len();
    let mut sum: f64 = row.iter().take(radius).map(|v| f64::from(*v)).sum();
    for x in 0..n {
        if x + radius < n {
            sum += f64::from(row[x + radius]);
        }
        if x > radius {
            sum -= f64::from(row[x - radius - 1]);
        }
        let count = (x + radius + 1).min(n) - x.saturating_sub(radius);
        out[x] = (sum / count as f64) as f32;
    }
}

/// Means down the columns of a strip, row by row.
fn column_means(
    source: &[f32],
    width: usize,
    height: usize,
    columns: std::ops::Range<usize>,
    radius: usize,
) -> Vec<f32> {
    let n = columns.len();
    let row = |y: usize| &source[y * width + columns.start..y * width + columns.end];
    let mut sums = vec![0.0_f64; n];
    let add = |sums: &mut [f64], y: usize, sign: f64| {
        sums.iter_mut()
            .zip(row(y))
            .for_each(|(s, v)| *s += sign * f64::from(*v));
    };
    for y in 0..radius.min(height) {
        add(&mut sums, y, 1.0);
    }
    let mut out = Vec::with_capacity(n * height);
    for y in 0..height {
        if y + radius < height {
            add(&mut sums, y + radius, 1.0);
        }
        if y > radius {
            add(&mut sums, y - radius - 1, -1.0);
        }
        let count = (y + radius + 1).min(height) - y.saturating_sub(radius);
        out.extend(sums.iter().map(|s| (s / count as f64) as f32));
    }
    out
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
        for (height, width, radius) in [(1, 1, 3), (1, 9, 2), (7, 1, 1), (13, 150, 4), (90, 70, 30)]
        {
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
