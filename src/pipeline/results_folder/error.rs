//! Why results cannot be written.
use super::manifest::MANIFEST;
use crate::pipeline::whole_file::refused_in_words;
use std::{
    io,
    path::{Path, PathBuf},
};

/// Why results cannot be written.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ResultsError {
    /// The disk refuses.
    #[error("{}: {what}: {}", path.display(), refused_in_words(source, "another place with --out"))]
    Disk {
        /// The file or folder.
        path: PathBuf,
        /// What was being done.
        what: &'static str,
        /// Why it failed.
        source: io::Error,
    },
    /// A file is in the place of the folder.
    #[error("{}: this is no folder; name another with --out", path.display())]
    NoFolder {
        /// The file.
        path: PathBuf,
    },
    /// The folder holds something else.
    #[error(
        "{}: this folder holds other files and no {MANIFEST}, so that nothing tells what in it may be replaced; name an empty or new folder with --out, or move this one away, also where it holds results of an earlier version",
        path.display()
    )]
    Foreign {
        /// The folder.
        path: PathBuf,
    },
    /// The list of what was written cannot be used.
    #[error(
        "{}: it does not tell what in this folder may be replaced: {reason}; move the folder away, or name another with --out",
        path.display()
    )]
    Unreadable {
        /// The list.
        path: PathBuf,
        /// What is wrong with it.
        reason: String,
    },
    /// The results of another job.
    #[error(
        "{}: this folder holds the results of another job, {job}; name another folder with --out, or move this one away",
        path.display()
    )]
    OtherJob {
        /// The folder.
        path: PathBuf,
        /// The job as seen from the folder.
        job: String,
    },
    /// Something else is to be put among the results of a comparison.
    #[error(
        "{}: this folder holds the results of comparing {job}, which are replaced as a whole; name another folder with --out",
        path.display()
    )]
    OfComparison {
        /// The folder.
        path: PathBuf,
        /// The job as seen from the folder.
        job: String,
    },
    /// A file of the user's would be overwritten.
    #[error(
        "{}: {}, and is not overwritten; move or rename it, or name another folder with --out",
        path.display(),
        if *is_changed { "it was changed after tickstrip had written it" } else { "it is not from tickstrip" }
    )]
    InTheWay {
        /// The file.
        path: PathBuf,
        /// Whether it was ours.
        is_changed: bool,
    },
}

impl ResultsError {
    /// Stable code for scripts.
    pub fn code(&self) -> &'static str {
        match self {
            Self::Disk { .. } => "cannot-write",
            Self::NoFolder { .. } => "no-folder",
            Self::Foreign { .. } => "foreign-folder",
            Self::Unreadable { .. } => "unreadable-list",
            Self::OtherJob { .. } => "results-of-another-job",
            Self::OfComparison { .. } => "results-of-a-comparison",
            Self::InTheWay { .. } => "file-in-the-way",
        }
    }
}

/// What the disk refused while something was being done.
pub fn disk<'a>(what: &'static str, path: &'a Path) -> impl FnOnce(io::Error) -> ResultsError + 'a {
    move |source| ResultsError::Disk {
        path: path.to_path_buf(),
        what,
        source,
    }
}
