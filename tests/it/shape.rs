//! A further picture of the render's view tells the edges of its shape from those of its light.
use crate::support::{
    drawn::{BODY, Part, SIZE, draw, images_of, job_of, region},
    views,
};
use assert_cmd::Command;
use image::{Rgb, RgbImage};
use serde_json::{Value, json};
use std::{fs, path::Path, process::Output};
use tempfile::TempDir;
use tickstrip::{
    images::Picture,
    job::{self, RegistrationKind},
    measurement::{MeasuredView, measure},
    registration::lay_over,
};

const DEMO: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/demo");
const PART: Part = Part([220.0, 90.0, 420.0, 230.0], 170.0);
/// How far the lamp of the reference has moved its mirror images from where the render's has them, pixels.
const MOVED: f64 = 5.0;

/// The body and the part with the mirror image of a window of many panes, `moved` pixels to the right.
fn shiny(moved: f64) -> Vec<Part> {
    let panes = (0..7).map(|k| {
        let left = 236.0 + moved + 24.0 * f64::from(k);
        Part([left, 104.0, left + 12.0, 216.0], 235.0)
    });
    BODY.into_iter().chain([PART]).chain(panes).collect()
}

/// The part is right; the reference was taken in another light than the render's.
fn compared(shape: Option<RgbImage>) -> MeasuredView {
    let marks: Vec<[f64; 2]> = BODY
        .iter()
        .flat_map(|Part([l, t, r, b], _)| [[*l, *t], [*r, *t], [*r, *b], [*l, *b]])
        .collect();
    let mut view = views::view(RegistrationKind::Similarity, &marks, &marks, [Some(0.5); 2]);
    let mut body = region("body", [50.0, 290.0, 550.0, 440.0]);
    body.landmarks = (0..marks.len()).collect();
    view.regions = vec![body, region("part", [195.0, 65.0, 445.0, 255.0])];
    let job = job_of(&view, views::EXPECTED);
    let mut images = images_of(
        draw(&shiny(0.0), 230.0, 0.0),
        draw(&shiny(MOVED), 200.0, 10.0),
    );
    images.shape = shape.map(|rgb| Picture {
        rgb,
        alpha: None,
        notes: Vec::new(),
    });
    let laid_over = lay_over(&view, views::EXPECTED, [SIZE; 2], None).expect("sixteen datum marks");
    measure(&job, &view, images, laid_over.registered)
}

/// The normals as colours: each box faces another way, and no lamp is mirrored.
fn normals() -> RgbImage {
    let parts: Vec<Part> = BODY.into_iter().chain([PART]).collect();
    let mut picture = draw(&parts, 0.0, 0.0);
    for pixel in picture.pixels_mut() {
        let [v, ..] = pixel.0;
        *pixel = Rgb([v, 255 - v, 128]);
    }
    picture
}

fn offset_along_x(measured: &MeasuredView) -> Option<tickstrip::statistics::Measured> {
    measured.measurement.regions[1].offset_px[0]
}

#[test]
fn a_mirrored_lamp_moves_a_part_no_more_once_the_normals_are_known() {
    let by_light = offset_along_x(&compared(None)).expect("seven panes outweigh two sides");
    // The model lies to the left of what the light makes of the subject.
    assert!((by_light.value() + MOVED).abs() < 1.0, "{by_light:?}");
    let by_shape = offset_along_x(&compared(Some(normals()))).expect("two sides tell it");
    assert!(
        by_shape.value().abs() < 0.7 && by_shape.holds(0.0),
        "{by_shape:?}"
    );
}

#[test]
fn a_picture_of_another_view_is_named_and_not_used() {
    let blank = RgbImage::from_pixel(SIZE.0, SIZE.1, Rgb([128; 3]));
    let measured = compared(Some(blank));
    let warnings = &measured.measurement.warnings;
    let unlike = warnings.iter().find(|w| w.code == "shape-unlike-render");
    let text = &unlike.expect("told").text;
    assert!(text.contains("has 0 % of the render's edges"), "{text}");
    assert_eq!(offset_along_x(&measured), offset_along_x(&compared(None)));
    let used = compared(Some(normals())).measurement.warnings;
    assert!(used.iter().all(|w| w.code != "shape-unlike-render"));
}

/// The demo's view from the front with this as "shape", and a picture of a wrong size, one of none, and one that is none.
fn folder(shape: Value) -> TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    for name in ["front-render.png", "front-earlier.png"] {
        fs::copy(Path::new(DEMO).join(name), folder.path().join(name)).expect("copied");
    }
    let small = RgbImage::from_pixel(96, 121, Rgb([9; 3]));
    small
        .save(folder.path().join("small.png"))
        .expect("written");
    fs::write(folder.path().join("notes.png"), "Pump, take 2").expect("written");
    let job = fs::read(Path::new(DEMO).join("pump.json")).expect("readable");
    let mut job: Value = serde_json::from_slice(&job).expect("JSON");
    let views = job["views"].as_array_mut().expect("a list");
    views.retain(|view| view["name"] == "front");
    views[0]["render"]["shape"] = shape;
    fs::write(folder.path().join("job.json"), job.to_string()).expect("written");
    folder
}

fn run(folder: &Path, arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_tickstrip"))
        .args(arguments)
        .current_dir(folder)
        .output()
        .expect("the program starts")
}

/// All that it says, on one line.
fn told_by(output: Output) -> String {
    let all = [output.stdout, output.stderr].concat();
    let all = String::from_utf8_lossy(&all);
    all.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn a_picture_that_cannot_be_used_is_refused_with_what_to_do() {
    for (shape, words) in [
        (
            "small.png",
            "small.png: has 96 x 121 pixels, the render 960 x 1215; write both from the same camera in the same size",
        ),
        ("notes.png", "notes.png: holds "),
        (
            "nowhere.png",
            "nowhere.png, which \"render/shape\" of the view \"front\" names; put it there, or mend the name",
        ),
    ] {
        let folder = folder(json!(shape));
        let output = run(folder.path(), &["compare", "job.json"]);
        assert_eq!(output.status.code(), Some(3), "{output:?}");
        let told = told_by(output);
        assert!(told.contains(words), "{words}: {told}");
        let told = told_by(run(folder.path(), &["check", "job.json"]));
        assert!(told.contains("/views/0/render/shape: "), "{told}");
    }
}

#[test]
fn a_view_is_compared_again_once_its_further_picture_has_changed() {
    let folder = folder(json!("shape.png"));
    let shape = folder.path().join("shape.png");
    fs::copy(folder.path().join("front-render.png"), &shape).expect("copied");
    let compare = || {
        let arguments = ["compare", "job.json", "--pictures", "none"];
        told_by(run(folder.path(), &arguments))
    };
    let first = compare();
    let warned = "shape-unlike-render";
    let report = folder.path().join("job-results/report.json");
    let text = || fs::read_to_string(&report).expect("a report");
    assert!(!text().contains(warned), "{first}");
    let (width, height) = image::image_dimensions(&shape).expect("an image");
    let blank = RgbImage::from_pixel(width, height, Rgb([128; 3]));
    blank.save(&shape).expect("written");
    let second = compare();
    assert!(text().contains(warned), "{second}");
}

#[test]
fn a_job_keeps_the_further_picture_of_its_render_and_a_drawn_one_has_none() {
    let folder = folder(json!("shape.png"));
    let job = job::read(&folder.path().join("job.json")).expect("sound");
    let shape = job.views[0].render.shape.as_deref().expect("stated");
    assert!(shape.is_absolute() && shape.ends_with("shape.png"));
    let named = job::named_files(&job);
    let is_shape = |(pointer, path): &(String, &Path)| {
        pointer == "/views/0/render/shape" && path.ends_with("shape.png")
    };
    assert!(named.iter().any(is_shape), "{named:?}");
    let text = fs::read_to_string(folder.path().join("job.json")).expect("readable");
    let mut drawn: Value = serde_json::from_str(&text).expect("JSON");
    drawn["views"][0]["render"] = json!({ "drawn": true, "shape": "shape.png" });
    let error = job::parse(drawn.to_string().as_bytes(), Path::new("job.json"));
    let error = error.expect_err("a drawn render has no further picture");
    let at = |fault: &job::Fault| fault.pointer == "/views/0/render/shape";
    assert!(error.faults().iter().any(at), "{error}");
}
