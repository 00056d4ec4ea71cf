//! A reference from elsewhere: what looks like an offset of the model may be depth.
use crate::support::{
    compared::{compare, warned},
    drawn::{BODY, Part, draw},
    truth::Errors,
};
use serde_json::{Value, json};
use tempfile::TempDir;
use tickstrip::measurement::{Verdict, ViewMeasurement};

/// The part as the subject has it, with a patch inside, and the middle of both.
const SUBJECT: [Part; 2] = [
    Part([220.0, 90.0, 420.0, 230.0], 170.0),
    Part([260.0, 130.0, 380.0, 190.0], 70.0),
];
const ANCHOR: [f64; 2] = [320.0, 160.0];

fn corners([l, t, r, b]: [f64; 4]) -> [[f64; 2]; 4] {
    [[l, t], [r, t], [r, b], [l, b]]
}

/// A picture of the model with these errors of its part, one of the subject, and a job of both at 10 px a millimetre.
fn job(folder: &TempDir, errors: Errors) -> Value {
    let shown = SUBJECT.map(|Part(outline, grey)| Part(errors.shown_box(ANCHOR, outline), grey));
    let [render, reference] = [shown, SUBJECT].map(|part| [&BODY[..], &part[..]].concat());
    let images = [("render", render, 0.0), ("reference", reference, 8.0)];
    let [render, reference] = images.map(|(name, parts, noise)| {
        let path = folder.path().join(format!("{name}.png"));
        draw(&parts, 220.0, noise).save(&path).expect("written");
        path
    });
    let datum = BODY.iter().flat_map(|part| corners(part.0));
    let datum = datum.enumerate().map(
        |(i, p)| json!({ "name": format!("body {i}"), "use": "datum", "render": p, "reference": p }),
    );
    let check = SUBJECT.iter().flat_map(|part| corners(part.0));
    let check = check.enumerate().map(|(i, p)| {
        json!({ "name": format!("part {i}"), "use": "check", "render": errors.shown(ANCHOR, p), "reference": p })
    });
    let [l, t, r, b] = shown[0].0;
    let names: Vec<String> = (0..8).map(|i| format!("part {i}")).collect();
    json!({
        "title": "t", "scale": "1:32", "expected": { "size_percent": 6.0, "offset_percent": 4.0 },
        "views": [{
            "name": "side",
            "render": { "image": render, "mark_sigma_px": 0.5 },
            "reference": { "image": reference, "kind": "screenshot", "mark_sigma_px": 0.5 },
            "landmarks": datum.chain(check).collect::<Vec<_>>(),
            "known": [{ "in": "render", "from": "body 0", "to": "body 1", "model": "48 mm" }],
            "regions": [{
                "name": "tank", "landmarks": names, "anchor": ANCHOR,
                "outline": corners([l - 15.0, t - 15.0, r + 15.0, b + 15.0]),
            }],
            "spans": [
                { "name": "on the tank", "from": "part 0", "to": "part 1" },
                { "name": "to the tank", "from": "body 12", "to": "part 0" },
            ],
            "angles": [{ "name": "to the tank's rim", "from": "body 12", "to": "part 0" }],
        }],
    })
}

/// What is measured where the errors are these and the view is changed so.
fn measured(errors: Errors, change: impl Fn(&mut Value)) -> ViewMeasurement {
    let folder = tempfile::tempdir().expect("a folder");
    let mut job = job(&folder, errors);
    change(&mut job["views"][0]);
    compare(&job).1.measurement
}

fn from_elsewhere(view: &mut Value) {
    view["same_camera"] = json!(false);
}

/// A camera that looks across the picture, and places on the model, each of them as `place` says.
fn with_places(view: &mut Value, place: impl Fn([f64; 2]) -> [f64; 3]) {
    from_elsewhere(view);
    view["render"]["camera"] = json!({ "matrix": [[10, 0, 0, 0], [0, 10, 0, 0], [0, 0, 0, 1]] });
    for landmark in view["landmarks"].as_array_mut().expect("a list") {
        let at = |axis: usize| landmark["render"][axis].as_f64().expect("a number");
        landmark["model_mm"] = json!(place([at(0), at(1)]));
    }
}

/// The texts of all that is to be changed.
fn changes(view: &ViewMeasurement) -> Vec<&str> {
    view.corrections.iter().map(|c| c.text.as_str()).collect()
}

#[test]
fn an_offset_is_undecided_where_depth_may_look_like_it() {
    let moved = Errors::new([0.0, 0.0], [30.0, 0.0]);
    let same = measured(moved, |_| {});
    assert_eq!(same.regions[0].verdict, Verdict::Out);
    let offset = same.regions[0].offset_px[0].expect("told");
    assert!((offset.value() - 30.0).abs() < 1.0, "{offset:?}");
    let words = same.regions[0].correction.as_deref().unwrap_or_default();
    assert!(
        words.contains("move the tank 3.0") && words.contains("mm left"),
        "{words}"
    );

    let elsewhere = measured(moved, from_elsewhere);
    let part = &elsewhere.regions[0];
    assert_eq!(part.verdict, Verdict::Undecided, "{part:?}");
    assert_eq!(
        (part.offset_px, part.offset_model_mm),
        ([None; 2], [None; 2])
    );
    let why = "cannot tell offset from depth: the render has no \"camera\" and no landmark has a place on the model";
    assert!(part.sureness.contains(why), "{}", part.sureness);
    assert!(!part.sureness.contains("mark more"), "{}", part.sureness);
    assert_eq!(part.correction, None);
    assert!(part.width_percent.is_some() && part.height_percent.is_some());
    assert!(
        changes(&elsewhere).is_empty(),
        "{:?}",
        elsewhere.corrections
    );
    assert_eq!(elsewhere.verdict, Verdict::Undecided);
}

#[test]
fn sizes_are_judged_whatever_the_camera_is() {
    let wide_and_moved = Errors::new([0.1, 0.0], [30.0, 0.0]);
    for (change, is_moved) in [
        ((|_| {}) as fn(&mut Value), true),
        (from_elsewhere as fn(&mut Value), false),
    ] {
        let view = measured(wide_and_moved, change);
        let part = &view.regions[0];
        assert_eq!(part.verdict, Verdict::Out);
        let width = part.width_percent.expect("told");
        assert!(width.holds(10.0), "{width:?}");
        let words = part.correction.as_deref().unwrap_or_default();
        assert!(words.contains("narrower"), "{words}");
        assert_eq!(words.contains("move "), is_moved, "{words}");
        assert_eq!(changes(&view).iter().any(|c| c.contains("move ")), is_moved);
    }
}

#[test]
fn lengths_and_directions_between_parts_follow_from_their_depth() {
    let wide_and_moved = Errors::new([0.1, 0.0], [30.0, 0.0]);
    let verdicts = |view: &ViewMeasurement| {
        let spans = view
            .spans
            .iter()
            .map(|s| (s.verdict, s.correction.is_some()));
        let angles = view
            .angles
            .iter()
            .map(|a| (a.verdict, a.correction.is_some()));
        spans.chain(angles).collect::<Vec<_>>()
    };
    let (out, undecided) = ((Verdict::Out, true), (Verdict::Undecided, false));
    let same = measured(wide_and_moved, |_| {});
    // The interval of the direction reaches into its tolerance, and it calls for a change all the same.
    assert_eq!(verdicts(&same), [out, out, (Verdict::Undecided, true)]);
    let elsewhere = measured(wide_and_moved, from_elsewhere);
    assert_eq!(verdicts(&elsewhere), [out, undecided, undecided]);
}

#[test]
fn what_is_missing_to_tell_depth_is_named() {
    let moved = Errors::new([0.0, 0.0], [30.0, 0.0]);
    let mut told = Vec::new();
    for (why, change) in [
        (
            "the render has no \"camera\": depth shows up as offset",
            (|v| {
                with_places(v, |[x, y]| [x / 10.0, y / 10.0, 0.0]);
                v["render"]
                    .as_object_mut()
                    .expect("an object")
                    .remove("camera");
            }) as fn(&mut Value),
        ),
        (
            "elsewhere and no landmark has a place on the model (model_mm): depth",
            |v| {
                with_places(v, |[x, y]| [x / 10.0, y / 10.0, 0.0]);
                for landmark in v["landmarks"].as_array_mut().expect("a list") {
                    landmark
                        .as_object_mut()
                        .expect("an object")
                        .remove("model_mm");
                }
            },
        ),
        (
            "the render's camera and the landmarks' places on the model (model_mm) do not fit: depth",
            |v| with_places(v, |[x, y]| [y / 10.0, 90.0 - x / 10.0, 7.0]),
        ),
    ] {
        let folder = tempfile::tempdir().expect("a folder");
        let mut job = job(&folder, moved);
        change(&mut job["views"][0]);
        let measured = compare(&job).1;
        told.push(warned(&measured, "parallax").any(|w| w.text.contains(why)));
        assert_eq!(
            measured.measurement.regions[0].offset_px, [None; 2],
            "{why}"
        );
    }
    assert_eq!(told, [true; 3]);
    // With both, offsets are told.
    let fitting = measured(moved, |v| {
        with_places(v, |[x, y]| [x / 10.0, y / 10.0, 0.0])
    });
    assert!(fitting.regions[0].offset_px[0].is_some());
    assert!(fitting.warnings.iter().all(|w| w.code != "parallax"));
}
