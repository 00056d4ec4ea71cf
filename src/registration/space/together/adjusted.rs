//! Photos adjusted together by their marks; edges may be looked for in them before the figures are told.
use super::{
    figures::{self, Together},
    fitting::Fitting,
    marks::Cleaned,
    starting::{Started, TogetherPhoto},
    subject::Subject,
};
use crate::registration::space::{error::Error, looked::Looked, resection::look_through};

/// An adjustment of several photos.
pub(crate) struct Adjusted<'a> {
    photos: &'a [TogetherPhoto],
    subject: &'a Subject,
    looked: Vec<Result<Looked, Error>>,
    found: Option<(Cleaned, Started)>,
}

impl<'a> Adjusted<'a> {
    /// By the marks alone.
    pub(crate) fn new(photos: &'a [TogetherPhoto], subject: &'a Subject) -> Self {
        let looked: Vec<Result<Looked, Error>> = photos
            .iter()
            .map(|photo| look_through(&photo.view.photo, &photo.view.marks))
            .collect();
        let started = Started::new(photos, &looked, subject);
        let cleaned = started.as_ref().and_then(Started::cleaned);
        Self {
            photos,
            subject,
            looked,
            found: cleaned.zip(started),
        }
    }

    /// The adjustment for a search of edges; `None` where nothing is determined.
    pub(crate) fn fitting(&self) -> Option<Fitting> {
        let (cleaned, started) = self.found.as_ref()?;
        Some(Fitting::new(self.photos, cleaned, &started.solved))
    }

    /// Takes what edges made of it.
    pub(crate) fn take(&mut self, fitting: Fitting) {
        if let Some((cleaned, _)) = &mut self.found {
            *cleaned = fitting.into_cleaned();
        }
    }

    /// The figures.
    pub(crate) fn told(self) -> Together {
        figures::together(self.photos, self.looked, self.found, self.subject)
    }
}
