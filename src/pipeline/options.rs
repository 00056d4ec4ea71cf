//! What a comparison is asked for.
use super::{places::Turns, results_folder::Named};
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
    /// The views that are worked on at a time, with all runs that share it.
    pub turns: Turns,
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
    /// What becomes of views that were compared already and have not changed.
    pub reuse: Reuse,
    /// Folders of further results of the job from which unchanged views are taken, beside `out`.
    pub take_from: Vec<PathBuf>,
    /// Whether `out` has the same name in every run.
    pub named: Named,
}

/// What becomes of views that were compared already and have not changed since.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Reuse {
    /// They are compared again. A run that is stopped leaves nothing.
    Nothing,
    /// They are taken over where their sheets have the date of this run. A run that is stopped leaves its finished views to the next
    /// one.
    OfThisDate,
    /// The same, with sheets that keep the date on which they were drawn.
    OfAnyDate,
}

impl CompareOptions {
    /// All views of a job and all pictures, A4, images of up to 100 megapixels, everything compared.
    pub fn new(out: PathBuf, date: String, memory: Budget) -> Self {
        Self {
            out,
            views: Vec::new(),
            paper: Paper::A4,
            date,
            max_megapixels: 100.0,
            memory,
            turns: Turns::default(),
            explain: false,
            pictures: Pictures::all(),
            full_page: false,
            carried: Vec::new(),
            against: None,
            reuse: Reuse::Nothing,
            take_from: Vec::new(),
            named: Named::default(),
        }
    }

    pub(super) fn limits(&self) -> Limits {
        Limits {
            max_pixels: (self.max_megapixels * 1e6) as u64,
        }
    }

    /// The date that the sheets of a view must have to be taken over; `None`: any.
    pub(super) fn date_to_fit(&self) -> Option<&str> {
        (self.reuse != Reuse::OfAnyDate).then_some(self.date.as_str())
    }
}
