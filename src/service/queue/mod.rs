//! The comparison as an HTTP service: jobs are posted, wait in a bounded queue, and leave their results on the disk.
//!
//! [`store`] is the disk, [`registry`] the jobs and the worker, [`intake`] what comes in, [`confined`] keeps all paths
//! inside one folder, [`openapi`] describes it.
mod confined;
mod intake;
mod openapi;
mod registry;
mod routes;
mod store;

use super::shell;
use crate::images::Budget;
use registry::{Place, Registry};
use std::{
    io,
    net::SocketAddr,
    path::PathBuf,
    sync::{Arc, mpsc},
    thread,
    time::Duration,
};
use tokio::sync::Semaphore;

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
            body_time: Duration::from_secs(60),
            megapixels: 100.0,
            job_time: Duration::from_secs(300),
            kept: 200,
            grace: Duration::from_secs(20),
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
    /// The server cannot be started or ended with an error.
    #[error("the service cannot be run: {source}")]
    Server {
        /// What the operating system says.
        source: io::Error,
    },
}

/// Takes the lines of the log: one JSON object a request.
pub type Log = Arc<dyn Fn(&str) + Send + Sync>;

/// A job's id and its place in the queue.
type Turn = (String, Place);

/// What the requests share.
#[derive(Clone)]
struct Desk {
    registry: Arc<Registry>,
    places: Arc<Semaphore>,
    turns: mpsc::Sender<Turn>,
    log: Log,
}

/// Serves until the program is asked to end; `ready` is told the address.
///
/// # Errors
/// Where the address is open to others without a token, or taken, or a folder cannot be used.
pub fn serve(options: ServeOptions, ready: &dyn Fn(&str), log: Log) -> Result<(), ServeError> {
    check_token(&options)?;
    let unusable = |path: &PathBuf| {
        let path = path.clone();
        move |source| ServeError::Folder { path, source }
    };
    let root = std::fs::canonicalize(&options.folder).map_err(unusable(&options.folder))?;
    let (listen, state, grace) = (options.listen, options.state.clone(), options.limits.grace);
    let places = Arc::new(Semaphore::new(options.limits.queue));
    let registry = Registry::open(options, root).map_err(unusable(&state))?;
    let registry = Arc::new(registry);
    let (turns, worker) = start_worker(&registry);
    let server = |source| ServeError::Server { source };
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .enable_all()
        .build()
        .map_err(server)?;
    let desk = Desk {
        registry: Arc::clone(&registry),
        places,
        turns,
        log,
    };
    let served = runtime.block_on(async {
        let listener = tokio::net::TcpListener::bind(listen)
            .await
            .map_err(|source| ServeError::Address {
                address: listen,
                source,
            })?;
        let address = listener.local_addr().map_err(server)?;
        ready(&format!("http://{address}/"));
        let serving = axum::serve(listener, routes::router(desk, address))
            .with_graceful_shutdown(shell::asked_to_stop());
        tokio::select! {
            result = async { serving.await } => result.map_err(server),
            () = async { shell::asked_to_stop().await; tokio::time::sleep(BODIES).await } => Ok(()),
        }
    });
    // Requests that hang are given up, and with them the last sender of turns.
    runtime.shutdown_timeout(BODIES);
    finish(&registry, worker, grace);
    served
}

/// How long requests that are being answered may go on when the service is asked to end.
const BODIES: Duration = Duration::from_secs(2);

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
fn start_worker(registry: &Arc<Registry>) -> (mpsc::Sender<Turn>, thread::JoinHandle<()>) {
    let (sender, turns) = mpsc::channel::<Turn>();
    let registry = Arc::clone(registry);
    let worker = thread::spawn(move || {
        for (id, place) in turns {
            registry.work(&id, place);
        }
    });
    (sender, worker)
}

/// Lets the job that runs come to its end within the grace, then stops it; those that wait are recorded as interrupted.
fn finish(registry: &Registry, worker: thread::JoinHandle<()>, grace: Duration) {
    let begun = std::time::Instant::now();
    while registry.counts()[1] > 0 && begun.elapsed() < grace {
        thread::sleep(Duration::from_millis(20));
    }
    registry.end();
    // The next stage notices; the channel is closed, so that the worker ends then.
    let _ = worker.join();
}
