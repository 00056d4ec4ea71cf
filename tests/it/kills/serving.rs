//! `tickstrip serve`, killed.
use super::moments::{self, Moments};
use crate::support::{
    boxes::{job, picture, write_job},
    http::{self, Answer, KIND, multipart},
    process::{Process, serve},
    tree::{files, left_over},
};
use serde_json::{Value, json};
use std::{
    collections::{BTreeMap, BTreeSet},
    fs, io,
    net::SocketAddr,
    path::{Path, PathBuf},
    process::{Command, Stdio},
    thread,
    time::{Duration, Instant},
};

struct Service {
    process: Process,
    address: SocketAddr,
}

impl Service {
    fn start(folder: &Path) -> Self {
        let mut command = Command::new(env!("CARGO_BIN_EXE_tickstrip"));
        command.arg("serve").arg(folder);
        command.args(["--listen", "127.0.0.1:0", "--queue", "8", "--keep", "60000"]);
        command.env_remove("TICKSTRIP_TOKEN").stderr(Stdio::null());
        let (process, address) = serve(command);
        let address = address.trim_start_matches("http://").trim_end_matches('/');
        Self {
            address: address.parse().expect("an address"),
            process,
        }
    }

    fn get(&self, path: &str) -> Answer {
        ask(self.address, "GET", path, "text/plain", b"").expect("an answer")
    }

    /// The state of each job.
    fn states(&self) -> BTreeMap<String, String> {
        let jobs = self.get("/jobs").json();
        let text = |value: &Value| value.as_str().expect("text").to_owned();
        let list = jobs["jobs"].as_array().expect("a list").iter();
        list.map(|job| (text(&job["id"]), text(&job["state"])))
            .collect()
    }

    /// Jobs come to their end while others come in: else a slow machine would never get there before it is killed.
    fn until_one_more_is_finished(&self) {
        let count = || {
            let states = self.states();
            states.values().filter(|state| *state == "finished").count()
        };
        let (begun, before) = (Instant::now(), count());
        while count() == before && begun.elapsed() < Duration::from_secs(60) {
            thread::sleep(Duration::from_millis(5));
        }
    }

    /// Whether the results of a finished job are there, all of them.
    fn check_results(&self, id: &str) {
        let status = self.get(&format!("/jobs/{id}")).json();
        let listed = status["files"].as_array().expect("a list");
        assert!(listed.contains(&json!("front/overlay.png")), "{status}");
        for file in listed {
            let path = format!("/jobs/{id}/files/{}", file.as_str().expect("text"));
            assert_eq!(self.get(&path).status, 200, "{path}");
        }
    }
}

fn ask(
    address: SocketAddr,
    method: &str,
    path: &str,
    kind: &str,
    body: &[u8],
) -> io::Result<Answer> {
    let headers = format!("Content-Type: {kind}\r\n");
    http::exchange(
        address,
        &http::head(address, method, path, &headers, body.len()),
        body,
    )
}

/// What the service acknowledged.
#[derive(Default)]
struct Known {
    taken: BTreeSet<String>,
    /// Finished when it was last looked.
    finished: BTreeSet<String>,
    removed: BTreeSet<String>,
    /// Asked to be removed, without an answer.
    unsure: BTreeSet<String>,
}

/// Posts jobs, and removes those of `finished`, until the service does not answer any more.
fn go_on(address: SocketAddr, finished: Vec<String>) -> Known {
    let (text, render, plan) = (job().to_string(), picture(6), picture(0));
    let files: [(&str, &[u8]); 3] = [
        ("job", text.as_bytes()),
        ("render.png", &render),
        ("plan.png", &plan),
    ];
    let (whole, named) = (multipart(&files), json!({ "path": "job.json" }).to_string());
    let mut known = Known::default();
    let mut finished = finished.into_iter();
    for turn in 0.. {
        let (kind, body) = match turn % 2 {
            0 => (KIND, whole.as_slice()),
            _ => ("application/json", named.as_bytes()),
        };
        let Ok(answer) = ask(address, "POST", "/jobs", kind, body) else {
            break;
        };
        let place = answer.header("location").map(str::to_owned);
        if let (202, Some(place)) = (answer.status, place) {
            known.taken.insert(place["/jobs/".len()..].to_owned());
        }
        let Some(id) = finished.next() else { continue };
        match ask(address, "DELETE", &format!("/jobs/{id}"), "text/plain", b"") {
            Ok(answer) if answer.status == 204 => known.removed.insert(id),
            _ => known.unsure.insert(id),
        };
    }
    known
}

#[test]
fn no_accepted_job_is_lost() {
    let folder = tempfile::tempdir().expect("a folder");
    write_job(folder.path(), &job());
    let state = folder.path().join(".tickstrip/service");
    let mut known = Known::default();
    let mut moments = Moments::seeded(37);
    for moment in 0..=moments::count() {
        let mut service = Service::start(folder.path());
        check(&service, &mut known, &state);
        if moment == 0 {
            fs::create_dir(state.join("jobs/mine")).expect("made");
            fs::write(state.join("jobs/mine/notes.txt"), "mine").expect("written");
            fs::write(state.join("notes.txt"), "mine").expect("written");
        } else {
            let mine = files(&state).into_iter();
            let mine = mine.filter(|(path, bytes)| path.ends_with("notes.txt") && bytes == b"mine");
            assert_eq!(mine.count(), 2);
        }
        if moment == moments::count() {
            break;
        }
        // Not all, so that there are always jobs that have to stay.
        let some = known
            .finished
            .iter()
            .skip(1)
            .step_by(2)
            .take(3)
            .cloned()
            .collect();
        let address = service.address;
        let going = thread::spawn(move || go_on(address, some));
        if moment % 2 == 0 {
            service.until_one_more_is_finished();
        }
        thread::sleep(moments.below(Duration::from_millis(500)));
        service.process.0.kill().expect("killed");
        service.process.0.wait().expect("ended");
        let more = going.join().expect("ended");
        known.taken.extend(more.taken);
        known.removed.extend(more.removed);
        known.unsure.extend(more.unsure);
    }
    assert!(!known.finished.is_empty(), "no job came to its end");
}

/// After a start: every job that was accepted is there and over, what was finished is still, and nothing is left over.
fn check(service: &Service, known: &mut Known, state: &Path) {
    let states = service.states();
    for id in &known.taken {
        let is_there = states.contains_key(id);
        let is_right = match (known.removed.contains(id), known.unsure.contains(id)) {
            (true, _) => !is_there,
            (false, true) => true,
            (false, false) => is_there,
        };
        assert!(is_right, "{id} is there: {is_there}");
    }
    for (id, state) in &states {
        assert!(
            ["finished", "interrupted"].contains(&state.as_str()),
            "{id}: {state}"
        );
        assert!(
            state == "finished" || !known.finished.contains(id),
            "{id}: {state}"
        );
        if state == "finished" && known.finished.insert(id.clone()) {
            service.check_results(id);
        }
        if state == "finished" {
            let report = service.get(&format!("/jobs/{id}/report"));
            assert_eq!(report.json()["views"][0]["name"], "front");
        }
    }
    known.finished.retain(|id| states.contains_key(id));
    assert_eq!(left_over(state), [""; 0].map(PathBuf::from));
}
