//! What the requests of the marking page share.
use super::{
    MarkOptions, comparison::Comparison, document::Document, fit::KeptFits, laid::Laid,
    looks::Looks, model::Models, pictures::Pictures,
};
use crate::job::{self, Job};
use std::{
    collections::HashSet,
    sync::{Arc, Mutex, PoisonError},
};

/// What the requests share.
pub(super) struct Desk {
    pub(super) document: Mutex<Document>,
    pub(super) pictures: Pictures,
    pub(super) looks: Looks,
    pub(super) models: Models,
    pub(super) comparison: Comparison,
    pub(super) options: MarkOptions,
    /// Checksums of the images that were marked and of which a copy was made, or tried to be made, since the program began.
    pub(super) kept: Mutex<HashSet<String>>,
    /// References laid over their renders, the last ones asked for at the end.
    pub(super) laid: Mutex<Vec<Arc<Laid>>>,
    pub(super) fits: KeptFits,
}

impl Desk {
    /// The job as it is saved.
    ///
    /// # Errors
    /// A code and words, where it has faults.
    pub(super) fn job(&self) -> Result<Job, (&'static str, String)> {
        let (text, file) = {
            let document = self.document.lock().unwrap_or_else(PoisonError::into_inner);
            (document.text(), document.file().to_owned())
        };
        job::parse(text.as_bytes(), &file).map_err(|e| (e.code(), e.to_string()))
    }
}
