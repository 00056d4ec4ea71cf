//! The joint least-squares adjustment of the registration, the rectification, the camera's shift and the
//! errors of every region, and what follows from it for any figure.
//!
//! Both marks of a landmark carry noise, so the residual `v = render mark - predicted place` has the covariance
//! `S = S_render + J S_reference J'`, `J` being the derivative of the predicted place by the mark in the reference.
//! What is expected of a region beforehand is one more observation of each of its five numbers.
//!
//! # Source
//! E. Mikhail and F. Ackermann, "Observations and Least Squares" (1976), chapters 7 and 9 (general case of adjustment);
//! damping by K. Levenberg (1944) and D. Marquardt (1963); propagation to figures by JCGM 100:2008 (GUM), eq. 13.
mod adjusted;
mod by_reference;
mod datum_parts;
mod edge_rows;
mod further;
mod gradient;
mod model;
mod noise;
mod normal;
mod parallax;
pub(crate) mod settings;
mod shape;
mod solving;
mod strain;
#[cfg(test)]
mod tests;
mod unregistered;

pub use adjusted::{Adjustment, SingleMark};
pub use by_reference::ByReference;
pub(crate) use edge_rows::{EdgeMark, Settling, SubjectPoint};
pub(crate) use further::{Candidate, Expected, Further};
pub(crate) use gradient::Gradient;
pub use model::RegionErrors;
pub(crate) use model::{Layout, Pair, State};
pub(crate) use noise::{AlongOutline, MarkNoise, Noise};
pub(crate) use parallax::{EXPECTED_MOVE, Parallax};
pub(crate) use settings::ADJUSTMENT;
pub(crate) use shape::ExpectedShape;
pub use solving::Convergence;
pub(crate) use solving::{Problem, Row, Solved, Weighing};
