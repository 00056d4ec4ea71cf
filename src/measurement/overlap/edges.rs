//! How far the edges of both images coincide, against what chance alone would give.
//!
//! An edge pixel is matched where the other image has an edge of similar direction (modulo 180 degrees, the same or a
//! neighbouring bin of 22.5 degrees) within the tolerance.
//!
//! # Source
//! Precision, recall and their harmonic mean: D. Martin, C. Fowlkes, J. Malik, "Learning to detect natural image
//! boundaries", IEEE PAMI 26 (2004). Chance level: the mean score of the same edges displaced well beyond the tolerance.
use super::grid::Work;
use super::settings::OVERLAP;
use crate::{
    edges::OnEdges,
    frame::{Point, RenderPx},
    kernels::{Plane, fill, reach},
    measurement::EdgeOverlap,
    stop,
};
use rayon::prelude::*;

/// Displacements by which chance is found: around the place in two rings.
const DISPLACEMENTS_PER_RING: usize = 12;
/// Radii of the rings, in tolerances: beyond the reach of a match, near enough to be the same sort of picture.
const RINGS: [f64; 2] = [5.0, 9.0];
/// Accuracy of the render's edge pixels' distances: an edge farther than this (working pixels) counts as this far.
const FARTHEST: f32 = 100.0;

/// The edges of one image, and where an edge of the other would be matched.
pub(crate) struct EdgeStudy<'a> {
    work: &'a Work,
    render: Vec<EdgePixel>,
    reference: Vec<EdgePixel>,
    /// Directions found within the tolerance.
    near_render: Plane<u8>,
    near_reference: Plane<u8>,
    displacements: Vec<[i64; 2]>,
}

#[derive(Clone, Copy)]
struct EdgePixel {
    x: u32,
    y: u32,
    /// The bins that match it.
    accepts: u8,
}

impl<'a> EdgeStudy<'a> {
    /// Lists the edge pixels and widens the directions of both images.
    pub(crate) fn new(work: &'a Work) -> Self {
        let (near_render, near_reference) = rayon::join(
            || reach::reach(&work.render_bits, work.tolerance),
            || reach::reach(&work.reference_bits, work.tolerance),
        );
        Self {
            work,
            render: edge_pixels(&work.render_bits),
            reference: edge_pixels(&work.reference_bits),
            near_render,
            near_reference,
            displacements: displacements(work.tolerance),
        }
    }

    /// The overlap of the whole view; `None` where an image has next to no edges.
    pub(crate) fn whole(&self) -> Option<EdgeOverlap> {
        self.overlap(&self.render, &self.reference)
    }

    /// The overlap inside an outline on the render.
    pub(crate) fn inside(&self, outline: &[Point<RenderPx>]) -> Option<EdgeOverlap> {
        stop::check().ok()?;
        let work_from_render = self.work.images.render_from_work.inverse();
        let outline: Vec<[f64; 2]> = outline
            .iter()
            .map(|p| work_from_render.apply(*p).xy())
            .collect();
        let (height, width) = self.work.render_bits.dim();
        let mask = fill::fill_polygon(&outline, (width, height));
        let inside = |pixels: &[EdgePixel]| -> Vec<EdgePixel> {
            pixels
                .iter()
                .filter(|p| mask[[p.y as usize, p.x as usize]] != 0)
                .copied()
                .collect()
        };
        self.overlap(&inside(&self.render), &inside(&self.reference))
    }

    fn overlap(&self, render: &[EdgePixel], reference: &[EdgePixel]) -> Option<EdgeOverlap> {
        if render.len() < OVERLAP.least_edges.count()
            || reference.len() < OVERLAP.least_edges.count()
        {
            return None;
        }
        let at = |d: [i64; 2]| {
            let precision = matched(render, &self.near_reference, d);
            let recall = matched(reference, &self.near_render, [-d[0], -d[1]]);
            (precision, recall, harmonic_mean(precision, recall))
        };
        let (precision, recall, score) = at([0, 0]);
        let displaced: Vec<f64> = self.displacements.par_iter().map(|d| at(*d).2).collect();
        let chance = displaced.iter().sum::<f64>() / displaced.len() as f64;
        let px = self.work.render_px_per_work_px;
        let (mean, p95) = distances(render, &self.work.images.distance_to_reference_edges);
        Some(EdgeOverlap {
            score,
            precision,
            recall,
            chance,
            above_chance: if chance < 1.0 {
                (score - chance) / (1.0 - chance)
            } else {
                0.0
            },
            tolerance_px: self.work.tolerance * px,
            mean_distance_px: mean * px,
            p95_distance_px: p95 * px,
            render_edge_pixels: render.len(),
            reference_edge_pixels: reference.len(),
        })
    }
}

impl EdgeOverlap {
    /// The overlap of a part: its score, chance and `above_chance` by the response of the reference along the normals of
    /// the part's edge points, which ranks parts better than edge maps do (a dim edge answers like a bright one).
    pub(crate) fn with_response(self, on_edges: &OnEdges) -> Self {
        Self {
            score: on_edges.share,
            chance: on_edges.chance,
            above_chance: on_edges.above_chance(),
            ..self
        }
    }
}

fn edge_pixels(bits: &Plane<u8>) -> Vec<EdgePixel> {
    bits.indexed_iter()
        .filter(|(_, b)| **b != 0)
        .map(|((y, x), b)| EdgePixel {
            x: x as u32,
            y: y as u32,
            accepts: reach::neighbours(*b),
        })
        .collect()
}

fn displacements(tolerance: f64) -> Vec<[i64; 2]> {
    let mut all = Vec::with_capacity(RINGS.len() * DISPLACEMENTS_PER_RING);
    for (k, radius) in RINGS.iter().enumerate() {
        for step in 0..DISPLACEMENTS_PER_RING {
            // The second ring is turned by half a step.
            let angle = (step as f64 + 0.5 * k as f64) * std::f64::consts::TAU
                / DISPLACEMENTS_PER_RING as f64;
            let r = radius * tolerance;
            all.push([
                (r * angle.cos()).round() as i64,
                (r * angle.sin()).round() as i64,
            ]);
        }
    }
    all
}

/// Share of the pixels that, displaced by `d`, find a partner. Pixels that are displaced out of the grid do not count.
fn matched(pixels: &[EdgePixel], near: &Plane<u8>, d: [i64; 2]) -> f64 {
    let (height, width) = near.dim();
    let (mut asked, mut found) = (0_usize, 0_usize);
    for p in pixels {
        let (x, y) = (i64::from(p.x) + d[0], i64::from(p.y) + d[1]);
        if x < 0 || y < 0 || x >= width as i64 || y >= height as i64 {
            continue;
        }
        asked += 1;
        found += usize::from(near[[y as usize, x as usize]] & p.accepts != 0);
    }
    if asked == 0 {
        0.0
    } else {
        found as f64 / asked as f64
    }
}

fn harmonic_mean(a: f64, b: f64) -> f64 {
    if a + b > 0.0 {
        2.0 * a * b / (a + b)
    } else {
        0.0
    }
}

/// Mean and 95th percentile, working pixels.
fn distances(pixels: &[EdgePixel], distance: &Plane<f32>) -> (f64, f64) {
    let mut all: Vec<f32> = pixels
        .iter()
        .map(|p| distance[[p.y as usize, p.x as usize]].min(FARTHEST))
        .collect();
    let mean = all.iter().map(|d| f64::from(*d)).sum::<f64>() / all.len() as f64;
    let k = (all.len() * 95 / 100).min(all.len() - 1);
    let (_, p95, _) = all.select_nth_unstable_by(k, f32::total_cmp);
    (mean, f64::from(*p95))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_displaced_edge_is_matched_within_the_tolerance_and_by_direction() {
        let mut bits = Plane::<u8>::zeros((20, 20));
        bits.column_mut(10).fill(1);
        let near = reach::reach(&bits, 2.0);
        let at = |x: u32, accepts: u8| vec![EdgePixel { x, y: 9, accepts }];
        assert_eq!(matched(&at(12, 1), &near, [0, 0]), 1.0);
        assert_eq!(matched(&at(13, 1), &near, [0, 0]), 0.0);
        assert_eq!(matched(&at(12, 16), &near, [0, 0]), 0.0);
        assert_eq!(matched(&at(2, 1), &near, [8, 0]), 1.0);
    }

    #[test]
    fn displacements_lie_beyond_the_tolerance_all_around() {
        let all = displacements(3.0);
        let sum = all.iter().fold([0, 0], |s, d| [s[0] + d[0], s[1] + d[1]]);
        assert!(sum[0].abs() <= 2 && sum[1].abs() <= 2);
        assert!(
            all.iter()
                .all(|d| (d[0] as f64).hypot(d[1] as f64) > 4.0 * 3.0)
        );
    }
}
