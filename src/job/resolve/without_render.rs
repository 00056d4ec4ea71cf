//! Views without a render, whose reference is measured alone: what they may not state.
use crate::{
    frame::{Point, RenderPx},
    job::{
        error::{FaultKind, Faults},
        raw::{RawLandmark, RawMarkSigma, RawSide, RawView},
    },
};

/// Faults of a view without a render: what lies on one; `at` is its pointer.
pub(super) fn check(raw: &RawView, at: &str, faults: &mut Faults) {
    if !raw.render.is_absent {
        return;
    }
    let stated = [
        ("same_camera", !raw.same_camera),
        ("marks_are_right", raw.marks_are_right),
        ("registration", raw.registration.is_some()),
        ("regions", !raw.regions.is_empty()),
    ];
    for (key, _) in stated.into_iter().filter(|(_, is_stated)| *is_stated) {
        faults.push(&format!("{at}/{key}"), FaultKind::WithoutRender { key });
    }
    let known = raw.known.iter().enumerate();
    for (index, _) in known.filter(|(_, known)| known.side == RawSide::Render) {
        let kind = FaultKind::WithoutRender { key: "in" };
        faults.push(&format!("{at}/known/{index}/in"), kind);
    }
}

/// The mark that a landmark does not have in a render that is not there; `at` is the landmark's pointer.
pub(super) fn mark_in_render(
    raw: &RawLandmark,
    at: &str,
    faults: &mut Faults,
) -> Option<Point<RenderPx>> {
    let has_sigma =
        matches!(&raw.sigma_px, Some(RawMarkSigma::Each(each)) if each.render.is_some());
    let stated = [
        ("render", raw.render.is_some()),
        ("sigma_px/render", has_sigma),
    ];
    let found = stated.into_iter().find(|(_, is_stated)| *is_stated);
    if let Some((key, _)) = found {
        faults.push(
            &format!("{at}/{key}"),
            FaultKind::WithoutRender { key: "render" },
        );
        return None;
    }
    Some(Point::new(0.0, 0.0))
}
