//! Why there is no archive, or none that can be trusted.
use super::list::{FORMAT_VERSION, LIST};
use crate::{job, pipeline::results_folder::ResultsError};
use std::{io, path::PathBuf};

/// Why there is no archive, or none that can be trusted.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ArchiveError {
    /// The job cannot be used.
    #[error(transparent)]
    Job(#[from] job::Error),
    /// A file of the job cannot be read.
    #[error("{}: {source}", path.display())]
    Input {
        /// The file.
        path: PathBuf,
        /// Why.
        source: io::Error,
    },
    /// There is a file already.
    #[error("{}: there is a file already; name another with --out", path.display())]
    Exists {
        /// The file.
        path: PathBuf,
    },
    /// It is no zip file, or its end is missing.
    #[error("{}: it cannot be read as a zip file ({text}); copy it anew from where it was kept", path.display())]
    NoZip {
        /// The file.
        path: PathBuf,
        /// What was found.
        text: String,
    },
    /// It is a zip file, and none of this program's archives.
    #[error("{}: it holds no list {LIST} of format version {FORMAT_VERSION} ({text}); name a file that \"tickstrip archive\" wrote", path.display())]
    NoList {
        /// The file.
        path: PathBuf,
        /// What was found.
        text: String,
    },
    /// Something in it is not as it was archived.
    #[error("{}: not as it was archived: {}; take another copy", path.display(), faults.join("; "))]
    Damaged {
        /// The file.
        path: PathBuf,
        /// What is wrong, an entry each.
        faults: Vec<String>,
    },
    /// It cannot be put out there.
    #[error("{}: this is there already and no empty folder; name another with --out", path.display())]
    NotEmpty {
        /// The folder.
        path: PathBuf,
    },
    /// The results cannot be looked at, or the disk refuses.
    #[error(transparent)]
    Results(#[from] ResultsError),
}
