//! One picture straightened, without a comparison.
use super::need;
use crate::{
    drawing,
    images::{self, Budget, BudgetError, Limits},
    job::{Doubt, ReferenceSource, Straighten},
    measurement,
    registration::{Straightening, straighten},
};
use std::path::{Path, PathBuf};

/// A straightened picture and what was found on the way.
#[derive(Clone, Debug)]
pub struct StraightPicture {
    /// As PNG.
    pub png: Vec<u8>,
    /// Width and height, pixels.
    pub size: (u32, u32),
    /// How it was straightened.
    pub straightening: Straightening,
    /// What could not be honoured in reading the picture.
    pub notes: Vec<String>,
}

/// Why a picture cannot be straightened.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum StraightenError {
    /// The picture cannot be read.
    #[error(transparent)]
    Image(#[from] images::Error),
    /// There is too little memory for it.
    #[error("{}: {error}", path.display())]
    Memory {
        /// The picture.
        path: PathBuf,
        /// Why.
        error: BudgetError,
    },
    /// It would become larger than an image may be.
    #[error(
        "straightened, the picture would have {width} x {height} pixels, {} million are allowed; look whether the marks \
         lie on the picture",
        max_pixels / 1_000_000
    )]
    TooLarge {
        /// Width, straightened.
        width: u32,
        /// Height, straightened.
        height: u32,
        /// How many pixels are allowed.
        max_pixels: u64,
    },
    /// What is known does not tell how.
    #[error(transparent)]
    Straighten(#[from] straighten::Error),
    /// The result cannot be encoded.
    #[error(transparent)]
    Draw(#[from] drawing::Error),
}

impl StraightenError {
    /// Stable code for scripts.
    pub fn code(&self) -> &'static str {
        match self {
            Self::Image(error) => error.code(),
            Self::Memory { error, .. } => error.code(),
            Self::TooLarge { .. } => "straightened-too-large",
            Self::Straighten(error) => error.code(),
            Self::Draw(error) => error.code(),
        }
    }
}

/// A straightened picture may be as large as any image.
///
/// # Errors
/// [`StraightenError::TooLarge`].
pub(super) fn check_size(
    picture: (u32, u32),
    straightening: &Straightening,
    limits: &Limits,
) -> Result<(), StraightenError> {
    let [width, height] = measurement::straightened_size(picture, straightening);
    let max_pixels = limits.max_pixels;
    if u64::from(width) * u64::from(height) > max_pixels {
        return Err(StraightenError::TooLarge {
            width,
            height,
            max_pixels,
        });
    }
    Ok(())
}

/// Straightens the picture in a file; `mark_sigma_px` is how well the marks were set, `None` as a job without it takes it.
///
/// # Errors
/// Where the picture cannot be read, there is too little memory for it, what is known does not tell how to straighten it,
/// or the result would be too large or cannot be encoded.
pub fn straighten_picture(
    path: &Path,
    straighten: &Straighten,
    mark_sigma_px: Option<f64>,
    (limits, memory): (&Limits, &Budget),
) -> Result<StraightPicture, StraightenError> {
    let sigma = mark_sigma_px.unwrap_or(straighten::MARK_SIGMA_PX);
    let look = images::look_at(path, limits)?;
    // The frame moves the corners a little: without it is near enough for the memory.
    let about = Straightening::new(straighten, look.size(), sigma, None).ok();
    let size = about.map(|about| measurement::straightened_size(look.size(), &about));
    let need = need::of_straightening(&look, size.unwrap_or([0, 0]));
    let memory = memory.take(need, &|| false);
    let _memory = memory.map_err(|error| StraightenError::Memory {
        path: path.to_owned(),
        error,
    })?;
    let picture = images::read_looked(path, limits, &look)?;
    let frame = measurement::look_for_frame(straighten, &picture.rgb);
    let size = picture.rgb.dimensions();
    let straightening = Straightening::new(straighten, size, sigma, frame.as_ref())?;
    check_size(size, &straightening, limits)?;
    let straight = measurement::straightened_picture(&picture.rgb, &straightening);
    Ok(StraightPicture {
        png: drawing::encode_png(&straight)?,
        size: straight.dimensions(),
        straightening,
        notes: picture.notes,
    })
}

/// Tries how a job's reference is straightened by what is stated and by its picture's size, without looking at the picture;
/// `pointer` is where the job states it. Nothing is doubtful where nothing is stated or the picture cannot be read.
///
/// # Errors
/// Where what is stated does not tell how to straighten it.
pub fn doubts_of_straightening(
    reference: &ReferenceSource,
    pointer: &str,
) -> Result<Vec<Doubt>, straighten::Error> {
    let size = images::dimensions(&reference.image).ok();
    let Some((stated, size)) = reference.straighten.as_ref().zip(size) else {
        return Ok(Vec::new());
    };
    let sigma = reference.mark_sigma_px.unwrap_or(straighten::MARK_SIGMA_PX);
    straighten::doubts(stated, size, sigma, pointer)
}
