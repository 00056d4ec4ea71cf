//! `tickstrip check`: reads a job, says what is wrong or doubtful in it, changes nothing.
use super::{
    Status,
    memory::Memory,
    messages::{Failure, Terminal, shown_path},
};
use crate::{
    images::{Budget, Limits},
    job::{self, Fault, Job, View},
    pipeline,
    printable::{on_one_line, shortened},
};
use serde_json::{Value, json};
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
    /// Print faults and doubts as JSON
    #[arg(long)]
    json: bool,
}

/// Something that is wrong or doubtful.
struct Finding {
    /// Where in the job, as a JSON pointer; empty for the job as a whole.
    pointer: String,
    code: String,
    text: String,
}

/// What was found in a job that could be read.
struct Found {
    faults: Vec<Finding>,
    doubts: Vec<Finding>,
}

pub(super) fn run(arguments: &Arguments, terminal: &Terminal) -> Result<Status, Failure> {
    let job = match job::read(&arguments.job) {
        Ok(job) => job,
        Err(error) if arguments.json && !error.faults().is_empty() => {
            let faults = error.faults().iter().map(of_fault).collect();
            let doubts = Vec::new();
            terminal.json(&as_json(None, &Found { faults, doubts }))?;
            return Ok(Status::Unusable);
        }
        Err(error) => return Err(error.into()),
    };
    let found = look(&job, &arguments.memory.budget());
    if arguments.json {
        terminal.json(&as_json(Some(&job), &found))?;
    } else {
        let file = shown_path(&arguments.job);
        for fault in &found.faults {
            terminal.fault(&format!("{file}: {}", fault.line(None)));
        }
        let doubts = found.doubts.iter();
        let doubts = doubts.map(|doubt| format!("doubtful: {file}: {}\n", doubt.line(Some(&job))));
        let mut text: String = doubts.collect();
        if found.faults.is_empty() {
            text.push_str(&format!("{file}: {}\n", summary(&job)));
        }
        terminal.result(&text)?;
    }
    Ok(if found.faults.is_empty() {
        Status::NothingOut
    } else {
        Status::Unusable
    })
}

fn look(job: &Job, memory: &Budget) -> Found {
    let look = pipeline::look(job);
    let mut faults: Vec<Finding> = job::missing_images(job).iter().map(of_fault).collect();
    faults.extend(look.refusals.into_iter().map(|refusal| Finding {
        pointer: refusal.pointer,
        code: refusal.code.to_owned(),
        text: on_one_line(&refusal.text),
    }));
    faults.extend(too_large_views(job, memory));
    let mut doubts = job::doubts(job);
    doubts.extend(look.doubts);
    let doubts = doubts.into_iter().map(|doubt| Finding {
        pointer: doubt.pointer,
        code: doubt.code.as_str().to_owned(),
        text: on_one_line(&doubt.text),
    });
    Found {
        faults,
        doubts: doubts.collect(),
    }
}

fn of_fault(fault: &Fault) -> Finding {
    Finding {
        pointer: fault.pointer.clone(),
        code: fault.code().to_owned(),
        text: fault.text(),
    }
}

impl Finding {
    /// The view that it is about.
    fn view<'j>(&self, job: &'j Job) -> Option<&'j View> {
        let index = self.pointer.strip_prefix("/views/")?.split('/').next()?;
        job.views.get(index.parse::<usize>().ok()?)
    }

    /// Where and what, with the view's name where the job is there: "/views/0/known (front): no known length ...".
    fn line(&self, job: Option<&Job>) -> String {
        match (job.and_then(|job| self.view(job)), self.pointer.is_empty()) {
            (_, true) => self.text.clone(),
            (None, false) => format!("{}: {}", self.pointer, self.text),
            (Some(view), false) => {
                let name = on_one_line(&shortened(&view.name));
                format!("{} ({name}): {}", self.pointer, self.text)
            }
        }
    }

    fn as_json(&self, job: Option<&Job>) -> Value {
        json!({
            "pointer": self.pointer,
            "view": job.and_then(|job| self.view(job)).map(|view| &view.name),
            "code": self.code,
            "text": self.text,
        })
    }
}

fn as_json(job: Option<&Job>, found: &Found) -> String {
    let entries = |list: &[Finding]| list.iter().map(|f| f.as_json(job)).collect::<Vec<_>>();
    let value = json!({
        "can_be_compared": found.faults.is_empty() && !job.is_some_and(Job::compares_nothing),
        "can_be_measured": found.faults.is_empty(),
        "faults": entries(&found.faults),
        "doubts": entries(&found.doubts),
    });
    format!("{value:#}\n")
}

/// Views whose images take more memory than there is, as far as that shows before the pixels. What cannot be read is told
/// elsewhere.
fn too_large_views(job: &Job, memory: &Budget) -> Vec<Finding> {
    let views = job.views.iter().enumerate();
    let too_large = views.filter_map(|(index, view)| {
        let need = pipeline::memory_need(view, &Limits::default(), false).ok()?;
        let error = memory.check(need).err()?;
        Some(Finding {
            pointer: format!("/views/{index}"),
            code: error.code().to_owned(),
            text: error.to_string(),
        })
    });
    too_large.collect()
}

/// What the job holds, in one line.
fn summary(job: &Job) -> String {
    let total = |count: fn(&job::View) -> usize| job.views.iter().map(count).sum::<usize>();
    let can = match job.compares_nothing() {
        true => "has no render to compare; can be measured (`tickstrip measure`)",
        false => "can be compared",
    };
    format!(
        "{can}; scale {}, {}, {}, {}, {}, {}",
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
