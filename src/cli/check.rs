//! `tickstrip check`: reads a job, says what is wrong or doubtful in it, changes nothing.
use super::{
    Status,
    messages::{Failure, Terminal},
};
use crate::{
    images,
    job::{self, Doubt, Job},
    pipeline,
};
use std::path::PathBuf;

/// Read a job, say what is wrong or doubtful in it, change nothing
///
/// Faults go to standard error, with exit status 2. Doubts, which do not stop a comparison, go to standard output.
#[derive(clap::Args, Debug)]
#[command(after_help = "Example:
  tickstrip demo
  tickstrip check fire-pump-demo/pump.json")]
pub(super) struct Arguments {
    /// The job file
    job: PathBuf,
}

pub(super) fn run(arguments: &Arguments, terminal: &Terminal) -> Result<Status, Failure> {
    let job = job::read(&arguments.job)?;
    let file = arguments.job.display();
    let mut missing = job::missing_images(&job);
    missing.extend(points_outside(&job));
    for fault in &missing {
        terminal.fault(&format!("{file}: {fault}"));
    }
    let mut doubts = job::doubts(&job);
    let cannot = straightenings(&job, &mut doubts);
    for fault in &cannot {
        terminal.fault(&format!("{file}: {fault}"));
    }
    let mut text = String::new();
    for doubt in &doubts {
        text.push_str(&format!("doubtful: {file}: {doubt}\n"));
    }
    let is_sound = missing.is_empty() && cannot.is_empty();
    if is_sound {
        text.push_str(&format!("{file}: {}\n", summary(&job)));
    }
    terminal.result(&text)?;
    Ok(if is_sound {
        Status::NothingOut
    } else {
        Status::Unusable
    })
}

/// Points outside of those images that can be read; what else is wrong with an image only a comparison tells.
fn points_outside(job: &Job) -> Vec<job::Fault> {
    let size = |path| images::dimensions(path).ok().map(Into::into);
    let mut outside = Vec::new();
    for (index, view) in job.views.iter().enumerate() {
        if let (Some(render), Some(reference)) =
            (size(&view.render.image), size(&view.reference.image))
        {
            let at = format!("/views/{index}");
            outside.extend(job::points_outside(view, &at, render, reference));
        }
    }
    outside
}

/// Tries the straightening of each view whose reference can be read: what cannot be done, and what is doubtful.
fn straightenings(job: &Job, doubts: &mut Vec<Doubt>) -> Vec<String> {
    let mut cannot = Vec::new();
    for (index, view) in job.views.iter().enumerate() {
        let at = format!("/views/{index}/reference/straighten");
        match pipeline::doubts_of_straightening(&view.reference, &at) {
            Ok(found) => doubts.extend(found),
            Err(error) => cannot.push(format!("{at}: {error}")),
        }
    }
    cannot
}

/// What the job holds, in one line.
fn summary(job: &Job) -> String {
    let total = |count: fn(&job::View) -> usize| job.views.iter().map(count).sum::<usize>();
    format!(
        "can be compared; scale {}, {}, {}, {}, {}, {}",
        job.scale,
        counted(job.views.len(), "view"),
        counted(total(|v| v.landmarks.len()), "landmark"),
        counted(total(|v| v.regions.len()), "region"),
        counted(total(|v| v.spans.len()), "span"),
        counted(total(|v| v.angles.len()), "angle"),
    )
}

fn counted(count: usize, what: &str) -> String {
    let plural = if count == 1 { "" } else { "s" };
    format!("{count} {what}{plural}")
}
