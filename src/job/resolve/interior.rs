//! The interior orientation of a reference's camera: keys that contradict each other.
use crate::job::{
    FocalLength, Interior, PrincipalPoint, ScreenCorners,
    error::{FaultKind, Faults},
    raw::{
        RawInterior, RawLens, RawPerspective, RawPrincipalPoint, RawReference, RawScreenCorners,
    },
};

/// The checked statement; `at` is its pointer, `has_camera` whether the render's camera is stated.
pub(super) fn interior(
    reference: &RawReference,
    at: &str,
    has_camera: bool,
    faults: &mut Faults,
) -> Option<Interior> {
    let raw = &reference.interior;
    let screen_corners = screen_corners(reference, at, faults);
    let principal_point = principal_point(raw, at, screen_corners, faults);
    let focal_length = focal_length(raw, at, has_camera, faults);
    Some(Interior {
        focal_length: focal_length?,
        principal_point: principal_point?,
        is_lens_unknown: raw.lens == RawLens::Unknown,
        screen_corners: screen_corners?,
        // Known once all views are.
        same_as: None,
    })
}

fn focal_length(
    raw: &RawInterior,
    at: &str,
    has_camera: bool,
    faults: &mut Faults,
) -> Option<FocalLength> {
    let is_as_render = raw.perspective == RawPerspective::AsRender;
    let stated: Vec<&'static str> = [
        ("focal_length_px", raw.focal_length_px.is_some()),
        ("focal_length_mm_35", raw.focal_length_mm_35.is_some()),
        ("perspective", is_as_render),
    ]
    .into_iter()
    .filter_map(|(key, is_stated)| is_stated.then_some(key))
    .collect();
    if let [first, second, ..] = stated[..] {
        faults.push(at, FaultKind::FocalTwice { first, second });
        return None;
    }
    let percent = raw.focal_length_percent;
    match (raw.focal_length_px, raw.focal_length_mm_35) {
        (Some(px), _) => Some(FocalLength::Pixels { px, percent }),
        (_, Some(_)) if raw.principal_point == RawPrincipalPoint::Cropped => {
            faults.push(
                &format!("{at}/focal_length_mm_35"),
                FaultKind::FilmOfCropped,
            );
            None
        }
        (_, Some(mm)) => Some(FocalLength::Film { mm, percent }),
        (None, None) if percent.is_some() => {
            faults.push(
                &format!("{at}/focal_length_percent"),
                FaultKind::PercentOfNothing,
            );
            None
        }
        (None, None) if is_as_render && !has_camera => {
            faults.push(&format!("{at}/perspective"), FaultKind::RenderWithoutCamera);
            None
        }
        (None, None) if is_as_render => Some(FocalLength::AsRender),
        (None, None) => Some(FocalLength::Unknown),
    }
}

fn principal_point(
    raw: &RawInterior,
    at: &str,
    screen: Option<ScreenCorners>,
    faults: &mut Faults,
) -> Option<PrincipalPoint> {
    let at = format!("{at}/principal_point_px");
    match (raw.principal_point_px, raw.principal_point) {
        (Some(_), RawPrincipalPoint::Cropped) => {
            faults.push(&at, FaultKind::PrincipalTwice);
            None
        }
        (Some(_), _) if screen.is_some_and(|s| s != ScreenCorners::None) => {
            faults.push(&at, FaultKind::PrincipalOfScreen);
            None
        }
        (Some(mark), RawPrincipalPoint::Middle) => Some(PrincipalPoint::At(mark.0)),
        (None, RawPrincipalPoint::Middle) => Some(PrincipalPoint::Middle),
        (None, RawPrincipalPoint::Cropped) => Some(PrincipalPoint::Cropped),
    }
}

fn screen_corners(
    reference: &RawReference,
    at: &str,
    faults: &mut Faults,
) -> Option<ScreenCorners> {
    let has_corners = reference
        .rectify
        .as_ref()
        .is_some_and(|rectify| rectify.corners.is_some());
    let at = format!("{at}/screen_corners");
    match (reference.interior.screen_corners, has_corners) {
        (Some(RawScreenCorners::Marked), false) => {
            faults.push(&at, FaultKind::ScreenUnmarked);
            None
        }
        (Some(RawScreenCorners::Outside), true) => {
            faults.push(&at, FaultKind::ScreenMarked);
            None
        }
        (Some(RawScreenCorners::Outside), false) => Some(ScreenCorners::Outside),
        (None | Some(RawScreenCorners::Marked), true) => Some(ScreenCorners::Marked),
        (None, false) | (Some(RawScreenCorners::None), _) => Some(ScreenCorners::None),
    }
}
