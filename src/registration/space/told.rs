//! Figures of a camera that can be told, and why others cannot.
use crate::statistics::Measured;

/// A figure, or why there is none.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Told {
    /// It can be told.
    Figure(Measured),
    /// Only that it is not smaller than this, in 95 of 100 cases.
    AtLeast {
        /// Lower end of the interval.
        low: f64,
        /// Why there is no upper end.
        reason: Untold,
    },
    /// It cannot be told.
    Not(Untold),
}

impl Told {
    /// The figure, where it can be told.
    pub fn figure(self) -> Option<Measured> {
        match self {
            Self::Figure(measured) => Some(measured),
            Self::AtLeast { .. } | Self::Not(_) => None,
        }
    }

    /// Why it cannot be told.
    pub fn reason(self) -> Option<Untold> {
        match self {
            Self::Figure(_) => None,
            Self::AtLeast { reason, .. } | Self::Not(reason) => Some(reason),
        }
    }

    pub(super) fn times(self, factor: f64) -> Self {
        match self {
            Self::Figure(measured) => Self::Figure(measured.times(factor)),
            Self::AtLeast { low, reason } => Self::AtLeast {
                low: low * factor,
                reason,
            },
            Self::Not(reason) => Self::Not(reason),
        }
    }
}

/// Why a figure cannot be told.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum Untold {
    /// The marks show no perspective: the camera may as well be infinitely far away.
    NoPerspective,
    /// They show too little of it.
    LittlePerspective,
    /// The marks lie in a plane and the principal point is hardly known.
    PlaneAndPrincipalPoint,
    /// The picture shows a screen without its corners.
    ScreenCorners,
    /// The picture is cropped, so it tells nothing of the whole film.
    Cropped,
    /// The sight is along the z axis: azimuth and roll are one turn.
    AlongZ,
}

impl Untold {
    /// Stable code for scripts.
    pub fn code(self) -> &'static str {
        match self {
            Self::NoPerspective => "no-perspective",
            Self::LittlePerspective => "little-perspective",
            Self::PlaneAndPrincipalPoint => "plane-and-principal-point",
            Self::ScreenCorners => "screen-corners",
            Self::Cropped => "cropped",
            Self::AlongZ => "along-z",
        }
    }

    /// What it means and what to do.
    pub fn text(self) -> &'static str {
        match self {
            Self::NoPerspective => {
                "the marks show no perspective, so the camera may as well be infinitely far away; mark datum points nearer and farther, or state the focal length"
            }
            Self::LittlePerspective => {
                "the marks show too little perspective; mark datum points nearer and farther, or state the focal length"
            }
            Self::PlaneAndPrincipalPoint => {
                "the marks lie in one plane, and the picture is cropped: focal length, principal point and turn make up for each other; mark datum points off the plane"
            }
            Self::ScreenCorners => {
                "the corners of the screen are not in the photo, so how the photo was taken cannot be told from how the picture was; mark the corners"
            }
            Self::Cropped => "the picture is cropped, so it is not as large as the film was",
            Self::AlongZ => {
                "the camera looks along the z axis of the model, where azimuth and roll are one turn"
            }
        }
    }
}
