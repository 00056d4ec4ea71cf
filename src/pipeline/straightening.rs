//! One picture straightened, without a comparison.
use crate::{
    drawing,
    images::{self, Limits},
    job::{Doubt, ReferenceSource, Straighten},
    measurement,
    registration::{Straightening, straighten},
};
use std::path::Path;

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
            Self::Straighten(error) => error.code(),
            Self::Draw(error) => error.code(),
        }
    }
}

/// Straightens the picture in a file; `mark_sigma_px` is how well the marks were set, `None` as a job without it takes it.
///
/// # Errors
/// Where the picture cannot be read, what is known does not tell how to straighten it, or the result cannot be encoded.
pub fn straighten_picture(
    path: &Path,
    straighten: &Straighten,
    mark_sigma_px: Option<f64>,
    limits: &Limits,
) -> Result<StraightPicture, StraightenError> {
    let picture = images::read(path, limits)?;
    let look = measurement::look_for_frame(straighten, &picture.rgb);
    let sigma = mark_sigma_px.unwrap_or(straighten::MARK_SIGMA_PX);
    let size = picture.rgb.dimensions();
    let straightening = Straightening::new(straighten, size, sigma, look.as_ref())?;
    let straight = measurement::straightened_picture(&picture.rgb, &straightening)?;
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
