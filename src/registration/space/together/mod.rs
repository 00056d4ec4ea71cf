//! Several photos of one subject: all cameras and the errors of all parts in one adjustment.
mod altered;
mod beside;
mod figures;
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

pub use figures::{LengthFound, PartError, PartErrors, PhotoFound, Together};
pub use starting::TogetherPhoto;
pub use subject::{ExpectedOfParts, Subject, SubjectEnd, SubjectLength, SubjectMirror};
pub use would::{Aside, Would};

use super::{error::Error, looked::Looked, resection::look_through};
use starting::Started;

/// Adjusts the cameras of several photos together with the errors of the parts of the model, as compared with the subject.
///
/// A photo whose datum landmarks give no camera says why; the others go on. Where none is left, or what is left determines
/// nothing, no part has figures.
pub fn adjust(photos: &[TogetherPhoto], subject: &Subject) -> Together {
    let looked: Vec<Result<Looked, Error>> = photos
        .iter()
        .map(|photo| look_through(&photo.view.photo, &photo.view.marks))
        .collect();
    let started = Started::new(photos, &looked, subject);
    let cleaned = started.as_ref().and_then(Started::cleaned);
    figures::together(photos, looked, cleaned.zip(started), subject)
}
