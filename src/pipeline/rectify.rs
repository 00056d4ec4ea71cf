//! One picture rectified, without a comparison.
use super::need;
use crate::{
    drawing,
    images::{self, Budget, BudgetError, Limits},
    job::{self, Fault, Rectify},
    rectification::{self, Rectification},
};
use std::path::{Path, PathBuf};

/// A rectified picture and what was found on the way.
#[derive(Clone, Debug)]
pub struct RectifiedPicture {
    /// As PNG.
    pub png: Vec<u8>,
    /// Width and height, pixels.
    pub size: (u32, u32),
    /// How it was rectified.
    pub rectification: Rectification,
    /// What could not be honoured in reading the picture, and marks outside of it.
    pub notes: Vec<String>,
}

/// Why a picture cannot be rectified.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum RectifyError {
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
    Rectify(#[from] rectification::Error),
    /// The result cannot be encoded.
    #[error(transparent)]
    Draw(#[from] drawing::Error),
}

impl RectifyError {
    /// Stable code for scripts.
    pub fn code(&self) -> &'static str {
        match self {
            Self::Image(error) => error.code(),
            Self::Marks(faults) => faults.first().map_or("marks-outside", Fault::code),
            Self::Memory { error, .. } => error.code(),
            Self::Rectify(error) => error.code(),
            Self::Draw(error) => error.code(),
        }
    }
}

fn in_words(faults: &[Fault]) -> String {
    let texts: Vec<String> = faults.iter().map(Fault::text).collect();
    texts.join("; ")
}

/// Rectifies the picture in a file; `mark_sigma_px` is how well the marks were set, `None` as a job without it takes it.
///
/// # Errors
/// Where the picture cannot be read, there is too little memory for it, what is known does not tell how to rectify it,
/// or the result would be too large or cannot be encoded.
pub fn rectify_picture(
    path: &Path,
    rectify: &Rectify,
    mark_sigma_px: Option<f64>,
    (limits, memory): (&Limits, &Budget),
) -> Result<RectifiedPicture, RectifyError> {
    let look = images::look_at(path, limits)?;
    let outside = job::rectify_marks_outside(rectify, "", look.size());
    if !outside.faults.is_empty() {
        return Err(RectifyError::Marks(outside.faults));
    }
    // The bezel moves the corners a little: without it is near enough for the memory.
    let about = Rectification::new(rectify, look.size(), mark_sigma_px, None).ok();
    let size = about.map(|about| rectification::rectified_size(look.size(), &about));
    let need = need::of_rectification(&look, size.unwrap_or([0, 0]));
    let memory = memory.take(need, &|| false);
    let _memory = memory.map_err(|error| RectifyError::Memory {
        path: path.to_owned(),
        error,
    })?;
    let picture = images::read_looked(path, limits, &look)?;
    let bezel = rectification::look_for_bezel(rectify, &picture.rgb);
    let size = picture.rgb.dimensions();
    let rectification = Rectification::new(rectify, size, mark_sigma_px, bezel.as_ref())?;
    let rectified = rectification::rectified_picture(&picture.rgb, &rectification)?;
    let notes = picture.notes.into_iter();
    Ok(RectifiedPicture {
        png: drawing::encode_png(&rectified)?,
        size: rectified.dimensions(),
        rectification,
        notes: notes
            .chain(outside.doubts.into_iter().map(|d| d.text))
            .collect(),
    })
}
