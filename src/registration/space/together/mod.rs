//! Several photos of one subject: all cameras and the errors of all parts in one adjustment.
mod adjusted;
mod altered;
mod beside;
mod edge_marks;
mod edge_sums;
mod figures;
mod fitting;
mod joint;
mod marks;
mod normal;
mod part;
mod starting;
mod subject;
#[cfg(test)]
mod tests;
mod ties;
mod would;

pub use edge_marks::EdgesOfPart;
pub use figures::{LengthFound, PartError, PartErrors, PhotoFound, Together};
pub use starting::TogetherPhoto;
pub use subject::{ExpectedOfParts, Subject, SubjectEnd, SubjectLength, SubjectMirror};
pub use would::{Aside, Would};

pub(crate) use adjusted::Adjusted;
pub(crate) use fitting::{EdgeMark, EdgesSeen, Fitting, Known, Sight, Until};
pub(crate) use normal::Own;
pub(crate) use part::{NINE, Nine, Placing, moved};

/// Adjusts the cameras of several photos together with the errors of the parts of the model, as compared with the subject.
///
/// A photo whose datum landmarks give no camera says why; the others go on. Where none is left, or what is left determines
/// nothing, no part has figures.
pub fn adjust(photos: &[TogetherPhoto], subject: &Subject) -> Together {
    Adjusted::new(photos, subject).told()
}
