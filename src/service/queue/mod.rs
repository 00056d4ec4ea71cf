//! The comparison as an HTTP service: jobs are posted, wait in a bounded queue, and leave their results on the disk.
//!
//! [`store`] is the disk (in a [`state_folder`]), [`registry`] the jobs and the worker, [`intake`] what comes in,
//! [`confined`] keeps all paths inside one folder, [`openapi`] describes it.
mod confined;
mod intake;
mod openapi;
mod registry;
mod routes;
mod state_folder;
mod store;

use super::{connections, shell};
use crate::images::Budget;
use registry::{Place, Registry};
use serde_json::json;
use std::{
    io,
    net::SocketAddr,
    path::{Path, PathBuf},
    sync::{Arc, mpsc},
    thread,
    time::{Duration, Instant},
};
use tokio::sync::{Mutex, Semaphore};

/// What the service is asked for.
#[derive(Clone, Debug)]
pub struct ServeOptions {
    /// Jobs may be named by their path below this folder.
    pub folder: PathBuf,
    /// Where jobs and results are kept.
    pub state: PathBuf,
    /// Address to listen on; any but a loopback one needs a token.
    pub listen: SocketAddr,
    /// What a request must show as `Authorization: Bearer`.
    pub token: Option<String>,
    /// What is refused.
    pub limits: ServeLimits,
    /// The memory that the images of all jobs share.
    pub memory: Budget,
}

/// What is refused, so that no request can take the whole machine.
#[derive(Clone, Copy, Debug)]
pub struct ServeLimits {
    /// Jobs that wait, run or come in at a time.
    pub queue: usize,
    /// Largest body of a request, bytes.
    pub body: usize,
    /// Largest file in it, bytes.
    pub file: usize,
    /// Longest time for a body to arrive.
    pub body_time: Duration,
    /// Largest image, megapixels.
    pub megapixels: f64,
    /// Longest time for a job, from its turn on.
    pub job_time: Duration,
    /// Jobs that are over and kept with their results; the oldest goes first.
    pub kept: usize,
    /// How long the job that runs may go on when the service is asked to end.
    pub grace: Duration,
}

impl Default for ServeLimits {
    fn default() -> Self {
        Self {
            queue: 32,
            body: 256 << 20,
            file: 128 << 20,
            body_time: Duration::from_secs(60),
            megapixels: 100.0,
            job_time: Duration::from_secs(300),
            kept: 200,
            grace: Duration::from_secs(5),
        }
    }
}

/// Why the service cannot be run.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ServeError {
    /// Others could use it.
    #[error(
        "{address} can be reached by other computers: set TICKSTRIP_TOKEN to a secret of 16 letters or more, which requests must show, or listen on 127.0.0.1"
    )]
    NoToken {
        /// The address.
        address: SocketAddr,
    },
    /// The token is too easy to guess.
    #[error("TICKSTRIP_TOKEN has {found} letters; it must have 16 or more")]
    ShortToken {
        /// Its length.
        found: usize,
    },
    /// The address cannot be used.
    #[error("{address} cannot be listened on: {source}; choose another with --listen")]
    Address {
        /// The address.
        address: SocketAddr,
        /// What the operating system says.
        source: io::Error,
    },
    /// A folder cannot be used.
    #[error("{}: cannot be used: {source}", path.display())]
    Folder {
        /// The folder.
        path: PathBuf,
        /// What the operating system says.
        source: io::Error,
    },
    /// The folder for the state holds something else.
    #[error(
        "{}: this folder holds other files and no tickstrip-service.json, so that nothing tells what in it is the service's; name an empty or new folder with --state, or move this one away, also where it holds jobs of an earlier version",
        path.display()
    )]
    ForeignState {
        /// The folder.
        path: PathBuf,
    },
    /// Another server works in the folder.
    #[error("{}: another server keeps its jobs in this folder; end it, or name another folder with --state", path.display())]
    StateInUse {
        /// The folder.
        path: PathBuf,
    },
    /// Nothing can keep another server out of the folder.
    #[error("{}: files in this folder cannot be locked: {source}; name a folder on a disk of this computer with --state", path.display())]
    NoLock {
        /// The folder.
        path: PathBuf,
        /// What the operating system says.
        source: io::Error,
    },
    /// The server cannot be started or ended with an error.
    #[error("the service cannot be run: {source}")]
    Server {
        /// What the operating system says.
        source: io::Error,
    },
}

/// Takes the lines of the log: one JSON object a request, and one for each thing in the state's folder that is left alone.
pub type Log = Arc<dyn Fn(&str) + Send + Sync>;

/// Why something of a job that was removed is there still.
const SET_ASIDE: &str = "the job was removed, and this held more than the service put in";

/// Tells of something in the state's folder that is left as it is.
fn tell(log: &Log, path: &Path, reason: &str) {
    let line = json!({ "time": registry::now(), "left": path, "reason": reason });
    log(&line.to_string());
}

/// A job's id and its place in the queue.
type Turn = (String, Place);

/// What the requests share.
#[derive(Clone)]
struct Desk {
    registry: Arc<Registry>,
    places: Arc<Semaphore>,
    turns: mpsc::Sender<Turn>,
    /// Held while a job file is read: many large ones at a time would fill the memory.
    reading: Arc<Mutex<()>>,
    log: Log,
}

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
