//! `tickstrip merge`: puts the shards of a batch together.
use super::{
    Status,
    batch::{self, Compared},
    compare::{self, Strictness},
    memory::Memory,
    messages::{Failure, Terminal},
};
use crate::{
    job::{self, Job},
    pipeline::{self, Merged},
    report, service,
};
use std::path::{Path, PathBuf};

/// Put the shards of jobs together into their results
///
/// "compare --shard K/N" leaves each shard in a folder beside the results. When all are there, the results are those that one
/// "compare" would have written, to the byte, and the folders of the shards are taken away. A shard that is missing, or was compared
/// by another build of the program, with another job file or other images, is named.
#[derive(clap::Args, Debug)]
#[command(after_help = "Example:
  tickstrip demo
  tickstrip compare fire-pump-demo/pump.json --shard 1/2
  tickstrip compare fire-pump-demo/pump.json --shard 2/2
  tickstrip merge fire-pump-demo/pump.json")]
pub(super) struct Arguments {
    /// The job files; patterns such as 'jobs/*.json' may be quoted
    #[arg(required = true, value_name = "JOB")]
    job: Vec<PathBuf>,
    /// Folder of the results of one job, as its shards were given it [default: JOB without its extension, and -results]
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// Write index.html and summary.csv of all jobs into this folder
    #[arg(long, value_name = "DIR")]
    index: Option<PathBuf>,
    /// Say what is better or worse than in these earlier results of one job, as "compare" does
    #[arg(long, value_name = "RESULTS")]
    against: Option<PathBuf>,
    #[command(flatten)]
    memory: Memory,
    /// Exit with status 1 also where a measure is undecided
    #[arg(long)]
    strict: bool,
}

pub(super) fn run(arguments: &Arguments, terminal: &Terminal) -> Result<Status, Failure> {
    let jobs = batch::named_jobs(&arguments.job)?;
    let of_one_job = match (&arguments.out, &arguments.against) {
        (Some(_), _) => Some("--out"),
        (_, Some(_)) => Some("--against"),
        (None, None) => None,
    };
    if let (Some(option), true) = (of_one_job, jobs.len() > 1) {
        return Err(Failure::OfOneJob { option });
    }
    let stop = service::stop_on_signal().map_err(|source| Failure::Signals { source })?;
    let memory = arguments.memory.budget();
    let merge = |k: usize, job: Job| -> Result<Compared, Failure> {
        let out = arguments.out.clone();
        let asked = Merged {
            out: out.unwrap_or_else(|| compare::results_of(&jobs[k])),
            date: compare::default_date(std::env::var_os("SOURCE_DATE_EPOCH"))?,
            memory: memory.clone(),
            against: against(arguments.against.as_deref())?,
        };
        let outcome = pipeline::merge(&job, &asked, &|_| (), &stop)?;
        Ok(Compared::Whole(Box::new(outcome)))
    };
    let strictness = Strictness::of(arguments.strict);
    let tell = |k: usize, result: &Result<Compared, Failure>| match result {
        Ok(Compared::Whole(outcome)) => {
            compare::tell_outcome(&jobs[k], outcome, strictness, terminal)
        }
        Ok(Compared::Shard(_)) => Ok(Status::NothingOut),
        Err(failure) => {
            terminal.failure_of(&jobs[k], failure);
            Ok(failure.status())
        }
    };
    let read = jobs.iter().map(|job| Ok(job::read(job)?)).collect();
    let done = batch::in_order(read, 1, &|| stop.is_asked(), &merge, &tell);
    let (results, statuses): (Vec<_>, Vec<_>) = done.into_iter().unzip();
    let statuses: Result<Vec<Status>, Failure> = statuses.into_iter().collect();
    let status = batch::worst(statuses?);
    if stop.is_asked() {
        return Ok(Status::Stopped);
    }
    if let Some(folder) = &arguments.index {
        batch::write_index(folder, &jobs, &results, terminal)?;
    }
    Ok(status)
}

fn against(path: Option<&Path>) -> Result<Option<report::Report>, Failure> {
    Ok(path.map(pipeline::report_at).transpose()?)
}
