//! `tickstrip sheet`: every sort of sheet through the program, on the demo's front view.
use crate::support::front::front;
use assert_cmd::Command;
use serde_json::{Value, json};
use std::fs;
use tempfile::TempDir;

struct Run {
    status: i32,
    out: String,
    err: String,
}

fn run(folder: &TempDir, arguments: &[&str]) -> Run {
    let output = Command::new(env!("CARGO_BIN_EXE_tickstrip"))
        .args(arguments)
        .env("SOURCE_DATE_EPOCH", "1900000000")
        .current_dir(folder.path())
        .output()
        .expect("runs");
    let text = |bytes| String::from_utf8(bytes).expect("UTF-8");
    Run {
        status: output.status.code().expect("a status"),
        out: text(output.stdout),
        err: text(output.stderr),
    }
}

/// The pages of a document, as it says.
fn pages(folder: &TempDir, name: &str) -> usize {
    let pdf = fs::read(folder.path().join(name)).expect("written");
    assert!(pdf.starts_with(b"%PDF-"), "{name}");
    let text = String::from_utf8_lossy(&pdf);
    text.matches("/Type/Page/").count() + text.matches("/Type /Page\n").count()
}

#[test]
fn every_sort_of_sheet_is_written() {
    let folder = front();
    let compared = run(
        &folder,
        &[
            "compare",
            "job.json",
            "--quiet",
            "--pictures",
            "render,registered",
        ],
    );
    assert_eq!(compared.status, 1, "{}", compared.err);
    for (name, arguments, least) in [
        ("job-sheet.pdf", &[][..], 1),
        (
            "plain.pdf",
            &["--plain", "--portrait", "--out", "plain.pdf"],
            1,
        ),
        ("strip.pdf", &["--strip", "--out", "strip.pdf"], 2),
        (
            "part.pdf",
            &[
                "--part", "tool box", "--paper", "letter", "--out", "part.pdf",
            ],
            1,
        ),
        (
            "before.pdf",
            &["--before", "job-results", "--out", "before.pdf"],
            1,
        ),
        (
            "tiled.pdf",
            &["--tiled", "edges", "--scale", "5:1", "--out", "tiled.pdf"],
            3,
        ),
    ] {
        let run = run(&folder, &[&["sheet", "job.json"], arguments].concat());
        assert_eq!(run.status, 0, "{name}: {}", run.err);
        let count = pages(&folder, name);
        assert!(count >= least, "{name}: {count}");
        let sheets = if count == 1 {
            "1 sheet".to_owned()
        } else {
            format!("{count} sheets")
        };
        assert!(
            run.out.starts_with(&format!("wrote {name} ({sheets}, ")),
            "{}",
            run.out
        );
    }
    let again = run(&folder, &["sheet", "job.json"]);
    assert_eq!(again.status, 2);
    assert!(
        again
            .err
            .contains("job-sheet.pdf is there already and is not overwritten"),
        "{}",
        again.err
    );
    let first = fs::read(folder.path().join("job-sheet.pdf")).expect("there");
    let forced = run(
        &folder,
        &["sheet", "job.json", "--force", "--max-memory", "1GiB"],
    );
    assert_eq!(forced.status, 0, "{}", forced.err);
    let second = fs::read(folder.path().join("job-sheet.pdf")).expect("there");
    assert!(first == second, "the same job gives the same bytes");
}

#[test]
fn what_cannot_be_drawn_is_told_and_nothing_is_written() {
    let folder = front();
    let compared = run(
        &folder,
        &["compare", "job.json", "--quiet", "--pictures", "none"],
    );
    assert_eq!(compared.status, 1, "{}", compared.err);
    for (arguments, told) in [
        (
            &["--part", "tool bx"][..],
            "no part \"tool bx\" in \"front\"; there are \"",
        ),
        (
            &["--view", "left"],
            "no view \"left\"; the job has \"front\"",
        ),
        (&["--scale", "2:1"], "--tiled <PICTURE>"),
        (
            &["--tiled", "render", "--scale", "1:3"],
            "it must be a scale of ISO 5455: 50:1, 20:1",
        ),
        (
            &["--tiled", "render", "--scale", "50:1"],
            "at most 60 are drawn; print one part alone with --part",
        ),
        (&["--plain", "--tiled", "render"], "cannot be used with"),
        (&["--before", "nowhere"], "nowhere: "),
        (
            &["--before", "job-results"],
            "the earlier results of view \"front\" lack the picture of its render; compare that job again with its pictures",
        ),
        (
            &["--out", "sheet.png"],
            "sheet.png: what is written there is PDF; end its name in .pdf",
        ),
        (
            &["--date", "2031-02-30"],
            "it must be a day of the calendar",
        ),
    ] {
        let run = run(&folder, &[&["sheet", "job.json"], arguments].concat());
        // What is wrong with a view and not with the command line has the status that a comparison gives it.
        let is_of_view = run.err.contains("there is nothing to draw: front: ");
        let status = if is_of_view { 3 } else { 2 };
        assert_eq!(run.status, status, "{arguments:?}: {}", run.err);
        assert!(run.err.contains(told), "{arguments:?}: {}", run.err);
        assert!(
            !folder.path().join("job-sheet.pdf").exists(),
            "{arguments:?}"
        );
    }
}

#[test]
fn a_view_that_cannot_be_compared_is_named_and_the_others_are_drawn() {
    let folder = front();
    let text = fs::read(folder.path().join("job.json")).expect("readable");
    let mut job: Value = serde_json::from_slice(&text).expect("JSON");
    let mut other = job["views"][0].clone();
    other["name"] = json!("lost");
    other["render"]["image"] = json!("lost.png");
    job["views"].as_array_mut().expect("views").push(other);
    fs::write(folder.path().join("job.json"), job.to_string()).expect("written");
    let run = run(&folder, &["sheet", "job.json"]);
    assert_eq!(run.status, 3, "{}", run.err);
    assert!(
        run.err.starts_with("lost: ") && run.err.contains("lost.png"),
        "{}",
        run.err
    );
    assert!(
        pages(&folder, "job-sheet.pdf") >= 2,
        "an overview and the sheet of the front"
    );
    // With none of the others: the same status, and nothing is written.
    let alone = ["sheet", "job.json", "--view", "lost", "--out", "lost.pdf"];
    let found = self::run(&folder, &alone);
    assert_eq!(found.status, 3, "{}", found.err);
    assert!(found.err.contains("there is nothing to draw: lost: "));
    assert!(!folder.path().join("lost.pdf").exists());
    let help = self::run(&folder, &["sheet", "--help"]).out;
    assert!(help.contains("3  some views could not be compared or drawn"));
}
