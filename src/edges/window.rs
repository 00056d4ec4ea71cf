//! The part of the working grid on which edges are looked for.
use crate::{
    frame::{Projective, RenderPx, WorkPx},
    kernels::Plane,
};
use image::RgbImage;

/// Farthest place that is looked at, working pixels.
pub(super) const FARTHEST: f64 = 25.0;
/// Step of the search along a normal, working pixels.
pub(super) const STEP: f64 = 0.5;
/// What edges need around their regions, working pixels: the farthest displacement that chance is judged by, the farthest
/// place along a normal, and the box of the response.
pub(crate) const MARGIN: f64 = 50.0 + FARTHEST + 31.0;

/// A part of the working grid with both images; its own frame of working pixels begins at its corner.
pub(crate) struct Window {
    pub(crate) render: RgbImage,
    /// The further picture of the render's view.
    pub(crate) shape: Option<RgbImage>,
    pub(crate) reference: RgbImage,
    /// 0 where the reference shows no edge of the subject; `None`: it may everywhere.
    pub(crate) usable: Option<Plane<u8>>,
    pub(crate) render_from_window: Projective<RenderPx, WorkPx>,
}
