//! `tickstrip mark`, killed.
use super::moments::{self, Moments};
use crate::support::{
    boxes::{job, write_job},
    http::{self, Answer},
    process::{Process, serve},
    tree::left_over,
};
use serde_json::{Value, json};
use std::{
    fs, io,
    net::SocketAddr,
    path::{Path, PathBuf},
    process::{Command, Stdio},
    thread,
    time::Duration,
};

/// A page, and the address of what it asks for.
struct Page {
    process: Process,
    address: SocketAddr,
    /// What its browser would send along.
    cookie: String,
}

impl Page {
    fn open(job: &Path) -> Self {
        let mut command = Command::new(env!("CARGO_BIN_EXE_tickstrip"));
        command.arg("mark").arg(job).arg("--no-browser");
        command.stderr(Stdio::inherit());
        let (process, address) = serve(command);
        let rest = address.trim_start_matches("http://");
        let (host, way_in) = rest.split_once('/').expect("a way in");
        let address = host.parse().expect("an address");
        let head = http::head(address, "GET", &format!("/{way_in}"), "", 0);
        let entered = http::exchange(address, &head, b"").expect("an answer");
        let cookie = entered.header("set-cookie").expect("a cookie");
        let cookie = cookie.split(';').next().unwrap_or_default();
        Self {
            process,
            address,
            cookie: format!("Cookie: {cookie}\r\n"),
        }
    }

    fn state(&self) -> Value {
        let head = http::head(self.address, "GET", "/api/state", &self.cookie, 0);
        http::exchange(self.address, &head, b"")
            .expect("a state")
            .json()
    }
}

/// Step `number`: every second one changes the draft alone, which lies in the journal and not in the job.
fn step(number: u64) -> Value {
    let mut edits =
        vec![json!({ "op": "set", "at": "/draft/front", "value": { "number": number } })];
    if number.is_multiple_of(2) {
        let place = [20.0, 20.0 + number as f64 * 1e-3];
        edits.push(json!({ "op": "set", "at": "/job/title", "value": format!("step {number}") }));
        edits.push(json!({ "op": "set", "at": "/job/views/0/landmarks/0/render", "value": place }));
    }
    json!(edits)
}

fn change(address: SocketAddr, cookie: &str, base: &Value, number: u64) -> io::Result<Answer> {
    let body = json!({ "base": base, "label": "a step", "edits": step(number) }).to_string();
    let headers = format!("{cookie}Content-Type: application/json\r\n");
    let head = http::head(address, "POST", "/api/change", &headers, body.len());
    http::exchange(address, &head, body.as_bytes())
}

/// Takes step after step until the program does not answer any more; the last one that it acknowledged.
fn go_on(address: SocketAddr, cookie: &str, state: &Value) -> u64 {
    let mut base = state["revision"].clone();
    let mut done = state["steps"]["undo"].as_u64().expect("a number");
    // An answer that is cut off acknowledges nothing.
    let whole = |answer: &Answer| serde_json::from_slice::<Value>(&answer.body).ok();
    while let Ok(answer) = change(address, cookie, &base, done + 1) {
        let Some(state) = whole(&answer) else { break };
        assert_eq!(answer.status, 200, "{state}");
        base = state["revision"].clone();
        done += 1;
    }
    done
}

/// The job in the file has this step, or is the one that came before all steps.
fn check_job(file: &Path, number: u64) {
    let bytes = fs::read(file).expect("there");
    let job: Value = serde_json::from_slice(&bytes).expect("JSON");
    let title = job["title"].as_str().expect("a title");
    let last = number - number % 2;
    match last {
        0 => assert_eq!(title, "Three boxes"),
        _ => assert_eq!(title, format!("step {last}")),
    }
}

#[test]
fn no_acknowledged_step_is_lost() {
    let folder = tempfile::tempdir().expect("a folder");
    write_job(folder.path(), &job());
    let file = folder.path().join("job.json");
    fs::write(folder.path().join("notes.txt"), "mine").expect("written");
    let mut moments = Moments::seeded(23);
    let mut done = 0;
    for moment in 0..=moments::count() {
        let mut page = Page::open(&file);
        let state = page.state();
        // Every step is there, and can be undone: one more than was acknowledged where its answer was cut off.
        let steps = state["steps"]["undo"].as_u64().expect("a number");
        assert!(
            steps == done || steps == done + 1,
            "{steps}, {done} acknowledged"
        );
        if steps > 0 {
            assert_eq!(state["draft"]["front"]["number"], json!(steps));
        }
        check_job(&file, steps);
        assert_eq!(state["trouble"], Value::Null);
        assert_eq!(left_over(folder.path()), [""; 0].map(PathBuf::from));
        let notes = fs::read_to_string(folder.path().join("notes.txt"));
        assert_eq!(notes.expect("there"), "mine");
        if moment == moments::count() {
            break;
        }
        let (address, cookie) = (page.address, page.cookie.clone());
        let going = thread::spawn(move || go_on(address, &cookie, &state));
        thread::sleep(moments.below(Duration::from_millis(400)));
        page.process.0.kill().expect("killed");
        page.process.0.wait().expect("ended");
        done = going.join().expect("ended");
        let bytes = fs::read(&file).expect("there");
        serde_json::from_slice::<Value>(&bytes).expect("the job can be read");
    }
    assert!(done > 0, "no step was taken");
}
