//! `tickstrip backdrop` as users run it: references at true scale for CAD.
use crate::support::run::{Run, run};
use serde_json::{Value, json};
use std::{fs, path::Path};

const FIXTURES: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures");

fn backdrop(folder: &Path, arguments: &[&str]) -> Run {
    run(folder, &[&["backdrop"], arguments].concat())
}

fn json_of(run: &Run) -> Value {
    serde_json::from_str(&run.out).unwrap_or_else(|e| panic!("{e}: {}{}", run.out, run.err))
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value}"))
}

/// Two sides of a block of 300 x 120 x 80 mm, each marked exactly on a plain picture of 1 px a millimetre.
fn block(change: impl FnOnce(&mut Value)) -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    let picture = image::RgbImage::from_pixel(400, 300, image::Rgb([200; 3]));
    picture
        .save(folder.path().join("side.png"))
        .expect("written");
    picture
        .save(folder.path().join("plan.png"))
        .expect("written");
    let view = |name: &str, down: &str, landmarks: Value| {
        json!({
            "name": name, "axes": { "right": "x", "down": down },
            "reference": { "image": format!("{name}.png"), "kind": "plan", "mark_sigma_px": 0.1 },
            "landmarks": landmarks,
            "known": [{ "in": "reference", "from": "nose", "to": "tail", "full_size": "300 mm", "along": "x" }],
            "spans": [{ "name": "length", "from": "nose", "to": "tail" }]
        })
    };
    let mark = |name: &str, x: f64, y: f64| json!({ "name": name, "reference": [x, y] });
    let mut job = json!({
        "title": "A block", "scale": "1:2",
        "views": [
            view("side", "-z", json!([mark("nose", 50.0, 200.0), mark("tail", 350.0, 200.0), mark("bolt", 150.0, 120.0)])),
            view("plan", "-y", json!([mark("nose", 50.0, 60.0), mark("tail", 350.0, 60.0), mark("bolt", 150.0, 140.0)]))
        ]
    });
    change(&mut job);
    fs::write(folder.path().join("block.json"), job.to_string()).expect("written");
    folder
}

/// The ends of all straight lines of a drawing, in user units of 96 an inch.
fn lines(group: &usvg::Group, found: &mut Vec<[f32; 4]>) {
    for node in group.children() {
        match node {
            usvg::Node::Group(group) => lines(group, found),
            usvg::Node::Path(path) => {
                let bounds = path.abs_bounding_box();
                found.push([bounds.left(), bounds.top(), bounds.right(), bounds.bottom()]);
            }
            _ => {}
        }
    }
}

#[test]
fn a_backdrop_is_as_large_as_it_says_in_every_format() {
    let folder = block(|_| ());
    let run = backdrop(
        folder.path(),
        &["block.json", "--px-per-mm", "4", "--out", "out", "--json"],
    );
    assert_eq!(run.status, 0, "{}", run.err);
    let side = &json_of(&run)["views"][0]["backdrop"];
    // 400 x 300 px of the reference are as many full-size millimetres: half on the model, four pixels each.
    for (key, expected) in [
        ("size_px", [800.0, 600.0]),
        ("size_model_mm", [200.0, 150.0]),
    ] {
        for k in [0, 1] {
            // Marks are exact: rounding is left.
            assert!(
                (number(&side[key][k]) - expected[k]).abs() < 1e-6,
                "{key} {side}"
            );
        }
    }
    assert_eq!((&side["right"], &side["up"]), (&json!("x"), &json!("z")));
    // The nose is 50 px from the left and 100 above the lower border.
    for (k, expected) in [-25.0, -50.0].into_iter().enumerate() {
        assert!(
            (number(&side["lower_left_model_mm"][k]) - expected).abs() < 1e-6,
            "{side}"
        );
    }
    let out = folder.path().join("out/side");
    let png = fs::read(out.join("backdrop.png")).expect("written");
    let reader = png::Decoder::new(std::io::Cursor::new(png))
        .read_info()
        .expect("a PNG");
    let dims = reader.info().pixel_dims.expect("has a size");
    assert_eq!(
        (dims.xppu, dims.yppu, dims.unit),
        (4000, 4000, png::Unit::Meter)
    );
    let svg = fs::read_to_string(out.join("backdrop.svg")).expect("written");
    let options = usvg::Options {
        resources_dir: Some(out.clone()),
        ..usvg::Options::default()
    };
    let tree = usvg::Tree::from_str(&svg, &options).expect("an SVG");
    let unit = 96.0 / 25.4_f32;
    assert!(
        (tree.size().width() - 200.0 * unit).abs() < 0.01,
        "{:?}",
        tree.size()
    );
    assert!(
        (tree.size().height() - 150.0 * unit).abs() < 0.01,
        "{:?}",
        tree.size()
    );
    let mut found = Vec::new();
    lines(tree.root(), &mut found);
    // Upright lines of the grid, by their place: from the origin ten steps are 100 mm.
    let upright = found
        .iter()
        .filter(|[left, top, right, bottom]| left == right && bottom - top > 100.0);
    let places: Vec<f32> = upright.map(|line| line[0]).collect();
    assert_eq!(places.len(), 20, "{places:?}");
    let hundred = places[12] - places[2];
    assert!((hundred - 100.0 * unit).abs() < 0.01, "{hundred}");
    // 25 mm from the left border the origin's own line.
    assert!((places[2] - 25.0 * unit).abs() < 0.01, "{places:?}");
    let text = fs::read_to_string(folder.path().join("out/backdrops.txt")).expect("written");
    assert!(
        text.contains("lower left at    x −25.000 mm, z −50.000 mm"),
        "{text}"
    );
}

#[test]
fn what_two_sides_see_has_to_agree() {
    let folder = block(|_| ());
    let run = backdrop(folder.path(), &["block.json"]);
    assert_eq!(run.status, 0, "{}", run.err);
    assert!(
        run.out
            .contains("3 lengths are seen in two views, 3 within their intervals"),
        "{}",
        run.out
    );
    assert!(!run.out.contains("note:"), "{}", run.out);
    let folder = block(|job| job["views"][1]["known"][0]["full_size"] = json!("310 mm"));
    let run = backdrop(folder.path(), &["block.json", "--json"]);
    let seen = &json_of(&run)["seen_twice"];
    let length = seen
        .as_array()
        .expect("a list")
        .iter()
        .find(|s| s["what"] == "the span \"length\"");
    let length = length.expect("seen in both");
    assert_eq!(
        (&length["views"], &length["agrees"]),
        (&json!(["side", "plan"]), &json!(false))
    );
    let difference = number(&length["difference_full_size_mm"]["value"]);
    assert!((difference - 10.0).abs() < 1e-6, "{length}");
    let words = backdrop(folder.path(), &["block.json"])
        .out
        .replace("\n    ", " ");
    for said in [
        "the span \"length\" is 300.",
        " mm in \"side\" and 310.",
        " mm in \"plan\": +10.",
    ] {
        assert!(words.contains(said), "{said}: {words}");
    }
}

#[test]
fn sides_without_one_origin_and_without_a_scale_say_what_to_do() {
    let folder = block(|job| {
        job["views"][1]["landmarks"][0]["name"] = json!("prow");
        job["views"][1]["known"][0]["from"] = json!("prow");
        job["views"][1]["spans"] = json!([]);
        job["views"][0]["origin"] = json!("nose");
    });
    let run = backdrop(folder.path(), &["block.json"]);
    let words = run.out.replace("\n  ", " ");
    assert!(
        words.contains("note: the views count from different landmarks"),
        "{words}"
    );
    let folder = block(|job| job["views"][1]["known"] = json!([]));
    let run = backdrop(folder.path(), &["block.json", "--out", "out"]);
    assert_eq!(run.status, 3, "{}", run.out);
    let words = run.out.replace("\n  ", " ");
    assert!(words.contains("plan: nothing tells a scale"), "{words}");
    assert!(folder.path().join("out/side/backdrop.png").is_file());
    assert!(!folder.path().join("out/plan").exists());
}

#[test]
fn a_backdrop_that_is_too_large_is_refused_and_writes_no_picture() {
    let folder = block(|_| ());
    let arguments = [
        "block.json",
        "--view",
        "side",
        "--px-per-mm",
        "1000",
        "--out",
        "out",
    ];
    let run = backdrop(folder.path(), &arguments);
    assert_eq!(run.status, 3, "{}", run.out);
    let words = run.out.replace("\n  ", " ");
    assert!(words.contains("state --px-per-mm 57.7 or less"), "{words}");
    let run = backdrop(folder.path(), &["block.json", "--px-per-mm", "0"]);
    assert_eq!(run.status, 2);
    assert!(
        run.err.contains("it must be a number from 0.001 to 10000"),
        "{}",
        run.err
    );
}

#[test]
fn the_demo_s_photo_and_plan_become_backdrops_within_the_truth() {
    let folder = Path::new(FIXTURES).join("demo");
    let run = backdrop(
        &folder,
        &["pump.json", "--view", "side", "--view", "plan", "--json"],
    );
    assert_eq!(run.status, 0, "{}", run.err);
    let report = json_of(&run);
    let plan = &report["views"][1]["backdrop"];
    assert_eq!((&plan["right"], &plan["up"]), (&json!("x"), &json!("y")));
    // The film's picture, which the corners are those of, has 1920 px of 0.7 a full-size millimetre.
    let side = &report["views"][0]["backdrop"];
    let width = number(&side["size_model_mm"][0]);
    let within = number(&side["scale_within_percent"]) / 100.0;
    let truth = 1920.0 / 0.7 / 24.0;
    assert!(
        (width / truth - 1.0).abs() < within + 0.01,
        "{width} {truth}"
    );
}
