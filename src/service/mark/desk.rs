//! What the requests of the marking page share.
use super::{MarkOptions, comparison::Comparison, document::Document, pictures::Pictures};
use std::sync::Mutex;

/// What the requests share.
pub(super) struct Desk {
    pub(super) document: Mutex<Document>,
    pub(super) pictures: Pictures,
    pub(super) comparison: Comparison,
    pub(super) options: MarkOptions,
}
