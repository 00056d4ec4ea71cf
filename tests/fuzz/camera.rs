//! Cameras of made-up marks in space, alone and together: they end, and what they give is finite, or they say why not.
use crate::{
    harness::{Checked, Outcome},
    json,
    random::Random,
    words,
};
use serde_json::{Value, json};
use std::path::Path;
use tickstrip::{
    job::{self, View},
    registration::space::{
        self, Told,
        together::{ExpectedOfParts, Subject, TogetherPhoto, adjust},
    },
    statistics::Measured,
};

const SIZE: (u32, u32) = (1600, 1200);
/// Longest refusal, bytes: it names landmarks, and these may be many.
const MOST_WORDS: usize = 4000;
const EXPECTED: ExpectedOfParts = ExpectedOfParts {
    size_percent: 4.0,
    rotation_deg: 1.5,
    offset_percent: 0.8,
};

/// A job of one to three views with places on the model.
pub fn made(random: &mut Random, corpus: &[Vec<u8>]) -> Vec<u8> {
    if random.one_in(6) {
        return json::mutated(random, corpus);
    }
    let layout = random.below(7);
    let count = random.below(16) + 2;
    let places: Vec<[f64; 3]> = (0..count).map(|n| place(random, layout, n)).collect();
    let views = (0..1 + random.below(3)).map(|k| view(random, k, &places));
    let views: Vec<Value> = views.collect();
    let names: Vec<Value> = views.iter().map(|view| view["name"].clone()).collect();
    let job = json!({ "title": "t", "scale": "1:24", "views": views, "together": names });
    job.to_string().into_bytes()
}

/// How places lie on the model: anywhere, on a line, on a plane, on one point, far apart, nearly on a line, very far away.
fn place(random: &mut Random, layout: usize, n: usize) -> [f64; 3] {
    let n = n as f64;
    let mut any = |reach: f64| [0; 3].map(|_| random.between(-reach, reach));
    match layout {
        0 => any(30.0),
        1 => [n, 2.0 * n, -n],
        2 => {
            let [x, y, _] = any(30.0);
            [x, y, 5.0]
        }
        3 => [1.0, 2.0, 3.0],
        4 => any(1e9),
        5 => [n, 2.0 * n + any(1e-6)[0], -n],
        _ => any(30.0).map(|v| v + 1e11),
    }
}

fn view(random: &mut Random, index: usize, places: &[[f64; 3]]) -> Value {
    let (turn, lift) = (random.between(-3.2, 3.2), random.between(-1.2, 1.2));
    let distance = *random.pick(&[0.0, 20.0, 90.0, 300.0, 1e6]);
    let is_senseless = random.one_in(5);
    let marks = places.iter().enumerate().map(|(k, [x, y, z])| {
        let right = x * turn.cos() + y * turn.sin();
        let away = (y * turn.cos() - x * turn.sin()) * lift.cos() + z * lift.sin() + distance;
        let scale = if distance > 0.0 {
            20.0 * distance / away
        } else {
            20.0
        };
        let mut at = [800.0 + scale * right, 600.0 - scale * z * lift.cos()];
        if is_senseless {
            at = [random.between(0.0, 1600.0), random.between(0.0, 1200.0)];
        }
        let at = at.map(|v| {
            if v.is_finite() {
                v.clamp(-9e8, 9e8)
            } else {
                0.0
            }
        });
        let mut mark = json!({
            "name": format!("mark {k}"), "render": at, "reference": at, "model_mm": [x, y, z],
            "use": if k % 4 == 3 { "check" } else { "datum" }, "part": format!("part {}", k % 3),
        });
        if random.one_in(10) {
            mark["model_sigma_mm"] = json!(*random.pick(&[0.0, 0.1, 5.0, 1e6]));
        }
        mark
    });
    let marks: Vec<Value> = marks.collect();
    let mut reference = json!({ "image": "b.png", "interior": interior(random, index) });
    if random.one_in(3) {
        reference["mark_sigma_px"] = json!(*random.pick(&[0.001, 0.5, 3.0, 10_000.0]));
    }
    json!({
        "name": format!("view {index}"), "render": { "image": "a.png" }, "reference": reference,
        "same_camera": false, "landmarks": marks,
    })
}

fn interior(random: &mut Random, index: usize) -> Value {
    match random.below(8) {
        0 => json!({ "focal_length_px": *random.pick(&[1.0, 900.0, 2000.0, 1e7]) }),
        1 => {
            json!({ "focal_length_mm_35": 50, "focal_length_percent": *random.pick(&[0.0001, 5.0, 100.0]) })
        }
        2 => json!({ "lens": "unknown" }),
        3 => json!({ "principal_point": "cropped" }),
        4 => json!({ "screen_corners": "outside" }),
        5 if index > 0 => json!({ "same_as": "view 0" }),
        _ => json!({}),
    }
}

/// Solves the cameras of a job, each alone and all together.
pub fn check(input: &[u8]) -> Checked {
    let Ok(job) = job::parse(input, Path::new("/jobs/pump.json")) else {
        return Ok(Outcome::Refused);
    };
    let mut outcome = Outcome::Refused;
    let mut photos = Vec::new();
    for view in job.views.iter().take(4) {
        match space::of_view(view, SIZE) {
            Ok(photo) => {
                if resected(&photo)? {
                    outcome = Outcome::Accepted;
                }
                photos.push(together(view, photo));
            }
            Err(error) => refusal(&error)?,
        }
    }
    let found = adjust(&photos, &Subject::of(3, EXPECTED));
    for error in found.parts.iter().flatten().flat_map(|part| &part.errors) {
        figure("error of a part", error.figure)?;
    }
    for photo in &found.photos {
        match photo {
            Ok(photo) if !photo.rms_px.is_finite() => {
                return Err("residuals without end".to_owned());
            }
            Ok(_) => {}
            Err(error) => refusal(error)?,
        }
    }
    Ok(outcome)
}

fn together(view: &View, photo: space::ViewPhoto) -> TogetherPhoto {
    let placed = view.landmarks.iter().filter(|l| l.model_mm.is_some());
    let number = |l: &job::Landmark| l.part.as_ref()?.strip_prefix("part ")?.parse().ok();
    TogetherPhoto {
        part_of: placed
            .map(|l| number(l).filter(|k: &usize| *k < 3))
            .collect(),
        view: photo,
        same_as: None,
    }
}

fn resected(photo: &space::ViewPhoto) -> Result<bool, String> {
    let found = match space::resect(&photo.photo, &photo.marks) {
        Ok(found) => found,
        Err(error) => return refusal(&error).map(|()| false),
    };
    if !found.rms_px.is_finite() || found.marks.len() != photo.marks.len() {
        return Err(format!(
            "rms {} of {} marks",
            found.rms_px,
            found.marks.len()
        ));
    }
    let first = &found.first;
    for told in first.centre_mm.iter().chain([&first.focal_px]) {
        if let Told::Figure(found) = told {
            figure("camera", *found)?;
        }
    }
    Ok(true)
}

fn figure(what: &str, figure: Measured) -> Result<(), String> {
    let ends = [figure.low(), figure.value(), figure.high()];
    let is_sound = ends.iter().all(|v| v.is_finite()) && ends[0] <= ends[1] && ends[1] <= ends[2];
    is_sound
        .then_some(())
        .ok_or_else(|| format!("{what}: {ends:?}"))
}

fn refusal(error: &space::Error) -> Result<(), String> {
    words::check_code(error.code())?;
    words::check("refusal", &error.to_string(), MOST_WORDS)
}
