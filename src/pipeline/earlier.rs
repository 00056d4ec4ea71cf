//! Reports of earlier comparisons, as others name them: a folder of results, one of them kept by date, or a report.json itself.
use super::{
    kept_results::{NEWEST, dated_folders, newest},
    results_folder::{MOST_REPORT, REPORT},
};
use crate::{
    job::{InputError, read_input},
    report::{self, Report},
};
use std::path::{Path, PathBuf};

/// Why no earlier report is there.
#[derive(Debug, thiserror::Error)]
pub enum EarlierError {
    /// A folder without results.
    #[error(
        "{}: this folder has no {REPORT}, and no {NEWEST} that names results kept by date; name a folder of results, or a {REPORT}",
        path.display()
    )]
    NoResults {
        /// The folder.
        path: PathBuf,
    },
    /// The file cannot be read.
    #[error("{}: {source}; name a folder of results, or a {REPORT}", path.display())]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// Why.
        source: InputError,
    },
    /// The file holds something else.
    #[error(
        "{}: this is no report of this version of the program; compare that job again, or name other results",
        path.display()
    )]
    NoReport {
        /// The file.
        path: PathBuf,
    },
}

/// The report of a folder of results, of the newest one of results kept by date, or of a file.
///
/// # Errors
/// Where there is none that can be used.
pub fn report_at(path: &Path) -> Result<Report, EarlierError> {
    Ok(results_at(path)?.report)
}

/// Earlier results: the report, and the folder that its pictures lie in.
#[derive(Clone, Debug)]
pub struct EarlierResults {
    /// The report.
    pub report: Report,
    /// The folder that it names its files from.
    pub folder: PathBuf,
}

/// As [`report_at`], with the folder that the report lies in.
///
/// # Errors
/// Where there is none that can be used.
pub fn results_at(path: &Path) -> Result<EarlierResults, EarlierError> {
    let file = if path.is_dir() {
        report_in(path)?
    } else {
        path.to_owned()
    };
    let folder = file.parent().unwrap_or(Path::new("")).to_owned();
    let bytes = read_input(&file, MOST_REPORT).map_err(|source| EarlierError::Unreadable {
        path: file.clone(),
        source,
    })?;
    match report::from_json(&bytes) {
        Some(report) => Ok(EarlierResults { report, folder }),
        None => Err(EarlierError::NoReport { path: file }),
    }
}

fn report_in(folder: &Path) -> Result<PathBuf, EarlierError> {
    let plain = folder.join(REPORT);
    if plain.is_file() {
        return Ok(plain);
    }
    let newest = newest(folder).map(|newest| newest.join(REPORT));
    newest
        .filter(|file| file.is_file())
        .ok_or_else(|| EarlierError::NoResults {
            path: folder.to_owned(),
        })
}

/// All results that a path names, with what each is called: one, or those kept by date in a folder, the oldest first.
///
/// # Errors
/// Where there is none that can be used.
pub fn reports_at(path: &Path) -> Result<Vec<(String, Report)>, EarlierError> {
    let folders = dated_folders(path);
    if path.join(REPORT).is_file() || folders.is_empty() {
        return Ok(vec![(name_of(path), report_at(path)?)]);
    }
    let with_report = folders
        .into_iter()
        .filter(|folder| folder.join(REPORT).is_file());
    with_report
        .map(|folder| Ok((name_of(&folder), report_at(&folder)?)))
        .collect()
}

/// What results are called: by their folder, also where their report is named.
fn name_of(path: &Path) -> String {
    let is_report = path.file_name().is_some_and(|name| name == REPORT);
    let named = match (is_report, path.parent()) {
        (true, Some(parent)) if parent.file_name().is_some() => parent,
        _ => path,
    };
    let name = named.file_name().unwrap_or(named.as_os_str());
    name.to_string_lossy().into_owned()
}
