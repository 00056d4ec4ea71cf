//! Views whose references are adjusted together, and the parts of the model that they show.
use super::{PartAxes, Tolerance};
use crate::units::FullSizeMm;

/// Views whose references are adjusted together.
#[derive(Clone, Debug, PartialEq)]
pub struct Together {
    /// Their indices, at least one, none twice.
    pub views: Vec<usize>,
    /// Parts, in the order in which these views first name them.
    pub parts: Vec<TogetherPart>,
    /// Known lengths on the full-size object between two landmarks of theirs.
    pub lengths: Vec<TogetherLength>,
    /// What mirrors what.
    pub symmetry: Option<ModelSymmetry>,
}

/// A known length on the full-size object between two landmarks with places on the model.
#[derive(Clone, Debug, PartialEq)]
pub struct TogetherLength {
    /// Its ends.
    pub ends: [TogetherEnd; 2],
    /// The length.
    pub length: FullSizeMm,
}

/// An end of a known length.
#[derive(Clone, Debug, PartialEq)]
pub struct TogetherEnd {
    /// The landmark.
    pub name: String,
    /// Its place on the model, millimetres.
    pub place: [f64; 3],
    /// Index of its part; `None`: it is on none.
    pub part: Option<usize>,
    /// Whether it is datum.
    pub is_datum: bool,
}

/// A plane that mirrors model and subject, at right angles to an axis of the model.
///
/// # Guarantees
/// No part is listed twice. Axes that parts have of their own are mirror images, but for their direction.
#[derive(Clone, Debug, PartialEq)]
pub struct ModelSymmetry {
    /// 0 for x, 1 for y, 2 for z.
    pub axis: usize,
    /// Where the axis meets the plane, millimetres.
    pub at_mm: f64,
    /// Indices of parts that are each other's mirror image.
    pub pairs: Vec<[usize; 2]>,
    /// Indices of parts that are their own.
    pub own: Vec<usize>,
}

/// A part of the model: the regions of one name, or the landmarks that name it where a view states no regions.
///
/// # Guarantees
/// A landmark's name stands for one place on the model in all views, and belongs to one part at most.
#[derive(Clone, Debug, PartialEq)]
pub struct TogetherPart {
    /// Its name.
    pub name: String,
    /// Its own axes, where they are stated.
    pub axes: Option<PartAxes>,
    /// The tightest tolerance of its regions, else that of the job.
    pub tolerance: Tolerance,
    /// Indices of its check landmarks with a place on the model, each view's, in the order of [`Together::views`].
    pub landmarks: Vec<Vec<usize>>,
    /// The same of its datum landmarks, which are right unless all of them contradict those of the other parts.
    pub datum: Vec<Vec<usize>>,
}
