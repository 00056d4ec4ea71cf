//! Whether the marks belong to these images: where the registration that they carry is right, the edges of both images agree
//! better than chance. Where they do not, the marks were set on another picture, or the picture was mirrored, cropped or
//! exchanged afterwards. The edges of the parts tell it best, each by the response of the reference along its normals, a dim edge
//! like a bright one; where too few parts tell, those around the datum marks and in the whole view do.
use super::{EdgeOverlap, overlap::edges::EdgeStudy, settings::REGIONS};
use crate::{
    edges::OnEdges,
    frame::{Point, RenderPx},
    job::{LandmarkUse, View},
    registration::{Finding, Registration},
};

/// The marks cannot belong to these images. Shares of edges that both have, 0 to 1.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
#[error(
    "around the datum marks {:.0} % of the edges of both images agree, and {:.0} % of displaced ones do (in the whole view {:.0} and {:.0} %): these marks do not belong to these images. See whether an image was exchanged, mirrored or cropped after it was marked; to compare all the same, set \"marks_are_right\": true in this view",
    100.0 * around.0, 100.0 * around.1, 100.0 * whole.0, 100.0 * whole.1
)]
pub struct ForeignMarks {
    /// Around the datum marks: where the registration puts them, and displaced.
    pub around: (f64, f64),
    /// The same of the whole view.
    pub whole: (f64, f64),
}

/// Why the marks cannot belong to these images; `None` where they may, where too few edges tell, or where the user insists.
pub(super) fn why(
    view: &View,
    registration: &Registration,
    study: &EdgeStudy<'_>,
    (whole, parts): (Option<&EdgeOverlap>, &[Option<OnEdges>]),
) -> Option<ForeignMarks> {
    let whole = whole.filter(|_| !view.marks_are_right)?;
    let around = study.inside(&around_datum(view, registration)?)?;
    let least = REGIONS.least_pixels.count();
    let tells = around.render_edge_pixels >= least && around.reference_edge_pixels >= least;
    let chance = REGIONS.no_better_than_chance.get();
    let is_chance = match mean_of(parts) {
        Some(mean) => mean < REGIONS.foreign_parts.get() && whole.above_chance < 2.0 * chance,
        None => whole.above_chance < chance && around.above_chance < chance,
    };
    (tells && is_chance).then_some(ForeignMarks {
        around: (around.score, around.chance),
        whole: (whole.score, whole.chance),
    })
}

/// The mean overlap of the parts above chance; `None` where so few have one that their mean is unsure.
fn mean_of(parts: &[Option<OnEdges>]) -> Option<f64> {
    const LEAST_PARTS: usize = 5;
    let all: Vec<f64> = parts.iter().flatten().map(OnEdges::above_chance).collect();
    (all.len() >= LEAST_PARTS).then(|| all.iter().sum::<f64>() / all.len() as f64)
}

/// The box around the datum marks that were not left out, a tenth of its size wider on each side.
fn around_datum(view: &View, registration: &Registration) -> Option<Vec<Point<RenderPx>>> {
    let kept = view.landmarks.iter().zip(&registration.landmarks);
    let kept = kept
        .filter(|(l, fit)| l.usage == LandmarkUse::Datum && fit.finding != Some(Finding::Wrong));
    let marks: Vec<[f64; 2]> = kept.map(|(l, _)| l.render.xy()).collect();
    if marks.is_empty() {
        return None;
    }
    let range = |k: usize| {
        let values = marks.iter().map(|m| m[k]);
        let low = values.clone().fold(f64::INFINITY, f64::min);
        let high = values.fold(f64::NEG_INFINITY, f64::max);
        let border = 0.1 * (high - low);
        (low - border, high + border)
    };
    let ((left, right), (top, bottom)) = (range(0), range(1));
    let corners = [[left, top], [right, top], [right, bottom], [left, bottom]];
    Some(corners.map(|[x, y]| Point::new(x, y)).to_vec())
}
