//! What the service is asked for, and what it refuses.
use crate::images::Budget;
use std::{net::SocketAddr, path::PathBuf, time::Duration};

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
