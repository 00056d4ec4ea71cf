//! The archives that lie beside a job.
use super::read::holds_marks;
use crate::job::{self, read_input};
use std::{
    fs,
    path::{Path, PathBuf},
};

/// Entries of the job's folder that are looked at, and archives that are opened: judgements.
const MOST_ENTRIES: usize = 10_000;
const MOST_OPENED: usize = 50;

/// What the names of a job's archives begin with.
fn begin(job: &Path) -> String {
    let stem = job.file_stem().unwrap_or_default().to_string_lossy();
    format!("{stem}-archive-")
}

/// A name for an archive of this day beside the job that nothing has yet.
pub fn free_archive(job: &Path, date: &str) -> PathBuf {
    let begin = begin(job);
    let numbered = (2..).map(|number: u64| format!("{begin}{date}-{number}.zip"));
    let mut names = std::iter::once(format!("{begin}{date}.zip")).chain(numbered);
    let is_free = |path: &PathBuf| fs::symlink_metadata(path).is_err();
    names
        .find_map(|name| Some(job.with_file_name(name)).filter(is_free))
        .unwrap_or_default()
}

/// The newest archive beside a job of which none holds its marks as they are now; `None` where one does, and where there is none.
pub fn archive_without(job: &Path) -> Option<PathBuf> {
    let folder = match job.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent,
        _ => Path::new("."),
    };
    let begin = begin(job);
    let is_archive = |name: &str| name.starts_with(&begin) && name.ends_with(".zip");
    let mut archives: Vec<PathBuf> = fs::read_dir(folder)
        .ok()?
        .take(MOST_ENTRIES)
        .flatten()
        .filter_map(|entry| entry.file_name().into_string().ok())
        .filter(|name| is_archive(name))
        .map(|name| job.with_file_name(name))
        .collect();
    if archives.is_empty() {
        return None;
    }
    archives.sort();
    let text = read_input(job, job::MOST_BYTES).ok()?;
    let marks = blake3::hash(&text).to_hex().to_string();
    let mut newest = None;
    for path in archives.into_iter().rev().take(MOST_OPENED) {
        match holds_marks(&path, &marks) {
            Some(true) => return None,
            Some(false) => newest = newest.or(Some(path)),
            None => {}
        }
    }
    newest
}
