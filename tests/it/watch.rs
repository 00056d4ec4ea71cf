//! `tickstrip watch`: a changed file is compared once it is whole, and the lines say what that changed.
#![cfg(unix)]

use serde_json::{Value, json};
use std::{
    fs,
    io::{BufRead, BufReader},
    path::Path,
    process::{Child, Command, Stdio},
    sync::mpsc::{Receiver, channel},
    thread,
    time::Duration,
};

/// Three boxes; the second one is so much wider.
fn picture(extra: u32) -> Vec<u8> {
    let boxes = [
        [60, 60, 240, 180],
        [300, 90, 450 + extra, 270],
        [90, 270, 270, 390],
    ];
    let image = image::RgbImage::from_fn(540, 450, |x, y| {
        let is_inside = boxes
            .iter()
            .any(|[l, t, r, b]| x >= *l && x < *r && y >= *t && y < *b);
        image::Rgb([if is_inside { 60 } else { 210 }; 3])
    });
    let mut bytes = std::io::Cursor::new(Vec::new());
    image
        .write_to(&mut bytes, image::ImageFormat::Png)
        .expect("encoded");
    bytes.into_inner()
}

fn job(right: f64) -> Value {
    let mark = |name: &str, usage: &str, render: [f64; 2], reference: [f64; 2]| json!({ "name": name, "use": usage, "render": render, "reference": reference });
    let same = |name: &str, usage: &str, at: [f64; 2]| mark(name, usage, at, at);
    json!({
        "title": "Three boxes", "scale": "1:32",
        "views": [{
            "name": "front", "render": { "image": "render.png", "mark_sigma_px": 0.3 },
            "reference": { "image": "plan.png", "kind": "plan", "mark_sigma_px": 0.3 },
            "landmarks": [
                same("a", "datum", [60.0, 60.0]), same("b", "datum", [240.0, 60.0]), same("c", "datum", [90.0, 390.0]),
                same("d", "datum", [270.0, 390.0]), same("h", "datum", [240.0, 180.0]),
                same("e", "check", [300.0, 90.0]), mark("f", "check", [right, 90.0], [450.0, 90.0]),
                mark("g", "check", [right, 270.0], [450.0, 270.0]), same("i", "check", [300.0, 270.0])
            ],
            "regions": [{ "name": "box", "outline": [[290, 80], [480, 80], [480, 280], [290, 280]], "landmarks": ["e", "f", "g", "i"] }]
        }]
    })
}

struct Watch {
    child: Child,
    lines: Receiver<String>,
}

impl Drop for Watch {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

impl Watch {
    fn start(folder: &Path) -> Self {
        let mut child = Command::new(env!("CARGO_BIN_EXE_tickstrip"))
            .args(["watch", "job.json"])
            .current_dir(folder)
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("starts");
        let out = BufReader::new(child.stdout.take().expect("piped"));
        let (sender, lines) = channel();
        thread::spawn(move || {
            for line in out.lines().map_while(Result::ok) {
                let _ = sender.send(line);
            }
        });
        Self { child, lines }
    }

    fn until(&self, begin: &str) -> String {
        loop {
            let line = self
                .lines
                .recv_timeout(Duration::from_secs(60))
                .expect(begin);
            if line.starts_with(begin) {
                return line;
            }
        }
    }
}

/// A folder with the job and its images; the render is off.
fn folder() -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    let write =
        |name: &str, bytes: &[u8]| fs::write(folder.path().join(name), bytes).expect("written");
    write("render.png", &picture(15));
    write("plan.png", &picture(0));
    write("job.json", job(465.0).to_string().as_bytes());
    folder
}

#[test]
fn a_new_render_is_compared_when_it_is_whole_and_the_lines_say_what_got_better() {
    let folder = folder();
    let write =
        |name: &str, bytes: &[u8]| fs::write(folder.path().join(name), bytes).expect("written");
    let mut watch = Watch::start(folder.path());
    watch.until("results in");
    // The new render comes in two pieces: the first one alone is no picture.
    let render = picture(0);
    write("render.png", &render[..render.len() / 2]);
    thread::sleep(Duration::from_millis(400));
    write("render.png", &render);
    write("job.json", job(450.0).to_string().as_bytes());
    assert_eq!(watch.until("job.json"), "job.json, render.png changed");
    let line = watch.until("front:");
    assert!(line.starts_with("front: box: better: width +1"), "{line}");
    assert!(line.contains("out ✕ -> "), "{line}");
    // The same again: a new time, and nothing new in it.
    write("plan.png", &picture(0));
    watch.until("plan.png changed");
    assert!(
        watch
            .until("front:")
            .starts_with("front: unchanged within the intervals")
    );
    let interrupt = Command::new("kill")
        .args(["-INT", &watch.child.id().to_string()])
        .status();
    assert!(interrupt.expect("kill is there").success());
    watch.until("stopped");
    assert_eq!(watch.child.wait().expect("ended").code(), Some(0));
    for entry in fs::read_dir(folder.path()).expect("readable") {
        let name = entry.expect("readable").file_name();
        assert!(
            !name.to_string_lossy().starts_with(".tickstrip-"),
            "{name:?}"
        );
    }
}

#[test]
fn a_picture_that_cannot_be_read_for_a_while_costs_neither_the_results_nor_what_they_are_held_against()
 {
    let folder = folder();
    let write =
        |name: &str, bytes: &[u8]| fs::write(folder.path().join(name), bytes).expect("written");
    let watch = Watch::start(folder.path());
    watch.until("results in");
    let overlay = folder.path().join("job-results/front/overlay.png");
    assert!(overlay.exists());
    write("plan.png", b"no picture");
    watch.until("front: could not be compared");
    let line = watch.until("no view could be compared");
    assert!(line.ends_with("job-results were kept"), "{line}");
    assert!(overlay.exists());
    write("render.png", &picture(0));
    write("job.json", job(450.0).to_string().as_bytes());
    write("plan.png", &picture(0));
    let line = watch.until("front: ");
    assert!(line.starts_with("front: box: better: width"), "{line}");
}

#[test]
fn a_file_whose_name_commands_a_terminal_is_named_without_that() {
    let folder = tempfile::tempdir().expect("a folder");
    let name = "plan\u{1b}[2J\u{202e}gnp.png";
    let mut nasty = job(450.0);
    nasty["views"][0]["reference"]["image"] = json!(name);
    fs::write(folder.path().join("render.png"), picture(0)).expect("written");
    fs::write(folder.path().join(name), picture(0)).expect("written");
    fs::write(folder.path().join("job.json"), nasty.to_string()).expect("written");
    let watch = Watch::start(folder.path());
    watch.until("results in");
    fs::write(folder.path().join(name), picture(15)).expect("written");
    assert_eq!(
        watch.until("plan"),
        "plan\u{fffd}[2J\u{fffd}gnp.png changed"
    );
    fs::remove_file(folder.path().join(name)).expect("removed");
    watch.until("plan");
    let line = watch.until("front: could not be compared");
    assert!(line.contains("plan\u{fffd}[2J\u{fffd}gnp.png"), "{line}");
}
