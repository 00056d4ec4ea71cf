//! `archive`: a job with all that it needs in one file, checked, and put out again.
use assert_cmd::Command;
use serde_json::Value;
use std::{fs, path::Path};
use tempfile::TempDir;

const PLAN: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/plan");

fn run(folder: &TempDir, arguments: &[&str]) -> (i32, String, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_tickstrip"))
        .args(arguments)
        .current_dir(folder.path())
        .env("SOURCE_DATE_EPOCH", "1933113600")
        .output()
        .expect("runs");
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).expect("UTF-8");
    let status = output.status.code().expect("a status");
    (status, text(output.stdout), text(output.stderr))
}

/// A compared job in a folder of its own.
fn compared() -> TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    for entry in fs::read_dir(PLAN).expect("readable").flatten() {
        fs::copy(entry.path(), folder.path().join(entry.file_name())).expect("copied");
    }
    let (status, _, err) = run(&folder, &["compare", "tank.json", "--quiet"]);
    assert!([0, 1].contains(&status), "{err}");
    folder
}

#[test]
fn results_come_back_with_their_job_and_are_known_as_its_results() {
    let folder = compared();
    let (status, out, err) = run(&folder, &["archive", "tank.json"]);
    assert_eq!(status, 0, "{err}");
    assert!(out.starts_with("tank-archive-2031-04-05.zip: "), "{out}");
    let (status, out, err) = run(
        &folder,
        &["archive", "--verify", "tank-archive-2031-04-05.zip"],
    );
    assert_eq!(status, 0, "{err}");
    assert!(
        out.contains("as they were archived on 2031-04-05 by tickstrip"),
        "{out}"
    );
    let restore = [
        "archive",
        "--restore",
        "tank-archive-2031-04-05.zip",
        "--out",
        "again",
        "--json",
    ];
    let (status, out, err) = run(&folder, &restore);
    assert_eq!(status, 0, "{err}");
    let told: Value = serde_json::from_str(&out).expect("JSON");
    assert_eq!(told["job"], "again/tank.json");
    let report = |folder: &Path| fs::read(folder.join("tank-results/report.json")).expect("there");
    assert_eq!(report(folder.path()), report(&folder.path().join("again")));
    // Compared again, the results take the place of those that came back.
    let (status, _, err) = run(&folder, &["compare", "again/tank.json", "--quiet"]);
    assert!([0, 1].contains(&status), "{err}");
    assert!(!err.contains("archive"), "{err}");
}

#[test]
fn a_comparison_says_when_the_marks_are_in_no_archive() {
    let folder = compared();
    let (status, ..) = run(&folder, &["archive", "tank.json"]);
    assert_eq!(status, 0);
    let job = folder.path().join("tank.json");
    let text = fs::read_to_string(&job).expect("there");
    fs::write(&job, format!("{text}\n")).expect("written");
    let (_, _, err) = run(&folder, &["compare", "tank.json", "--quiet"]);
    let words = "the job was changed since tank-archive-2031-04-05.zip was written; \"tickstrip archive tank.json\" keeps it as it is now";
    assert!(err.contains(words), "{err}");
}

#[test]
fn what_cannot_be_used_is_told_with_what_to_do() {
    let folder = tempfile::tempdir().expect("a folder");
    fs::write(folder.path().join("a.zip"), "text").expect("written");
    let (status, _, err) = run(&folder, &["archive", "--verify", "a.zip"]);
    assert_eq!(status, 2);
    assert!(
        err.contains("error: a.zip: it cannot be read as a zip file"),
        "{err}"
    );
    let (status, _, err) = run(&folder, &["archive", "gone.json"]);
    assert_eq!((status, err.contains("gone.json")), (2, true), "{err}");
    let (status, _, err) = run(&folder, &["archive", "--restore", "a.zip"]);
    assert_eq!((status, err.contains("--out")), (2, true), "{err}");
}
