//! The figures of a registration.
use super::{adjustment::Adjustment, checks::landmarks::LandmarkFit, roles::Roles};
use crate::{
    frame::{FromReference, Projective, RectifiedPx, RenderPx},
    job::{RegistrationKind, View},
    rectification::RectificationFigures,
    statistics::Measured,
};

/// The reference laid over the render.
#[derive(Clone, Debug)]
pub struct Registration {
    /// Kind of the map that was fitted.
    pub kind: RegistrationKind,
    /// The rectification; the identity where nothing is rectified.
    pub rectified_from_reference: FromReference<RectifiedPx>,
    /// What the rectification found by itself; `None` where nothing is rectified.
    pub rectification: Option<RectificationFigures>,
    /// The fitted map.
    pub render_from_rectified: Projective<RenderPx, RectifiedPx>,
    /// Both, one after the other.
    pub render_from_reference: FromReference<RenderPx>,
    /// Render pixels per pixel of the rectified reference (square root of the area ratio at the marks' centre).
    pub scale: Measured,
    /// How far the reference is turned to lie over the render, degrees, clockwise.
    pub rotation_deg: Measured,
    /// Root mean square of the datum residuals, render pixels (root of the mean squared length).
    pub rms_px: f64,
    /// A-posteriori standard deviation of unit weight; `None` where nothing is redundant.
    pub sigma0: Option<f64>,
    /// Observations minus unknowns of the datum fit.
    pub degrees_of_freedom: usize,
    /// Standard deviation of a mark in the render, per coordinate, render pixels: stated or estimated.
    pub render_mark_sigma_px: f64,
    /// Standard deviation of a mark in the reference, per coordinate, reference pixels: stated or estimated.
    pub reference_mark_sigma_px: f64,
    /// In plain words: which errors of the model this kind of registration cannot show. Empty for a similarity.
    pub hides: Vec<String>,
    /// One for each landmark of the view, in its order.
    pub landmarks: Vec<LandmarkFit>,
}

/// The figures of an adjustment; `None` where they are not finite.
pub(super) fn summarise(
    view: &View,
    adjustment: &Adjustment,
    roles: &Roles,
    landmarks: Vec<LandmarkFit>,
) -> Option<Registration> {
    let state = &adjustment.solved.state;
    let (scale, rotation_deg) = scale_and_rotation(adjustment)?;
    let datum: Vec<usize> = (0..landmarks.len())
        .filter(|&i| roles.datum[i] && adjustment.active[i])
        .collect();
    let square: f64 = datum
        .iter()
        .map(|&i| adjustment.solved.rows[i].residual.norm_squared())
        .sum();
    let redundant = adjustment
        .solved
        .freedom(&adjustment.problem, datum.iter().copied());
    let standardised: f64 = datum
        .iter()
        .map(|&i| adjustment.solved.rows[i].standardised_square())
        .sum();
    // Marks that the map takes next to its horizon lie as far off as one likes.
    if !(square.is_finite() && standardised.is_finite()) {
        return None;
    }
    let [render_noise, reference_noise] = adjustment.problem.unstated_noise;
    Some(Registration {
        kind: view.registration,
        rectified_from_reference: state.rectified_from_reference,
        render_from_rectified: state.render_from_rectified,
        rectification: adjustment
            .problem
            .layout
            .rectification
            .as_ref()
            .map(|s| s.figures().clone()),
        render_from_reference: state.render_from_reference(),
        scale,
        rotation_deg,
        rms_px: (square / datum.len().max(1) as f64).sqrt(),
        sigma0: (redundant > 0.5).then(|| (standardised / redundant).sqrt()),
        degrees_of_freedom: (2 * datum.len())
            .saturating_sub(adjustment.problem.layout.registration_unknowns()),
        render_mark_sigma_px: render_noise.deviation(adjustment.noise.render),
        reference_mark_sigma_px: reference_noise.deviation(adjustment.noise.reference),
        hides: hidden_errors(view, adjustment.camera_is_free()),
        landmarks,
    })
}

/// Scale and rotation of the map at the centre of the marks, where only its linear unknowns change them; `None` where
/// they are not finite.
fn scale_and_rotation(adjustment: &Adjustment) -> Option<(Measured, Measured)> {
    let layout = &adjustment.problem.layout;
    let state = &adjustment.solved.state;
    let centre = state
        .render_from_rectified
        .inverse()
        .apply(crate::frame::Point::new(layout.centre.x, layout.centre.y));
    let j = state.render_from_rectified.jacobian(centre);
    let scale = j.determinant().abs().sqrt();
    let rotation = (j[(1, 0)] - j[(0, 1)]).atan2(j[(0, 0)] + j[(1, 1)]);
    // Unknowns are pixels at the distance `size`: divided by it they are relative stretch and angle.
    type Weights = &'static [(usize, f64)];
    let (stretch, turn): (Weights, Weights) = match layout.kind {
        RegistrationKind::Similarity => (&[(0, 1.0)], &[(1, 1.0)]),
        _ => (&[(0, 0.5), (3, 0.5)], &[(2, 0.5), (1, -0.5)]),
    };
    let deviation = |weights: &[(usize, f64)]| {
        let mut gradient = adjustment.no_gradient();
        for (k, w) in weights {
            gradient.global[*k] = w / layout.size;
        }
        adjustment.variance(&gradient).sqrt()
    };
    let freedom = adjustment.noise_freedom;
    let measured = |value: f64, deviation: f64| Measured::from_deviation(value, deviation, freedom);
    Some((
        measured(scale, scale * deviation(stretch))?,
        measured(rotation.to_degrees(), deviation(turn).to_degrees())?,
    ))
}

/// `camera_is_free`: the reference's camera is fitted to places on the model.
fn hidden_errors(view: &View, camera_is_free: bool) -> Vec<String> {
    let kind = view.registration;
    let mut hidden = Vec::new();
    if kind != RegistrationKind::Similarity {
        hidden.push(
            "a model that as a whole is too wide, too high or slanted: an affine or projective registration takes \
             uniform stretch and shear up; only what single parts differ from the rest is seen"
                .to_owned(),
        );
    }
    if kind == RegistrationKind::Projective {
        hidden.push(
            "a model that as a whole narrows or widens to one side: a projective registration takes keystone up too"
                .to_owned(),
        );
    }
    if camera_is_free {
        hidden.extend(hidden_by_camera(kind));
    }
    hidden
}

/// What a camera takes up that is fitted to places of datum landmarks on the model.
///
/// # Source
/// With an affine or projective registration it is a camera of eight or eleven numbers, which sees no affine change of space
/// (Hartley and Zisserman, "Multiple View Geometry", 2nd ed., 2004, section 10.2). With a similarity, stretch along the line of
/// sight and turn of the camera have one effect to first order (the bas-relief ambiguity: P. Belhumeur, D. Kriegman, A. Yuille,
/// "The bas-relief ambiguity", IJCV 35, 1999), and distance and focal length scale the picture.
fn hidden_by_camera(kind: RegistrationKind) -> Vec<String> {
    let whole: &[&str] = match kind {
        RegistrationKind::Similarity => &[
            "a model that as a whole is too deep or too shallow along the line of sight: a camera that stands elsewhere takes it \
             up as a turn",
            "a model that as a whole is too large or too small: distance and focal length of a camera that stands elsewhere take \
             it up; only a length that is known in both images shows it",
        ],
        _ => &[
            "a model that as a whole is stretched in any direction, as by two exchanged sizes: an affine or projective \
             registration and a camera that stands elsewhere take it up together; rectify the reference and use a similarity, \
             which shows it across the line of sight",
        ],
    };
    let datum = "errors of the datum landmarks' own places: the camera is fitted to them; a length or angle between datum \
                 landmarks is never within on that account. Mark parts as check to have them judged";
    let all = whole.iter().chain([&datum]);
    all.map(|text| (*text).to_owned()).collect()
}
