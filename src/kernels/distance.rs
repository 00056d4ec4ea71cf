//! Exact Euclidean distance to the nearest edge pixel.
//!
//! # Source
//! P. Felzenszwalb, D. Huttenlocher, Distance transforms of sampled functions, Theory of Computing 8, 2012, 415-428:
//! distances along the columns, then for each row the lower envelope of one parabola a column. Where an edge is near, as
//! in most of a photograph, the columns around a pixel are tried instead: the envelope is made for the gaps alone.
use super::{Plane, plane_of, row_by_row, wide::built_twice};
use rayon::prelude::*;

/// Columns that are gone through together, so that memory is read in whole cache lines.
const STRIP: usize = 64;
/// Pixels that are tried together against the columns around them.
const BLOCK: usize = 64;
/// Columns that are tried on each side before a block is left to the envelope.
const NEAR: usize = 48;
/// Columns that are tried before it is looked again whether a nearer edge is still possible.
const STEP: usize = 4;
/// No edge in this column. Real distances stay below it.
const NONE: u16 = u16::MAX;

/// The distance in pixels from each pixel's centre to the centre of the nearest pixel that is not 0.
///
/// Infinite everywhere where there is none. Squared distances are compared exactly, in whole numbers; the result is
/// the root in f32 (correctly rounded up to 4096 pixels, within 2 units in the last place beyond).
pub fn distance(edges: &Plane<u8>) -> Plane<f32> {
    let (height, width) = edges.dim();
    if height >= usize::from(NONE) && width < height {
        // Distances along such columns do not fit into 16 bits; the rows of the turned plane take their place.
        return distance(&edges.t().to_owned()).reversed_axes();
    }
    let source = row_by_row(edges);
    let strips = along_columns(&source, width, height);
    let mut distances = vec![0.0; width * height];
    distances
        .par_chunks_mut(width.max(1))
        .enumerate()
        .for_each_init(
            || Room::for_width(width),
            |room, (y, row)| {
                for (strip, columns) in room.columns.chunks_mut(STRIP).enumerate() {
                    let from = (strip * height + y) * STRIP;
                    columns.copy_from_slice(&strips[from..from + columns.len()]);
                }
                room.write(row);
            },
        );
    plane_of(width, height, distances)
}

/// What one thread needs for a row.
struct Room {
    /// Distance to the nearest edge along each column.
    columns: Vec<u16>,
    squares: Vec<u16>,
    is_near: Vec<bool>,
    envelope: Vec<Parabola>,
}

impl Room {
    fn for_width(width: usize) -> Self {
        Self {
            columns: vec![NONE; width],
            squares: vec![u16::MAX; width.next_multiple_of(BLOCK) + 2 * NEAR],
            is_near: vec![false; width.div_ceil(BLOCK)],
            envelope: vec![Parabola::default(); width],
        }
    }

    /// Writes one row of distances: the blocks with edges near, then the gaps between them.
    fn write(&mut self, row: &mut [f32]) {
        write_near_blocks(&self.columns, &mut self.squares, row, &mut self.is_near);
        let mut start = 0;
        for gap in self.is_near.chunk_by(|a, b| a == b) {
            let end = row.len().min(start + gap.len() * BLOCK);
            if !gap[0] {
                // Beside the gap an edge is at most NEAR + 1 away, and distances of neighbours differ by at most 1: no
                // column farther outside is the nearest to a pixel of the gap.
                let left = start.saturating_sub(NEAR + 2);
                let right = row.len().min(end + NEAR + 2);
                let columns = &self.columns[left..right];
                let skipped = start - left;
                write_gap(columns, &mut self.envelope, skipped, &mut row[start..end]);
            }
            start = end;
        }
    }
}

/// The distance to the nearest edge in the same column, strip by strip, rows of [`STRIP`] within a strip.
fn along_columns(edges: &[u8], width: usize, height: usize) -> Vec<u16> {
    let mut strips = vec![NONE; width.div_ceil(STRIP) * STRIP * height];
    if strips.is_empty() {
        return strips;
    }
    strips
        .par_chunks_mut(STRIP * height)
        .enumerate()
        .for_each(|(strip, distances)| {
            let left = strip * STRIP;
            let right = width.min(left + STRIP);
            let mut nearest = [NONE; STRIP];
            for (y, row) in distances.chunks_exact_mut(STRIP).enumerate() {
                let edges = &edges[y * width + left..y * width + right];
                for (near, &edge) in nearest.iter_mut().zip(edges) {
                    *near = if edge != 0 { 0 } else { near.saturating_add(1) };
                }
                row.copy_from_slice(&nearest);
            }
            let mut nearest = [NONE; STRIP];
            for row in distances.chunks_exact_mut(STRIP).rev() {
                for (near, own) in nearest.iter_mut().zip(row) {
                    *near = near.saturating_add(1).min(*own);
                    *own = *near;
                }
            }
        });
    strips
}

/// A parabola `(x - centre)^2 + height` and the first pixel at which it is the lowest.
#[derive(Clone, Copy, Default)]
struct Parabola {
    centre: f64,
    height: f64,
    first: f64,
}

built_twice! {
    /// Writes the distances of a part of a row; `columns` gives the distance along the column from `skipped` pixels before
    /// that part on, `envelope` has room for as many parabolas. All numbers are whole and below 2^53, so f64 holds them
    /// exactly.
    fn write_gap(columns: &[u16], envelope: &mut [Parabola], skipped: usize, part: &mut [f32]) {
        let end = skipped + part.len();
        let last = end as f64 - 1.0;
        let mut count = 0;
        for (x, &column) in columns.iter().enumerate() {
            if column != NONE {
                let height = f64::from(u32::from(column) * u32::from(column));
                count = add(envelope, count, x as u32, height, last);
            }
        }
        if count == 0 {
            part.fill(f32::INFINITY);
        }
        for i in 0..count {
            let from = (envelope[i].first as usize).max(skipped);
            let to = if i + 1 < count { envelope[i + 1].first as usize } else { end };
            if from < to {
                write(envelope[i], from, &mut part[from - skipped..to - skipped]);
            }
        }
    }
}

built_twice! {
    /// Writes the distances of those blocks of a row in which every pixel has an edge at most [`NEAR`] + 1 away, and which
    /// they are. `squares` has [`NEAR`] values of `u16::MAX` on each side of the row.
    fn write_near_blocks(columns: &[u16], squares: &mut [u16], row: &mut [f32], is_near: &mut [bool]) {
        for (square, &column) in squares[NEAR..].iter_mut().zip(columns) {
            // Squares of more than 16 bits are far beyond what is near.
            let column = column.min(255);
            *square = column * column;
        }
        let starts = (0..).step_by(BLOCK);
        for ((start, out), is_near) in starts.zip(row.chunks_mut(BLOCK)).zip(is_near) {
            let around = &squares[start..start + BLOCK + 2 * NEAR];
            // Beyond the end of the row the zeros stay and do not keep the block open.
            let mut nearest = [0; BLOCK];
            nearest[..out.len()].copy_from_slice(&around[NEAR..NEAR + out.len()]);
            *is_near = try_columns(around, &mut nearest);
            for (out, &square) in out.iter_mut().zip(&nearest) {
                *out = f32::from(square).sqrt();
            }
        }
    }
}

/// Lowers the squared distances of a block by the columns on both sides. Returns whether none can be nearer beyond.
#[inline(always)]
fn try_columns(around: &[u16], nearest: &mut [u16; BLOCK]) -> bool {
    let is_final = |nearest: &[u16; BLOCK], next: usize| {
        let farthest = nearest.iter().fold(0, |most, square| (*square).max(most));
        usize::from(farthest) <= next * next
    };
    for first in (1..=NEAR).step_by(STEP) {
        if is_final(nearest, first) {
            return true;
        }
        for across in first..first + STEP {
            let square = (across * across) as u16;
            let (left, right) = (&around[NEAR - across..], &around[NEAR + across..]);
            for ((near, left), right) in nearest.iter_mut().zip(left).zip(right) {
                *near = (*left).min(*right).saturating_add(square).min(*near);
            }
        }
    }
    is_final(nearest, NEAR + 1)
}

/// Adds a parabola to the right of all others, and takes away those that it covers. Returns how many remain.
#[inline(always)]
fn add(envelope: &mut [Parabola], mut count: usize, centre: u32, height: f64, last: f64) -> usize {
    let centre = f64::from(centre);
    while count > 0 {
        let top = envelope[count - 1];
        // The new one is lower where x is above rise / run.
        let rise = (centre - top.centre) * (centre + top.centre) + height - top.height;
        let run = 2.0 * (centre - top.centre);
        if rise >= top.first * run {
            let first = (rise / run).floor() + 1.0;
            if first <= last {
                envelope[count] = Parabola {
                    centre,
                    height,
                    first,
                };
                count += 1;
            }
            return count;
        }
        count -= 1;
    }
    envelope[0] = Parabola {
        centre,
        height,
        first: 0.0,
    };
    1
}

/// The roots of a parabola from pixel `from` on.
#[inline(always)]
fn write(parabola: Parabola, from: usize, part: &mut [f32]) {
    let start = (from as f64 - parabola.centre) as f32;
    let height = parabola.height as f32;
    for (i, out) in part.iter_mut().enumerate() {
        let across = start + i as i32 as f32;
        *out = (across * across + height).sqrt();
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::kernels::test_planes::{mirrored, quarter_turned, sparse};

    fn slow(plane: &Plane<u8>) -> Plane<f32> {
        let edges: Vec<(usize, usize)> = plane
            .indexed_iter()
            .filter(|(_, v)| **v != 0)
            .map(|(at, _)| at)
            .collect();
        Plane::from_shape_fn(plane.dim(), |(y, x)| {
            let squared = edges
                .iter()
                .map(|e| e.0.abs_diff(y).pow(2) + e.1.abs_diff(x).pow(2));
            squared
                .min()
                .map_or(f32::INFINITY, |s| (s as f64).sqrt() as f32)
        })
    }

    #[test]
    fn two_corners_of_five_by_five_written_out() {
        let mut plane = Plane::zeros((5, 5));
        plane[[0, 0]] = 1;
        plane[[4, 4]] = 200;
        let squares: [[u8; 5]; 5] = [
            [0, 1, 4, 9, 16],
            [1, 2, 5, 10, 9],
            [4, 5, 8, 5, 4],
            [9, 10, 5, 2, 1],
            [16, 9, 4, 1, 0],
        ];
        let expected = Plane::from_shape_fn((5, 5), |(y, x)| f32::from(squares[y][x]).sqrt());
        assert_eq!(distance(&plane), expected);
    }

    #[test]
    fn agrees_with_the_definition_on_random_images_of_any_shape() {
        for (width, height, one_in) in [
            (1, 1, 1),
            (1, 70, 9),
            (70, 1, 9),
            (130, 61, 400),
            (64, 64, 5),
            (65, 40, 900),
            // Edges nearer and farther than the columns that are tried first.
            (200, 90, 30),
            (400, 60, 2500),
            (1000, 7, 300),
        ] {
            for seed in 0..4 {
                let plane = sparse(width, height, one_in, seed);
                assert_eq!(
                    distance(&plane),
                    slow(&plane),
                    "{width}x{height}, seed {seed}"
                );
            }
        }
    }

    #[test]
    fn long_images_are_exact_too() {
        let mut wide = Plane::zeros((1, 30_000));
        wide[[0, 29_999]] = 1;
        let far = distance(&wide);
        assert!((0..30_000).all(|x| far[[0, x]] == (29_999 - x) as f32));
        assert_eq!(distance(&wide.t().to_owned()), far.t());

        for (width, height) in [(6000, 1), (9000, 3), (3, 9000)] {
            let plane = sparse(width, height, 1500, 5);
            let exact = slow(&plane);
            for (fast, exact) in distance(&plane).iter().zip(&exact) {
                // Squares above 2^24 are rounded once in f32 before the root: two units in the last place.
                assert!(
                    (fast - exact).abs() <= exact * 2.4e-7,
                    "{width}x{height}: {fast}, not {exact}"
                );
            }
        }
    }

    #[test]
    fn columns_longer_than_sixteen_bits_count_are_exact_too() {
        let mut tall = Plane::zeros((70_000, 2));
        tall[[0, 0]] = 1;
        let far = distance(&tall);
        assert_eq!(far.dim(), (70_000, 2));
        assert_eq!((far[[69_999, 0]], far[[68_000, 1]]), (69_999.0, 68_000.0));
    }

    #[test]
    fn turning_and_mirroring_commute_with_it() {
        let plane = sparse(75, 48, 200, 8);
        let far = distance(&plane);
        assert_eq!(distance(&mirrored(&plane)), mirrored(&far));
        assert_eq!(distance(&quarter_turned(&plane)), quarter_turned(&far));
    }

    #[test]
    fn without_edges_all_is_infinitely_far() {
        assert!(
            distance(&Plane::zeros((4, 70)))
                .iter()
                .all(|d| *d == f32::INFINITY)
        );
        assert_eq!(distance(&Plane::zeros((0, 0))).dim(), (0, 0));
        assert_eq!(distance(&Plane::zeros((0, 5))).dim(), (0, 5));
        assert_eq!(distance(&Plane::zeros((5, 0))).dim(), (5, 0));
    }
}
