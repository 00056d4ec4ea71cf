//! What figures of a reference alone are made from: where each landmark lies, and how that hangs on all that was observed.
use nalgebra::Vector2;

/// Where the landmarks of a reference lie, to the right and downwards, in millimetres or, without a scale, pixels.
pub(super) trait Basis {
    /// The landmark's place.
    fn place(&self, landmark: usize) -> Result<Vector2<f64>, Untold>;

    /// How much farther away the second landmark lies than the first, by what is known of their depths, and the standard deviation
    /// of that.
    fn depth_between(&self, landmarks: [usize; 2]) -> (f64, f64);

    /// Half the width of the 95 % interval of a figure with these derivatives by places.
    fn half_width(&self, by: &[(usize, Vector2<f64>)]) -> f64;

    /// Degrees of freedom of the noise, for what comes in addition.
    fn freedom(&self) -> f64;

    /// Whether lengths are millimetres.
    fn has_scale(&self) -> bool;
}

/// Why a figure cannot be told.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum Untold {
    /// Nothing tells a scale.
    NoScale,
    /// The rectified reference shows it beyond the horizon of its plane.
    BeyondHorizon,
    /// Both ends lie on one point.
    MarksCoincide,
    /// The landmark has no place on the model, so its depth is not known.
    NoDepth,
    /// The camera looks along the plane in which it lies.
    SeenEdgeOn,
    /// Its mark contradicts the others or was exchanged.
    MarkInDoubt,
    /// Two cameras explain the marks.
    TwoCameras,
    /// The camera does not show its place.
    NotShown,
    /// No landmark can be the origin.
    NoOrigin,
}

impl Untold {
    /// Stable code for scripts.
    pub fn code(self) -> &'static str {
        match self {
            Self::NoScale => "no-scale",
            Self::BeyondHorizon => "beyond-horizon",
            Self::MarksCoincide => "marks-coincide",
            Self::NoDepth => "no-depth",
            Self::SeenEdgeOn => "seen-edge-on",
            Self::MarkInDoubt => "mark-in-doubt",
            Self::TwoCameras => "two-cameras",
            Self::NotShown => "not-shown",
            Self::NoOrigin => "no-origin",
        }
    }

    /// What it means and what to do.
    pub fn text(self) -> &'static str {
        match self {
            Self::NoScale => {
                "nothing tells a scale; add a known length of the reference to \"known\""
            }
            Self::BeyondHorizon => {
                "the mark lies beyond the horizon of the plane that the reference is rectified by; it is not in that plane"
            }
            Self::MarksCoincide => "both ends lie on one point; look at their marks",
            Self::NoDepth => {
                "one photo tells a direction and no depth: state the place of the landmark on the model (\"model_mm\"), of which \
                 the depth is used"
            }
            Self::SeenEdgeOn => {
                "the camera looks along the plane in which it lies; another photo tells it, or other \"axes\""
            }
            Self::MarkInDoubt => {
                "its mark contradicts the others or is exchanged with one (\"tickstrip camera\" says which); mark it anew"
            }
            Self::TwoCameras => {
                "two cameras explain the marks equally well (\"tickstrip camera\" tells both); mark datum points nearer and farther"
            }
            Self::NotShown => "the camera does not show this place; look at its \"model_mm\"",
            Self::NoOrigin => "no datum landmark can be the origin; name one as \"origin\"",
        }
    }
}
