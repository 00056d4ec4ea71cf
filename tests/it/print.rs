//! A photo of the finished print as the render: what calliper readings say of it, in the report, the table and the list of changes.
use crate::support::run::run;
use serde_json::{Value, json};
use std::{fs, path::Path};
use tempfile::TempDir;

/// The side view of the demo as if its render were a photo of the print, with these readings (landmarks, millimetres).
fn compared(readings: &[(&str, &str, f64)]) -> (Value, String, TempDir) {
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/demo");
    let folder = tempfile::tempdir().expect("a folder");
    for image in ["side-render.png", "side-screen.jpg"] {
        fs::copy(demo.join(image), folder.path().join(image)).expect("copied");
    }
    let job = fs::read_to_string(demo.join("pump.json")).expect("the demo's job");
    let mut job: Value = serde_json::from_str(&job).expect("JSON");
    job["views"].as_array_mut().expect("views").truncate(1);
    let side = &mut job["views"][0];
    side["render"]["kind"] = json!("print");
    let is_of_render = |known: &Value| known["in"] == "render";
    let known = side["known"].as_array_mut().expect("known lengths");
    known.retain(|known| !is_of_render(known));
    let readings = readings
        .iter()
        .map(|(from, to, mm)| json!({ "from": from, "to": to, "model": format!("{mm} mm") }));
    side["measured"] = readings.collect();
    fs::write(folder.path().join("pump.json"), job.to_string()).expect("written");
    let done = run(
        folder.path(),
        &[
            "compare",
            "pump.json",
            "--pictures",
            "none",
            "--out",
            "results",
        ],
    );
    let report = fs::read_to_string(folder.path().join("results/report.json"));
    let report = serde_json::from_str(&report.unwrap_or_else(|_| panic!("{}", done.err)));
    (report.expect("JSON"), done.out, folder)
}

const LINES: [(&str, &str); 5] = [
    ("tank front", "tank rear"),
    ("sill front", "sill rear"),
    ("sill front", "vessel tip"),
    ("sill rear", "vessel tip"),
    ("tank front", "sill rear"),
];

/// What the print should measure by the photo of the subject.
fn designed() -> Vec<f64> {
    let any: Vec<_> = LINES.iter().map(|(a, b)| (*a, *b, 30.0)).collect();
    let (report, _, _folder) = compared(&any);
    let readings = report["views"][0]["print"]["readings"]
        .as_array()
        .expect("readings");
    let designed = readings
        .iter()
        .map(|r| r["designed_mm"].as_f64().expect("by the reference's scale"));
    designed.collect()
}

#[test]
fn a_print_that_shrank_is_told_along_the_axes_with_what_the_slicer_has_to_scale_by() {
    let designed = designed();
    let shrunk: Vec<_> = LINES
        .iter()
        .zip(&designed)
        .map(|((a, b), mm)| (*a, *b, (mm * 0.97 * 100.0).round() / 100.0))
        .collect();
    let (report, table, _folder) = compared(&shrunk);
    let print = &report["views"][0]["print"];
    let axes = print["axes"].as_array().expect("axes");
    let names: Vec<_> = axes
        .iter()
        .map(|a| a["axis"].as_str().expect("a name"))
        .collect();
    assert_eq!(names, ["x", "z"]);
    for axis in axes {
        let larger = &axis["larger_percent"];
        let end = |key: &str| larger[key].as_f64().expect("a number");
        assert!(end("low") <= -3.0 && -3.0 <= end("high"), "{axis}");
        let factor = axis["scale_by"]["value"].as_f64().expect("a number");
        assert!((factor - 1.0 / 0.97).abs() < 0.02, "{axis}");
    }
    assert_eq!(report["views"][0]["render"]["kind"], "print");
    // What parts are off by beside the whole is told of them as before.
    assert_eq!(report["views"][0]["registration"]["kind"], "similarity");
    let said = table.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        said.contains("by the calliper the print came out"),
        "{table}"
    );
    assert!(
        said.contains("% too small along x: scale it by 1.0"),
        "{table}"
    );
    let changes = report["changes"].as_array().expect("changes");
    let whole = changes
        .iter()
        .filter(|c| c["part"].as_str().is_some_and(|p| p.contains("slicer")));
    let states: Vec<_> = whole
        .map(|c| (c["axis"].clone(), c["state"].clone()))
        .collect();
    assert!(
        states.contains(&(json!("x"), json!("change"))),
        "{states:?}"
    );
}

#[test]
fn a_misread_calliper_is_said() {
    let mut readings: Vec<_> = LINES
        .iter()
        .zip(designed())
        .map(|((a, b), mm)| (*a, *b, (mm * 100.0).round() / 100.0))
        .collect();
    readings[2].2 += 5.0;
    let (report, table, _folder) = compared(&readings);
    let print = &report["views"][0]["print"];
    assert_eq!(print["readings"][2]["wrong"], true, "{print}");
    let said = table.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        said.contains("the reading from \"sill front\" to \"vessel tip\""),
        "{table}"
    );
}
