//! What the requests of the marking page share.
use super::{
    MarkOptions, comparison::Comparison, document::Document, laid::Laid, looks::Looks,
    pictures::Pictures,
};
use std::{
    collections::HashSet,
    sync::{Arc, Mutex},
};

/// What the requests share.
pub(super) struct Desk {
    pub(super) document: Mutex<Document>,
    pub(super) pictures: Pictures,
    pub(super) looks: Looks,
    pub(super) comparison: Comparison,
    pub(super) options: MarkOptions,
    /// Checksums of the images that were marked and of which a copy was made, or tried to be made, since the program began.
    pub(super) kept: Mutex<HashSet<String>>,
    /// References laid over their renders, the last ones asked for at the end.
    pub(super) laid: Mutex<Vec<Arc<Laid>>>,
}
