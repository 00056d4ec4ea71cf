//! What was measured in a reference alone.
use super::basis::Untold;
use crate::{
    frame::{FromReference, PlainMm},
    job::ViewAxes,
    measurement::{DimensionFit, Warning},
    rectification::Rectification,
    statistics::Measured,
};

/// By what a reference is measured.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum MeasuredBy {
    /// A plane: all landmarks are taken to lie in it.
    Plane,
    /// The photo's camera, each landmark at the depth of its place on the model along this axis (0, 1, 2: x, y, z).
    Camera {
        /// The axis.
        depth_along: usize,
    },
}

/// What tells the scale of a plane.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ScaleFrom {
    /// Known lengths.
    KnownLengths,
    /// The places of the points that it is rectified by.
    Points,
    /// Places of landmarks on the model.
    PlacesOnModel,
}

/// A reference measured by itself. Lengths are full-size millimetres.
#[derive(Clone, Debug)]
pub struct ReferenceAlone {
    /// By what.
    pub by: MeasuredBy,
    /// What tells the scale; `None` where nothing does.
    pub scale_from: Option<ScaleFrom>,
    /// Pixels of the rectified reference for a full-size millimetre, where a plane has that.
    pub px_per_full_size_mm: Option<Measured>,
    /// What the known lengths say of the picture as a whole.
    pub dimensions: Option<DimensionFit>,
    /// Standard deviation of a mark, pixels of the reference.
    pub mark_sigma_px: f64,
    /// Whether the job states it.
    pub is_sigma_stated: bool,
    /// Index of the landmark from which places are counted.
    pub origin: Option<usize>,
    /// Which way the axes of the model run, where that is known.
    pub axes: Option<ViewAxes>,
    /// One a landmark: how far it lies to the right of the origin and below it.
    pub places: Vec<Result<[Measured; 2], Untold>>,
    /// One a span: its length.
    pub spans: Vec<Result<Measured, Untold>>,
    /// One an angle: degrees, clockwise.
    pub angles: Vec<Result<Measured, Untold>>,
    /// Spans over one of them.
    pub proportions: Vec<Proportion>,
    /// What the reader must know.
    pub warnings: Vec<Warning>,
    /// How the reference is rectified; `None` where it is not.
    pub rectification: Option<Rectification>,
    /// From the reference to the drawing without turn and stretch, a unit a full-size millimetre (a rectified pixel where nothing
    /// tells a scale); `None` where it is measured by a camera.
    pub plain_from_reference: Option<FromReference<PlainMm>>,
}

/// How long a span is in parts of another.
#[derive(Clone, Debug)]
pub struct Proportion {
    /// Index of the span.
    pub of: usize,
    /// Index of the span that it is held against.
    pub to: usize,
    /// Length over length.
    pub ratio: Result<Measured, Untold>,
}

impl ReferenceAlone {
    /// Model millimetres to full-size ones.
    pub(super) fn enlarge_by(&mut self, denominator: f64) {
        let places = self.places.iter_mut().flatten().flatten();
        for length in places.chain(self.spans.iter_mut().flatten()) {
            *length = length.times(denominator);
        }
    }
}
