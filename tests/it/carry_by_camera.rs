//! `carry` where landmarks have places on the model: a drawn scene of three boxes before two cameras, one of them moved between both
//! pictures, with some marks painted over in the new one.
use crate::support::run::{Run, run};
use image::{Rgb, RgbImage};
use serde_json::{Value, json};
use std::{fs, path::Path};
use tempfile::TempDir;

const SIZE: (u32, u32) = (720, 540);
const FOCAL: f64 = 700.0;
/// Side of a cell of the pattern, millimetres.
const CELL: f64 = 4.0;
/// What is painted over reaches so far from a mark, pixels.
const PAINTED: f64 = 26.0;

type Triple = [f64; 3];

/// A part: a box with a pattern of cells, counted from its lowest corner.
#[derive(Clone, Copy)]
struct Part {
    name: &'static str,
    low: Triple,
    high: Triple,
}

const PARTS: [Part; 3] = [
    Part {
        name: "tank",
        low: [-24.0, -10.0, 0.0],
        high: [24.0, 10.0, 14.0],
    },
    Part {
        name: "lantern",
        low: [8.0, -5.0, 14.0],
        high: [18.0, 5.0, 27.0],
    },
    Part {
        name: "tool box",
        low: [-20.0, -6.0, 14.0],
        high: [-6.0, 6.0, 24.0],
    },
];

impl Part {
    fn moved(self, by: Triple) -> Self {
        let add = |p: Triple| std::array::from_fn(|a| p[a] + by[a]);
        Self {
            low: add(self.low),
            high: add(self.high),
            ..self
        }
    }

    /// How far along a ray it is met from outside, and across which axis.
    fn meets(&self, from: Triple, along: Triple) -> Option<(f64, usize)> {
        let (mut near, mut far, mut axis) = (0.0, f64::MAX, 0);
        for a in 0..3 {
            let ends = [self.low[a], self.high[a]].map(|end| (end - from[a]) / along[a]);
            let [first, last] = [ends[0].min(ends[1]), ends[0].max(ends[1])];
            if first > near {
                (near, axis) = (first, a);
            }
            far = far.min(last);
        }
        (near > 0.0 && near < far).then_some((near, axis))
    }

    /// The grey of its surface at a place.
    fn grey(&self, place: Triple, axis: usize) -> f64 {
        let mut mixed = f64::from(self.name.len() as u32) * 5.3 + axis as f64 * 3.7;
        for a in (0..3).filter(|a| *a != axis) {
            mixed += ((place[a] - self.low[a]) / CELL).floor() * [12.99, 78.23, 37.71][a];
        }
        let mixed = mixed.sin() * 43_758.545;
        [1.0, 0.85, 0.7][axis] * (60.0 + 170.0 * (mixed - mixed.floor()))
    }
}

fn dot(a: Triple, b: Triple) -> f64 {
    (0..3).map(|k| a[k] * b[k]).sum()
}

/// A camera that looks at the model: where it stands and its axes.
struct Camera {
    at: Triple,
    right: Triple,
    down: Triple,
    forward: Triple,
}

impl Camera {
    fn new(azimuth: f64, distance: f64) -> Self {
        let (s, c) = azimuth.to_radians().sin_cos();
        let (se, ce) = 25_f64.to_radians().sin_cos();
        let forward = [-ce * c, -ce * s, -se];
        Self {
            at: [
                -distance * forward[0],
                -distance * forward[1],
                12.0 + distance * se,
            ],
            right: [-s, c, 0.0],
            down: [-se * c, -se * s, ce].map(|v| -v),
            forward,
        }
    }

    fn see(&self, place: Triple) -> [f64; 2] {
        let way: Triple = std::array::from_fn(|a| place[a] - self.at[a]);
        let times = FOCAL / dot(way, self.forward);
        let middle = [f64::from(SIZE.0) / 2.0, f64::from(SIZE.1) / 2.0];
        [
            middle[0] + times * dot(way, self.right),
            middle[1] + times * dot(way, self.down),
        ]
    }

    fn ray(&self, x: f64, y: f64) -> Triple {
        let [u, v] = [x - f64::from(SIZE.0) / 2.0, y - f64::from(SIZE.1) / 2.0];
        std::array::from_fn(|a| FOCAL * self.forward[a] + u * self.right[a] + v * self.down[a])
    }

    fn grey(&self, parts: &[Part], x: f64, y: f64) -> f64 {
        let ray = self.ray(x, y);
        let met = parts
            .iter()
            .filter_map(|part| Some((part.meets(self.at, ray)?, part)));
        match met.min_by(|a, b| a.0.0.total_cmp(&b.0.0)) {
            None => 235.0,
            Some(((t, axis), part)) => {
                part.grey(std::array::from_fn(|a| self.at[a] + t * ray[a]), axis)
            }
        }
    }

    fn shows(&self, parts: &[Part], place: Triple) -> bool {
        let way: Triple = std::array::from_fn(|a| place[a] - self.at[a]);
        let met = parts.iter().filter_map(|part| part.meets(self.at, way));
        met.map(|(t, _)| t).fold(f64::MAX, f64::min) > 1.0 - 1e-6
    }

    fn picture(&self, parts: &[Part], painted: &[[f64; 2]]) -> RgbImage {
        RgbImage::from_fn(SIZE.0, SIZE.1, |x, y| {
            let sub = |v: u32, k: i32| f64::from(v) + 0.25 + 0.5 * f64::from(k);
            let middle = [f64::from(x) + 0.5, f64::from(y) + 0.5];
            let near = |p: &[f64; 2]| (p[0] - middle[0]).hypot(p[1] - middle[1]) < PAINTED;
            let grey = match painted.iter().any(near) {
                true => 150.0,
                false => {
                    (0..4)
                        .map(|k| self.grey(parts, sub(x, k % 2), sub(y, k / 2)))
                        .sum::<f64>()
                        / 4.0
                }
            };
            Rgb([grey as u8; 3])
        })
    }
}

/// Corners of the cells on the three sides that the camera sees, all within the sides: name, part, place.
fn corners(camera: &Camera) -> Vec<(String, usize, Triple)> {
    let mut all = Vec::new();
    for (number, part) in PARTS.iter().enumerate() {
        for axis in 0..3 {
            let [a, b] = [(axis + 1) % 3, (axis + 2) % 3];
            let cells = |k: usize| 1..((part.high[k] - part.low[k]) / CELL).ceil() as u32;
            for (i, j) in cells(a).flat_map(|i| cells(b).map(move |j| (i, j))) {
                let mut place = part.high;
                place[a] = part.low[a] + CELL * f64::from(i);
                place[b] = part.low[b] + CELL * f64::from(j);
                // The tank's cover is left out: where the tool box stands on it, the pattern changes with the tool box.
                let is_thinned = number == 0 && (axis == 2 || (i + j) % 2 == 1);
                if !is_thinned && camera.shows(&PARTS, place) {
                    all.push((format!("{} {axis} {i} {j}", part.name), number, place));
                }
            }
        }
    }
    all
}

/// What is painted over in the new picture.
const PAINTED_OVER: [&str; 3] = ["tank 1 2 2", "tank 0 2 2", "tool box 1 1 1"];
/// How the tool box was moved.
const MOVED: Triple = [0.9, 0.0, 0.5];

/// The job with its two pictures, and where each landmark truly is in the new one.
fn scene() -> (TempDir, Vec<(String, [f64; 2])>) {
    let [old, new] = [Camera::new(35.0, 75.0), Camera::new(38.0, 74.0)];
    let corners = corners(&old);
    let [tank, lantern, tool_box] = PARTS;
    let moved = [tank, lantern, tool_box.moved(MOVED)];
    let truth = corners.iter().map(|(name, part, place)| {
        let by = if *part == 2 { MOVED } else { [0.0; 3] };
        (
            name.clone(),
            new.see(std::array::from_fn(|a| place[a] + by[a])),
        )
    });
    let truth: Vec<(String, [f64; 2])> = truth.collect();
    let is_painted = |name: &str| PAINTED_OVER.contains(&name);
    let painted: Vec<[f64; 2]> = truth
        .iter()
        .filter(|(name, _)| is_painted(name))
        .map(|t| t.1)
        .collect();
    assert_eq!(painted.len(), PAINTED_OVER.len());
    let folder = tempfile::tempdir().expect("a folder");
    let save =
        |picture: RgbImage, name: &str| picture.save(folder.path().join(name)).expect("written");
    save(old.picture(&PARTS, &[]), "old.png");
    save(old.picture(&PARTS, &[]), "reference.png");
    save(new.picture(&moved, &painted), "new.png");
    let landmarks: Vec<Value> = (corners.iter().enumerate())
        .map(|(k, (name, part, place))| {
            let at = old.see(*place);
            let click = [0.3 * (k as f64 * 2.4).sin(), 0.3 * (k as f64 * 1.7).cos()];
            let usage = if *part == 0 { "datum" } else { "check" };
            json!({
                "name": name, "use": usage, "model_mm": place, "reference": at,
                "render": [at[0] + click[0], at[1] + click[1]],
            })
        })
        .collect();
    let regions: Vec<Value> = (1..3)
        .map(|part| {
            let of_part = corners.iter().filter(|c| c.1 == part);
            let names: Vec<&str> = of_part.map(|c| c.0.as_str()).collect();
            json!({
                "name": PARTS[part].name, "landmarks": names,
                "outline": [[200 + 60 * part, 100], [250 + 60 * part, 100], [250 + 60 * part, 160]],
            })
        })
        .collect();
    let job = json!({
        "title": "boxes", "scale": "1:24",
        "views": [{
            "name": "side", "render": { "image": "old.png", "mark_sigma_px": 0.4 },
            "reference": { "image": "reference.png" },
            "landmarks": landmarks, "regions": regions,
        }],
    });
    fs::write(folder.path().join("job.json"), job.to_string()).expect("written");
    (folder, truth)
}

fn json_of(folder: &TempDir, name: &str) -> Value {
    serde_json::from_slice(&fs::read(folder.path().join(name)).expect("readable")).expect("JSON")
}

fn named<'v>(list: &'v Value, name: &str) -> Option<&'v Value> {
    list.as_array()?.iter().find(|l| l["name"] == name)
}

#[test]
fn lost_marks_are_placed_by_the_camera_and_a_moved_part_is_followed_and_not_repaired() {
    let (folder, truth) = scene();
    let carry = ["carry", "job.json", "--render", "new.png", "--json"];
    let Run { status, out, err } = run(folder.path(), &carry);
    assert_eq!(status, 0, "{err}");
    let told: Value = serde_json::from_str(&out).expect("JSON");
    let after = json_of(&folder, "job-carried.json");
    let mut placed = 0;
    for (name, is) in &truth {
        let mark = named(&told["landmarks"], name).expect("told");
        let Some(landmark) = named(&after["views"][0]["landmarks"], name) else {
            assert!(mark["to"].is_null() && mark["by"].is_null(), "{mark}");
            continue;
        };
        let off = [0, 1].map(|k| landmark["render"][k].as_f64().expect("a number") - is[k]);
        let off = off[0].hypot(off[1]);
        if mark["by"] == "camera" {
            placed += 1;
            assert!(
                mark["likeness"].is_null() && !name.starts_with("tool box"),
                "{mark}"
            );
            let sigma = landmark["sigma_px"]["render"].as_f64().expect("stated");
            assert!(
                (0.4..2.0).contains(&sigma) && off < 2.6 * sigma,
                "{name}: {off} {sigma}"
            );
        } else {
            assert_eq!(mark["by"], "tracking");
            let deviation = mark["deviation_px"].as_f64().expect("told");
            assert!(off < (3.0 * deviation).max(2.0), "{off} {mark}");
        }
    }
    assert!(placed >= 2, "{out}");
    for name in &PAINTED_OVER[..2] {
        assert_eq!(
            named(&told["landmarks"], name).expect("told")["by"],
            "camera",
            "{name}"
        );
    }
    let of_changed = named(&told["landmarks"], PAINTED_OVER[2]).expect("told");
    assert!(of_changed["to"].is_null(), "{of_changed}");
    let notes = told["notes"].to_string();
    assert!(
        notes.contains("other marks of their part lie elsewhere than the camera shows them"),
        "{notes}"
    );
    assert!(
        notes.contains("found where the camera does not expect them: \\\"tool box"),
        "{notes}"
    );
    // The same in words.
    fs::remove_file(folder.path().join("job-carried.json")).expect("removed");
    let Run { out, .. } = run(folder.path(), &carry[..4]);
    let head = out.lines().next().expect("a line");
    assert!(
        head.ends_with(&format!(", {placed} placed by the camera")),
        "{out}"
    );
    let row = out
        .lines()
        .find(|l| l.trim_start().starts_with(PAINTED_OVER[0]))
        .expect("a row");
    assert!(row.ends_with("placed by the camera"), "{row}");
    assert!(
        out.contains("not found, and placed by the camera where it shows"),
        "{out}"
    );
}

#[test]
fn without_places_on_the_model_they_are_left_out_as_before() {
    let (folder, _) = scene();
    let mut job = json_of(&folder, "job.json");
    for landmark in job["views"][0]["landmarks"]
        .as_array_mut()
        .expect("a list")
        .iter_mut()
        .skip(7)
    {
        landmark.as_object_mut().expect("one").remove("model_mm");
    }
    fs::write(folder.path().join("job.json"), job.to_string()).expect("written");
    let Run { status, out, err } =
        run(folder.path(), &["carry", "job.json", "--render", "new.png"]);
    assert_eq!(status, 0, "{err}");
    assert!(
        !out.contains("camera") && out.contains("left out: \"tank 1 2 2\""),
        "{out}"
    );
}

#[test]
fn on_a_new_photo_lost_datum_marks_are_placed_and_parts_that_may_be_altered_are_not() {
    const DEMO: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/camera-demo");
    const CROPPED: [u32; 2] = [22, 15];
    let folder = tempfile::tempdir().expect("a folder");
    for name in ["gate.jpg", "market.jpg", "pump.3mf", "pump.json"] {
        fs::copy(Path::new(DEMO).join(name), folder.path().join(name)).expect("copied");
    }
    // Cropped and darker, with two datum marks and a mark of the tool box painted over.
    let before = json_of(&folder, "pump.json")["views"][0]["landmarks"].clone();
    let mark = |name: &str| {
        let mark = &named(&before, name).expect("there")["reference"];
        [0, 1].map(|k| mark[k].as_f64().expect("a number") - f64::from(CROPPED[k]))
    };
    let datum = ["tank right front top", "tank right rear top"];
    let painted = [
        mark(datum[0]),
        mark(datum[1]),
        mark("tool box left rear top"),
    ];
    let photo = image::open(folder.path().join("gate.jpg")).expect("a photo");
    let mut new = photo.crop_imm(CROPPED[0], CROPPED[1], 1460, 1070).to_rgb8();
    for (x, y, pixel) in new.enumerate_pixels_mut() {
        let near = |p: &[f64; 2]| (p[0] - f64::from(x)).hypot(p[1] - f64::from(y)) < PAINTED;
        pixel.0 = match painted.iter().any(near) {
            true => [90; 3],
            false => pixel.0.map(|v| (f64::from(v) * 0.75) as u8),
        };
    }
    new.save(folder.path().join("new.png")).expect("written");
    let carry = [
        "carry",
        "pump.json",
        "--view",
        "gate",
        "--reference",
        "new.png",
        "--json",
    ];
    let Run { status, out, err } = run(folder.path(), &carry);
    assert_eq!(status, 0, "{err}");
    let told: Value = serde_json::from_str(&out).expect("JSON");
    let after = &json_of(&folder, "pump-carried.json")["views"][0]["landmarks"];
    for name in datum {
        assert_eq!(
            named(&told["landmarks"], name).expect("told")["by"],
            "camera",
            "{out}"
        );
        let landmark = named(after, name).expect("placed");
        let sigma = landmark["sigma_px"]["reference"].as_f64().expect("stated");
        let off = [0, 1].map(|k| landmark["reference"][k].as_f64().expect("one") - mark(name)[k]);
        assert!(
            (1.5..2.0).contains(&sigma) && off[0].hypot(off[1]) < 2.6 * sigma,
            "{landmark} {off:?}"
        );
    }
    assert!(named(after, "tool box left rear top").is_none());
    let why =
        "\\\"tool box left rear top\\\": the parts of landmarks that are not datum may be altered";
    assert!(told["notes"].to_string().contains(why), "{}", told["notes"]);
}
