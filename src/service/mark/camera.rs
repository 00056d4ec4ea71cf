//! The cameras of a view's images, as its marks tell them.
use crate::{
    job::{RenderImage, View},
    registration::space::{self, Resection, ViewPhoto},
};

/// The photo of a view with its camera.
pub(super) struct PhotoCamera {
    pub photo: ViewPhoto,
    pub found: Resection,
}

/// The camera of the reference, which is `size` pixels large.
///
/// # Errors
/// Where the marks tell none.
pub(super) fn of_photo(view: &View, size: (u32, u32)) -> Result<PhotoCamera, space::Error> {
    let photo = space::of_view(view, size)?;
    let found = space::resect(&photo.photo, &photo.marks)?;
    Ok(PhotoCamera { photo, found })
}

/// The matrix that takes the model to the rendered image, `size` pixels large: as the job states it, else as the marks with places on the
/// model tell it without a doubt.
pub(super) fn of_render(view: &View, size: (u32, u32)) -> Option<[[f64; 4]; 3]> {
    if !matches!(view.render.image, RenderImage::File(_)) {
        return None;
    }
    view.render.camera.or_else(|| {
        let photo = space::of_render(view, size);
        let found = space::resect(&photo.photo, &photo.marks).ok()?;
        let is_sure = found.second.is_none() && !found.is_flat;
        is_sure.then(|| found.first.camera.rows())
    })
}
