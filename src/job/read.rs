//! Reading a job file: bytes, JSON, schema, meaning; every fault that can be told is told at once.
use super::{
    Job, Mask, RenderImage, View,
    error::{Error, Fault, FaultKind, Faults},
    input::{InputError, read_input},
    raw::{RawJob, RawView},
    resolve, slips, structure,
    surroundings::Surroundings,
};
use crate::printable::shortened;
use serde_json::Value;
use std::path::Path;

/// Largest job file that is read, bytes.
pub const MOST_BYTES: u64 = 16 << 20;

/// Reads and checks a job file. The images it names need not exist yet.
///
/// # Errors
/// [`Error::Unreadable`] where the file cannot be read, [`Error::Faulty`] with all that is wrong in it.
pub fn read(path: &Path) -> Result<Job, Error> {
    let bytes = read_input(path, MOST_BYTES).map_err(|error| match error {
        InputError::TooLong { most, .. } => Error::one(path, "", FaultKind::FileTooLarge { most }),
        error => Error::Unreadable {
            file: path.to_owned(),
            source: error.into(),
        },
    })?;
    parse(&bytes, path)
}

/// Checks the bytes of a job file; `file` is where it lies, for messages and for the paths in it.
///
/// # Errors
/// [`Error::Faulty`] with all that is wrong; [`Error::Unreadable`] where `file` is relative and there is no working folder.
pub fn parse(bytes: &[u8], file: &Path) -> Result<Job, Error> {
    let absolute = std::path::absolute(file).map_err(|source| Error::Unreadable {
        file: file.to_owned(),
        source,
    })?;
    let fail = |kind| Error::one(file, "", kind);
    let text = text_of(bytes).map_err(fail)?;
    let value: Value = serde_json::from_str(text).map_err(|error| fail(not_json(text, &error)))?;
    let mut faults = Faults::default();
    structure::check(&value, &mut faults);
    if !faults.is_empty() {
        sound_views(&value, &absolute, &mut faults);
        return Err(faults.into_error(file));
    }
    // From the text once more and not from the value: only so a key that is written twice comes out.
    let raw: RawJob = serde_json::from_str(text).map_err(|error| fail(not_json(text, &error)))?;
    let checksum = blake3::hash(bytes).to_hex().to_string();
    resolve::job(&raw, &absolute, checksum, &mut faults).ok_or_else(|| faults.into_error(file))
}

fn text_of(bytes: &[u8]) -> Result<&str, FaultKind> {
    if bytes.len() as u64 > MOST_BYTES {
        return Err(FaultKind::FileTooLarge { most: MOST_BYTES });
    }
    let text = std::str::from_utf8(bytes).map_err(|error| FaultKind::NotUtf8 {
        offset: error.valid_up_to(),
    })?;
    // Some editors begin a file with a byte order mark.
    Ok(text.strip_prefix('\u{feff}').unwrap_or(text))
}

fn not_json(text: &str, error: &serde_json::Error) -> FaultKind {
    FaultKind::NotJson {
        text: slips::words(text, error),
    }
}

/// Where the file as a whole departs from the schema: faults of meaning in the views that do not.
fn sound_views(value: &Value, file: &Path, faults: &mut Faults) {
    let around = Surroundings::of_folder(file.parent().unwrap_or(file));
    let views = value.get("views").and_then(Value::as_array);
    for (index, view) in views.into_iter().flatten().enumerate() {
        let at = format!("/views/{index}/");
        let is_inside = |fault: &Fault| format!("{}/", fault.pointer).starts_with(&at);
        if faults.is_full() || faults.list().iter().any(is_inside) {
            continue;
        }
        // A view without a fault in the schema is read; should it not be, its faults come out in the next run.
        if let Ok(raw) = serde_json::from_value::<RawView>(view.clone()) {
            resolve::view(&raw, index, &around, faults);
        }
    }
}

/// A fault for every image, mask and mesh of the job that is not on the disk.
pub fn missing_images(job: &Job) -> Vec<Fault> {
    let files = named_files(job).into_iter();
    files
        .filter(|(_, path)| !path.is_file())
        .map(|(pointer, path)| Fault {
            kind: FaultKind::MissingImage {
                path: path.to_owned(),
                named: named_by(job, &pointer),
            },
            pointer,
        })
        .collect()
}

/// What names a file at this pointer, in words.
fn named_by(job: &Job, pointer: &str) -> String {
    let of_view = pointer.strip_prefix("/views/").and_then(|rest| {
        let (index, key) = rest.split_once('/')?;
        let view = job.views.get(index.parse::<usize>().ok()?)?;
        Some(key_of_view(&view.name, key))
    });
    of_view.unwrap_or_else(|| format!("\"{}\"", pointer.trim_start_matches('/')))
}

/// Such as `"reference/image" of the view "side"`.
pub(crate) fn key_of_view(view: &str, key: &str) -> String {
    format!("\"{key}\" of the view \"{}\"", shortened(view))
}

impl View {
    /// Which of its keys names a file, in words such as `"reference/image" of the view "side"`.
    pub(crate) fn who_names(&self, path: &Path) -> Option<String> {
        let mut files = files_of_view(self).into_iter();
        let (key, _) = files.find(|(_, named)| *named == path)?;
        Some(key_of_view(&self.name, &key))
    }
}

/// Every image, mask and mesh that a job names, with the place in its document (a JSON pointer), in the document's order.
pub fn named_files(job: &Job) -> Vec<(String, &Path)> {
    let mut files = Vec::new();
    let mut take = |pointer: String, path| files.push((pointer, path));
    for (index, file) in job.model.iter().flat_map(|m| &m.files).enumerate() {
        take(format!("/model/files/{index}"), file.path.as_path());
    }
    for (index, view) in job.views.iter().enumerate() {
        for (key, path) in files_of_view(view) {
            take(format!("/views/{index}/{key}"), path);
        }
    }
    files
}

/// Every image and mask that a view names, with its key below that of the view.
fn files_of_view(view: &View) -> Vec<(String, &Path)> {
    let mut files = Vec::new();
    let mut take = |key: String, path| files.push((key, path));
    if let RenderImage::File(image) = &view.render.image {
        take("render/image".to_owned(), image.as_path());
    }
    if let Mask::Image(path) = &view.render.mask {
        take("render/mask".to_owned(), path);
    }
    if let Some(path) = &view.render.shape {
        take("render/shape".to_owned(), path);
    }
    let source = &view.reference;
    for (shot, image) in source.shots().enumerate() {
        take(format!("reference/{}", source.key_of_shot(shot)), image);
    }
    if let Mask::Image(path) = &view.reference.mask {
        take("reference/mask".to_owned(), path);
    }
    files
}
