//! Meshes and marks that no render can be drawn from: exact marks by a camera of known place, and the words of each refusal.
use crate::support::run::run;
use serde_json::{Value, json};
use std::{fmt::Write as _, fs};

const SIZE: [f64; 2] = [1200.0, 800.0];

/// A camera that looks at a place from so far, its focal length such that a millimetre there has 12.5 pixels.
struct Camera {
    eye: [f64; 3],
    /// Right, down, away.
    axes: [[f64; 3]; 3],
    focal: f64,
}

fn dot(a: [f64; 3], b: [f64; 3]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

fn cross(a: [f64; 3], b: [f64; 3]) -> [f64; 3] {
    std::array::from_fn(|k| a[(k + 1) % 3] * b[(k + 2) % 3] - a[(k + 2) % 3] * b[(k + 1) % 3])
}

fn unit(a: [f64; 3]) -> [f64; 3] {
    a.map(|v| v / dot(a, a).sqrt())
}

impl Camera {
    fn new(towards: [f64; 3], distance: f64) -> Self {
        let out = unit(towards);
        let target = [1.0, 1.0, 13.0];
        let away = out.map(|v| -v);
        let right = unit(cross(away, [0.0, 0.0, 1.0]));
        Self {
            eye: std::array::from_fn(|k| target[k] + distance * out[k]),
            axes: [right, cross(away, right), away],
            focal: 12.5 * distance,
        }
    }

    fn see(&self, place: [f64; 3]) -> [f64; 2] {
        let from: [f64; 3] = std::array::from_fn(|k| place[k] - self.eye[k]);
        let [x, y, z] = self.axes.map(|axis| dot(axis, from));
        [0, 1].map(|k| SIZE[k] / 2.0 + self.focal * [x, y][k] / z)
    }
}

fn near() -> Camera {
    Camera::new([117.0, -97.0, 37.0], 157.0)
}

/// A box as an object of its own.
fn add_box(obj: &mut String, name: &str, low: [f64; 3], high: [f64; 3]) {
    writeln!(obj, "o {name}").expect("written");
    for k in 0..8 {
        let of = |axis: usize| {
            if k >> axis & 1 == 0 {
                low[axis]
            } else {
                high[axis]
            }
        };
        writeln!(obj, "v {} {} {}", of(0), of(1), of(2)).expect("written");
    }
    for face in [
        "-8 -6 -5 -7",
        "-4 -3 -1 -2",
        "-8 -7 -3 -4",
        "-6 -2 -1 -5",
        "-8 -4 -2 -6",
        "-7 -5 -1 -3",
    ] {
        writeln!(obj, "f {face}").expect("written");
    }
}

const PLATE: [[f64; 3]; 2] = [[-30.0, -12.0, 0.0], [30.0, 12.0, 17.0]];

fn plate() -> String {
    let mut obj = String::new();
    add_box(&mut obj, "plate", PLATE[0], PLATE[1]);
    obj
}

/// The corners of the plate and a mast on it.
fn places() -> Vec<[f64; 3]> {
    let corner = |k: usize| std::array::from_fn(|axis| PLATE[k >> axis & 1][axis]);
    let mut places: Vec<[f64; 3]> = (0..8).map(corner).collect();
    places.extend([[-3.0, 4.0, 33.0], [5.0, -4.0, 30.0]]);
    places
}

fn mark(camera: &Camera, name: &str, usage: &str, place: [f64; 3]) -> Value {
    json!({ "name": name, "use": usage, "reference": camera.see(place), "model_mm": place })
}

fn job(camera: &Camera, sigma: f64) -> Value {
    let places = places().into_iter().enumerate();
    let marks = places.map(|(k, place)| mark(camera, &format!("corner {k}"), "datum", place));
    json!({
        "title": "Plate", "scale": "1:24", "model": { "files": ["model.obj"], "unit": "mm" },
        "views": [{
            "name": "hall", "render": { "drawn": true },
            "reference": { "image": "photo.png", "mark_sigma_px": sigma },
            "landmarks": marks.collect::<Vec<_>>(),
        }]
    })
}

/// `check` and `compare` refuse the job with these words.
#[track_caller]
fn refused(job: &Value, mesh: &str, expected: &str) {
    let folder = tempfile::tempdir().expect("a folder");
    fs::write(folder.path().join("model.obj"), mesh).expect("written");
    fs::write(folder.path().join("job.json"), job.to_string()).expect("written");
    let photo = image::RgbImage::from_pixel(SIZE[0] as u32, SIZE[1] as u32, image::Rgb([90; 3]));
    photo
        .save(folder.path().join("photo.png"))
        .expect("written");
    let check = run(folder.path(), &["check", "job.json"]);
    assert_eq!(check.status, 2, "{} {}", check.out, check.err);
    let flat = check.err.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(flat.contains(expected), "{flat}");
    let compare = run(folder.path(), &["compare", "job.json", "--out", "results"]);
    assert_eq!(compare.status, 3, "{} {}", compare.out, compare.err);
    let report = fs::read_to_string(folder.path().join("results/report.json")).expect("there");
    let report: Value = serde_json::from_str(&report).expect("JSON");
    let error = report["views"][0]["error"]["text"]
        .as_str()
        .expect("an error");
    assert!(error.contains(expected), "{error}");
}

fn add(job: &mut Value, mark: Value) {
    job["views"][0]["landmarks"]
        .as_array_mut()
        .expect("marks")
        .push(mark);
}

/// Marks on one plane, seen from so far that no perspective is left; a little noise, or all would lie in one solution.
fn flat(with_mast: bool) -> Value {
    let camera = Camera::new([60.0, -60.0, 70.0], 6000.0);
    let mut job = job(&camera, 1.5);
    let off = [
        [0.9, -0.4],
        [-0.7, 0.8],
        [0.3, 1.1],
        [-1.2, -0.2],
        [0.5, 0.6],
        [0.4, -1.0],
    ];
    let plane = [
        [-30.0, -12.0],
        [30.0, -12.0],
        [-30.0, 12.0],
        [30.0, 12.0],
        [4.0, -6.0],
        [-11.0, 5.0],
    ];
    let marks = plane.iter().zip(off).enumerate().map(|(k, (&[x, y], off))| {
        let place = [x, y, 17.0];
        let [u, v] = camera.see(place);
        let mark = [u + off[0], v + off[1]];
        json!({ "name": format!("corner {k}"), "use": "datum", "reference": mark, "model_mm": place })
    });
    job["views"][0]["landmarks"] = marks.collect();
    if with_mast {
        add(&mut job, mark(&camera, "mast", "check", [-3.0, 4.0, 33.0]));
    }
    job
}

#[test]
fn two_attitudes_ask_for_a_mark_off_the_plane() {
    refused(
        &flat(false),
        &plate(),
        "two attitudes of the camera fit the datum landmarks, so the model cannot be drawn as it was seen; mark a datum landmark off the plane of the others",
    );
    refused(
        &flat(true),
        &plate(),
        "the mark \"mast\" tells them apart: make it a datum landmark",
    );
}

#[test]
fn a_place_behind_the_camera_is_named() {
    let camera = near();
    let mut mesh = plate();
    add_box(
        &mut mesh,
        "crane",
        [130.0, -130.0, 40.0],
        [150.0, -110.0, 60.0],
    );
    let mut job = job(&camera, 0.001);
    add(
        &mut job,
        json!({ "name": "crane tip", "use": "check", "reference": [600, 400], "model_mm": [140.0, -120.0, 50.0] }),
    );
    refused(
        &job,
        &mesh,
        "does not show the place of \"crane tip\" (model_mm): it lies behind it; see whether a coordinate has a wrong sign",
    );
}

#[test]
fn a_mesh_beside_the_picture_is_told() {
    let mut mesh = String::new();
    for side in [-1.0, 1.0] {
        let middle = [1.0 + side * 48.0, 1.0 + side * 58.0, 13.0];
        add_box(
            &mut mesh,
            "end",
            middle.map(|v| v - 0.5),
            middle.map(|v| v + 0.5),
        );
    }
    refused(
        &job(&near(), 0.001),
        &mesh,
        "nothing of the model is in the picture that the camera took; see whether the mesh has the axes and the unit of \"model_mm\"",
    );
}

#[test]
fn more_parts_than_a_view_has_regions_are_to_be_joined() {
    let mut mesh = plate();
    for k in 0..1100 {
        let (column, row) = (k % 44, k / 44);
        let at = [
            -29.0 + 1.3 * f64::from(column),
            -13.0,
            1.0 + 1.3 * f64::from(row),
        ];
        writeln!(mesh, "o tile {k}").expect("written");
        for (x, z) in [(0.0, 0.0), (1.2, 0.0), (1.2, 1.2), (0.0, 1.2)] {
            writeln!(mesh, "v {} {} {}", at[0] + x, at[1], at[2] + z).expect("written");
        }
        writeln!(mesh, "f -4 -3 -2 -1").expect("written");
    }
    refused(
        &job(&near(), 0.5),
        &mesh,
        " parts of the mesh are seen, and a view has at most 1000 regions; join parts that are judged together, or state \"regions\"",
    );
}

#[test]
fn other_axes_an_unknown_datum_part_and_no_mesh_are_told() {
    let mut mast = String::new();
    add_box(&mut mast, "mast", [-5.0, -5.0, 0.0], [5.0, 5.0, 70.0]);
    let mut upright = job(&near(), 0.5);
    for mark in upright["views"][0]["landmarks"]
        .as_array_mut()
        .expect("marks")
    {
        let place = mark["model_mm"].as_array_mut().expect("a place");
        // As if y were up.
        place.swap(0, 1);
    }
    refused(
        &upright,
        &mast,
        "see whether the mesh has the axes of \"model_mm\" (CAD has z up, glTF y), and its zero",
    );
    let mut datum = job(&near(), 0.5);
    datum["model"]["datum"] = json!(["plate", "boiler"]);
    refused(
        &datum,
        &plate(),
        "the \"datum\" of \"model\" names the part \"boiler\", and the mesh has \"plate\"",
    );
    refused(
        &job(&near(), 0.5),
        "%PDF-1.7\n",
        "model.obj: the OBJ file has no facet with an area; export the model as a mesh of triangles",
    );
}

/// What `camera` says of the job, on one line; none of its files but the photo is read.
fn camera_says(job: &Value) -> String {
    let folder = tempfile::tempdir().expect("a folder");
    fs::write(folder.path().join("job.json"), job.to_string()).expect("written");
    let photo = image::RgbImage::from_pixel(SIZE[0] as u32, SIZE[1] as u32, image::Rgb([90; 3]));
    photo
        .save(folder.path().join("photo.png"))
        .expect("written");
    let run = run(folder.path(), &["camera", "job.json"]);
    run.out.split_whitespace().collect::<Vec<_>>().join(" ") + &run.err
}

/// Datum marks at these places, seen from near by.
fn marked(places: &[[f64; 3]]) -> Value {
    let camera = near();
    let mut job = job(&camera, 0.5);
    let marks = places.iter().enumerate();
    let marks = marks.map(|(k, place)| mark(&camera, &format!("corner {k}"), "datum", *place));
    job["views"][0]["landmarks"] = marks.collect();
    job
}

#[test]
fn places_that_give_no_camera_are_told_with_what_to_mark() {
    let line: Vec<[f64; 3]> = (0..7)
        .map(|k| [f64::from(k) * 4.0 - 12.0, 3.0, 5.0])
        .collect();
    let words = camera_says(&marked(&line));
    assert!(
        words.contains("lie on one line; mark others, far apart in all three directions"),
        "{words}"
    );
    let point = vec![[1.0, 2.0, 3.0]; 6];
    let words = camera_says(&marked(&point));
    assert!(words.contains("lie on one point; mark others"), "{words}");
    let plane = [
        [-30.0, -12.0],
        [30.0, -12.0],
        [-30.0, 12.0],
        [30.0, 12.0],
        [4.0, -6.0],
        [-11.0, 5.0],
    ];
    let plane: Vec<[f64; 3]> = plane.iter().map(|[x, y]| [*x, *y, 17.0]).collect();
    let mut outside = marked(&plane);
    outside["views"][0]["reference"]["interior"] = json!({ "screen_corners": "outside" });
    let words = camera_says(&outside);
    assert!(
        words.contains("lie in one plane, and the screen's corners are not in the photo; mark some nearer and farther, or the corners"),
        "{words}"
    );
    // Marks round a circle, which no view of these places is.
    let mut places = places();
    places.extend(
        places
            .clone()
            .into_iter()
            .map(|[x, y, z]| [x / 2.0, y / 2.0 - 3.0, z / 2.0]),
    );
    let mut mixed = marked(&places);
    let marks = mixed["views"][0]["landmarks"]
        .as_array_mut()
        .expect("marks");
    for (k, mark) in marks.iter_mut().enumerate() {
        let (sin, cos) = (2.4 * k as f64).sin_cos();
        mark["reference"] = json!([600.0 + 300.0 * cos, 400.0 + 250.0 * sin]);
    }
    let words = camera_says(&mixed);
    assert!(
        words.contains("datum landmarks contradict the others")
            || words.contains("no camera shows the places"),
        "{words}"
    );
    assert!(words.contains("model_mm"), "{words}");
}

#[test]
fn what_the_marks_do_not_tell_of_a_camera_is_said_and_is_no_large_number() {
    let words = camera_says(&flat(true));
    assert!(words.contains("two attitudes fit"), "{words}");
    // From very far away no perspective is seen: there is a lower end alone.
    let far = Camera::new([117.0, -97.0, 37.0], 60_000.0);
    let words = camera_says(&job(&far, 0.5));
    assert!(words.contains("focal length at least "), "{words}");
    assert!(words.contains("distance at least "), "{words}");
}
