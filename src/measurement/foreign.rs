//! Whether the marks belong to these images: where the registration that they carry is right, the edges of both images agree
//! better than chance around the datum marks. Where they agree no better there and in the whole view, the marks were set on
//! another picture, or the picture was mirrored, cropped or exchanged afterwards.
use super::{EdgeOverlap, overlap::edges::EdgeStudy, settings::REGIONS};
use crate::{
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
    whole: Option<&EdgeOverlap>,
) -> Option<ForeignMarks> {
    let whole = whole.filter(|whole| !view.marks_are_right && is_chance(whole))?;
    let around = study.inside(&around_datum(view, registration)?)?;
    let least = REGIONS.least_pixels.count();
    let tells = around.render_edge_pixels >= least && around.reference_edge_pixels >= least;
    (tells && is_chance(&around)).then_some(ForeignMarks {
        around: (around.score, around.chance),
        whole: (whole.score, whole.chance),
    })
}

fn is_chance(overlap: &EdgeOverlap) -> bool {
    overlap.above_chance < REGIONS.no_better_than_chance.get()
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
