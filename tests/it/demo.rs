//! The main job from start to end, on the demo: its known errors lie in the intervals, and the verdicts are right.
use crate::support::chance::least_that_hold;
use assert_cmd::Command;
use serde_json::Value;
use std::{
    fs,
    path::{Path, PathBuf},
    sync::OnceLock,
};
use tempfile::TempDir;

const PROGRAM: &str = env!("CARGO_BIN_EXE_tickstrip");

/// The demo, written and compared.
struct Demo {
    folder: TempDir,
    stdout: String,
}

impl Demo {
    fn run() -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let output = Command::new(PROGRAM)
            .args(["demo", "pump"])
            .current_dir(folder.path())
            .env("SOURCE_DATE_EPOCH", "1900000000")
            .output()
            .expect("the program starts");
        let stderr = String::from_utf8_lossy(&output.stderr);
        assert_eq!(output.status.code(), Some(0), "{stderr}");
        let stdout = String::from_utf8(output.stdout).expect("UTF-8");
        Self { folder, stdout }
    }

    /// One run for all tests that only read.
    fn shared() -> &'static Self {
        static DEMO: OnceLock<Demo> = OnceLock::new();
        DEMO.get_or_init(Self::run)
    }

    /// The job and its images in a folder of their own, to be changed.
    fn copy(&self) -> TempDir {
        let folder = tempfile::tempdir().expect("a folder");
        for entry in fs::read_dir(self.folder.path().join("pump")).expect("readable") {
            let path = entry.expect("readable").path();
            if path.is_file() {
                fs::copy(&path, folder.path().join(path.file_name().expect("a name")))
                    .expect("copied");
            }
        }
        folder
    }

    fn job(&self) -> PathBuf {
        self.folder.path().join("pump/pump.json")
    }

    fn results(&self) -> PathBuf {
        self.folder.path().join("pump/pump-results")
    }
}

fn compare(job: &Path, arguments: &[&str]) -> std::process::Output {
    Command::new(PROGRAM)
        .arg("compare")
        .arg(job)
        .args(arguments)
        .env("SOURCE_DATE_EPOCH", "1900000000")
        .output()
        .expect("the program starts")
}

fn json(path: &Path) -> Value {
    serde_json::from_slice(&fs::read(path).expect("readable")).expect("JSON")
}

fn truth() -> Value {
    json(&Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/demo/truth.json"))
}

/// Counts figures, and names those that miss the truth. A deliberate error must not be missed.
#[derive(Default)]
struct Tally {
    figures: usize,
    missed: Vec<String>,
}

impl Tally {
    fn count(&mut self, figure: &Value, truth: f64, what: &str) {
        if figure.is_null() {
            return;
        }
        let end = |key: &str| figure[key].as_f64().expect("a number");
        self.figures += 1;
        if !(end("low")..=end("high")).contains(&truth) {
            assert_eq!(truth, 0.0, "{what} is missed: {figure}");
            self.missed.push(what.to_owned());
        }
    }
}

#[test]
fn the_known_errors_lie_in_the_intervals_and_the_verdicts_are_right() {
    let demo = Demo::shared();
    let (report, truth) = (json(&demo.results().join("report.json")), truth());
    let (mut tally, mut in_mm) = (Tally::default(), Tally::default());
    for (view, true_view) in report["views"]
        .as_array()
        .expect("views")
        .iter()
        .zip(truth["views"].as_array().expect("views"))
    {
        assert_eq!(view["name"], true_view["name"]);
        for region in view["regions"].as_array().expect("regions") {
            let name = region["name"].as_str().expect("a name");
            let errors = true_view["regions"]
                .as_array()
                .expect("regions")
                .iter()
                .find(|r| r["name"] == region["name"])
                .unwrap_or_else(|| panic!("{name} has no truth"));
            for key in ["width_percent", "height_percent", "rotation_deg"] {
                tally.count(
                    &region[key],
                    errors[key].as_f64().expect("a number"),
                    &format!("{name} {key}"),
                );
            }
            for (k, axis) in ["x", "y"].into_iter().enumerate() {
                for (key, tally) in [
                    ("offset_px", &mut tally),
                    // The same again by the scale: counted by themselves, as they hold and miss together.
                    ("offset_model_mm", &mut in_mm),
                ] {
                    let true_offset = errors[key][k].as_f64().expect("a number");
                    tally.count(
                        &region[key][axis],
                        true_offset,
                        &format!("{name} {key} {axis}"),
                    );
                }
            }
        }
    }
    assert!(
        // Measured: 81.
        tally.figures >= 76,
        "only {} figures were given",
        tally.figures
    );
    for tally in [tally, in_mm] {
        let held = tally.figures - tally.missed.len();
        assert!(held >= least_that_hold(tally.figures), "{:?}", tally.missed);
    }
    let verdict = |view: usize, name: &str| {
        let regions = report["views"][view]["regions"]
            .as_array()
            .expect("regions");
        regions
            .iter()
            .find(|r| r["name"] == name)
            .map(|r| r["verdict"].clone())
            .expect("the region")
    };
    for (view, name) in [
        (0, "lantern"),
        (0, "tool box"),
        (0, "pump beam"),
        (0, "air vessel"),
        (1, "tool box"),
        (1, "front grip"),
        (1, "air vessel"),
        (2, "left lantern"),
        (2, "right lantern"),
        (2, "tool box"),
        (2, "hose reel"),
    ] {
        assert_eq!(verdict(view, name), "out", "{name}");
    }
    // Their true error is 0.07 mm beyond the tolerance and their intervals are as wide: undecided is right as well.
    for (view, name) in [(1, "left lantern"), (1, "right lantern")] {
        assert_ne!(verdict(view, name), "within", "{name}");
    }
    for (view, name) in [
        (0, "tank"),
        (0, "hose reel"),
        (0, "draw bar"),
        (1, "draw bar"),
    ] {
        assert_ne!(verdict(view, name), "out", "{name}");
    }
    assert_eq!(report["verdict"], "out");
}

#[test]
fn the_exchanged_marks_and_the_misread_dimension_are_named_and_nothing_else() {
    let report = json(&Demo::shared().results().join("report.json"));
    let truth = truth();
    let mut found = Vec::new();
    for view in report["views"].as_array().expect("views") {
        for landmark in view["registration"]["landmarks"]
            .as_array()
            .expect("landmarks")
        {
            let finding = landmark["finding"].as_str().unwrap_or_default();
            if !["", "uncontrolled"].contains(&finding) {
                found.push((landmark["name"].clone(), finding.to_owned()));
            }
        }
    }
    let [a, b] = [0, 1].map(|k| truth["views"][1]["exchanged"][k].clone());
    let with = |other: &Value| format!("swapped with {}", other.as_str().expect("a name"));
    assert_eq!(found, [(a.clone(), with(&b)), (b, with(&a))]);

    let scales = &report["views"][2]["scales"];
    let known = scales["known"].as_array().expect("a list");
    let doubtful: Vec<usize> = (0..known.len())
        .filter(|k| known[*k]["doubtful"] == true)
        .collect();
    let misread = &truth["views"][2]["misread"];
    assert_eq!(
        serde_json::json!(doubtful),
        serde_json::json!([misread["known"]])
    );
    let holds = |figure: &Value, truth: &Value| {
        let end = |key: &str| figure[key].as_f64().expect("a number");
        let truth = truth.as_f64().expect("a number");
        assert!(
            (end("low")..=end("high")).contains(&truth),
            "{figure}, {truth}"
        );
    };
    let asked = &known[doubtful[0]]["others_ask_for_full_size_mm"];
    holds(asked, &misread["right_mm"]);
    let plan = &scales["reference_dimensions"];
    assert_eq!(plan["stretched"], true);
    holds(
        &plan["stretch_percent"],
        &truth["views"][2]["stretch_percent"],
    );
    holds(&plan["angle_deg"], &truth["views"][2]["turned_deg"]);
    assert_eq!(scales["render_dimensions"]["stretched"], false);
}

#[test]
fn what_is_too_small_to_be_shown_is_left_alone() {
    let report = json(&Demo::shared().results().join("report.json"));
    let side = &report["views"][0];
    // 0.03 mm too far aft; a print and the eye show 0.087 mm.
    let left = side["leave_alone"].as_array().expect("a list");
    assert!(
        left.iter()
            .any(|l| l["about"] == "hose reel" && l["measure"] == "offset x"),
        "{left:?}"
    );
    let corrections = side["corrections"].as_array().expect("a list");
    assert!(corrections.iter().all(|c| c["about"] != "hose reel"));
}

#[test]
fn the_pattern_of_the_screen_and_the_lamp_in_it_are_found() {
    let report = json(&Demo::shared().results().join("report.json"));
    let screen = &report["views"][0]["screen"];
    assert!(
        !screen["patterns"].as_array().expect("a list").is_empty(),
        "{screen}"
    );
    assert_eq!(screen["glare"]["patches"], 1, "{screen}");
}

#[test]
fn corrections_say_what_to_change_worst_first() {
    let demo = Demo::shared();
    let report = json(&demo.results().join("report.json"));
    let corrections = report["views"][0]["corrections"]
        .as_array()
        .expect("corrections")
        .clone();
    let first = corrections[0]["text"].as_str().expect("text");
    assert!(
        first.starts_with("make the lantern 3.") && first.contains("narrower"),
        "{first}"
    );
    let weights: Vec<f64> = corrections
        .iter()
        .map(|c| c["times_tolerance"].as_f64().expect("a number"))
        .collect();
    assert!(weights.is_sorted_by(|a, b| a >= b));
    let tool_box = corrections
        .iter()
        .find(|c| c["about"] == "tool box")
        .expect("the tool box");
    assert!(
        tool_box["text"].as_str().expect("text").contains("mm up"),
        "{tool_box}"
    );
    // The vessel is too high, so it has to become lower; in front the tool box is too narrow: the other sign.
    let of = |view: usize, about: &str| {
        let corrections = report["views"][view]["corrections"].as_array();
        let found = corrections
            .expect("corrections")
            .iter()
            .find(|c| c["about"] == about);
        found.expect(about)["text"]
            .as_str()
            .expect("text")
            .to_owned()
    };
    assert!(of(0, "pump beam").contains("anticlockwise"));
    assert!(of(0, "air vessel").contains("lower"));
    assert!(of(1, "tool box").contains("wider"));
    assert!(demo.stdout.contains("report.html") && demo.stdout.contains("sheet.pdf"));
}

/// The demo's views state their axes: what two of them see along the same one is one change, and nothing else is.
#[test]
fn what_several_views_tell_of_a_part_is_one_change() {
    let demo = Demo::shared();
    let report = json(&demo.results().join("report.json"));
    let changes = report["changes"].as_array().expect("a list");
    let asked: Vec<&Value> = changes.iter().filter(|c| c["state"] == "change").collect();
    let one = |part: &str, quantity: &str, axis: &str| {
        let is_it =
            |c: &&&Value| c["part"] == part && c["quantity"] == quantity && c["axis"] == axis;
        let found: Vec<_> = asked.iter().filter(is_it).collect();
        assert_eq!(found.len(), 1, "{part} {quantity} {axis}: {found:?}");
        *found[0]
    };
    // The truth of scripts/demo_errors.py, along the model's axes: x along the pump, y away from who looks at its side, z up.
    for (part, quantity, axis, truth, views) in [
        ("tool box", "place", "z", -0.30, &["side", "front"][..]),
        ("tool box", "size", "y", -4.0, &["front", "plan"]),
        ("air vessel", "size", "z", 3.0, &["side", "front"]),
        ("left lantern", "place", "y", 0.27, &["front", "plan"]),
        ("right lantern", "place", "y", -0.27, &["front", "plan"]),
        ("lantern", "size", "x", 4.0, &["side"]),
    ] {
        let change = one(part, quantity, axis);
        let end = |key: &str| change["error"][key].as_f64().expect("a number");
        assert!(end("low") <= truth && truth <= end("high"), "{change}");
        assert_eq!(
            change["views"],
            serde_json::json!(views),
            "{part} {quantity}"
        );
    }
    assert!(changes.iter().all(|c| c["state"] != "contradicted"));
    // The angle on the beam, and the span over the reel, tell of their parts.
    let beam = one("pump beam", "turn", "y");
    assert_eq!(beam["told_too_by"], serde_json::json!(["angle beam slope"]));
    let reel = one("hose reel", "size", "y");
    assert_eq!(reel["told_too_by"], serde_json::json!(["span reel width"]));
    assert!(
        asked
            .iter()
            .all(|c| c["quantity"] != "length" && c["quantity"] != "angle")
    );
    assert!(
        demo.stdout
            .contains("what to change in CAD, worst first:\n  1. ")
    );
}

/// A model that one view has too high and another one not: neither is believed.
#[test]
fn views_that_contradict_each_other_are_said_and_nothing_is_asked() {
    let folder = Demo::shared().copy();
    let path = folder.path().join("pump.json");
    let mut job = json(&path);
    // Now the width of the vessel in the front view, which is right, is said to be what the side view sees as its height.
    job["views"][1]["axes"] = serde_json::json!({ "right": "z", "down": "-y" });
    fs::write(&path, job.to_string()).expect("written");
    let output = compare(&path, &["--pictures", "none"]);
    assert_eq!(output.status.code(), Some(1));
    let report = json(&folder.path().join("pump-results/report.json"));
    let changes = report["changes"].as_array().expect("a list");
    let vessel = changes
        .iter()
        .find(|c| c["part"] == "air vessel" && c["axis"] == "z" && c["quantity"] == "size");
    let vessel = vessel.expect("the vessel's height");
    assert_eq!(vessel["state"], "contradicted", "{vessel}");
    assert_eq!(vessel["error"], Value::Null);
    let table = String::from_utf8(output.stdout).expect("UTF-8");
    assert!(
        table.contains("contradiction: air vessel: size along z: side says"),
        "{table}"
    );
}

#[test]
fn every_file_is_written_and_the_report_fits_its_schema() {
    let demo = Demo::shared();
    for name in ["report.json", "report.html", "measures.csv", "sheet.pdf"] {
        assert!(demo.results().join(name).is_file(), "{name}");
    }
    let report = json(&demo.results().join("report.json"));
    for view in report["views"].as_array().expect("views") {
        for (key, path) in view["files"].as_object().expect("files") {
            assert!(
                demo.results()
                    .join(path.as_str().expect("a path"))
                    .is_file(),
                "{key}"
            );
        }
        for key in [
            "overlay",
            "difference",
            "heat",
            "grid",
            "sheet",
            "blink",
            "strip",
            "render_small",
            "reference_small",
            "registered",
        ] {
            assert!(view["files"].get(key).is_some(), "{key}");
        }
    }
    assert_eq!(report["job"]["expected"]["size_percent"], 4.0);
    let schema = tickstrip::report::schema();
    let validator = jsonschema::validator_for(&schema).expect("a schema");
    let faults: Vec<String> = validator
        .iter_errors(&report)
        .map(|e| e.to_string())
        .collect();
    assert!(faults.is_empty(), "{faults:?}");
}

#[test]
fn the_same_input_gives_the_same_bytes_whatever_the_threads() {
    let demo = Demo::shared();
    for threads in ["1", "3"] {
        let folder = tempfile::tempdir().expect("a folder");
        let out = folder.path().join("results");
        let out_text = out.to_str().expect("UTF-8");
        compare(
            &demo.job(),
            &["--out", out_text, "--jobs", threads, "--quiet"],
        );
        for name in [
            "report.json",
            "measures.csv",
            "sheet.pdf",
            "side/difference.png",
            "front/heat.png",
            "report.html",
        ] {
            let (a, b) = (
                fs::read(demo.results().join(name)),
                fs::read(out.join(name)),
            );
            assert!(
                a.expect("readable") == b.expect("readable"),
                "{name} with {threads} threads"
            );
        }
    }
}

#[test]
fn one_bad_view_does_not_spoil_the_others() {
    let folder = Demo::shared().copy();
    fs::write(folder.path().join("front-earlier.png"), b"not a picture").expect("written");
    let output = compare(&folder.path().join("pump.json"), &["--quiet"]);
    assert_eq!(output.status.code(), Some(3));
    let report = json(&folder.path().join("pump-results/report.json"));
    assert_eq!(report["views"][0]["verdict"], "out");
    assert!(report["views"][1]["verdict"].is_null());
    let text = report["views"][1]["error"]["text"].as_str().expect("text");
    assert!(text.contains("front-earlier.png"), "{text}");
    assert!(String::from_utf8_lossy(&output.stdout).contains("front-earlier.png"));
}

/// The parts that the demo's script alters, and the one that it leaves as it was.
#[test]
fn the_earlier_issue_is_told_back_part_by_part() {
    let report = json(&Demo::shared().results().join("report.json"));
    let found = &report["views"][1]["earlier_issue"];
    let of = |name: &str| {
        let parts = found["parts"].as_array().expect("parts");
        let part = parts.iter().find(|p| p["name"] == name).expect("there");
        (
            part["back"].clone(),
            part["likeness"].as_f64().expect("a number"),
        )
    };
    for altered in ["tool box", "air vessel", "front grip"] {
        assert_eq!(of(altered).0, "not_back", "{altered}");
    }
    assert_eq!(of("draw bar").0, "back");
    assert!(of("draw bar").1 > 2.0 * of("tool box").1, "{found}");
    assert_eq!(report["views"][0]["earlier_issue"], Value::Null);
    let picture = image::open(Demo::shared().results().join("front/likeness.png"));
    assert!(picture.expect("a picture").width() >= 900);
}

#[test]
fn results_replace_old_results_and_nothing_else() {
    let folder = Demo::shared().copy();
    let (job, results) = (
        folder.path().join("pump.json"),
        folder.path().join("pump-results"),
    );
    for view in ["side", "front"] {
        let output = compare(&job, &["--view", view, "--quiet"]);
        assert_eq!(output.status.code(), Some(1));
    }
    assert!(results.join("front/overlay.png").exists());
    assert!(
        !results.join("side").exists(),
        "old results are gone as a whole"
    );
    let foreign = folder.path().join("mine");
    fs::create_dir(&foreign).expect("made");
    fs::write(foreign.join("letter.txt"), b"keep me").expect("written");
    let output = compare(&job, &["--out", foreign.to_str().expect("UTF-8")]);
    assert_eq!(output.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&output.stderr).contains("other files"));
    assert_eq!(
        fs::read(foreign.join("letter.txt")).expect("readable"),
        b"keep me"
    );
    let left: Vec<_> = fs::read_dir(folder.path())
        .expect("readable")
        .filter_map(|e| e.ok()?.file_name().into_string().ok())
        .filter(|name| name.starts_with(".tickstrip"))
        .collect();
    assert!(left.is_empty(), "{left:?}");
}

#[test]
fn json_goes_to_standard_output_and_equals_the_file() {
    let folder = Demo::shared().copy();
    let job = folder.path().join("pump.json");
    let output = compare(&job, &["--json", "--quiet", "--view", "front"]);
    assert_eq!(output.status.code(), Some(1));
    let file = fs::read(folder.path().join("pump-results/report.json")).expect("readable");
    assert_eq!(output.stdout, file);
    assert!(output.stderr.is_empty());
    assert_eq!(compare(&job, &["--view", "top"]).status.code(), Some(2));
}

#[test]
fn exchanging_the_images_inverts_the_errors() {
    // The front view's reference is a picture straight on: its images can change sides, mark for mark.
    let demo = Demo::shared();
    let folder = demo.copy();
    let mut job = json(&demo.job());
    let mut view = job["views"][1].clone();
    let (render, reference) = (
        view["render"]["image"].clone(),
        view["reference"]["image"].clone(),
    );
    view["render"]["image"] = reference;
    view["reference"]["image"] = render;
    let report = json(&demo.results().join("report.json"));
    let rows = report["views"][1]["registration"]["matrix"].clone();
    let at = |r: usize, c: usize| rows[r][c].as_f64().expect("a number");
    let (a, b, x, y) = (at(0, 0), at(1, 0), at(0, 2), at(1, 2));
    let back = |p: &Value| {
        let (u, v) = (p[0].as_f64().expect("x") - x, p[1].as_f64().expect("y") - y);
        let n = a * a + b * b;
        serde_json::json!([(a * u + b * v) / n, (a * v - b * u) / n])
    };
    for landmark in view["landmarks"].as_array_mut().expect("landmarks") {
        let (r, q) = (landmark["render"].clone(), landmark["reference"].clone());
        landmark["render"] = q;
        landmark["reference"] = r;
    }
    for region in view["regions"].as_array_mut().expect("regions") {
        for p in region["outline"].as_array_mut().expect("outline") {
            *p = back(p);
        }
        region["anchor"] = back(&region["anchor"]);
    }
    for side in ["render", "reference"] {
        view[side]
            .as_object_mut()
            .expect("a side")
            .remove("mark_sigma_px");
    }
    view.as_object_mut().expect("a view").remove("known");
    job["views"] = serde_json::json!([view]);
    let exchanged = folder.path().join("exchanged.json");
    fs::write(&exchanged, job.to_string()).expect("written");
    let output = compare(&exchanged, &["--quiet"]);
    assert!(
        matches!(output.status.code(), Some(0 | 1)),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    let other = json(&folder.path().join("exchanged-results/report.json"));
    let span = |report: &Value, view: usize| {
        report["views"][view]["spans"][0]["error_percent"]["value"]
            .as_f64()
            .expect("a figure")
    };
    let (there, back) = (span(&report, 1), span(&other, 0));
    // What is p per cent too large one way is 100 - 100 / (1 + p / 100) per cent too small the other way.
    let expected = 100.0 / (1.0 + there / 100.0) - 100.0;
    assert!(
        (back - expected).abs() < 0.1,
        "{there} there, {back} back, {expected} expected"
    );
}

#[test]
fn a_span_whose_marks_coincide_leaves_the_others_their_own_tolerance() {
    let folder = Demo::shared().copy();
    let path = folder.path().join("pump.json");
    let mut job = json(&path);
    job["views"] = serde_json::json!([job["views"][1].clone()]);
    let view = &mut job["views"][0];
    let mut twin = view["landmarks"][0].clone();
    twin["name"] = "twin".into();
    let first = view["landmarks"][0]["name"].clone();
    view["landmarks"]
        .as_array_mut()
        .expect("landmarks")
        .push(twin);
    let spans = view["spans"].as_array_mut().expect("spans");
    for span in spans.iter_mut() {
        span["tolerance"] = serde_json::json!({ "proportion_percent": 9.0 });
    }
    let none = serde_json::json!({ "name": "none", "from": first, "to": "twin" });
    spans.insert(0, none);
    fs::write(&path, job.to_string()).expect("written");
    compare(&path, &["--quiet"]);
    let report = json(&folder.path().join("pump-results/report.json"));
    let measured = report["views"][0]["spans"].as_array().expect("spans");
    assert_eq!(measured.len(), 2);
    for span in measured {
        assert_eq!(span["tolerance"]["proportion_percent"], 9.0, "{span}");
    }
}
