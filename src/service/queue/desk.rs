//! What the requests of the service share.
use super::{
    Log,
    registry::{Place, Registry},
};
use std::sync::{Arc, mpsc};
use tokio::sync::{Mutex, Semaphore};

/// A job's id and its place in the queue.
pub(super) type Turn = (String, Place);

/// What the requests share.
#[derive(Clone)]
pub(super) struct Desk {
    pub(super) registry: Arc<Registry>,
    pub(super) places: Arc<Semaphore>,
    pub(super) turns: mpsc::Sender<Turn>,
    /// Held while a job file is read: many large ones at a time would fill the memory.
    pub(super) reading: Arc<Mutex<()>>,
    pub(super) log: Log,
}
