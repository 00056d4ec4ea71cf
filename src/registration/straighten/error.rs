//! Why a reference cannot be straightened by what is known of it.

/// Why a reference cannot be straightened by what is known of it.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum Error {
    /// The view is too frontal for its proportions to be told.
    #[error(
        "straighten: the view is too frontal to tell width over height by itself{}; state the \"aspect\" of a rectangle, or mark \"points\" of known places",
        found(*plus_minus_percent)
    )]
    TooFrontal {
        /// Half the 95 % interval, per cent; `None` where there is no figure at all.
        plus_minus_percent: Option<f64>,
    },
    /// The straight lines do not tell the lens.
    #[error(
        "straighten: the straight lines do not tell the lens' distortion; mark longer ones, well away from the middle of the picture"
    )]
    LensUnclear,
    /// No lens makes the lines straight.
    #[error(
        "straighten: no lens within the limits makes the straight lines straight; see whether their points lie on lines that are straight in reality"
    )]
    LensTooStrong,
    /// What is marked is not the view of a plane.
    #[error(
        "straighten: what is marked is not the view of a plane from its front; see whether marks are mixed up"
    )]
    NotAPlane,
}

impl Error {
    /// Stable code for scripts.
    pub fn code(&self) -> &'static str {
        match self {
            Self::TooFrontal { .. } => "too-frontal",
            Self::LensUnclear => "lens-unclear",
            Self::LensTooStrong => "lens-too-strong",
            Self::NotAPlane => "not-a-plane",
        }
    }
}

fn found(plus_minus_percent: Option<f64>) -> String {
    match plus_minus_percent {
        Some(percent) => format!(" (it could only be told to within {percent:.0} %)"),
        None => String::new(),
    }
}
