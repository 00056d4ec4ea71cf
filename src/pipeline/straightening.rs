//! One picture straightened, without a comparison.
use crate::{
    drawing,
    images::{self, Limits},
    job::{self, Fault, Straighten},
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
    /// What could not be honoured in reading the picture, and marks outside of it.
    pub notes: Vec<String>,
}

/// Why a picture cannot be straightened.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum StraightenError {
    /// The picture cannot be read.
    #[error(transparent)]
    Image(#[from] images::Error),
    /// Marks lie outside of the picture.
    #[error("{}", in_words(.0))]
    Marks(Vec<Fault>),
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
            Self::Marks(faults) => faults.first().map_or("marks-outside", Fault::code),
            Self::Straighten(error) => error.code(),
            Self::Draw(error) => error.code(),
        }
    }
}

fn in_words(faults: &[Fault]) -> String {
    let texts: Vec<String> = faults.iter().map(Fault::text).collect();
    texts.join("; ")
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
    let outside = job::straighten_marks_outside(straighten, "", picture.rgb.dimensions());
    if !outside.faults.is_empty() {
        return Err(StraightenError::Marks(outside.faults));
    }
    let look = measurement::look_for_frame(straighten, &picture.rgb);
    let sigma = mark_sigma_px.unwrap_or(straighten::MARK_SIGMA_PX);
    let size = picture.rgb.dimensions();
    let straightening = Straightening::new(straighten, size, sigma, look.as_ref())?;
    let straight = measurement::straightened_picture(&picture.rgb, &straightening)?;
    let notes = picture.notes.into_iter();
    Ok(StraightPicture {
        png: drawing::encode_png(&straight)?,
        size: straight.dimensions(),
        straightening,
        notes: notes
            .chain(outside.doubts.into_iter().map(|d| d.text))
            .collect(),
    })
}
