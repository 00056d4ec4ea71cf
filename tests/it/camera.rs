//! `tickstrip camera` as users run it, on the fire pump in space.
use crate::support::run::{Run, run};
use serde_json::{Value, json};
use std::{fs, path::Path};

const FIXTURE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/space");

fn camera(folder: &Path, arguments: &[&str]) -> Run {
    run(folder, &[&["camera"], arguments].concat())
}

fn read(name: &str) -> Value {
    let text = fs::read_to_string(Path::new(FIXTURE).join(name)).expect("readable");
    serde_json::from_str(&text).expect("JSON")
}

/// The job of the fixture with a change, in a folder with its pictures.
fn changed(change: impl FnOnce(&mut Value)) -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    for name in ["render.png", "hall.jpg", "screen.jpg"] {
        fs::copy(Path::new(FIXTURE).join(name), folder.path().join(name)).expect("copied");
    }
    let mut job = read("pump.json");
    change(&mut job);
    fs::write(folder.path().join("pump.json"), job.to_string()).expect("written");
    folder
}

fn json_of(run: &Run) -> Value {
    serde_json::from_str(&run.out).unwrap_or_else(|e| panic!("{e}: {}{}", run.out, run.err))
}

fn holds(told: &Value, truth: f64) -> bool {
    let end = |key: &str| told[key].as_f64().unwrap_or_else(|| panic!("{told}"));
    end("low") <= truth && truth <= end("high")
}

#[test]
fn the_cameras_of_both_references_hold_the_truth() {
    let folder = changed(|_| ());
    let run = camera(folder.path(), &["pump.json", "--json"]);
    assert_eq!(run.status, 0, "{}", run.err);
    let (report, truth) = (json_of(&run), read("truth.json"));
    for view in report["views"].as_array().expect("views") {
        let truth = &truth[view["name"].as_str().expect("a name")];
        let first = &view["camera"]["first"];
        for axis in 0..3 {
            let centre = truth["centre_model_mm"][axis].as_f64().expect("a number");
            let told = &first["exterior"]["centre_model_mm"][axis];
            assert!(
                holds(told, centre),
                "{} {axis}: {told} {centre}",
                view["name"]
            );
        }
        assert_eq!(view["camera"]["second_attitude"], Value::Null);
    }
    let hall = &report["views"][0]["camera"];
    let focal = &hall["first"]["interior"]["focal_length_px"];
    assert!(holds(
        focal,
        truth["hall"]["focal_length_px"].as_f64().expect("a number")
    ));
    assert!(holds(&hall["first"]["exterior"]["roll_deg"], 1.5));
    let wrong: Vec<&Value> = hall["landmarks"]
        .as_array()
        .expect("marks")
        .iter()
        .filter(|m| m["finding"] == "wrong")
        .map(|m| &m["name"])
        .collect();
    assert_eq!(wrong, ["tank rear left top"]);
}

#[test]
fn words_say_what_to_type_into_cad_and_what_is_wrong() {
    let run = camera(Path::new(FIXTURE), &["pump.json", "--view", "hall"]);
    assert_eq!(run.status, 0, "{}", run.err);
    for words in [
        "hall: camera by 11 datum landmarks, which are ",
        "  distance      1",
        " mm from the middle of the datum landmarks (",
        "  place         x 1",
        "  direction     azimuth −",
        "(from x towards y), elevation ",
        "° clockwise, z being up",
        "  focal length  ",
        "    eye (1",
        " are cropped",
        "    tank rear left top  (",
        "  WRONG: contradicts the others and is left out; mark it anew",
        "  a check landmark: only shown",
    ] {
        assert!(run.out.contains(words), "{words:?} in {}", run.out);
    }
    assert!(!run.out.contains("missing"), "{}", run.out);
}

#[test]
fn files_for_cad_are_written_and_not_overwritten_unasked() {
    let folder = changed(|_| ());
    let arguments = ["pump.json", "--out", "cameras"];
    let run = camera(folder.path(), &arguments);
    assert_eq!(run.status, 0, "{}", run.err);
    assert!(
        run.out.contains("wrote cameras/screen/camera.gltf"),
        "{}",
        run.out
    );
    let path = folder.path().join("cameras/hall/camera.gltf");
    let gltf: Value = serde_json::from_slice(&fs::read(&path).expect("there")).expect("JSON");
    assert_eq!(gltf["cameras"][0]["type"], "perspective");
    let table = fs::read_to_string(folder.path().join("cameras/hall/camera.csv")).expect("there");
    assert!(
        table.starts_with("view,figure,unit,value,low,high,untold\r\nhall,place x,mm,12"),
        "{table}"
    );
    let again = camera(folder.path(), &arguments);
    assert_eq!(again.status, 2);
    assert!(
        again
            .err
            .contains("is there already and is not overwritten")
            && again.err.contains("--force"),
        "{}",
        again.err
    );
    fs::write(&path, "mine").expect("written");
    let forced = camera(folder.path(), &[&arguments[..], &["--force"]].concat());
    assert_eq!(forced.status, 0, "{}", forced.err);
    assert_ne!(fs::read(&path).expect("there"), b"mine");
    let count = fs::read_dir(folder.path().join("cameras/hall"))
        .expect("there")
        .count();
    assert_eq!(count, 3, "nothing but the files is left");
}

#[test]
fn a_view_that_cannot_be_solved_says_why_and_the_other_goes_on() {
    let folder = changed(|job| {
        for mark in job["views"][0]["landmarks"].as_array_mut().expect("marks") {
            mark.as_object_mut().expect("a mark").remove("model_mm");
        }
    });
    let run = camera(folder.path(), &["pump.json"]);
    assert_eq!(run.status, 3);
    let words = "hall: camera: 0 datum landmarks have a place on the model (\"model_mm\"), a camera of unknown focal length needs 5; give 5 more";
    assert!(run.out.contains(words), "{}", run.out);
    assert!(
        run.out.contains("screen: camera by 12 datum landmarks"),
        "{}",
        run.out
    );
    let unknown = camera(folder.path(), &["pump.json", "--view", "yard"]);
    assert_eq!(unknown.status, 2);
    assert!(unknown.err.contains("yard"), "{}", unknown.err);
}

#[test]
fn few_flat_marks_say_what_is_missing() {
    let folder = changed(|job| {
        let marks = job["views"][0]["landmarks"].as_array_mut().expect("marks");
        // Those of the pump's right side and of the tank's are in two planes; of the sole plate's top four are in one.
        marks.retain(|m| m["model_mm"][2] == json!(3.0) || m["use"] == "check");
        let (front, rear) = (marks[0].clone(), marks[2].clone());
        for (k, part) in [0.25, 0.5, 0.75].into_iter().enumerate() {
            let mut between = front.clone();
            between["name"] = json!(format!("bolt {k}"));
            for key in ["render", "reference", "model_mm"] {
                for n in 0..between[key].as_array().expect("numbers").len() {
                    let at = |m: &Value| m[key][n].as_f64().expect("a number");
                    between[key][n] = json!(at(&front) + part * (at(&rear) - at(&front)));
                }
            }
            marks.push(between);
        }
    });
    let run = camera(folder.path(), &["pump.json", "--view", "hall", "--json"]);
    let report = json_of(&run);
    let missing = report["views"][0]["camera"]["missing"]
        .as_array()
        .cloned()
        .unwrap_or_default();
    let codes: Vec<&str> = missing.iter().filter_map(|m| m["code"].as_str()).collect();
    assert!(
        codes.contains(&"flat-datum") && codes.contains(&"few-marks"),
        "{report}"
    );
}

#[test]
fn keys_that_contradict_each_other_are_refused_in_words() {
    let cases: [(Value, &str, &str); 9] = [
        (
            json!({ "focal_length_px": 1900, "focal_length_mm_35": 50 }),
            "/views/0/reference/interior",
            "both \"focal_length_px\" and \"focal_length_mm_35\" are stated",
        ),
        (
            json!({ "focal_length_px": 1900, "perspective": "as_render" }),
            "/views/0/reference/interior",
            "both \"focal_length_px\" and \"perspective\" are stated",
        ),
        (
            json!({ "focal_length_percent": 3 }),
            "/views/0/reference/interior/focal_length_percent",
            "no focal length is stated that this could be the deviation of",
        ),
        (
            json!({ "focal_length_mm_35": 50, "principal_point": "cropped" }),
            "/views/0/reference/interior/focal_length_mm_35",
            "belongs to the whole picture, and this one is cropped",
        ),
        (
            json!({ "principal_point_px": [600, 400], "principal_point": "cropped" }),
            "/views/0/reference/interior/principal_point_px",
            "keep one",
        ),
        (
            json!({ "screen_corners": "marked" }),
            "/views/0/reference/interior/screen_corners",
            "\"rectify\" has no \"corners\"; mark them, or state \"outside\"",
        ),
        (
            json!({ "focal_length_px": 0 }),
            "/views/0/reference/interior/focal_length_px",
            "found the number 0; it must be 1 or more",
        ),
        (
            json!({ "lens": "fisheye" }),
            "/views/0/reference/interior/lens",
            "\"none\"",
        ),
        (
            json!({ "focal": 3 }),
            "/views/0/reference/interior",
            "no key \"focal\"",
        ),
    ];
    for (interior, pointer, words) in cases {
        let folder = changed(|job| job["views"][0]["reference"]["interior"] = interior.clone());
        let run = camera(folder.path(), &["pump.json"]);
        assert_eq!(run.status, 2, "{interior}");
        assert!(
            run.err.contains(pointer) && run.err.contains(words),
            "{interior}: {}",
            run.err
        );
    }
    let folder = changed(|job| {
        let screen = &mut job["views"][1];
        screen["reference"]["interior"] =
            json!({ "principal_point_px": [640, 360], "screen_corners": "marked" });
        job["views"][0]["render"] = json!({ "image": "render.png" });
        job["views"][0]["reference"]["interior"] = json!({ "perspective": "as_render" });
        job["views"][0]["landmarks"][0]["model_sigma_mm"] = json!(0.1);
        job["views"][0]["landmarks"][0]
            .as_object_mut()
            .expect("a mark")
            .remove("model_mm");
    });
    let run = camera(folder.path(), &["pump.json"]);
    assert_eq!(run.status, 2);
    for words in [
        "/views/1/reference/interior/principal_point_px: in a photo of a screen",
        "/views/0/reference/interior/perspective: the perspective is to be that of the render, whose camera is not stated",
        "/views/0/landmarks/0/model_sigma_mm: the landmark has no \"model_mm\"",
    ] {
        assert!(run.err.contains(words), "{words:?} in {}", run.err);
    }
}

#[test]
fn what_is_known_of_a_camera_narrows_its_figures_and_a_screen_needs_its_aspect() {
    let half = |interior: Value| {
        let folder = changed(|job| job["views"][0]["reference"]["interior"] = interior);
        let run = camera(folder.path(), &["pump.json", "--view", "hall", "--json"]);
        let report = json_of(&run);
        let told = report["views"][0]["camera"]["first"]["interior"]["focal_length_px"].clone();
        assert!(holds(&told, 1980.0), "{told}");
        told["high"].as_f64().expect("told") - told["low"].as_f64().expect("told")
    };
    let free = half(json!({}));
    // 1980 px of a diagonal of 1442 px.
    let film = half(json!({ "focal_length_mm_35": 59.4, "focal_length_percent": 1 }));
    let pixels = half(json!({ "focal_length_px": 1975, "focal_length_percent": 0.5 }));
    assert!(pixels < film && film < free, "{pixels} {film} {free}");
    let as_render = half(json!({ "perspective": "as_render" }));
    assert!(as_render < free, "{as_render} {free}");
    let bent = half(json!({ "lens": "unknown", "principal_point": "cropped" }));
    assert!(bent > free, "{bent} {free}");

    let folder = changed(|job| {
        let rectify = job["views"][1]["reference"]["rectify"].as_object_mut();
        rectify.expect("stated").remove("aspect");
    });
    let run = camera(folder.path(), &["pump.json", "--view", "screen"]);
    assert_eq!(run.status, 3);
    assert!(
        run.out.contains("the aspect of the screen's picture is not stated; state \"aspect\" beside the \"corners\""),
        "{}",
        run.out
    );
    let folder = changed(|job| {
        let reference = job["views"][1]["reference"]
            .as_object_mut()
            .expect("stated");
        reference.remove("rectify");
        reference.insert(
            "interior".to_owned(),
            json!({ "screen_corners": "outside" }),
        );
    });
    let run = camera(folder.path(), &["pump.json", "--view", "screen"]);
    assert_eq!(run.status, 0, "{}", run.err);
    assert!(
        run.out.contains("  focal length  cannot be told")
            && run
                .out
                .contains("the corners of the screen are not in the photo"),
        "{}",
        run.out
    );
}

#[test]
fn a_mirrored_picture_is_refused_with_the_reason() {
    let folder = changed(|job| {
        let marks = job["views"][0]["landmarks"].as_array_mut().expect("marks");
        for mark in marks {
            // The hall's photo is 1200 px wide.
            let x = 1200.0 - mark["reference"][0].as_f64().expect("x");
            mark["reference"][0] = json!(x);
        }
    });
    let run = camera(folder.path(), &["pump.json", "--view", "hall"]);
    assert_eq!(run.status, 3, "{}", run.out);
    assert!(
        run.out.contains("once the model is mirrored"),
        "{}",
        run.out
    );
}

#[test]
fn a_stated_focal_length_that_the_marks_contradict_is_named_and_no_mark() {
    let stated = |px: f64| {
        move |job: &mut Value| {
            job["views"][0]["reference"]["interior"] =
                json!({ "focal_length_px": px, "focal_length_percent": 1 });
        }
    };
    let folder = changed(stated(1000.0));
    let run = camera(folder.path(), &["pump.json", "--view", "hall"]);
    assert_eq!(run.status, 3, "{}", run.out);
    let words = "hall: camera: the stated focal length, 1000 px to 1.0 %, contradicts the marks, which ask for ";
    assert!(run.out.contains(words), "{}", run.out);
    // The true one is taken.
    let folder = changed(stated(1980.0));
    let run = camera(folder.path(), &["pump.json", "--view", "hall"]);
    assert_eq!(run.status, 0, "{}", run.out);
}

#[test]
fn a_place_that_cannot_be_told_is_no_eye_in_the_files() {
    // Marks of a parallel projection: no perspective to tell the distance by.
    let folder = changed(|job| {
        for mark in job["views"][0]["landmarks"].as_array_mut().expect("marks") {
            let [x, y, z] = [0, 1, 2].map(|k| mark["model_mm"][k].as_f64().expect("mm"));
            mark["reference"] = json!([
                600.0 + 9.0 * x + 6.0 * y,
                500.0 + 3.0 * x - 4.5 * y - 10.0 * z
            ]);
        }
    });
    let run = camera(
        folder.path(),
        &["pump.json", "--view", "hall", "--out", "cameras"],
    );
    assert_eq!(run.status, 0, "{}{}", run.out, run.err);
    assert!(
        run.out.contains("  place         cannot be told\n"),
        "{}",
        run.out
    );
    assert!(
        run.out.contains("  field of view cannot be told\n"),
        "{}",
        run.out
    );
    assert!(run.out.contains("eye cannot be told"), "{}", run.out);
    let text = fs::read_to_string(folder.path().join("cameras/hall/camera.json")).expect("there");
    let file: Value = serde_json::from_str(&text).expect("JSON");
    assert_eq!(file["first"]["eye_mm"], Value::Null);
    assert_eq!(file["first"]["eye_untold"], "no-perspective");
}

#[test]
fn check_asks_for_the_unit_of_absurd_places_and_takes_a_camera_for_a_scale() {
    let check = |folder: &tempfile::TempDir| {
        crate::support::run::run(folder.path(), &["check", "pump.json"])
    };
    let sound = check(&changed(|_| ()));
    for words in ["no known length", "is not rectified", "reach "] {
        assert!(!sound.out.contains(words), "{words:?} in {}", sound.out);
    }
    for (times, words) in [
        (
            1.0 / 25.4,
            "reach 2.4 mm, which is 56.7 mm full-size; they are millimetres of the model: inches, centimetres",
        ),
        (
            304.8,
            "mm full-size; they are millimetres of the model: full-size lengths",
        ),
    ] {
        let folder = changed(|job| {
            for mark in job["views"][0]["landmarks"].as_array_mut().expect("marks") {
                for k in 0..3 {
                    let mm = mark["model_mm"][k].as_f64().expect("mm");
                    mark["model_mm"][k] = json!(mm * times);
                }
            }
        });
        let run = check(&folder);
        assert!(run.out.contains(words), "{words:?} in {}", run.out);
        let job = tickstrip::job::read(&folder.path().join("pump.json")).expect("sound");
        let doubts = tickstrip::job::doubts(&job);
        let doubt = doubts
            .iter()
            .find(|doubt| doubt.code == "model-size-absurd");
        assert_eq!(doubt.expect("a doubt").pointer, "/views/0/landmarks");
    }
}
