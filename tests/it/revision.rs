//! `compare --against` and `--keep`: what is better or worse than in earlier results, and results kept by date.
use assert_cmd::Command;
use serde_json::{Value, json};
use std::{fs, path::Path};
use tempfile::TempDir;

/// Three boxes; the second one is so much wider.
fn picture(extra: u32) -> image::RgbImage {
    let boxes = [
        [60, 60, 240, 180],
        [300, 90, 450 + extra, 270],
        [90, 270, 270, 390],
    ];
    image::RgbImage::from_fn(540, 450, |x, y| {
        let is_inside = boxes
            .iter()
            .any(|[l, t, r, b]| x >= *l && x < *r && y >= *t && y < *b);
        image::Rgb([if is_inside { 60 } else { 210 }; 3])
    })
}

/// A job whose render has the box so much wider; the marks of the reference are vague, those of the render are not.
fn job(render: &str, extra: f64) -> Value {
    let right = 450.0 + extra;
    let mark = |name: &str, usage: &str, render: [f64; 2], reference: [f64; 2]| json!({ "name": name, "use": usage, "render": render, "reference": reference });
    let same = |name: &str, usage: &str, at: [f64; 2]| mark(name, usage, at, at);
    json!({
        "title": "Three boxes", "scale": "1:32",
        "views": [{
            "name": "front", "render": { "image": render, "mark_sigma_px": 0.2 },
            "reference": { "image": "plan.png", "kind": "plan", "mark_sigma_px": 1.0 },
            "landmarks": [
                same("a", "datum", [60.0, 60.0]), same("b", "datum", [240.0, 60.0]), same("c", "datum", [90.0, 390.0]),
                same("d", "datum", [270.0, 390.0]), same("h", "datum", [240.0, 180.0]),
                same("e", "check", [300.0, 90.0]), mark("f", "check", [right, 90.0], [450.0, 90.0]),
                mark("g", "check", [right, 270.0], [450.0, 270.0]), same("i", "check", [300.0, 270.0])
            ],
            "known": [{ "in": "render", "from": "a", "to": "b", "model": "18 mm" }],
            "spans": [{ "name": "width", "from": "e", "to": "f" }, { "name": "pitch", "from": "a", "to": "d" }],
            "angles": [{ "name": "level", "from": "e", "to": "f", "against": ["a", "b"] }]
        }]
    })
}

/// A folder with the jobs "wide.json" (the box 9 px too wide) and "right.json".
fn two_revisions() -> TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    for (name, extra) in [("plan.png", 0), ("wide.png", 9), ("right.png", 0)] {
        picture(extra)
            .save(folder.path().join(name))
            .expect("written");
    }
    write(&folder, "wide.json", &job("wide.png", 9.0));
    write(&folder, "right.json", &job("right.png", 0.0));
    folder
}

fn write(folder: &TempDir, name: &str, value: &Value) {
    fs::write(folder.path().join(name), value.to_string()).expect("written");
}

fn json_of(path: &Path) -> Value {
    serde_json::from_slice(&fs::read(path).expect("readable")).expect("JSON")
}

fn run(folder: &TempDir, arguments: &[&str], epoch: &str) -> (i32, String, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_tickstrip"))
        .args(arguments)
        .env("SOURCE_DATE_EPOCH", epoch)
        .current_dir(folder.path())
        .output()
        .expect("runs");
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).expect("UTF-8");
    let status = output.status.code().expect("a status");
    (status, text(output.stdout), text(output.stderr))
}

fn compare(folder: &TempDir, arguments: &[&str]) -> (i32, String, String) {
    run(folder, &[&["compare"], arguments].concat(), "1929621720")
}

fn measure<'v>(revision: &'v Value, name: &str) -> &'v Value {
    let measures = revision["views"][0]["measures"].as_array().expect("a list");
    measures
        .iter()
        .find(|m| m["name"] == name)
        .expect("measured")
}

#[test]
fn a_corrected_part_is_better_and_the_way_back_is_worse() {
    let folder = two_revisions();
    let (status, ..) = compare(&folder, &["wide.json"]);
    assert_eq!(status, 1, "the box is out");
    let (status, out, err) = compare(&folder, &["right.json", "--against", "wide-results"]);
    assert_eq!(status, 0, "{out}{err}");
    let first = out.lines().next().expect("a line");
    assert!(
        first.starts_with("against the earlier results of wide.json: 1 better, 0 worse, "),
        "{out}"
    );
    assert!(out.contains("better ▼  front: width: length +6"), "{out}");
    let report = json_of(&folder.path().join("right-results/report.json"));
    let revision = &report["revision"];
    assert_eq!(revision["verdict"], "better");
    assert_eq!(revision["views"][0]["independent"], Value::Null);
    assert_eq!(measure(revision, "pitch")["change"], "same");
    // The reference's marks are the vague ones: what is in common is nearly all.
    let half =
        |f: &Value| (f["high"].as_f64().expect("high") - f["low"].as_f64().expect("low")) / 2.0;
    let width = measure(revision, "width");
    let independent = half(&width["before"]).hypot(half(&width["after"]));
    assert!(half(&width["difference"]) < 0.5 * independent, "{width}");
    let page = fs::read_to_string(folder.path().join("right-results/report.html")).expect("a page");
    assert!(page.contains("Better than before ▼") && !page.contains("Worse than before"));
    let table =
        fs::read_to_string(folder.path().join("right-results/revision.csv")).expect("a table");
    assert!(
        table.contains("front,span,width,length,%,") && table.contains(",better\r\n"),
        "{table}"
    );

    let earlier = "right-results/report.json";
    let (status, out, _) = compare(&folder, &["wide.json", "--against", earlier]);
    assert_eq!(status, 4, "worse outweighs out: {out}");
    assert!(
        out.contains("worse ▲  front: width: length ") && out.contains("one in forty"),
        "{out}"
    );
}

#[test]
fn what_is_in_one_only_is_named_and_marks_set_anew_are_nothing_in_common() {
    let folder = two_revisions();
    compare(&folder, &["wide.json"]);
    let mut next = job("right.png", 0.0);
    let view = &mut next["views"][0];
    view["spans"][1] = json!({ "name": "height", "from": "e", "to": "i" });
    for landmark in view["landmarks"].as_array_mut().expect("a list") {
        landmark["reference"][0] = json!(landmark["reference"][0].as_f64().expect("x") + 0.001);
    }
    write(&folder, "right.json", &next);
    let (_, out, err) = compare(&folder, &["right.json", "--against", "wide-results"]);
    assert!(
        out.contains("new +  front: height length") && out.contains("gone −  front: pitch length"),
        "{out}{err}"
    );
    let report = json_of(&folder.path().join("right-results/report.json"));
    let width = measure(&report["revision"], "width");
    let half =
        |f: &Value| (f["high"].as_f64().expect("high") - f["low"].as_f64().expect("low")) / 2.0;
    let independent = half(&width["before"]).hypot(half(&width["after"]));
    assert!(
        (half(&width["difference"]) / independent - 1.0).abs() < 1e-6,
        "{width}"
    );
}

#[test]
fn an_earlier_version_and_another_picture_are_told_and_taken_for_independent() {
    let folder = two_revisions();
    compare(&folder, &["wide.json"]);
    let earlier = folder.path().join("wide-results/report.json");
    let report = json_of(&earlier);
    let against = |change: &dyn Fn(&mut Value)| {
        let mut changed = report.clone();
        change(&mut changed);
        write(&folder, "earlier.json", &changed);
        let (_, out, err) = compare(&folder, &["right.json", "--against", "earlier.json"]);
        format!("{out}{err}")
            .split_whitespace()
            .collect::<Vec<_>>()
            .join(" ")
    };
    let said = against(&|report| {
        let view = report["views"][0].as_object_mut().expect("a view");
        view.remove("reference_noise");
        report.as_object_mut().expect("a report").remove("revision");
    });
    assert!(
        said.contains("the earlier report is of another version of the program"),
        "{said}"
    );
    let said = against(&|report| report["views"][0]["reference_noise"]["version"] = json!(2));
    assert!(
        said.contains("the earlier report is of another version of the program"),
        "{said}"
    );
    let said = against(&|report| report["views"][0]["reference"]["blake3"] = json!("0".repeat(64)));
    assert!(
        said.contains("the reference is another picture than then"),
        "{said}"
    );
}

#[test]
fn results_that_have_nothing_to_do_with_the_job_are_refused() {
    let folder = two_revisions();
    compare(&folder, &["wide.json"]);
    fs::create_dir(folder.path().join("empty")).expect("made");
    let mut other = job("wide.png", 9.0);
    other["scale"] = json!("1:24");
    write(&folder, "other.json", &other);
    other["scale"] = json!("1:32");
    other["views"][0]["name"] = json!("rear");
    write(&folder, "rear.json", &other);
    let wide = &["--against", "wide-results"][..];
    for (arguments, words) in [
        (
            &["other.json"][..],
            "the earlier results are of a model at 1:32, this job is at 1:24: name results of the same scale",
        ),
        (
            &["rear.json"],
            "have no region, span or angle in common with this job (views then: \"front\")",
        ),
    ] {
        let (status, _, err) = compare(&folder, &[arguments, wide].concat());
        assert_eq!(status, 2);
        assert!(err.contains(words), "{err}");
    }
    for (against, words) in [
        ("nowhere", "nowhere"),
        ("empty", "this folder has no report.json"),
        (
            "wide.json",
            "this is no report of this version of the program",
        ),
    ] {
        let (status, _, err) = compare(&folder, &["right.json", "--against", against]);
        assert_eq!(status, 2);
        assert!(err.contains(words) && err.contains("report"), "{err}");
    }
    assert!(
        !folder.path().join("right-results").exists(),
        "nothing was written"
    );
}

/// Names in a folder, in order.
fn names(folder: &Path) -> Vec<String> {
    let entries = fs::read_dir(folder).expect("a folder");
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
fn results_kept_by_date_overwrite_nothing_and_only_so_many_stay() {
    let folder = two_revisions();
    let all = folder.path().join("wide-results");
    // From memory: 86400 seconds a day.
    let keep = |epoch: u64| {
        let arguments = ["compare", "wide.json", "--keep", "2", "--quiet"];
        let (status, out, err) = run(&folder, &arguments, &epoch.to_string());
        assert_eq!(status, 1, "{out}{err}");
        (out, err)
    };
    keep(0);
    let first = fs::read(all.join("1970-01-01T00-00/report.json")).expect("written");
    keep(30);
    assert_eq!(
        names(&all),
        ["1970-01-01T00-00", "1970-01-01T00-00-2", "newest.txt"]
    );
    assert_eq!(
        fs::read(all.join("1970-01-01T00-00/report.json")).expect("kept"),
        first
    );
    let newest = || fs::read_to_string(all.join("newest.txt")).expect("named");
    assert_eq!(newest(), "1970-01-01T00-00-2\n");
    // A result that was changed, and what the program did not write, stay.
    fs::write(all.join("1970-01-01T00-00/report.html"), "mine").expect("written");
    fs::create_dir(all.join("1969-01-01T00-00")).expect("made");
    fs::write(all.join("1969-01-01T00-00/notes.txt"), "mine").expect("written");
    let (_, err) = keep(86_400);
    assert!(
        err.contains("1970-01-01T00-00 is kept: not all in it is as it was written"),
        "{err}"
    );
    keep(2 * 86_400);
    assert_eq!(
        names(&all),
        [
            "1969-01-01T00-00",
            "1970-01-01T00-00",
            "1970-01-02T00-00",
            "1970-01-03T00-00",
            "newest.txt"
        ]
    );
    assert_eq!(newest(), "1970-01-03T00-00\n");
    // The newest one is what the folder means.
    let (status, out, err) = compare(&folder, &["right.json", "--against", "wide-results"]);
    assert_eq!(status, 0, "{err}");
    assert!(out.contains("1 better, 0 worse"), "{out}");
    let (status, out, err) = run(&folder, &["archive", "wide.json", "--out", "kept.zip"], "0");
    assert_eq!(status, 0, "{out}{err}");
    assert!(!out.contains("no results beside it"), "{out}");
}

#[test]
fn a_run_that_fails_leaves_no_dated_folder_and_plain_results_are_not_mixed_in() {
    let folder = two_revisions();
    compare(&folder, &["wide.json"]);
    let (status, _, err) = compare(&folder, &["wide.json", "--keep", "2"]);
    assert_eq!(status, 2);
    assert!(
        err.contains("results lie in this folder itself, from a run without --keep"),
        "{err}"
    );
    let (status, ..) = compare(
        &folder,
        &[
            "wide.json",
            "--keep",
            "2",
            "--out",
            "by-date",
            "--view",
            "rear",
        ],
    );
    assert_eq!(status, 2);
    assert_eq!(names(&folder.path().join("by-date")), [""; 0]);
}

#[test]
fn a_trend_shows_every_figure_in_all_results() {
    let folder = two_revisions();
    compare(&folder, &["wide.json"]);
    compare(&folder, &["right.json"]);
    let results = ["trend", "wide-results", "right-results/report.json"];
    let (status, out, err) = run(&folder, &results, "0");
    assert_eq!(status, 0, "{err}");
    // The worst first, then what became of it.
    let mut lines = out.lines().skip_while(|line| !line.is_empty()).skip(1);
    assert_eq!(lines.next(), Some("front: width length better ▼"), "{out}");
    let figures = lines.next().expect("its figures");
    assert!(
        figures.contains("1: +6") && figures.contains("2: 0"),
        "{out}"
    );
    let trend = folder.path().join("trend");
    assert_eq!(
        names(&trend),
        ["trend.csv", "trend.html", "trend.png", "trend.svg"]
    );
    let table = fs::read_to_string(trend.join("trend.csv")).expect("a table");
    assert!(
        table.contains("wide-results,front,span,width,length,%,6") && table.contains(",better\r\n"),
        "{table}"
    );
    let picture = image::open(trend.join("trend.png"))
        .expect("a picture")
        .to_rgb8();
    assert!(picture.width() > 1500 && picture.pixels().any(|p| p.0 == [213, 94, 0]));
    let svg = fs::read_to_string(trend.join("trend.svg")).expect("text");
    assert!(
        svg.contains("width length") && svg.contains("right-results"),
        "{svg}"
    );
    let page = fs::read_to_string(trend.join("trend.html")).expect("a page");
    assert!(page.contains("data:image/png;base64,") && page.contains("better ▼"));

    let (status, _, err) = run(&folder, &results, "0");
    assert_eq!(status, 2);
    assert!(err.contains("is there already and is not overwritten; move it away or name another folder with --out, or say --force"), "{err}");
    let before = fs::read(trend.join("trend.png")).expect("there");
    let (status, ..) = run(&folder, &[&results[..], &["--force"]].concat(), "0");
    assert_eq!(status, 0);
    assert_eq!(
        fs::read(trend.join("trend.png")).expect("there"),
        before,
        "the same bytes"
    );
}

#[test]
fn a_trend_of_results_kept_by_date_takes_all_of_them_and_refuses_foreign_ones() {
    let folder = two_revisions();
    for epoch in ["0", "86400", "172800"] {
        run(
            &folder,
            &["compare", "wide.json", "--keep", "5", "--quiet"],
            epoch,
        );
    }
    let (status, out, err) = run(&folder, &["trend", "wide-results"], "0");
    assert_eq!(status, 0, "{err}");
    assert!(
        out.contains("1  1970-01-01T00-00") && out.contains("3  1970-01-03T00-00"),
        "{out}"
    );
    // Nothing has moved, which is said once.
    let told = out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(told.contains("the same in all results: "), "{out}");
    assert!(
        !out.contains("    1: ") && !out.contains(" same ="),
        "{out}"
    );
    let mut other = job("wide.png", 9.0);
    other["scale"] = json!("1:24");
    write(&folder, "other.json", &other);
    compare(&folder, &["other.json"]);
    let (status, _, err) = run(
        &folder,
        &["trend", "wide-results", "other-results", "--force"],
        "0",
    );
    assert_eq!(status, 2);
    assert!(err.contains("other-results: held against the first results that are named: the earlier results are of a model at 1:32"), "{err}");
}
