//! Marks outside of their images: refused by `check` and by `compare` in the same words, or said by both.
use assert_cmd::Command;
use serde_json::{Value, json};
use std::{fs, path::Path, process::Output};
use tempfile::TempDir;

const PLAN: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/plan");

/// The plan's job with a change, in a folder with its images.
fn changed(change: impl Fn(&mut Value)) -> TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    for name in ["first-issue.png", "second-issue.png"] {
        fs::copy(Path::new(PLAN).join(name), folder.path().join(name)).expect("copied");
    }
    let text = fs::read(Path::new(PLAN).join("tank.json")).expect("readable");
    let mut job: Value = serde_json::from_slice(&text).expect("JSON");
    change(&mut job["views"][0]);
    fs::write(folder.path().join("tank.json"), job.to_string()).expect("written");
    folder
}

fn run(folder: &TempDir, command: &str) -> Output {
    Command::new(env!("CARGO_BIN_EXE_tickstrip"))
        .args([command, "tank.json"])
        .current_dir(folder.path())
        .output()
        .expect("the program starts")
}

/// Text on one line.
fn flowed(bytes: &[u8]) -> String {
    let text = String::from_utf8_lossy(bytes);
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// Both commands refuse the view by these words.
fn assert_refused(words: &str, change: impl Fn(&mut Value)) {
    let folder = changed(change);
    let checked = run(&folder, "check");
    assert_eq!(checked.status.code(), Some(2), "{words}: {checked:?}");
    let text = flowed(&checked.stderr);
    assert!(
        text.contains("tank.json: /views/0/") && text.contains(words),
        "{text}"
    );
    assert!(!flowed(&checked.stdout).contains("can be compared"));
    let compared = run(&folder, "compare");
    // Nothing is left to compare.
    assert_eq!(compared.status.code(), Some(3), "{words}: {compared:?}");
    let text = flowed(&compared.stdout);
    assert!(text.contains(words), "{words}\n{text}");
}

fn scale_marks(view: &mut Value, side: &str, factor: f64) {
    for landmark in view["landmarks"].as_array_mut().expect("a list") {
        for number in landmark[side].as_array_mut().expect("a point") {
            *number = json!(number.as_f64().expect("a number") * factor);
        }
    }
}

#[test]
fn landmarks_outside_of_their_images_are_refused_and_named() {
    let words = "/views/0/landmarks: 1 landmark lies outside the render, which has 1000 x 860 pixels: \
                 \"sill front\" at [-100, 50]; mark in the image as it is on disk, or see whether it is the image \
                 that was marked";
    assert_refused(words, |view| {
        view["landmarks"][0]["render"] = json!([-100, 50]);
    });
    let words =
        "landmarks lie outside the reference, which has 1000 x 860 pixels: \"sill front\" at [";
    assert_refused(words, |view| scale_marks(view, "reference", 300.0));
    // A scan of half the size under the marks of the large one.
    assert_refused(words, |view| scale_marks(view, "reference", 2.0));
}

#[test]
fn outlines_that_have_nothing_in_the_picture_are_refused() {
    let far = json!([[2000, 10], [2200, 10], [2200, 200]]);
    let words = "/views/0/regions/0/outline: the outline of \"";
    assert_refused(words, |view| view["regions"][0]["outline"] = far.clone());
    let words = "/views/0/reference/outline: the outline of the silhouette lies outside the reference, which has \
                 1000 x 860 pixels; draw it on the image as it is on disk";
    assert_refused(words, |view| view["reference"]["outline"] = far.clone());
}

#[test]
fn marks_that_rectify_are_refused_outside_of_the_picture() {
    let rectify =
        |stated: Value| move |view: &mut Value| view["reference"]["rectify"] = stated.clone();
    let point = |at: [f64; 2], mm: [f64; 2]| json!({ "reference": at, "at": mm });
    let words = "/views/0/reference/rectify/points: 1 point lies outside the reference, which has 1000 x 860 \
                 pixels: 2 at [1300, 800]";
    assert_refused(
        words,
        rectify(json!({ "points": [
            point([10.0, 10.0], [0.0, 0.0]), point([900.0, 12.0], [300.0, 0.0]),
            point([1300.0, 800.0], [300.0, 200.0]), point([15.0, 700.0], [0.0, 200.0])
        ] })),
    );
    let words = "/views/0/reference/rectify/horizontal: 1 end lies outside the reference, which has 1000 x 860 \
                 pixels: of line 1 at [-90, 700]";
    assert_refused(
        words,
        rectify(json!({
            "horizontal": [[[10, 10], [900, 40]], [[-90, 700], [900, 650]]],
            "vertical": [[[10, 10], [40, 700]], [[900, 40], [880, 650]]]
        })),
    );
    let words = "/views/0/reference/rectify/straight_lines: 3 points lie outside the reference";
    assert_refused(
        words,
        rectify(
            json!({ "straight_lines": [[[10, 900], [500, 905], [990, 900]], [[10, 10], [500, 15], [990, 10]]] }),
        ),
    );
    let words = "/views/0/reference/rectify: rectify: the rectified picture would have 2000000 x 2000000 \
                 pixels, and 13.8 million are the most for one of 1000 x 860; corner ";
    assert_refused(
        words,
        rectify(json!({
            "corners": [[-1e6, -1e6], [1e6, -1e6], [1e6, 1e6], [-1e6, 1e6]], "aspect": 1
        })),
    );
}

#[test]
fn what_else_keeps_a_view_from_being_compared_is_told_by_check_too() {
    let words =
        "/views/0/landmarks: registration: 1 datum landmark, similarity needs 2; mark 1 more";
    assert_refused(words, |view| {
        for landmark in view["landmarks"]
            .as_array_mut()
            .expect("a list")
            .iter_mut()
            .skip(1)
        {
            landmark["use"] = json!("check");
        }
    });
    let words = "/views/0/render/mask: ";
    let folder = changed(|view| view["render"]["mask"] = json!("mask.png"));
    image::RgbImage::new(30, 20)
        .save(folder.path().join("mask.png"))
        .expect("written");
    let checked = run(&folder, "check");
    let text = flowed(&checked.stderr);
    assert!(
        checked.status.code() == Some(2) && text.contains(words),
        "{text}"
    );
    let reason = text.split_once(words).expect("it is there").1;
    let compared = flowed(&run(&folder, "compare").stdout);
    // The paths are those of the folder in both.
    let reason = reason.split_once("mask.png").expect("the file").1;
    assert!(compared.contains(reason), "{reason}\n{compared}");
    let folder = changed(|_| ());
    fs::write(folder.path().join("first-issue.png"), "no picture").expect("written");
    let checked = run(&folder, "check");
    let text = flowed(&checked.stderr);
    assert_eq!(checked.status.code(), Some(2), "{text}");
    assert!(
        text.contains("tank.json: /views/0/render/image: "),
        "{text}"
    );
}

#[test]
fn what_may_be_meant_is_said_by_both() {
    let folder = changed(|view| {
        view["landmarks"].as_array_mut().expect("a list").push(json!(
            { "name": "cut off", "render": [1008, 300], "reference": [950, 300], "use": "check" }
        ));
        let outline = view["regions"][0]["outline"]
            .as_array_mut()
            .expect("a list");
        outline[0] = json!([-40, 100]);
        view["regions"][0]["anchor"] = json!([-500, 100]);
        view["reference"]["outline"] = json!([[5, 5], [1100, 5], [900, 800], [5, 800]]);
        view["reference"]["rectify"] = json!(
            { "corners": [[-30, -20], [1020, -20], [1020, 880], [-30, 880]], "aspect": "7:6" }
        );
    });
    let said = [
        (
            "marks-at-border",
            "landmark \"cut off\" lies up to 8.0 px outside the render (1000 x 860 pixels): ",
        ),
        (
            "outline-clipped",
            " px beyond the render (1000 x 860 pixels): what lies outside is not looked at",
        ),
        (
            "outline-clipped",
            "the outline of the silhouette reaches 100.0 px beyond the reference",
        ),
        (
            "anchor-outside",
            " lies 500 px outside the render (1000 x 860 pixels): its offset is stated for",
        ),
        (
            "corners-outside",
            "corners lie up to 36.1 px outside the reference (1000 x 860 pixels): ",
        ),
    ];
    let checked = run(&folder, "check");
    let text = flowed(&checked.stdout);
    assert_eq!(checked.status.code(), Some(0), "{checked:?}");
    for (_, words) in said {
        assert!(text.contains(words), "{words}\n{text}");
    }
    let compared = run(&folder, "compare");
    assert!(
        matches!(compared.status.code(), Some(0 | 1)),
        "{compared:?}"
    );
    let report = fs::read(folder.path().join("tank-results/report.json")).expect("written");
    let report: Value = serde_json::from_slice(&report).expect("JSON");
    let warnings = report["views"][0]["warnings"]
        .as_array()
        .expect("a list")
        .clone();
    for (code, words) in said {
        let is_it = |w: &Value| {
            // The words begin a sentence there.
            let text = w["text"].as_str().unwrap_or_default().to_lowercase();
            w["code"] == json!(code) && text.contains(&words.to_lowercase())
        };
        assert!(warnings.iter().any(is_it), "{words}\n{warnings:?}");
    }
}

#[test]
fn marks_on_the_border_itself_are_no_matter() {
    let folder = changed(|view| {
        view["landmarks"].as_array_mut().expect("a list").push(json!(
            { "name": "border", "render": [1000.4, 300], "reference": [-0.4, 300], "use": "check" }
        ));
    });
    let text = flowed(&run(&folder, "check").stdout);
    assert!(!text.contains("outside the"), "{text}");
}
