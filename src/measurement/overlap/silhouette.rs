//! Silhouettes of both images against each other: how much they overlap, and how far the model's outline lies beyond or
//! within the subject's.
//!
//! # Source
//! Overlap: P. Jaccard (1901), intersection over union. Distances: exact Euclidean distance transform
//! ([`crate::kernels::distance`]) from the render's outline, read along the reference's.
use super::grid::Work;
use crate::{
    kernels::{Plane, distance},
    measurement::Silhouettes,
    statistics::Measured,
};

/// How far both silhouettes coincide, where the reference covers the render.
#[derive(Clone, Debug, PartialEq)]
pub struct SilhouetteOverlap {
    /// Area of both over area of either, 0 to 1.
    pub overlap: f64,
    /// Mean distance along the reference's outline, positive where the model lies beyond it; render pixels.
    pub mean_px: f64,
    /// 95th percentile of the distance, without sign.
    pub p95_px: f64,
    /// Largest distance, without sign.
    pub max_px: f64,
    /// The three in millimetres on the model, where the scale is known.
    pub model_mm: Option<[f64; 3]>,
    /// Number of pixels of the reference's outline that were looked at (working grid).
    pub outline_pixels: usize,
}

/// Compares the silhouettes; `None` where an image has none or neither outline lies inside of both pictures.
pub(crate) fn compare(work: &Work, mm_per_px: Option<Measured>) -> Option<SilhouetteOverlap> {
    let silhouettes = work.images.silhouettes.as_ref()?;
    let signed = signed_distances(silhouettes);
    let overlap = overlap(silhouettes)?;
    if signed.is_empty() {
        return None;
    }
    let px = work.render_px_per_work_px;
    let mut sizes: Vec<f64> = signed.iter().map(|d| d.abs() * px).collect();
    sizes.sort_by(f64::total_cmp);
    let mean_px = px * signed.iter().sum::<f64>() / signed.len() as f64;
    // The nearest rank (ceiling), as for the edges' distances.
    let p95_px = sizes[(sizes.len() * 19).div_ceil(20) - 1];
    let max_px = sizes[sizes.len() - 1];
    let mm = mm_per_px.map(|scale| scale.value());
    Some(SilhouetteOverlap {
        overlap,
        mean_px,
        p95_px,
        max_px,
        model_mm: mm.map(|mm| [mean_px, p95_px, max_px].map(|px| px * mm)),
        outline_pixels: signed.len(),
    })
}

/// Intersection over union where the reference covers the render; `None` where both are empty.
fn overlap(silhouettes: &Silhouettes) -> Option<f64> {
    let (mut both, mut either) = (0_u64, 0_u64);
    ndarray::Zip::from(&silhouettes.render)
        .and(&silhouettes.reference)
        .and(&silhouettes.covered)
        .for_each(|&a, &b, &covered| {
            both += u64::from(covered & a & b != 0);
            either += u64::from(covered & (a | b) != 0);
        });
    (either > 0).then(|| both as f64 / either as f64)
}

/// For each pixel of the reference's outline its distance from the render's, working pixels, positive where it lies
/// inside of the model. Where the picture ends, a silhouette has no outline.
fn signed_distances(silhouettes: &Silhouettes) -> Vec<f64> {
    let of_render = outline(&silhouettes.render, &silhouettes.covered);
    let of_reference = outline(&silhouettes.reference, &silhouettes.covered);
    let distances = distance::distance(&of_render);
    let along = of_reference.indexed_iter().filter(|(_, v)| **v != 0);
    along
        .filter_map(|(at, _)| {
            let distance = f64::from(distances[at]);
            let sign = if silhouettes.render[at] != 0 {
                1.0
            } else {
                -1.0
            };
            distance.is_finite().then_some(sign * distance)
        })
        .collect()
}

/// The pixels of a silhouette that have one of their four neighbours outside of it, all five covered.
fn outline(silhouette: &Plane<u8>, covered: &Plane<u8>) -> Plane<u8> {
    let (height, width) = silhouette.dim();
    Plane::from_shape_fn((height, width), |(y, x)| {
        if y == 0 || x == 0 || y + 1 >= height || x + 1 >= width || silhouette[[y, x]] == 0 {
            return 0;
        }
        let around = [[y - 1, x], [y + 1, x], [y, x - 1], [y, x + 1]];
        let is_inner = covered[[y, x]] != 0 && around.iter().all(|at| covered[*at] != 0);
        let is_edge = around.iter().any(|at| silhouette[*at] == 0);
        if is_inner && is_edge { 255 } else { 0 }
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn square(from: usize, to: usize) -> Plane<u8> {
        let inside = |v: usize| (from..to).contains(&v);
        Plane::from_shape_fn(
            (40, 40),
            |(y, x)| {
                if inside(y) && inside(x) { 255 } else { 0 }
            },
        )
    }

    fn silhouettes(render: Plane<u8>, reference: Plane<u8>) -> Silhouettes {
        Silhouettes {
            covered: Plane::from_elem(render.dim(), 255),
            render,
            reference,
        }
    }

    #[test]
    fn equal_silhouettes_overlap_wholly() {
        let same = silhouettes(square(10, 30), square(10, 30));
        assert_eq!(overlap(&same), Some(1.0));
        assert!(signed_distances(&same).iter().all(|d| *d == 0.0));
        // Four sides of 20 pixels, the corners once.
        assert_eq!(signed_distances(&same).len(), 76);
    }

    #[test]
    fn a_larger_model_lies_beyond_the_outline_and_a_smaller_one_within() {
        let larger = silhouettes(square(8, 32), square(10, 30));
        assert_eq!(overlap(&larger), Some(400.0 / 576.0));
        assert!(signed_distances(&larger).iter().all(|d| *d == 2.0));
        let smaller = silhouettes(square(13, 27), square(10, 30));
        let distances = signed_distances(&smaller);
        assert!(distances.iter().all(|d| *d <= -3.0));
        // Corners lie three pixels off in both directions.
        let farthest = distances.iter().copied().fold(0.0, f64::min);
        assert!((farthest + 18.0_f64.sqrt()).abs() < 1e-6, "{farthest}");
    }

    #[test]
    fn where_the_picture_ends_there_is_no_outline() {
        let mut cut = silhouettes(square(0, 30), square(0, 30));
        assert_eq!(signed_distances(&cut).len(), 29 + 28);
        cut.covered.fill(0);
        assert_eq!(overlap(&cut), None);
        assert!(signed_distances(&cut).is_empty());
    }
}
