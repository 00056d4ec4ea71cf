//! A lost issue of the model told back part by part: by its figures, and by how much both pictures look alike.
use assert_cmd::Command;
use image::{Rgb, RgbImage};
use serde_json::{Value, json};
use std::{fs, path::Path};

const DEMO: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/demo");

/// The demo's front view against a picture of itself, in which the draw bar and what is behind it have other colours; `change` gets the view.
fn report(change: impl Fn(&mut Value)) -> Value {
    let folder = tempfile::tempdir().expect("a folder");
    let drawn = image::open(Path::new(DEMO).join("front-render.png")).expect("read");
    let drawn = drawn.to_rgba8();
    let mut render = RgbImage::from_pixel(drawn.width(), drawn.height(), Rgb([255; 3]));
    let mut earlier = render.clone();
    for (x, y, pixel) in drawn.enumerate_pixels() {
        let [r, g, b, alpha] = pixel.0;
        let [r, g, b] = if alpha > 127 { [r, g, b] } else { [255; 3] };
        render.put_pixel(x, y, Rgb([r, g, b]));
        let is_recoloured = (330..630).contains(&x) && (880..1135).contains(&y);
        let invert = |v: u8| if is_recoloured { 255 - v } else { v };
        earlier.put_pixel(x, y, Rgb([r, g, b].map(invert)));
    }
    render
        .save(folder.path().join("render.png"))
        .expect("written");
    earlier
        .save(folder.path().join("earlier.png"))
        .expect("written");
    let job = fs::read(Path::new(DEMO).join("pump.json")).expect("readable");
    let mut job: Value = serde_json::from_slice(&job).expect("JSON");
    let mut view = job["views"][1].take();
    view["render"] = json!({"image": "render.png", "mark_sigma_px": 0.3});
    view["reference"] = json!({"image": "earlier.png", "kind": "screenshot", "mark_sigma_px": 0.3});
    for mark in view["landmarks"].as_array_mut().expect("a list") {
        mark["reference"] = mark["render"].clone();
    }
    change(&mut view);
    job["views"] = json!([view]);
    fs::write(folder.path().join("job.json"), job.to_string()).expect("written");
    let output = Command::new(env!("CARGO_BIN_EXE_tickstrip"))
        .args(["compare", "job.json", "--json", "--quiet"])
        .current_dir(folder.path())
        .output()
        .expect("runs");
    let error = String::from_utf8_lossy(&output.stderr);
    let report: Value =
        serde_json::from_slice(&output.stdout).unwrap_or_else(|_| panic!("{error}"));
    report["views"][0].clone()
}

fn part<'v>(view: &'v Value, name: &str) -> &'v Value {
    let parts = view["earlier_issue"]["parts"].as_array().expect("parts");
    parts.iter().find(|p| p["name"] == name).expect("there")
}

#[test]
fn parts_are_back_or_not_and_one_that_looks_other_is_told_apart() {
    let view = report(|view| {
        for mark in view["landmarks"].as_array_mut().expect("a list") {
            let name = mark["name"].as_str().expect("a name");
            if name.starts_with("box ") || name.starts_with("lid ") {
                let y = mark["reference"][1].as_f64().expect("a number");
                mark["reference"][1] = json!(y - 12.0);
            }
        }
    });
    for name in ["left lantern", "right lantern", "air vessel"] {
        assert_eq!(part(&view, name)["back"], "back", "{view}");
        assert!(
            part(&view, name)["likeness"].as_f64() > Some(0.95),
            "{name}"
        );
    }
    assert_eq!(part(&view, "tool box")["back"], "not_back");
    let bar = part(&view, "draw bar");
    assert_eq!(bar["back"], "looks_other", "{bar}");
    assert!(bar["likeness"].as_f64() < Some(0.5), "{bar}");
    assert!(
        view["files"]["likeness"]
            .as_str()
            .is_some_and(|f| f.ends_with("likeness.png"))
    );
}

#[test]
fn a_photo_is_not_said_to_look_like_a_render() {
    let view = report(|view| view["reference"]["kind"] = json!("photo"));
    assert_eq!(view["earlier_issue"], Value::Null);
    assert_eq!(view["files"]["likeness"], Value::Null);
}
