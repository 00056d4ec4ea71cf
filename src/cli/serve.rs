//! `tickstrip serve`: the comparison as an HTTP service.
use super::{
    Status,
    memory::Memory,
    messages::{Failure, Terminal},
};
use crate::service::queue::{self, ServeLimits, ServeOptions};
use std::{net::SocketAddr, path::PathBuf, sync::Arc, time::Duration};

/// Run the comparison as an HTTP service for scripts and CAD plug-ins
///
/// Post a job with its images, or the path of a job file below FOLDER; ask for its state; fetch report.json and the
/// pictures. /openapi.json describes all of it. Every request is logged as a line of JSON on standard error. Ctrl-C or
/// a termination signal ends it, within some ten seconds: the job that runs is finished or recorded as interrupted.
///
/// Of the folder for jobs and results only what the service made is ever removed; what it cannot read is left there and
/// told of when it starts.
#[derive(clap::Args, Debug)]
#[command(after_help = "Examples:
  tickstrip serve
  tickstrip serve jobs --listen 127.0.0.1:6417
  curl -F job=@pump.json -F image=@side-render.png -F image=@side-screen.jpg http://127.0.0.1:6417/jobs

TICKSTRIP_TOKEN  a secret of 16 letters or more that requests must show as \"Authorization: Bearer ...\"; any address
                 but a loopback one needs it")]
pub(super) struct Arguments {
    /// Jobs may be named by their path below this folder
    #[arg(default_value = ".")]
    folder: PathBuf,
    /// Address and port; port 0 takes a free one
    #[arg(long, value_name = "ADDRESS", default_value = "127.0.0.1:6417")]
    listen: SocketAddr,
    /// Folder for jobs and results, of this server alone [default: FOLDER/.tickstrip/service]
    #[arg(long, value_name = "DIR")]
    state: Option<PathBuf>,
    /// Jobs that wait, run or come in at a time; beyond it requests are sent away with 429
    #[arg(long, value_name = "N", default_value_t = 32, value_parser = clap::value_parser!(u16).range(1..=10_000))]
    queue: u16,
    /// Largest body of a request, megabytes
    #[arg(long, value_name = "N", default_value_t = 256, value_parser = clap::value_parser!(u16).range(1..=16_384))]
    max_body_mb: u16,
    /// Largest file in a body, megabytes [default: half of the body]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=16_384))]
    max_file_mb: Option<u16>,
    /// Longest time for a body to arrive, seconds
    #[arg(long, value_name = "N", default_value_t = 60, value_parser = clap::value_parser!(u16).range(1..))]
    body_seconds: u16,
    /// Refuse images larger than this, megapixels
    #[arg(long, value_name = "N", default_value_t = 100, value_parser = clap::value_parser!(u16).range(1..=10_000))]
    max_megapixels: u16,
    #[command(flatten)]
    memory: Memory,
    /// Longest time for a job, seconds
    #[arg(long, value_name = "N", default_value_t = 300, value_parser = clap::value_parser!(u16).range(1..))]
    job_seconds: u16,
    /// Jobs that are over and kept with their results; the oldest goes first
    #[arg(long, value_name = "N", default_value_t = 200, value_parser = clap::value_parser!(u16).range(1..))]
    keep: u16,
}

pub(super) fn run(arguments: &Arguments, terminal: &Terminal) -> Result<Status, Failure> {
    let ready = |address: &str| {
        // Where nobody reads it the service runs nevertheless.
        let _ = terminal.result(&format!("{address}\n"));
    };
    let log = Arc::new(|line: &str| Terminal::new().log(line));
    queue::serve(arguments.options(), &ready, log)?;
    Ok(Status::NothingOut)
}

impl Arguments {
    fn options(&self) -> ServeOptions {
        let seconds = |count: u16| Duration::from_secs(u64::from(count));
        ServeOptions {
            folder: self.folder.clone(),
            state: match &self.state {
                Some(state) => state.clone(),
                None => self.folder.join(".tickstrip/service"),
            },
            listen: self.listen,
            // Not an option: the command line of a program can be read by others.
            token: std::env::var("TICKSTRIP_TOKEN")
                .ok()
                .filter(|token| !token.is_empty()),
            memory: self.memory.budget(),
            limits: ServeLimits {
                queue: usize::from(self.queue),
                body: usize::from(self.max_body_mb) << 20,
                file: match self.max_file_mb {
                    Some(most) => usize::from(most) << 20,
                    None => usize::from(self.max_body_mb) << 19,
                },
                body_time: seconds(self.body_seconds),
                megapixels: f64::from(self.max_megapixels),
                job_time: seconds(self.job_seconds),
                kept: usize::from(self.keep),
                ..ServeLimits::default()
            },
        }
    }
}
