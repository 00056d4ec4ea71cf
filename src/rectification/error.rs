//! Why a reference cannot be rectified by what is known of it.

/// Why a reference cannot be rectified by what is known of it.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum Error {
    /// The view is too frontal for its proportions to be told.
    #[error(
        "rectify: the view is too frontal to tell width over height by itself{}; state the \"aspect\" of a rectangle, or mark \"points\" of known places",
        found(*plus_minus_percent)
    )]
    TooFrontal {
        /// Half the 95 % interval, per cent; `None` where there is no figure at all.
        plus_minus_percent: Option<f64>,
    },
    /// The straight lines do not tell the lens.
    #[error(
        "rectify: the straight lines do not tell the lens' distortion; mark longer ones, well away from the middle of the picture"
    )]
    LensUnclear,
    /// No lens makes the lines straight.
    #[error(
        "rectify: no lens within the limits makes the straight lines straight; see whether their points lie on lines that are straight in reality"
    )]
    LensTooStrong,
    /// What is marked is not the view of a plane.
    #[error(
        "rectify: what is marked is not the view of a plane from its front; see whether marks are mixed up"
    )]
    NotAPlane,
    /// The rectified picture would be far larger than what the picture can fill.
    #[error(
        "rectify: the rectified picture would have {:.0} x {:.0} pixels, and {:.1} million are the most for one of {} x {}; {}",
        size[0], size[1], most_pixels / 1e6, picture.0, picture.1, advice(mark.as_ref())
    )]
    TooLarge {
        /// Width and height that it would have, pixels.
        size: [f64; 2],
        /// How many pixels are allowed.
        most_pixels: f64,
        /// Width and height of the picture, pixels.
        picture: (u32, u32),
        /// The mark that lies farthest outside of the picture; `None` where all lie inside.
        mark: Option<FarMark>,
    },
}

/// A mark outside of the picture.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FarMark {
    /// "corner" or "point".
    pub what: &'static str,
    /// Which of them, counted from 0.
    pub index: usize,
    /// Where it is marked, pixels.
    pub at: [f64; 2],
    /// How far that is from the picture's border, pixels.
    pub outside_px: f64,
}

impl Error {
    /// Stable code for scripts.
    pub fn code(&self) -> &'static str {
        match self {
            Self::TooFrontal { .. } => "too-frontal",
            Self::LensUnclear => "lens-unclear",
            Self::LensTooStrong => "lens-too-strong",
            Self::NotAPlane => "not-a-plane",
            Self::TooLarge { .. } => "rectified-too-large",
        }
    }
}

fn found(plus_minus_percent: Option<f64>) -> String {
    match plus_minus_percent {
        Some(percent) => format!(" (it could only be told to within {percent:.0} %)"),
        None => String::new(),
    }
}

fn advice(mark: Option<&FarMark>) -> String {
    match mark {
        Some(mark) => format!(
            "{} {} (counted from 0) at [{}, {}] lies {:.0} px outside of it: mark it again, or rectify by \"points\" that \
             the picture shows",
            mark.what, mark.index, mark.at[0], mark.at[1], mark.outside_px
        ),
        None => "see whether the marks belong to their places, and whether they lie near the horizon of the plane".to_owned(),
    }
}
