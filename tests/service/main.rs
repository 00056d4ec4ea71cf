//! The HTTP service on the loopback address: every answer is as its description says, no request leads out of the
//! folder or takes the service down, and nothing is lost or half-written when it is killed.
mod client;

use client::{KIND, Service, multipart, read};
use serde_json::{Value, json};
use std::{
    fs,
    io::{Read, Write},
    path::Path,
    process::{Command, Stdio},
    sync::Arc,
    thread,
    time::{Duration, Instant},
};
use tempfile::TempDir;

/// A drawing of three boxes, the same for render and reference but for one that is wider.
fn picture(extra: u32) -> Vec<u8> {
    let inside = |x: u32, y: u32, [l, t, r, b]: [u32; 4]| x >= l && x < r && y >= t && y < b;
    let boxes = [
        [20, 20, 80, 60],
        [100, 30, 150 + extra, 90],
        [30, 90, 90, 130],
    ];
    let image = image::RgbImage::from_fn(180, 150, |x, y| {
        image::Rgb(
            [if boxes.iter().any(|b| inside(x, y, *b)) {
                60
            } else {
                210
            }; 3],
        )
    });
    let mut bytes = std::io::Cursor::new(Vec::new());
    image
        .write_to(&mut bytes, image::ImageFormat::Png)
        .expect("encoded");
    bytes.into_inner()
}

fn job() -> Value {
    let mark = |name: &str, usage: &str, render: [f64; 2], reference: [f64; 2]| json!({ "name": name, "use": usage, "render": render, "reference": reference });
    json!({
        "title": "Three boxes", "scale": "1:32",
        "views": [{
            "name": "front", "render": { "image": "render.png" }, "reference": { "image": "plan.png", "kind": "plan" },
            "landmarks": [
                mark("a", "datum", [20.0, 20.0], [20.0, 20.0]), mark("b", "datum", [80.0, 20.0], [80.0, 20.0]),
                mark("c", "datum", [30.0, 130.0], [30.0, 130.0]), mark("d", "datum", [90.0, 130.0], [90.0, 130.0]),
                mark("e", "check", [100.0, 30.0], [100.0, 30.0]), mark("f", "check", [156.0, 30.0], [150.0, 30.0]),
                mark("g", "check", [156.0, 90.0], [150.0, 90.0])
            ],
            "regions": [{ "name": "box", "outline": [[95, 25], [160, 25], [160, 95], [95, 95]], "landmarks": ["e", "f", "g"] }]
        }]
    })
}

/// A folder with the job and its images.
fn folder() -> TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    write_job(folder.path(), &job());
    folder
}

fn write_job(folder: &Path, job: &Value) {
    fs::create_dir_all(folder).expect("made");
    fs::write(folder.join("job.json"), job.to_string()).expect("written");
    fs::write(folder.join("render.png"), picture(6)).expect("written");
    fs::write(folder.join("plan.png"), picture(0)).expect("written");
}

fn whole_job() -> Vec<u8> {
    let (job, render, plan) = (job().to_string(), picture(6), picture(0));
    multipart(&[
        ("job", job.as_bytes()),
        ("render.png", &render),
        ("plan.png", &plan),
    ])
}

fn id(answer: &client::Answer) -> String {
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
        assert!([400, 404].contains(&answer.status), "{path}: {answer:?}");
    }
    assert_eq!(service.get("/jobs/..%2f..").status, 404);
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
    service.child.kill().expect("killed");
    service.child.wait().expect("ended");
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
        .args(["-TERM", &service.child.id().to_string()])
        .status();
    assert!(kill.expect("kill is there").success());
    let status = service.child.wait().expect("ended");
    assert_eq!(status.code(), Some(0));
    let mut log = String::new();
    service
        .child
        .stderr
        .take()
        .expect("piped")
        .read_to_string(&mut log)
        .expect("text");
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
