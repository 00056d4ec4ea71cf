//! Several photos together as users run them, on the fire pump from two sides: its lantern and its beam are not like the model's.
use crate::support::run::{Run, run};
use serde_json::{Value, json};
use std::{fs, path::Path};

const FIXTURE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/space");

/// The job of the fixture with a change, in a folder with its pictures.
fn changed(change: impl FnOnce(&mut Value)) -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    for name in ["render.png", "quay.jpg", "yard.jpg", "hall.jpg"] {
        fs::copy(Path::new(FIXTURE).join(name), folder.path().join(name)).expect("copied");
    }
    let text = fs::read_to_string(Path::new(FIXTURE).join("together.json")).expect("readable");
    let mut job = serde_json::from_str(&text).expect("JSON");
    change(&mut job);
    fs::write(folder.path().join("pump.json"), job.to_string()).expect("written");
    folder
}

fn camera(folder: &Path) -> Run {
    run(folder, &["camera", "pump.json", "--json"])
}

fn space_of(run: &Run) -> Value {
    let report: Value =
        serde_json::from_str(&run.out).unwrap_or_else(|e| panic!("{e}: {}{}", run.out, run.err));
    report["space"].clone()
}

fn part<'a>(space: &'a Value, name: &str) -> &'a Value {
    let parts = space["parts"].as_array().expect("parts");
    let found = parts.iter().find(|part| part["name"] == name);
    found.unwrap_or_else(|| panic!("no {name} in {space}"))
}

fn holds(figure: &Value, truth: f64) -> bool {
    let end = |key: &str| figure[key].as_f64().unwrap_or_else(|| panic!("{figure}"));
    end("low") <= truth && truth <= end("high")
}

#[test]
fn the_errors_of_the_parts_are_found_and_the_others_hold_zero() {
    let folder = changed(|_| ());
    let run = camera(folder.path());
    assert_eq!(run.status, 0, "{}", run.err);
    let space = space_of(&run);
    assert_eq!(space["verdict"], "out");
    let lantern = part(&space, "lantern");
    assert!(holds(&lantern["size_percent"]["width"], 6.0), "{lantern}");
    assert!(holds(&lantern["offset_model_mm"]["z"], -0.45), "{lantern}");
    assert!(
        holds(&lantern["offset_full_size_mm"]["z"], -0.45 * 24.0),
        "{lantern}"
    );
    assert!(holds(&lantern["offset_model_mm"]["x"], 0.0), "{lantern}");
    let correction = lantern["correction"].as_str().expect("a change");
    for words in [
        "make the lantern ",
        " % narrower along x (",
        " mm towards +z",
    ] {
        assert!(correction.contains(words), "{correction}");
    }
    let beam = part(&space, "pump beam");
    assert!(holds(&beam["rotation_deg"]["y"], 3.0), "{beam}");
    assert!(
        beam["correction"]
            .as_str()
            .expect("a change")
            .contains("about y, from x towards z")
    );
    for view in space["views"].as_array().expect("views") {
        assert_eq!(view["error"], Value::Null);
        assert_eq!(view["wrong"], json!([]));
    }
}

#[test]
fn a_comparison_writes_them_into_the_report_the_page_and_a_table() {
    let folder = changed(|_| ());
    let done = run(folder.path(), &["compare", "pump.json", "--out", "results"]);
    assert_eq!(done.status, 1, "{}{}", done.out, done.err);
    for words in [
        "in space, all photos together: ",
        "width %",
        "turn about ",
        "errors are model minus subject along the axes of the model",
    ] {
        assert!(done.out.contains(words), "{words:?} in {}", done.out);
    }
    let read =
        |name: &str| fs::read_to_string(folder.path().join("results").join(name)).expect(name);
    let report: Value = serde_json::from_str(&read("report.json")).expect("JSON");
    assert!(holds(
        &part(&report["space"], "lantern")["size_percent"]["width"],
        6.0
    ));
    assert_eq!(report["verdict"], "out");
    let table = read("space.csv");
    let row = "quay and yard,part,lantern,width,%,";
    assert!(
        table.contains(row) && table.contains("mm on the full-size object"),
        "{table}"
    );
    let page = read("report.html");
    assert!(page.contains("id=\"space\"") && page.contains("What to change in CAD by all photos"));
    // One view alone says nothing of the others.
    let one = run(
        folder.path(),
        &["compare", "pump.json", "--view", "quay", "--out", "one"],
    );
    assert!(!one.out.contains("in space"), "{}", one.out);
    assert!(!folder.path().join("one/space.csv").exists());
}

#[test]
fn one_photo_says_what_it_does_not_tell_and_which_photo_would() {
    let folder = changed(|job| job["together"] = json!(["quay"]));
    let run = run(folder.path(), &["camera", "pump.json"]);
    assert_eq!(run.status, 0, "{}", run.err);
    assert!(run.out.contains("cannot tell "), "{}", run.out);
    let flat = run.out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        flat.contains("\"quay\", with the same landmarks, would tell "),
        "{flat}"
    );
}

#[test]
fn a_photo_without_a_camera_says_why_and_the_other_gives_the_rest() {
    let folder = changed(|job| {
        let marks = job["views"][1]["landmarks"].as_array_mut().expect("marks");
        marks.retain(|mark| mark["use"] == "check");
    });
    let run = camera(folder.path());
    assert_eq!(run.status, 3, "{}", run.err);
    let space = space_of(&run);
    assert_eq!(space["views"][1]["error"]["code"], "too-few-places");
    assert_eq!(space["views"][0]["error"], Value::Null);
    assert_eq!(part(&space, "lantern")["views"], json!(["quay"]));
}

#[test]
fn a_wrong_mark_of_a_part_is_named() {
    let folder = changed(|job| {
        let marks = job["views"][0]["landmarks"].as_array_mut().expect("marks");
        let mark = marks
            .iter_mut()
            .find(|m| m["name"] == "lantern front right");
        let mark = &mut mark.expect("there")["reference"];
        *mark = json!([mark[0].as_f64().expect("x") + 25.0, mark[1]]);
    });
    let space = space_of(&camera(folder.path()));
    assert_eq!(space["views"][0]["wrong"], json!(["lantern front right"]));
    assert!(holds(
        &part(&space, "lantern")["size_percent"]["width"],
        6.0
    ));
}

#[test]
fn views_that_contradict_each_other_are_refused_with_the_place() {
    type Case = (fn(&mut Value), &'static str);
    let cases: [Case; 8] = [
        (
            |job| job["together"] = json!(["quay", "yart"]),
            "/together/1: no view \"yart\"; the job has \"yard\"",
        ),
        (
            |job| job["together"] = json!(["quay", "quay"]),
            "/together/1: the view \"quay\" is listed twice",
        ),
        (
            |job| job["views"][1]["landmarks"][0]["model_mm"] = json!([30, -12, 4]),
            "/views/1/landmarks/0/model_mm: the landmark \"sole plate front right top\" lies at (30, -12, 4) on the model here and at (30, -12, 3) in the view \"quay\"",
        ),
        (
            |job| job["views"][1]["landmarks"][0]["use"] = json!("check"),
            "/views/1/landmarks/0/use: the landmark \"sole plate front right top\" is datum in one and check in the other",
        ),
        (
            |job| job["views"][1]["regions"][0]["name"] = json!("lamp"),
            "belongs to the parts \"lantern\" and \"lamp\"",
        ),
        (
            |job| job["views"][1]["reference"]["interior"] = json!({ "same_as": "yard" }),
            "/views/1/reference/interior/same_as: \"yard\" is this view or takes its own camera from another one",
        ),
        (
            |job| {
                job["views"][1]["reference"]["interior"] =
                    json!({ "same_as": "quay", "lens": "unknown" })
            },
            "the camera is that of \"quay\", and more is stated of it here",
        ),
        (
            |job| {
                job["views"][0]["reference"]["rectify"] =
                    json!({ "corners": [[0, 0], [100, 0], [100, 100], [0, 100]], "aspect": 1 });
                job["views"][1]["reference"]["interior"] = json!({ "same_as": "quay" });
            },
            "is a photo of a screen, whose picture has its own camera",
        ),
    ];
    for (change, words) in cases {
        let run = camera(changed(change).path());
        assert_eq!(run.status, 2, "{}", run.out);
        assert!(run.err.contains(words), "{words:?} in {}", run.err);
    }
}

#[test]
fn photos_of_one_camera_have_one_focal_length_and_one_size() {
    let tied = |job: &mut Value| {
        job["views"][1]["reference"]["interior"] = json!({ "same_as": "quay" });
    };
    let space = space_of(&camera(changed(tied).path()));
    let focal = |k: usize| {
        space["views"][k]["focal_length_px"]["value"]
            .as_f64()
            .expect("told")
    };
    assert!(
        (focal(0) / focal(1) - 1.0).abs() < 1e-4,
        "{} {}",
        focal(0),
        focal(1)
    );
    let folder = changed(|job| {
        tied(job);
        job["views"][1]["reference"]["image"] = json!("small.png");
    });
    let small = image::RgbImage::new(1100, 800);
    small
        .save(folder.path().join("small.png"))
        .expect("written");
    let space = space_of(&camera(folder.path()));
    assert_eq!(
        space["views"][1]["error"]["code"], "same-as-other-size",
        "{space}"
    );
}
