//! What the marking page is asked for.
use crate::images::{Budget, Limits};
use std::path::PathBuf;

/// What the page is asked for.
#[derive(Clone, Debug)]
pub struct MarkOptions {
    /// The job file.
    pub job: PathBuf,
    /// Port on the loopback address; 0: a free one.
    pub port: u16,
    /// Folder of the results of "Compare now".
    pub out: PathBuf,
    /// Date printed on the sheets.
    pub date: String,
    /// Largest image that is read.
    pub limits: Limits,
    /// The memory that all images share, those of the page and those being compared.
    pub memory: Budget,
}
