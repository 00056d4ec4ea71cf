//! A picture made smaller by averaging areas.
use image::RgbImage;
use rayon::prelude::*;

/// The picture, area-averaged to at most `most` pixels of width; as it is where it is no wider.
///
/// Every target pixel is the mean of the source area it covers, parts of pixels weighted by their share. In sRGB values,
/// not in linear light: thin lines keep their weight to the eye.
pub(crate) fn reduced(source: &RgbImage, most: u32) -> RgbImage {
    let (width, height) = source.dimensions();
    if width <= most || most == 0 || height == 0 {
        return source.clone();
    }
    let share = f64::from(most) / f64::from(width);
    let new_height = ((f64::from(height) * share).round() as u32).max(1);
    let (columns, rows) = (covers(width, most), covers(height, new_height));
    let mut target = RgbImage::new(most, new_height);
    let row_bytes = width as usize * 3;
    target
        .par_chunks_mut(most as usize * 3)
        .zip(rows.par_iter())
        .for_each_init(
            || vec![0.0_f32; row_bytes],
            |sums, (to, row)| {
                sums.fill(0.0);
                for (y, weight) in row.weighted() {
                    let from = &source.as_raw()[y * row_bytes..][..row_bytes];
                    for (sum, value) in sums.iter_mut().zip(from) {
                        *sum += weight * f32::from(*value);
                    }
                }
                for (pixel, column) in to.chunks_exact_mut(3).zip(&columns) {
                    let mut mean = [0.5_f32; 3];
                    for (x, weight) in column.weighted() {
                        for (mean, sum) in mean.iter_mut().zip(&sums[x * 3..x * 3 + 3]) {
                            *mean += weight * sum;
                        }
                    }
                    // Half a grey level was added above: cutting off rounds.
                    pixel.copy_from_slice(&mean.map(|v| v as u8));
                }
            },
        );
    target
}

/// The source pixels that one target pixel covers.
struct Cover {
    first: usize,
    /// Shares of the pixels from `first` on; their sum is 1.
    weights: Vec<f32>,
}

impl Cover {
    fn weighted(&self) -> impl Iterator<Item = (usize, f32)> + '_ {
        self.weights
            .iter()
            .enumerate()
            .map(|(i, weight)| (self.first + i, *weight))
    }
}

fn covers(from: u32, to: u32) -> Vec<Cover> {
    let step = f64::from(from) / f64::from(to);
    (0..to)
        .map(|i| {
            let (start, end) = (
                f64::from(i) * step,
                (f64::from(i + 1) * step).min(f64::from(from)),
            );
            let first = start.floor();
            let last = (end.ceil().max(first + 1.0)).min(f64::from(from));
            let part = |k: f64| ((k + 1.0).min(end) - k.max(start)).max(0.0) / (end - start);
            let weights = (first as usize..last as usize).map(|k| part(k as f64) as f32);
            Cover {
                first: first as usize,
                weights: weights.collect(),
            }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reducing_keeps_the_shape_and_the_mean() {
        let source = RgbImage::from_fn(2400, 900, |x, _| {
            image::Rgb([if x % 2 == 0 { 0 } else { 200 }; 3])
        });
        let small = reduced(&source, 1200);
        assert_eq!(small.dimensions(), (1200, 450));
        assert!(small.pixels().all(|p| p.0[0].abs_diff(100) <= 1));
        assert_eq!(reduced(&small, 1200), small);
    }

    #[test]
    fn parts_of_pixels_count_by_their_share() {
        let source = RgbImage::from_fn(3, 1, |x, _| image::Rgb([[0, 90, 240][x as usize]; 3]));
        let small = reduced(&source, 2);
        // (0 * 1 + 90 * 0.5) / 1.5 = 30 and (90 * 0.5 + 240) / 1.5 = 190.
        assert_eq!(
            (small.get_pixel(0, 0).0[0], small.get_pixel(1, 0).0[0]),
            (30, 190)
        );
    }
}
