//! What the page has seen of the images of a view.
use super::{model::OwnModel, pictures::Pyramid};
use crate::job::MarkedOn;
use std::sync::Arc;

/// What was seen of a view's render and reference.
#[derive(Debug, Default)]
pub(super) struct Seen {
    /// Their sizes, where they can be read.
    pub sizes: [Option<(u32, u32)>; 2],
    /// Their contents, where they can be read and the job states what was marked.
    pub contents: [Option<MarkedOn>; 2],
    /// The render, where the page shows it: it tells what its marks lie on.
    pub render: Option<Arc<Pyramid>>,
    /// The mesh of the job, where it was read.
    pub model: Option<Arc<OwnModel>>,
}
