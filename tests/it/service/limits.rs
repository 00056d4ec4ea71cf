//! Limits of memory, time and handles: no request, however large, slow or half-finished, takes the service from others.
use super::{
    client::{Refusal, Service},
    folder,
};
use crate::support::{
    boxes::{job, picture},
    http::{KIND, multipart, read},
};
use serde_json::json;
use std::{
    io::{Read, Write},
    net::TcpStream,
    process::Command,
    thread,
    time::{Duration, Instant},
};

/// Sends a head and then so many megabytes of `filling`; what is answered, if anything was.
fn pour(service: &Service, kind: &str, begin: &str, filling: u8, megabytes: usize) -> Option<u16> {
    let mut stream = service.connect();
    let length = begin.len() + (megabytes << 20);
    let head = service.head("POST", "/jobs", kind, length);
    stream.write_all(head.as_bytes()).expect("sent");
    stream.write_all(begin.as_bytes()).expect("sent");
    let block = vec![filling; 1 << 20];
    // A service that has refused the body need not take the rest.
    (0..megabytes)
        .try_for_each(|_| stream.write_all(&block))
        .ok();
    read(stream).ok().map(|answer| answer.status)
}

/// The most memory that a process has had, megabytes.
#[cfg(target_os = "linux")]
fn peak_megabytes(service: &Service) -> usize {
    let path = format!("/proc/{}/status", service.process.0.id());
    let status = std::fs::read_to_string(path).expect("there");
    let line = status.lines().find(|line| line.starts_with("VmHWM:"));
    let kilobytes = line.and_then(|line| line.split_whitespace().nth(1));
    kilobytes
        .and_then(|k| k.parse::<usize>().ok())
        .expect("a number")
        >> 10
}

#[cfg(target_os = "linux")]
#[test]
fn however_much_is_sent_at_once_little_of_it_is_in_memory() {
    let folder = folder();
    let service = Service::start(folder.path(), &[]);
    let before = peak_megabytes(&service);
    let part =
        "--cut-here\r\nContent-Disposition: form-data; name=\"file\"; filename=\"a.png\"\r\n\r\n";
    let sent: &[(&str, &str, u8)] = &[
        (KIND, part, 0),
        (KIND, part, 0),
        // What looks like the begin of a boundary all the time, a head without an end, and no part at all.
        (KIND, part, b'\r'),
        (KIND, "--cut-here\r\nX", b'a'),
        (KIND, "", b'a'),
        ("application/json", "{\"path\": \"", b'a'),
        ("application/json", "", b'['),
    ];
    thread::scope(|scope| {
        for (kind, begin, filling) in sent {
            let service = &service;
            scope.spawn(move || {
                let status = pour(service, kind, begin, *filling, 64);
                assert!(status.is_none_or(|s| [400, 413].contains(&s)), "{status:?}");
            });
        }
    });
    let grown = peak_megabytes(&service) - before;
    assert!(grown < 32, "{grown} MB more");
    assert_eq!(service.get("/health").json()["queued"], 0);
}

#[test]
fn what_is_too_large_is_refused_in_words() {
    let folder = folder();
    let service = Service::start(folder.path(), &["--max-body-mb", "2", "--max-file-mb", "1"]);
    let refusal = |kind: &str, body: &[u8]| {
        let answer = service.ask("POST", "/jobs", kind, body);
        assert_eq!((answer.status, answer.code().as_str()), (413, "too-large"));
        answer.json()["error"]["text"]
            .as_str()
            .expect("words")
            .to_owned()
    };
    let (text, large) = (job().to_string(), vec![0; (1 << 20) + 1]);
    let posted = |files: &[(&str, &[u8])]| refusal(KIND, &multipart(files));
    let words = posted(&[("job", text.as_bytes()), ("large.png", &large)]);
    assert!(
        words.contains("the file \"large.png\" is larger than the 1 MB"),
        "{words}"
    );
    let words = posted(&[("a.png", &large[1..]), ("b.png", &large[1..])]);
    assert!(
        words.contains("the body is larger than the 2 MB"),
        "{words}"
    );
    let path = json!({ "path": "a".repeat(65 << 10) }).to_string();
    let words = refusal("application/json", path.as_bytes());
    assert!(
        words.contains("the body is larger than the 64 kB"),
        "{words}"
    );
    let head = format!("--cut-here\r\nX: {}", "a".repeat(256 << 10));
    let words = refusal(KIND, head.as_bytes());
    assert!(
        words.contains("the head of a part is larger than the 64 kB"),
        "{words}"
    );
}

#[test]
fn changes_on_the_marking_page_are_bounded_one_by_one_and_together() {
    let folder = folder();
    let service = Service::mark(&folder.path().join("job.json"));
    let path = format!("{}api/change", service.root);
    let large = json!({ "base": "a".repeat(5 << 20), "label": "", "edits": [] }).to_string();
    let kind = "application/json";
    let answer = service.ask_raw("POST", &path, kind, large.as_bytes());
    // Told before the whole body is sent, the answer may be lost on the way.
    if let Ok(answer) = answer {
        assert_eq!((answer.status, answer.code().as_str()), (413, "too-large"));
    }
    #[cfg(target_os = "linux")]
    {
        let before = peak_megabytes(&service);
        let length = 4 << 20;
        let body = vec![b' '; length - 1];
        let streams: Vec<_> = (0..24)
            .map(|_| {
                let mut stream = service.connect();
                let patience = Some(Duration::from_millis(500));
                stream.set_write_timeout(patience).expect("set");
                let head = service.head("POST", &path, kind, length);
                stream.write_all(head.as_bytes()).expect("sent");
                // Nobody reads those beyond what is held.
                let _ = stream.write_all(&body);
                stream
            })
            .collect();
        let grown = peak_megabytes(&service) - before;
        assert!(grown < 48, "{grown} MB more");
        drop(streams);
    }
    let state = format!("{}api/state", service.root);
    let answer = service.ask_raw("GET", &state, "text/plain", b"");
    assert_eq!(answer.expect("an answer").status, 200);
}

/// Connections that have begun a request and say no more.
fn half_open(service: &Service, count: usize) -> Vec<TcpStream> {
    (0..count)
        .map(|_| {
            let mut stream = service.connect();
            stream
                .write_all(b"GET /health HTTP/1.1\r\nHost")
                .expect("sent");
            stream
        })
        .collect()
}

/// The program where a process may have 64 handles.
#[cfg(unix)]
fn with_few_handles(arguments: &[&std::ffi::OsStr]) -> Command {
    let mut command = Command::new("sh");
    command.args([
        "-c",
        "ulimit -n 64; exec \"$0\" \"$@\"",
        env!("CARGO_BIN_EXE_tickstrip"),
    ]);
    command.args(arguments);
    command
}

#[cfg(unix)]
#[test]
fn half_open_connections_keep_nobody_out_even_with_few_handles() {
    let folder = folder();
    let job = folder.path().join("job.json");
    let [serve, mark] = [
        with_few_handles(&[
            "serve".as_ref(),
            folder.path().as_ref(),
            "--listen".as_ref(),
            "127.0.0.1:0".as_ref(),
        ]),
        with_few_handles(&["mark".as_ref(), job.as_ref(), "--no-browser".as_ref()]),
    ]
    .map(|command| Service::run(command, None));
    let mark = mark.entered();
    let held = [&serve, &mark].map(|service| half_open(service, 64));
    for (service, path) in [
        (&serve, "health".to_owned()),
        (&mark, format!("{}api/state", mark.root)),
    ] {
        let path = format!("/{}", path.trim_start_matches('/'));
        let begun = Instant::now();
        for _ in 0..3 {
            let answer = service.ask_raw("GET", &path, "text/plain", b"");
            assert_eq!(answer.expect("an answer").status, 200);
        }
        assert!(begun.elapsed() < Duration::from_secs(20));
    }
    // Files can still be opened.
    let posted = super::id(&serve.post_path("job.json"));
    assert_eq!(
        serve.wait(&posted, &["finished", "failed"])["state"],
        "finished"
    );
    drop(held);
}

#[test]
fn a_head_that_does_not_come_and_a_connection_that_is_not_used_are_closed() {
    let folder = folder();
    let service = Service::start(folder.path(), &[]);
    let mut unused = service.connect();
    unused
        .write_all(b"GET /health HTTP/1.1\r\nHost: localhost\r\n\r\n")
        .expect("sent");
    for mut stream in half_open(&service, 1).into_iter().chain([unused]) {
        // A read that takes longer than a minute fails.
        let mut answer = Vec::new();
        stream.read_to_end(&mut answer).expect("closed");
    }
}

#[cfg(target_os = "linux")]
#[test]
fn large_results_are_sent_without_being_in_memory_whole() {
    const LENGTH: usize = 64 << 20;
    let folder = folder();
    let service = Service::start(folder.path(), &[]);
    let id = super::id(&service.post_path("job.json"));
    service.wait(&id, &["finished"]);
    let results = format!(".tickstrip/service/jobs/{id}/results/front/overlay.png");
    let file = std::fs::OpenOptions::new()
        .write(true)
        .open(folder.path().join(results))
        .expect("there");
    file.set_len(LENGTH as u64).expect("set");
    let path = format!("/jobs/{id}/files/front/overlay.png");
    let before = peak_megabytes(&service);
    let slow: Vec<_> = (0..8)
        .map(|_| {
            let mut stream = service.connect();
            let head = service.head("GET", &path, "text/plain", 0);
            stream.write_all(head.as_bytes()).expect("sent");
            stream.read_exact(&mut [0; 1000]).expect("an answer");
            stream
        })
        .collect();
    let answer = service.ask_raw("GET", &path, "text/plain", b"");
    assert_eq!(answer.expect("an answer").body.len(), LENGTH);
    let grown = peak_megabytes(&service) - before;
    assert!(grown < 32, "{grown} MB more");
    drop(slow);
}

#[test]
fn a_body_that_is_refused_is_not_waited_for_without_an_end() {
    let folder = folder();
    let service = Service::start(folder.path(), &["--queue", "1", "--body-seconds", "600"]);
    let begin = |service: &Service| {
        let mut stream = service.connect();
        let head = service.head("POST", "/jobs", KIND, 1000);
        stream.write_all(head.as_bytes()).expect("sent");
        stream.write_all(b"--cut-here").expect("sent");
        stream
    };
    let first = begin(&service);
    thread::sleep(Duration::from_millis(500));
    let answer = read(begin(&service)).expect("an answer");
    assert_eq!((answer.status, answer.code().as_str()), (429, "queue-full"));
    drop(first);
}

/// A job of so many outlines of a thousand corners, which takes long to be checked.
fn job_that_is_slow_to_check(regions: usize) -> String {
    let corner = |i: usize| {
        let angle = std::f64::consts::TAU * i as f64 / 1000.0;
        [90.0 + 80.0 * angle.cos(), 75.0 + 70.0 * angle.sin()].map(|v| (v * 100.0).round() / 100.0)
    };
    let outline: Vec<_> = (0..1000).map(corner).collect();
    let region = |k: usize| json!({ "name": format!("part {k}"), "outline": outline });
    let mut job = job();
    job["views"][0]["regions"] = (0..regions).map(region).collect();
    job.to_string()
}

#[test]
fn a_job_whose_body_came_late_is_taken_or_refused_and_never_both() {
    let folder = folder();
    let service = Service::start(folder.path(), &["--body-seconds", "1"]);
    let (text, picture) = (job_that_is_slow_to_check(900), picture(0));
    let files: &[(&str, &[u8])] = &[
        ("job", text.as_bytes()),
        ("render.png", &picture),
        ("plan.png", &picture),
    ];
    let answer = service.post_files(files);
    // A slow machine may take more than a second for the body itself.
    let is_taken = match answer.status {
        202 => true,
        408 => false,
        _ => panic!("{answer:?}"),
    };
    thread::sleep(Duration::from_secs(5));
    let listed = service.get("/jobs").json()["jobs"]
        .as_array()
        .expect("a list")
        .len();
    let jobs = folder.path().join(".tickstrip/service/jobs");
    let on_disk = std::fs::read_dir(jobs).expect("there").count();
    let expected = usize::from(is_taken);
    assert_eq!([listed, on_disk], [expected; 2]);
}
