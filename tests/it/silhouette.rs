//! Silhouettes and symmetry through the whole program, on plates drawn here.
use assert_cmd::Command;
use image::{Rgb, RgbImage, Rgba, RgbaImage};
use serde_json::{Value, json};
use std::{fs, path::Path};
use tempfile::TempDir;

/// Where the subject's plate lies in the reference, and the model's in the render: 6 px wider on the right side.
const SUBJECT: [u32; 4] = [100, 80, 400, 320];
const MODEL: [u32; 4] = [100, 80, 406, 320];

fn is_in([left, top, right, bottom]: [u32; 4], x: u32, y: u32) -> bool {
    (left..right).contains(&x) && (top..bottom).contains(&y)
}

/// Marks of the reference, named; the last is on the axis.
const MARKS: [(&str, [f64; 2]); 5] = [
    ("upper left", [130.0, 110.0]),
    ("upper right", [370.0, 110.0]),
    ("lower left", [160.0, 290.0]),
    ("lower right", [340.0, 290.0]),
    ("middle", [250.0, 200.0]),
];

/// A job with both images in a folder; `move_upper_right` is added to that mark in both.
fn folder(move_upper_right: f64) -> TempDir {
    let mut marks = MARKS;
    marks[1].1[1] += move_upper_right;
    folder_with(&marks)
}

/// A job with both images and the same marks in both.
fn folder_with(marks: &[(&str, [f64; 2])]) -> TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    let render = RgbaImage::from_fn(500, 400, |x, y| {
        if is_in(MODEL, x, y) {
            Rgba([150, 150, 150, 255])
        } else {
            Rgba([0, 0, 0, 0])
        }
    });
    render
        .save(folder.path().join("render.png"))
        .expect("written");
    let reference = RgbImage::from_fn(500, 400, |x, y| {
        Rgb([if is_in(SUBJECT, x, y) { 90 } else { 220 }; 3])
    });
    let path = folder.path().join("reference.png");
    reference.save(path).expect("written");
    let landmarks: Vec<Value> = marks
        .iter()
        .map(|(name, at)| json!({ "name": name, "render": at, "reference": at }))
        .collect();
    let [left, top, right, bottom] = SUBJECT;
    let job = json!({
        "title": "plates", "scale": "1:32",
        "views": [{
            "name": "front",
            "render": { "image": "render.png", "mark_sigma_px": 0.5 },
            "reference": { "image": "reference.png", "kind": "plan", "mark_sigma_px": 0.5,
                "outline": [[left, top], [right, top], [right, bottom], [left, bottom]] },
            "landmarks": landmarks,
            "known": [{ "in": "render", "from": [100, 80], "to": [100, 320], "model": "24 mm" }],
            "symmetry": { "pairs": [["upper left", "upper right"], ["lower left", "lower right"]], "axis": ["middle"] }
        }]
    });
    fs::write(folder.path().join("plates.json"), job.to_string()).expect("written");
    folder
}

fn compare(folder: &Path) -> (Value, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_tickstrip"))
        .args(["compare", "plates.json"])
        .current_dir(folder)
        .output()
        .expect("the program starts");
    let report = fs::read(folder.join("plates-results/report.json")).expect("a report");
    let report: Value = serde_json::from_slice(&report).expect("JSON");
    let terminal = String::from_utf8(output.stdout).expect("UTF-8");
    let words: Vec<&str> = terminal.split_whitespace().collect();
    (report["views"][0].clone(), words.join(" "))
}

#[test]
fn a_model_that_is_too_wide_lies_beyond_the_outline() {
    let folder = folder(0.0);
    let (view, terminal) = compare(folder.path());
    let silhouette = &view["silhouette"];
    let number = |key: &str| silhouette[key].as_f64().expect("a number");
    // 300 of 306 columns are shared. The marks are the same in both images: the map is the identity to rounding.
    assert!(
        (number("overlap") - 300.0 / 306.0).abs() < 1e-6,
        "{silhouette}"
    );
    // The right side, 240 of 1076 pixels, lies 6 px within the model; near its ends the top and bottom are nearer.
    assert!((number("max_px") - 6.0).abs() < 1e-6, "{silhouette}");
    assert!((number("p95_px") - 6.0).abs() < 1e-6, "{silhouette}");
    let mean = number("mean_px");
    assert!(
        mean > 0.9 * 6.0 * 240.0 / 1076.0 && mean < 6.0 * 240.0 / 1076.0,
        "{mean}"
    );
    // 10 px a millimetre.
    assert!((number("max_model_mm") - 0.6).abs() < 1e-6, "{silhouette}");
    assert_eq!(view["files"]["silhouette"], json!("front/silhouette.png"));
    assert!(
        folder
            .path()
            .join("plates-results/front/silhouette.png")
            .is_file()
    );
    assert!(
        terminal.contains("silhouettes: overlap 0.980; the model lies beyond the outline by 1."),
        "{terminal}"
    );
}

#[test]
fn a_symmetric_reference_is_said_to_be_and_a_skew_one_is_warned_of() {
    let even = folder(0.0);
    let (view, terminal) = compare(even.path());
    assert_eq!(view["symmetry"]["symmetric"], json!(true));
    assert!(
        terminal.contains("the reference is symmetric as far as its marks can tell"),
        "{terminal}"
    );
    let skew = folder(9.0);
    let (view, terminal) = compare(skew.path());
    assert_eq!(view["symmetry"]["symmetric"], json!(false));
    let warnings = view["warnings"].as_array().expect("a list");
    assert!(warnings.iter().any(|w| w["code"] == json!("not-symmetric")));
    assert!(
        terminal.contains("farthest off are \"upper left\" and \"upper right\""),
        "{terminal}"
    );
}

/// Axis, its deviation and the mean square of the residuals by scipy 1.17.1 from the same marks:
/// ```python
/// pairs = np.array([[[130.4, 109.2], [370.9, 110.6]], [[159.3, 290.5], [340.2, 289.6]]])
/// axis, s = np.array([250.6, 200.0]), 0.5
/// def left(p):
///     along, across = np.array([np.cos(p[0]), np.sin(p[0])]), np.array([-np.sin(p[0]), np.cos(p[0])])
///     d = pairs[:, 1] - pairs[:, 0]
///     return np.r_[(pairs.mean(1) @ across - p[1]) / (s / 2**.5), (d @ along) / (s * 2**.5), (axis @ across - p[1]) / s]
/// r = scipy.optimize.least_squares(left, [np.pi / 2, -250.0], x_scale=[1e-2, 1])
/// np.degrees(r.x[0]), np.degrees(np.sqrt(np.linalg.inv(r.jac.T @ r.jac)[0, 0])), (r.fun**2).sum() / 3
/// ```
#[test]
fn the_axis_is_that_of_an_independent_least_squares_fit() {
    let mut marks = MARKS;
    for (mark, at) in marks.iter_mut().zip([
        [130.4, 109.2],
        [370.9, 110.6],
        [159.3, 290.5],
        [340.2, 289.6],
        [250.6, 200.0],
    ]) {
        mark.1 = at;
    }
    let folder = folder_with(&marks);
    let (view, _) = compare(folder.path());
    let symmetry = &view["symmetry"];
    let number = |v: &Value| v.as_f64().expect("a number");
    // What the stopping rule there leaves.
    let near = |v: f64, expected: f64| (v - expected).abs() < 1e-4;
    let axis = &symmetry["axis_deg"];
    assert!(near(number(&axis["value"]), 90.183_581_7), "{symmetry}");
    let half = (number(&axis["high"]) - number(&axis["low"])) / 2.0;
    assert!(near(half / 1.959_964, 0.102_749_0), "{half}");
    let statistic = number(&symmetry["test"]["statistic"]);
    assert!(near(statistic, 2.033_259_4), "{statistic}");
    assert_eq!(symmetry["degrees_of_freedom"], json!(3));
}
