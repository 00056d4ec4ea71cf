//! A job whose marks are carried over to the next version of an image.
use super::MarkedCopies;
use crate::{
    carry::{self, CarriedJob, Change, InSpace, settings::CARRY},
    contour,
    images::{self, Limits, Picture},
    job::{self, InputError, Job, MarkOn, MarkedOn, RenderImage, Side, View},
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
    /// A view without a render has no picture that was marked.
    #[error(
        "{}: the view \"{view}\" has no render from which marks could be carried over; name its image as \"render\", or measure its reference \
         alone with \"tickstrip measure\"",
        file.display()
    )]
    NoRender {
        /// The job file.
        file: PathBuf,
        /// The view.
        view: String,
    },
    /// So few marks are found again that the picture seems to show something else.
    #[error(
        "only {found} of {of} marks are found in it: it seems to show something else; mark it anew, or put the right picture there"
    )]
    FewFound {
        /// Those that are found.
        found: usize,
        /// All.
        of: usize,
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
    let of_view = &mut document["views"][at];
    let what = (request.side, request.named, &content);
    let carried = carry_pictures(of_view, view, what, (old, new), &mut |_| ())?;
    let text = job::document_text(&document);
    job::parse(text.as_bytes(), out)?;
    Ok((text, carried))
}

/// A job whose marks were carried over to all images that have changed since they were marked.
#[derive(Debug)]
pub struct CarriedOver {
    /// The job, as it stands in the text: the file was not touched.
    pub job: Job,
    /// Its text.
    pub text: String,
    /// What became of the marks of each image that has changed.
    pub views: Vec<CarriedView>,
    /// Changed images whose marks stay as they are.
    pub not_carried: Vec<NotCarried>,
}

/// What became of the marks of one image.
#[derive(Debug)]
pub struct CarriedView {
    /// The view's name.
    pub view: String,
    /// Which of its images.
    pub side: Side,
    /// The image as it is now.
    pub image: PathBuf,
    /// The copy of what was marked.
    pub marked: PathBuf,
    /// What became of the marks.
    pub carried: CarriedJob,
}

impl CarriedView {
    /// "the marks of view "side" were carried over to its render, which has changed since: 48 of 50 found, left out: ...".
    pub fn in_words(&self) -> String {
        let marks = &self.carried.marks;
        let lost: Vec<&str> = (marks.iter())
            .filter(|mark| mark.to.is_err())
            .map(|mark| mark.name.as_str())
            .collect();
        let left_out = match lost.is_empty() {
            true => String::new(),
            false => format!("; left out: {}", lost.join(", ")),
        };
        format!(
            "the marks of view \"{}\" were carried over to its {}, which has changed since they were set: {} of {} found{}{left_out}",
            self.view,
            self.side.name(),
            self.carried.found(),
            marks.len(),
            self.carried.placed_in_words()
        )
    }
}

/// A changed image whose marks stay as they are.
#[derive(Debug)]
pub struct NotCarried {
    /// The view's name.
    pub view: String,
    /// Which of its images.
    pub side: Side,
    /// Why not; `None` where no copy of what was marked was kept.
    pub why: Option<CarryError>,
}

impl NotCarried {
    /// In a sentence without its full stop.
    pub fn in_words(&self) -> String {
        let (view, side) = (&self.view, self.side.name());
        match &self.why {
            None => format!(
                "the {side} of view \"{view}\" has changed since it was marked, and no copy of what was marked was kept: its marks stay as \
                 they are"
            ),
            Some(why) => format!(
                "the {side} of view \"{view}\" has changed since it was marked, and its marks stay as they are: {why}"
            ),
        }
    }
}

/// Carries the marks of a job over to all images that have changed since they were marked, as far as copies of what was marked were
/// kept beside the job ([`MarkedCopies`]). Nothing is written.
///
/// # Errors
/// Where the job cannot be used.
pub fn carry_changed(file: &Path) -> Result<CarriedOver, CarryError> {
    let job = job::read(file)?;
    let mut document = document(file)?;
    let text = job::document_text(&document);
    let mut over = CarriedOver {
        job,
        text,
        views: Vec::new(),
        not_carried: Vec::new(),
    };
    for at in 0..over.job.views.len() {
        for side in Side::BOTH {
            let Some((image, marked)) = changed(&over.job.views[at], side) else {
                continue;
            };
            let view = over.job.views[at].name.clone();
            let Some(copy) = MarkedCopies::of(file).find(&marked) else {
                over.not_carried.push(NotCarried {
                    view,
                    side,
                    why: None,
                });
                continue;
            };
            // A view whose marks cannot be carried keeps those that it has.
            match carry_one(
                &document,
                file,
                &over.job.views[at],
                (at, side),
                [&copy, &image],
                &mut |_| (),
            ) {
                Ok((next, text, job, carried)) => {
                    (document, over.text, over.job) = (next, text, job);
                    over.views.push(CarriedView {
                        view,
                        side,
                        image,
                        marked: copy,
                        carried,
                    });
                }
                Err(why) => over.not_carried.push(NotCarried {
                    view,
                    side,
                    why: Some(why),
                }),
            }
        }
    }
    Ok(over)
}

/// The view of a job's document with its marks carried over to one image that has changed since it was marked; and what became of them.
/// `file` is the job file, beside which the copies are; `also` carries what else lies on the image.
///
/// # Errors
/// Where the job cannot be used, the image has not changed, or no copy of what was marked was kept.
pub fn carry_view(
    document: &Value,
    file: &Path,
    view: &str,
    side: Side,
    also: &mut dyn FnMut(&Change),
) -> Result<(usize, Value, CarriedJob), CarryError> {
    let job = job::parse(job::document_text(document).as_bytes(), file)?;
    let at = job.views.iter().position(|v| v.name == view);
    let at = at.ok_or_else(|| CarryError::WhichView {
        file: file.to_owned(),
        names: job
            .views
            .iter()
            .map(|v| format!("\"{}\"", v.name))
            .collect(),
    })?;
    let of_view = &job.views[at];
    let same = || CarryError::Same {
        file: of_view.image(side).unwrap_or(file).to_owned(),
    };
    let (image, marked) = changed(of_view, side).ok_or_else(same)?;
    let copy = MarkedCopies::of(file).find(&marked);
    let copy = copy.ok_or_else(|| CarryError::NotTheMarked {
        file: image.clone(),
        view: view.to_owned(),
        image: side.name(),
    })?;
    let (mut next, _, _, carried) =
        carry_one(document, file, of_view, (at, side), [&copy, &image], also)?;
    Ok((at, next["views"][at].take(), carried))
}

/// An image that is there and has changed since it was marked, and what was marked.
fn changed(view: &View, side: Side) -> Option<(PathBuf, MarkedOn)> {
    let (image, marked) = (view.image(side)?, view.marked_on(side)?);
    // What cannot be read is told where it is needed.
    let now = images::content(image, &Limits::default()).ok()?;
    (now != *marked).then(|| (image.to_owned(), marked.clone()))
}

/// The document, its text and the job with the marks of one image carried over, and what became of them.
fn carry_one(
    document: &Value,
    file: &Path,
    view: &View,
    (at, side): (usize, Side),
    [marked, image]: [&Path; 2],
    also: &mut dyn FnMut(&Change),
) -> Result<(Value, String, Job, CarriedJob), CarryError> {
    let limits = Limits::default();
    let content = images::content(image, &limits)?;
    let [old, new] = [marked, image].map(|path| images::read(path, &limits).map(over_grey));
    let mut document = document.clone();
    let of_image = &document["views"][at][side.name()];
    let named = of_image["image"]
        .as_str()
        .or(of_image["images"][0].as_str());
    let named = named.unwrap_or_default().to_owned();
    let of_view = &mut document["views"][at];
    let carried = carry_pictures(of_view, view, (side, &named, &content), (old?, new?), also)?;
    let (found, of) = (carried.found(), carried.marks.len());
    if (found as f64) < CARRY.least_found.get() * of as f64 {
        return Err(CarryError::FewFound { found, of });
    }
    let text = job::document_text(&document);
    let job = job::parse(text.as_bytes(), file)?;
    Ok((document, text, job, carried))
}

/// Carries what lies on one picture of a view over to the next one, within the document.
fn carry_pictures(
    of_view: &mut Value,
    view: &View,
    (side, named, content): (Side, &str, &MarkedOn),
    (old, new): (RgbImage, RgbImage),
    also: &mut dyn FnMut(&Change),
) -> Result<CarriedJob, CarryError> {
    let change = Change::between(&old, &new);
    let on_outline = match side {
        Side::Render => outlines(&contour::seen(view, &old)),
        Side::Reference => outlines(view),
    };
    drop((old, new));
    let marked_on = json!({ "size": content.size, "blake3": content.blake3 });
    let what = (side.name(), named, marked_on);
    let space = InSpace::of_view(view, side, &change);
    let carried = carry::carry_job(of_view, what, &change, &on_outline, space.as_ref())?;
    also(&change);
    Ok(carried)
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
    let marked = view.image(request.side).ok_or_else(|| {
        let (file, name) = (request.job.to_owned(), view.name.clone());
        match view.render.image {
            RenderImage::Absent => CarryError::NoRender { file, view: name },
            RenderImage::Drawn | RenderImage::File(_) => CarryError::Drawn { file, view: name },
        }
    })?;
    let (marked, old_content) = as_marked(view, request, marked)?;
    let content = images::content(request.image, &limits)?;
    if content.blake3 == old_content.blake3 {
        return Err(CarryError::Same {
            file: request.image.to_owned(),
        });
    }
    let old = over_grey(images::read(&marked, &limits)?);
    let new = over_grey(images::read(request.image, &limits)?);
    Ok((old, new, content))
}

/// The picture that was marked, or its copy where it has been written over since; and its content.
fn as_marked(
    view: &View,
    request: &CarryRequest<'_>,
    image: &Path,
) -> Result<(PathBuf, MarkedOn), CarryError> {
    let now = images::content(image, &Limits::default())?;
    let Some(marked) = view.marked_on(request.side).filter(|on| **on != now) else {
        return Ok((image.to_owned(), now));
    };
    let copy = MarkedCopies::of(request.job).find(marked);
    let copy = copy.ok_or_else(|| CarryError::NotTheMarked {
        file: image.to_owned(),
        view: view.name.clone(),
        image: request.side.name(),
    })?;
    Ok((copy, marked.clone()))
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
