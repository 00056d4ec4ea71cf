//! Orientation of photographs.
//!
//! Source: recurser/exif-orientation-examples (MIT, Dave Perrett, 2010), reduced; expected sizes and differences computed
//! with Pillow's `exif_transpose` (`reference/exif-orientation/README.md`).
use super::reference;
use std::path::Path;
use tickstrip::images::{self, Limits};

fn rgb(path: &Path) -> image::RgbImage {
    images::read(path, &Limits::default())
        .expect("a good photograph")
        .rgb
}

fn mean_difference(a: &image::RgbImage, b: &image::RgbImage) -> f64 {
    let pairs = a.as_raw().iter().zip(b.as_raw());
    let sum: u64 = pairs.map(|(a, b)| u64::from(a.abs_diff(*b))).sum();
    sum as f64 / a.as_raw().len() as f64
}

#[test]
fn photographs_of_every_orientation_come_out_upright() {
    let name = "photographs_of_every_orientation_come_out_upright";
    let Some(folder) = reference::folder(name, "exif-orientation") else {
        return;
    };
    let text = std::fs::read_to_string(folder.join("expected.json")).expect("the expected values");
    let expected: serde_json::Value = serde_json::from_str(&text).expect("JSON");
    let files = expected.as_object().expect("an object by file name");
    assert_eq!(files.len(), 18, "tags 0 to 8, landscape and portrait");
    for (file, values) in files {
        let path = folder.join(file);
        let size = |i: usize| values["upright_size"][i].as_u64().expect("a size") as u32;
        let (series, _) = file.split_once('_').expect("series and tag");
        let upright = rgb(&folder.join(format!("{series}_1.jpg")));
        let picture = rgb(&path);
        assert_eq!(picture.dimensions(), (size(0), size(1)), "{file}");
        assert_eq!(images::dimensions(&path).expect("good"), (size(0), size(1)));
        let found = mean_difference(&picture, &upright);
        let theirs = values["mean_abs_diff_to_upright_1"]
            .as_f64()
            .expect("a number");
        // The JPEG decoders differ by 0.1 to 0.2 grey levels on average; a wrong turn costs tens.
        assert!(
            (found - theirs).abs() < 0.3,
            "{file}: {found} against {theirs}"
        );
    }
}
