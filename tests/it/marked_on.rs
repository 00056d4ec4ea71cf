//! Marks that belong to another picture: what is told, what is refused, and who says that they fit.
use crate::support::marking::Marking;
use assert_cmd::Command;
use image::{Rgb, RgbImage};
use serde_json::{Value, json};
use std::{fs, path::Path, process::Output};
use tempfile::TempDir;

/// A picture with a few boxes, of which the first is so much wider.
fn picture((width, height): (u32, u32), extra: u32) -> RgbImage {
    let boxes = [
        [60, 60, 240 + extra, 180],
        [300, 90, 450, 270],
        [90, 270, 270, 390],
    ];
    RgbImage::from_fn(width, height, |x, y| {
        let is_inside = |[l, t, r, b]: &[u32; 4]| (*l..*r).contains(&x) && (*t..*b).contains(&y);
        Rgb([if boxes.iter().any(is_inside) { 60 } else { 210 }; 3])
    })
}

/// Both pictures, and the job that `new` makes of them with marks at the corners of the boxes.
fn folder() -> TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    for name in ["render.png", "plan.png"] {
        picture((540, 450), 0)
            .save(folder.path().join(name))
            .expect("written");
    }
    let made = run(folder.path(), &["new", "render.png", "plan.png"]);
    assert!(made.status.success(), "{made:?}");
    change(folder.path(), |job| {
        let marks = [
            [60, 60],
            [240, 60],
            [300, 90],
            [450, 270],
            [90, 390],
            [270, 390],
        ];
        let mark = |(i, at): (usize, &[i32; 2])| json!({ "name": format!("m{i}"), "render": at, "reference": at });
        let view = job["views"][0].as_object_mut().expect("a view");
        view["landmarks"] = marks.iter().enumerate().map(mark).collect();
        for key in ["known", "spans", "regions"] {
            view.remove(key);
        }
    });
    folder
}

fn change(folder: &Path, change: impl Fn(&mut Value)) {
    let mut job = job(folder);
    change(&mut job);
    fs::write(folder.join("job.json"), job.to_string()).expect("written");
}

fn job(folder: &Path) -> Value {
    serde_json::from_slice(&fs::read(folder.join("job.json")).expect("there")).expect("JSON")
}

fn run(folder: &Path, arguments: &[&str]) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_tickstrip"));
    command.args(arguments).current_dir(folder);
    command.output().expect("the program starts")
}

fn text(bytes: &[u8]) -> &str {
    std::str::from_utf8(bytes).expect("UTF-8")
}

/// The report of a comparison.
fn report(folder: &Path) -> Value {
    run(folder, &["compare", "job.json"]);
    let report = fs::read(folder.join("job-results/report.json")).expect("written");
    serde_json::from_slice(&report).expect("JSON")
}

fn changed_images(report: &Value) -> Vec<&str> {
    let warnings = report["views"][0]["warnings"]
        .as_array()
        .expect("a list")
        .iter();
    let of_images = warnings.filter(|w| w["code"] == "changed-image");
    of_images
        .map(|w| w["text"].as_str().expect("a text"))
        .collect()
}

#[test]
fn new_notes_both_images_and_nothing_is_told_while_they_stay() {
    let folder = folder();
    for (side, file) in [("render", "render.png"), ("reference", "plan.png")] {
        let bytes = fs::read(folder.path().join(file)).expect("there");
        let noted = &job(folder.path())["views"][0][side]["marked_on"];
        let hash = blake3::hash(&bytes).to_hex().to_string();
        assert_eq!(*noted, json!({ "size": [540, 450], "blake3": hash }));
    }
    let checked = run(folder.path(), &["check", "job.json"]);
    assert!(checked.status.success(), "{checked:?}");
    assert!(
        !text(&checked.stdout).contains("has changed"),
        "{checked:?}"
    );
    assert_eq!(changed_images(&report(folder.path())), Vec::<&str>::new());
}

#[test]
fn an_image_of_the_same_size_that_has_changed_is_told_and_compared() {
    let folder = folder();
    picture((540, 450), 12)
        .save(folder.path().join("render.png"))
        .expect("written");
    let checked = run(folder.path(), &["check", "job.json"]);
    assert!(checked.status.success(), "{checked:?}");
    let words = "doubtful: job.json: /views/0/render (view 1): the render (render.png) has changed since it was marked: look at its marks again";
    assert!(text(&checked.stdout).contains(words), "{checked:?}");
    let report = report(folder.path());
    assert_eq!(report["views"][0]["error"], Value::Null);
    let told = changed_images(&report);
    assert_eq!(told.len(), 1, "{told:?}");
    let words = "The render (render.png) has changed since it was marked: look at its marks again; where they fit, confirm them in \"tickstrip mark\"";
    assert!(told[0].starts_with(words), "{told:?}");
}

#[test]
fn an_image_of_another_size_is_refused_with_both_sizes() {
    let folder = folder();
    picture((1080, 900), 0)
        .save(folder.path().join("plan.png"))
        .expect("written");
    let words = "view \"view 1\": the reference ";
    let sizes = "plan.png has 1080 x 900 pixels, and had 540 x 450 when it was marked: its marks belong to another picture; put that picture back, or mark this one in \"tickstrip mark\" and confirm";
    let checked = run(folder.path(), &["check", "job.json"]);
    assert_eq!(checked.status.code(), Some(2));
    let found = text(&checked.stderr);
    assert!(
        found.contains("job.json: /views/0/reference/marked_on/size: "),
        "{found}"
    );
    assert!(found.contains(words) && found.contains(sizes), "{found}");
    let error = &report(folder.path())["views"][0]["error"];
    assert_eq!(error["code"], "marked-on-other-size");
    let found = error["text"].as_str().expect("a text");
    assert!(found.contains(words) && found.contains(sizes), "{found}");
}

#[test]
fn a_checksum_that_is_none_is_refused() {
    let folder = folder();
    change(folder.path(), |job| {
        job["views"][0]["render"]["marked_on"]["blake3"] = json!("12xy")
    });
    let checked = run(folder.path(), &["check", "job.json"]);
    assert_eq!(checked.status.code(), Some(2));
    let words = "/views/0/render/marked_on/blake3: found \"12xy\"; it must be the BLAKE3 checksum of the image's bytes, 64 hexadecimal digits";
    assert!(text(&checked.stderr).contains(words), "{checked:?}");
}

#[test]
fn on_the_page_a_changed_image_comes_first_until_it_is_confirmed() {
    let folder = folder();
    picture((540, 450), 12)
        .save(folder.path().join("render.png"))
        .expect("written");
    let file = folder.path().join("job.json");
    let mark = Marking::start(&file);
    let state = mark.get("/api/state");
    let view = &state["fit"]["views"][0];
    assert_eq!(view["needs"][0]["code"], "changed-image");
    let words = "The render (render.png) has changed since it was marked: look at its marks again, and move those that do not fit.";
    assert_eq!(view["needs"][0]["text"], words);
    let old = job(folder.path())["views"][0]["render"]["marked_on"].clone();
    let now = view["changed"][0]["marked_on"].clone();
    assert_eq!(view["changed"][0]["side"], "render");
    assert_ne!(old, now);
    // Who moves one mark says nothing of the others.
    let moved = json!({ "op": "set", "at": "/job/views/0/landmarks/1/render", "value": [252, 60] });
    let state = mark.change(&state, "Move m1", &moved);
    assert_eq!(job(folder.path())["views"][0]["render"]["marked_on"], old);
    assert_eq!(
        state["fit"]["views"][0]["needs"][0]["code"],
        "changed-image"
    );
    let confirmed = json!({ "op": "set", "at": "/job/views/0/render/marked_on", "value": now });
    let state = mark.change(&state, "The marks fit the render", &confirmed);
    assert_ne!(
        state["fit"]["views"][0]["needs"][0]["code"],
        "changed-image"
    );
    drop(mark);
    assert_eq!(changed_images(&report(folder.path())), Vec::<&str>::new());
}

#[test]
fn the_page_notes_the_images_of_a_job_that_says_nothing_of_them_and_undo_takes_that_back() {
    let folder = folder();
    change(folder.path(), |job| {
        for side in ["render", "reference"] {
            job["views"][0][side]
                .as_object_mut()
                .expect("an image")
                .remove("marked_on");
        }
    });
    let before = job(folder.path());
    let mark = Marking::start(&folder.path().join("job.json"));
    let moved = json!({ "op": "set", "at": "/job/views/0/landmarks/1/render", "value": [241, 60] });
    let state = mark.change(&mark.get("/api/state"), "Move m1", &moved);
    let after = job(folder.path());
    for (side, file) in [("render", "render.png"), ("reference", "plan.png")] {
        let bytes = fs::read(folder.path().join(file)).expect("there");
        let hash = blake3::hash(&bytes).to_hex().to_string();
        assert_eq!(after["views"][0][side]["marked_on"]["blake3"], json!(hash));
    }
    mark.undo(&state);
    assert_eq!(job(folder.path()), before);
}

#[test]
fn on_the_page_the_marks_of_an_image_that_was_written_over_are_carried_over_in_one_step() {
    let folder = folder();
    let before = job(folder.path());
    let file = folder.path().join("job.json");
    // Copies of what is marked are there as soon as the page is; both images are the same.
    drop(Marking::start(&file));
    let copies = folder.path().join("job-marked");
    assert_eq!(fs::read_dir(&copies).expect("copies").count(), 1);
    // The next render is cropped: 20 px less on the left, 12 above.
    let old = picture((540, 450), 0);
    let cropped = image::imageops::crop_imm(&old, 20, 12, 500, 430).to_image();
    cropped
        .save(folder.path().join("render.png"))
        .expect("written");
    let mark = Marking::start(&file);
    let state = mark.get("/api/state");
    let changed = &state["fit"]["views"][0]["changed"][0];
    assert_eq!(changed["can_carry"], true, "{changed}");
    let asked = json!({ "base": state["revision"], "view": "view 1", "side": "render" });
    let (status, after) = mark.post("/api/carry", &asked);
    assert_eq!(status, 200, "{after}");
    assert_eq!(
        after["steps"]["undo_label"],
        "Carry the marks over: 6 of 6 found"
    );
    let carried = job(folder.path());
    for (was, is) in before["views"][0]["landmarks"]
        .as_array()
        .expect("marks")
        .iter()
        .zip(carried["views"][0]["landmarks"].as_array().expect("marks"))
    {
        let at = |mark: &Value, k: usize| mark["render"][k].as_f64().expect("a number");
        assert!(
            (at(is, 0) - at(was, 0) + 20.0).abs() < 0.1
                && (at(is, 1) - at(was, 1) + 12.0).abs() < 0.1,
            "{was} {is}"
        );
        assert_eq!(is["reference"], was["reference"]);
    }
    assert_eq!(after["fit"]["views"][0]["changed"], json!([]));
    // Where each lay is remembered until somebody has looked at it.
    let to_look_at = &after["draft"]["view 1"]["carried"];
    assert_eq!(to_look_at["side"], "render");
    assert_eq!(
        to_look_at["marks"][1],
        json!({ "name": "m1", "from": [240.0, 60.0] })
    );
    // The new picture is kept too, and the step can be taken back.
    assert_eq!(fs::read_dir(&copies).expect("copies").count(), 2);
    mark.undo(&after);
    assert_eq!(job(folder.path())["views"], before["views"]);
    // Nothing changed meanwhile: nothing is carried over.
    let state = mark.get("/api/state");
    let asked = json!({ "base": state["revision"], "view": "view 1", "side": "reference" });
    let (status, refused) = mark.post("/api/carry", &asked);
    assert_eq!(status, 422);
    assert_eq!(refused["error"]["code"], "not-carried");
}
