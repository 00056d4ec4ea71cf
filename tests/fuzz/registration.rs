//! Registration of made-up marks: it ends, and what it gives is finite, or it says why not.
use crate::{
    harness::{Checked, Outcome},
    json,
    random::Random,
    words,
};
use serde_json::{Value, json};
use std::path::Path;
use tickstrip::{
    frame::Point,
    job::{self, Expected, View},
    rectification,
    registration::{self, Error, Registered, Registration, SingleMark},
    statistics::Measured,
};

/// Sizes of render and reference, pixels.
const RENDER: (u32, u32) = (1600, 1200);
const REFERENCE: (u32, u32) = (1920, 1080);
/// Longest refusal, bytes: it names landmarks, and these may be many.
const MOST_WORDS: usize = 4000;

/// A job of one view with made-up marks, or one of the corpus with changes.
pub fn made(random: &mut Random, corpus: &[Vec<u8>]) -> Vec<u8> {
    if random.one_in(4) {
        return json::mutated(random, corpus);
    }
    let landmarks = landmarks(random);
    let count = landmarks.len();
    let mut reference = json!({ "image": "b.png" });
    let mut render = json!({ "image": "a.png" });
    for image in [&mut reference, &mut render] {
        if random.one_in(3) {
            image["mark_sigma_px"] = json!(*random.pick(&[1e-6, 0.1, 0.75, 2.0, 50.0, 10_000.0]));
        }
    }
    if random.one_in(3) {
        reference["rectify"] = rectify(random);
    }
    let is_in_space = random.one_in(4);
    if is_in_space {
        render["camera"] = json!({ "matrix": [[3.0, 0.2, 0.1, 800.0], [0.1, 3.1, 0.3, 600.0], [0.0, 0.0, 0.0005, 1.0]] });
    }
    let kind = random.word(&["similarity", "affine", "projective"]);
    let mut view = json!({
        "name": "side", "render": render, "reference": reference, "registration": kind,
        "same_camera": !random.one_in(3), "landmarks": landmarks, "regions": regions(random, count),
    });
    if count > 1 && random.one_in(2) {
        add_measures(random, &mut view, count);
    }
    if is_in_space {
        for landmark in view["landmarks"].as_array_mut().into_iter().flatten() {
            if !random.one_in(5) {
                landmark["model_mm"] = json!([0, 1, 2].map(|_| random.between(-300.0, 300.0)));
            }
        }
    }
    let mut job = json!({ "title": "t", "scale": "1:24", "views": [view] });
    if random.one_in(6) {
        let number = json::extreme_number(random);
        job["expected"] = json!({ random.word(&["size_percent", "rotation_deg", "offset_percent", "keystone_percent"]): number });
    }
    job.to_string().into_bytes()
}

/// How the marks lie in the render.
fn place(random: &mut Random, layout: usize, n: usize) -> [f64; 2] {
    let n = n as f64;
    match layout {
        0..=3 => [random.between(0.0, 1600.0), random.between(0.0, 1200.0)],
        // On a line, exactly or nearly.
        4 => [100.0 + 40.0 * n, 50.0 + 30.0 * n],
        5 => [
            100.0 + 40.0 * n,
            50.0 + 30.0 * n + random.between(-1e-6, 1e-6),
        ],
        // On two lines, on a lattice, on a circle.
        6 => [100.0 + 70.0 * n, if n % 2.0 == 0.0 { 100.0 } else { 900.0 }],
        7 => [100.0 * (n % 6.0), 100.0 * (n / 6.0).floor()],
        8 => [
            800.0 + 300.0 * (n * 0.7).cos(),
            600.0 + 300.0 * (n * 0.7).sin(),
        ],
        // In one place, exactly or nearly.
        9 => [512.0, 384.0],
        10 => [
            512.0 + random.between(-1e-3, 1e-3),
            384.0 + random.between(-1e-3, 1e-3),
        ],
        // Far out.
        _ => [random.between(-1e6, 1e6), random.between(-1e6, 1e6)],
    }
}

fn landmarks(random: &mut Random) -> Vec<Value> {
    let layout = random.below(12);
    let count = match random.below(8) {
        0 => random.below(4),
        1..=5 => 3 + random.below(14),
        6 => 16 + random.below(25),
        _ => 40 + random.below(60),
    };
    let map = map(random);
    let noise = *random.pick(&[0.0, 1e-9, 0.5, 0.5, 3.0, 200.0]);
    let gross = random.one_in(3);
    let mut list: Vec<Value> = (0..count)
        .map(|n| {
            let [x, y] = place(random, layout, n);
            // Farther out no mark is taken.
            let mut reference =
                map(x, y).map(|c| (c + random.between(-noise, noise)).clamp(-1e6, 1e6));
            if gross && random.one_in(5) {
                reference = [random.between(0.0, 1920.0), random.between(0.0, 1080.0)];
            }
            if random.one_in(200) {
                reference[random.below(2)] = json::extreme_number(random);
            }
            let usage = if random.one_in(4) { "check" } else { "datum" };
            json!({ "name": format!("m{n}"), "use": usage, "render": [x, y], "reference": reference })
        })
        .collect();
    if count > 1 && random.one_in(4) {
        let (a, b) = (random.below(count), random.below(count));
        let kept = list[a]["reference"].clone();
        list[a]["reference"] = std::mem::replace(&mut list[b]["reference"], kept);
    }
    list
}

/// From the render to the reference: a similarity, a mirror image, a squashed, a projective one.
fn map(random: &mut Random) -> impl Fn(f64, f64) -> [f64; 2] + use<> {
    let angle = random.between(-3.2, 3.2);
    let scale = *random.pick(&[1e-6, 0.5, 1.0, 1.0, 1.3, 1e4]);
    let aspect = *random.pick(&[1.0, 1.0, 1.0, 1.02, -1.0, 1e-9, 0.0]);
    let keystone = *random.pick(&[0.0, 0.0, 1e-4, 3e-3, -1e-3]);
    move |x, y| {
        let (sin, cos) = angle.sin_cos();
        let (x, y) = (x - 800.0, aspect * (y - 600.0));
        let w = 1.0 + keystone * x;
        [
            960.0 + scale * (cos * x - sin * y) / w,
            540.0 + scale * (sin * x + cos * y) / w,
        ]
    }
}

fn regions(random: &mut Random, landmarks: usize) -> Vec<Value> {
    let count = if landmarks == 0 { 0 } else { random.below(5) };
    (0..count)
        .map(|n| {
            let (x, y) = (random.between(0.0, 1200.0), random.between(0.0, 900.0));
            let (w, h) = (
                *random.pick(&[1e-3, 50.0, 120.0, 200.0, 1e5]),
                random.between(1.0, 300.0),
            );
            let mut on_it: Vec<usize> = (0..random.below(9))
                .map(|_| random.below(landmarks))
                .collect();
            on_it.sort_unstable();
            on_it.dedup();
            let names: Vec<String> = on_it.iter().map(|i| format!("m{i}")).collect();
            json!({ "name": format!("part {n}"), "landmarks": names,
                "outline": [[x, y], [x + w, y], [x + w, y + h], [x, y + h]] })
        })
        .collect()
}

/// Spans, angles, known lengths and symmetry between landmarks; some of them are refused as they are.
fn add_measures(random: &mut Random, view: &mut Value, count: usize) {
    let mut some = |most: usize, make: &dyn Fn(&mut Random, usize, [String; 2]) -> Value| {
        let list = (0..random.below(most)).map(|n| {
            let a = random.below(count);
            let b = (a + 1 + random.below(count - 1)) % count;
            make(random, n, [format!("m{a}"), format!("m{b}")])
        });
        list.collect::<Vec<_>>()
    };
    let spans = some(
        4,
        &|_, n, [from, to]| json!({ "name": format!("s{n}"), "from": from, "to": to }),
    );
    let angles = some(
        4,
        &|_, n, [from, to]| json!({ "name": format!("a{n}"), "from": from, "to": to }),
    );
    let known = some(6, &|random, n, [from, to]| {
        let length = *random.pick(&[1e-3, 10.0, 352.0, 352.1, 1e6]);
        let side = random.word(&["render", "reference"]);
        let along = random.word(&["x", "y"]);
        match n % 3 {
            0 => json!({ "in": side, "from": from, "to": to, "full_size": length }),
            1 => json!({ "in": side, "from": from, "to": to, "model": length, "along": along }),
            _ => json!({ "in": side, "from": from, "to": to, "along": along }),
        }
    });
    view["spans"] = json!(spans);
    view["angles"] = json!(angles);
    view["known"] = json!(known);
    if count > 5 && random.one_in(3) {
        view["symmetry"] = json!({ "pairs": [["m0", "m1"], ["m2", "m3"]], "axis": ["m4"] });
    }
}

fn rectify(random: &mut Random) -> Value {
    let far = *random.pick(&[0.0, 30.0, 300.0, 1e5]);
    let mut corner =
        |x: f64, y: f64| [x + random.between(-far, far), y + random.between(-far, far)];
    let corners = [
        corner(200.0, 150.0),
        corner(1700.0, 150.0),
        corner(1700.0, 950.0),
        corner(200.0, 950.0),
    ];
    let lines = |a: [usize; 2], b: [usize; 2]| {
        json!([
            [corners[a[0]], corners[a[1]]],
            [corners[b[0]], corners[b[1]]]
        ])
    };
    let mut stated = match random.below(6) {
        0 => json!({ "corners": corners }),
        5 => json!({ "corners": corners, "aspect": 1.777, "find_bezel": true }),
        1 | 2 => json!({ "corners": corners, "aspect": *random.pick(&[0.01, 1.0, 1.777, 100.0]) }),
        3 => {
            let at = [[0.0, 0.0], [16.0, 0.0], [16.0, 9.0], [0.0, 9.0]];
            let points: Vec<Value> = corners
                .iter()
                .zip(at)
                .map(|(mark, at)| json!({ "reference": mark, "at": at }))
                .collect();
            json!({ "points": points })
        }
        _ => json!({ "horizontal": lines([0, 1], [3, 2]), "vertical": lines([0, 3], [1, 2]) }),
    };
    if random.one_in(3) {
        let bend = random.between(-60.0, 60.0);
        let line: Vec<[f64; 2]> = (0..7)
            .map(|k| {
                let t = f64::from(k) / 6.0;
                [100.0 + 1700.0 * t, 80.0 + bend * 4.0 * t * (1.0 - t)]
            })
            .collect();
        stated["straight_lines"] = json!([line]);
    }
    stated
}

pub fn check(input: &[u8]) -> Checked {
    let Ok(job) = job::parse(input, Path::new("/jobs/pump.json")) else {
        return Ok(Outcome::Refused);
    };
    let mut outcome = Outcome::Refused;
    for view in &job.views {
        if check_view(view, job.expected)? == Outcome::Accepted {
            outcome = Outcome::Accepted;
        }
    }
    Ok(outcome)
}

fn check_view(view: &View, expected: Expected) -> Checked {
    let rectification = match rectification::of_view(view, REFERENCE, None) {
        Ok(rectification) => rectification,
        Err(error) => return refused(&error.into()),
    };
    let sigma = view.reference.mark_sigma_px;
    if let Some(stated) = &view.reference.rectify {
        let doubts = rectification::doubts(stated, REFERENCE, sigma, "/rectify");
        for doubt in doubts.map_err(|e| format!("rectified, but doubtful: {e}"))? {
            words::check_sentence("doubt", &doubt.to_string(), MOST_WORDS)?;
        }
    }
    let registered = match registration::register(view, expected, RENDER, rectification.as_ref()) {
        Ok(registered) => registered,
        Err(error) => return refused(&error),
    };
    check_figures(&registered)?;
    let marks = [
        SingleMark::Render(Point::new(400.0, 300.0)),
        SingleMark::Reference(Point::new(-3000.0, 1e5)),
    ];
    for mark in marks {
        match registration::predict(view, expected, RENDER, rectification.as_ref(), mark) {
            Ok(found) => finite(
                "prediction",
                found
                    .place
                    .iter()
                    .chain(&found.half_axes)
                    .chain([&found.turned_deg]),
            )?,
            Err(error) => drop(refused(&error)?),
        }
    }
    Ok(Outcome::Accepted)
}

fn refused(error: &Error) -> Checked {
    words::check_code(error.code())?;
    words::check_sentence("refusal", &error.to_string(), MOST_WORDS)?;
    Ok(Outcome::Refused)
}

fn check_figures(registered: &Registered) -> Result<(), String> {
    let r: &Registration = &registered.registration;
    measured("scale", &r.scale)?;
    measured("rotation", &r.rotation_deg)?;
    let sigmas = [r.rms_px, r.render_mark_sigma_px, r.reference_mark_sigma_px];
    finite("noise", sigmas.iter().chain(&r.sigma0))?;
    for landmark in &r.landmarks {
        let numbers = landmark
            .residual_px
            .iter()
            .chain([&landmark.critical_value, &landmark.redundancy]);
        let optional = landmark
            .test_statistic
            .iter()
            .chain(&landmark.smallest_detectable_px);
        finite("landmark", numbers.chain(optional))?;
        landmark
            .offset_px
            .iter()
            .try_for_each(|m| measured("offset", m))?;
    }
    let map = format!(
        "{:?} {:?}",
        r.render_from_rectified, r.rectified_from_reference
    );
    if map.contains("NaN") || map.contains("inf") {
        return Err("a map that is not finite".to_owned());
    }
    let regions = format!("{:?}", registered.regions);
    if regions.contains("NaN") {
        return Err(format!("a region that is not finite: {regions}"));
    }
    Ok(())
}

fn measured(what: &str, measured: &Measured) -> Result<(), String> {
    finite(
        what,
        [&measured.value(), &measured.low(), &measured.high()].into_iter(),
    )
}

fn finite<'a>(what: &str, mut numbers: impl Iterator<Item = &'a f64>) -> Result<(), String> {
    match numbers.find(|number| !number.is_finite()) {
        Some(number) => Err(format!("{what}: {number}")),
        None => Ok(()),
    }
}
