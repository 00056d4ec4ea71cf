//! How large a view's pictures are, by their heads alone.
use crate::{
    drawn,
    images::{self, Limits},
    job::{RenderImage, View},
};
use std::path::Path;

/// Why that cannot be told: code and words.
pub(super) type Why = (&'static str, String);

/// Width and height of a view's render, of a drawn one as it will be drawn beside a reference of this size; that of
/// the reference where there is none.
pub(super) fn render_size(view: &View, reference: (u32, u32)) -> Result<(u32, u32), Why> {
    match &view.render.image {
        RenderImage::File(image) => size(view, image),
        RenderImage::Drawn => drawn::size(view, reference, Limits::default().max_pixels)
            .map_err(|e| (e.code(), e.to_string())),
        // No mark lies in it.
        RenderImage::Absent => Ok(reference),
    }
}

/// Upright width and height of an image of a view; no pixel is decoded.
pub(super) fn size(view: &View, image: &Path) -> Result<(u32, u32), Why> {
    let look = images::look_at(image, &Limits::default()).map_err(|e| e.of_view(view));
    look.map(|look| look.size())
        .map_err(|e| (e.code(), e.to_string()))
}
