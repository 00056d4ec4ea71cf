//! `tickstrip check`: reads a job, says what is wrong or doubtful in it, changes nothing.
use super::{
    Status,
    memory::Memory,
    messages::{Failure, Terminal, shown_path},
};
use crate::{
    images::{Budget, Limits},
    job::{self, Job},
    pipeline,
};
use std::path::PathBuf;

/// Read a job, say what is wrong or doubtful in it, change nothing
///
/// Faults, and why a view would not be compared, go to standard error, with exit status 2. Doubts, which do not stop a
/// comparison, go to standard output. Of the images only the heads are read: a damaged picture shows when it is compared.
#[derive(clap::Args, Debug)]
#[command(after_help = "Example:
  tickstrip demo
  tickstrip check fire-pump-demo/pump.json")]
pub(super) struct Arguments {
    /// The job file
    job: PathBuf,
    #[command(flatten)]
    memory: Memory,
}

pub(super) fn run(arguments: &Arguments, terminal: &Terminal) -> Result<Status, Failure> {
    let job = job::read(&arguments.job)?;
    let file = shown_path(&arguments.job);
    let missing = job::missing_images(&job);
    let look = pipeline::look(&job);
    for fault in &missing {
        terminal.fault(&format!("{file}: {fault}"));
    }
    for refusal in &look.refusals {
        terminal.fault(&format!("{file}: {refusal}"));
    }
    let too_large = too_large_views(&job, &arguments.memory.budget());
    for fault in &too_large {
        terminal.fault(&format!("{file}: {fault}"));
    }
    let mut doubts = job::doubts(&job);
    doubts.extend(look.doubts);
    let mut text = String::new();
    for doubt in &doubts {
        text.push_str(&format!("doubtful: {file}: {doubt}\n"));
    }
    let is_sound = missing.is_empty() && look.refusals.is_empty() && too_large.is_empty();
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

/// Views whose images take more memory than there is, as far as that shows before the pixels. What cannot be read is told
/// elsewhere.
fn too_large_views(job: &Job, memory: &Budget) -> Vec<String> {
    let views = job.views.iter().enumerate();
    let too_large = views.filter_map(|(index, view)| {
        let need = pipeline::memory_need(view, &Limits::default(), false).ok()?;
        let error = memory.check(need).err()?;
        Some(format!("/views/{index}: {error}"))
    });
    too_large.collect()
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
