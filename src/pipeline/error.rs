//! Why a comparison as a whole failed, or a view of it.
use super::{ResultsError, ShardError};
use crate::{
    drawing, drawn,
    report::{RevisionError, ViewFailure},
    stop::Stopped,
};

/// Why a comparison as a whole failed.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum Error {
    /// `--view` names a view that the job does not have.
    #[error("no view \"{name}\"; the job has {known}")]
    UnknownView {
        /// The name asked for.
        name: String,
        /// The views there are, for the message.
        known: String,
    },
    /// The job says something of its model that its mesh contradicts.
    #[error(transparent)]
    Model(drawn::Error),
    /// The results cannot be written.
    #[error(transparent)]
    Results(#[from] ResultsError),
    /// Earlier results that the job cannot be held against.
    #[error(transparent)]
    Revision(#[from] RevisionError),
    /// A sheet could not be drawn.
    #[error("sheet.pdf: {0}")]
    Draw(#[source] drawing::Error),
    /// The system gives no threads.
    #[error("no threads can be started: {source}")]
    Threads {
        /// Why.
        source: rayon::ThreadPoolBuildError,
    },
    /// Shards that cannot be put together.
    #[error(transparent)]
    Shards(#[from] ShardError),
    /// The caller asked to stop.
    #[error("the comparison was stopped; nothing was written")]
    Stopped,
    /// The caller asked to stop when views were finished.
    #[error(
        "the comparison was stopped; nothing was written into the results, and the next run takes over the {views} view{} that {} finished",
        if *views == 1 { "" } else { "s" }, if *views == 1 { "is" } else { "are" }
    )]
    Paused {
        /// How many are finished.
        views: usize,
    },
}

impl From<Stopped> for Error {
    fn from(_: Stopped) -> Self {
        Self::Stopped
    }
}

impl From<drawing::Error> for Error {
    /// A sheet that was stopped is no sheet that cannot be drawn.
    fn from(error: drawing::Error) -> Self {
        match error {
            drawing::Error::Stopped(stopped) => stopped.into(),
            error => Self::Draw(error),
        }
    }
}

impl Error {
    /// Stable code for scripts.
    pub fn code(&self) -> &'static str {
        match self {
            Self::UnknownView { .. } => "unknown-view",
            Self::Model(error) => error.code(),
            Self::Results(error) => error.code(),
            Self::Revision(error) => error.code(),
            Self::Draw(_) => "cannot-draw",
            Self::Threads { .. } => "no-threads",
            Self::Shards(error) => error.code(),
            Self::Stopped | Self::Paused { .. } => "stopped",
        }
    }
}

pub(super) fn failure(code: &'static str, error: &dyn std::error::Error) -> ViewFailure {
    ViewFailure {
        code,
        text: error.to_string(),
    }
}

/// A view that was stopped; replaced by [`Error::Stopped`] before anybody sees it.
pub(super) fn stopped(error: Stopped) -> ViewFailure {
    failure(Error::Stopped.code(), &error)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_run_stopped_while_its_sheet_is_drawn_is_a_stopped_one() {
        let error = Error::from(drawing::Error::Stopped(Stopped));
        assert_eq!(error.code(), "stopped");
    }
}
