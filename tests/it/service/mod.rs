//! The HTTP service on the loopback address: every answer is as its description says, no request leads out of the
//! folder or takes the service down, and nothing is lost or half-written when it is killed.
mod client;
mod ending;
mod limits;
mod mark;

use crate::support::{
    boxes::{job, picture, write_job},
    http::{Answer, KIND, multipart, read},
};
use client::{Refusal, Service};
use serde_json::{Value, json};
use std::{
    fs,
    io::Write,
    path::Path,
    process::{Command, Stdio},
    sync::Arc,
    thread,
    time::{Duration, Instant},
};
use tempfile::TempDir;

/// A folder with the job and its images.
fn folder() -> TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    write_job(folder.path(), &job());
    folder
}

fn whole_job() -> Vec<u8> {
    let (job, render, plan) = (job().to_string(), picture(6), picture(0));
    multipart(&[
        ("job", job.as_bytes()),
        ("render.png", &render),
        ("plan.png", &plan),
    ])
}

fn id(answer: &Answer) -> String {
    assert_eq!(
        answer.status,
        202,
        "{}",
        String::from_utf8_lossy(&answer.body)
    );
    answer.json()["id"].as_str().expect("an id").to_owned()
}

/// A job that takes long enough to be met while it runs: the demo's pictures many times.
fn long_job(folder: &Path) {
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/demo");
    for name in ["side-render.png", "side-screen.jpg"] {
        fs::copy(demo.join(name), folder.join(name)).expect("copied");
    }
    let text = fs::read(demo.join("pump.json")).expect("there");
    let mut job: Value = serde_json::from_slice(&text).expect("JSON");
    let view = job["views"][0].clone();
    let views = (0..12).map(|n| {
        let mut view = view.clone();
        view["name"] = json!(format!("side {n}"));
        view
    });
    job["views"] = views.collect();
    fs::write(folder.join("long.json"), job.to_string()).expect("written");
}

fn no_half_written_files(folder: &Path) {
    for entry in fs::read_dir(folder).expect("readable") {
        let path = entry.expect("readable").path();
        let name = path
            .file_name()
            .expect("a name")
            .to_string_lossy()
            .into_owned();
        assert!(!name.starts_with(".tickstrip-"), "{}", path.display());
        if path.is_dir() {
            no_half_written_files(&path);
        }
    }
}

#[test]
fn a_posted_job_is_compared_and_its_results_can_be_fetched_and_deleted() {
    let folder = folder();
    let service = Service::start(folder.path(), &[]);
    assert_eq!(service.get("/health").json()["status"], "ready");
    let answer = service.ask("POST", "/jobs", KIND, &whole_job());
    let posted = id(&answer);
    assert_eq!(
        answer.header("location"),
        Some(format!("/jobs/{posted}").as_str())
    );
    let named = id(&service.post_path("job.json"));
    for id in [&posted, &named] {
        let status = service.wait(id, &["finished", "failed"]);
        assert_eq!(status["state"], "finished", "{status}");
        let report = service.get(&format!("/jobs/{id}/report")).json();
        assert_eq!(report["views"][0]["name"], "front");
        assert_eq!(report["verdict"], status["verdict"]);
        for file in status["files"].as_array().expect("a list") {
            let path = format!("/jobs/{id}/files/{}", file.as_str().expect("text"));
            let answer = service.get(&path);
            assert!(answer.status == 200 && !answer.body.is_empty(), "{path}");
        }
        assert!(
            status["files"]
                .as_array()
                .expect("a list")
                .contains(&json!("front/overlay.png"))
        );
    }
    assert_eq!(
        service.get("/jobs").json()["jobs"]
            .as_array()
            .expect("a list")
            .len(),
        2
    );
    let path = format!("/jobs/{posted}");
    assert_eq!(
        service
            .ask("POST", &format!("{path}/cancel"), "text/plain", b"")
            .code(),
        "wrong-state"
    );
    assert_eq!(service.ask("DELETE", &path, "text/plain", b"").status, 204);
    assert_eq!(service.ask("DELETE", &path, "text/plain", b"").status, 404);
    assert_eq!(service.get(&path).status, 404);
    assert!(
        !folder.path().join("job-results").exists(),
        "nothing is written beside the job"
    );
}

#[test]
fn a_job_that_needs_more_memory_than_the_service_has_fails_and_says_so() {
    let folder = folder();
    let service = Service::start(folder.path(), &["--max-memory", "10MB"]);
    let id = id(&service.ask("POST", "/jobs", KIND, &whole_job()));
    let status = service.wait(&id, &["finished", "failed"]);
    assert_eq!(status["error"]["code"], "no-view-compared", "{status}");
    let report = service.get(&format!("/jobs/{id}/report")).json();
    let error = &report["views"][0]["error"];
    assert_eq!(error["code"], "too-little-memory");
    let text = error["text"].as_str().expect("text");
    assert!(text.contains("10 MB are allowed"), "{text}");
    assert_eq!(service.get("/health").json()["status"], "ready");
}

#[test]
fn requests_that_cannot_be_used_are_refused_with_reasons() {
    let folder = folder();
    let service = Service::start(
        folder.path(),
        &["--max-body-mb", "1", "--body-seconds", "2"],
    );
    let post = |kind: &str, body: &[u8]| {
        let answer = service.ask("POST", "/jobs", kind, body);
        (answer.status, answer.code())
    };
    let text = job().to_string();
    let render = picture(6);
    assert_eq!(post("text/plain", b"x"), (415, "unknown-body".to_owned()));
    assert_eq!(post("application/json", b"{\"path\": 3}").1, "bad-body");
    assert_eq!(post("application/json", b"{"), (400, "bad-body".to_owned()));
    assert_eq!(post(KIND, b"no parts").1, "bad-body");
    assert_eq!(
        post(KIND, &multipart(&[("render.png", &render)])),
        (400, "no-job".to_owned())
    );
    assert_eq!(
        post(KIND, &multipart(&[("job", b"{}")])),
        (422, "job-faulty".to_owned())
    );
    let one = multipart(&[("job", text.as_bytes()), ("render.png", &render)]);
    assert_eq!(post(KIND, &one), (422, "image-not-there".to_owned()));
    let twice = multipart(&[
        ("job", text.as_bytes()),
        ("a.png", &render),
        ("a.png", &render),
    ]);
    assert_eq!(post(KIND, &twice), (400, "file-twice".to_owned()));
    let large = vec![0; 2 << 20];
    let answer = service.ask_raw("POST", "/jobs", KIND, &multipart(&[("big.png", &large)]));
    // Told before the whole body is sent, the answer may be lost on the way; the service goes on in any case.
    if let Ok(answer) = answer {
        assert_eq!((answer.status, answer.code().as_str()), (413, "too-large"));
    }
    assert_eq!(service.ask("PUT", "/jobs", "text/plain", b"").status, 405);
    assert_eq!(service.get("/nothing").status, 404);
    slow_bodies(&service);
    assert_eq!(service.get("/health").json()["queued"], 0);
    assert!(
        service.get("/jobs").json()["jobs"]
            .as_array()
            .expect("a list")
            .is_empty()
    );
}

/// A body that comes a byte at a time ends after its time and holds nobody up meanwhile.
fn slow_bodies(service: &Service) {
    let body = whole_job();
    let begun = Instant::now();
    let mut stream = service.connect();
    stream
        .write_all(service.head("POST", "/jobs", KIND, body.len()).as_bytes())
        .expect("sent");
    for byte in &body[..10] {
        stream.write_all(&[*byte]).expect("sent");
        thread::sleep(Duration::from_millis(30));
        assert_eq!(service.get("/health").status, 200);
    }
    let answer = read(stream).expect("an answer");
    assert_eq!((answer.status, answer.code().as_str()), (408, "too-slow"));
    assert!(begun.elapsed() < Duration::from_secs(10));
}

#[test]
fn damaged_images_fail_their_job_and_nothing_else() {
    let folder = folder();
    let service = Service::start(folder.path(), &["--max-megapixels", "1"]);
    let text = job().to_string();
    let (render, plan) = (picture(6), picture(0));
    // A header that claims 60,000 x 60,000 pixels.
    let mut bomb = plan.clone();
    bomb[16..24].copy_from_slice(&[0, 0, 0xea, 0x60, 0, 0, 0xea, 0x60]);
    let mut flipped = plan.clone();
    let middle = flipped.len() / 2;
    flipped[middle] ^= 0xff;
    for (damaged, name) in [
        (&plan[..60], "cut"),
        (&bomb[..], "bomb"),
        (&flipped[..], "flipped"),
        (b"GIF89a", "other"),
        (b"", "empty"),
    ] {
        let answer = service.post_files(&[
            ("job", text.as_bytes()),
            ("render.png", &render),
            ("plan.png", damaged),
        ]);
        let id = id(&answer);
        let status = service.wait(&id, &["finished", "failed"]);
        assert_eq!(status["state"], "failed", "{name}: {status}");
        assert_eq!(status["error"]["code"], "no-view-compared", "{name}");
        let report = service.get(&format!("/jobs/{id}/report")).json();
        assert!(
            report["views"][0]["error"]["text"]
                .as_str()
                .expect("words")
                .contains("plan.png"),
            "{name}"
        );
    }
    let good = id(&service.ask("POST", "/jobs", KIND, &whole_job()));
    assert_eq!(
        service.wait(&good, &["finished", "failed"])["state"],
        "finished"
    );
}

#[test]
fn no_path_leads_out_of_the_folder() {
    let outer = tempfile::tempdir().expect("a folder");
    let root = outer.path().join("root");
    write_job(&outer.path().join("secret"), &job());
    write_job(&root, &job());
    write_job(&root.join(".hidden"), &job());
    #[cfg(unix)]
    {
        std::os::unix::fs::symlink(outer.path().join("secret"), root.join("link")).expect("linked");
        std::os::unix::fs::symlink("/etc/hostname", root.join("plan2.png")).expect("linked");
    }
    let service = Service::start(&root, &[]);
    let secret = outer.path().join("secret/job.json");
    let absolute = secret.to_str().expect("UTF-8");
    for path in [
        "../secret/job.json",
        absolute,
        "link/job.json",
        "./../secret/job.json",
        "a/../../secret/job.json",
        "%2e%2e/secret/job.json",
        "..%2fsecret%2fjob.json",
        "..\\secret\\job.json",
        ".hidden/job.json",
        "",
        "/",
        "job.json\0",
    ] {
        let answer = service.post_path(path);
        assert_eq!(
            (answer.status, answer.code().as_str()),
            (422, "no-such-file"),
            "{path:?}"
        );
    }
    for image in [
        "../secret/plan.png",
        "/etc/hostname",
        "plan2.png",
        "link/plan.png",
    ] {
        let mut leading_out = job();
        leading_out["views"][0]["reference"]["image"] = json!(image);
        fs::write(root.join("out.json"), leading_out.to_string()).expect("written");
        assert_eq!(
            service.post_path("out.json").code(),
            "image-not-there",
            "{image}"
        );
        let text = leading_out.to_string();
        let answer = service.post_files(&[("job", text.as_bytes()), ("render.png", &picture(6))]);
        assert_eq!(answer.code(), "image-not-there", "{image}");
    }
    for name in [
        "../evil.png",
        "/tmp/evil.png",
        "a/../../evil.png",
        "..",
        ".evil",
        "c:\\\\evil.png",
    ] {
        let text = job().to_string();
        let answer = service.post_files(&[("job", text.as_bytes()), (name, b"x")]);
        assert!([400, 422].contains(&answer.status), "{name}: {answer:?}");
    }
    let id = id(&service.post_path("job.json"));
    service.wait(&id, &["finished"]);
    for path in [".tickstrip/service/jobs", "./.hidden/plan.png"] {
        let mut hidden = job();
        let image = match path {
            "./.hidden/plan.png" => path.to_owned(),
            jobs => format!("{jobs}/{id}/results/front/registered.png"),
        };
        hidden["views"][0]["reference"]["image"] = json!(image);
        fs::write(root.join("hidden.json"), hidden.to_string()).expect("written");
        assert!(root.join(&image).exists(), "{image}");
        assert_eq!(
            service.post_path("hidden.json").code(),
            "image-not-there",
            "{image}"
        );
    }
    for path in [
        "../status.json",
        "..%2fstatus.json",
        "%2e%2e/status.json",
        "%2fetc%2fhostname",
        "front/../../status.json",
        "front",
        "%00",
    ] {
        let answer = service
            .ask_raw(
                "GET",
                &format!("/jobs/{id}/files/{path}"),
                "text/plain",
                b"",
            )
            .expect("an answer");
        assert_eq!(answer.code(), "not-found", "{path}");
    }
    assert_eq!(service.get("/jobs/..%2f..").status, 404);
    for path in ["/jobs/%ff", "/jobs/%ff/report", "/jobs/0/files/%ff"] {
        assert_eq!(service.get(path).code(), "not-found", "{path}");
    }
}

/// Fails where a browser would let another page use the answer.
fn assert_closed(path: &str, answer: &Answer) {
    let header = |name: &str| answer.header(name).unwrap_or_default();
    let policy = header("content-security-policy");
    assert!(
        policy.contains("frame-ancestors 'none'"),
        "{path}: {}",
        answer.head
    );
    assert_eq!(header("x-content-type-options"), "nosniff", "{path}");
    assert_eq!(
        header("cross-origin-resource-policy"),
        "same-origin",
        "{path}"
    );
    assert_eq!(header("referrer-policy"), "no-referrer", "{path}");
    assert!(!header("cache-control").is_empty(), "{path}");
    assert_eq!(answer.header("access-control-allow-origin"), None, "{path}");
    let kind = header("content-type");
    let is_document = ["text/html", "application/pdf"]
        .iter()
        .any(|d| kind.starts_with(d));
    assert!(
        is_document || policy.contains("default-src 'none'"),
        "{path}: {policy}"
    );
}

#[test]
fn every_answer_is_closed_to_other_pages_and_a_report_runs_apart() {
    let folder = folder();
    let service = Service::start(folder.path(), &[]);
    let id = id(&service.post_path("job.json"));
    let status = service.wait(&id, &["finished"]);
    let files = status["files"].as_array().expect("a list").clone();
    let files = files
        .iter()
        .map(|f| format!("/jobs/{id}/files/{}", f.as_str().expect("text")));
    let others = ["/health", "/jobs", "/openapi.json", "/nothing", "/jobs/0"].map(str::to_owned);
    for path in files.chain(others) {
        let answer = service.get(&path);
        assert_closed(&path, &answer);
        if path.ends_with("report.html") {
            let policy = answer.header("content-security-policy").expect("one");
            assert!(policy.starts_with("sandbox allow-scripts;"), "{policy}");
        }
    }
    assert_closed("PUT", &service.ask("PUT", "/jobs", "text/plain", b""));
}

#[test]
fn names_that_cannot_be_stored_are_refused_with_their_reason() {
    let folder = folder();
    let service = Service::start(folder.path(), &[]);
    let text = job().to_string();
    let post = |names: &[&str]| {
        let mut files: Vec<(&str, &[u8])> = vec![("job", text.as_bytes())];
        files.extend(names.iter().map(|name| (*name, &b"x"[..])));
        let answer = service.post_files(&files);
        (answer.status, answer.code())
    };
    let long = format!("{}.png", "x".repeat(117));
    for name in [
        ".a.png",
        "a/.b/c.png",
        "CON.png",
        "lpt1",
        "a./b.png",
        &long,
        "a/b/c/d/e.png",
    ] {
        assert_eq!(post(&[name]), (422, "bad-file-name".to_owned()), "{name}");
    }
    for names in [
        ["a", "a/b"],
        ["a/b", "a"],
        ["a/b/c", "a/b"],
        ["job.json/a", "b"],
    ] {
        assert_eq!(post(&names), (400, "file-in-file".to_owned()), "{names:?}");
    }
    assert_eq!(
        post(&["a/b", "a/c"]).1,
        "image-not-there",
        "two files of a folder are fine"
    );
    for name in [".front", &"x".repeat(99), &"ж".repeat(61), "com¹", "aux.1"] {
        let mut named = job();
        named["views"][0]["name"] = json!(name);
        let named = named.to_string();
        let answer = service.post_files(&[
            ("job", named.as_bytes()),
            ("render.png", &picture(6)),
            ("plan.png", &picture(0)),
        ]);
        if *name == "x".repeat(99) {
            let id = id(&answer);
            let status = service.wait(&id, &["finished", "failed"]);
            let path = format!("/jobs/{id}/files/{name}/overlay.png");
            assert_eq!(service.get(&path).status, 200, "{status}");
        } else {
            assert_eq!(
                (answer.status, answer.code().as_str()),
                (422, "job-faulty"),
                "{name}"
            );
        }
    }
    assert_eq!(service.get("/health").status, 200);
}

#[test]
fn two_hundred_at_once_are_taken_or_sent_away_and_all_taken_ones_finish() {
    let folder = folder();
    let service = Arc::new(Service::start(folder.path(), &["--queue", "8"]));
    let body = Arc::new(whole_job());
    let posts: Vec<_> = (0..200)
        .map(|_| {
            let (service, body) = (Arc::clone(&service), Arc::clone(&body));
            thread::spawn(move || service.ask("POST", "/jobs", KIND, &body))
        })
        .collect();
    let answers: Vec<_> = posts
        .into_iter()
        .map(|p| p.join().expect("answered"))
        .collect();
    let taken: Vec<_> = answers.iter().filter(|a| a.status == 202).collect();
    let away = answers
        .iter()
        .filter(|a| a.status == 429 && a.header("retry-after").is_some())
        .count();
    assert_eq!(taken.len() + away, 200);
    assert!(taken.len() >= 8 && away > 0, "{} taken", taken.len());
    for answer in taken {
        assert_eq!(
            service.wait(&id(answer), &["finished", "failed"])["state"],
            "finished"
        );
    }
}

#[test]
fn jobs_that_wait_or_run_can_be_cancelled_but_not_deleted() {
    let folder = folder();
    long_job(folder.path());
    let service = Service::start(folder.path(), &[]);
    let running = id(&service.post_path("long.json"));
    let waiting = id(&service.post_path("job.json"));
    let last = id(&service.post_path("job.json"));
    service.wait(&running, &["running"]);
    assert_eq!(
        service
            .ask("DELETE", &format!("/jobs/{running}"), "text/plain", b"")
            .code(),
        "wrong-state"
    );
    assert_eq!(
        service.get(&format!("/jobs/{running}/report")).code(),
        "wrong-state"
    );
    let cancel = |id: &str| service.ask("POST", &format!("/jobs/{id}/cancel"), "text/plain", b"");
    assert_eq!(cancel(&waiting).json()["state"], "cancelled");
    assert_eq!(cancel(&running).status, 200);
    let status = service.wait(&running, &["cancelled", "finished"]);
    assert_eq!(status["state"], "cancelled");
    assert_eq!(
        service.wait(&last, &["finished", "failed"])["state"],
        "finished"
    );
    assert_eq!(
        service.get(&format!("/jobs/{waiting}")).json()["state"],
        "cancelled"
    );
    no_half_written_files(&folder.path().join(".tickstrip/service"));
}

#[test]
fn a_job_that_takes_too_long_ends() {
    let folder = folder();
    long_job(folder.path());
    let service = Service::start(folder.path(), &["--job-seconds", "1"]);
    let id = id(&service.post_path("long.json"));
    let status = service.wait(&id, &["failed", "finished"]);
    assert_eq!(status["error"]["code"], "time-limit", "{status}");
}

#[test]
fn after_a_kill_results_are_there_and_interrupted_jobs_are_told() {
    let folder = folder();
    long_job(folder.path());
    let mut service = Service::start(folder.path(), &[]);
    let done = id(&service.post_path("job.json"));
    service.wait(&done, &["finished"]);
    let running = id(&service.post_path("long.json"));
    let waiting = id(&service.ask("POST", "/jobs", KIND, &whole_job()));
    service.wait(&running, &["running"]);
    // One more comes in while the program is killed.
    let mut half = service.connect();
    let body = whole_job();
    half.write_all(service.head("POST", "/jobs", KIND, body.len()).as_bytes())
        .expect("sent");
    half.write_all(&body[..body.len() / 2]).expect("sent");
    thread::sleep(Duration::from_millis(100));
    service.process.0.kill().expect("killed");
    service.process.0.wait().expect("ended");
    let service = Service::start(folder.path(), &[]);
    no_half_written_files(&folder.path().join(".tickstrip/service"));
    let jobs = service.get("/jobs").json();
    assert_eq!(jobs["jobs"].as_array().expect("a list").len(), 3, "{jobs}");
    for id in [&running, &waiting] {
        let status = service.get(&format!("/jobs/{id}")).json();
        assert_eq!(
            (&status["state"], &status["error"]["code"]),
            (&json!("interrupted"), &json!("interrupted"))
        );
    }
    assert_eq!(
        service.get(&format!("/jobs/{done}")).json()["state"],
        "finished"
    );
    assert_eq!(
        service.get(&format!("/jobs/{done}/report")).json()["views"][0]["name"],
        "front"
    );
}

#[cfg(unix)]
#[test]
fn a_termination_signal_lets_the_job_that_runs_finish() {
    let folder = folder();
    let mut service = Service::start(folder.path(), &[]);
    let first = id(&service.post_path("job.json"));
    let kill = Command::new("kill")
        .args(["-TERM", &service.process.0.id().to_string()])
        .status();
    assert!(kill.expect("kill is there").success());
    let status = service.process.0.wait().expect("ended");
    assert_eq!(status.code(), Some(0));
    let log = service.log();
    let line: Value = serde_json::from_str(log.lines().next().expect("a line")).expect("JSON");
    assert_eq!(
        (&line["method"], &line["path"], &line["status"]),
        (&json!("POST"), &json!("/jobs"), &json!(202))
    );
    let service = Service::start(folder.path(), &[]);
    let state = service.get(&format!("/jobs/{first}")).json()["state"].clone();
    // It may have been waiting for its turn still.
    assert!(state == "finished" || state == "interrupted", "{state}");
}

/// What a server says that does not start.
fn refusal(folder: &Path, state: &Path) -> String {
    let output = assert_cmd::Command::new(env!("CARGO_BIN_EXE_tickstrip"))
        .arg("serve")
        .arg(folder)
        .args(["--listen", "127.0.0.1:0", "--state"])
        .arg(state)
        .timeout(Duration::from_secs(60))
        .output()
        .expect("runs");
    assert_eq!(output.status.code(), Some(2), "{output:?}");
    String::from_utf8(output.stderr).expect("UTF-8")
}

#[test]
fn a_folder_with_the_users_files_is_not_taken_for_the_state() {
    let folder = tempfile::tempdir().expect("a folder");
    write_job(&folder.path().join("jobs/mine"), &job());
    fs::write(folder.path().join("jobs/notes.txt"), "mine").expect("written");
    let text = refusal(folder.path(), folder.path());
    assert!(
        text.contains("name an empty or new folder with --state"),
        "{text}"
    );
    for name in ["mine/job.json", "mine/render.png", "notes.txt"] {
        assert!(folder.path().join("jobs").join(name).exists(), "{name}");
    }
    assert_eq!(fs::read_dir(folder.path()).expect("there").count(), 1);
}

#[test]
fn a_second_server_is_refused_and_leaves_the_jobs_of_the_first_one_alone() {
    let folder = folder();
    long_job(folder.path());
    let service = Service::start(folder.path(), &[]);
    let running = id(&service.post_path("long.json"));
    service.wait(&running, &["running"]);
    let state = folder.path().join(".tickstrip/service");
    let text = refusal(folder.path(), &state);
    assert!(
        text.contains(state.to_str().expect("UTF-8")) && text.contains("another server"),
        "{text}"
    );
    let file = fs::read(state.join("jobs").join(&running).join("status.json"));
    let status: Value = serde_json::from_slice(&file.expect("there")).expect("JSON");
    assert_eq!(status["state"], "running");
}

#[test]
fn a_job_that_cannot_be_read_and_files_of_the_user_stay_and_are_named_at_the_start() {
    let folder = folder();
    let service = Service::start(folder.path(), &[]);
    let [broken, sound] = [(); 2].map(|()| {
        let id = id(&service.post_path("job.json"));
        service.wait(&id, &["finished"]);
        id
    });
    drop(service);
    let jobs = folder.path().join(".tickstrip/service/jobs");
    fs::write(jobs.join(&broken).join("status.json"), "{").expect("written");
    fs::create_dir(jobs.join("mine")).expect("made");
    fs::write(jobs.join("mine/notes.txt"), "mine").expect("written");
    let mut service = Service::start(folder.path(), &[]);
    let found = service.get("/jobs").json();
    assert_eq!(found["jobs"].as_array().expect("a list").len(), 1);
    assert_eq!(found["jobs"][0]["id"], json!(sound));
    service.process.0.kill().expect("killed");
    let log = service.log();
    for name in [&broken, "mine"] {
        let path = jobs.join(name);
        let path = path.to_str().expect("UTF-8");
        assert!(log.lines().any(|line| line.contains(path)), "{name}: {log}");
    }
    for name in ["results/front/overlay.png", "results/report.json"] {
        assert!(jobs.join(&broken).join(name).exists(), "{name}");
    }
    assert!(jobs.join("mine/notes.txt").exists());
}

#[test]
fn others_need_the_token_and_foreign_pages_are_refused() {
    let folder = folder();
    let refused = Command::new(env!("CARGO_BIN_EXE_tickstrip"))
        .arg("serve")
        .arg(folder.path())
        .args(["--listen", "0.0.0.0:0"])
        .env_remove("TICKSTRIP_TOKEN")
        .stdin(Stdio::null())
        .output()
        .expect("runs");
    assert_eq!(refused.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&refused.stderr).contains("set TICKSTRIP_TOKEN"));
    let mut service = Service::with_token(folder.path(), &[], Some("correct horse battery"));
    assert_eq!(service.get("/jobs").status, 200);
    for wrong in [
        None,
        Some("correct horse batter"),
        Some("correct horse battery 2"),
    ] {
        service.token = wrong;
        assert_eq!(service.get("/jobs").code(), "no-token");
        assert_eq!(service.get("/health").status, 200);
    }
    for shown in ["bearer", "BEARER", "beaRer  "] {
        let head = format!(
            "GET /jobs HTTP/1.1\r\nHost: {}\r\nAuthorization: {shown} correct horse battery\r\nConnection: close\r\n\r\n",
            service.address
        );
        let mut stream = service.connect();
        stream.write_all(head.as_bytes()).expect("sent");
        assert_eq!(read(stream).expect("an answer").status, 200, "{shown}");
    }
    let mut stream = service.connect();
    stream
        .write_all(b"GET /health HTTP/1.1\r\nHost: rebound.example\r\nConnection: close\r\n\r\n")
        .expect("sent");
    assert_eq!(read(stream).expect("an answer").code(), "foreign-page");
}

#[test]
fn the_oldest_results_go_first() {
    let folder = folder();
    let service = Service::start(folder.path(), &["--keep", "2"]);
    let ids: Vec<String> = (0..4)
        .map(|_| {
            let id = id(&service.post_path("job.json"));
            service.wait(&id, &["finished", "failed"]);
            id
        })
        .collect();
    let begun = Instant::now();
    // The last one is removed after the state of the newest is told.
    while service.get(&format!("/jobs/{}", ids[1])).status != 404 {
        assert!(begun.elapsed() < Duration::from_secs(5));
    }
    assert_eq!(service.get(&format!("/jobs/{}", ids[0])).status, 404);
    assert_eq!(service.get(&format!("/jobs/{}", ids[3])).status, 200);
    let kept = fs::read_dir(folder.path().join(".tickstrip/service/jobs"))
        .expect("there")
        .count();
    assert_eq!(kept, 2);
}
