//! What ties parts to one another: known lengths between them, and that they mirror each other.
use super::part::{OFFSET, SIZE, TURN};
use nalgebra::Vector3;

/// A known length, as its logarithm.
#[derive(Clone, Debug)]
pub(super) struct JointLength {
    pub(super) ends: [JointEnd; 2],
    pub(super) log: f64,
    /// Deviation of the logarithm.
    pub(super) deviation: f64,
    /// Whether it takes part.
    pub(super) is_kept: bool,
}

/// An end of a known length.
#[derive(Clone, Copy, Debug)]
pub(super) struct JointEnd {
    pub(super) place: Vector3<f64>,
    /// The part whose errors move it; `None`: it lies on the datum.
    pub(super) part: Option<usize>,
    /// The part of the datum that it lies on.
    pub(super) datum_part: Option<usize>,
}

/// Errors that mirror each other across a plane; both parts are the same where it is its own image.
#[derive(Clone, Copy, Debug)]
pub(super) struct JointMirror {
    pub(super) parts: [usize; 2],
    /// Each axis of the second part in what mirrors that of the first: 1 where it is that, -1 where it runs against it.
    pub(super) signs: [f64; 3],
}

impl JointMirror {
    /// The sign that the mirror gives an error: of sizes none changes, offsets change along axes that run against the mirrored ones, turns
    /// about the others.
    pub(super) fn sign(&self, k: usize) -> f64 {
        match k {
            SIZE..TURN => 1.0,
            TURN..OFFSET => -self.signs[k - TURN],
            _ => self.signs[k - OFFSET],
        }
    }
}
