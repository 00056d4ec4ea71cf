//! Which edge directions lie within a distance of each pixel.
use super::{Plane, plane_of, row_by_row, wide::built_twice};
use rayon::prelude::*;

/// For each pixel the bits of all pixels whose centres lie within `radius` pixels of its own, joined by OR.
///
/// The disc is exact, its rim included (distances are compared as rounded f64 roots, so `sqrt(5.0)` reaches
/// (1, 2)). A negative radius or NaN is taken as 0, which returns the plane itself. Cost: some `4 radius` passes over
/// the plane, each many pixels at a time.
pub fn reach(direction_bits: &Plane<u8>, radius: f64) -> Plane<u8> {
    let (height, width) = direction_bits.dim();
    let source = row_by_row(direction_bits);
    let heights = disc(radius, width.max(height));
    let reach = heights.len() - 1;
    let mut reached = vec![0; width * height];
    reached
        .par_chunks_mut(width.max(1))
        .enumerate()
        .for_each_init(
            || vec![0; width + 2 * reach],
            |column_bits, (y, row)| {
                let rows = Rows {
                    pixels: &source,
                    width,
                    height,
                };
                reach_row(&rows, y, &heights, column_bits, row);
            },
        );
    plane_of(width, height, reached)
}

/// The mask of a direction bit and its two neighbours; the directions go round, so 1 and 128 are neighbours.
pub fn neighbours(bit: u8) -> u8 {
    bit | bit.rotate_left(1) | bit.rotate_right(1)
}

/// How far the disc reaches up and down at each distance to the side, from 0 to its radius; `limit` cuts it off where
/// it is larger than any image.
fn disc(radius: f64, limit: usize) -> Vec<usize> {
    let radius = radius.max(0.0).min(limit as f64);
    let is_within = |x: usize, y: usize| ((x * x + y * y) as f64).sqrt() <= radius;
    let mut y = radius as usize;
    (0..=y)
        .map(|x| {
            while !is_within(x, y) {
                y -= 1;
            }
            y
        })
        .collect()
}

struct Rows<'a> {
    pixels: &'a [u8],
    width: usize,
    height: usize,
}

impl Rows<'_> {
    /// Row `y`, or `None` outside.
    fn at(&self, y: Option<usize>) -> Option<&[u8]> {
        let y = y.filter(|&y| y < self.height)?;
        Some(&self.pixels[y * self.width..(y + 1) * self.width])
    }
}

/// One row of the result. From the rim of the disc inwards its columns only grow, so that each row of the source is
/// taken into `column_bits` once. These have zeros at both ends, as many as the disc reaches to the side.
fn reach_row(rows: &Rows<'_>, y: usize, heights: &[usize], column_bits: &mut [u8], row: &mut [u8]) {
    let reach = heights.len() - 1;
    column_bits.fill(0);
    let mut taken = 0;
    for (side, &height) in heights.iter().enumerate().rev() {
        let middle = &mut column_bits[reach..reach + row.len()];
        for up in taken..=height {
            if let Some(above) = rows.at(y.checked_sub(up)) {
                join(above, middle);
            }
            if let Some(below) = rows.at(Some(y + up)) {
                join(below, middle);
            }
        }
        taken = height + 1;
        join_both(
            &column_bits[reach - side..],
            &column_bits[reach + side..],
            row,
        );
    }
}

built_twice! {
    fn join(bits: &[u8], into: &mut [u8]) {
        for (out, bit) in into.iter_mut().zip(bits) {
            *out |= bit;
        }
    }
}

built_twice! {
    fn join_both(left: &[u8], right: &[u8], into: &mut [u8]) {
        let length = into.len();
        let (left, right) = (&left[..length], &right[..length]);
        for x in 0..length {
            into[x] |= left[x] | right[x];
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::kernels::test_planes::{mirrored, quarter_turned, sparse};

    fn slow(plane: &Plane<u8>, radius: f64) -> Plane<u8> {
        Plane::from_shape_fn(plane.dim(), |(y, x)| {
            let near = plane.indexed_iter().filter(|((sy, sx), _)| {
                let squared = sy.abs_diff(y).pow(2) + sx.abs_diff(x).pow(2);
                (squared as f64).sqrt() <= radius
            });
            near.fold(0, |bits, (_, &bit)| bits | bit)
        })
    }

    #[test]
    fn one_bit_becomes_the_disc_written_out() {
        let mut plane = Plane::zeros((5, 5));
        plane[[2, 2]] = 4;
        let disc = |rows: [&str; 5]| {
            Plane::from_shape_fn((5, 5), |(y, x)| 4 * u8::from(rows[y].as_bytes()[x] == b'#'))
        };
        assert_eq!(
            reach(&plane, 1.0),
            disc([".....", "..#..", ".###.", "..#..", "....."])
        );
        assert_eq!(
            reach(&plane, 1.5),
            disc([".....", ".###.", ".###.", ".###.", "....."])
        );
        assert_eq!(
            reach(&plane, 2.0),
            disc(["..#..", ".###.", "#####", ".###.", "..#.."])
        );
        assert_eq!(
            reach(&plane, 5f64.sqrt()),
            disc([".###.", "#####", "#####", "#####", ".###."])
        );
    }

    #[test]
    fn agrees_with_the_definition_at_any_radius_and_shape() {
        for (width, height) in [(1, 1), (1, 40), (50, 1), (45, 33)] {
            let plane = sparse(width, height, 60, 13);
            for radius in [0.0, 0.99, 1.0, 2.5, 3.0, 7.3, 25.0, 1e9, f64::INFINITY] {
                assert_eq!(
                    reach(&plane, radius),
                    slow(&plane, radius),
                    "{width}x{height} {radius}"
                );
            }
        }
    }

    #[test]
    fn turning_and_mirroring_commute_with_it() {
        let plane = sparse(70, 41, 90, 3);
        let reached = reach(&plane, 4.3);
        assert_eq!(reach(&mirrored(&plane), 4.3), mirrored(&reached));
        assert_eq!(
            reach(&quarter_turned(&plane), 4.3),
            quarter_turned(&reached)
        );
    }

    #[test]
    fn radii_without_sense_and_empty_planes_pass() {
        let plane = sparse(9, 9, 4, 1);
        assert_eq!(reach(&plane, -3.0), plane);
        assert_eq!(reach(&plane, f64::NAN), plane);
        assert_eq!(reach(&Plane::zeros((0, 0)), 3.0).dim(), (0, 0));
        assert_eq!(reach(&Plane::zeros((2, 0)), 3.0).dim(), (2, 0));
    }

    #[test]
    fn neighbouring_directions_go_round() {
        assert_eq!(neighbours(0b0000_0001), 0b1000_0011);
        assert_eq!(neighbours(0b0001_0000), 0b0011_1000);
        assert_eq!(neighbours(0b1000_0000), 0b1100_0001);
        assert_eq!(neighbours(0), 0);
    }
}
