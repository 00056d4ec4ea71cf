//! Smaller images by exact area average.
//!
//! Each pixel of the result is the mean of the source over the rectangle it covers, source pixels that lie in it in
//! part counted in that part. A convolution with a box that only takes whole source pixels would shift details by up
//! to half a source pixel wherever the ratio is no whole number.
use super::{Plane, plane_of, row_by_row, wide::built_twice};
use crate::stop;
use image::RgbImage;
use rayon::prelude::*;

/// An image of `width` times `height` pixels that shows all of `image`, by area average, rounded.
///
/// A point (x, y) of the source lies at (x * width / source width, y * height / source height) of the result. Made for
/// reducing; enlarging gives sharp-edged squares. Empty where any side is 0.
pub fn reduce_rgb(image: &RgbImage, width: u32, height: u32) -> RgbImage {
    let from = (image.width() as usize, image.height() as usize);
    let pixels = area_average::<3>(image.as_raw(), from, (width as usize, height as usize));
    RgbImage::from_raw(width, height, pixels).expect("three bytes for each pixel of the result")
}

/// [`reduce_rgb`] for a plane.
pub fn reduce_plane(plane: &Plane<u8>, width: usize, height: usize) -> Plane<u8> {
    let (from_height, from_width) = plane.dim();
    let source = row_by_row(plane);
    let pixels = area_average::<1>(&source, (from_width, from_height), (width, height));
    plane_of(width, height, pixels)
}

/// The source pixels that one pixel of the result covers along one axis.
struct Cover {
    first: usize,
    last: usize,
    /// Covered part of the first source pixel, and of the last where that is another one; those between count fully.
    first_part: f32,
    last_part: f32,
}

impl Cover {
    /// What pixel `i` of `to` pixels covers of `from` pixels. In whole numbers of 1/`to` of a source pixel.
    fn new(i: usize, from: usize, to: usize) -> Self {
        let (start, end) = (i * from, (i + 1) * from);
        let (first, last) = (start / to, (end - 1) / to);
        let part = |units: usize| units as f32 / to as f32;
        Self {
            first,
            last,
            first_part: part(end.min((first + 1) * to) - start),
            last_part: part(end - last * to),
        }
    }

    fn part_of(&self, pixel: usize) -> f32 {
        if pixel == self.first {
            self.first_part
        } else if pixel == self.last {
            self.last_part
        } else {
            1.0
        }
    }
}

fn area_average<const CHANNELS: usize>(
    source: &[u8],
    from: (usize, usize),
    to: (usize, usize),
) -> Vec<u8> {
    let ((from_width, from_height), (width, height)) = (from, to);
    let mut pixels = vec![0; width * height * CHANNELS];
    if pixels.is_empty() || source.is_empty() {
        return pixels;
    }
    let stride = from_width * CHANNELS;
    let columns = Columns::new(from_width, width);
    let area = (from_width as f64 / width as f64 * from_height as f64 / height as f64) as f32;
    pixels
        .par_chunks_mut(width * CHANNELS)
        .enumerate()
        .for_each_init(
            // The last columns may count pixels beyond the row, with no weight.
            || {
                let sums = vec![0.0; (from_width + columns.taps) * CHANNELS + LANES];
                (sums, vec![0.0; width * CHANNELS + LANES])
            },
            |(sums, totals), (y, row)| {
                if stop::is_asked() {
                    return;
                }
                sums.fill(0.0);
                let rows = Cover::new(y, from_height, height);
                for from_row in rows.first..=rows.last {
                    let bytes = &source[from_row * stride..(from_row + 1) * stride];
                    add_row(bytes, rows.part_of(from_row), sums);
                }
                add_columns(sums, &columns, CHANNELS, totals);
                average(totals, area, row);
            },
        );
    pixels
}

built_twice! {
    fn add_row(bytes: &[u8], part: f32, sums: &mut [f32]) {
        for (sum, &byte) in sums.iter_mut().zip(bytes) {
            *sum += f32::from(byte) * part;
        }
    }
}

/// Sums that are read together, at least the channels of an image; those beyond a pixel's own are not used.
const LANES: usize = 4;

/// The source columns that each column of the result covers.
struct Columns {
    first: Vec<usize>,
    /// Source columns that are counted for each, as many for all: a loop of one length is run through much faster.
    taps: usize,
    /// The covered part of each of them; 0 beyond the last.
    parts: Vec<f32>,
}

impl Columns {
    fn new(from: usize, to: usize) -> Self {
        let covers = || (0..to).map(|x| Cover::new(x, from, to));
        let taps = covers().map(|c| c.last - c.first + 1).max().unwrap_or(1);
        let parts = covers().flat_map(|cover| {
            (cover.first..cover.first + taps).map(move |column| {
                if column > cover.last {
                    0.0
                } else {
                    cover.part_of(column)
                }
            })
        });
        Self {
            first: covers().map(|cover| cover.first).collect(),
            taps,
            parts: parts.collect(),
        }
    }
}

built_twice! {
    /// Writes the totals of each column of the result, `channels` numbers a column.
    fn add_columns(sums: &[f32], columns: &Columns, channels: usize, totals: &mut [f32]) {
        let covers = columns
            .first
            .iter()
            .zip(columns.parts.chunks_exact(columns.taps));
        for (column, (first, parts)) in covers.enumerate() {
            let covered = &sums[first * channels..];
            let mut total = [0.0; LANES];
            for (part, colour) in parts.iter().zip(covered.windows(LANES).step_by(channels)) {
                for (total, sum) in total.iter_mut().zip(colour) {
                    *total += sum * part;
                }
            }
            // What is beyond the column's own channels the next one writes over.
            totals[column * channels..][..LANES].copy_from_slice(&total);
        }
    }
}

built_twice! {
    /// Rounds each total over the area, halves up.
    fn average(totals: &[f32], area: f32, row: &mut [u8]) {
        /// From here on numbers have no fraction, and the bits of a sum with it end in the whole number that was added. A cast would
        /// look at each number by itself whether it fits.
        const WHOLE: f32 = 8_388_608.0;
        for (mean, total) in row.iter_mut().zip(totals) {
            // Dividing, not multiplying by 1 / area: halves then come out exactly where the area is a whole number.
            let above = total / area + 0.5;
            let nearest = (above + WHOLE) - WHOLE;
            let below = nearest - f32::from(u8::from(nearest > above));
            *mean = (below + WHOLE).to_bits() as u8;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::kernels::test_planes::{mirrored, noise, quarter_turned};

    /// Integrates over each target pixel with every source pixel there is.
    fn slow(plane: &Plane<u8>, width: usize, height: usize) -> Plane<f64> {
        let (from_height, from_width) = plane.dim();
        let (kx, ky) = (
            from_width as f64 / width as f64,
            from_height as f64 / height as f64,
        );
        let overlap = |i: usize, k: f64, p: usize| {
            ((i + 1) as f64 * k).min(p as f64 + 1.0) - (i as f64 * k).max(p as f64)
        };
        Plane::from_shape_fn((height, width), |(y, x)| {
            let shares = plane.indexed_iter().map(|((py, px), &v)| {
                f64::from(v) * overlap(x, kx, px).max(0.0) * overlap(y, ky, py).max(0.0)
            });
            shares.sum::<f64>() / (kx * ky)
        })
    }

    #[test]
    fn five_by_five_to_two_by_two_shares_the_middle() {
        let plane = Plane::from_shape_fn((5, 5), |(y, x)| (10 * y + x) as u8);
        // Along an axis the weights are (1, 1, 1/2, 0, 0) / 2.5: mean index 0.8, and 3.2 on the other side.
        let expected = Plane::from_shape_vec((2, 2), vec![9, 11, 33, 35]);
        assert_eq!(reduce_plane(&plane, 2, 2), expected.expect("four values"));
    }

    #[test]
    fn agrees_with_the_integral_on_random_images_of_any_shape() {
        for (from, to) in [
            ((37, 23), (11, 9)),
            ((64, 48), (16, 12)),
            ((1, 1), (1, 1)),
            ((1, 50), (1, 7)),
            ((9, 1), (4, 1)),
            ((30, 20), (29, 13)),
            ((3, 2), (7, 5)),
        ] {
            let plane = noise(from.0, from.1, 9);
            let fast = reduce_plane(&plane, to.0, to.1);
            for (at, exact) in slow(&plane, to.0, to.1).indexed_iter() {
                // Half a step from rounding, a little for sums in f32.
                assert!(
                    (f64::from(fast[at]) - exact).abs() < 0.501,
                    "{from:?} to {to:?}"
                );
            }
        }
    }

    #[test]
    fn colours_are_reduced_each_for_itself() {
        let (width, height) = (31, 17);
        let planes = [1, 2, 3].map(|seed| noise(width, height, seed));
        let image = RgbImage::from_fn(width as u32, height as u32, |x, y| {
            image::Rgb(std::array::from_fn(|c| planes[c][[y as usize, x as usize]]))
        });
        let reduced = reduce_rgb(&image, 8, 5);
        for (c, plane) in planes.iter().enumerate() {
            let alone = reduce_plane(plane, 8, 5);
            assert!(
                reduced
                    .enumerate_pixels()
                    .all(|(x, y, p)| p.0[c] == alone[[y as usize, x as usize]])
            );
        }
    }

    #[test]
    fn turning_and_mirroring_commute_with_it() {
        let plane = noise(48, 36, 4);
        let reduced = reduce_plane(&plane, 12, 9);
        assert_eq!(reduce_plane(&mirrored(&plane), 12, 9), mirrored(&reduced));
        assert_eq!(
            reduce_plane(&quarter_turned(&plane), 9, 12),
            quarter_turned(&reduced)
        );
    }

    #[test]
    fn halves_round_up_and_empty_sizes_pass() {
        let plane = Plane::from_shape_vec((1, 2), vec![4, 5]).expect("two values");
        assert_eq!(reduce_plane(&plane, 1, 1)[[0, 0]], 5);
        assert_eq!(reduce_plane(&plane, 0, 3).dim(), (3, 0));
        assert_eq!(
            reduce_plane(&Plane::<u8>::zeros((0, 0)), 2, 2),
            Plane::<u8>::zeros((2, 2))
        );
    }
}
