//! Why the service cannot be run.
use std::{io, net::SocketAddr, path::PathBuf};

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
