//! Views whose render is drawn from the model's mesh.
use crate::support::run::run as tickstrip;
use serde_json::{Value, json};
use std::{fs, path::Path};
use tempfile::TempDir;

const SPACE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/space");

/// A folder with the job, its images and its mesh; the job changed by `change`.
fn folder(change: impl FnOnce(&mut Value)) -> TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    for file in ["hall.jpg", "screen.jpg", "model.obj"] {
        fs::copy(format!("{SPACE}/{file}"), folder.path().join(file)).expect("copied");
    }
    let text = fs::read_to_string(format!("{SPACE}/drawn.json")).expect("there");
    let mut job: Value = serde_json::from_str(&text).expect("JSON");
    change(&mut job);
    fs::write(folder.path().join("job.json"), job.to_string()).expect("written");
    folder
}

fn report(folder: &Path) -> Value {
    let text = fs::read_to_string(folder.join("results/report.json")).expect("there");
    serde_json::from_str(&text).expect("JSON")
}

fn named<'a>(list: &'a Value, name: &str) -> &'a Value {
    let found = list
        .as_array()
        .expect("a list")
        .iter()
        .find(|e| e["name"] == name);
    found.unwrap_or_else(|| panic!("no {name} in {list}"))
}

fn holds(figure: &Value, truth: f64) -> bool {
    let end = |key: &str| figure[key].as_f64().expect("a number");
    (end("low")..=end("high")).contains(&truth)
}

#[test]
fn a_model_is_compared_without_a_rendered_image() {
    let folder = folder(|_| ());
    let run = tickstrip(folder.path(), &["compare", "job.json", "--out", "results"]);
    assert!(run.status <= 1, "{} {}", run.out, run.err);
    let report = report(folder.path());
    for view in report["views"].as_array().expect("views") {
        let name = view["name"].as_str().expect("a name");
        assert!(view["error"].is_null(), "{name}: {}", view["error"]);
        let drawn = folder.path().join("results").join(name).join("drawn.png");
        assert!(drawn.is_file(), "{name}");
        assert_eq!(view["files"]["drawn"], format!("{name}/drawn.png"));
        // The beam of the model is 0.5 mm too high.
        let beam = named(&view["regions"], "pump beam");
        let up = &beam["offset_model_mm"]["y"];
        assert!(holds(up, -0.5), "{name}: {beam}");
        // A mark is good to a tenth of a millimetre here, and three lie on the beam.
        assert!(
            (-0.8..-0.25).contains(&up["value"].as_f64().expect("told")),
            "{name}: {beam}"
        );
        // What is right stays right.
        for part in ["tank", "sole plate", "air vessel"] {
            let region = named(&view["regions"], part);
            assert_ne!(region["verdict"], "out", "{name}: {region}");
        }
    }
    let codes = report["views"][0]["warnings"].as_array().expect("a list");
    assert!(
        codes
            .iter()
            .any(|warning| warning["code"] == "hidden-parts"),
        "{codes:?}"
    );
    let wrong = named(
        &report["views"][0]["registration"]["landmarks"],
        "tank rear left top",
    );
    assert_eq!(wrong["finding"], "wrong");
}

#[test]
fn a_drawn_view_is_checked_and_its_camera_solved_like_any_other() {
    let folder = folder(|_| ());
    let check = tickstrip(folder.path(), &["check", "job.json"]);
    assert_eq!(check.status, 0, "{} {}", check.out, check.err);
    assert!(check.out.contains("can be compared"), "{}", check.out);
    let camera = tickstrip(folder.path(), &["camera", "job.json"]);
    assert!(
        camera.out.contains("hall: camera by 11 datum landmarks"),
        "{}",
        camera.out
    );
}

#[test]
fn a_job_is_begun_from_a_photo_and_a_mesh() {
    let folder = folder(|_| ());
    let new = |arguments: &[&str]| {
        let all = [
            &[
                "new",
                "hall.jpg",
                "--model",
                "model.obj",
                "--out",
                "own.json",
            ],
            arguments,
        ]
        .concat();
        tickstrip(folder.path(), &all)
    };
    // What is wrong with the mesh is said before anything is marked.
    let refused = new(&[]);
    assert_eq!(refused.status, 2, "{}", refused.out);
    assert!(
        refused.err.contains("OBJ file has no unit of length"),
        "{}",
        refused.err
    );
    assert!(!folder.path().join("own.json").exists());
    let made = new(&["--unit", "mm"]);
    assert_eq!(made.status, 0, "{}", made.err);
    assert!(made.out.contains("tickstrip mark own.json"), "{}", made.out);
    let text = fs::read_to_string(folder.path().join("own.json")).expect("there");
    let job: Value = serde_json::from_str(&text).expect("JSON");
    assert_eq!(
        job["model"],
        json!({ "files": ["model.obj"], "unit": "mm" })
    );
    assert_eq!(job["views"][0]["render"], json!({ "drawn": true }));
    // Sound as it stands: what is missing are marks.
    let check = tickstrip(folder.path(), &["check", "own.json"]);
    assert!(
        check
            .err
            .contains("0 datum landmarks have a place on the model"),
        "{} {}",
        check.out,
        check.err
    );
    let both = [
        "new",
        "hall.jpg",
        "screen.jpg",
        "--model",
        "model.obj",
        "--out",
        "both.json",
    ];
    assert_eq!(tickstrip(folder.path(), &both).status, 2);
}

#[test]
fn regions_that_a_view_states_are_kept() {
    let folder = folder(|job| {
        let region = json!({
            "name": "lantern", "outline": [[880, 330], [1010, 330], [1010, 560], [880, 560]],
            "landmarks": ["lantern front right top", "lantern rear right top", "lantern front left top"]
        });
        job["views"].as_array_mut().expect("views").truncate(1);
        job["views"][0]["regions"] = json!([region]);
    });
    let run = tickstrip(folder.path(), &["compare", "job.json", "--out", "results"]);
    assert!(run.status <= 1, "{} {}", run.out, run.err);
    let regions = &report(folder.path())["views"][0]["regions"];
    assert_eq!(regions.as_array().expect("a list").len(), 1);
}

#[test]
fn what_a_drawn_view_may_not_state_is_told_with_its_place() {
    let refused = |change: fn(&mut Value), expected: &str| {
        let folder = folder(change);
        for command in ["check", "compare"] {
            let run = tickstrip(folder.path(), &[command, "job.json"]);
            assert_eq!(run.status, 2, "{command}: {} {}", run.out, run.err);
            assert!(run.err.contains(expected), "{command}: {}", run.err);
        }
    };
    refused(
        |job| job["views"][0]["render"]["image"] = "a.png".into(),
        "/views/0/render/image: the render is drawn, and has its \"image\" from the mesh",
    );
    refused(
        |job| job["views"][0]["landmarks"][2]["render"] = json!([1, 2]),
        "/views/0/landmarks/2/render: the render is drawn",
    );
    refused(
        |job| {
            job["views"][0]["landmarks"][2]
                .as_object_mut()
                .expect("an object")
                .remove("model_mm");
        },
        "/views/0/landmarks/2: the landmark \"sole plate rear right top\" has no \"model_mm\"",
    );
    refused(
        |job| {
            job.as_object_mut().expect("an object").remove("model");
        },
        "/views/0/render/drawn: the render is to be drawn, and the job names no mesh",
    );
    refused(
        |job| job["views"][0]["reference"]["interior"] = json!({ "lens": "unknown" }),
        "/views/0/reference/interior/lens: the render is drawn, which follows no lens",
    );
    refused(
        |job| job["views"][0]["registration"] = "similarity".into(),
        "/views/0/registration: the render is drawn by the camera that its landmarks tell, and laid over its reference by a projective",
    );
    refused(
        |job| {
            let lines = json!([[[100, 100], [900, 110]], [[100, 500], [900, 520]]]);
            job["views"][0]["reference"]["rectify"] =
                json!({ "horizontal": lines, "vertical": lines });
        },
        "/views/0/reference/rectify/horizontal: the render is drawn by the camera that its landmarks tell, which shows planes",
    );
    refused(
        |job| job["views"][1]["reference"]["interior"] = json!({ "screen_corners": "none" }),
        "/views/1/reference/rectify/corners: the render is drawn",
    );
    refused(
        |job| job["views"][0]["render"] = json!({}),
        "/views/0/render: the render has no picture; name its \"image\"",
    );
}

#[test]
fn what_cannot_be_drawn_is_told_with_what_to_do() {
    let refused = |change: fn(&mut Value), expected: &str| {
        let folder = folder(|job| {
            job["views"].as_array_mut().expect("views").truncate(1);
            change(job);
        });
        let check = tickstrip(folder.path(), &["check", "job.json"]);
        assert_eq!(check.status, 2, "{} {}", check.out, check.err);
        assert!(check.err.contains(expected), "{}", check.err);
        let compare = tickstrip(folder.path(), &["compare", "job.json", "--out", "results"]);
        assert_eq!(compare.status, 3, "{} {}", compare.out, compare.err);
        let error = report(folder.path())["views"][0]["error"]["text"].to_string();
        assert!(error.replace("\\\"", "\"").contains(expected), "{error}");
    };
    refused(
        |job| job["model"]["unit"] = "m".into(),
        "times as large as what the landmarks' places on the model (model_mm) reach over (1000 lies between millimetres and metres)",
    );
    refused(
        |job| {
            // Inches of the model as millimetres of the mesh.
            for mark in job["views"][0]["landmarks"].as_array_mut().expect("marks") {
                let place = mark["model_mm"].as_array_mut().expect("a place");
                place
                    .iter_mut()
                    .for_each(|v| *v = json!(25.4 * v.as_f64().expect("a number")));
            }
        },
        "on the model (model_mm) is not near the mesh, which reaches in x from -30.0000 to 30.0000",
    );
    refused(
        |job| job["views"][0]["landmarks"][3]["part"] = "boiler".into(),
        "is on the part \"boiler\", and the mesh has \"sole plate\", \"tank\"",
    );
    refused(
        |job| {
            for mark in job["views"][0]["landmarks"]
                .as_array_mut()
                .expect("marks")
                .iter_mut()
                .skip(4)
            {
                mark["use"] = "check".into();
            }
        },
        "4 datum landmarks have a place on the model",
    );
    refused(
        |job| {
            // Five marks on the sole plate's top and foot, near each other.
            job["views"][0]["reference"]["mark_sigma_px"] = json!(30.0);
        },
        "the marks tell where the camera shows the model to",
    );
}
