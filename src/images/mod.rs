//! From files to pixels: decoding, upright, sRGB, limits, masks.
mod budget;
mod content;
mod decode;
mod embedded;
mod error;
mod format;
mod free_memory;
mod guard;
mod header;
mod jpeg;
mod mask;
mod own;
mod png;
mod profile;
mod samples;
mod shots;
mod tiff;
mod upright;
mod view;
mod webp;

pub use budget::{Budget, BudgetError, Hold};
pub use content::{changed_since_marked, content};
pub use decode::{read, read_looked};
pub use error::Error;
pub use format::{Format, Found, HEAD_BYTES, what_is};
pub use free_memory::half_of_free_memory;
pub use guard::is_decoding;
pub use header::{Limits, PictureLook, dimensions, look_at};
pub use mask::read_mask;
pub use own::of_own_file;
pub use shots::{LeftOut, Shots};
pub use view::{
    SideLook, ViewLook, look_at_drawn, look_at_view, read_beside_drawn, read_looked_view, read_view,
};

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
    /// What could not be honoured in reading, worded for the user; empty as a rule.
    pub notes: Vec<String>,
}

/// The pictures of one view.
#[derive(Clone, Debug)]
pub struct ViewImages {
    /// The image of the model.
    pub render: Picture,
    /// The image of the subject, as it is on disk, upright; of several shots, their mean as the first one shows it.
    pub reference: Picture,
    /// A further picture of the render's view, of its size, whose edges tell which of the render's are the shape's.
    pub shape: Option<Picture>,
    /// What became of several shots; `None` where the reference is a single image.
    pub shots: Option<Shots>,
    /// Silhouette of the model in render pixels: 255 inside, 0 outside.
    pub render_mask: Option<Plane<u8>>,
    /// Silhouette of the subject in reference pixels: 255 inside, 0 outside.
    pub reference_mask: Option<Plane<u8>>,
}
