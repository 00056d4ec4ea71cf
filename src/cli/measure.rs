//! `tickstrip measure`: measures references before there is a model.
use super::{
    Status,
    memory::Memory,
    messages::{Failure, Terminal},
    new_files::{NewFile, tell_written, write_new_files},
};
use crate::{
    images::Limits,
    job,
    pipeline::{self, MeasureOptions, MeasuredReferences},
};
use std::path::{Path, PathBuf};

/// Measure references by themselves, before there is a model
///
/// Spans, angles, proportions and places of landmarks, in full-size and model millimetres, each with its 95 % interval: in the plane
/// of a rectified picture or of a plan, or by a photo's camera at the depths of places on the model. A view needs no render then.
#[derive(clap::Args, Debug)]
#[command(after_help = "Example:
  tickstrip demo
  tickstrip measure fire-pump-demo/pump.json --view side --out fire-pump-measured
  tickstrip measure fire-pump-demo/pump.json --view plan --against \"cover length\" --json")]
pub(super) struct Arguments {
    /// The job file
    job: PathBuf,
    /// Measure this view only; may be given several times
    #[arg(long = "view", value_name = "NAME")]
    views: Vec<String>,
    /// The span that the others are held against; left out: the longest of each view
    #[arg(long, value_name = "SPAN")]
    against: Option<String>,
    /// Measure in the plane of the picture also where landmarks have places on the model
    #[arg(long)]
    plane: bool,
    /// Print JSON instead of a table
    #[arg(long)]
    json: bool,
    /// Write dimensions.json, dimensions.csv and for each view VIEW/dimensions.png below this folder
    #[arg(long, value_name = "FOLDER")]
    out: Option<PathBuf>,
    /// Overwrite these files if they are there
    #[arg(long, requires = "out")]
    force: bool,
    #[command(flatten)]
    memory: Memory,
}

pub(super) fn run(arguments: &Arguments, terminal: &Terminal) -> Result<Status, Failure> {
    let job = job::read(&arguments.job)?;
    let options = MeasureOptions {
        views: arguments.views.clone(),
        against: arguments.against.clone(),
        as_plane: arguments.plane,
        draw: arguments.out.is_some(),
    };
    let limits = (&Limits::default(), &arguments.memory.budget());
    let measured = pipeline::measure_references(&job, &options, limits)?;
    let report = &measured.report;
    let written = match &arguments.out {
        Some(out) => write_new_files(files(&measured, out), out, arguments.force)?,
        None => Vec::new(),
    };
    if arguments.json {
        terminal.json(&report.to_json())?;
    } else {
        terminal.result(&report.to_text(terminal.table_style().width))?;
        tell_written(&written, terminal)?;
    }
    let is_failed = report.views.iter().any(|view| view.error.is_some());
    Ok(Status::unless_failed(is_failed))
}

fn files(measured: &MeasuredReferences, out: &Path) -> Vec<NewFile> {
    let file = |path: PathBuf, bytes: Vec<u8>| NewFile { path, bytes };
    let report = &measured.report;
    let mut files = vec![
        file(out.join("dimensions.json"), report.to_json().into_bytes()),
        file(out.join("dimensions.csv"), report.to_csv().into_bytes()),
    ];
    files.extend(
        measured
            .pictures
            .iter()
            .map(|(view, png)| file(out.join(view).join("dimensions.png"), png.clone())),
    );
    files
}
