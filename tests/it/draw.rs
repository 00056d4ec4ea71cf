//! `tickstrip draw` as users run it, and a drawn picture as the render of a comparison.
use crate::support::run::run as tickstrip;
use serde_json::{Value, json};
use std::{fmt::Write, fs, path::Path};
use tickstrip::images;

const DEMO: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/demo");

/// The front of a box: left, right, bottom, top, and how far it reaches to the rear from its front.
type Part = (&'static str, [f64; 4], [f64; 2]);

const MODEL: [Part; 4] = [
    ("plate", [0.0, 100.0, 0.0, 10.0], [0.0, 40.0]),
    ("tank", [10.0, 70.0, 10.0, 40.0], [5.0, 35.0]),
    ("post", [80.0, 88.0, 10.0, 62.0], [15.0, 23.0]),
    ("panel", [25.0, 55.0, 18.0, 32.0], [2.0, 5.0]),
];

/// Writes boxes as OBJ, x along, y to the rear, z up.
fn write_boxes(path: &Path, parts: &[Part]) {
    let mut text = String::new();
    for (index, (name, [left, right, bottom, top], [front, rear])) in parts.iter().enumerate() {
        _ = writeln!(text, "o {name}");
        for i in 0..8 {
            let of = |k: usize, pair: [f64; 2]| pair[i >> k & 1];
            let (x, y, z) = (
                of(0, [*left, *right]),
                of(1, [*front, *rear]),
                of(2, [*bottom, *top]),
            );
            _ = writeln!(text, "v {x} {y} {z}");
        }
        for face in [
            [1, 3, 4, 2],
            [5, 6, 8, 7],
            [1, 2, 6, 5],
            [3, 7, 8, 4],
            [1, 5, 7, 3],
            [2, 4, 8, 6],
        ] {
            let [a, b, c, d] = face.map(|corner| corner + 8 * index);
            _ = writeln!(text, "f {a} {b} {c} {d}");
        }
    }
    fs::write(path, text).expect("written");
}

/// A camera 400 mm before the model, a little above, 8 px a mm there.
fn camera() -> [[f64; 4]; 3] {
    let (focal, [x0, y0, z0]) = (3200.0, [48.0, -400.0, 45.0]);
    let (u, v) = (480.0, 240.0);
    // x right, z down, y away.
    let rows = [[focal, u, 0.0], [0.0, v, -focal], [0.0, 1.0, 0.0]];
    rows.map(|[a, b, c]| [a, b, c, -(a * x0 + b * y0 + c * z0)])
}

fn pixel([x, y, z]: [f64; 3]) -> [f64; 2] {
    let [u, v, w] = camera().map(|[a, b, c, d]| a * x + b * y + c * z + d);
    [u / w, v / w]
}

/// A folder with a mesh, the mesh of the subject, in which the panel is 5 % wider, and the camera.
fn folder() -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    write_boxes(&folder.path().join("model.obj"), &MODEL);
    let mut subject = MODEL;
    subject[3].1 = [25.0 - 0.75, 55.0 + 0.75, 18.0, 32.0];
    write_boxes(&folder.path().join("subject.obj"), &subject);
    let camera = json!({ "matrix": camera() }).to_string();
    fs::write(folder.path().join("camera.json"), camera).expect("written");
    folder
}

#[test]
fn a_drawn_render_is_compared_with_a_picture_of_a_subject_that_differs_in_one_part() {
    let folder = folder();
    for (mesh, picture) in [("model.obj", "model.png"), ("subject.obj", "subject.png")] {
        let arguments = [
            "draw",
            mesh,
            "--unit",
            "mm",
            "--camera",
            "camera.json",
            "--size",
            "960x640",
            "--out",
            picture,
        ];
        let run = tickstrip(folder.path(), &arguments);
        assert_eq!(run.status, 0, "{}", run.err);
    }
    let corners = [
        ("plate left", [0.0, 0.0, 10.0]),
        ("plate right", [100.0, 0.0, 10.0]),
        ("plate below left", [0.0, 0.0, 0.0]),
        ("plate below right", [100.0, 0.0, 0.0]),
        ("tank left", [10.0, 5.0, 40.0]),
        ("tank right", [70.0, 5.0, 40.0]),
        ("post top", [80.0, 15.0, 62.0]),
    ];
    let landmark = |name: &str, model: [f64; 3], subject: [f64; 3], usage: &str| json!({ "name": name, "render": pixel(model), "reference": pixel(subject), "model_mm": model, "use": usage });
    let mut landmarks: Vec<Value> = corners
        .iter()
        .map(|(name, place)| landmark(name, *place, *place, "datum"))
        .collect();
    let of_panel = [
        "panel left above",
        "panel right above",
        "panel left below",
        "panel right below",
    ];
    for (index, name) in of_panel.iter().enumerate() {
        let (side, z) = ([-1.0, 1.0][index % 2], [32.0, 18.0][index / 2]);
        let corner = |half: f64| [40.0 + side * half, 2.0, z];
        landmarks.push(landmark(name, corner(15.0), corner(15.75), "check"));
    }
    let around =
        [[22.0, 34.0], [58.0, 34.0], [58.0, 16.0], [22.0, 16.0]].map(|[x, z]| pixel([x, 2.0, z]));
    let job = json!({
        "title": "Drawn", "scale": "1:24",
        "views": [{
            "name": "front", "render": { "image": "model.png", "camera": { "matrix": camera() }, "mark_sigma_px": 0.3 },
            "reference": { "image": "subject.png", "kind": "screenshot", "mark_sigma_px": 0.3 },
            "landmarks": landmarks, "regions": [{ "name": "panel", "outline": around, "landmarks": of_panel }]
        }]
    });
    fs::write(folder.path().join("job.json"), job.to_string()).expect("written");
    let run = tickstrip(folder.path(), &["compare", "job.json"]);
    assert_eq!(run.status, 1, "the panel is out: {} {}", run.out, run.err);
    let report =
        fs::read_to_string(folder.path().join("job-results/report.json")).expect("a report");
    let report: Value = serde_json::from_str(&report).expect("JSON");
    let region = &report["views"][0]["regions"][0];
    let width = region["width_percent"]["value"].as_f64().expect("told");
    // The model's panel is 30 mm wide, the subject's 31.5.
    assert!((width - (30.0 / 31.5 - 1.0) * 100.0).abs() < 0.3, "{width}");
    let height = region["height_percent"]["value"].as_f64().expect("told");
    assert!(height.abs() < 0.5, "{height}");
    // The picture's transparency is its silhouette.
    let limits = images::Limits::default();
    assert!(
        images::read(&folder.path().join("model.png"), &limits)
            .expect("a picture")
            .alpha
            .is_some()
    );
    // The job's own camera and size draw the same picture.
    let by_job = [
        "draw",
        "model.obj",
        "--unit",
        "mm",
        "--job",
        "job.json",
        "--view",
        "front",
        "--out",
        "again.png",
    ];
    let run = tickstrip(folder.path(), &by_job);
    assert_eq!(run.status, 0, "{}", run.err);
    let [first, again] =
        ["model.png", "again.png"].map(|name| fs::read(folder.path().join(name)).expect("there"));
    assert!(first == again);
}

#[test]
fn the_example_of_the_help_runs_and_draws_the_demo_s_pump() {
    let folder = tempfile::tempdir().expect("a folder");
    let help = tickstrip(folder.path(), &["draw", "--help"]).out;
    let example = help
        .split_once("tickstrip demo\n")
        .expect("an example")
        .1
        .replace("\\\n", " ");
    let line = example
        .trim()
        .strip_prefix("tickstrip ")
        .expect("a command")
        .replace("fire-pump-demo", DEMO);
    let arguments: Vec<&str> = line.split_whitespace().collect();
    let run = tickstrip(folder.path(), &arguments);
    assert_eq!(run.status, 0, "{}", run.err);
    for said in [
        "mesh: OBJ with ",
        "parts: \"sole plate\", \"tank\"",
        "and 3 more",
        "drawn: 1200 x 900 px, ",
        "wrote drawn.png",
        "wrote drawn.svg",
    ] {
        assert!(run.out.contains(said), "{said}: {}", run.out);
    }
    let svg = fs::read_to_string(folder.path().join("drawn.svg")).expect("there");
    assert!(svg.starts_with("<svg") && svg.matches("<path").count() > 50);
    let again = tickstrip(folder.path(), &arguments);
    assert!(
        again.status == 2 && again.err.contains("drawn.png is there already"),
        "{}",
        again.err
    );
    let before = fs::read(folder.path().join("drawn.png")).expect("there");
    let forced = tickstrip(folder.path(), &[&arguments[..], &["--force"]].concat());
    assert_eq!(forced.status, 0, "{}", forced.err);
    assert!(
        before == fs::read(folder.path().join("drawn.png")).expect("there"),
        "the same bytes each time"
    );
}

#[test]
fn what_cannot_be_drawn_is_said_in_words() {
    let folder = folder();
    let with = |extra: &[&str]| {
        let plain = [
            "draw",
            "model.obj",
            "--camera",
            "camera.json",
            "--size",
            "960x640",
        ];
        let run = tickstrip(folder.path(), &[&plain[..], extra].concat());
        assert_eq!(run.status, 2, "{} {}", run.out, run.err);
        run.err
    };
    let says = |err: &str, expected: &str| assert!(err.contains(expected), "{err}");
    says(
        &with(&[]),
        "model.obj: an OBJ file has no unit of length; state the unit",
    );
    says(
        &with(&["--unit", "mm", "--out", "model.obj", "--force"]),
        "this is a file that is drawn from",
    );
    for crease in ["0", "-5"] {
        says(
            &with(&["--unit", "mm", "--crease", crease]),
            "it must be a number from 1 to 180",
        );
    }
    says(
        &with(&["--unit", "mm", "--out", "drawn.jpg"]),
        "drawn.jpg: what is written there is PNG; end its name in .png",
    );
    says(
        &with(&["--unit", "mm", "--svg", "drawn"]),
        "drawn: what is written there is SVG; end its name in .svg",
    );
    says(
        &with(&["--unit", "mm", "--force", "--svg", "./drawn.png"]),
        "drawn.png: --out, --svg and --pdf name one file twice; name another",
    );
    says(
        &with(&["--unit", "mm", "--svg", "nowhere/drawn.svg"]),
        "drawn.svg: cannot be written",
    );
    assert!(!folder.path().join("drawn.png").exists(), "nothing partial");
    // To the right by ten pictures.
    let mut aside = camera();
    aside[0] = std::array::from_fn(|c| aside[0][c] + 9600.0 * aside[2][c]);
    fs::write(
        folder.path().join("camera.json"),
        json!({ "matrix": aside }).to_string(),
    )
    .expect("written");
    says(
        &with(&["--unit", "mm"]),
        "model.obj: nothing of the model is within 960 x 640 px; its middle lies at (10",
    );
    let mirrored = camera().map(|row| row.map(|v| -v));
    let mirrored = [mirrored[0], camera()[1], camera()[2]];
    fs::write(
        folder.path().join("camera.json"),
        json!({ "matrix": mirrored }).to_string(),
    )
    .expect("written");
    says(
        &with(&["--unit", "mm"]),
        "camera.json: with this matrix the camera looks at the model mirrored",
    );
    fs::write(
        folder.path().join("camera.json"),
        "{\"matrix\": [[1, 2], [3], 4]}",
    )
    .expect("written");
    says(&with(&["--unit", "mm"]), "camera.json: found ");
    let size = tickstrip(
        folder.path(),
        &[
            "draw",
            "model.obj",
            "--camera",
            "camera.json",
            "--size",
            "99999x99999",
        ],
    );
    says(&size.err, "1 to 24000000 can be drawn");
    let none = tickstrip(
        folder.path(),
        &["draw", "model.obj", "--camera", "camera.json"],
    );
    says(&none.err, "--size");
    let nowhere = tickstrip(folder.path(), &["draw", "model.obj", "--unit", "mm"]);
    says(
        &nowhere.err,
        "--camera FILE --size WxH, or a view that states one with --job JOB --view NAME",
    );
}

#[test]
fn a_wrong_unit_an_unknown_view_and_a_job_for_a_mesh_are_told() {
    let folder = folder();
    let camera = ["--camera", "camera.json", "--size", "960x640"];
    let mut far = self::camera();
    // As from a hundred times as far away.
    for (row, middle) in [(0, 480.0), (1, 240.0)] {
        let [near, ahead] = [far[row], far[2]];
        far[row] =
            std::array::from_fn(|k| 0.01 * (near[k] - middle * ahead[k]) + middle * ahead[k]);
    }
    let far = json!({ "matrix": far }).to_string();
    fs::write(folder.path().join("far.json"), far).expect("written");
    let speck = tickstrip(
        folder.path(),
        &[
            "draw",
            "model.obj",
            "--unit",
            "mm",
            "--camera",
            "far.json",
            "--out",
            "far.png",
            "--size",
            "960x640",
        ],
    );
    assert_eq!(speck.status, 0, "{}", speck.err);
    assert!(
        speck.out.contains(
            "doubtful: the model is 8 px long in a picture of 960 px; see whether --unit"
        ),
        "{}",
        speck.out
    );
    let job = format!("{DEMO}/pump.json");
    let of_job = tickstrip(
        folder.path(),
        &[&["draw", job.as_str()][..], &camera].concat(),
    );
    assert!(
        of_job
            .err
            .contains("holds a job file of this program, which is named with --job"),
        "{}",
        of_job.err
    );
    let mesh = format!("{DEMO}/pump.obj");
    let view = tickstrip(
        folder.path(),
        &[
            "draw", &mesh, "--unit", "mm", "--job", &job, "--view", "rear",
        ],
    );
    assert!(
        view.err
            .contains("no view \"rear\"; the job has \"side\", \"front\", \"plan\""),
        "{}",
        view.err
    );
}
