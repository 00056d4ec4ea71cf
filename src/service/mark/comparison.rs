//! "Compare now": the comparison of the job as it is saved, while the page stays usable.
use super::MarkOptions;
use crate::{
    job,
    pipeline::{self, CompareOptions, Event, Results, Reuse},
    stop::Stop,
};
use serde_json::{Map, Value, json};
use std::{
    path::{Path, PathBuf},
    sync::{Arc, Mutex, PoisonError},
    thread,
    time::{Duration, Instant},
};

/// The comparison that runs or ran last.
#[derive(Clone, Debug, Default)]
pub(super) struct Comparison {
    state: Arc<Mutex<State>>,
}

#[derive(Debug, Default)]
enum State {
    #[default]
    None,
    Running {
        /// View to stage.
        stages: Map<String, Value>,
        /// What it is stopped by.
        stop: Stop,
    },
    Finished {
        /// Counts the comparisons, so that pictures are not taken from an older one.
        number: u64,
        result: Result<Value, String>,
    },
}

impl Comparison {
    /// Starts one, unless one runs.
    pub fn start(&self, file: &Path, options: &MarkOptions) {
        let mut state = self.lock();
        let number = match &*state {
            State::Running { .. } => return,
            State::None => 1,
            State::Finished { number, .. } => number + 1,
        };
        let stop = Stop::default();
        *state = State::Running {
            stages: Map::new(),
            stop: stop.clone(),
        };
        drop(state);
        let (own, file) = (self.clone(), file.to_owned());
        let (out, date) = (options.out.clone(), options.date.clone());
        let options = CompareOptions {
            max_megapixels: options.limits.max_pixels as f64 / 1e6,
            reuse: Reuse::OfAnyDate,
            ..CompareOptions::new(out, date, options.memory.clone())
        };
        thread::spawn(move || {
            // A panic must not leave the page waiting.
            let run = std::panic::AssertUnwindSafe(|| own.compare(&file, &options, &stop));
            let result = std::panic::catch_unwind(run)
                .unwrap_or_else(|_| Err("the comparison met a fault of the program".to_owned()));
            *own.lock() = State::Finished { number, result };
        });
    }

    /// Stops it where it runs, and waits until it has ended, so long at most.
    pub fn end(&self, grace: Duration) {
        let begun = Instant::now();
        while self.ask_to_stop() && begun.elapsed() < grace {
            thread::sleep(Duration::from_millis(20));
        }
    }

    /// Whether there is one to be stopped.
    fn ask_to_stop(&self) -> bool {
        match &*self.lock() {
            State::Running { stop, .. } => {
                stop.ask();
                true
            }
            _ => false,
        }
    }

    fn compare(&self, file: &Path, options: &CompareOptions, stop: &Stop) -> Result<Value, String> {
        let job = job::read(file).map_err(|error| error.to_string())?;
        let observer = |event: Event<'_>| {
            let (view, stage) = match event {
                Event::Stage { view, stage } => (view, stage),
                Event::Finished { view } => (view, "finished"),
            };
            if let State::Running { stages, .. } = &mut *self.lock() {
                stages.insert(view.to_owned(), Value::from(stage));
            }
        };
        let outcome =
            pipeline::compare_until(&job, options, &observer, stop).map_err(|e| e.to_string())?;
        let is_kept = outcome.results == Results::EarlierKept;
        Ok(json!({ "report": outcome.report, "earlier_kept": is_kept, "notes": outcome.notes }))
    }

    /// What the page shows of it.
    pub fn describe(&self, out: &Path) -> Value {
        match &*self.lock() {
            State::None => json!({ "state": "none" }),
            State::Running { stages, .. } => json!({ "state": "running", "stages": stages }),
            State::Finished { number, result } => match result {
                Ok(found) => json!({
                    "state": "finished", "number": number, "found": found,
                    "folder": PathBuf::from(out),
                }),
                Err(text) => json!({ "state": "failed", "number": number, "text": text }),
            },
        }
    }

    fn lock(&self) -> std::sync::MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }
}
