//! The end of both services: soon, whatever hangs, and with nothing lost or half-written.
#![cfg(unix)]
use super::{client::Service, folder, id, long_job, no_half_written_files};
use serde_json::json;
use std::{
    fs,
    io::Write,
    path::Path,
    process::{Command, ExitStatus},
    thread,
    time::{Duration, Instant},
};

/// Sends a signal and waits for the end.
fn ended_by(service: &mut Service, signal: &str) -> ExitStatus {
    let kill = Command::new("kill")
        .args([signal, &service.process.0.id().to_string()])
        .status();
    assert!(kill.expect("kill is there").success());
    let begun = Instant::now();
    loop {
        if let Some(status) = service.process.0.try_wait().expect("a state") {
            return status;
        }
        assert!(begun.elapsed() < Duration::from_secs(40), "it never ends");
        thread::sleep(Duration::from_millis(20));
    }
}

/// Names in a folder that begin as those of half-written results do.
fn half_written(folder: &Path) -> Vec<String> {
    fs::read_dir(folder)
        .expect("readable")
        .map(|entry| {
            entry
                .expect("readable")
                .file_name()
                .to_string_lossy()
                .into_owned()
        })
        .filter(|name| name.starts_with(".tickstrip-"))
        .collect()
}

#[test]
fn a_job_that_runs_ends_with_the_service_and_is_recorded_as_interrupted() {
    let folder = folder();
    long_job(folder.path());
    let mut service = Service::start(folder.path(), &[]);
    let running = id(&service.post_path("long.json"));
    service.wait(&running, &["running"]);
    assert_eq!(ended_by(&mut service, "-TERM").code(), Some(0));
    let state = folder.path().join(".tickstrip/service");
    no_half_written_files(&state);
    let status = fs::read(state.join(format!("jobs/{running}/status.json"))).expect("there");
    let status: serde_json::Value = serde_json::from_slice(&status).expect("JSON");
    // A fast machine may finish it within the grace.
    let is_known = ["interrupted", "finished"].map(|s| status["state"] == s);
    assert!(is_known.contains(&true), "{status}");
}

#[test]
fn the_marking_page_ends_though_a_file_does_not_answer() {
    let folder = folder();
    let job = folder.path().join("job.json");
    let pipe = folder.path().join("plan.png");
    fs::remove_file(&pipe).expect("removed");
    let made = Command::new("mkfifo").arg(&pipe).status();
    assert!(made.expect("mkfifo is there").success());
    let mut service = Service::mark(&job);
    let asked: Vec<_> = (0..3)
        .map(|_| {
            let mut stream = service.connect();
            let path = format!("{}api/state", service.root);
            let head = service.head("GET", &path, "text/plain", 0);
            stream.write_all(head.as_bytes()).expect("sent");
            stream
        })
        .collect();
    thread::sleep(Duration::from_millis(500));
    assert_eq!(ended_by(&mut service, "-INT").code(), Some(0));
    drop(asked);
}

#[test]
fn the_marking_page_leaves_its_changes_and_nothing_of_a_comparison() {
    let folder = folder();
    long_job(folder.path());
    let job = folder.path().join("long.json");
    let mut service = Service::mark(&job);
    let ask = |method: &str, path: &str, body: &str| {
        let path = format!("{}api/{path}", service.root);
        let answer = service.ask_raw(method, &path, "application/json", body.as_bytes());
        let answer = answer.expect("an answer");
        assert_eq!(
            answer.status,
            200,
            "{}",
            String::from_utf8_lossy(&answer.body)
        );
        answer.json()
    };
    ask("POST", "compare", "");
    let begun = Instant::now();
    while half_written(folder.path()).is_empty() {
        assert!(begun.elapsed() < Duration::from_secs(60));
        thread::sleep(Duration::from_millis(5));
    }
    let base = ask("GET", "state", "")["revision"].clone();
    let edit = json!({ "op": "set", "at": "/job/title", "value": "Changed at the last moment" });
    let change = json!({ "base": base, "label": "title", "edits": [edit] });
    ask("POST", "change", &change.to_string());
    assert_eq!(ended_by(&mut service, "-INT").code(), Some(0));
    assert_eq!(half_written(folder.path()), [""; 0]);
    let text = fs::read_to_string(&job).expect("there");
    assert!(text.contains("Changed at the last moment"));
}
