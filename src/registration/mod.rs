//! From landmark pairs to the map that lays the reference over the render, with its uncertainty. Never sees a pixel.
//!
//! [`register`] solves one joint adjustment of the registration and the errors of every region (see [`adjustment`]).
pub(crate) mod adjustment;
mod altered_datum;
mod bend;
mod doubts;
pub(crate) mod edges;
pub mod error;
#[cfg(test)]
mod invented;
mod landmarks;
pub(crate) mod model;
pub(crate) mod normal;
mod parallax;
pub(crate) mod places;
mod prediction;
mod problem;
mod regions;
mod shape;
pub(crate) mod start;
mod wrong_marks;

pub use adjustment::{Adjustment, Convergence};
pub use altered_datum::AlteredDatum;
pub use error::Error;
pub use model::RegionErrors;
pub use prediction::{Prediction, SingleMark, predict};
pub use regions::RegionFit;

use crate::{
    frame::{FromReference, Projective, RectifiedPx, RenderPx},
    job::{Expected, RegistrationKind, View},
    printable::shortened,
    rectification::{self, BezelLook, Rectification, RectificationFigures},
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

/// What the registration says of one landmark.
#[derive(Clone, Debug)]
pub struct LandmarkFit {
    /// Mark in the render minus registered mark of the reference, render pixels.
    pub residual_px: [f64; 2],
    /// The same with its interval; what it means for a `check` landmark: how far the model is off here.
    pub offset_px: [Measured; 2],
    /// Root of the standardised square of the joint adjustment's residual: noise alone gives about 1.4 and seldom
    /// more than [`LandmarkFit::critical_value`]. `None` where nothing is redundant.
    pub test_statistic: Option<f64>,
    /// The value that noise exceeds in one of a thousand marks.
    pub critical_value: f64,
    /// Share of an error of this mark that shows in its residual, 0 to 1.
    pub redundancy: f64,
    /// Smallest error of this mark that the test finds four times in five, render pixels.
    pub smallest_detectable_px: Option<f64>,
    /// What was found out about it.
    pub finding: Option<Finding>,
}

/// What is wrong with a landmark.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Finding {
    /// A gross error: the mark is left out of the fit.
    Wrong,
    /// Its marks and those of this landmark (an index) are exchanged in one image.
    SwappedWith(usize),
    /// Its part (the index of a region) is altered as a whole: the datum landmark was taken as `check`.
    OffWithPart(usize),
    /// Its place on the model contradicts its mark in the render, and the camera's shift needs it: it takes no part.
    WrongPlace,
    /// No other mark checks this one.
    Uncontrolled,
}

/// A registration with the adjustment that it comes from.
#[derive(Clone, Debug)]
pub struct Registered {
    /// The figures.
    pub registration: Registration,
    /// What further figures are propagated from.
    pub adjustment: Adjustment,
    /// One for each region of the view, in its order; `None` where its marks say nothing that the registration does
    /// not take for granted.
    pub regions: Vec<Option<RegionFit>>,
    /// Datum parts that contradict the other datum landmarks, those of which nothing tells which is altered last.
    pub altered_datum: Vec<AlteredDatum>,
    roles: wrong_marks::Roles,
    swapped: Vec<(usize, usize)>,
}

impl Registered {
    /// The registration's figures by another adjustment of the same marks; `None` where they are not finite.
    pub(crate) fn summary(&self, view: &View, adjustment: &Adjustment) -> Option<Registration> {
        let landmarks = landmarks::judge(adjustment, &self.roles, &self.swapped).ok()?;
        summarise(view, adjustment, &self.roles, landmarks)
    }
}

/// A reference laid over its render, and how it was rectified before.
#[derive(Clone, Debug)]
pub struct LaidOver {
    /// `None` where nothing is rectified.
    pub rectification: Option<Rectification>,
    /// The rest of the way.
    pub registered: Registered,
}

/// Lays the reference of a view over its render: rectifies it as the job says, then registers it.
///
/// `sizes` are width and height of the render and of the reference in pixels, upright. `bezel` is what was found across the
/// sides of a screen, where the picture was looked at.
///
/// # Errors
/// Those of [`rectification::of_view`] and of [`register`].
pub fn lay_over(
    view: &View,
    expected: Expected,
    sizes: [(u32, u32); 2],
    bezel: Option<&BezelLook>,
) -> Result<LaidOver, Error> {
    let [render, reference] = sizes;
    let rectification = rectification::of_view(view, reference, bezel)?;
    let registered = register(view, expected, render, rectification.as_ref())?;
    Ok(LaidOver {
        rectification,
        registered,
    })
}

/// Registers a reference that is rectified already.
///
/// `render_size` is the render's width and height in pixels: what is expected of offsets is stated in parts of it.
/// `rectification` is what [`rectification::of_view`](crate::rectification::of_view) makes of the view.
///
/// # Errors
/// Too few datum landmarks, or such that lie on one point or line, or that give no usable map; a landmark that the map
/// takes nowhere.
pub fn register(
    view: &View,
    expected: Expected,
    render_size: (u32, u32),
    rectification: Option<&Rectification>,
) -> Result<Registered, Error> {
    let (problem, roles, rectified) = problem::build(view, expected, render_size, rectification)?;
    let no_map = || Error::NoMap {
        kind: view.registration,
        names: problem::datum_names(view),
    };
    let start = wrong_marks::robust_start(&problem, &roles, &rectified).ok_or_else(no_map)?;
    let cleaned = wrong_marks::clean(problem, roles, &start).ok_or_else(no_map)?;
    let roles = cleaned.roles;
    let adjustment = cleaned.adjustment;
    let beyond = |i: usize| Error::BeyondHorizon {
        name: shortened(&view.landmarks[i].name),
    };
    let landmarks = landmarks::judge(&adjustment, &roles, &cleaned.swapped).map_err(beyond)?;
    refuse_unsettled(view.registration, adjustment.convergence())?;
    let regions = regions::fit_all(view, &adjustment, &roles);
    let registration = summarise(view, &adjustment, &roles, landmarks).ok_or_else(no_map)?;
    Ok(Registered {
        registration,
        adjustment,
        regions,
        altered_datum: cleaned.altered_datum,
        roles,
        swapped: cleaned.swapped,
    })
}

/// A solution that still moves by more than a mark can be placed is none.
fn refuse_unsettled(kind: RegistrationKind, end: Convergence) -> Result<(), Error> {
    /// Render pixels at the marks' extent; what still moves by less is told with a warning (a judgement).
    const FARTHEST_PX: f64 = 0.1;
    if end.is_reached || end.last_step_px < FARTHEST_PX {
        return Ok(());
    }
    Err(Error::NotConverged { kind, end })
}

fn summarise(
    view: &View,
    adjustment: &Adjustment,
    roles: &wrong_marks::Roles,
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
    let mean =
        |sigma: fn(&model::Pair) -> f64| adjustment.problem.pairs.first().map_or(f64::NAN, sigma);
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
        render_mark_sigma_px: adjustment.noise.render * mean(|p| p.render_sigma),
        reference_mark_sigma_px: adjustment.noise.reference * mean(|p| p.reference_sigma),
        hides: hidden_errors(view),
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

fn hidden_errors(view: &View) -> Vec<String> {
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
    if kind == RegistrationKind::Projective && !view.same_camera && view.render.camera.is_some() {
        // Together they are a camera of eleven numbers, which sees no affine change of space (Hartley and Zisserman,
        // "Multiple View Geometry", 2nd ed., 2004, section 10.2).
        hidden.push(
            "a model that as a whole is stretched in any direction, as by two exchanged sizes: a projective \
             registration and a camera that stands elsewhere take it up together; rectify the reference and use a \
             similarity, which shows it"
                .to_owned(),
        );
    }
    hidden
}

#[cfg(test)]
mod tests {
    use super::*;

    fn end(is_reached: bool, last_step_px: f64) -> Convergence {
        Convergence {
            is_reached,
            steps: 100,
            last_step_px,
        }
    }

    #[test]
    fn a_solution_that_still_moves_is_refused_in_words() {
        let kind = RegistrationKind::Projective;
        assert_eq!(refuse_unsettled(kind, end(true, 5.0)), Ok(()));
        assert_eq!(refuse_unsettled(kind, end(false, 0.05)), Ok(()));
        let refused = refuse_unsettled(kind, end(false, 3.25)).expect_err("it moves");
        assert_eq!(refused.code(), "not-converged");
        let words = refused.to_string();
        assert!(
            words.contains("after 100 steps the last moved by 3.25 px"),
            "{words}"
        );
        for nowhere in [f64::INFINITY, 1e300] {
            let refused = refuse_unsettled(kind, end(false, nowhere)).expect_err("it moves");
            let words = refused.to_string();
            assert!(
                words.contains("after 100 steps no further one leads anywhere"),
                "{words}"
            );
        }
    }
}
