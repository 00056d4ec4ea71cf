//! Why a reference cannot be laid over a render.
use super::Convergence;
use crate::job::RegistrationKind;
use crate::rectification;

/// Why a reference cannot be laid over a render.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum Error {
    /// The reference cannot be rectified first.
    #[error(transparent)]
    Rectify(#[from] rectification::Error),
    /// Fewer datum landmarks than the kind needs.
    #[error(
        "registration: {found} datum landmark{}, {} needs {needed}; mark {} more{}",
        plural(*found), kind.name(), needed - found, way_out(*kind, *found)
    )]
    TooFewLandmarks {
        /// The kind asked for.
        kind: RegistrationKind,
        /// Datum landmarks there are.
        found: usize,
        /// Datum landmarks it takes.
        needed: usize,
    },
    /// The marks of one image lie so that they determine nothing.
    #[error(
        "registration: the datum landmarks ({names}) {fault} in the {image}; {} needs {} that do not; mark others, far apart",
        kind.name(), needed
    )]
    Degenerate {
        /// The kind asked for.
        kind: RegistrationKind,
        /// "render" or "reference".
        image: &'static str,
        /// "lie on one point" or "lie on one line".
        fault: &'static str,
        /// Names of the landmarks.
        names: String,
        /// Landmarks it takes.
        needed: usize,
    },
    /// No subset of the marks gives a usable map.
    #[error(
        "registration: the datum landmarks ({names}) give no usable {} map; see whether marks of the two images are mixed up, or mark others",
        kind.name()
    )]
    NoMap {
        /// The kind asked for.
        kind: RegistrationKind,
        /// Names of the landmarks.
        names: String,
    },
    /// The adjustment did not come to rest.
    #[error(
        "registration: the adjustment of the marks does not come to rest ({end}): \
         the marks contradict each other or lie too close together for a {} map; look at them, mark more, or set a simpler \"registration\"",
        kind.name()
    )]
    NotConverged {
        /// The kind asked for.
        kind: RegistrationKind,
        /// How the iteration ended.
        end: Convergence,
    },
    /// A mark that the map takes nowhere.
    #[error(
        "registration: the mark of \"{name}\" in the reference lies beyond the horizon of the rectified plane, or where the lens shows nothing; see whether the mark or the rectification is wrong"
    )]
    BeyondHorizon {
        /// Name of the landmark.
        name: String,
    },
}

impl Error {
    /// Stable code for scripts.
    pub fn code(&self) -> &'static str {
        match self {
            Self::Rectify(error) => error.code(),
            Self::TooFewLandmarks { .. } => "too-few-landmarks",
            Self::Degenerate { .. } => "degenerate-landmarks",
            Self::NoMap { .. } => "no-registration",
            Self::NotConverged { .. } => "not-converged",
            Self::BeyondHorizon { .. } => "landmark-beyond-horizon",
        }
    }
}

fn plural(n: usize) -> &'static str {
    if n == 1 { "" } else { "s" }
}

fn way_out(kind: RegistrationKind, found: usize) -> String {
    let simpler = match (kind, found) {
        (RegistrationKind::Projective, 3..) => "affine",
        (RegistrationKind::Projective | RegistrationKind::Affine, 2..) => "similarity",
        _ => return String::new(),
    };
    format!(" or set \"registration\": \"{simpler}\"")
}
