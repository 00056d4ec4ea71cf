//! `tickstrip backdrop`: references as pictures at true scale for CAD.
use super::{
    Status,
    memory::Memory,
    messages::{Failure, Terminal},
    new_files::{NewFile, tell_written, write_new_files},
};
use crate::{
    images::Limits,
    job,
    pipeline::{self, BackdropOptions, Backdrops},
};
use std::path::{Path, PathBuf};

/// Make references into pictures at true scale, to model over in CAD
///
/// Each reference, rectified, turned upright and scaled by its known lengths: a PNG with so many pixels a millimetre of the model, an
/// SVG and a PDF at true scale with a grid, and the numbers to type into CAD. What two views see is held against each other.
#[derive(clap::Args, Debug)]
#[command(after_help = "Example:
  tickstrip demo
  tickstrip backdrop fire-pump-demo/pump.json --view side --view plan --out fire-pump-backdrops")]
pub(super) struct Arguments {
    /// The job file
    job: PathBuf,
    /// Make that of this view only; may be given several times
    #[arg(long = "view", value_name = "NAME")]
    views: Vec<String>,
    /// Pixels a millimetre of the model; left out: as many as the reference has
    #[arg(long, value_name = "PX", value_parser = px_per_mm)]
    px_per_mm: Option<f64>,
    /// Print JSON instead of words
    #[arg(long)]
    json: bool,
    /// Write backdrops.txt, backdrops.json and for each view VIEW/backdrop.png, .svg and .pdf below this folder
    #[arg(long, value_name = "FOLDER")]
    out: Option<PathBuf>,
    /// Overwrite these files if they are there
    #[arg(long, requires = "out")]
    force: bool,
    #[command(flatten)]
    memory: Memory,
}

fn px_per_mm(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(px) if (0.001..=10_000.0).contains(&px) => Ok(px),
        _ => Err("it must be a number from 0.001 to 10000".to_owned()),
    }
}

/// Columns of the text file.
const FILE_WIDTH: usize = 100;

pub(super) fn run(arguments: &Arguments, terminal: &Terminal) -> Result<Status, Failure> {
    let job = job::read(&arguments.job)?;
    let options = BackdropOptions {
        views: arguments.views.clone(),
        px_per_mm: arguments.px_per_mm,
        draw: arguments.out.is_some(),
    };
    let bounds = (&Limits::default(), &arguments.memory.budget());
    let made = pipeline::backdrops(&job, &options, bounds)?;
    let report = &made.report;
    let written = match &arguments.out {
        Some(out) => write_new_files(files(&made, out), out, arguments.force)?,
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

fn files(made: &Backdrops, out: &Path) -> Vec<NewFile> {
    let file = |path: PathBuf, bytes: Vec<u8>| NewFile { path, bytes };
    let report = &made.report;
    let mut files = vec![
        file(
            out.join("backdrops.txt"),
            report.to_text(FILE_WIDTH).into_bytes(),
        ),
        file(out.join("backdrops.json"), report.to_json().into_bytes()),
    ];
    for (view, drawn) in &made.files {
        let folder = out.join(view);
        files.push(file(
            folder.join(pipeline::BACKDROP_PICTURE),
            drawn.png.clone(),
        ));
        files.push(file(
            folder.join("backdrop.svg"),
            drawn.svg.clone().into_bytes(),
        ));
        files.push(file(folder.join("backdrop.pdf"), drawn.pdf.clone()));
    }
    files
}
