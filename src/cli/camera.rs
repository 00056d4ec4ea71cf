//! `tickstrip camera`: solves the cameras that took a job's references.
use super::{
    Status,
    messages::{Failure, Terminal},
    new_files::{NewFile, tell_written, write_new_files},
};
use crate::{
    job, pipeline,
    report::{self, CameraReport},
};
use std::path::{Path, PathBuf};

/// Solve the camera of each reference from landmarks with places on the model
///
/// Landmarks whose "model_mm" is stated, five or more of them datum, eight for control, tell from where a reference was taken:
/// place, distance, direction, roll and focal length, each with its 95 % interval, to be typed into CAD. It says what the marks
/// do not tell, and what to mark.
#[derive(clap::Args, Debug)]
#[command(after_help = "Example:
  tickstrip demo --camera
  tickstrip camera fire-pump-camera/pump.json --out pump-cameras")]
pub(super) struct Arguments {
    /// The job file
    job: PathBuf,
    /// Solve this view only; may be given several times
    #[arg(long = "view", value_name = "NAME")]
    views: Vec<String>,
    /// Print JSON instead of words
    #[arg(long)]
    json: bool,
    /// Write each camera for CAD below this folder: VIEW/camera.gltf, camera.json (matrices, eye, target), camera.csv
    #[arg(long, value_name = "FOLDER")]
    out: Option<PathBuf>,
    /// Overwrite these files if they are there
    #[arg(long, requires = "out")]
    force: bool,
}

pub(super) fn run(arguments: &Arguments, terminal: &Terminal) -> Result<Status, Failure> {
    let job = job::read(&arguments.job)?;
    let report = pipeline::cameras(&job, &arguments.views)?;
    let written = match &arguments.out {
        Some(out) => write_new_files(files(&report, out), out, arguments.force)?,
        None => Vec::new(),
    };
    if arguments.json {
        terminal.json(&report.to_json())?;
    } else {
        terminal.result(&report.to_text())?;
        if let Some(space) = &report.space {
            let table = report::space_table(space, &terminal.table_style());
            terminal.table(&format!("\n{table}"))?;
        }
        tell_written(&written, terminal)?;
    }
    let is_failed = report.views.iter().any(|view| view.error.is_some());
    Ok(Status::unless_failed(is_failed))
}

/// The files of every camera.
fn files(report: &CameraReport, out: &Path) -> Vec<NewFile> {
    let views = report.views.iter();
    views
        .filter_map(|view| Some((view, view.camera.as_ref()?)))
        .flat_map(|(view, camera)| {
            let folder = out.join(&view.name);
            let files = camera.files(&view.name).into_iter();
            files.map(move |file| NewFile {
                path: folder.join(file.name),
                bytes: file.text.into_bytes(),
            })
        })
        .collect()
}
