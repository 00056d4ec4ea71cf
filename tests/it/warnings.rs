//! What a reader must know stands in the report under its code.
use assert_cmd::Command;
use serde_json::{Value, json};
use std::{collections::BTreeMap, fs, path::Path};

const DEMO: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/demo");

/// The codes of each view's warnings, by the view's name.
fn codes_of(job: &Value) -> BTreeMap<String, Vec<String>> {
    let folder = tempfile::tempdir().expect("a folder");
    for name in [
        "front-render.png",
        "front-earlier.png",
        "side-render.png",
        "side-screen.jpg",
    ] {
        fs::copy(Path::new(DEMO).join(name), folder.path().join(name)).expect("copied");
    }
    let (width, height) =
        image::image_dimensions(folder.path().join("front-earlier.png")).expect("an image");
    image::RgbImage::from_pixel(width, height, image::Rgb([128; 3]))
        .save(folder.path().join("blank.png"))
        .expect("written");
    fs::write(folder.path().join("job.json"), job.to_string()).expect("written");
    let output = Command::new(env!("CARGO_BIN_EXE_tickstrip"))
        .args(["compare", "job.json", "--quiet"])
        .current_dir(folder.path())
        .output()
        .expect("the program starts");
    let report = fs::read(folder.path().join("job-results/report.json"));
    let report: Value =
        serde_json::from_slice(&report.unwrap_or_else(|_| panic!("{output:?}"))).expect("JSON");
    let views = report["views"].as_array().expect("a list");
    let text = |value: &Value| value.as_str().expect("a text").to_owned();
    views
        .iter()
        .map(|view| {
            let warnings = view["warnings"].as_array().expect("a list").iter();
            (
                text(&view["name"]),
                warnings.map(|w| text(&w["code"])).collect(),
            )
        })
        .collect()
}

/// The demo's view of this name under another, with a change.
fn changed(view: &str, name: &str, change: impl Fn(&mut Value)) -> Value {
    let job = fs::read(Path::new(DEMO).join("pump.json")).expect("readable");
    let job: Value = serde_json::from_slice(&job).expect("JSON");
    let views = job["views"].as_array().expect("a list");
    let mut found = views
        .iter()
        .find(|v| v["name"] == view)
        .expect("there")
        .clone();
    found["name"] = json!(name);
    change(&mut found);
    found
}

fn datums(view: &mut Value) -> impl Iterator<Item = &mut Value> {
    let landmarks = view["landmarks"].as_array_mut().expect("a list");
    landmarks.iter_mut().filter(|l| l["use"] == "datum")
}

#[test]
fn each_view_has_the_codes_of_what_was_done_to_it() {
    let front = |name: &str, change: &dyn Fn(&mut Value)| changed("front", name, change);
    let known_in = |side: &'static str| {
        move |view: &mut Value| {
            let known = view["known"].as_array_mut().expect("a list");
            known.retain(|known| known["in"] == side);
        }
    };
    let cases = [
        ("swapped-marks", front("swapped-marks", &|_| {})),
        ("no-scale", front("no-scale", &|v| v["known"] = json!([]))),
        (
            "proportions-only",
            front("proportions-only", &known_in("render")),
        ),
        (
            "hidden-errors",
            front("hidden-errors", &|v| v["registration"] = json!("affine")),
        ),
        (
            "parallax",
            front("parallax", &|v| v["same_camera"] = json!(false)),
        ),
        (
            "no-edges",
            front("no-edges", &|v| {
                v["reference"]["image"] = json!("blank.png")
            }),
        ),
        (
            "wrong-mark",
            front("wrong-mark", &|v| {
                let mark = datums(v).next().expect("a datum mark");
                let x = mark["reference"][0].as_f64().expect("a number");
                mark["reference"][0] = json!(x + 60.0);
            }),
        ),
        (
            "uncontrolled-marks",
            front("uncontrolled-marks", &|v| {
                for mark in datums(v).skip(2) {
                    mark["use"] = json!("check");
                }
            }),
        ),
        (
            "many-wrong-marks",
            front("many-wrong-marks", &|v| {
                for side in ["render", "reference"] {
                    v[side]["mark_sigma_px"] = json!(0.1);
                }
            }),
        ),
        (
            "bezel-not-found",
            changed("side", "bezel-not-found", |v| {
                v["reference"]["rectify"]["find_bezel"] = json!(true);
            }),
        ),
    ];
    let views: Vec<&Value> = cases.iter().map(|(_, view)| view).collect();
    let found = codes_of(&json!({ "title": "t", "scale": "1:24", "views": views }));
    for (code, _) in &cases {
        let codes = &found[*code];
        assert!(codes.iter().any(|c| c == code), "{code}: {codes:?}");
    }
    assert!(!found["no-scale"].contains(&"proportions-only".to_owned()));
}

#[test]
fn edges_that_overlap_less_than_asked_for_are_told() {
    let view = changed("front", "front", |_| {});
    let tolerance = json!({ "edge_overlap": 0.99 });
    let job = json!({ "title": "t", "scale": "1:24", "tolerance": tolerance, "views": [view] });
    assert!(codes_of(&job)["front"].contains(&"low-edge-overlap".to_owned()));
}
