//! The folder of the results: what is there of the user's stays, whatever is compared into it.
use crate::support::{
    boxes::{self, picture, write_job},
    tree::files,
};
use serde_json::Value;
use std::{
    fs,
    path::Path,
    process::{Command, Output},
};
use tempfile::TempDir;

/// The job of the boxes in a folder of its own.
fn folder() -> TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    write_job(folder.path(), &boxes::job());
    folder
}

fn compare(folder: &Path, arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_tickstrip"))
        .args(["compare", "job.json", "--quiet", "--date", "2031-04-05"])
        .args(arguments)
        .current_dir(folder)
        .output()
        .expect("the program starts")
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

#[test]
fn a_report_printed_into_the_jobs_folder_does_not_make_the_folder_ours() {
    let folder = folder();
    // What `--json > report.json` leaves before the program runs.
    fs::write(folder.path().join("report.json"), "").expect("written");
    let before = files(folder.path());
    let whole = folder.path().to_str().expect("UTF-8");
    for out in [whole, "."] {
        let output = compare(folder.path(), &["--json", "--out", out]);
        assert_eq!(output.status.code(), Some(2));
        let told = text(&output.stderr);
        assert!(told.contains("no tickstrip-results.json"), "{told}");
        assert_eq!(files(folder.path()), before);
    }
}

#[test]
fn notes_stay_where_they_were_put_and_a_changed_file_is_not_overwritten() {
    let folder = folder();
    let results = folder.path().join("job-results");
    assert_eq!(compare(folder.path(), &[]).status.code(), Some(0));
    let written = files(&results);
    fs::write(results.join("notes.txt"), "mine").expect("written");
    fs::write(results.join("front/notes.txt"), "mine").expect("written");
    assert_eq!(compare(folder.path(), &[]).status.code(), Some(0));
    let mut expected = written;
    expected.insert("notes.txt".to_owned(), b"mine".to_vec());
    expected.insert("front/notes.txt".to_owned(), b"mine".to_vec());
    assert!(files(&results) == expected);
    let page = results.join("report.html");
    let mut own = fs::read(&page).expect("there");
    own.extend(b"<p>remember</p>");
    fs::write(&page, &own).expect("written");
    let output = compare(folder.path(), &[]);
    assert_eq!(output.status.code(), Some(2));
    let told = text(&output.stderr);
    assert!(told.contains("report.html: it was changed after"), "{told}");
    expected.insert("report.html".to_owned(), own);
    assert!(files(&results) == expected);
}

#[test]
fn a_run_without_a_finished_view_keeps_the_earlier_results() {
    let folder = folder();
    let results = folder.path().join("job-results");
    fs::write(folder.path().join("plan.png"), "no picture").expect("written");
    // Nothing is there yet: the reasons are written down.
    let output = compare(folder.path(), &[]);
    assert_eq!(output.status.code(), Some(3));
    assert!(text(&output.stdout).contains("results in"));
    let report = fs::read(results.join("report.json")).expect("written");
    assert!(text(&report).contains("plan.png"));
    // These are no results that were worth keeping.
    fs::write(folder.path().join("plan.png"), picture(0)).expect("written");
    assert_eq!(compare(folder.path(), &[]).status.code(), Some(0));
    let good = files(&results);
    assert!(good.contains_key("front/overlay.png"));
    fs::write(folder.path().join("plan.png"), "no picture").expect("written");
    let output = compare(folder.path(), &[]);
    assert_eq!(output.status.code(), Some(3));
    let told = text(&output.stdout);
    assert!(
        told.contains("plan.png") && told.contains("were kept"),
        "{told}"
    );
    let output = compare(folder.path(), &["--json"]);
    assert_eq!(output.status.code(), Some(3));
    let report: Value = serde_json::from_slice(&output.stdout).expect("JSON");
    assert_eq!(report["views"][0]["error"]["code"], "image-format");
    assert!(text(&output.stderr).contains("were kept"));
    assert!(files(&results) == good);
}
