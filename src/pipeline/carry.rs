//! A job whose marks are carried over to the next version of an image.
use crate::{
    carry::{self, CarriedJob, Change},
    contour,
    images::{self, Limits, Picture},
    job::{self, InputError, Job, MarkOn, MarkedOn, Side, View},
};
use image::RgbImage;
use serde_json::{Value, json};
use std::path::{Path, PathBuf};

/// What is carried over, and to where.
#[derive(Clone, Debug)]
pub struct CarryRequest<'a> {
    /// The job file.
    pub job: &'a Path,
    /// The view; `None` where the job has one alone.
    pub view: Option<&'a str>,
    /// Which of its images has a new version.
    pub side: Side,
    /// The new version.
    pub image: &'a Path,
    /// How the new job is to name it.
    pub named: &'a str,
}

/// Why nothing was carried over.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum CarryError {
    /// The job cannot be used.
    #[error(transparent)]
    Job(#[from] job::Error),
    /// The file has changed since it was read.
    #[error("{}: cannot be read again: {text}", file.display())]
    Changed {
        /// The job file.
        file: PathBuf,
        /// What was found.
        text: String,
    },
    /// No view, or one of several, is named.
    #[error("{}: name one of its views with --view: {}", file.display(), names.join(", "))]
    WhichView {
        /// The job file.
        file: PathBuf,
        /// All of them.
        names: Vec<String>,
    },
    /// An image cannot be used.
    #[error(transparent)]
    Image(#[from] images::Error),
    /// The old picture is not the one that was marked.
    #[error(
        "{}: this is no longer the picture that the marks of view \"{view}\" were set on, and where they lay on it cannot be seen any \
         more; keep the earlier {image}, give the new one another name, and carry from one to the other",
        file.display()
    )]
    NotTheMarked {
        /// The picture.
        file: PathBuf,
        /// The view.
        view: String,
        /// "render" or "reference".
        image: &'static str,
    },
    /// A drawn render has no picture that was marked.
    #[error(
        "{}: the render of view \"{view}\" is drawn from the model anew each time: its marks are places on the model, and nothing is to be \
         carried over",
        file.display()
    )]
    Drawn {
        /// The job file.
        file: PathBuf,
        /// The view.
        view: String,
    },
    /// The new version is the old one.
    #[error("{}: this is the picture that is marked already", file.display())]
    Same {
        /// The picture.
        file: PathBuf,
    },
    /// The document is not the job that was read.
    #[error(transparent)]
    Document(#[from] carry::Refused),
}

/// The new job's text and what became of its marks, not yet written anywhere; `out` is the file that it will be, in the folder of the
/// old job, by which its faults are named.
///
/// # Errors
/// Where the job or a picture cannot be used, and where what is left is no job: too few landmarks.
pub fn carry_over(
    request: &CarryRequest<'_>,
    out: &Path,
) -> Result<(String, CarriedJob), CarryError> {
    let job = job::read(request.job)?;
    let mut document = document(request.job)?;
    let at = which(&job, request)?;
    let view = &job.views[at];
    let (old, new, content) = pictures(view, request)?;
    let change = Change::between(&old, &new);
    let on_outline = match request.side {
        Side::Render => outlines(&contour::seen(view, &old)),
        Side::Reference => outlines(view),
    };
    drop((old, new));
    let marked_on = json!({ "size": content.size, "blake3": content.blake3 });
    let what = (request.side.name(), request.named, marked_on);
    let carried = carry::carry_job(&mut document["views"][at], what, &change, &on_outline)?;
    let text = job::document_text(&document);
    job::parse(text.as_bytes(), out)?;
    Ok((text, carried))
}

fn which(job: &Job, request: &CarryRequest<'_>) -> Result<usize, CarryError> {
    let named = |name: &str| job.views.iter().position(|view| view.name == name);
    let found = match request.view {
        Some(name) => named(name),
        None => (job.views.len() == 1).then_some(0),
    };
    found.ok_or_else(|| CarryError::WhichView {
        file: request.job.to_owned(),
        names: job
            .views
            .iter()
            .map(|view| format!("\"{}\"", view.name))
            .collect(),
    })
}

/// The job as JSON, so that what is not touched stays as it was written.
fn document(file: &Path) -> Result<Value, CarryError> {
    let changed = |text: String| CarryError::Changed {
        file: file.to_owned(),
        text,
    };
    let bytes = job::read_input(file, job::MOST_BYTES)
        .map_err(|error: InputError| changed(error.to_string()))?;
    let text = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(&bytes);
    serde_json::from_slice(text).map_err(|error| changed(error.to_string()))
}

/// The marked picture, the new one, and what the new one is.
fn pictures(
    view: &View,
    request: &CarryRequest<'_>,
) -> Result<(RgbImage, RgbImage, MarkedOn), CarryError> {
    let limits = Limits::default();
    let marked = view.image(request.side).ok_or_else(|| CarryError::Drawn {
        file: request.job.to_owned(),
        view: view.name.clone(),
    })?;
    let old_content = images::content(marked, &limits)?;
    if view
        .marked_on(request.side)
        .is_some_and(|on| *on != old_content)
    {
        return Err(CarryError::NotTheMarked {
            file: marked.to_owned(),
            view: view.name.clone(),
            image: request.side.name(),
        });
    }
    let content = images::content(request.image, &limits)?;
    if content.blake3 == old_content.blake3 {
        return Err(CarryError::Same {
            file: request.image.to_owned(),
        });
    }
    let old = over_grey(images::read(marked, &limits)?);
    let new = over_grey(images::read(request.image, &limits)?);
    Ok((old, new, content))
}

/// What is transparent shows one grey: the colour that a program leaves there is no part of the picture.
fn over_grey(picture: Picture) -> RgbImage {
    const GREY: u16 = 128;
    let Picture { mut rgb, alpha, .. } = picture;
    if let Some(alpha) = alpha {
        for (pixel, opacity) in rgb.pixels_mut().zip(alpha.iter()) {
            let opacity = u16::from(*opacity);
            for value in &mut pixel.0 {
                let mixed = u16::from(*value) * opacity + GREY * (255 - opacity);
                *value = (mixed / 255) as u8;
            }
        }
    }
    rgb
}

fn outlines(view: &View) -> Vec<bool> {
    let marks = view.landmarks.iter();
    marks
        .map(|l| matches!(l.on, Some(MarkOn::Outline(_))))
        .collect()
}
