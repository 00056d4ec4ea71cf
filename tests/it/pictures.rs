//! `compare --pictures` and `--full`: what is drawn, and how large the page is.
use crate::support::front::front;
use assert_cmd::Command;
use serde_json::{Value, json};
use std::{fs, path::Path};
use tempfile::TempDir;

fn compare(folder: &TempDir, arguments: &[&str]) -> (i32, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_tickstrip"))
        .args(["compare", "job.json", "--quiet"])
        .args(arguments)
        .env("SOURCE_DATE_EPOCH", "1900000000")
        .current_dir(folder.path())
        .output()
        .expect("runs");
    let status = output.status.code().expect("a status");
    (status, String::from_utf8(output.stderr).expect("UTF-8"))
}

fn names(folder: &Path) -> Vec<String> {
    let entries = fs::read_dir(folder).into_iter().flatten();
    let mut names: Vec<_> = entries
        .map(|e| {
            e.expect("an entry")
                .file_name()
                .into_string()
                .expect("UTF-8")
        })
        .collect();
    names.sort();
    names
}

#[test]
fn only_the_pictures_that_are_named_are_drawn_and_figures_stay_the_same() {
    let folder = front();
    let report = |out: &str| {
        let text = fs::read(folder.path().join(out).join("report.json")).expect("written");
        let mut report: Value = serde_json::from_slice(&text).expect("JSON");
        let files = report["views"][0]["files"].take();
        (report, files)
    };
    assert_eq!(compare(&folder, &["--out", "all"]).0, 1);
    let (all, _) = report("all");
    assert_eq!(
        compare(&folder, &["--out", "two", "--pictures", "overlay,heat"]).0,
        1
    );
    assert_eq!(
        names(&folder.path().join("two/front")),
        ["heat.png", "overlay.png", "view.tickstrip"]
    );
    assert!(
        !folder.path().join("two/sheet.pdf").exists(),
        "no sheet was asked for"
    );
    let (two, files) = report("two");
    assert_eq!(two, all);
    assert_eq!(
        files,
        json!({ "heat": "front/heat.png", "overlay": "front/overlay.png" })
    );
    assert_eq!(
        compare(&folder, &["--out", "none", "--pictures", "none"]).0,
        1
    );
    assert_eq!(
        names(&folder.path().join("none")),
        [
            "front",
            "measures.csv",
            "report.html",
            "report.json",
            "summary.csv",
            "tickstrip-results.json"
        ]
    );
    assert_eq!(report("none").0, all);
    // Results without any picture are results all the same: the next run replaces them.
    assert_eq!(
        compare(&folder, &["--out", "none", "--pictures", "sheet"]).0,
        1
    );
    assert_eq!(
        names(&folder.path().join("none/front")),
        ["sheet.png", "view.tickstrip"]
    );
    // Nor does a run that compares nothing take their place.
    compare(&folder, &["--out", "none", "--pictures", "none"]);
    fs::rename(
        folder.path().join("front-render.png"),
        folder.path().join("away.png"),
    )
    .expect("moved");
    assert_eq!(compare(&folder, &["--out", "none"]).0, 3);
    assert_eq!(report("none").0, all);
    let (status, err) = compare(&folder, &["--pictures", "overlay,shet"]);
    assert_eq!(status, 2);
    assert!(
        err.contains("no picture \"shet\"; did you mean \"sheet\"?"),
        "{err}"
    );
}

#[test]
fn the_page_fits_a_phone_unless_pictures_are_wanted_as_they_are() {
    let folder = front();
    let page = |arguments: &[&str]| {
        compare(&folder, arguments);
        fs::read_to_string(folder.path().join("job-results/report.html")).expect("a page")
    };
    let (small, full) = (page(&[]), page(&["--full"]));
    assert!(small.len() < 1_500_000, "{}", small.len());
    assert!(full.len() > 2 * small.len(), "{}", full.len());
    let pictures = |page: &str| page.matches("<img ").count();
    assert!(full.contains("(flickers)") && !small.contains("(flickers)"));
    assert_eq!(
        pictures(&small) + 1,
        pictures(&full),
        "all but the flickering one"
    );
}

#[test]
fn a_wrong_mark_is_framed_on_the_strip_and_no_other_is() {
    /// The colour of marks that cannot be right.
    const FRAME: [u8; 3] = [196, 135, 0];
    let folder = front();
    let path = folder.path().join("job.json");
    let mut job: Value = serde_json::from_slice(&fs::read(&path).expect("there")).expect("JSON");
    let framed = |job: &Value| {
        fs::write(&path, job.to_string()).expect("written");
        compare(&folder, &["--pictures", "strip"]);
        let strip = folder.path().join("job-results/front/strip.png");
        let strip = image::open(strip).expect("a picture").to_rgb8();
        assert!(strip.width() < 780 && strip.height() > 300, "{strip:?}");
        strip.pixels().filter(|p| p.0 == FRAME).count()
    };
    // The exchanged sills are framed; once they are right nothing is.
    let exchanged = framed(&job);
    let landmarks = job["views"][0]["landmarks"].as_array_mut().expect("a list");
    let at = |landmarks: &[Value], name: &str| {
        landmarks
            .iter()
            .position(|l| l["name"] == name)
            .expect("there")
    };
    let sills = ["sill left", "sill right"].map(|name| at(landmarks, name));
    let marks = sills.map(|k| landmarks[k]["reference"].clone());
    landmarks[sills[0]]["reference"] = marks[1].clone();
    landmarks[sills[1]]["reference"] = marks[0].clone();
    assert_eq!(framed(&job), 0);
    let landmarks = job["views"][0]["landmarks"].as_array_mut().expect("a list");
    let x = landmarks[sills[0]]["reference"][0]
        .as_f64()
        .expect("a number");
    landmarks[sills[0]]["reference"][0] = json!(x + 40.0);
    let wrong = framed(&job);
    assert!(exchanged > 1000 && wrong > 500, "{exchanged} {wrong}");
    assert!(wrong < exchanged, "one cell, not two");
}
