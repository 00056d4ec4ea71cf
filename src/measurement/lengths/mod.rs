//! Known lengths: the scale of each image, the drawing's stretch, and sizes against the subject absolutely.
pub(super) mod absolute;
mod between_views;
#[cfg(test)]
mod coverage;
mod dimensions;
mod model_scale;
pub(super) mod plausible;
pub(super) mod print;
mod region_number;
pub(super) mod scales;
pub(crate) mod settings;
pub(super) mod sizes;

pub use between_views::{MarkedScale, ViewScale, ViewsDisagree, views_that_disagree};
pub use dimensions::{DimensionFit, RefusedDimensions, Test};
pub(super) use dimensions::{PlainFit, SCALE};
pub use plausible::implausible_size;
pub use print::{PrintSize, ReadingFit};
pub(super) use region_number::RegionNumber;
pub use sizes::{SizeComparison, SpanSizes};
