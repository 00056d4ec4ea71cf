//! How far the edges and the silhouettes of both images coincide, on the working grid.
pub(super) mod edges;
pub(super) mod grid;
pub(crate) mod settings;
pub(super) mod silhouette;

#[cfg(feature = "service")]
pub(crate) use grid::render_edges;
pub use grid::{WorkingPixels, working_pixels};
pub use silhouette::SilhouetteOverlap;
