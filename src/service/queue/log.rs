//! The lines that the service tells of what it did and left alone.
use super::registry::now;
use serde_json::json;
use std::{path::Path, sync::Arc};

/// Takes the lines of the log: one JSON object a request, and one for each thing in the state's folder that is left alone.
pub type Log = Arc<dyn Fn(&str) + Send + Sync>;

/// Why something of a job that was removed is there still.
pub(super) const SET_ASIDE: &str =
    "the job was removed, and this held more than the service put in";

/// Tells of something in the state's folder that is left as it is.
pub(super) fn tell(log: &Log, path: &Path, reason: &str) {
    let line = json!({ "time": now(), "left": path, "reason": reason });
    log(&line.to_string());
}
