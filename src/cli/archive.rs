//! `tickstrip archive`: a job with all that it needs in one zip file.
use super::{
    Status, compare,
    messages::{Failure, Terminal, shown_path},
};
use crate::{
    pipeline::{self, Archived, Restored, Verified},
    printable::on_one_line,
};
use serde_json::json;
use std::path::{Path, PathBuf};

/// Keep a job with its images, meshes and results in one zip file; check one; put one out
///
/// Each file is listed with its size and checksum (BLAKE3), and keeps its place beside the job file. Images may belong to somebody:
/// hand an archive on only where you have the right to.
#[derive(clap::Args, Debug)]
#[command(after_help = "Examples:
  tickstrip demo
  tickstrip archive fire-pump-demo/pump.json --out pump.zip
  tickstrip archive --verify pump.zip
  tickstrip archive --restore pump.zip --out pump-again")]
pub(super) struct Arguments {
    /// The job file
    #[arg(required_unless_present_any = ["verify", "restore"], conflicts_with_all = ["verify", "restore"])]
    job: Option<PathBuf>,
    /// Check that an archive is as it was written
    #[arg(long, value_name = "ZIP", conflicts_with_all = ["restore", "out"])]
    verify: Option<PathBuf>,
    /// Check an archive and put its files out
    #[arg(long, value_name = "ZIP", requires = "out")]
    restore: Option<PathBuf>,
    /// The archive to write [default: JOB without its extension, -archive- and the day], or the new or empty folder to put one out in
    #[arg(long, value_name = "PATH")]
    out: Option<PathBuf>,
    /// Folder of the job's results [default: JOB without its extension, and -results]
    #[arg(long, value_name = "DIR", conflicts_with_all = ["verify", "restore"])]
    results: Option<PathBuf>,
    /// Print JSON instead of words
    #[arg(long)]
    json: bool,
}

pub(super) fn run(arguments: &Arguments, terminal: &Terminal) -> Result<Status, Failure> {
    let (words, value) = match (&arguments.job, &arguments.verify, &arguments.restore) {
        (_, Some(path), _) => verified(path, &pipeline::verify(path)?),
        (_, _, Some(path)) => {
            let out = arguments.out.as_deref().unwrap_or(Path::new("."));
            restored(&pipeline::restore(path, out)?)
        }
        (Some(job), None, None) => archived(&write(arguments, job)?),
        (None, None, None) => unreachable!("one of the three is required"),
    };
    if arguments.json {
        terminal.json(&format!("{value:#}\n"))?;
    } else {
        terminal.result(&words)?;
    }
    Ok(Status::NothingOut)
}

fn write(arguments: &Arguments, job: &Path) -> Result<Archived, Failure> {
    let date = compare::default_date(std::env::var_os("SOURCE_DATE_EPOCH"))?;
    let results = arguments.results.clone();
    let results = results.unwrap_or_else(|| compare::results_of(job));
    let results = pipeline::newest_results(&results);
    let out = arguments.out.clone();
    let out = out.unwrap_or_else(|| pipeline::free_archive(job, &date));
    Ok(pipeline::archive(job, &results, &out, &date)?)
}

fn archived(archived: &Archived) -> (String, serde_json::Value) {
    let mut words = format!(
        "{}: {} files, {}\n",
        shown_path(&archived.path),
        archived.files,
        amount(archived.bytes)
    );
    for note in &archived.notes {
        words += &format!("note: {}\n", on_one_line(note));
    }
    let value = json!({
        "archive": archived.path,
        "files": archived.files,
        "bytes": archived.bytes,
        "notes": archived.notes,
    });
    (words, value)
}

fn verified(path: &Path, verified: &Verified) -> (String, serde_json::Value) {
    let words = format!(
        "{}: all {} files ({}) are as they were archived on {} by {}\n",
        shown_path(path),
        verified.files,
        amount(verified.bytes),
        on_one_line(&verified.date),
        on_one_line(&verified.program)
    );
    (words, facts(verified))
}

fn restored(restored: &Restored) -> (String, serde_json::Value) {
    let words = format!(
        "{} files ({}) put out; go on with: tickstrip compare {}\n",
        restored.contents.files,
        amount(restored.contents.bytes),
        shown_path(&restored.job)
    );
    let mut value = facts(&restored.contents);
    value["job"] = json!(restored.job);
    (words, value)
}

fn facts(contents: &Verified) -> serde_json::Value {
    json!({
        "files": contents.files,
        "bytes": contents.bytes,
        "date": contents.date,
        "program": contents.program,
    })
}

fn amount(bytes: u64) -> String {
    match bytes {
        0..1_000_000 => format!("{} kB", bytes.div_ceil(1000)),
        _ => format!("{:.1} MB", bytes as f64 / 1e6),
    }
}
