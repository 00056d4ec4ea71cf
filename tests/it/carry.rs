//! `carry`: the marks of a job on its next render.
use crate::support::run;
use serde_json::{Value, json};
use std::{fs, path::Path};
use tempfile::TempDir;
use tickstrip::images::{Limits, content};

const DEMO: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/demo");

/// The demo's side view, alone in its job, with its two renders.
fn demo() -> TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    for name in ["side-render.png", "side-corrected.png", "side-screen.jpg"] {
        fs::copy(Path::new(DEMO).join(name), folder.path().join(name)).expect("copied");
    }
    let mut job = json_of(&Path::new(DEMO).join("pump.json"));
    job["views"].as_array_mut().expect("views").truncate(1);
    write(&folder, "pump.json", &job);
    folder
}

fn json_of(path: &Path) -> Value {
    serde_json::from_slice(&fs::read(path).expect("readable")).expect("JSON")
}

fn write(folder: &TempDir, name: &str, job: &Value) {
    fs::write(folder.path().join(name), job.to_string()).expect("written");
}

fn run(folder: &TempDir, arguments: &[&str]) -> (i32, String, String) {
    let run = run::run(folder.path(), arguments);
    (run.status, run.out, run.err)
}

fn point(value: &Value) -> [f64; 2] {
    [0, 1].map(|k| value[k].as_f64().expect("a number"))
}

fn named<'v>(list: &'v Value, name: &str) -> Option<&'v Value> {
    list.as_array()
        .expect("a list")
        .iter()
        .find(|l| l["name"] == name)
}

#[test]
fn the_corrected_render_of_the_demo_needs_no_click() {
    let folder = demo();
    let (status, out, err) = run(
        &folder,
        &["carry", "pump.json", "--render", "side-corrected.png"],
    );
    assert_eq!(status, 0, "{err}");
    assert!(out.contains("50 of 50 landmarks carried over"), "{out}");
    let before = json_of(&folder.path().join("pump.json"));
    let after = json_of(&folder.path().join("pump-carried.json"));
    let truth = json_of(&Path::new(DEMO).join("truth.json"));
    let old_truth = &truth["views"][0]["landmarks"];
    let new_truth = &truth["corrected"]["landmarks"];
    // A click beside its place stays as far beside it.
    let old = before["views"][0]["landmarks"].as_array().expect("a list");
    for landmark in old {
        let name = landmark["name"].as_str().expect("a name");
        let carried = named(&after["views"][0]["landmarks"], name).expect("carried");
        let place = |of: &Value| point(&named(of, name).expect("true")["render"]);
        let (click, was, is) = (
            point(&landmark["render"]),
            place(old_truth),
            place(new_truth),
        );
        let found = point(&carried["render"]);
        let off = [0, 1].map(|k| found[k] - (click[k] + is[k] - was[k]));
        assert!(off[0].hypot(off[1]) < 0.6, "{name} {off:?}");
        assert_eq!(carried["reference"], landmark["reference"]);
    }
    assert_eq!(after["views"][0]["render"]["image"], "side-corrected.png");
    assert_eq!(
        after["views"][0]["render"]["marked_on"]["size"],
        json!([1530, 1190])
    );
    // What was corrected is right now, and what was not is as wrong as before.
    run(&folder, &["compare", "pump-carried.json", "--quiet"]);
    let report = json_of(&folder.path().join("pump-carried-results/report.json"));
    let regions = &report["views"][0]["regions"];
    let holds = |part: &str, key: &str, truth: f64| {
        let figure = &named(regions, part).expect("measured")[key];
        let end = |key: &str| figure[key].as_f64().expect("a figure");
        assert!(
            end("low") < truth && truth < end("high"),
            "{part}: {figure}"
        );
    };
    holds("lantern", "width_percent", 0.0);
    holds("pump beam", "rotation_deg", 0.0);
    holds("air vessel", "height_percent", 3.0);
}

#[test]
fn what_is_gone_is_left_out_with_all_that_needs_it() {
    let folder = demo();
    // The tool box is painted over.
    let path = folder.path().join("side-corrected.png");
    let mut picture = image::open(&path).expect("a picture").to_rgba8();
    for y in 605..720 {
        for x in 345..490 {
            picture.put_pixel(x, y, image::Rgba([180, 180, 180, 255]));
        }
    }
    picture.save(&path).expect("written");
    let mut job = json_of(&folder.path().join("pump.json"));
    let span = json!({ "name": "lid", "from": "lid front", "to": "lid rear" });
    job["views"][0]["spans"]
        .as_array_mut()
        .expect("spans")
        .push(span);
    write(&folder, "pump.json", &job);
    let (status, out, _) = run(
        &folder,
        &["carry", "pump.json", "--render", "side-corrected.png"],
    );
    assert_eq!(status, 0);
    assert!(out.contains("left out: \"lid front\""), "{out}");
    assert!(out.contains("the span \"lid\" was left out"), "{out}");
    let view = &json_of(&folder.path().join("pump-carried.json"))["views"][0];
    assert!(named(&view["landmarks"], "lid front").is_none());
    assert!(
        named(&view["spans"], "lid").is_none() && named(&view["spans"], "tank length").is_some()
    );
    let marks = &named(&view["regions"], "tool box").expect("stays")["landmarks"];
    assert!(!marks.to_string().contains("lid front"), "{marks}");
}

#[test]
fn a_cropped_and_a_larger_render_are_followed() {
    let folder = demo();
    let picture = image::open(folder.path().join("side-render.png")).expect("a picture");
    let cropped = picture.crop_imm(25, 12, 1480, 1150);
    cropped
        .save(folder.path().join("cropped.png"))
        .expect("written");
    let larger = picture.resize_exact(1912, 1487, image::imageops::FilterType::CatmullRom);
    larger
        .save(folder.path().join("larger.png"))
        .expect("written");
    let before = json_of(&folder.path().join("pump.json"));
    for (name, scale, shift) in [
        ("cropped", 1.0, [25.0, 12.0]),
        ("larger", 1912.0 / 1530.0, [0.0, 0.0]),
    ] {
        let image = format!("{name}.png");
        let (status, out, err) = run(
            &folder,
            &[
                "carry",
                "pump.json",
                "--render",
                &image,
                "--out",
                &format!("{name}.json"),
            ],
        );
        assert_eq!(status, 0, "{err}");
        let view = &json_of(&folder.path().join(format!("{name}.json")))["views"][0];
        let landmarks = view["landmarks"].as_array().expect("a list");
        assert!(landmarks.len() >= 45, "{out}");
        for landmark in landmarks {
            let was = named(
                &before["views"][0]["landmarks"],
                landmark["name"].as_str().expect("a name"),
            );
            let (was, is) = (
                point(&was.expect("there")["render"]),
                point(&landmark["render"]),
            );
            let off = [0, 1].map(|k| is[k] - scale * (was[k] - shift[k]));
            assert!(off[0].hypot(off[1]) < 0.7, "{name}: {landmark} {off:?}");
        }
        let corner = |view: &Value| point(&view["regions"][0]["outline"][0]);
        let (was, is) = (corner(&before["views"][0]), corner(view));
        assert!(
            (is[0] - scale * (was[0] - shift[0])).abs() < 1.5,
            "{name}: the outline"
        );
    }
}

#[test]
fn what_cannot_be_carried_is_refused_in_words() {
    let folder = demo();
    let refused = |arguments: &[&str], words: &str| {
        let (status, out, err) = run(&folder, arguments);
        assert_eq!(status, 2, "{arguments:?}: {out}");
        assert!(err.contains(words), "{arguments:?}: {err}");
        assert!(
            !folder.path().join("pump-carried.json").exists(),
            "{arguments:?}"
        );
    };

    refused(&["carry", "pump.json", "--render", "none.png"], "none.png");
    refused(
        &["carry", "none.json", "--render", "side-corrected.png"],
        "none.json",
    );
    refused(
        &["carry", "pump.json", "--render", "side-render.png"],
        "this is the picture that is marked already",
    );
    refused(
        &[
            "carry",
            "pump.json",
            "--render",
            "side-corrected.png",
            "--view",
            "top",
        ],
        "name one of its views with --view: \"side\"",
    );
    fs::create_dir(folder.path().join("elsewhere")).expect("made");
    refused(
        &[
            "carry",
            "pump.json",
            "--render",
            "side-corrected.png",
            "--out",
            "elsewhere/a.json",
        ],
        "write it beside pump.json",
    );
    // The old render was written over: where its marks lay cannot be seen any more.
    let mut job = json_of(&folder.path().join("pump.json"));
    job["views"][0]["render"]["marked_on"] =
        json!({ "size": [1530, 1190], "blake3": "0".repeat(64) });
    write(&folder, "pump.json", &job);
    refused(
        &["carry", "pump.json", "--render", "side-corrected.png"],
        "no longer the picture that the marks of view \"side\" were set on",
    );
}

#[test]
fn the_next_render_of_the_demo_is_better_where_it_was_corrected_and_worse_nowhere() {
    let folder = demo();
    let next = Path::new(DEMO).join("side-finished.png");
    fs::copy(next, folder.path().join("side-finished.png")).expect("copied");
    let compare = |job: &str, arguments: &[&str]| {
        let (_, out, err) = run(
            &folder,
            &[&["compare", job, "--pictures", "none"], arguments].concat(),
        );
        assert!(!out.is_empty(), "{err}");
        out
    };
    compare("pump.json", &[]);
    run(
        &folder,
        &["carry", "pump.json", "--render", "side-corrected.png"],
    );
    let out = compare("pump-carried.json", &["--against", "pump-results"]);
    assert!(
        out.starts_with("against the earlier results of pump.json: 3 better, 0 worse, "),
        "{out}"
    );
    for better in [
        "lantern: width +4.0",
        "pump beam: rotation +2.56",
        "beam slope: angle +2.41",
    ] {
        assert!(out.contains(&format!("better ▼  side: {better}")), "{out}");
    }
    let carry = [
        "carry",
        "pump-carried.json",
        "--render",
        "side-finished.png",
        "--out",
        "pump-finished.json",
    ];
    let (status, _, err) = run(&folder, &carry);
    assert_eq!(status, 0, "{err}");
    let out = compare("pump-finished.json", &["--against", "pump-carried-results"]);
    assert!(out.contains(" better, 0 worse, "), "{out}");
    for better in ["air vessel: height ", "tool box: offset y "] {
        assert!(out.contains(&format!("better ▼  side: {better}")), "{out}");
    }
}

/// The job notes which content of its images was marked.
fn note_what_is_marked(folder: &TempDir) {
    let mut job = json_of(&folder.path().join("pump.json"));
    for side in ["render", "reference"] {
        let of_image = &mut job["views"][0][side];
        let file = folder
            .path()
            .join(of_image["image"].as_str().expect("a file"));
        let content = content(&file, &Limits::default()).expect("readable");
        of_image["marked_on"] = json!({ "size": content.size, "blake3": content.blake3 });
    }
    write(folder, "pump.json", &job);
}

fn report(folder: &TempDir, results: &str) -> Value {
    json_of(&folder.path().join(results).join("report.json"))
}

fn codes(report: &Value) -> Vec<&str> {
    let of = |warnings: &'_ Value| -> Vec<String> {
        let all = warnings.as_array().expect("a list").iter();
        all.map(|w| w["code"].as_str().expect("a code").to_owned())
            .collect()
    };
    let all = of(&report["warnings"])
        .into_iter()
        .chain(of(&report["views"][0]["warnings"]));
    let all: Vec<String> = all.collect();
    ["marks-carried", "changed-image"]
        .into_iter()
        .filter(|code| all.iter().any(|c| c == code))
        .collect()
}

#[test]
fn a_render_that_was_written_over_has_its_marks_carried_over_from_the_kept_copy() {
    let folder = demo();
    note_what_is_marked(&folder);
    let path = |name: &str| folder.path().join(name);
    let compare = |out: &str, carry: bool| {
        let mut arguments = vec!["compare", "pump.json", "--pictures", "none", "--out", out];
        arguments.extend(carry.then_some("--carry"));
        run(&folder, &arguments)
    };
    let (status, _, err) = compare("first", true);
    assert_eq!(status, 1, "{err}");
    assert_eq!(
        fs::read_dir(path("pump-marked")).expect("copies").count(),
        2
    );
    let job = fs::read(path("pump.json")).expect("readable");
    fs::copy(path("side-corrected.png"), path("side-render.png")).expect("written over");
    // Without being asked, the marks stay and that is said.
    compare("as-it-was", false);
    assert_eq!(codes(&report(&folder, "as-it-was")), ["changed-image"]);
    let (_, out, err) = compare("second", true);
    let second = report(&folder, "second");
    assert_eq!(codes(&second), ["marks-carried"], "{err}");
    let said = out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        said.contains("the marks of view \"side\" were carried over to its render, which has changed since they were set: 50 of 50 found"),
        "{out}"
    );
    // The lantern, 4 % too wide before, is right in the corrected render.
    let lantern = |report: &Value| {
        let part = named(&report["views"][0]["regions"], "lantern")
            .expect("the lantern")
            .clone();
        part["width_percent"]["value"].as_f64().expect("told")
    };
    let first = report(&folder, "first");
    assert!(lantern(&first) > 2.5 && lantern(&second).abs() < 2.0);
    assert_eq!(
        fs::read(path("pump.json")).expect("readable"),
        job,
        "the job file stays"
    );
    // The same marks as carrying them over by hand gives.
    let (status, out, err) = run(&folder, &["carry", "pump.json"]);
    assert_eq!(status, 0, "{err}");
    assert!(out.contains("50 of 50 landmarks carried over"), "{out}");
    run(
        &folder,
        &[
            "compare",
            "pump-carried.json",
            "--pictures",
            "none",
            "--out",
            "by-hand",
        ],
    );
    let by_hand = report(&folder, "by-hand");
    assert_eq!(
        by_hand["views"][0]["regions"],
        second["views"][0]["regions"]
    );
    assert_eq!(codes(&by_hand), Vec::<&str>::new());
}

#[test]
fn an_image_of_which_no_copy_was_kept_keeps_its_marks_and_that_is_said() {
    let folder = demo();
    note_what_is_marked(&folder);
    let (status, out, _) = run(&folder, &["carry", "pump.json"]);
    assert_eq!(status, 0);
    assert!(
        out.contains("no image has changed since it was marked"),
        "{out}"
    );
    fs::copy(
        folder.path().join("side-corrected.png"),
        folder.path().join("side-render.png"),
    )
    .expect("written over");
    let (status, out, err) = run(&folder, &["carry", "pump.json"]);
    assert_eq!(status, 0);
    assert!(err.contains("no copy of what was marked was kept"), "{err}");
    assert!(
        out.contains("nothing was carried over")
            && !folder.path().join("pump-carried.json").exists()
    );
    // A copy that is not what its name says is none.
    let job = json_of(&folder.path().join("pump.json"));
    let checksum = job["views"][0]["render"]["marked_on"]["blake3"]
        .as_str()
        .expect("noted");
    let copies = folder.path().join("pump-marked");
    fs::create_dir(&copies).expect("a folder");
    fs::copy(
        folder.path().join("side-corrected.png"),
        copies.join(format!("{checksum}.png")),
    )
    .expect("written");
    let (_, _, err) = run(&folder, &["carry", "pump.json"]);
    assert!(err.contains("no copy of what was marked was kept"), "{err}");
}

#[test]
fn a_picture_of_something_else_leaves_the_marks_as_they_are() {
    let folder = demo();
    note_what_is_marked(&folder);
    run(
        &folder,
        &["compare", "pump.json", "--carry", "--pictures", "none"],
    );
    let noise = image::RgbImage::from_fn(1500, 1150, |x, y| {
        image::Rgb(
            [(x.wrapping_mul(2_654_435_761)
                .wrapping_add(y.wrapping_mul(40_503))
                >> 9) as u8; 3],
        )
    });
    noise
        .save(folder.path().join("side-render.png"))
        .expect("written over");
    let (status, _, err) = run(
        &folder,
        &["compare", "pump.json", "--carry", "--pictures", "none"],
    );
    assert!(
        err.contains(
            "has changed since it was marked, and its marks stay as they are: only 0 of 50"
        ),
        "{err}"
    );
    assert_ne!(status, 0);
}
