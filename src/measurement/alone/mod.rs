//! One reference measured by itself, before there is a model: spans, angles, proportions and places, from a plane that is rectified
//! or scaled, or from a solved camera with known depths.
//!
//! # Source
//! JCGM 100:2008 (GUM), eq. 13: every figure by its derivatives, marks and everything they share propagated together.
mod basis;
mod between_views;
mod by_camera;
mod error;
#[cfg(feature = "draw")]
mod extent;
mod figures;
mod found;
mod plane;
#[cfg(test)]
mod tests;

pub use basis::Untold;
pub use between_views::{SeenTwice, seen_twice};
pub use error::AloneError;
pub use found::{MeasuredBy, Proportion, ReferenceAlone, ScaleFrom};

use super::{Warning, lengths::sizes::with_unit};
use crate::{
    job::{Job, KnownPlane, ModelDirection, ReferenceKind, View},
    rectification::{self, BezelLook},
    warning::Code,
};
use basis::Basis;

/// Landmarks with places on the model from which a photo is measured by its camera.
const LEAST_PLACES: usize = 4;

/// What is asked of a reference.
#[derive(Clone, Copy, Debug, Default)]
pub struct Asked<'a> {
    /// Name of the span that the others are held against; `None`: the longest.
    pub against: Option<&'a str>,
    /// Whether it is measured as a plane also where landmarks have places on the model.
    pub as_plane: bool,
}

/// Measures the reference of a view, `size` (width, height) pixels large. `bezel` is what was found across the sides of a screen,
/// where the job asks for that.
///
/// # Errors
/// [`AloneError`].
pub fn measure_alone(
    job: &Job,
    view: &View,
    size: (u32, u32),
    bezel: Option<&BezelLook>,
    asked: Asked<'_>,
) -> Result<ReferenceAlone, AloneError> {
    if view.landmarks.is_empty() {
        return Err(AloneError::NoLandmarks);
    }
    let against = figures::span_to_hold_against(view, asked.against)?;
    if !asked.as_plane && is_measured_by_camera(view) {
        let found = by_camera::ByCamera::new(view, size)?;
        let depth_along = found.across();
        let mut made = told(view, &found, against, MeasuredBy::Camera { depth_along });
        made.axes = Some(found.axes());
        made.scale_from = Some(ScaleFrom::PlacesOnModel);
        (made.mark_sigma_px, made.is_sigma_stated) = (
            found.mark_sigma_px(),
            view.reference.mark_sigma_px.is_some(),
        );
        // Places of a camera are millimetres of the model.
        made.enlarge_by(job.scale.denominator());
        return Ok(made);
    }
    let rectification = rectification::of_view(view, size, bezel)?;
    let plane = plane::Plane::new(job, view, rectification.as_ref());
    let mut made = told(view, &plane, against, MeasuredBy::Plane);
    made.axes = view.axes.filter(|_| plane.is_upright(view));
    made.scale_from = plane.scale_from();
    made.px_per_full_size_mm = plane.px_per_mm();
    made.dimensions = plane.dimensions().cloned();
    made.mark_sigma_px = plane.noise().deviation_px(view);
    made.is_sigma_stated = view.reference.mark_sigma_px.is_some();
    made.plain_from_reference = Some(plane.map().plain_from_reference());
    made.warnings = plane_warnings(view, &plane);
    made.rectification = rectification;
    Ok(made)
}

/// Whether the places of enough landmarks on the model are known, and the picture is a photo that no known figure rectifies.
fn is_measured_by_camera(view: &View) -> bool {
    let placed = view.landmarks.iter().filter(|l| l.model_mm.is_some());
    let plane = view.reference.rectify.as_ref().map(|r| &r.plane);
    let is_known = matches!(plane, Some(KnownPlane::Figure(_) | KnownPlane::Lines(_)));
    view.reference.kind == ReferenceKind::Photo && !is_known && placed.count() >= LEAST_PLACES
}

fn told(view: &View, basis: &dyn Basis, against: Option<usize>, by: MeasuredBy) -> ReferenceAlone {
    let origin = figures::origin(view, basis);
    ReferenceAlone {
        by,
        scale_from: None,
        px_per_full_size_mm: None,
        dimensions: None,
        mark_sigma_px: 0.0,
        is_sigma_stated: false,
        origin,
        axes: None,
        places: figures::places(view, basis, origin),
        spans: figures::spans(view, basis),
        angles: figures::angles(view, basis),
        proportions: figures::proportions(view, basis, against),
        warnings: Vec::new(),
        rectification: None,
        plain_from_reference: None,
    }
}

/// The axis of the model and the sign with which a figure to the right, or downwards, counts along it.
pub fn along_model(direction: ModelDirection) -> (&'static str, f64) {
    let sign = if direction.is_against { -1.0 } else { 1.0 };
    (super::AXES[direction.axis], sign)
}

fn plane_warnings(view: &View, plane: &plane::Plane) -> Vec<Warning> {
    let mut warnings = Vec::new();
    let mut warn = |code, text: String| warnings.push(Warning { code, text });
    let is_plain = view.reference.rectify.as_ref();
    let is_plain = is_plain.is_some_and(|r| !matches!(r.plane, KnownPlane::Unknown));
    if view.reference.kind == ReferenceKind::Photo && !is_plain {
        let text = "The picture is not rectified: what is measured holds only where it was taken square on. Add \"rectify\", or \"kind\" \
                    if it is no photo.";
        warn(Code::NotRectified, text.to_owned());
    }
    if plane.scale_from().is_none() {
        let text = "Nothing tells a scale, so only angles and proportions are told. Add a known length of the reference to \"known\".";
        warn(Code::NoScale, text.to_owned());
    }
    plane.about_known(view, &mut |code, text| match code {
        // It is taken off here.
        Code::Stretched | Code::OutOfSquare => {}
        code => warn(code, text),
    });
    if let Some(fit) = plane.dimensions() {
        if let (true, Some(stretch)) = (fit.is_stretched, fit.stretch_percent) {
            let stretch = with_unit(stretch, " %");
            let text = format!(
                "By its known lengths the reference is stretched by {stretch} more along x than along y; that is taken off."
            );
            warn(Code::Stretched, text);
        }
        if let (true, Some(angle)) = (fit.is_out_of_square, fit.out_of_square_deg) {
            let angle = with_unit(angle.plus(90.0), "°");
            let text = format!(
                "Right angles of the drawing are {angle} in the reference; that is taken off."
            );
            warn(Code::OutOfSquare, text);
        }
    }
    if let Some([by_points, by_lengths]) = plane.contradiction() {
        let text = format!(
            "The points that the reference is rectified by make a full-size millimetre {} long and the known lengths {}: one of \
             them is wrong. The known lengths are taken.",
            with_unit(by_points, " px"),
            with_unit(by_lengths, " px")
        );
        warn(Code::LengthsDisagree, text);
    }
    warnings
}
