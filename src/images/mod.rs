//! From files to pixels: decoding, upright, sRGB, limits, masks.
use crate::kernels::Plane;

/// An image, upright, in sRGB, 8 bits a channel.
///
/// # Guarantees
/// Width and height are above 0; `alpha`, where there is one, has the size of `rgb`.
#[derive(Clone, Debug)]
pub struct Picture {
    /// The colours, alpha not multiplied in.
    pub rgb: image::RgbImage,
    /// Opacity, where the file has an alpha channel that is not opaque everywhere.
    pub alpha: Option<Plane<u8>>,
}

/// The pictures of one view.
#[derive(Clone, Debug)]
pub struct ViewImages {
    /// The image of the model.
    pub render: Picture,
    /// The image of the subject, as it is on disk, upright.
    pub reference: Picture,
    /// Silhouette of the model in render pixels: 255 inside, 0 outside.
    pub render_mask: Option<Plane<u8>>,
    /// Silhouette of the subject in reference pixels: 255 inside, 0 outside.
    pub reference_mask: Option<Plane<u8>>,
}

/// Why an image cannot be used.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum Error {
    /// The file cannot be read as an image.
    #[error("{}: cannot be read as an image: {source}", path.display())]
    Unreadable {
        /// The file.
        path: std::path::PathBuf,
        /// Why.
        source: image::ImageError,
    },
}

/// Width and height of an image file, pixels.
///
/// # Errors
/// [`Error::Unreadable`] where the file is not there or no image.
pub fn dimensions(path: &std::path::Path) -> Result<(u32, u32), Error> {
    image::image_dimensions(path).map_err(|source| Error::Unreadable {
        path: path.to_owned(),
        source,
    })
}
