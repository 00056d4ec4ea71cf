//! The jobs of the service in memory, each change also on the disk, and the one that works through them.
use super::{
    ServeError, ServeOptions,
    confined::{self, Refusal},
    store::{Skipped, State, Status, Store, Trouble, files_below},
};
use crate::{
    job::Job,
    pipeline::{self, CompareOptions, Event},
    stop::{self, Stop},
};
use serde_json::Value;
use std::{
    collections::HashMap,
    io,
    path::{Path, PathBuf},
    sync::{
        Mutex, MutexGuard, PoisonError,
        atomic::{AtomicBool, Ordering},
    },
};
use time::OffsetDateTime;
use tokio::sync::OwnedSemaphorePermit;

/// A place in the queue, given back when the job is over.
pub(super) type Place = OwnedSemaphorePermit;

/// All jobs.
#[derive(Debug)]
pub(super) struct Registry {
    store: Store,
    root: PathBuf,
    options: ServeOptions,
    jobs: Mutex<Jobs>,
    /// Set when the service ends and the job that runs may not go on.
    ending: AtomicBool,
}

#[derive(Debug, Default)]
struct Jobs {
    by_id: HashMap<String, Entry>,
    /// In the order in which they came in.
    order: Vec<String>,
}

#[derive(Debug)]
struct Entry {
    status: Status,
    stop: Stop,
    is_cancelled: bool,
}

/// Why something cannot be done with a job.
#[derive(Debug)]
pub(super) enum Denied {
    /// There is none.
    NoSuchJob,
    /// It is over, or still running.
    WrongState(State),
    /// The disk.
    Disk(io::Error),
}

impl Registry {
    /// Reads what is on the disk; what is left as it is there comes along.
    pub fn open(options: ServeOptions, root: PathBuf) -> Result<(Self, Vec<Skipped>), ServeError> {
        let (store, found, skipped) = Store::open(&options.state, &now())?;
        let mut jobs = Jobs::default();
        for status in found {
            jobs.add(status);
        }
        let registry = Self {
            store,
            root,
            options,
            jobs: Mutex::new(jobs),
            ending: AtomicBool::new(false),
        };
        Ok((registry, skipped))
    }

    pub fn store(&self) -> &Store {
        &self.store
    }

    /// The folder that jobs may be named in, canonical.
    pub fn root(&self) -> &Path {
        &self.root
    }

    pub fn options(&self) -> &ServeOptions {
        &self.options
    }

    pub fn status(&self, id: &str) -> Option<Status> {
        Some(self.jobs().by_id.get(id)?.status.clone())
    }

    /// All jobs, the newest first.
    pub fn list(&self) -> Vec<Status> {
        let jobs = self.jobs();
        let newest_first = jobs.order.iter().rev();
        newest_first
            .filter_map(|id| Some(jobs.by_id.get(id)?.status.clone()))
            .collect()
    }

    /// How many jobs wait, and how many run.
    pub fn counts(&self) -> [usize; 2] {
        let jobs = self.jobs();
        [State::Queued, State::Running].map(|state| {
            jobs.by_id
                .values()
                .filter(|e| e.status.state == state)
                .count()
        })
    }

    /// Takes in a job that is on the disk already; where the service is ending it is interrupted at once.
    pub fn add(&self, mut status: Status) -> Status {
        let mut jobs = self.jobs();
        if self.ending.load(Ordering::Relaxed) {
            status.interrupt(&now());
            // Should the disk refuse this: a job that waits counts as interrupted when the service starts again.
            let _ = self.store.save(&status);
        }
        jobs.add(status.clone());
        status
    }

    /// Records that a job was not done.
    pub fn interrupt(&self, id: &str) {
        self.change(id, |status| status.interrupt(&now()));
    }

    /// Stops a job that waits or runs.
    pub fn cancel(&self, id: &str) -> Result<Status, Denied> {
        let mut jobs = self.jobs();
        let entry = jobs.by_id.get_mut(id).ok_or(Denied::NoSuchJob)?;
        if entry.status.state.is_over() {
            return Err(Denied::WrongState(entry.status.state));
        }
        entry.is_cancelled = true;
        entry.stop.ask();
        if entry.status.state == State::Queued {
            entry.status.end(State::Cancelled, &now(), None);
            self.store.save(&entry.status).map_err(Denied::Disk)?;
        }
        Ok(entry.status.clone())
    }

    /// Removes a job that is over, with its results. Where its folder holds something else, its new path is returned.
    pub fn remove(&self, id: &str) -> Result<Option<PathBuf>, Denied> {
        let mut jobs = self.jobs();
        let state = jobs.by_id.get(id).ok_or(Denied::NoSuchJob)?.status.state;
        if !state.is_over() {
            return Err(Denied::WrongState(state));
        }
        let left = self.store.remove(id).map_err(Denied::Disk)?;
        jobs.forget(id);
        Ok(left)
    }

    /// Compares one job; called by the worker alone. The place is free when it returns. What is left of older jobs that
    /// went for it is returned.
    pub fn work(&self, id: &str, place: Place) -> Vec<PathBuf> {
        let _place = place;
        let Some(stop) = self.begin(id) else {
            return Vec::new();
        };
        let limit = self.options.limits.job_time;
        let stop = stop.after(limit);
        // A fault of the program in one job must not end the service.
        let run = std::panic::AssertUnwindSafe(|| self.compare(id, &stop));
        let result = std::panic::catch_unwind(run).unwrap_or_else(|_| {
            Err(trouble(
                "internal",
                "the comparison met a fault of the program",
            ))
        });
        let is_cancelled = self.jobs().by_id.get(id).is_some_and(|e| e.is_cancelled);
        self.change(id, |status| {
            if status.state != State::Running {
                return; // It was given up.
            }
            let now = now();
            match result {
                Ok((verdict, files)) => {
                    status.end(State::Finished, &now, None);
                    (status.verdict, status.files) = (verdict, files);
                    if status.verdict.is_none() {
                        let text = "no view could be compared; the report says why";
                        status.end(State::Failed, &now, Some(trouble("no-view-compared", text)));
                    }
                }
                Err(_) if is_cancelled => {
                    status.end(State::Cancelled, &now, None);
                }
                Err(_) if self.ending.load(Ordering::Relaxed) => status.interrupt(&now),
                Err(error) if error.code == "stopped" => {
                    let text = format!("the job took longer than {} s", limit.as_secs());
                    status.end(State::Failed, &now, Some(trouble("time-limit", &text)));
                }
                Err(error) => status.end(State::Failed, &now, Some(error)),
            }
            status.progress.clear();
        });
        self.prune()
    }

    /// Stops the job that runs, and records that those that wait were not done.
    pub fn end(&self) {
        self.ending.store(true, Ordering::Relaxed);
        let mut waiting = Vec::new();
        for entry in self.jobs().by_id.values() {
            match entry.status.state {
                State::Queued => waiting.push(entry.status.id.clone()),
                _ => entry.stop.ask(),
            }
        }
        for id in waiting {
            self.interrupt(&id);
        }
    }

    /// Records a job as interrupted that runs still, for what it waits for does not answer.
    pub fn give_up(&self) {
        let jobs = self.jobs();
        let runs = jobs.by_id.values().map(|e| &e.status);
        let running: Vec<String> = runs
            .filter(|status| status.state == State::Running)
            .map(|status| status.id.clone())
            .collect();
        drop(jobs);
        for id in running {
            self.interrupt(&id);
        }
    }

    /// Marks a job as running; `None` where it is not to be done any more.
    fn begin(&self, id: &str) -> Option<Stop> {
        let mut jobs = self.jobs();
        let entry = jobs.by_id.get_mut(id)?;
        if entry.status.state != State::Queued || self.ending.load(Ordering::Relaxed) {
            return None;
        }
        entry.status.state = State::Running;
        // Should the disk refuse this, the result will tell.
        let _ = self.store.save(&entry.status);
        Some(entry.stop.clone())
    }

    fn compare(&self, id: &str, stop: &Stop) -> Result<(Option<String>, Vec<String>), Trouble> {
        let (root, file) = self.source(id)?;
        let job = read_job(root, file, stop)?;
        let out = self.store.results(id);
        let (date, memory) = (now()[..10].to_owned(), self.options.memory.clone());
        let options = CompareOptions {
            max_megapixels: self.options.limits.megapixels,
            ..CompareOptions::new(out.clone(), date, memory)
        };
        let observer = |event: Event<'_>| {
            let (view, stage) = match event {
                Event::Stage { view, stage } => (view, stage),
                Event::Finished { view } => (view, "finished"),
            };
            if let Some(entry) = self.jobs().by_id.get_mut(id) {
                let progress = &mut entry.status.progress;
                progress.insert(view.to_owned(), Value::from(stage));
            }
        };
        let outcome = pipeline::compare_until(&job, &options, &observer, stop)
            .map_err(|e| trouble(e.code(), &e.to_string()))?;
        let verdict = outcome
            .report
            .verdict
            .map(|verdict| verdict.word().to_owned());
        Ok((verdict, files_below(&out)))
    }

    /// Where the job file lies and the folder that it may not lead out of.
    fn source(&self, id: &str) -> Result<(PathBuf, PathBuf), Trouble> {
        let path = self.status(id).and_then(|status| status.path);
        let file = match &path {
            // Looked up again: a link may have been put in its place meanwhile.
            Some(path) => confined::file(&self.root, path),
            None => Ok(self.store.input(id).join("job.json")),
        };
        let file = file.map_err(|e: Refusal| trouble(e.code(), &e.to_string()))?;
        let root = match path {
            Some(_) => self.root.clone(),
            None => self.store.input(id),
        };
        Ok((root, file))
    }

    fn change(&self, id: &str, change: impl FnOnce(&mut Status)) {
        let mut jobs = self.jobs();
        if let Some(entry) = jobs.by_id.get_mut(id) {
            change(&mut entry.status);
            // In memory it is right; after a restart it would count as interrupted.
            let _ = self.store.save(&entry.status);
        }
    }

    /// Removes the oldest jobs that are over beyond the number to be kept.
    fn prune(&self) -> Vec<PathBuf> {
        let surplus: Vec<String> = {
            let jobs = self.jobs();
            let over = |id: &&String| {
                jobs.by_id
                    .get(*id)
                    .is_some_and(|e| e.status.state.is_over())
            };
            let over: Vec<&String> = jobs.order.iter().filter(over).collect();
            let count = over.len().saturating_sub(self.options.limits.kept);
            over[..count].iter().map(|id| (*id).clone()).collect()
        };
        let removed = surplus.iter().map(|id| self.remove(id));
        removed.filter_map(|left| left.ok().flatten()).collect()
    }

    fn jobs(&self) -> MutexGuard<'_, Jobs> {
        self.jobs.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Jobs {
    fn add(&mut self, status: Status) {
        self.order.push(status.id.clone());
        let entry = Entry {
            stop: Stop::default(),
            is_cancelled: false,
            status,
        };
        self.by_id.insert(entry.status.id.clone(), entry);
    }

    fn forget(&mut self, id: &str) {
        self.by_id.remove(id);
        self.order.retain(|other| other != id);
    }
}

/// Reads a job file, which takes longer than a second where it is large.
fn read_job(root: PathBuf, file: PathBuf, stop: &Stop) -> Result<Job, Trouble> {
    let of_run = |e: pipeline::Error| trouble(e.code(), &e.to_string());
    stop.run(|| stop::wait_for(move || confined::read_job(&root, &file)))
        .map_err(|source| of_run(pipeline::Error::Threads { source }))?
        .map_err(|stopped| of_run(stopped.into()))?
        .map_err(|e| trouble(e.code(), &e.to_string()))
}

fn trouble(code: &str, text: &str) -> Trouble {
    Trouble {
        code: code.to_owned(),
        text: text.to_owned(),
    }
}

/// The time in UTC, RFC 3339.
pub(super) fn now() -> String {
    let now = OffsetDateTime::now_utc();
    format!(
        "{:04}-{:02}-{:02}T{:02}:{:02}:{:02}Z",
        now.year(),
        u8::from(now.month()),
        now.day(),
        now.hour(),
        now.minute(),
        now.second()
    )
}
