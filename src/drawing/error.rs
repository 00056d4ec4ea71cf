//! Why a picture could not be drawn.
use crate::stop::Stopped;
use std::borrow::Cow;

/// Why a picture could not be drawn or encoded.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum Error {
    /// There is nothing to draw on.
    #[error(
        "drawing: the working picture has no pixels; it must be at least 1 x 1: check the render"
    )]
    EmptyPicture,
    /// A raster does not fit the others.
    #[error(
        "drawing: {what} has {found_width} x {found_height} pixels, the working render {width} x {height}; all rasters must lie on one grid"
    )]
    DifferentSizes {
        /// Which raster.
        what: &'static str,
        /// Its width.
        found_width: usize,
        /// Its height.
        found_height: usize,
        /// Width of the render's working raster.
        width: usize,
        /// Height of the render's working raster.
        height: usize,
    },
    /// The shapes make no valid drawing.
    #[error("drawing: the shapes make no drawing: {cause}")]
    Scene {
        /// What the SVG reader says.
        cause: usvg::Error,
    },
    /// A PNG could not be encoded.
    #[error("drawing: encoding a PNG: {0}")]
    Png(#[from] ::png::EncodingError),
    /// A JPEG could not be encoded.
    #[error("drawing: encoding a JPEG of {width} x {height} pixels: {cause}")]
    Jpeg {
        /// Width of the picture.
        width: u32,
        /// Height of the picture.
        height: u32,
        /// What is wrong with it.
        cause: Cow<'static, str>,
    },
    /// The mesh cannot be drawn.
    #[error("drawing: {0}")]
    Projection(#[from] crate::meshes::ProjectionError),
    /// A reference cannot be shown rectified.
    #[error("drawing: {0}")]
    Rectify(#[from] crate::rectification::Error),
    /// The run was asked to stop.
    #[error(transparent)]
    Stopped(#[from] Stopped),
    /// Nothing says how large the model is in a picture that is to be printed to scale.
    #[error(
        "the render has no scale, and cannot be printed to one; state a \"known\" length of the render or the reference"
    )]
    NoScale,
    /// Pixels so large that pages cannot be laid together by them.
    #[error(
        "a pixel of the render is {mm:.1} mm wide on paper at {scale}; print it at a smaller --scale, or render it larger"
    )]
    TooCoarse {
        /// How wide, millimetres.
        mm: f64,
        /// The scale asked for.
        scale: super::DrawingScale,
    },
    /// More pages than anybody lays together.
    #[error(
        "{found} pages at {scale}, at most {most} are drawn; print one part alone with --part, or at a smaller --scale ({largest})"
    )]
    TooManyTiles {
        /// How many.
        found: usize,
        /// Most there may be.
        most: usize,
        /// The scale asked for.
        scale: super::DrawingScale,
        /// The largest scale at which they are few enough.
        largest: String,
    },
    /// The PDF could not be written.
    #[error("drawing: writing the PDF: {cause}")]
    Pdf {
        /// What is wrong with it.
        cause: String,
    },
}

impl Error {
    /// A stable code for scripts.
    pub fn code(&self) -> &'static str {
        match self {
            Self::EmptyPicture => "empty-picture",
            Self::DifferentSizes { .. } => "different-sizes",
            Self::Scene { .. } => "scene",
            Self::Png(_) => "png",
            Self::Jpeg { .. } => "jpeg",
            Self::Projection(error) => error.code(),
            Self::Stopped(_) => "stopped",
            Self::NoScale => "no-scale",
            Self::TooCoarse { .. } => "too-coarse",
            Self::TooManyTiles { .. } => "too-many-pages",
            Self::Rectify(error) => error.code(),
            Self::Pdf { .. } => "pdf",
        }
    }
}
