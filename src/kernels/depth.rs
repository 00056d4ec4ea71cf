//! Which triangle is nearest at every sample of a raster (a depth buffer).
//!
//! Bands of rows are worked on in parallel; within one, triangles come in their order and the first of several that are equally near
//! stays: the same result whatever the number of threads.
//!
//! # Source
//! E. Catmull, A Subdivision Algorithm for Computer Display of Curved Surfaces, University of Utah, 1974 (the depth buffer).
use crate::stop;
use rayon::prelude::*;

/// Rows of a band.
const BAND: usize = 64;
/// After so many triangles it is asked whether the run is to stop.
const LOOK_EVERY: usize = 1 << 12;
/// Samples this near to a border are inside, so that no sample between two triangles is in neither.
const BORDER: f64 = 1e-9;

/// A triangle on the raster.
#[derive(Clone, Copy, Debug)]
pub struct Triangle {
    /// x, y in samples (the first one's centre is (0.5, 0.5)) and depth, which is affine over the raster. All finite.
    pub corners: [[f64; 3]; 3],
    /// What is noted where it is nearest; not [`NOTHING`].
    pub id: u32,
}

impl Triangle {
    /// The change of depth from sample to sample, in x and in y; `None` where it is seen edge-on.
    pub fn slopes(&self) -> Option<[f64; 2]> {
        let [a, b, c] = self.corners;
        let [b, c] = [b, c].map(|p| [p[0] - a[0], p[1] - a[1], p[2] - a[2]]);
        let area = b[0] * c[1] - c[0] * b[1];
        let slopes = [
            (b[2] * c[1] - c[2] * b[1]) / area,
            (b[0] * c[2] - c[0] * b[2]) / area,
        ];
        (area.abs() > 1e-12 && slopes.iter().all(|s| s.is_finite())).then_some(slopes)
    }
}

/// The id of a sample that no triangle covers.
pub const NOTHING: u32 = u32::MAX;

/// What is nearest at every sample.
#[derive(Clone, Debug)]
pub struct DepthBuffer {
    width: usize,
    height: usize,
    depths: Vec<f32>,
    ids: Vec<u32>,
}

impl DepthBuffer {
    /// Draws triangles on a raster of `width` x `height` samples; those seen edge-on are left out.
    ///
    /// Where the run is asked to stop, it is not whole.
    pub fn of(triangles: &[Triangle], width: usize, height: usize) -> Self {
        let mut buffer = Self {
            width,
            height,
            depths: vec![f32::INFINITY; width * height],
            ids: vec![NOTHING; width * height],
        };
        if width == 0 || height == 0 {
            return buffer;
        }
        let depths = buffer.depths.par_chunks_mut(BAND * width);
        let ids = buffer.ids.par_chunks_mut(BAND * width);
        depths
            .zip(ids)
            .enumerate()
            .for_each(|(index, (depths, ids))| {
                let mut band = Band {
                    top: index * BAND,
                    width,
                    depths,
                    ids,
                };
                for (count, triangle) in triangles.iter().enumerate() {
                    if count % LOOK_EVERY == 0 && stop::is_asked() {
                        return;
                    }
                    band.draw(triangle);
                }
            });
        buffer
    }

    /// Width in samples.
    pub fn width(&self) -> usize {
        self.width
    }

    /// Height in samples.
    pub fn height(&self) -> usize {
        self.height
    }

    /// The depths of a row, infinite where nothing is.
    pub fn depths(&self, row: usize) -> &[f32] {
        &self.depths[row * self.width..][..self.width]
    }

    /// The ids of a row, [`NOTHING`] where nothing is.
    pub fn ids(&self, row: usize) -> &[u32] {
        &self.ids[row * self.width..][..self.width]
    }

    /// The greatest depth of a sample and its eight neighbours, infinite where nothing is or the raster ends; `None` outside of the
    /// raster.
    pub fn farthest_around(&self, x: f64, y: f64) -> Option<f32> {
        let is_inside = x >= 0.0 && y >= 0.0 && x < self.width as f64 && y < self.height as f64;
        if !is_inside {
            return None;
        }
        let (column, row) = (x as usize, y as usize);
        if column == 0 || row == 0 || column + 1 >= self.width || row + 1 >= self.height {
            return Some(f32::INFINITY);
        }
        let of_row = |row: usize| {
            self.depths(row)[column - 1..=column + 1]
                .iter()
                .copied()
                .fold(0.0, f32::max)
        };
        Some((row - 1..=row + 1).map(of_row).fold(0.0, f32::max))
    }
}

/// Some rows of a buffer.
struct Band<'a> {
    top: usize,
    width: usize,
    depths: &'a mut [f32],
    ids: &'a mut [u32],
}

impl Band<'_> {
    fn draw(&mut self, triangle: &Triangle) {
        let rows = self.depths.len() / self.width;
        let [a, b, c] = sorted_by_y(triangle.corners);
        let (top, bottom) = (self.top as f64, (self.top + rows) as f64);
        if c[1] < top || a[1] > bottom {
            return;
        }
        let Some([along, down]) = triangle.slopes() else {
            return;
        };
        let depths = [a[2], b[2], c[2]];
        let least = depths.iter().copied().fold(f64::INFINITY, f64::min) as f32;
        let greatest = depths.iter().copied().fold(f64::NEG_INFINITY, f64::max) as f32;
        let (from, to) = samples(a[1] - top, c[1] - top, rows);
        for row in from..to {
            let y = (self.top + row) as f64 + 0.5;
            // The long side against one of the two short ones.
            let one = side_at(a, c, y);
            let other = if y < b[1] {
                side_at(a, b, y)
            } else {
                side_at(b, c, y)
            };
            let (from, to) = samples(one.min(other), one.max(other), self.width);
            let at_zero = a[2] + along * (0.5 - a[0]) + down * (y - a[1]);
            let start = row * self.width;
            let depths = &mut self.depths[start..start + self.width];
            let ids = &mut self.ids[start..start + self.width];
            for column in from..to {
                let depth = (at_zero + along * column as f64) as f32;
                let depth = depth.clamp(least, greatest);
                if depth < depths[column] {
                    depths[column] = depth;
                    ids[column] = triangle.id;
                }
            }
        }
    }
}

/// The samples whose centres lie from `from` to `to`, among the first `count`.
fn samples(from: f64, to: f64, count: usize) -> (usize, usize) {
    // Numbers too large or below 0 become the nearest that there is.
    let first = (from - 0.5 - BORDER).ceil().max(0.0) as usize;
    let end = ((to - 0.5 + BORDER).floor() + 1.0).max(0.0) as usize;
    (first, end.min(count))
}

/// x of a side at a row within it; the same for both triangles that it belongs to.
fn side_at(from: [f64; 3], to: [f64; 3], y: f64) -> f64 {
    let height = to[1] - from[1];
    let share = if height > 0.0 {
        ((y - from[1]) / height).clamp(0.0, 1.0)
    } else {
        0.0
    };
    from[0] + (to[0] - from[0]) * share
}

fn sorted_by_y(mut corners: [[f64; 3]; 3]) -> [[f64; 3]; 3] {
    corners.sort_by(|a, b| a[1].total_cmp(&b[1]).then(a[0].total_cmp(&b[0])));
    corners
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Samples by the signs of areas, one triangle after the other.
    fn slowly(triangles: &[Triangle], width: usize, height: usize) -> Vec<(f32, u32)> {
        let mut out = vec![(f32::INFINITY, NOTHING); width * height];
        for t in triangles {
            let [a, b, c] = t.corners;
            let area = |p: [f64; 3], q: [f64; 3], x: f64, y: f64| {
                (q[0] - p[0]) * (y - p[1]) - (x - p[0]) * (q[1] - p[1])
            };
            let whole = area(a, b, c[0], c[1]);
            for (i, out) in out.iter_mut().enumerate() {
                let (x, y) = ((i % width) as f64 + 0.5, (i / width) as f64 + 0.5);
                let shares =
                    [area(b, c, x, y), area(c, a, x, y), area(a, b, x, y)].map(|s| s / whole);
                let depth = shares[0] * a[2] + shares[1] * b[2] + shares[2] * c[2];
                if shares.iter().all(|s| *s >= -1e-9) && (depth as f32) < out.0 {
                    *out = (depth as f32, t.id);
                }
            }
        }
        out
    }

    /// Numbers from 0 to 1 in an order that repeats.
    fn random(count: usize) -> Vec<f64> {
        let mut state = 7_u64;
        let mut next = || {
            state = state
                .wrapping_mul(6364136223846793005)
                .wrapping_add(1442695040888963407);
            (state >> 11) as f64 / (1_u64 << 53) as f64
        };
        (0..count).map(|_| next()).collect()
    }

    fn scattered(count: usize, width: f64, height: f64) -> Vec<Triangle> {
        let numbers = random(9 * count);
        let triangle = |(id, n): (usize, &[f64])| Triangle {
            corners: std::array::from_fn(|k| {
                [
                    n[3 * k] * 1.4 * width - 0.2 * width,
                    n[3 * k + 1] * 1.4 * height - 0.2 * height,
                    n[3 * k + 2],
                ]
            }),
            id: id as u32,
        };
        numbers.chunks_exact(9).enumerate().map(triangle).collect()
    }

    #[test]
    fn the_nearest_is_that_of_a_slow_twin() {
        let (width, height) = (61, 150);
        let triangles = scattered(60, width as f64, height as f64);
        let buffer = DepthBuffer::of(&triangles, width, height);
        let slow = slowly(&triangles, width, height);
        for row in 0..height {
            for column in 0..width {
                let (depth, id) = slow[row * width + column];
                assert_eq!(buffer.ids(row)[column], id, "{column} {row}");
                let found = buffer.depths(row)[column];
                assert!(
                    found == depth || (found - depth).abs() < 1e-5,
                    "{found} {depth}"
                );
            }
        }
    }

    #[test]
    fn it_is_the_same_with_any_number_of_threads() {
        let triangles = scattered(500, 300.0, 300.0);
        let with = |threads| {
            let pool = rayon::ThreadPoolBuilder::new()
                .num_threads(threads)
                .build()
                .expect("threads");
            let buffer = pool.install(|| DepthBuffer::of(&triangles, 300, 300));
            let bits: Vec<u32> = buffer.depths.iter().map(|d| d.to_bits()).collect();
            (bits, buffer.ids)
        };
        assert_eq!(with(1), with(3));
    }

    #[test]
    fn the_first_of_several_that_are_equally_near_stays() {
        let corners = [[-9.0, -9.0, 0.5], [30.0, -9.0, 0.5], [-9.0, 30.0, 0.5]];
        let triangles = [3, 1, 2].map(|id| Triangle { corners, id });
        assert_eq!(DepthBuffer::of(&triangles, 2, 1).ids(0), [3, 3]);
    }

    #[test]
    fn two_triangles_that_share_a_side_leave_no_gap() {
        let numbers = random(2 * 200);
        for n in numbers.chunks_exact(2) {
            let (p, q) = ([n[0] * 40.0, 0.0, 1.0], [n[1] * 40.0, 40.0, 1.0]);
            let left = Triangle {
                corners: [p, q, [-5.0, 20.0 * n[0], 1.0]],
                id: 0,
            };
            let above = Triangle {
                corners: [p, [-5.0, 20.0 * n[0], 1.0], [-5.0, -40.0, 1.0]],
                id: 1,
            };
            let below = Triangle {
                corners: [q, [-5.0, 20.0 * n[0], 1.0], [-5.0, 80.0, 1.0]],
                id: 2,
            };
            let right = Triangle {
                corners: [q, p, [400.0, 20.0, 1.0]],
                id: 3,
            };
            let buffer = DepthBuffer::of(&[left, above, below, right], 40, 40);
            let far = |row: usize| (5..35).all(|column| buffer.ids(row)[column] != NOTHING);
            assert!((10..30).all(far));
        }
    }

    #[test]
    fn edge_on_far_off_and_empty_draw_nothing() {
        let line = [[1.0, 1.0, 0.0], [5.0, 5.0, 0.0], [9.0, 9.0, 0.0]];
        let far = [[1e12, 0.0, 0.0], [2e12, 0.0, 0.0], [1e12, 1e12, 0.0]];
        let triangles = [line, far].map(|corners| Triangle { corners, id: 1 });
        let buffer = DepthBuffer::of(&triangles, 10, 10);
        assert!((0..10).all(|row| buffer.ids(row).iter().all(|id| *id == NOTHING)));
        assert_eq!(DepthBuffer::of(&triangles, 0, 10).width(), 0);
        assert_eq!(buffer.farthest_around(5.0, 5.0), Some(f32::INFINITY));
        assert_eq!(buffer.farthest_around(10.0, 0.0), None);
        assert_eq!(buffer.farthest_around(f64::NAN, 0.0), None);
        let corners = [[-9.0, -9.0, 0.5], [30.0, -9.0, 0.5], [-9.0, 30.0, 0.5]];
        let full = DepthBuffer::of(&[Triangle { corners, id: 1 }], 4, 4);
        assert_eq!(full.farthest_around(1.2, 2.9), Some(0.5));
        assert_eq!(full.farthest_around(0.0, 2.5), Some(f32::INFINITY));
    }
}
