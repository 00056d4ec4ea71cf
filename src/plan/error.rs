//! Why a page of a plan cannot be drawn.
use crate::{drawing, job::InputError};
use std::{
    fmt,
    path::{Path, PathBuf},
};

/// What helps with most documents that cannot be read.
const ELSEWHERE: &str =
    "print the page to a new PDF in a program that shows it, or export it from there as PNG";

/// Why a page of a plan cannot be drawn.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum Error {
    /// The file cannot be opened.
    #[error("{}: {source}", path.display())]
    Input {
        /// The file.
        path: PathBuf,
        /// Why.
        source: InputError,
    },
    /// The file has no bytes.
    #[error("{}: is empty (0 bytes); copy or export it again", path.display())]
    Empty {
        /// The file.
        path: PathBuf,
    },
    /// The file is no PDF.
    #[error("{}: holds {found} and no PDF; {advice}", path.display())]
    NotAPdf {
        /// The file.
        path: PathBuf,
        /// What it looks like.
        found: String,
        /// What to do.
        advice: &'static str,
    },
    /// Its list of pages cannot be read.
    #[error("{}: the PDF is damaged or breaks off: no page of it can be found; copy it again, or {ELSEWHERE}", path.display())]
    Broken {
        /// The file.
        path: PathBuf,
    },
    /// It is locked.
    #[error("{}: the PDF is locked with a password; open it where you know the password, and {}", path.display(), ELSEWHERE_TOO)]
    Password {
        /// The file.
        path: PathBuf,
    },
    /// It is encrypted in a way that is not known here.
    #[error("{}: the PDF is encrypted in a way that cannot be read here; {ELSEWHERE}", path.display())]
    Encryption {
        /// The file.
        path: PathBuf,
    },
    /// It has fewer pages.
    #[error("{}: has no page {page}; {}", path.display(), pages(*count))]
    NoSuchPage {
        /// The file.
        path: PathBuf,
        /// The page asked for, from 1.
        page: u64,
        /// How many there are.
        count: u64,
    },
    /// The page has nothing to show.
    #[error("{}: page {page} has no area that could be drawn; {ELSEWHERE}", path.display())]
    NoArea {
        /// The file.
        path: PathBuf,
        /// The page, from 1.
        page: u64,
    },
    /// The picture would be too large.
    #[error(
        "{}: page {page} of {:.0} x {:.0} mm has {:.0} x {:.0} px at {dpi} dpi, more than {} million or {} along a side; {}",
        path.display(), size_mm[0], size_mm[1], size_px[0], size_px[1], most.0, most.1, what_fits(*fits)
    )]
    TooLarge {
        /// The file.
        path: PathBuf,
        /// The page, from 1.
        page: u64,
        /// Width and height of the page, millimetres.
        size_mm: [f64; 2],
        /// Width and height of the picture, pixels.
        size_px: [f64; 2],
        /// The resolution asked for.
        dpi: u32,
        /// Most pixels in millions, and most along a side.
        most: (f64, f64),
        /// The greatest resolution that can be drawn.
        fits: Option<u32>,
    },
    /// The picture would have no pixel.
    #[error("{}: page {page} of {:.2} x {:.2} mm is smaller than a pixel at {dpi} dpi; say a greater --dpi", path.display(), size_mm[0], size_mm[1])]
    TooSmall {
        /// The file.
        path: PathBuf,
        /// The page, from 1.
        page: u64,
        /// Width and height of the page, millimetres.
        size_mm: [f64; 2],
        /// The resolution asked for.
        dpi: u32,
    },
    /// It takes too much.
    #[error("{}: reading or drawing it takes {limit}, and was stopped; {ELSEWHERE} (if you trust the file: {})", path.display(), limit.option())]
    Limit {
        /// The file.
        path: PathBuf,
        /// What it takes.
        limit: Limit,
    },
    /// The reader met a case that it does not provide for.
    #[error("{}: the reader of PDFs gave up on it: it is damaged, or has what that reader does not know; {ELSEWHERE}", path.display())]
    Failed {
        /// The file.
        path: PathBuf,
    },
    /// The process that reads it does not run.
    #[error("{}: it is read by a process of its own, and {} cannot be started so: {reason}", path.display(), program.display())]
    Process {
        /// The file.
        path: PathBuf,
        /// The program.
        program: PathBuf,
        /// Why.
        reason: String,
    },
    /// The picture cannot be encoded.
    #[error("{0}")]
    Drawing(#[from] drawing::Error),
}

/// [`ELSEWHERE`] behind "open it".
const ELSEWHERE_TOO: &str = "print the page to a new PDF or export it as PNG";

fn pages(count: u64) -> String {
    match count {
        0 => "it has none at all".to_owned(),
        1 => "it has one alone".to_owned(),
        count => format!("it has {count}, counted from 1"),
    }
}

fn what_fits(fits: Option<u32>) -> String {
    match fits {
        Some(dpi) => format!("say --dpi {dpi} or less"),
        None => format!("it is too large for every resolution; {ELSEWHERE}"),
    }
}

/// A limit of the process that reads a plan.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Limit {
    /// Seconds.
    Seconds(u64),
    /// Bytes of memory.
    Memory(u64),
}

impl fmt::Display for Limit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Seconds(seconds) => write!(f, "more than {seconds} s"),
            Self::Memory(bytes) => write!(f, "more than {} MiB of memory", bytes.div_ceil(1 << 20)),
        }
    }
}

impl Limit {
    /// The option that raises it.
    fn option(self) -> &'static str {
        match self {
            Self::Seconds(_) => "--max-seconds",
            Self::Memory(_) => "--max-memory",
        }
    }
}

impl Error {
    /// The error of a file that was opened but does not go on.
    pub(super) fn of_io(path: &Path, source: std::io::Error) -> Self {
        Self::Input {
            path: path.to_owned(),
            source: InputError::Unreadable(source),
        }
    }

    /// A stable code for scripts.
    pub fn code(&self) -> &'static str {
        match self {
            Self::Input { .. } => "plan-input",
            Self::Empty { .. } => "plan-empty",
            Self::NotAPdf { .. } => "plan-no-pdf",
            Self::Broken { .. } => "plan-broken",
            Self::Password { .. } => "plan-password",
            Self::Encryption { .. } => "plan-encryption",
            Self::NoSuchPage { .. } => "plan-no-such-page",
            Self::NoArea { .. } => "plan-no-area",
            Self::TooLarge { .. } => "plan-too-large",
            Self::TooSmall { .. } => "plan-too-small",
            Self::Limit { .. } => "plan-limit",
            Self::Failed { .. } => "plan-failed",
            Self::Process { .. } => "plan-process",
            Self::Drawing(error) => error.code(),
        }
    }
}
