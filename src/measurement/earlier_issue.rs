//! Whether an earlier issue of the model is back, part by part, where the reference is a picture of it: by the figures of its parts,
//! and by how much both pictures look alike, for both are pictures of models.
//!
//! # Source
//! Likeness: [`crate::kernels::likeness`] (Wang et al. 2004) of the render and the registered reference on the working grid.
use super::{Back, EarlierIssue, PartBack, RegionMeasure, Verdict, WorkImages, settings::EARLIER};
use crate::{
    frame::{Point, RenderPx},
    job::{ReferenceKind, RenderKind, View},
    kernels::{Plane, fill, gray, likeness},
};

/// How alike both pictures are at each place, 255 where they are equal, 0 where they have nothing in common; `None` where the
/// reference is no picture of a model.
pub(crate) fn map(view: &View, work: &WorkImages) -> Option<Plane<u8>> {
    // A photo of the print shows paint and light of its own.
    if view.reference.kind != ReferenceKind::Screenshot || view.render.kind == RenderKind::Print {
        return None;
    }
    let (render, reference) = (gray::luma(&work.render), gray::luma(&work.reference));
    let alike = likeness::structural_similarity(&render, &reference);
    Some(alike.mapv(|v| (v.clamp(0.0, 1.0) * 255.0).round() as u8))
}

/// Whether the parts are back; `None` without a map, and where the reference covers nothing.
pub(crate) fn judge(
    view: &View,
    work: &WorkImages,
    regions: &[RegionMeasure],
) -> Option<EarlierIssue> {
    let map = work.likeness.as_ref()?;
    let pixels = map.iter().zip(&work.common);
    let likeness = mean(pixels.filter(|(_, common)| **common != 0).map(|(v, _)| *v))?;
    let of_parts: Vec<Option<f64>> = (view.regions.iter())
        .map(|region| within(work, map, &region.outline))
        .collect();
    let mut told: Vec<f64> = of_parts.iter().flatten().copied().collect();
    told.sort_by(f64::total_cmp);
    let typical = told.get(told.len() / 2);
    let parts = of_parts.iter().zip(regions).map(|(likeness, region)| {
        let looks_other = matches!((likeness, typical), (Some(own), Some(typical))
            if *own < EARLIER.other_look.get() * *typical);
        PartBack {
            likeness: *likeness,
            back: match region.verdict {
                Verdict::Out => Back::NotBack,
                Verdict::Undecided => Back::CannotTell,
                Verdict::Within if looks_other => Back::LooksOther,
                Verdict::Within => Back::Back,
            },
        }
    });
    Some(EarlierIssue {
        likeness,
        parts: parts.collect(),
    })
}

/// The mean of the map within an outline.
fn within(work: &WorkImages, map: &Plane<u8>, outline: &[Point<RenderPx>]) -> Option<f64> {
    let work_from_render = work.render_from_work.inverse();
    let corners = outline.iter().map(|p| work_from_render.apply(*p).xy());
    let corners: Vec<[f64; 2]> = corners.collect();
    let (height, width) = map.dim();
    // Nothing is done for the rest of the picture.
    let range = |axis: usize, most: usize| {
        let values = corners.iter().map(|c| c[axis]);
        let least = values.clone().fold(f64::INFINITY, f64::min).floor();
        let largest = values.fold(f64::NEG_INFINITY, f64::max).ceil();
        let bounded = |v: f64| (v.max(0.0) as usize).min(most);
        bounded(least)..bounded(largest)
    };
    let (columns, rows) = (range(0, width), range(1, height));
    let (left, top) = (columns.start, rows.start);
    let moved: Vec<[f64; 2]> = (corners.iter())
        .map(|[x, y]| [x - left as f64, y - top as f64])
        .collect();
    let inside = fill::fill_polygon(&moved, (columns.len(), rows.len()));
    let pixels = inside.indexed_iter().filter(|(_, inside)| **inside != 0);
    let pixels = pixels.map(|((y, x), _)| [y + top, x + left]);
    mean(pixels.filter(|at| work.common[*at] != 0).map(|at| map[at]))
}

/// Mean of values of 0 to 255 as one of 0 to 1; `None` of none.
fn mean(values: impl Iterator<Item = u8>) -> Option<f64> {
    let (sum, count) = values.fold((0_u64, 0_u64), |(sum, count), v| {
        (sum + u64::from(v), count + 1)
    });
    (count > 0).then(|| sum as f64 / count as f64 / 255.0)
}
