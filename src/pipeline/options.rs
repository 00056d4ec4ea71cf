//! What a comparison is asked for.
use crate::{
    drawing::{Paper, Pictures},
    images::{Budget, Limits},
    report::Report,
};
use std::path::PathBuf;

/// What a comparison is asked for.
#[derive(Clone, Debug)]
pub struct CompareOptions {
    /// Folder of the results; what was written there before is replaced as a whole when all is written.
    pub out: PathBuf,
    /// Names of the views to compare; empty: all.
    pub views: Vec<String>,
    /// Paper of the sheets.
    pub paper: Paper,
    /// Date printed on the sheets.
    pub date: String,
    /// Largest image that is read, megapixels.
    pub max_megapixels: f64,
    /// The memory that all images share, with all else that shares it.
    pub memory: Budget,
    /// Whether each step that acts on a reference is shown in a picture before and after it.
    pub explain: bool,
    /// Which pictures are drawn; those of [`explain`](Self::explain) and a drawn render always are.
    pub pictures: Pictures,
    /// Whether the page has the pictures as they are, and not at a size that fits a phone.
    pub full_page: bool,
    /// A sentence for each image whose marks were carried over to it before: a warning of the report.
    pub carried: Vec<String>,
    /// The report of an earlier comparison that this one is held against.
    pub against: Option<Report>,
}

impl CompareOptions {
    pub(super) fn limits(&self) -> Limits {
        Limits {
            max_pixels: (self.max_megapixels * 1e6) as u64,
        }
    }
}
