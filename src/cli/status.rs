//! The exit statuses, in one place.
use crate::service::ENDED_BY_SIGNAL;
use std::process::ExitCode;

/// How a run of the program ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(u8)]
pub enum Status {
    /// No measure is out.
    NothingOut = 0,
    /// Something is out of tolerance; with `--strict` also where it is undecided.
    SomethingOut = 1,
    /// The job or the command line cannot be used.
    Unusable = 2,
    /// Some views could not be compared, or none.
    ViewsFailed = 3,
    /// A figure is worse than in the earlier results that the job is held against.
    SomethingWorse = 4,
    /// It was stopped by Ctrl-C or a termination signal.
    Stopped = ENDED_BY_SIGNAL,
}

impl Status {
    /// Of a command that judges nothing.
    pub(super) fn unless_failed(is_failed: bool) -> Self {
        match is_failed {
            true => Self::ViewsFailed,
            false => Self::NothingOut,
        }
    }

    /// The number that the shell sees.
    pub fn code(self) -> u8 {
        self as u8
    }
}

impl From<Status> for ExitCode {
    fn from(status: Status) -> Self {
        Self::from(status.code())
    }
}
