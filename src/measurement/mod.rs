//! What is measured once the reference lies over the render: regions, spans, angles, edge overlap, verdicts, corrections.
#![doc = include_str!("METHOD.md")]
mod alone;
mod by_camera;
#[cfg(test)]
pub(crate) mod by_marks;
mod by_reference;
mod contradiction;
#[cfg(test)]
pub(crate) mod coverage;
mod datum_doubts;
mod depth;
mod earlier_issue;
#[cfg(test)]
mod edge_coverage;
mod expected_offsets;
mod far_parts;
mod figures;
mod foreign;
mod in_space;
mod judge;
mod lengths;
mod measures;
mod overlap;
mod own_marks;
mod patches;
mod refine;
mod regions;
mod screen;
pub(crate) mod settings;
mod spans;
mod symmetry;
pub mod thin_plate;
mod view;

pub use alone::{
    AloneError, Asked, MeasuredBy, Proportion, ReferenceAlone, ScaleFrom, SeenTwice, Untold,
    along_model, measure_alone, seen_twice,
};
pub use by_camera::ViewMesh;
pub use far_parts::{FarFromDatum, far_from_datum};
pub use foreign::ForeignMarks;
pub(crate) use in_space::{AXES, OWN_AXES, TURNS};
pub use in_space::{NAMES_ALONG_OWN, NAMES_IN_SPACE, PartInSpace};
pub(crate) use judge::verdict::judge as verdict_of;
pub(crate) use judge::{
    correction::{calls_for_change, is_visible_beside, measured_factor_of},
    ranking,
};
pub use lengths::{
    DimensionFit, MarkedScale, PrintSize, ReadingFit, RefusedDimensions, SizeComparison, SpanSizes,
    Test, ViewScale, ViewsDisagree, implausible_size, views_that_disagree,
};
pub(crate) use measures::why_distrusted;
pub use measures::*;
#[cfg(feature = "service")]
pub(crate) use overlap::render_edges;
pub use overlap::{SilhouetteOverlap, WorkingPixels, working_pixels};
pub use patches::{MOST_PATCHES, MarkPatches, PATCH_SIDE, patches_at};
#[cfg(feature = "draw")]
pub(crate) use patches::{bytes_of_patches, patch_width, times_interval};
pub use refine::{LEAST_CORRELATION, RefineError, Refined, refine};
pub(crate) use refine::{Search, most_alike};
pub use screen::{Explained, FoundBars, FoundGlare, FoundPattern, Removal, ScreenFindings, Step};
pub use symmetry::{PairAsymmetry, SymmetryCheck};
#[cfg(feature = "draw")]
pub(crate) use view::sentence;
pub use view::{MeasuredView, measure, measure_in_run};
