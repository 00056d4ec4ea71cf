//! What is no file, too long or too large for the memory is refused at once, wherever it is named: nothing waits for it,
//! nothing reads it without an end.
#![cfg(unix)]

use assert_cmd::Command;
use serde_json::{Value, json};
use std::{
    fs,
    io::{BufRead, BufReader, Read, Write},
    net::TcpStream,
    path::Path,
    process::{Command as Process, Output, Stdio},
    time::{Duration, Instant},
};

const PROGRAM: &str = env!("CARGO_BIN_EXE_tickstrip");
/// Far longer than a refusal takes; what waits for a pipe is there for ever.
const LONG: Duration = Duration::from_secs(60);

fn job(render: &str, reference: Value) -> Value {
    let marks: Vec<Value> = [[5, 5], [80, 5], [80, 50], [5, 50]]
        .iter()
        .enumerate()
        .map(|(n, at)| json!({ "name": format!("bolt {n}"), "use": "datum", "render": at, "reference": at }))
        .collect();
    json!({
        "title": "Hand fire pump of a harbour town", "scale": "1:24",
        "views": [{ "name": "side", "render": { "image": render }, "reference": reference, "landmarks": marks }]
    })
}

/// A folder with an image, a pipe, a folder in place of an image, a link to a device that never ends, and jobs for them.
fn folder() -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    let at = |name: &str| folder.path().join(name);
    image::RgbImage::new(90, 60)
        .save(at("good.png"))
        .expect("written");
    let made = Process::new("mkfifo").arg(at("pipe")).status();
    assert!(made.expect("mkfifo").success());
    fs::create_dir(at("folder.png")).expect("made");
    std::os::unix::fs::symlink("/dev/zero", at("endless")).expect("linked");
    let image = |name: &str| json!({ "image": name });
    for (name, job) in [
        ("good.json", job("good.png", image("good.png"))),
        ("pipe.json", job("pipe", image("good.png"))),
        ("folder.json", job("good.png", image("folder.png"))),
        ("endless.json", job("good.png", image("endless"))),
        (
            "mask.json",
            job("good.png", json!({ "image": "good.png", "mask": "pipe" })),
        ),
    ] {
        fs::write(at(name), job.to_string()).expect("written");
    }
    folder
}

fn run(folder: &Path, arguments: &[&str]) -> Output {
    Command::new(PROGRAM)
        .args(arguments)
        .current_dir(folder)
        .timeout(LONG)
        .output()
        .expect("the program starts")
}

fn refused(folder: &Path, arguments: &[&str], words: &str) {
    ends(folder, arguments, 2, words);
}

/// The program ends with this status and says this.
fn ends(folder: &Path, arguments: &[&str], status: i32, words: &str) {
    let output = run(folder, arguments);
    let said = String::from_utf8_lossy(&output.stderr).into_owned()
        + &String::from_utf8_lossy(&output.stdout);
    assert_eq!(output.status.code(), Some(status), "{arguments:?}: {said}");
    // The table breaks its lines, so spaces are taken for what they are.
    let said = said.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(said.contains(words), "{arguments:?}: {said}");
}

#[test]
fn a_job_that_is_no_file_is_refused_by_every_command() {
    let folder = folder();
    for (path, found) in [
        ("pipe", "is a pipe"),
        ("folder.png", "is a folder"),
        ("endless", "is a device"),
    ] {
        for command in ["compare", "check", "mark", "watch"] {
            refused(folder.path(), &[command, path], found);
        }
        let rectify = ["rectify", "--job", path, "--view", "side"];
        refused(folder.path(), &rectify, found);
    }
}

#[test]
fn an_image_or_a_mask_that_is_no_file_fails_its_view_at_once() {
    let folder = folder();
    for (job, words) in [
        ("pipe.json", "pipe: is a pipe; name an image file"),
        ("folder.json", "folder.png: is a folder; name an image file"),
        ("endless.json", "endless: is a device; name an image file"),
        ("mask.json", "pipe: is a pipe; name an image file"),
    ] {
        ends(folder.path(), &["compare", job, "--quiet"], 3, words);
    }
    for image in ["pipe", "endless"] {
        refused(folder.path(), &["new", image, "good.png"], "name an image");
        let corners = ["rectify", image, "--corners", "1,1 9,1 9,9 1,9"];
        refused(folder.path(), &corners, "name an image file");
    }
}

#[test]
fn a_file_that_is_too_long_is_refused_unread() {
    let folder = folder();
    // Holes: they take no room on the disk.
    for (name, gigabytes) in [("long.json", 1), ("long.png", 3)] {
        let file = fs::File::create(folder.path().join(name)).expect("made");
        file.set_len(gigabytes << 30).expect("room");
    }
    let words = "long.json: the file is larger than 16 MB";
    refused(folder.path(), &["compare", "long.json"], words);
    let words = "long.json: is larger than a job file can be";
    refused(folder.path(), &["mark", "long.json"], words);
    let words = "long.png: the file has 3222 MB, 868 MB are allowed";
    let corners = ["rectify", "long.png", "--corners", "1,1 9,1 9,9 1,9"];
    refused(folder.path(), &corners, words);
}

#[test]
fn check_says_what_a_comparison_could_not_read() {
    let folder = folder();
    fs::write(folder.path().join("notes.png"), "Pump, take 2").expect("written");
    let reference = json!({ "image": "notes.png" });
    let job = job("good.png", reference).to_string();
    fs::write(folder.path().join("notes.json"), job).expect("written");
    for (job, words) in [
        ("notes.json", "notes.json: /views/0/reference/image: "),
        ("notes.json", "notes.png: holds text (\"Pump, take 2\")"),
        ("mask.json", "pipe: is a pipe"),
    ] {
        refused(folder.path(), &["check", job], words);
    }
}

/// A job with a small view and one of 12 megapixels.
fn two_views(folder: &Path) -> &'static str {
    image::RgbImage::new(4000, 3000)
        .save(folder.join("large.png"))
        .expect("written");
    let mut two = job("good.png", json!({ "image": "good.png" }));
    let mut large = two["views"][0].clone();
    large["name"] = json!("front");
    large["render"]["image"] = json!("large.png");
    two["views"].as_array_mut().expect("a list").push(large);
    fs::write(folder.join("two.json"), two.to_string()).expect("written");
    "two.json"
}

#[test]
fn what_needs_more_memory_than_there_is_is_refused_with_the_figures() {
    let folder = folder();
    let job = two_views(folder.path());
    let memory = ["--max-memory", "100MB"];
    let words = "MB of memory, 100 MB are allowed; reduce the images or raise --max-memory";
    // The small view is compared: the exit status says that one could not be.
    let output = run(
        folder.path(),
        &[&["compare", job, "--quiet"], &memory[..]].concat(),
    );
    assert_eq!(output.status.code(), Some(3));
    let said = String::from_utf8_lossy(&output.stdout);
    let said = said.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(said.contains(words), "{said}");
    let check = [&["check", job], &memory[..]].concat();
    refused(folder.path(), &check, "/views/1: its images take 3");
    refused(folder.path(), &check, words);
    let corners = [
        "rectify",
        "large.png",
        "--corners",
        "1,1 3999,1 3999,2999 1,2999",
    ];
    let rectify = [&corners[..], &["--max-memory", "50MB"]].concat();
    refused(folder.path(), &rectify, "large.png: its images take");
    // With more it goes.
    let output = run(folder.path(), &["check", job, "--max-memory", "1GiB"]);
    assert_eq!(output.status.code(), Some(0), "{output:?}");
}

#[test]
fn every_command_that_reads_images_says_what_memory_it_takes() {
    let folder = folder();
    for command in ["compare", "check", "watch", "mark", "serve", "rectify"] {
        let help = run(folder.path(), &[command, "--help"]).stdout;
        let help = String::from_utf8_lossy(&help);
        let help = help.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(help.contains("--max-memory <SIZE>"), "{command}");
        assert!(help.contains("[default: half of what is free"), "{command}");
    }
    for (size, words) in [
        ("5", "it must be a number and a unit, such as 4GiB or 800MB"),
        ("0GB", "it must be 1MB to 1000TiB"),
    ] {
        let compare = ["compare", "good.json", "--max-memory", size];
        refused(folder.path(), &compare, words);
    }
}

#[test]
fn a_picture_that_rectification_would_blow_up_is_refused() {
    let folder = folder();
    let far = "-900000,-900000 900000,-900000 900000,900000 -900000,900000";
    let rectify = ["rectify", "good.png", "--aspect", "1", "--corners", far];
    let words = "the rectified picture would have 1800000 x 1800000 pixels";
    refused(folder.path(), &rectify, words);
    let somewhat = "-9000,-9000 9000,-9000 9000,9000 -9000,9000";
    let rectify = [
        "rectify",
        "good.png",
        "--aspect",
        "1",
        "--corners",
        somewhat,
    ];
    let memory = ["--max-memory", "100GB"];
    let words = "the rectified picture would have 18000 x 18000 pixels";
    refused(folder.path(), &[&rectify[..], &memory[..]].concat(), words);
}

/// The answer to a request, its head and its body.
fn ask(host: &str, path: &str, cookie: &str) -> String {
    let mut stream = TcpStream::connect(host).expect("the page answers");
    stream.set_read_timeout(Some(LONG)).expect("a limit");
    let head = format!(
        "GET /{path} HTTP/1.1\r\nHost: {host}\r\nCookie: {cookie}\r\nConnection: close\r\n\r\n"
    );
    stream.write_all(head.as_bytes()).expect("sent");
    let mut answer = String::new();
    stream
        .read_to_string(&mut answer)
        .expect("within the limit");
    answer
}

#[test]
fn the_marking_page_goes_on_and_ends_where_an_image_is_a_pipe() {
    let folder = folder();
    let mut program = Process::new(PROGRAM)
        .args(["mark", "pipe.json", "--no-browser"])
        .current_dir(folder.path())
        .stdout(Stdio::piped())
        .spawn()
        .expect("starts");
    let mut lines = BufReader::new(program.stdout.take().expect("piped")).lines();
    let address = lines.next().expect("an address").expect("text");
    let address = address.trim_start_matches("http://").to_owned();
    let (host, way_in) = address.split_once('/').expect("a way in");
    let entered = ask(host, way_in, "");
    let cookie = entered
        .lines()
        .find_map(|line| line.strip_prefix("set-cookie: "))
        .and_then(|cookie| cookie.split(';').next())
        .expect("a cookie");
    let picture = ask(host, "api/picture/0/render", cookie);
    assert!(picture.contains("\"image-no-file\""), "{picture}");
    assert!(picture.contains("pipe: is a pipe"), "{picture}");
    assert!(ask(host, "api/state", cookie).starts_with("HTTP/1.1 200"));
    let begun = Instant::now();
    let killed = Process::new("kill")
        .args(["-INT", &program.id().to_string()])
        .status();
    assert!(killed.expect("kill").success());
    while program.try_wait().expect("a child").is_none() {
        if begun.elapsed() > LONG {
            let _ = program.kill();
            panic!("the program does not end");
        }
        std::thread::sleep(Duration::from_millis(50));
    }
}
