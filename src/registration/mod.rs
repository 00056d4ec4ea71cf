//! From landmark pairs to the map that lays the reference over the render, with its uncertainty. Never sees a pixel.
use crate::{
    frame::{Projective, ReferencePx, RenderPx, StraightPx},
    job::RegistrationKind,
    statistics::Measured,
};

/// The reference laid over the render.
#[derive(Clone, Debug)]
pub struct Registration {
    /// Kind of the map that was fitted.
    pub kind: RegistrationKind,
    /// The straightening; the identity where nothing is straightened.
    pub straight_from_reference: Projective<StraightPx, ReferencePx>,
    /// The fitted map.
    pub render_from_straight: Projective<RenderPx, StraightPx>,
    /// Both, one after the other.
    pub render_from_reference: Projective<RenderPx, ReferencePx>,
    /// Render pixels per pixel of the straightened reference (square root of the area ratio at the marks' centre).
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
    /// How unlikely the residual is: 1 is what noise makes on average, see [`LandmarkFit::critical_value`].
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
    /// No other mark checks this one.
    Uncontrolled,
}
