//! Places on edges of the model that photos have, as the adjustment takes them.
use nalgebra::{Vector2, Vector3};

/// A place on an edge of the model and where a photo has that edge; in half diagonals of the photo.
#[derive(Clone, Copy, Debug)]
pub(super) struct JointEdge {
    /// Place on the model, millimetres.
    pub(super) place: Vector3<f64>,
    /// Unit normal of the edge in the photo.
    pub(super) normal: Vector2<f64>,
    /// Where the edge is along the normal.
    pub(super) along: f64,
    /// One over the variance of that, so shared out that all of a line have together no more than it.
    pub(super) weight: f64,
    /// Which of the lines of its part in its photo it lies on.
    pub(super) line: usize,
}

/// The places on edges of one part in one photo.
#[derive(Clone, Debug)]
pub(super) struct JointEdges {
    pub(super) photo: usize,
    /// `None`: they lie on what carries the cameras.
    pub(super) part: Option<usize>,
    /// Places that lie off by this much weigh a quarter.
    pub(super) reach: f64,
    pub(super) edges: Vec<JointEdge>,
}

/// What became of the edges of a part.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub enum EdgesOfPart {
    /// They were not looked for: no mesh has the part, or it is no part of its own.
    #[default]
    NotLookedFor,
    /// Too few of them are seen.
    TooFew,
    /// They fit no better than displaced ones.
    NoBetterThanChance,
    /// They lead farther from where the marks have the part than those allow.
    AgainstMarks,
    /// They are used: each photo that they were found in, with the number of places.
    Used(Vec<(usize, usize)>),
}
