//! One picture straightened, without a comparison.
use super::need;
use crate::{
    drawing,
    images::{self, Budget, BudgetError, Limits},
    job::{self, Fault, Straighten},
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
    /// There is too little memory for it.
    #[error("{}: {error}", path.display())]
    Memory {
        /// The picture.
        path: PathBuf,
        /// Why.
        error: BudgetError,
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
            Self::Marks(faults) => faults.first().map_or("marks-outside", Fault::code),
            Self::Memory { error, .. } => error.code(),
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
    let outside = job::straighten_marks_outside(straighten, "", look.size());
    if !outside.faults.is_empty() {
        return Err(StraightenError::Marks(outside.faults));
    }
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
