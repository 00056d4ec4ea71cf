//! The reference laid over the render, as the marking page asks for it: the marks fall where the registration says.
use crate::support::marking::Marking;
use image::RgbImage;
use serde_json::{Value, json};
use std::{
    fs,
    path::{Path, PathBuf},
};
use tempfile::TempDir;

/// A render that is light at the left and dark at the right of x = 600, a reference half as large that has this at x = 300 and is
/// shifted by 20 px down, and a job with three marks.
fn folder(marks: usize) -> (TempDir, PathBuf) {
    let folder = tempfile::tempdir().expect("a folder");
    let picture = |size: (u32, u32), edge: u32| {
        RgbImage::from_fn(size.0, size.1, |x, _| {
            image::Rgb([if x < edge { 220 } else { 40 }; 3])
        })
    };
    let path = |name: &str| folder.path().join(name);
    picture((1200, 800), 600)
        .save(path("render.png"))
        .expect("written");
    picture((600, 400), 300)
        .save(path("reference.png"))
        .expect("written");
    let places = [[100.0, 100.0], [1100.0, 120.0], [600.0, 700.0]];
    let landmarks: Vec<Value> = places[..marks]
        .iter()
        .enumerate()
        .map(|(i, [x, y])| json!({"name": format!("m{i}"), "render": [x, y], "reference": [x / 2.0, y / 2.0 + 20.0]}))
        .collect();
    let job = json!({"title": "t", "scale": "1:24", "views": [{"name": "side", "render": {"image": "render.png"},
        "reference": {"image": "reference.png"}, "landmarks": landmarks}]});
    let file = path("job.json");
    fs::write(&file, job.to_string()).expect("written");
    (folder, file)
}

fn tile(page: &Marking, about: &Value, level: usize) -> RgbImage {
    let stamp = about["stamp"].as_str().expect("a stamp");
    let bytes = page.bytes(&format!("/api/laid/{stamp}/{level}/0/0"));
    assert!(bytes.starts_with(b"\xff\xd8"), "a JPEG");
    image::load_from_memory(&bytes).expect("decodes").to_rgb8()
}

#[test]
fn the_reference_is_laid_where_the_marks_say_and_grey_beside() {
    let (_folder, job) = folder(3);
    let page = Marking::start(&job);
    let about = page.get("/api/laid/0");
    assert_eq!(about["size"], json!([1200, 800]));
    // The render is the finer one: nothing is gained by more pixels than it has.
    assert_eq!(
        about["levels"],
        json!([[1200, 800], [600, 400], [300, 200]])
    );
    let coarse = tile(&page, &about, 2);
    assert_eq!(coarse.dimensions(), (300, 200));
    // The edge at x = 600 of the render, a quarter as wide here.
    for y in [10, 100, 180] {
        assert!(
            coarse.get_pixel(145, y)[0] > 200 && coarse.get_pixel(155, y)[0] < 60,
            "row {y}"
        );
    }
    let fine = tile(&page, &about, 0);
    assert_eq!(fine.dimensions(), (512, 512));
    assert!(fine.get_pixel(5, 5)[0] > 200);
    // The reference ends at y = 400 of its own, where the render is at 760.
    let stamp = about["stamp"].as_str().expect("a stamp");
    let bytes = page.bytes(&format!("/api/laid/{stamp}/0/0/1"));
    let lower = image::load_from_memory(&bytes).expect("decodes").to_rgb8();
    assert_eq!(lower.dimensions(), (512, 288));
    let ground = lower.get_pixel(5, 280)[0];
    assert!((200..=216).contains(&ground), "{ground}");
    assert!(lower.get_pixel(5, 200)[0] > 214);
}

#[test]
fn what_is_not_there_is_refused_and_a_change_lays_anew() {
    let (_folder, job) = folder(1);
    let page = Marking::start(&job);
    let (status, said) = page.refused("/api/laid/0");
    assert_eq!(status, 422, "{said}");
    assert!(
        said["error"]["text"]
            .as_str()
            .expect("words")
            .contains("landmark")
    );
    assert_eq!(page.refused("/api/laid/7").0, 422);
    for path in ["/api/laid/0000000000000000/0/0/0", "/api/outline/x"] {
        assert!(page.refused(path).0 >= 400, "{path}");
    }
    let state = page.get("/api/state");
    let further = json!({"op": "set", "at": "/job/views/0/landmarks/-",
        "value": {"name": "m1", "render": [1100.0, 120.0], "reference": [550.0, 80.0]}});
    let state = page.change(&state, "Mark", &further);
    let first = page.get("/api/laid/0")["stamp"].clone();
    assert_eq!(page.get("/api/laid/0")["stamp"], first);
    assert_ne!(state["fit"]["views"][0]["map"], Value::Null);
    let moved =
        json!({"op": "set", "at": "/job/views/0/landmarks/1/reference", "value": [552.0, 80.0]});
    page.change(&state, "Move", &moved);
    assert_ne!(page.get("/api/laid/0")["stamp"], first);
}

#[test]
fn the_renders_edges_are_lines_on_nothing_and_images_are_listed() {
    let (folder, job) = folder(3);
    let page = Marking::start(&job);
    let bytes = page.bytes("/api/outline/0");
    let lines = image::load_from_memory(&bytes).expect("decodes").to_rgba8();
    assert_eq!(lines.dimensions(), (1200, 800));
    assert_eq!(lines.get_pixel(300, 400)[3], 0);
    assert!((597..603).any(|x| lines.get_pixel(x, 400)[3] == 255));
    fs::write(folder.path().join("notes.txt"), "").expect("written");
    assert_eq!(
        page.get("/api/images"),
        json!({"images": ["reference.png", "render.png"]})
    );
}

/// Where a fault lies is told by names, as the page shows them.
#[test]
fn a_change_that_spoils_the_job_is_refused_by_names() {
    let (_folder, job) = folder(3);
    let page = Marking::start(&job);
    let state = page.get("/api/state");
    let edit = json!({"op": "set", "at": "/job/views/0/landmarks/1/use", "value": "sometimes"});
    let asked = json!({"base": state["revision"], "label": "Use", "edits": [edit]});
    let (status, said) = page.post("/api/change", &asked);
    assert_eq!(status, 422);
    let text = said["error"]["text"].as_str().expect("words");
    assert!(
        text.starts_with("view \"side\", landmark \"m1\", use: "),
        "{text}"
    );
    assert!(Path::new(&job).exists());
}
