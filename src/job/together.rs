//! Views whose references are adjusted together, and the parts of the model that they show.
use super::Tolerance;

/// Views whose references are adjusted together.
#[derive(Clone, Debug, PartialEq)]
pub struct Together {
    /// Their indices, at least one, none twice.
    pub views: Vec<usize>,
    /// Parts, in the order in which these views first name them.
    pub parts: Vec<TogetherPart>,
}

/// A part of the model: the regions of one name, or the landmarks that name it where a view states no regions.
///
/// # Guarantees
/// A landmark's name stands for one place on the model in all views, and belongs to one part at most.
#[derive(Clone, Debug, PartialEq)]
pub struct TogetherPart {
    /// Its name.
    pub name: String,
    /// The tightest tolerance of its regions, else that of the job.
    pub tolerance: Tolerance,
    /// Indices of its check landmarks with a place on the model, each view's, in the order of [`Together::views`].
    pub landmarks: Vec<Vec<usize>>,
    /// The same of its datum landmarks, which are right unless all of them contradict those of the other parts.
    pub datum: Vec<Vec<usize>>,
}
