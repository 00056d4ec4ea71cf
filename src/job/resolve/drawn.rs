//! Views whose render is drawn: what they may not state, and what they need.
use crate::{
    frame::{Point, RenderPx},
    job::{
        error::{FaultKind, Faults},
        raw::{
            RawJob, RawKnown, RawLandmark, RawLens, RawMarkSigma, RawReference, RawRegistration,
            RawRenderKind, RawScreenCorners, RawSide, RawView,
        },
        shapes::point,
    },
    printable::shortened,
};

/// Faults of a view whose render is drawn: keys that it has from the mesh and the camera; `at` is its pointer.
pub(super) fn check(raw: &RawView, at: &str, faults: &mut Faults) {
    let render = &raw.render;
    if !render.drawn {
        return;
    }
    let stated = [
        ("render/image", render.image.is_some()),
        ("render/marked_on", render.marked_on.is_some()),
        ("render/kind", render.kind != RawRenderKind::Model),
        ("render/mask", render.mask.is_some()),
        ("render/shape", render.shape.is_some()),
        ("render/camera", render.camera.is_some()),
        ("render/mark_sigma_px", render.mark_sigma_px.is_some()),
        ("same_camera", !raw.same_camera),
    ];
    for (key, _) in stated.into_iter().filter(|(_, is_stated)| *is_stated) {
        let name = key.rsplit('/').next().unwrap_or(key);
        faults.push(&format!("{at}/{key}"), FaultKind::BesideDrawn { key: name });
    }
    let in_render = |known: &&RawKnown| known.side == RawSide::Render;
    for (index, _) in raw.known.iter().enumerate().filter(|(_, k)| in_render(k)) {
        let kind = FaultKind::BesideDrawn { key: "known" };
        faults.push(&format!("{at}/known/{index}/in"), kind);
    }
    let kind = raw.registration.unwrap_or(RawRegistration::Projective);
    if kind != RawRegistration::Projective {
        let pointer = format!("{at}/registration");
        faults.push(&pointer, FaultKind::RegistrationOfDrawn);
    }
    planes(&raw.reference, at, faults);
    if raw.reference.interior.lens == RawLens::Unknown {
        let pointer = format!("{at}/reference/interior/lens");
        faults.push(&pointer, FaultKind::LensOfDrawn);
    }
}

/// Planes of the subject, by which nothing is rectified where the camera is known.
fn planes(reference: &RawReference, at: &str, faults: &mut Faults) {
    let Some(rectify) = &reference.rectify else {
        return;
    };
    let is_no_screen = reference.interior.screen_corners == Some(RawScreenCorners::None);
    let stated = [
        ("corners", rectify.corners.is_some() && is_no_screen),
        ("points", !rectify.points.is_empty()),
        ("horizontal", !rectify.horizontal.is_empty()),
        ("vertical", !rectify.vertical.is_empty()),
    ];
    for (key, _) in stated.into_iter().filter(|(_, is_stated)| *is_stated) {
        let pointer = format!("{at}/reference/rectify/{key}");
        faults.push(&pointer, FaultKind::PlaneOfDrawn { key });
    }
}

/// A drawn render needs the job's mesh.
pub(super) fn needs_model(raw: &RawJob, faults: &mut Faults) {
    if raw.model.is_some() {
        return;
    }
    for (index, _) in (raw.views.iter().enumerate()).filter(|(_, view)| view.render.drawn) {
        let pointer = format!("/views/{index}/render/drawn");
        faults.push(&pointer, FaultKind::DrawnWithoutModel);
    }
}

/// The mark in the render, which a drawn one gets from the landmark's place later on; `at` is the landmark's pointer.
pub(super) fn mark_in_render(
    raw: &RawLandmark,
    is_drawn: bool,
    at: &str,
    faults: &mut Faults,
) -> Option<Point<RenderPx>> {
    let sigma = raw.sigma_px.as_ref();
    let has_sigma = matches!(sigma, Some(RawMarkSigma::Each(each)) if each.render.is_some());
    match (is_drawn, raw.render) {
        (false, Some(mark)) => return Some(point(mark)),
        (false, None) => {
            let key = "render".to_owned();
            faults.push(at, FaultKind::MissingKey { key });
        }
        (true, Some(_)) => {
            let kind = FaultKind::BesideDrawn { key: "render" };
            faults.push(&format!("{at}/render"), kind);
        }
        (true, None) if has_sigma => {
            let kind = FaultKind::BesideDrawn { key: "render" };
            faults.push(&format!("{at}/sigma_px/render"), kind);
        }
        (true, None) if raw.model_mm.is_none() => {
            let name = shortened(&raw.name);
            faults.push(at, FaultKind::NoPlaceOfDrawn { name });
        }
        (true, None) => return Some(Point::new(0.0, 0.0)),
    }
    None
}
