//! `tickstrip schema`: prints the JSON Schema of a file format.
use super::{
    Status,
    messages::{Failure, Terminal},
};
use crate::{job, report};
use clap::ValueEnum;

/// Print the JSON Schema of the job file or of report.json
#[derive(clap::Args, Debug)]
#[command(after_help = "Example:\n  tickstrip schema job > job.schema.json")]
pub(super) struct Arguments {
    /// Which file's
    #[arg(value_enum, default_value_t = Format::Job)]
    format: Format,
}

/// A file with a published schema.
#[derive(Clone, Copy, Debug, ValueEnum)]
enum Format {
    /// The job file
    Job,
    /// report.json
    Report,
}

pub(super) fn run(arguments: &Arguments, terminal: &Terminal) -> Result<Status, Failure> {
    let schema = match arguments.format {
        Format::Job => job::schema(),
        Format::Report => report::schema(),
    };
    terminal.json(&format!("{schema:#}\n"))?;
    Ok(Status::NothingOut)
}
