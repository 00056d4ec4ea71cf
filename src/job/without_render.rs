//! A view without its render: what is left of it for measuring the reference alone.
use super::{Known, Mask, RenderImage, RenderKind, RenderSource, Side, View};
use crate::frame::Point;

impl View {
    /// The view as if it named no render: without all that lies on one.
    pub(crate) fn without_render(&self) -> Self {
        let mut alone = self.clone();
        alone.render = RenderSource {
            image: RenderImage::Absent,
            marked_on: None,
            kind: RenderKind::Model,
            mark_sigma_px: None,
            mask: Mask::None,
            shape: None,
            camera: self.render.camera,
        };
        for landmark in &mut alone.landmarks {
            landmark.render = Point::new(0.0, 0.0);
        }
        let is_own = |known: &Known| known.side == Side::Reference;
        alone.known.retain(is_own);
        alone.measured.clear();
        alone.regions.clear();
        alone
    }
}
