//! What goes to the terminal: results to standard output, everything else to standard error.
use super::Status;
use crate::{images, job, pipeline, report::TableStyle, service, units};
use std::{
    fmt,
    io::{self, IsTerminal, Write},
    path::{Path, PathBuf},
};

/// Where the program prints.
#[derive(Debug)]
pub(super) struct Terminal;

impl Terminal {
    pub fn new() -> Self {
        Self
    }

    /// Prints a result.
    ///
    /// # Errors
    /// [`Failure::Output`] where it cannot be written; a reader that has gone away (`| head -1`) is no error.
    pub fn result(&self, text: &str) -> Result<(), Failure> {
        let mut out = io::stdout().lock();
        match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
            Err(error) if error.kind() != io::ErrorKind::BrokenPipe => {
                Err(Failure::Output { source: error })
            }
            _ => Ok(()),
        }
    }

    /// Prints what went wrong.
    pub fn fault(&self, text: &str) {
        // Where standard error is closed there is nobody to tell.
        let _ = writeln!(io::stderr().lock(), "{text}");
    }

    /// Prints why a command failed; faults of a job begin with its file name, so that editors find the place.
    pub fn failure(&self, failure: &Failure) {
        match failure {
            Failure::Job(faults) => self.fault(&faults.to_string()),
            other => self.fault(&format!("error: {other}")),
        }
    }

    /// As wide as the terminal, 80 columns where the table goes elsewhere; colours only on a terminal that wants them.
    pub fn table_style(&self) -> TableStyle {
        let is_terminal = io::stdout().is_terminal();
        let width = terminal_size::terminal_size().map(|(width, _)| usize::from(width.0));
        TableStyle {
            width: width.filter(|_| is_terminal).unwrap_or(80),
            color: is_terminal && std::env::var_os("NO_COLOR").is_none_or(|v| v.is_empty()),
        }
    }

    /// Whether somebody watches standard error.
    pub fn is_watched(&self) -> bool {
        io::stderr().is_terminal()
    }
}

/// Why a command could not do its work.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub(super) enum Failure {
    /// The job cannot be used.
    #[error(transparent)]
    Job(#[from] job::Error),
    /// The comparison as a whole failed.
    #[error("{0}")]
    Pipeline(#[from] pipeline::Error),
    /// A picture cannot be straightened.
    #[error("{0}")]
    Straighten(#[from] pipeline::StraightenError),
    /// A view that the job does not have.
    #[error("{}: no view \"{name}\"", job.display())]
    NoSuchView {
        /// The job file.
        job: PathBuf,
        /// The name asked for.
        name: String,
    },
    /// A view that says nothing about straightening.
    #[error("{}: the view \"{name}\" states no \"straighten\" for its reference", job.display())]
    NothingToStraighten {
        /// The job file.
        job: PathBuf,
        /// The view's name.
        name: String,
    },
    /// A length cannot be used.
    #[error("{0}")]
    Length(#[from] units::LengthError),
    /// An image cannot be used.
    #[error("{0}")]
    Image(#[from] images::Error),
    /// The marking page cannot be served.
    #[error("{0}")]
    Mark(#[from] service::mark::MarkError),
    /// The service cannot be run.
    #[error("{0}")]
    Serve(#[from] service::queue::ServeError),
    /// The signals that end a command cannot be listened to.
    #[error("the program cannot listen for Ctrl-C: {source}")]
    Signals {
        /// What the operating system says.
        source: io::Error,
    },
    /// There is no job file yet.
    #[error("{}: there is no such file; make one with: tickstrip new RENDER REFERENCE --out {}", path.display(), path.display())]
    NoJob {
        /// The path.
        path: PathBuf,
    },
    /// Standard output cannot be written.
    #[error("standard output cannot be written: {source}")]
    Output {
        /// What the operating system says.
        source: io::Error,
    },
    /// A file cannot be read or written.
    #[error("{}: cannot be {action}: {source}", path.display())]
    File {
        /// The file.
        path: PathBuf,
        /// Read or written.
        action: Action,
        /// What the operating system says.
        source: io::Error,
    },
    /// A file is there already.
    #[error("{} is there already and is not overwritten; move it away or {advice}", path.display())]
    Exists {
        /// The file.
        path: PathBuf,
        /// What else to do.
        advice: &'static str,
    },
    /// A path that JSON cannot hold.
    #[error("{}: the path is not UTF-8, so no job file can name it; rename the file", path.display())]
    PathNotUtf8 {
        /// The path.
        path: PathBuf,
    },
    /// SOURCE_DATE_EPOCH is no time.
    #[error(
        "SOURCE_DATE_EPOCH is {found:?}; it must be a whole number of seconds since 1970, or unset; or state --date YYYY-MM-DD"
    )]
    Epoch {
        /// Its value.
        found: String,
    },
    /// The threads could not be started.
    #[error("{count} threads cannot be started: {source}; ask for fewer with --jobs")]
    Threads {
        /// How many.
        count: usize,
        /// Why.
        source: rayon::ThreadPoolBuildError,
    },
}

/// What was to be done with a file.
#[derive(Clone, Copy, Debug)]
pub(super) enum Action {
    /// Reading.
    Read,
    /// Writing.
    Written,
}

impl fmt::Display for Action {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Read => "read",
            Self::Written => "written",
        })
    }
}

impl Failure {
    /// How the program exits.
    pub fn status(&self) -> Status {
        match self {
            Self::Pipeline(pipeline::Error::Stopped) => Status::Stopped,
            _ => Status::Unusable,
        }
    }

    /// A file that cannot be read or written.
    pub fn file(path: &Path, action: Action, source: io::Error) -> Self {
        Self::File {
            path: path.to_owned(),
            action,
            source,
        }
    }
}
