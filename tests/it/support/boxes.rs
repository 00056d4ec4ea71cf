//! A job of three boxes that is compared in a moment: render and reference are alike but for one box that is wider.
use serde_json::{Value, json};
use std::{fs, path::Path};

/// The drawing; the second box is so much wider.
pub fn picture(extra: u32) -> Vec<u8> {
    let inside = |x: u32, y: u32, [l, t, r, b]: [u32; 4]| x >= l && x < r && y >= t && y < b;
    let boxes = [
        [20, 20, 80, 60],
        [100, 30, 150 + extra, 90],
        [30, 90, 90, 130],
    ];
    let image = image::RgbImage::from_fn(180, 150, |x, y| {
        image::Rgb(
            [if boxes.iter().any(|b| inside(x, y, *b)) {
                60
            } else {
                210
            }; 3],
        )
    });
    let mut bytes = std::io::Cursor::new(Vec::new());
    image
        .write_to(&mut bytes, image::ImageFormat::Png)
        .expect("encoded");
    bytes.into_inner()
}

/// The job, for a box that is 6 pixels wider.
pub fn job() -> Value {
    let mark = |name: &str, usage: &str, render: [f64; 2], reference: [f64; 2]| json!({ "name": name, "use": usage, "render": render, "reference": reference });
    json!({
        "title": "Three boxes", "scale": "1:32",
        "views": [{
            "name": "front", "render": { "image": "render.png" }, "reference": { "image": "plan.png", "kind": "plan" },
            "landmarks": [
                mark("a", "datum", [20.0, 20.0], [20.0, 20.0]), mark("b", "datum", [80.0, 20.0], [80.0, 20.0]),
                mark("c", "datum", [30.0, 130.0], [30.0, 130.0]), mark("d", "datum", [90.0, 130.0], [90.0, 130.0]),
                mark("e", "check", [100.0, 30.0], [100.0, 30.0]), mark("f", "check", [156.0, 30.0], [150.0, 30.0]),
                mark("g", "check", [156.0, 90.0], [150.0, 90.0])
            ],
            "regions": [{ "name": "box", "outline": [[95, 25], [160, 25], [160, 95], [95, 95]], "landmarks": ["e", "f", "g"] }]
        }]
    })
}

/// Writes the job and its images.
pub fn write_job(folder: &Path, job: &Value) {
    fs::create_dir_all(folder).expect("made");
    fs::write(folder.join("job.json"), job.to_string()).expect("written");
    fs::write(folder.join("render.png"), picture(6)).expect("written");
    fs::write(folder.join("plan.png"), picture(0)).expect("written");
}
