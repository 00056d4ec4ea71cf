//! The comparison as an HTTP service: jobs are posted, wait in a bounded queue, and leave their results on the disk.
//!
//! [`store`] is the disk (in a [`state_folder`]), [`registry`] the jobs and the worker, [`intake`] what comes in,
//! [`confined`] keeps all paths inside one folder, [`openapi`] describes it.
mod confined;
mod desk;
mod error;
mod intake;
mod log;
mod openapi;
mod options;
mod registry;
mod routes;
mod state_folder;
mod store;

pub use error::ServeError;
pub use log::Log;
pub use options::{ServeLimits, ServeOptions};

use super::{connections, shell};
use desk::{Desk, Turn};
use log::{SET_ASIDE, tell};
use registry::Registry;
use std::{
    sync::{Arc, mpsc},
    thread,
    time::{Duration, Instant},
};
use tokio::sync::Semaphore;

/// Serves until the program is asked to end; `ready` is told the address.
///
/// # Errors
/// Where the address is open to others without a token, or taken, or a folder cannot be used.
pub fn serve(options: ServeOptions, ready: &dyn Fn(&str), log: Log) -> Result<(), ServeError> {
    check_token(&options)?;
    let unusable = |source| ServeError::Folder {
        path: options.folder.clone(),
        source,
    };
    let root = std::fs::canonicalize(&options.folder).map_err(unusable)?;
    let (listen, grace) = (options.listen, options.limits.grace);
    let places = Arc::new(Semaphore::new(options.limits.queue));
    let (registry, skipped) = Registry::open(options, root)?;
    for entry in skipped {
        tell(&log, &entry.path, &entry.reason);
    }
    let registry = Arc::new(registry);
    let (turns, worker) = start_worker(&registry, &log);
    let server = |source| ServeError::Server { source };
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .enable_all()
        .build()
        .map_err(server)?;
    let desk = Desk {
        registry: Arc::clone(&registry),
        places,
        turns,
        reading: Arc::default(),
        log,
    };
    let served = runtime.block_on(async {
        let (listener, address) =
            connections::listen(listen)
                .await
                .map_err(|source| ServeError::Address {
                    address: listen,
                    source,
                })?;
        let mut asked = shell::Asked::listen().map_err(server)?;
        ready(&format!("http://{address}/"));
        let router = routes::router(desk, address);
        connections::answer(listener, router, CONNECTIONS, asked.next(), BODIES).await;
        Ok(())
    });
    // Requests that hang are given up, and with them the last sender of turns.
    runtime.shutdown_timeout(BODIES);
    finish(&registry, &worker, grace);
    served
}

/// Connections at a time. A judgement: each may hold some 128 kB.
const CONNECTIONS: usize = 256;
/// How long requests that are being answered may go on when the service is asked to end.
const BODIES: Duration = Duration::from_secs(2);
/// How long a job may take to stop: it asks within a second.
const STOPPING: Duration = Duration::from_secs(3);

fn check_token(options: &ServeOptions) -> Result<(), ServeError> {
    match &options.token {
        Some(token) if token.len() < 16 => Err(ServeError::ShortToken { found: token.len() }),
        None if !options.listen.ip().is_loopback() => Err(ServeError::NoToken {
            address: options.listen,
        }),
        _ => Ok(()),
    }
}

/// One job at a time: a comparison uses all processors by itself.
fn start_worker(
    registry: &Arc<Registry>,
    log: &Log,
) -> (mpsc::Sender<Turn>, thread::JoinHandle<()>) {
    let (sender, turns) = mpsc::channel::<Turn>();
    let (registry, log) = (Arc::clone(registry), Arc::clone(log));
    let worker = thread::spawn(move || {
        for (id, place) in turns {
            for path in registry.work(&id, place) {
                tell(&log, &path, SET_ASIDE);
            }
        }
    });
    (sender, worker)
}

/// Lets the job that runs come to its end within the grace, then stops it; those that wait, and one that does not stop,
/// are recorded as interrupted.
fn finish(registry: &Registry, worker: &thread::JoinHandle<()>, grace: Duration) {
    wait(grace, || registry.counts()[1] == 0);
    registry.end();
    // The channel is closed, so that the worker ends then.
    wait(STOPPING, || worker.is_finished());
    registry.give_up();
}

/// Waits until something is so, for a time.
fn wait(most: Duration, is_so: impl Fn() -> bool) {
    let begun = Instant::now();
    while !is_so() && begun.elapsed() < most {
        thread::sleep(Duration::from_millis(20));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::images::Budget;
    use store::{State, Status};

    #[test]
    fn a_job_that_hangs_is_recorded_as_interrupted_and_not_waited_for() {
        let folder = tempfile::tempdir().expect("a folder");
        let options = ServeOptions {
            folder: folder.path().to_owned(),
            state: folder.path().to_owned(),
            listen: ([127, 0, 0, 1], 0).into(),
            token: None,
            limits: ServeLimits::default(),
            memory: Budget::new(1 << 30),
        };
        let (registry, _) =
            Registry::open(options.clone(), folder.path().to_owned()).expect("opened");
        let incoming = registry.store().incoming().expect("room");
        let id = incoming.id().to_owned();
        let status = Status {
            id: id.clone(),
            state: State::Queued,
            title: "t".to_owned(),
            path: None,
            submitted: "2031-04-05T06:07:08Z".to_owned(),
            ended: None,
            progress: serde_json::Map::new(),
            verdict: None,
            error: None,
            files: Vec::new(),
        };
        let admitted = registry.store().admit(incoming, &status);
        admitted.expect("admitted");
        registry.add(Status {
            state: State::Running,
            ..status
        });
        let (release, held) = mpsc::channel::<()>();
        let worker = thread::spawn(move || {
            let _ = held.recv();
        });
        finish(&registry, &worker, Duration::from_millis(100));
        let state = |registry: &Registry| registry.status(&id).map(|status| status.state);
        assert_eq!(state(&registry), Some(State::Interrupted));
        // The folder is the first one's as long as that is there.
        drop(registry);
        let (again, _) = Registry::open(options, folder.path().to_owned()).expect("opened");
        assert_eq!(state(&again), Some(State::Interrupted));
        drop(release);
    }
}
