//! `tickstrip straighten` as users run it, on the demo's photo of a screen.
use assert_cmd::Command;
use std::{fs, path::Path};

const PHOTO: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/demo/side-screen.jpg");
const JOB: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/demo/chair.json");
const CORNERS: &str = "222.5,216.6 1910.2,113.0 1892.0,1176.8 275.8,1070.6";

struct Run {
    status: i32,
    out: String,
    err: String,
}

fn straighten(folder: &Path, arguments: &[&str]) -> Run {
    let output = Command::cargo_bin("tickstrip")
        .expect("the program is built with the tests")
        .current_dir(folder)
        .arg("straighten")
        .args(arguments)
        .output()
        .expect("it runs");
    let text = |bytes: &[u8]| String::from_utf8(bytes.to_vec()).expect("UTF-8");
    Run {
        status: output.status.code().expect("it ends by itself"),
        out: text(&output.stdout),
        err: text(&output.stderr),
    }
}

fn size(path: &Path) -> (u32, u32) {
    let limits = tickstrip::images::Limits::default();
    let picture = tickstrip::images::read(path, &limits).expect("a picture");
    picture.rgb.dimensions()
}

#[test]
fn a_photo_of_a_screen_becomes_a_picture_of_its_aspect_and_is_not_overwritten() {
    let folder = tempfile::tempdir().expect("a folder");
    let arguments = [PHOTO, "--corners", CORNERS, "--aspect", "16:9"];
    let first = straighten(folder.path(), &arguments);
    assert_eq!(first.status, 0, "{}", first.err);
    assert!(
        first.out.contains("width over height: 1.7778, as stated"),
        "{}",
        first.out
    );
    let (width, height) = size(&folder.path().join("straight.png"));
    // Each side is rounded to a whole pixel.
    assert!((f64::from(width) / f64::from(height) - 16.0 / 9.0).abs() < 0.002);
    let again = straighten(folder.path(), &arguments);
    assert_eq!(again.status, 2);
    assert!(
        again.err.contains("is there already") && again.err.contains("--force"),
        "{}",
        again.err
    );
    let forced = straighten(folder.path(), &[&arguments[..], &["--force"]].concat());
    assert_eq!(forced.status, 0, "{}", forced.err);
    let left = fs::read_dir(folder.path()).expect("readable").count();
    assert_eq!(left, 1, "nothing but the picture is left");
}

#[test]
fn a_job_straightens_as_the_command_line_does() {
    let folder = tempfile::tempdir().expect("a folder");
    let by_job = straighten(
        folder.path(),
        &["--job", JOB, "--view", "side", "--out", "a.png"],
    );
    assert_eq!(by_job.status, 0, "{}", by_job.err);
    let corners = "222.53,216.56 1910.18,112.97 1892.04,1176.81 275.82,1070.56";
    let arguments = [
        PHOTO,
        "--corners",
        corners,
        "--aspect",
        "16:9",
        "--out",
        "b.png",
    ];
    let by_hand = straighten(folder.path(), &arguments);
    assert_eq!(by_hand.status, 0, "{}", by_hand.err);
    let read = |name| fs::read(folder.path().join(name)).expect("written");
    assert!(
        read("a.png") == read("b.png"),
        "the same corners, the same picture"
    );
}

#[test]
fn a_frame_that_cannot_be_seen_leaves_the_marks_where_they_are() {
    let folder = tempfile::tempdir().expect("a folder");
    let arguments = [PHOTO, "--corners", CORNERS, "--aspect", "16:9"];
    let plain = straighten(
        folder.path(),
        &[&arguments[..], &["--out", "a.png"]].concat(),
    );
    assert_eq!(plain.status, 0, "{}", plain.err);
    let asked = [&arguments[..], &["--find-frame", "--out", "b.png"]].concat();
    let asked = straighten(folder.path(), &asked);
    assert_eq!(asked.status, 0, "{}", asked.err);
    // The dark ceiling of the picture is next to as dark as the bezel.
    let words = "corners: kept as marked, no straight edge was found near the top side";
    assert!(asked.out.contains(words), "{}", asked.out);
    let read = |name| fs::read(folder.path().join(name)).expect("written");
    assert!(read("a.png") == read("b.png"));
}

#[test]
fn the_view_tells_the_aspect_or_says_that_it_cannot() {
    let folder = tempfile::tempdir().expect("a folder");
    let told = straighten(folder.path(), &[PHOTO, "--corners", CORNERS]);
    if told.status == 0 {
        assert!(told.out.contains("found from the view"), "{}", told.out);
        assert!(
            told.out
                .contains("cannot be told: whether the picture was cropped")
        );
    } else {
        assert!(told.err.contains("too frontal"), "{}", told.err);
    }
    let frontal = "200,200 1800,200 1800,1100 200,1100";
    let refused = straighten(
        folder.path(),
        &[PHOTO, "--corners", frontal, "--out", "f.png"],
    );
    assert_eq!(refused.status, 2);
    assert!(refused.err.contains("too frontal"), "{}", refused.err);
    assert!(!folder.path().join("f.png").exists());
}

#[test]
fn faults_of_the_command_line_are_told() {
    let folder = tempfile::tempdir().expect("a folder");
    for (arguments, words) in [
        (&[PHOTO][..], "nothing is stated to straighten by"),
        (
            &[PHOTO, "--corners", "1,2 3,4 5,6"],
            "3 points; a rectangle has four corners",
        ),
        (
            &[PHOTO, "--corners", "1,2 3,4 5,6 x,8"],
            "no pixel coordinate",
        ),
        (
            &[PHOTO, "--corners", "0,0 9,9 9,0 0,9", "--aspect", "1"],
            "the sides between the corners cross",
        ),
        (
            &[PHOTO, "--lines", "1,2 30,4"],
            "it takes 3 or more to see a bend",
        ),
        (
            &["--job", JOB, "--view", "front"],
            "states no \"straighten\"",
        ),
        (&["--job", JOB, "--view", "rear"], "no view \"rear\""),
        (
            &["nowhere.png", "--corners", CORNERS, "--aspect", "1"],
            "nowhere.png",
        ),
    ] {
        let run = straighten(folder.path(), arguments);
        assert_eq!(run.status, 2, "{arguments:?}");
        assert!(run.err.contains(words), "{arguments:?}: {}", run.err);
    }
    assert_eq!(fs::read_dir(folder.path()).expect("readable").count(), 0);
}
