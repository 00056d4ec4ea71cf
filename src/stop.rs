//! Asking a run to end before it is done, and how a loop at any depth hears of it.
//!
//! A run works on threads of its own ([`Stop::run`]), and each of them knows the run's [`Stop`]: so a long loop asks
//! [`is_asked`] without every function above it handing something down. Outside of a run nobody is asked to stop.
//!
//! What a function returns that was left early is not whole. Those who can fail call [`check`] before they go on with it.
use std::{
    cell::OnceCell,
    sync::{
        Arc, Mutex, PoisonError,
        atomic::{AtomicBool, Ordering},
        mpsc::{self, RecvTimeoutError},
    },
    thread,
    time::{Duration, Instant},
};

/// How often somebody who waits looks whether he should.
const LOOK: Duration = Duration::from_millis(20);

/// What a run is asked to stop by; clones ask the same run.
#[derive(Clone, Debug, Default)]
pub struct Stop {
    asked: Arc<AtomicBool>,
    deadline: Option<Instant>,
}

/// A run was asked to stop.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("stopped before it was done")]
pub struct Stopped;

thread_local! {
    static OF_THIS_RUN: OnceCell<Stop> = const { OnceCell::new() };
}

impl Stop {
    /// The same, and after this time from now without being asked.
    pub fn after(&self, time: Duration) -> Self {
        Self {
            asked: Arc::clone(&self.asked),
            deadline: Instant::now().checked_add(time),
        }
    }

    /// Asks the run to stop.
    pub fn ask(&self) {
        self.asked.store(true, Ordering::Relaxed);
    }

    /// Whether the run is to stop; once it is, it stays so.
    pub fn is_asked(&self) -> bool {
        self.asked.load(Ordering::Relaxed) || self.deadline.is_some_and(|d| Instant::now() >= d)
    }

    /// Does work on threads of its own that can be stopped: as many as the caller has, or one for each processor.
    ///
    /// # Errors
    /// Where the system gives no threads.
    pub fn run<T: Send>(
        &self,
        work: impl FnOnce() -> T + Send,
    ) -> Result<T, rayon::ThreadPoolBuildError> {
        let threads = match rayon::current_thread_index() {
            Some(_) => rayon::current_num_threads(),
            None => 0,
        };
        let stop = self.clone();
        let pool = rayon::ThreadPoolBuilder::new()
            .num_threads(threads)
            .start_handler(move |_| OF_THIS_RUN.with(|of| _ = of.set(stop.clone())))
            .build()?;
        Ok(pool.install(work))
    }
}

/// Whether the run that this thread works for is to stop.
pub fn is_asked() -> bool {
    OF_THIS_RUN.with(|of| of.get().is_some_and(Stop::is_asked))
}

/// Fails where the run that this thread works for is to stop.
///
/// # Errors
/// [`Stopped`].
pub fn check() -> Result<(), Stopped> {
    if is_asked() { Err(Stopped) } else { Ok(()) }
}

/// Waits for work that cannot ask, such as another crate's decoder or a file that does not answer. Where the run is to
/// stop meanwhile, the work is left alone on its thread: it goes on to its end and its result is dropped.
///
/// # Errors
/// [`Stopped`].
pub fn wait_for<T: Send + 'static>(
    work: impl FnOnce() -> T + Send + 'static,
) -> Result<T, Stopped> {
    if OF_THIS_RUN.with(|of| of.get().is_none()) {
        return Ok(work());
    }
    check()?;
    let (sender, result) = mpsc::channel();
    let slot = Arc::new(Mutex::new(Some(work)));
    let take = |slot: &Mutex<Option<_>>| {
        let mut slot = slot.lock().unwrap_or_else(PoisonError::into_inner);
        slot.take().expect("nobody else does the work")
    };
    let own = Arc::clone(&slot);
    let spawned = thread::Builder::new().spawn(move || {
        let work = take(&own);
        // Where nobody waits any more the result is dropped.
        let _ = sender.send(work());
    });
    let Ok(worker) = spawned else {
        // The system gives no thread: then it is waited for here.
        return Ok(take(&slot)());
    };
    loop {
        match result.recv_timeout(LOOK) {
            Ok(result) => return Ok(result),
            Err(RecvTimeoutError::Timeout) => check()?,
            // It panicked.
            Err(RecvTimeoutError::Disconnected) => match worker.join() {
                Err(panic) => std::panic::resume_unwind(panic),
                Ok(()) => unreachable!("work that ended has sent its result"),
            },
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rayon::prelude::*;

    #[test]
    fn every_thread_of_a_run_hears_that_it_is_to_stop_and_no_other_does() {
        let stop = Stop::default();
        let heard = stop.run(|| {
            let before = is_asked();
            stop.ask();
            let after: Vec<bool> = (0..1000).into_par_iter().map(|_| is_asked()).collect();
            (before, after.iter().all(|heard| *heard), check())
        });
        assert_eq!(heard.expect("threads"), (false, true, Err(Stopped)));
        assert!(!is_asked());
        let other = Stop::default().run(is_asked);
        assert!(!other.expect("threads"));
    }

    #[test]
    fn a_run_has_as_many_threads_as_the_one_who_starts_it() {
        let three = rayon::ThreadPoolBuilder::new().num_threads(3).build();
        let threads = three
            .expect("threads")
            .install(|| Stop::default().run(rayon::current_num_threads));
        assert_eq!(threads.expect("threads"), 3);
    }

    #[test]
    fn time_alone_stops_a_run() {
        let stop = Stop::default();
        assert!(!stop.after(Duration::from_secs(3600)).is_asked());
        assert!(!stop.after(Duration::MAX).is_asked());
        assert!(stop.after(Duration::ZERO).is_asked());
        assert!(!stop.is_asked());
    }

    #[test]
    fn work_that_does_not_ask_is_left_alone() {
        let (release, held) = mpsc::channel::<()>();
        let stop = Stop::default();
        let limited = stop.after(Duration::from_millis(50));
        let waited = limited.run(move || wait_for(move || held.recv().is_ok()));
        assert_eq!(waited.expect("threads"), Err(Stopped));
        drop(release);
        let done = stop.run(|| wait_for(|| 7));
        assert_eq!(done.expect("threads"), Ok(7));
        assert_eq!(wait_for(|| 8), Ok(8));
    }

    #[test]
    fn a_panic_of_work_is_passed_on() {
        let run = || Stop::default().run(|| wait_for(|| panic!("as meant")));
        let panicked = std::panic::catch_unwind(|| run().map(|r: Result<(), _>| r.is_ok()).is_ok());
        assert!(panicked.is_err());
    }
}
