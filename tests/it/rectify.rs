//! `tickstrip rectify` as users run it, on the demo's photo of a screen.
use crate::support::run::{Run, run};
use assert_cmd::Command;
use std::{fs, path::Path};

const PHOTO: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/demo/side-screen.jpg");
const JOB: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/demo/pump.json");
const CORNERS: &str = "165.5,180.4 1828.1,78.5 1808.5,1125.4 216.9,1023.6";

fn rectify(folder: &Path, arguments: &[&str]) -> Run {
    run(folder, &[&["rectify"], arguments].concat())
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
    let first = rectify(folder.path(), &arguments);
    assert_eq!(first.status, 0, "{}", first.err);
    assert!(
        first.out.contains("width over height: 1.7778, as stated"),
        "{}",
        first.out
    );
    let (width, height) = size(&folder.path().join("rectified.png"));
    // Each side is rounded to a whole pixel.
    assert!((f64::from(width) / f64::from(height) - 16.0 / 9.0).abs() < 0.002);
    let again = rectify(folder.path(), &arguments);
    assert_eq!(again.status, 2);
    assert!(
        again.err.contains("is there already") && again.err.contains("--force"),
        "{}",
        again.err
    );
    let forced = rectify(folder.path(), &[&arguments[..], &["--force"]].concat());
    assert_eq!(forced.status, 0, "{}", forced.err);
    let left = fs::read_dir(folder.path()).expect("readable").count();
    assert_eq!(left, 1, "nothing but the picture is left");
}

#[test]
fn a_job_rectifies_as_the_command_line_does() {
    let folder = tempfile::tempdir().expect("a folder");
    let by_job = rectify(
        folder.path(),
        &["--job", JOB, "--view", "side", "--out", "a.png"],
    );
    assert_eq!(by_job.status, 0, "{}", by_job.err);
    let job: serde_json::Value =
        serde_json::from_str(&fs::read_to_string(JOB).expect("read")).expect("JSON");
    let stated = &job["views"][0]["reference"]["rectify"];
    let (corners, lines) = (
        as_points(&stated["corners"]),
        as_lines(&stated["straight_lines"]),
    );
    let arguments = [
        PHOTO,
        "--corners",
        &corners,
        "--straight-lines",
        &lines,
        "--aspect",
        "16:9",
        "--out",
        "b.png",
    ];
    let by_hand = rectify(folder.path(), &arguments);
    assert_eq!(by_hand.status, 0, "{}", by_hand.err);
    let read = |name| fs::read(folder.path().join(name)).expect("written");
    assert!(
        read("a.png") == read("b.png"),
        "the same corners and lines, the same picture"
    );
}

#[test]
fn a_frame_that_cannot_be_seen_leaves_the_marks_where_they_are() {
    let folder = tempfile::tempdir().expect("a folder");
    let arguments = [PHOTO, "--corners", CORNERS, "--aspect", "16:9"];
    let plain = rectify(
        folder.path(),
        &[&arguments[..], &["--out", "a.png"]].concat(),
    );
    assert_eq!(plain.status, 0, "{}", plain.err);
    let asked = [&arguments[..], &["--find-bezel", "--out", "b.png"]].concat();
    let asked = rectify(folder.path(), &asked);
    assert_eq!(asked.status, 0, "{}", asked.err);
    // At the right the dark floor of the picture is next to as dark as the bezel.
    let words = "corners: kept as marked, no straight edge was found near the right side";
    assert!(asked.out.contains(words), "{}", asked.out);
    let read = |name| fs::read(folder.path().join(name)).expect("written");
    assert!(read("a.png") == read("b.png"));
}

#[test]
fn the_view_tells_the_aspect_or_says_that_it_cannot() {
    let folder = tempfile::tempdir().expect("a folder");
    let told = rectify(folder.path(), &[PHOTO, "--corners", CORNERS]);
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
    let refused = rectify(
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
        (&[PHOTO][..], "nothing is stated to rectify by"),
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
            &[PHOTO, "--straight-lines", "1,2 30,4"],
            "it takes 3 or more to see a bend",
        ),
        (
            &[PHOTO, "--points", "1,2 at 0,0; 3,4"],
            "\"3,4\" is no known place; write \"x,y at LENGTH,LENGTH\"",
        ),
        (&[PHOTO, "--points", "1,2 at 5 mm"], "is no known place"),
        (&[PHOTO, "--points", "1,2 3,4 at 0,0"], "is no known place"),
        (
            &[PHOTO, "--points", "1,y at 0,0"],
            "\"y\" in \"1,y\" is no pixel coordinate",
        ),
        (
            &[
                PHOTO,
                "--points",
                "1,2 at 0,0; 900,2 at 1 m,0; 900,900 at 1 m,1 m",
            ],
            "/points: ",
        ),
        (
            &[
                PHOTO,
                "--points",
                "1,2 at 0,0; 900,2 at 1 league,0; 900,900 at 9,9; 1,900 at 0,9",
            ],
            "the unit \"league\" is not known",
        ),
        (
            &[PHOTO, "--horizontal", "1,2 900,2 900,9"],
            "3 points in \"1,2 900,2 900,9\"; each line has two",
        ),
        (
            &[PHOTO, "--horizontal", "1,2 900,2; 1,900 900,900"],
            "/vertical: ",
        ),
        (
            &[
                PHOTO,
                "--horizontal",
                "1,2 900,2; 1,900 900,900",
                "--corners",
                CORNERS,
            ],
            "both corners and horizontal and vertical are stated",
        ),
        (
            &[
                PHOTO,
                "--vertical",
                "1,2 900,2; 1,900 4,900",
                "--horizontal",
                "1,2 900,2; 1,900 900,900",
            ],
            "/vertical/1: ",
        ),
        (
            &["--job", JOB, "--view", "side", "--points", "1,2 at 0,0"],
            "cannot be used with",
        ),
        (&["--job", JOB, "--view", "front"], "states no \"rectify\""),
        (&["--job", JOB, "--view", "rear"], "no view \"rear\""),
        (
            &["nowhere.png", "--corners", CORNERS, "--aspect", "1"],
            "nowhere.png",
        ),
    ] {
        let run = rectify(folder.path(), arguments);
        assert_eq!(run.status, 2, "{arguments:?}");
        assert!(run.err.contains(words), "{arguments:?}: {}", run.err);
    }
    assert_eq!(fs::read_dir(folder.path()).expect("readable").count(), 0);
}

#[test]
fn the_picture_itself_is_not_overwritten_whatever_is_said() {
    let folder = tempfile::tempdir().expect("a folder");
    fs::copy(PHOTO, folder.path().join("photo.jpg")).expect("copied");
    let arguments = ["photo.jpg", "--corners", CORNERS, "--aspect", "16:9"];
    for out in ["photo.jpg", "./photo.jpg"] {
        let forced = ["--force", "--out", out];
        let run = rectify(folder.path(), &[&arguments[..], &forced].concat());
        assert_eq!(run.status, 2);
        assert!(run.err.contains("it is not overwritten"), "{}", run.err);
    }
    let photo = fs::read(folder.path().join("photo.jpg")).expect("there");
    assert!(photo == fs::read(PHOTO).expect("there"));
}

#[test]
fn known_places_rectify_as_the_rectangle_through_them_does() {
    let folder = tempfile::tempdir().expect("a folder");
    let by_corners = [
        PHOTO,
        "--corners",
        CORNERS,
        "--aspect",
        "16:9",
        "--out",
        "a.png",
    ];
    let by_corners = rectify(folder.path(), &by_corners);
    assert_eq!(by_corners.status, 0, "{}", by_corners.err);
    let places = "165.5,180.4 at 0,0; 1828.1,78.5 at 1600 mm,0; 1808.5,1125.4 at 1600 mm,900; 216.9,1023.6 at 0,0.9 m;";
    let by_places = rectify(
        folder.path(),
        &[PHOTO, "--points", places, "--out", "b.png"],
    );
    assert_eq!(by_places.status, 0, "{}", by_places.err);
    let words = "width over height: that of the known points";
    assert!(by_places.out.contains(words), "{}", by_places.out);
    let [a, b] = ["a.png", "b.png"].map(|name| size(&folder.path().join(name)));
    let aspect = |(width, height): (u32, u32)| f64::from(width) / f64::from(height);
    // Each side is rounded to a whole pixel.
    assert!((aspect(a) - aspect(b)).abs() < 0.003, "{a:?}, {b:?}");
    let tall = places.replace("900", "1600").replace("0.9 m", "1.6 m");
    let square = rectify(folder.path(), &[PHOTO, "--points", &tall, "--out", "c.png"]);
    assert_eq!(square.status, 0, "{}", square.err);
    assert!((aspect(size(&folder.path().join("c.png"))) - 1.0).abs() < 0.003);
}

#[test]
fn lines_at_right_angles_tell_what_corners_without_an_aspect_tell() {
    let folder = tempfile::tempdir().expect("a folder");
    let arguments = [
        PHOTO,
        "--horizontal",
        "165.5,180.4 1828.1,78.5; 216.9,1023.6 1808.5,1125.4",
        "--vertical",
        "165.5,180.4 216.9,1023.6; 1828.1,78.5 1808.5,1125.4",
    ];
    let by_lines = rectify(folder.path(), &arguments);
    let by_corners = rectify(
        folder.path(),
        &[PHOTO, "--corners", CORNERS, "--out", "c.png"],
    );
    assert_eq!(
        by_lines.status, by_corners.status,
        "{}{}",
        by_lines.err, by_corners.err
    );
    if by_lines.status == 0 {
        let words = "width over height: found from the view";
        assert!(by_lines.out.contains(words), "{}", by_lines.out);
    } else {
        assert!(by_lines.err.contains("too frontal"), "{}", by_lines.err);
    }
}

#[test]
fn marks_far_outside_make_no_picture() {
    let folder = tempfile::tempdir().expect("a folder");
    let refused = |arguments: &[&str], words: &str| {
        let run = rectify(folder.path(), &[&[PHOTO], arguments].concat());
        assert_eq!(run.status, 2, "{}", run.out);
        assert!(run.err.contains(words), "{words}\n{}", run.err);
        assert!(!folder.path().join("rectified.png").exists());
    };
    let far = "-1000000,-1000000 1000000,-1000000 1000000,1000000 -1000000,1000000";
    let words = "the rectified picture would have 2666667 x 1500000 pixels, and ";
    refused(&["--corners", far, "--aspect", "16:9"], words);
    let one = "222,217 1000000,113 1892,1177 276,1071";
    let words = "; corner 1 (counted from 0) at [1000000, 113] lies ";
    refused(&["--corners", one, "--aspect", "16:9"], words);
    refused(
        &[
            "--points",
            "222,217 at 0,0; 1910,113 at 16,0; 1892,99999 at 16,9; 276,1071 at 0,9",
        ],
        "1 point lies outside the picture, which has ",
    );
    refused(
        &[
            "--points",
            "222,217 at 0,0; 1910,113 at 100 m,0; 1892,1177 at 100 m,1 mm; 276,1071 at 0,1 mm",
        ],
        "the aspect is 100000.000 by the \"at\" of the points; width over height must be from 0.01 to 100",
    );
    let lines = [
        "--horizontal",
        "222,217 1910,113; 276,1071 99999,1177",
        "--vertical",
        "222,217 276,1071; 1910,113 1892,1177",
    ];
    refused(&lines, "1 end lies outside the picture");
    refused(
        &["--straight-lines", "10,10 500,500 99999,99999"],
        "1 point lies outside the picture",
    );
}

#[test]
fn a_job_with_corners_far_outside_is_refused_before_a_picture_is_made() {
    let folder = tempfile::tempdir().expect("a folder");
    for name in ["side-render.png", "side-screen.jpg"] {
        fs::copy(
            Path::new(JOB).with_file_name(name),
            folder.path().join(name),
        )
        .expect("copied");
    }
    let mut job: serde_json::Value =
        serde_json::from_str(&fs::read_to_string(JOB).expect("readable")).expect("JSON");
    job["views"][0]["reference"]["rectify"]["corners"] =
        serde_json::json!([[-1e6, -1e6], [1e6, -1e6], [1e6, 1e6], [-1e6, 1e6]]);
    job["views"].as_array_mut().expect("a list").truncate(1);
    fs::write(folder.path().join("far.json"), job.to_string()).expect("written");
    let output = Command::new(env!("CARGO_BIN_EXE_tickstrip"))
        .current_dir(folder.path())
        .args(["compare", "far.json", "--explain"])
        .output()
        .expect("it runs");
    assert_eq!(output.status.code(), Some(3), "{output:?}");
    let text = String::from_utf8_lossy(&output.stdout).into_owned();
    let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        text.contains("rectified picture would have 2666667 x 1500000 pixels"),
        "{text}"
    );
    let by_job = rectify(folder.path(), &["--job", "far.json", "--view", "side"]);
    assert_eq!(by_job.status, 2, "{}", by_job.out);
    assert!(
        by_job.err.contains("rectified picture would have"),
        "{}",
        by_job.err
    );
}

#[test]
fn the_examples_of_the_help_run() {
    let folder = tempfile::tempdir().expect("a folder");
    let help = rectify(folder.path(), &["--help"]).out;
    let (_, examples) = help.split_once("Example:").expect("it has examples");
    let examples = examples.replace("\\\n", " ");
    let mut count = 0;
    for line in examples
        .lines()
        .filter(|l| l.trim().starts_with("tickstrip rectify"))
    {
        let line = line.replace("fire-pump-demo/side-screen.jpg", PHOTO);
        let line = line.replace("fire-pump-demo/pump.json", JOB);
        // Only double quotes are used there.
        let arguments: Vec<String> = line
            .split('"')
            .enumerate()
            .flat_map(|(k, part)| match k % 2 {
                0 => part.split_whitespace().map(str::to_owned).collect(),
                _ => vec![part.to_owned()],
            })
            .skip(2)
            .collect();
        let arguments: Vec<&str> = arguments.iter().map(String::as_str).collect();
        let run = rectify(folder.path(), &arguments);
        assert_eq!(run.status, 0, "{arguments:?}: {}", run.err);
        count += 1;
    }
    assert_eq!(count, 4, "{examples}");
}

/// The screen of `fixtures/screen`: a photo from far off the axis through a lens with barrel distortion.
const SCREEN: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/screen");

/// An option's text of points, and of lines of points.
fn as_points(points: &serde_json::Value) -> String {
    let point = |p: &serde_json::Value| format!("{},{}", p[0], p[1]);
    let points = points.as_array().expect("points");
    points.iter().map(point).collect::<Vec<_>>().join(" ")
}

fn as_lines(lines: &serde_json::Value) -> String {
    let lines = lines.as_array().expect("lines");
    lines.iter().map(as_points).collect::<Vec<_>>().join("; ")
}

/// Grey levels of a picture brought to 160 x 90.
fn small_grey(path: &Path) -> Vec<f64> {
    let limits = tickstrip::images::Limits::default();
    let rgb = tickstrip::images::read(path, &limits)
        .expect("a picture")
        .rgb;
    let (width, height) = rgb.dimensions();
    let mut sums = vec![(0.0, 0.0); 160 * 90];
    for (x, y, pixel) in rgb.enumerate_pixels() {
        let at = (y * 90 / height * 160 + x * 160 / width) as usize;
        sums[at].0 += f64::from(pixel[1]);
        sums[at].1 += 1.0;
    }
    sums.into_iter()
        .map(|(sum, count)| sum / f64::max(count, 1.0))
        .collect()
}

fn correlation(a: &[f64], b: &[f64]) -> f64 {
    let n = a.len() as f64;
    let mean = |v: &[f64]| v.iter().sum::<f64>() / n;
    let (of_a, of_b) = (mean(a), mean(b));
    let sum = |f: &dyn Fn(f64, f64) -> f64| {
        a.iter()
            .zip(b)
            .map(|(a, b)| f(a - of_a, b - of_b))
            .sum::<f64>()
    };
    sum(&|a, b| a * b) / (sum(&|a, _| a * a) * sum(&|_, b| b * b)).sqrt()
}

#[test]
fn a_bent_photo_of_a_screen_becomes_the_flat_picture() {
    let folder = tempfile::tempdir().expect("a folder");
    let text = fs::read_to_string(format!("{SCREEN}/truth.json")).expect("read");
    let truth: serde_json::Value = serde_json::from_str(&text).expect("JSON");
    let photo = format!("{SCREEN}/photo.jpg");
    let corners = as_points(&truth["clicked_corners"]);
    let lines = as_lines(&truth["clicked_lines"]);
    let plain = [photo.as_str(), "--corners", &corners, "--mark-sigma", "0.5"];
    let with_lens = [&plain[..], &["--straight-lines", &lines]].concat();

    // The view tells the aspect only once the lens is known: without it, it is wrong beyond its interval.
    let told = rectify(
        folder.path(),
        &[&with_lens[..], &["--out", "told.png"]].concat(),
    );
    assert_eq!(told.status, 0, "{}", told.err);
    let line = told
        .out
        .lines()
        .find(|l| l.starts_with("width over height: "));
    let line = line.expect("it is told");
    let numbers: Vec<f64> = line
        .split(|c: char| !c.is_ascii_digit() && c != '.')
        .filter_map(|part| part.parse().ok())
        .collect();
    let [value, _percent, low, high] = numbers[..] else {
        panic!("{line}");
    };
    let aspect = truth["aspect"].as_f64().expect("a number");
    assert!(low <= aspect && aspect <= high, "{line}");
    assert!((value / aspect - 1.0).abs() < 0.02, "{line}");
    assert!(told.out.contains("lens: coefficient -0.02"), "{}", told.out);

    let stated = ["--aspect", "16:9", "--out"];
    let picture = |arguments: &[&str], name: &str| {
        let arguments = [arguments, &stated[..], &[name]].concat();
        let run = rectify(folder.path(), &arguments);
        assert_eq!(run.status, 0, "{}", run.err);
        small_grey(&folder.path().join(name))
    };
    let flat = small_grey(Path::new(&format!("{SCREEN}/flat.jpg")));
    let straight = correlation(&picture(&with_lens, "lens.png"), &flat);
    let bent = correlation(&picture(&plain, "bent.png"), &flat);
    // Blur and noise of the photo leave a few hundredths.
    assert!(straight > 0.97, "{straight}");
    assert!(straight > bent + 0.01, "{straight}, {bent}");
}

#[test]
fn points_of_a_bent_photo_come_to_lie_where_the_flat_picture_has_them() {
    use tickstrip::{
        frame::Point,
        job::{KnownPlane, Rectangle, Rectify},
        rectification::Rectification,
    };
    let text = fs::read_to_string(format!("{SCREEN}/truth.json")).expect("read");
    let truth: serde_json::Value = serde_json::from_str(&text).expect("JSON");
    let points = |value: &serde_json::Value| -> Vec<[f64; 2]> {
        serde_json::from_value(value.clone()).expect("points")
    };
    let at = |[x, y]: [f64; 2]| Point::new(x, y);
    let corners = points(&truth["clicked_corners"]);
    let lines = truth["clicked_lines"].as_array().expect("lines");
    let lines: Vec<_> = lines
        .iter()
        .map(|l| points(l).into_iter().map(at).collect())
        .collect();
    let farthest = |straight_lines| {
        let rectify = Rectify {
            plane: KnownPlane::Rectangle(Rectangle {
                corners: [0, 1, 2, 3].map(|k| at(corners[k])),
                aspect: Some(16.0 / 9.0),
                find_bezel: false,
            }),
            straight_lines,
        };
        let made = Rectification::new(&rectify, (800, 520), Some(0.5), None).expect("sound");
        let rectangle = made.figures().rectangle.expect("corners");
        let map = made.rectified_from_reference();
        let film = points(&truth["film_picture_points"]);
        let photo = points(&truth["photo_points"]);
        film.into_iter()
            .zip(photo)
            .map(|(film, photo)| {
                let place = map.apply(at(photo));
                let scale = [1920.0 / rectangle.width, 1080.0 / rectangle.height];
                (place.x * scale[0] - film[0]).hypot(place.y * scale[1] - film[1])
            })
            .fold(0.0, f64::max)
    };
    // A pixel of the photo is three to five of the film picture's 1920; clicks are off by half of one.
    let (with_lens, without) = (farthest(lines), farthest(Vec::new()));
    assert!(with_lens < 5.0, "{with_lens}");
    assert!(without > 2.0 * with_lens, "{without}, {with_lens}");
}
