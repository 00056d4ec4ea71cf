//! Why a reference cannot be measured alone.
use crate::{rectification, registration::space};

/// Why a reference cannot be measured alone.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum AloneError {
    /// It cannot be rectified.
    #[error(transparent)]
    Rectify(#[from] rectification::Error),
    /// Its camera cannot be solved.
    #[error("{0}; \"--plane\" measures in the plane of the picture instead")]
    Camera(#[from] space::Error),
    /// Nothing is marked.
    #[error("the view has no landmark to measure; mark some in the reference")]
    NoLandmarks,
    /// No span of the name that proportions are asked against.
    #[error("the view has no span \"{name}\" to hold the others against; {known}")]
    UnknownSpan {
        /// The name.
        name: String,
        /// The spans there are, in words.
        known: String,
    },
}

impl AloneError {
    /// Stable code for scripts.
    pub fn code(&self) -> &'static str {
        match self {
            Self::Rectify(error) => error.code(),
            Self::Camera(error) => error.code(),
            Self::NoLandmarks => "no-landmarks",
            Self::UnknownSpan { .. } => "unknown-span",
        }
    }
}
