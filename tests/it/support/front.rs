//! The demo's front view, alone in a job.
use serde_json::Value;
use std::{fs, path::Path};
use tempfile::TempDir;

/// Its folder, with "job.json" and both images.
pub fn front() -> TempDir {
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/demo");
    let folder = tempfile::tempdir().expect("a folder");
    for name in ["front-render.png", "front-earlier.png"] {
        fs::copy(demo.join(name), folder.path().join(name)).expect("copied");
    }
    let text = fs::read(demo.join("pump.json")).expect("readable");
    let mut job: Value = serde_json::from_slice(&text).expect("JSON");
    let views = job["views"].as_array_mut().expect("views");
    views.retain(|view| view["name"] == "front");
    fs::write(folder.path().join("job.json"), job.to_string()).expect("written");
    folder
}
