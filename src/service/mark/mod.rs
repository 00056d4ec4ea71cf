//! The marking page: one job, one local page, every change on the disk before it is answered.
//!
//! The page (`service/page/`) is plain HTML, CSS and JavaScript inside the program. It changes the job place by place
//! ([`edits`]); the server keeps the steps ([`journal`]), writes the file ([`document`]) and registers the marks by the
//! code of a comparison ([`fit`]).
mod alone;
mod answers;
mod at_once;
mod camera;
mod carrying;
mod comparison;
mod desk;
mod document;
mod door;
mod edits;
mod files_beside;
mod fit;
mod fit_words;
mod journal;
mod kept_fits;
mod laid;
mod looks;
mod mark_fit;
mod marked_on;
mod model;
mod model_routes;
mod needs;
mod on_model;
mod one_picture;
mod options;
mod pictures;
mod places;
mod proposals;
mod routes;
mod seen;
mod stamp;
mod versions;

pub use options::MarkOptions;

use super::{connections, shell};
use comparison::Comparison;
use desk::Desk;
use document::Document;
use door::Door;
use model::Models;
use pictures::Pictures;
use std::{
    io,
    net::{Ipv4Addr, SocketAddr},
    sync::{Arc, Mutex},
    time::Duration,
};

/// Why the page cannot be served.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum MarkError {
    /// The job file cannot be opened.
    #[error("{text}")]
    Job {
        /// Why, with the file.
        text: String,
    },
    /// The address cannot be used.
    #[error("{address} cannot be listened on: {source}; leave --port out to take a free one")]
    Address {
        /// The address.
        address: SocketAddr,
        /// What the operating system says.
        source: io::Error,
    },
    /// The server cannot be started or ended with an error.
    #[error("the page cannot be served: {source}")]
    Server {
        /// What the operating system says.
        source: io::Error,
    },
}

/// Connections at a time. A judgement: a browser opens six.
const CONNECTIONS: usize = 64;
/// How long open connections may go on when the program is asked to end.
const GRACE: Duration = Duration::from_secs(2);

/// Serves the page until the program is asked to end; `ready` is told the address that opens it, once.
///
/// # Errors
/// Where the job is no JSON file or cannot be written beside, or the address is taken.
pub fn mark(options: MarkOptions, ready: &dyn Fn(&str)) -> Result<(), MarkError> {
    let document = Document::open(&options.job).map_err(|error| MarkError::Job {
        text: error.to_string(),
    })?;
    let server = |source| MarkError::Server { source };
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .enable_all()
        .build()
        .map_err(server)?;
    let comparison = Comparison::default();
    let of_desk = comparison.clone();
    let served = runtime.block_on(async {
        let address = SocketAddr::from((Ipv4Addr::LOCALHOST, options.port));
        let (listener, address) = connections::listen(address)
            .await
            .map_err(|source| MarkError::Address { address, source })?;
        let door = Arc::new(Door::new(address));
        let desk = Arc::new(Desk {
            document: Mutex::new(document),
            pictures: Pictures::new(options.limits, options.memory.clone()),
            looks: Default::default(),
            models: Models::new(options.memory.clone()),
            comparison: of_desk,
            options,
            kept: Mutex::default(),
            laid: Mutex::default(),
            fits: Default::default(),
        });
        desk.keep_marked();
        let mut asked = shell::Asked::listen().map_err(server)?;
        ready(&door.way_in().expect("nobody has asked yet"));
        let router = routes::router(desk, door, address);
        // A browser keeps its connections open for minutes.
        connections::answer(listener, router, CONNECTIONS, asked.next(), GRACE).await;
        Ok(())
    });
    // A change that is being written comes to its end. Who waits for a file that does not answer is left alone: every
    // change that was answered is on the disk.
    runtime.shutdown_timeout(GRACE);
    comparison.end(GRACE);
    served
}
