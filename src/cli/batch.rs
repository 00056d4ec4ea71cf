//! Several jobs: by name and by pattern, two at a time, told in their order.
use super::{
    Status,
    messages::{Failure, Terminal, shown_path},
};
use crate::pipeline::{self, IndexedJob, Outcome, ShardOutcome};
use std::{
    collections::{BTreeMap, BTreeSet},
    fs,
    path::{Path, PathBuf},
    sync::{
        Mutex, PoisonError,
        atomic::{AtomicUsize, Ordering},
    },
    thread,
};

/// Most jobs of one run: a judgement, and a bound for patterns that were not meant.
const MOST_JOBS: usize = 100_000;

/// What came of a job of a batch.
pub(super) enum Compared {
    /// All of it.
    Whole(Box<Outcome>),
    /// A share of its views.
    Shard(ShardOutcome),
}

/// The job files that are named, each once: a name with `*`, `?` or `[` that is no file is a pattern, its files in alphabetical order.
///
/// # Errors
/// Where a pattern is none or has no file.
pub(super) fn named_jobs(named: &[PathBuf]) -> Result<Vec<PathBuf>, Failure> {
    let mut jobs = Vec::new();
    let mut seen = BTreeSet::new();
    for name in named {
        for job in files_of(name)? {
            let real = fs::canonicalize(&job).unwrap_or_else(|_| job.clone());
            if seen.insert(real) {
                jobs.push(job);
            }
        }
    }
    if jobs.len() > MOST_JOBS {
        let most = MOST_JOBS;
        return Err(Failure::TooManyJobs { most });
    }
    Ok(jobs)
}

fn files_of(name: &Path) -> Result<Vec<PathBuf>, Failure> {
    let pattern = name.to_str().filter(|text| text.contains(['*', '?', '[']));
    let Some(pattern) = pattern.filter(|_| fs::symlink_metadata(name).is_err()) else {
        return Ok(vec![name.to_owned()]);
    };
    let bad = |reason: String| Failure::Pattern {
        pattern: name.to_owned(),
        reason,
    };
    let found = glob::glob(pattern).map_err(|error| bad(error.to_string()))?;
    let files: Vec<PathBuf> = found
        .flatten()
        .filter(|path| path.is_file())
        .take(MOST_JOBS + 1)
        .collect();
    match files.is_empty() {
        true => Err(bad("no file has such a name".to_owned())),
        false => Ok(files),
    }
}

/// Tells what came of a job of this number, and the status that follows.
type Tell<'a, T> = dyn Fn(usize, &Result<T, Failure>) -> Result<Status, Failure> + Sync + 'a;

/// Does `work` for each job that could be read, so many at a time; `tell` hears of each in the jobs' order, as soon as those before it
/// are done. After a request to stop no further job is begun.
pub(super) fn in_order<J: Send, T: Send>(
    jobs: Vec<Result<J, Failure>>,
    at_once: usize,
    stopped: &(dyn Fn() -> bool + Sync),
    work: &(dyn Fn(usize, J) -> Result<T, Failure> + Sync),
    tell: &Tell<'_, T>,
) -> Vec<(Result<T, Failure>, Result<Status, Failure>)> {
    let open: Vec<Mutex<Option<Result<J, Failure>>>> =
        jobs.into_iter().map(|job| Mutex::new(Some(job))).collect();
    let next = AtomicUsize::new(0);
    let ready = Mutex::new((BTreeMap::new(), Vec::new()));
    let worker = || {
        while !stopped() {
            let k = next.fetch_add(1, Ordering::Relaxed);
            let Some(slot) = open.get(k) else { break };
            let job = slot.lock().unwrap_or_else(PoisonError::into_inner).take();
            let Some(job) = job else { break };
            let result = job.and_then(|job| work(k, job));
            let mut ready = ready.lock().unwrap_or_else(PoisonError::into_inner);
            let (waiting, told) = &mut *ready;
            waiting.insert(k, result);
            while let Some(result) = waiting.remove(&told.len()) {
                let status = tell(told.len(), &result);
                told.push((result, status));
            }
        }
    };
    thread::scope(|scope| {
        let workers: Vec<_> = (1..at_once.min(open.len()))
            .map(|_| scope.spawn(worker))
            .collect();
        worker();
        for worker in workers {
            if let Err(panic) = worker.join() {
                std::panic::resume_unwind(panic);
            }
        }
    });
    let ready = ready.into_inner().unwrap_or_else(PoisonError::into_inner);
    ready.1
}

/// The status of a batch: that of the job that weighs the most.
pub(super) fn worst(statuses: Vec<Status>) -> Status {
    const BY_WEIGHT: [Status; 6] = [
        Status::Stopped,
        Status::Unusable,
        Status::ViewsFailed,
        Status::SomethingWorse,
        Status::SomethingOut,
        Status::NothingOut,
    ];
    let has = |status: &Status| statuses.contains(status);
    BY_WEIGHT
        .into_iter()
        .find(has)
        .unwrap_or(Status::NothingOut)
}

/// Writes the index of a batch and says where it is.
///
/// # Errors
/// Where it cannot be written.
pub(super) fn write_index(
    folder: &Path,
    jobs: &[PathBuf],
    results: &[Result<Compared, Failure>],
    terminal: &Terminal,
) -> Result<(), Failure> {
    let entries = jobs.iter().zip(results).map(|(job, result)| IndexedJob {
        job: job.display().to_string(),
        result: match result {
            Ok(Compared::Whole(outcome)) => Ok((outcome.out.clone(), outcome.report.clone())),
            Ok(Compared::Shard(shard)) => Err(shard.out.display().to_string()),
            Err(failure) => Err(failure.to_string()),
        },
    });
    let entries: Vec<IndexedJob> = entries.collect();
    let notes = pipeline::write_index(folder, &entries).map_err(Failure::Index)?;
    terminal.result(&format!("index in {}\n", shown_path(folder)))?;
    for note in notes {
        terminal.fault(&format!("note: {note}"));
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_status_that_weighs_the_most_is_that_of_the_batch() {
        use Status::*;
        assert_eq!(worst(vec![]), NothingOut);
        assert_eq!(worst(vec![NothingOut, SomethingOut]), SomethingOut);
        assert_eq!(worst(vec![SomethingWorse, SomethingOut]), SomethingWorse);
        assert_eq!(worst(vec![ViewsFailed, SomethingWorse]), ViewsFailed);
        assert_eq!(worst(vec![NothingOut, Unusable, ViewsFailed]), Unusable);
    }

    #[test]
    fn jobs_are_told_in_their_order_and_a_bad_one_does_not_stop_the_rest() {
        let jobs: Vec<Result<u32, Failure>> =
            vec![Ok(30), Err(Failure::TooManyJobs { most: 0 }), Ok(0), Ok(10)];
        let work = |_: usize, pause: u32| {
            thread::sleep(std::time::Duration::from_millis(pause.into()));
            Ok(pause)
        };
        let order = Mutex::new(Vec::new());
        let tell = |k: usize, result: &Result<u32, Failure>| {
            order
                .lock()
                .expect("not poisoned")
                .push((k, result.is_ok()));
            Ok(Status::NothingOut)
        };
        let done = in_order(jobs, 2, &|| false, &work, &tell);
        assert_eq!(done.len(), 4);
        let order = order.into_inner().expect("not poisoned");
        assert_eq!(order, [(0, true), (1, false), (2, true), (3, true)]);
    }

    #[test]
    fn patterns_become_files_in_order_each_once() {
        let folder = tempfile::tempdir().expect("a folder");
        for name in ["b.json", "a.json", "c.txt", "odd[1].json"] {
            fs::write(folder.path().join(name), "{}").expect("written");
        }
        let at = |name: &str| folder.path().join(name);
        let found = named_jobs(&[at("b.json"), at("?.json"), at("odd[1].json")]).expect("found");
        // The last one is a file, whatever its name looks like.
        assert_eq!(found, [at("b.json"), at("a.json"), at("odd[1].json")]);
        let told = named_jobs(&[at("*.xml")]).expect_err("none").to_string();
        assert!(told.contains("no file has such a name"), "{told}");
        let told = named_jobs(&[at("[.json")]).expect_err("none").to_string();
        assert!(told.contains("[.json"), "{told}");
        // What is no pattern is told when it is read.
        assert_eq!(named_jobs(&[at("none.json")]).expect("a name").len(), 1);
    }
}
