//! From landmark pairs to the map that lays the reference over the render, with its uncertainty. Never sees a pixel.
//!
//! [`register`] solves one joint adjustment of the registration and the errors of every region (see [`adjustment`]).
#![doc = include_str!("METHOD.md")]
pub(crate) mod adjustment;
pub(crate) mod alone;
pub(crate) mod checks;
mod depth_in_doubt;
mod error;
#[cfg(test)]
mod invented;
mod lens_by_marks;
mod prediction;
mod problem;
mod regions;
mod registered;
mod roles;
pub mod space;
mod start;
pub(crate) use start::checked_points;
mod summary;

pub use adjustment::{Adjustment, ByReference, Convergence, RegionErrors, SingleMark};
pub use checks::{
    altered_datum::AlteredDatum,
    landmarks::{Finding, LandmarkFit, OnOutline},
};
pub use error::Error;
pub use prediction::{Prediction, predict};
pub(crate) use problem::along_outline_of;
pub use regions::RegionFit;
pub use registered::{LaidOver, Registered, lay_over, register};
pub use summary::Registration;
