//! Job files as users write them: what is accepted, and the words for what is not.
use serde_json::{Value, json};
use std::path::Path;
use tickstrip::{
    frame::Point,
    job::{
        self, Descreen, Error, Handling, Job, KnownPlane, MarkOn, MarkedOn, Mask, ReferenceKind,
        RegistrationKind, Screen, StarterOf,
    },
    units::ScaleRatio,
};

const EXAMPLE: &str = include_str!("../../fixtures/jobs/example.json");

fn example() -> Value {
    serde_json::from_str(EXAMPLE).expect("the example is JSON")
}

fn parse(text: &str) -> Result<Job, Error> {
    job::parse(text.as_bytes(), Path::new("/jobs/pump.json"))
}

/// The example with the value at `pointer` replaced; a key is added where its object exists.
fn with(pointer: &str, value: Value) -> Value {
    let mut job = example();
    put(&mut job, pointer, value);
    job
}

fn put(job: &mut Value, pointer: &str, value: Value) {
    let (parent, key) = pointer.rsplit_once('/').expect("a pointer below the root");
    match job.pointer_mut(parent).expect("the parent exists") {
        Value::Object(object) => {
            object.insert(key.to_owned(), value);
        }
        Value::Array(items) => items[key.parse::<usize>().expect("an index")] = value,
        other => panic!("{other} has no parts"),
    }
}

/// All faults; empty where there are none.
fn faults(job: &Value) -> String {
    parse(&job.to_string()).map_or_else(|e| e.to_string(), |_| String::new())
}

fn lines(job: &Value) -> String {
    parse(&job.to_string())
        .expect_err("the job is faulty")
        .to_string()
}

#[test]
fn endless_names_are_cut_in_messages() {
    let endless = "x".repeat(1 << 20);
    let mut unknown = with("/views/0/spans/0/from", json!(endless));
    put(
        &mut unknown,
        "/views/0/regions/0/landmarks",
        json!([endless, endless]),
    );
    let mut named = example();
    put(&mut named, &format!("/views/0/{endless}"), json!(1));
    let path = with("/views/0/render/image", json!(" ".repeat(4000)));
    let twice = with(
        "/views/0/regions/0/landmarks",
        json!(["y".repeat(9000), "y".repeat(9000)]),
    );
    for job in [unknown, named, path, twice] {
        let error = parse(&job.to_string()).expect_err("faulty");
        for fault in error.faults() {
            let text = fault.to_string();
            assert!(
                text.len() < 1500 && text.contains('…'),
                "{} bytes",
                text.len()
            );
        }
    }
}

#[test]
fn the_example_is_accepted_and_resolved() {
    let job = job::read(Path::new("fixtures/jobs/example.json")).expect("sound");
    assert_eq!(job.title, "Fire pump of a harbour town");
    assert_eq!(job.scale.denominator(), 24.0);
    assert!(job.file.is_absolute());
    assert_eq!(
        job.blake3,
        blake3::hash(EXAMPLE.as_bytes()).to_hex().to_string()
    );
    let view = &job.views[0];
    assert_eq!(view.registration, RegistrationKind::Similarity);
    assert_eq!(view.reference.kind, ReferenceKind::Photo);
    assert_eq!(view.render.mask, Mask::Alpha);
    assert_eq!(view.reference.mask, Mask::None);
    let image = view.render.image.file().expect("a file");
    assert!(image.is_absolute());
    assert!(image.ends_with("fixtures/jobs/side-render.png"));
    assert_eq!(view.known[0].length.expect("stated").0, 18.25 * 25.4);
    assert_eq!(view.known[0].text, "18 1/4 in");
    assert_eq!(view.landmarks[view.spans[0].from].name, "tank rear");
    assert_eq!(view.regions[0].tolerance.proportion_percent, 1.0);
    assert_eq!(view.regions[0].tolerance.offset.0, 0.20);
    assert_eq!(view.regions[0].anchor, Point::new(650.0, 260.0));
    let rectify = view.reference.rectify.as_ref().expect("stated");
    let KnownPlane::Rectangle(rectangle) = &rectify.plane else {
        panic!("corners are stated: {rectify:?}");
    };
    assert_eq!(rectangle.aspect, Some(16.0 / 9.0));
}

#[test]
fn what_is_left_out_has_the_documented_defaults() {
    let job = parse(
        &json!({ "title": "t", "scale": 32, "views": [{ "name": "v", "render": { "image": "a.png" },
            "reference": { "image": "b.png" }, "landmarks": [] }] })
        .to_string(),
    )
    .expect("sound");
    let t = job.tolerance;
    assert_eq!(
        [
            t.proportion_percent,
            t.offset.0,
            t.angle_deg,
            t.edge_overlap
        ],
        [2.0, 0.2, 1.0, 0.5]
    );
    assert_eq!(job.smallest_visible.0, 0.05);
    let e = job.expected;
    assert_eq!(
        [
            e.size_percent,
            e.rotation_deg,
            e.offset_percent,
            e.keystone_percent
        ],
        [4.0, 1.5, 0.8, 0.3]
    );
    assert!(job.views[0].same_camera);
}

#[test]
fn what_is_done_about_a_screen_is_settable_step_by_step() {
    let screen = |value: Value| {
        let job = parse(&with("/views/0/reference/screen", value).to_string());
        job.map(|job| job.views[0].reference.screen)
    };
    assert_eq!(screen(json!({})).expect("sound"), Screen::default());
    let stated = json!({ "descreen": "on", "glare": "off", "letterbox": "off" });
    let expected = Screen {
        descreen: Descreen::On,
        glare: Handling::Off,
        letterbox: Handling::Off,
    };
    assert_eq!(screen(stated).expect("sound"), expected);
    let text = lines(&with("/views/0/reference/screen", json!({ "glare": "on" })));
    assert!(text.contains("/views/0/reference/screen/glare"), "{text}");
}

#[test]
fn plain_numbers_are_in_the_jobs_unit_and_model_lengths_go_by_the_scale() {
    let mut job = with("/unit", json!("in"));
    put(
        &mut job,
        "/views/0/known",
        json!([
            { "in": "reference", "from": "tank front", "to": "tank rear", "full_size": 18.25 },
            { "in": "render", "from": "tank front", "to": "tank rear", "model": "14.5 mm" }
        ]),
    );
    let job = parse(&job.to_string()).expect("sound");
    let known = &job.views[0].known;
    assert_eq!(known[0].length.expect("stated").0, 18.25 * 25.4);
    assert_eq!(known[0].text, "18.25 in");
    assert_eq!(known[1].length.expect("stated").0, 14.5 * 24.0);
}

#[test]
fn each_fault_is_told_with_its_place_and_a_way_out() {
    let region = "/views/0/regions/0";
    let landmark = json!({ "name": "tank front", "render": [1, 2], "reference": [3, 4] });
    let cases: Vec<(&str, Value, &str)> = vec![
        (
            "/scael",
            json!("1:32"),
            "pump.json: /scael: no key \"scael\" here; did you mean \"scale\"?",
        ),
        (
            "/views/0/xyzzy",
            json!(1),
            "/views/0/xyzzy: no key \"xyzzy\" here; known are \"name\", \"render\"",
        ),
        ("/views/0/a~1b", json!(1), "no key \"a~1b\" here"),
        (
            "/views/0/reference/straighten",
            json!({}),
            "no key \"straighten\" here; it is called \"rectify\" now",
        ),
        (
            "/views/0/reference/rectify/aspekt",
            json!(1),
            "did you mean \"aspect\"?",
        ),
        (
            "/views/0/reference/rectify/aspect",
            json!("0:9"),
            "/views/0/reference/rectify/aspect: the aspect is \"0:9\"; width over height must be from 0.01 to 100",
        ),
        (
            "/views/0/reference/rectify/aspect",
            json!("210 mm x 297"),
            "has a unit on one side only; give both or neither",
        ),
        (
            "/views/0/reference/rectify/corners",
            json!([[0, 0], [0, 9], [9, 9], [9, 0]]),
            "/views/0/reference/rectify/corners: the corners run counter-clockwise; give them as top left, top right, bottom right, bottom left",
        ),
        (
            "/views/0/reference/rectify/corners",
            json!([[0, 0], [9, 0], [0, 9], [9, 9]]),
            "the sides between the corners cross",
        ),
        (
            "/views/0/reference/rectify/corners",
            json!([[0, 0], [5, 5], [9, 9], [0, 9]]),
            "corner 1 (counted from 0) lies on one line with its neighbours",
        ),
        (
            "/views/0/reference/rectify/corners",
            json!([[0, 0], [9, 0], [2, 2], [0, 9]]),
            "corner 2 (counted from 0) points inwards",
        ),
        (
            "/views/0/reference/rectify/corners",
            json!([[0, 0], [9, 0], [9, 9]]),
            "found a list of 3 entries; it must have 4 or more entries",
        ),
        (
            "/views/0/reference/kind",
            json!("foto"),
            "found the text \"foto\"; allowed are \"photo\", \"plan\", \"screenshot\", \"sketch\"",
        ),
        (
            "/views/0/registration",
            json!("rigid"),
            "allowed are \"similarity\", \"affine\", \"projective\"",
        ),
        (
            "/views/0/reference/mark_sigma_px",
            json!(0),
            "found the number 0; it must be 0.001 or more",
        ),
        (
            "/views/0/render/image",
            json!(""),
            "found an empty text; it must not be empty",
        ),
        (
            "/views/0/render/image",
            json!("  "),
            "the path \"  \" cannot be a file",
        ),
        (
            "/views/0/render/camera",
            json!({ "matrix": [[1, 0, 0, 5], [2, 0, 0, 10], [0, 0, 0, 1]] }),
            "/views/0/render/camera/matrix: the rows of the camera matrix do not make a camera",
        ),
        (
            "/views/0/render/camera",
            json!({ "matrix": [[1e300, 0, 0, 0], [0, 1, 0, 0], [0, 0, 1, 1]] }),
            "the number must be between -1e12 and 1e12",
        ),
        (
            "/views/0/landmarks/0/render",
            json!([1]),
            "found a list of 1 entry; it must have 2 or more entries",
        ),
        (
            "/views/0/landmarks/0/render/0",
            json!("1"),
            "/views/0/landmarks/0/render/0: found the text \"1\"; it must be a number",
        ),
        (
            "/views/0/landmarks/0/render/0",
            json!(2e9),
            "it must be 1000000 or less",
        ),
        (
            "/views/0/landmarks/1",
            landmark,
            "/views/0/landmarks/1/name: the landmark name \"tank front\" is used already at /views/0/landmarks/0/name; names must differ",
        ),
        (
            "/views/0/landmarks/0/name",
            json!("tank\nfront"),
            "the name \"tank\\nfront\" cannot be printed on one line",
        ),
        (
            "/views/0/regions/0/landmarks/1",
            json!("lantern tip"),
            "/views/0/regions/0/landmarks/1: no landmark \"lantern tip\"; did you mean \"lantern top\"? the view has",
        ),
        (
            "/views/0/regions/0/landmarks/1",
            json!("xx"),
            "no landmark \"xx\"; the view has 6: \"tank front\", \"tank rear\", \"beam end\"",
        ),
        (
            "/views/0/regions/0/landmarks/1",
            json!("lantern top"),
            "the landmark \"lantern top\" is listed twice",
        ),
        (
            "/views/0/regions/0/outline",
            json!([[0, 0], [9, 9]]),
            "found a list of 2 entries; it must have 3 or more entries",
        ),
        (
            "/views/0/regions/0/outline",
            json!([[0, 0], [9, 9], [0, 0]]),
            "the outline has 2 different corners; it needs 3 or more",
        ),
        (
            "/views/0/regions/0/outline",
            json!([[0, 0], [5, 5], [9, 9]]),
            "the corners of the outline lie on one line",
        ),
        (
            "/views/0/regions/0/outline",
            json!([[0, 0], [9, 9], [9, 0], [0, 9]]),
            "/views/0/regions/0/outline: the outline crosses itself: the edge after corner 0 meets the edge after corner 2",
        ),
        (
            "/views/0/regions/0/tolerance",
            json!({ "offset_mm": -1 }),
            "it must be 0.0001 or more",
        ),
        (
            "/views/0/regions/0/tolerance",
            json!({ "offset": 1 }),
            "did you mean \"offset_mm\"?",
        ),
        (
            "/views/0/spans/0/to",
            json!("tank rear"),
            "/views/0/spans/0/to: both ends are the landmark \"tank rear\"; name two different ones",
        ),
        (
            "/views/0/spans/0/to",
            json!("tank raer"),
            "/views/0/spans/0/to: no landmark \"tank raer\"; did you mean \"tank rear\"? the view has",
        ),
        (
            "/views/0/angles/0/against",
            json!(["tank front", "tank front"]),
            "/views/0/angles/0/against/1: both ends are the landmark \"tank front\"",
        ),
        (
            "/views/0/known/0/full_size",
            json!("18 1/4"),
            "/views/0/known/0/full_size: \"18 1/4\" has no unit",
        ),
        (
            "/views/0/known/0/full_size",
            json!(0),
            "the length is 0 mm; it must be above 0",
        ),
        (
            "/views/0/known/0/full_size",
            json!(-18),
            "the length is -18 mm; it must be above 0",
        ),
        (
            "/views/0/known/0/full_size",
            json!("3 ells"),
            "the unit \"ells\" is not known",
        ),
        (
            "/views/0/known/0/to",
            json!("tank front"),
            "/views/0/known/0/to: both ends are the landmark \"tank front\"",
        ),
        (
            "/views/0/known/0",
            json!({ "in": "render", "from": [4, 5], "to": [4, 5], "model": 1 }),
            "/views/0/known/0/to: both ends are the point [4, 5]; mark two different ones",
        ),
        (
            "/views/0/known/0",
            json!({ "in": "render", "from": [4], "to": [4, 5], "model": 1 }),
            "/views/0/known/0/from: found a list of 1 entry; it must have 2 or more entries",
        ),
        (
            "/views/0/known/0",
            json!({ "in": "render", "from": [4, 5], "to": "tank rear", "along": "z", "model": 1 }),
            "/views/0/known/0/along: found the text \"z\"; allowed are \"x\", \"y\"",
        ),
        (
            "/views/0/known",
            json!([{ "in": "reference", "from": [4, 5], "to": [9, 5], "full_size": "1 m" },
                { "in": "reference", "from": [9, 5], "to": [4, 5], "full_size": "1.1 m" }]),
            "/views/0/known/1: the distance between the same two points is \"1 m\" at /views/0/known/0 already and \"1.1 m\" here; keep the one that is right",
        ),
        (
            "/views/0/symmetry",
            json!({ "pairs": [["tank front", "tank rear"]] }),
            "/views/0/symmetry/pairs: one pair alone gives the axis and nothing to check it by; name another pair",
        ),
        (
            "/views/0/symmetry",
            json!({ "pairs": [["tank front", "tank rear"]], "axis": ["tank rear"] }),
            "/views/0/symmetry/axis/0: the landmark \"tank rear\" is listed twice",
        ),
        (
            "/views/0/reference/outline",
            json!([[0, 0], [9, 9], [9, 0], [0, 9]]),
            "/views/0/reference/outline: the outline crosses itself",
        ),
        (
            "/print",
            json!({}),
            "/print: \"print\" states nothing; state \"pixel_mm\", \"layer_mm\" or \"viewing_distance_mm\"",
        ),
        (
            "/print",
            json!({ "pixel_mm": 0.2 }),
            "/smallest_visible_mm: 0.05 mm is stated, but \"print\" gives 0.200 mm (pixel 0.2 mm); keep one of them",
        ),
        (
            "/print",
            json!({ "pixel_mm": 0 }),
            "/print/pixel_mm: found the number 0; it must be 0.0001 or more",
        ),
        (
            "/views/0/known/0/full_size",
            json!(true),
            "found true; it must be a number or a text in quotes",
        ),
        (
            "/views/0/known/0/full_size",
            json!(null),
            "found null; it must be a number or a text in quotes",
        ),
        (
            "/views/0/known/0/model",
            json!(3),
            "both \"full_size\" and \"model\" are stated; keep one",
        ),
        (
            "/views/0/known/0",
            json!({ "in": "render", "from": "tank front", "to": "tank rear" }),
            "/views/0/known/0: the known length is missing; state \"full_size\" or \"model\"",
        ),
        (
            "/views/0/known/0",
            json!({ "from": "tank front", "to": "tank rear", "model": 1 }),
            "/views/0/known/0: the key \"in\" is missing",
        ),
        (
            "/views/0/name",
            json!("../up"),
            "cannot be a folder name: a sign in it is not allowed; allowed are letters",
        ),
        ("/views/0/name", json!(".."), "it stands for another folder"),
        (
            "/views",
            json!([]),
            "/views: found an empty list; it must have 1 or more entries",
        ),
        (
            "/views",
            json!({}),
            "/views: found an object; it must be a list in [ ]",
        ),
        (
            "/scale",
            json!("1:0"),
            "/scale: the scale is \"1:0\"; both numbers must be above 0",
        ),
        (
            "/scale",
            json!(0),
            "/scale: the scale is 0; both numbers must be above 0",
        ),
        (
            "/scale",
            json!("thirty-two"),
            "cannot be read; write \"1:24\"",
        ),
        (
            "/unit",
            json!("furlong"),
            "allowed are \"mm\", \"cm\", \"m\", \"in\", \"ft\"",
        ),
        (
            "/tolerance/edge_overlap",
            json!(1.5),
            "/tolerance/edge_overlap: found the number 1.5; it must be 1 or less",
        ),
        (
            "/smallest_visible_mm",
            json!(0),
            "it must be 0.0001 or more",
        ),
        (
            "/title",
            json!("t".repeat(501)),
            "it must have 500 characters or fewer",
        ),
    ];
    for (pointer, value, words) in cases {
        let message = lines(&with(pointer, value.clone()));
        assert!(
            message.contains(words),
            "{pointer} = {value}:\n{message}\nlacks: {words}"
        );
        assert!(
            message.lines().all(|l| l.starts_with("/jobs/pump.json: ")),
            "{message}"
        );
    }
    assert!(example().pointer(region).is_some());
}

#[test]
fn numbers_beyond_what_a_picture_or_a_print_can_show_are_refused() {
    for (pointer, least, most) in [
        ("/smallest_visible_mm", 0.0001, 100.0),
        ("/print/pixel_mm", 0.0001, 100.0),
        ("/print/layer_mm", 0.0001, 100.0),
        ("/print/viewing_distance_mm", 1.0, 100_000.0),
        ("/tolerance/proportion_percent", 0.001, 100.0),
        ("/tolerance/offset_mm", 0.0001, 1000.0),
        ("/tolerance/angle_deg", 0.001, 90.0),
        ("/tolerance/edge_overlap", 0.001, 1.0),
        (
            "/views/0/regions/0/tolerance/proportion_percent",
            0.001,
            100.0,
        ),
        (
            "/views/0/spans/0/tolerance/proportion_percent",
            0.001,
            100.0,
        ),
        ("/views/0/angles/0/tolerance/angle_deg", 0.001, 90.0),
        ("/expected/size_percent", 0.01, 1000.0),
        ("/expected/rotation_deg", 0.01, 360.0),
        ("/expected/offset_percent", 0.01, 100.0),
        ("/expected/keystone_percent", 0.01, 1000.0),
        ("/views/0/render/mark_sigma_px", 0.001, 10_000.0),
        ("/views/0/reference/mark_sigma_px", 0.001, 10_000.0),
    ] {
        let (parent, key) = pointer.rsplit_once('/').expect("a key");
        let job = |number: f64| {
            let mut job = example();
            if parent.is_empty() {
                job[key] = json!(number);
            } else if job.pointer(parent).is_none() {
                put(&mut job, parent, json!({ key: number }));
            } else {
                put(&mut job, pointer, json!(number));
            }
            // What is stated and what the print gives may differ then; here it is about one number.
            if pointer.contains("print") {
                job.as_object_mut()
                    .expect("a job")
                    .remove("smallest_visible_mm");
            }
            job
        };
        for number in [1e-300, least * 0.99, most * 1.01, 1e300] {
            let text = lines(&job(number));
            let words = if number < least {
                format!(
                    "pump.json: {pointer}: found the number {}; it must be ",
                    json!(number)
                )
            } else {
                format!(
                    "; it must be {} or less",
                    json!(most).to_string().trim_end_matches(".0")
                )
            };
            assert!(text.contains(&words), "{pointer} {number}: {text}");
        }
        for number in [least, most] {
            assert_eq!(faults(&job(number)), "", "{pointer} {number}");
        }
    }
}

#[test]
fn a_known_length_that_no_picture_has_is_refused() {
    for (length, is_sound) in [
        (json!("0.001 mm"), false),
        (json!("1000000 m"), false),
        (json!("18 1/4 in"), true),
        (json!("3 mm"), true),
    ] {
        let text = faults(&with("/views/0/known/0/full_size", length.clone()));
        let words = "/views/0/known/0: the length is ";
        let advice = "see whether the unit, the job's \"scale\" and both ends are right";
        assert_eq!(text.is_empty(), is_sound, "{length}: {text}");
        assert!(
            is_sound || text.contains(words) && text.contains(advice),
            "{text}"
        );
    }
}

#[test]
fn view_names_that_differ_in_capitals_only_are_refused() {
    let mut job = example();
    let mut view = job["views"][0].clone();
    view["name"] = json!("SIDE");
    job["views"].as_array_mut().expect("a list").push(view);
    let words =
        "/views/1/name: the view names \"SIDE\" and \"side\" are the same folder on some systems";
    assert!(lines(&job).contains(words));
}

#[test]
fn all_faults_are_told_at_once() {
    let mut job = with("/views/0/spans/0/to", json!("nowhere"));
    put(&mut job, "/views/0/known/0/full_size", json!("x"));
    put(&mut job, "/scale", json!("1:0"));
    put(&mut job, "/views/0/reference/rectify/aspect", json!("x"));
    assert_eq!(lines(&job).lines().count(), 4, "{}", lines(&job));
}

#[test]
fn a_fault_in_the_form_does_not_hide_faults_of_meaning_in_other_views() {
    let mut job = with("/views/0/spans/0/to", json!("nowhere"));
    let mut view = example()["views"][0].clone();
    view["name"] = json!("front");
    view["registration"] = json!(7);
    job["views"].as_array_mut().expect("a list").push(view);
    let message = lines(&job);
    assert!(
        message.contains("/views/1/registration: found the number 7"),
        "{message}"
    );
    assert!(
        message.contains("/views/0/spans/0/to: no landmark \"nowhere\""),
        "{message}"
    );
}

#[test]
fn faults_have_stable_codes_and_pointers() {
    let error = parse(&with("/views/0/spans/0/to", json!("x")).to_string()).expect_err("faulty");
    assert_eq!(error.code(), "job-faulty");
    let fault = &error.faults()[0];
    assert_eq!(fault.code(), "unknown-landmark");
    assert_eq!(fault.pointer, "/views/0/spans/0/to");
    assert!(fault.text().starts_with("no landmark \"x\""));
}

#[test]
fn the_axes_of_a_view_are_two_of_the_three() {
    let axes = |right: &str, down: &str| {
        let mut job = with("/views/0/name", json!("side"));
        job["views"][0]["axes"] = json!({ "right": right, "down": down });
        job
    };
    assert_eq!(faults(&axes("x", "-z")), "");
    assert!(
        lines(&axes("z", "-z"))
            .contains("/views/0/axes/down: it lies on the same axis as \"right\""),
        "{}",
        lines(&axes("z", "-z"))
    );
    assert!(lines(&axes("x", "up")).contains("allowed are \"x\", \"-x\""));
}

#[test]
fn callipers_measure_a_print_between_two_of_its_landmarks() {
    let reading = |reading: Value, kind: &str| {
        let mut job = with("/views/0/render/kind", json!(kind));
        job["views"][0]["measured"] = json!([reading]);
        job
    };
    let sound = json!({ "from": "tank front", "to": "tank rear", "model": "18.92 mm" });
    assert_eq!(faults(&reading(sound.clone(), "print")), "");
    for (job, words) in [
        (
            reading(sound, "model"),
            "/views/0/measured: callipers measure a print; state \"kind\": \"print\"",
        ),
        (
            reading(
                json!({ "from": "tank front", "to": "tank rea", "model": "18.92 mm" }),
                "print",
            ),
            "/views/0/measured/0/to: no landmark \"tank rea\"; did you mean \"tank rear\"? the view has",
        ),
        (
            reading(
                json!({ "from": "tank front", "to": "tank front", "model": "18.92 mm" }),
                "print",
            ),
            "/views/0/measured/0/to: ",
        ),
        (
            reading(
                json!({ "from": "tank front", "to": "tank rear", "model": "-3 mm" }),
                "print",
            ),
            "/views/0/measured/0/model: ",
        ),
        (
            reading(
                json!({ "from": "tank front", "to": "tank rear", "model": 3, "sigma_mm": 0 }),
                "print",
            ),
            "sigma_mm: found the number 0; it must be 0.0001 or more",
        ),
    ] {
        let said = lines(&job);
        assert!(said.contains(words), "{words}: {said}");
    }
}

#[test]
fn what_a_mark_says_of_itself_is_checked() {
    let at = "/views/0/landmarks/5";
    for (key, value, words) in [
        (
            "sigma_px",
            json!(-1),
            "sigma_px: found the number -1; it must be 0.001 or more",
        ),
        (
            "sigma_px",
            json!({ "render": 0 }),
            "sigma_px/render: found the number 0; it must be 0.001",
        ),
        (
            "sigma_px",
            json!({ "rendr": 1 }),
            "no key \"rendr\" here; did you mean \"render\"?",
        ),
        (
            "sigma_px",
            json!("x"),
            "it must be a number or an object in { }",
        ),
        (
            "on",
            json!("edge"),
            "allowed are \"corner\", \"outline\", \"centre\"",
        ),
    ] {
        let said = lines(&with(&format!("{at}/{key}"), value));
        assert!(said.contains(words), "{said}");
    }
    let both = parse(&with(&format!("{at}/sigma_px"), json!(2)).to_string()).expect("sound");
    assert_eq!(both.views[0].landmarks[5].sigma_px, [Some(2.0); 2]);
    let example = parse(&example().to_string()).expect("sound");
    assert_eq!(example.views[0].landmarks[5].sigma_px, [None, Some(2.0)]);
    assert_eq!(
        example.views[0].landmarks[5].on,
        Some(MarkOn::Outline(None))
    );
}

#[test]
fn files_that_are_no_job_are_told_with_line_and_column() {
    for (bytes, words) in [
        (
            &b"{\n  \"title\": \n}"[..],
            "not JSON: expected value at line 3 column 1",
        ),
        (
            b"",
            "not JSON: EOF while parsing a value at line 1 column 0",
        ),
        (b"{} {}", "not JSON: trailing characters at line 1 column 4"),
        (b"[1e999]", "not JSON: number out of range at line 1"),
        (b"\"\xff\"", "byte 1 is not UTF-8; save the file as UTF-8"),
        (b"[]", "found an empty list; it must be an object in { }"),
        (b"{}", "the key \"views\" is missing"),
    ] {
        let error = job::parse(bytes, Path::new("a.json")).expect_err("faulty");
        assert!(error.to_string().contains(words), "{error}");
    }
}

#[test]
fn a_key_written_twice_is_refused() {
    let text = EXAMPLE.replacen("\"unit\": \"mm\"", "\"unit\": \"mm\", \"unit\": \"in\"", 1);
    let message = parse(&text).expect_err("faulty").to_string();
    assert!(
        message.contains("duplicate field `unit` at line 4"),
        "{message}"
    );
}

#[test]
fn a_byte_order_mark_is_no_fault() {
    assert!(parse(&format!("\u{feff}{EXAMPLE}")).is_ok());
}

#[test]
fn deep_huge_and_faulty_without_end_are_refused_without_a_crash() {
    let deep = "[".repeat(1_000_000);
    assert!(lines_of(&deep).contains("recursion limit exceeded"));
    let huge = " ".repeat(17 << 20);
    assert!(lines_of(&huge).contains("larger than 16 MB"));
    let many = with("/views/0/landmarks", json!(vec![0; 100_000]));
    let message = lines(&many);
    assert!(
        message.contains("it must have 1000 entries or fewer"),
        "{message}"
    );
    assert!(message.contains("more faults"), "{message}");
    assert!(message.lines().count() < 300);
    let views = with("/views", json!(vec![example()["views"][0].clone(); 1001]));
    assert!(lines(&views).contains("it must have 1000 entries or fewer"));
}

fn lines_of(text: &str) -> String {
    parse(text).expect_err("faulty").to_string()
}

#[test]
fn a_file_that_is_not_there_is_told_with_its_path() {
    let error = job::read(Path::new("no/such/job.json")).expect_err("missing");
    assert_eq!(error.code(), "job-unreadable");
    assert!(
        error
            .to_string()
            .starts_with("no/such/job.json: cannot be read: ")
    );
}

#[test]
fn images_that_are_not_there_are_told_on_demand() {
    let job = parse(EXAMPLE).expect("sound");
    let missing = job::missing_images(&job);
    let pointers: Vec<&str> = missing.iter().map(|fault| fault.pointer.as_str()).collect();
    let expected = [
        "/model/files/0",
        "/model/files/1",
        "/views/0/render/image",
        "/views/0/reference/image",
    ];
    assert_eq!(pointers, expected);
    assert!(
        missing[2].text().contains(
            "there is no file /jobs/side-render.png, which \"render/image\" of the view \""
        )
    );
}

#[test]
fn the_published_schema_accepts_the_example_and_the_starter() {
    let validator = jsonschema::draft202012::new(&job::schema()).expect("a schema");
    assert!(validator.is_valid(&example()));
    let print = include_str!("../../fixtures/jobs/print.json");
    assert!(validator.is_valid(&serde_json::from_str(print).expect("JSON")));
    let print = parse(print).expect("sound");
    assert_eq!(print.views[0].measured.len(), 2);
    assert_eq!(
        print.views[0].known.len(),
        2,
        "each is a known length as well"
    );
    assert_eq!(print.views[0].registration, RegistrationKind::Affine);
    let contents = [[640, 480], [1920, 1080]].map(content);
    let starter = job::starter(
        Path::new("a.png"),
        Path::new("b.jpg"),
        [&contents[0], &contents[1]],
        starter_of(),
    );
    assert!(validator.is_valid(&serde_json::from_str(&starter).expect("JSON")));
    assert!(!validator.is_valid(&with("/extra", json!(1))));
}

fn starter_of() -> StarterOf {
    StarterOf {
        scale: ScaleRatio::one_to(35.0).expect("a scale"),
        kind: ReferenceKind::Plan,
    }
}

fn content(size: [u32; 2]) -> MarkedOn {
    MarkedOn {
        size,
        blake3: "0123456789abcdef".repeat(4),
    }
}

#[test]
fn the_starter_is_a_sound_job_whatever_the_paths_and_sizes() {
    for (render, sizes) in [
        ("a.png", [[640, 480], [1920, 1080]]),
        ("../other \"folder\"/ä b.png", [[1, 1], [60_000, 1]]),
        ("a\n.png", [[0, 0], [3, 2]]),
    ] {
        let [of_render, of_reference] = sizes.map(content);
        let text = job::starter(
            Path::new(render),
            Path::new("b.jpg"),
            [&of_render, &of_reference],
            starter_of(),
        );
        let job = parse(&text).unwrap_or_else(|error| panic!("{error}\n{text}"));
        assert_eq!(job.title, "Untitled");
        assert_eq!(job.scale.denominator(), 35.0);
        let reference = &job.views[0].reference;
        assert_eq!(reference.kind, ReferenceKind::Plan);
        // Its own words say nothing of the picture.
        assert_eq!((&reference.source, &reference.note), (&None, &None));
        let image = job.views[0].render.image.file().expect("a file");
        assert!(image.ends_with(render), "{text}");
        assert!(
            job.views[0]
                .landmarks
                .iter()
                .all(|l| l.name.starts_with("PLACEHOLDER"))
        );
    }
}

fn doubts_of(job: &Value) -> Vec<String> {
    let job = parse(&job.to_string()).expect("sound");
    let doubts = job::doubts(&job).into_iter();
    doubts
        .map(|doubt| format!("{}: {doubt}", doubt.code))
        .collect()
}

#[test]
fn what_is_legal_but_doubtful_is_told() {
    let cases = [
        (
            "enlargement",
            "/scale",
            json!("32:1"),
            "/scale: the scale is 32:1, so the model is larger",
        ),
        (
            "nothing-redundant",
            "/views/0/registration",
            json!("affine"),
            "/views/0/landmarks: 3 datum landmarks are just enough for affine; nothing is redundant",
        ),
        (
            "registration-hides",
            "/views/0/registration",
            json!("affine"),
            "/views/0/registration: affine absorbs uniform stretch and shear",
        ),
        (
            "too-few-landmarks",
            "/views/0/registration",
            json!("projective"),
            "/views/0/landmarks: 3 datum landmarks, projective needs 4; this view cannot be compared before 1 more are marked",
        ),
        (
            "no-known-length",
            "/views/0/known",
            json!([]),
            "/views/0/known: no known length, so figures are in pixels",
        ),
        (
            "not-rectified",
            "/views/0/reference",
            json!({ "image": "b.png" }),
            "/views/0/reference: the picture is not rectified",
        ),
        (
            "aspect-unlike-corners",
            "/views/0/reference/rectify/aspect",
            json!("9:16"),
            "/views/0/reference/rectify/aspect: the aspect is 0.56, but the corners look like 1.7",
        ),
        (
            "region-away-from-marks",
            "/views/0/regions/0/outline",
            json!([[10, 10], [60, 10], [60, 60], [10, 60]]),
            "/views/0/regions/0: \"lantern top\", \"lantern front\", \"lantern rear\" lie far outside",
        ),
        (
            "region-without-landmarks",
            "/views/0/regions/0/landmarks",
            json!([]),
            "/views/0/regions/0: the region \"lantern\" has no landmarks",
        ),
        (
            "marks-coincide",
            "/views/0/landmarks/1/render",
            json!([812.0, 1190.5]),
            "/views/0/landmarks/1/render: \"tank front\" and \"tank rear\" are marked at the same point",
        ),
    ];
    let unchanged = doubts_of(&example()).join("\n");
    for (code, pointer, value, words) in cases {
        let mut changed = with(pointer, value);
        // A part without landmarks cannot be a symmetric one.
        let model = changed["model"].as_object_mut().expect("an object");
        model.remove("symmetry");
        let doubts = doubts_of(&changed).join("\n");
        assert!(
            doubts.contains(&format!("{code}: {words}")),
            "{pointer}:\n{doubts}"
        );
        assert!(!unchanged.contains(code), "{unchanged}");
    }
    let plan = with(
        "/views/0/reference",
        json!({ "image": "b.png", "kind": "plan" }),
    );
    assert!(!doubts_of(&plan).join("\n").contains("not rectified"));
}

#[test]
fn a_length_of_one_image_alone_is_doubtful() {
    let length =
        |side: &str| json!({ "in": side, "from": [0, 0], "to": [100, 0], "model": "9 mm" });
    let doubts = |known: Value| doubts_of(&with("/views/0/known", known)).join("\n");
    for (side, other) in [("render", "reference"), ("reference", "render")] {
        let words = format!("one-image-scaled: /views/0/known: no known length in the {other}, so");
        let found = doubts(json!([length(side)]));
        assert!(found.contains(&words), "{found}");
    }
    let found = doubts(json!([length("render"), length("reference")]));
    assert!(!found.contains("one-image-scaled"), "{found}");
}

#[test]
fn known_lengths_by_which_the_model_is_absurdly_small_or_large_are_doubtful() {
    let doubts = |side: &str, key: &str, length: &str| {
        let known = json!([{ "in": side, "from": [0, 0], "to": [1000, 0], key: length }]);
        doubts_of(&with("/views/0/known", known)).join("\n")
    };
    for (side, key, length, words) in [
        (
            "reference",
            "full_size",
            "33 mm",
            "a length of the model is stated as \"full_size\"",
        ),
        (
            "render",
            "full_size",
            "33 mm",
            "a length of the model is stated as \"full_size\"",
        ),
        (
            "reference",
            "full_size",
            "5.8 mm",
            "full-size; see whether a length of the model is stated as",
        ),
        (
            "render",
            "model",
            "33 m",
            "a length of the full-size object is stated as \"model\"",
        ),
    ] {
        let found = doubts(side, key, length);
        let head = format!(
            "model-size-absurd: /views/0/known: by the known lengths of the {side} the landmarks reach "
        );
        assert!(found.contains(&head) && found.contains(words), "{found}");
    }
    for (side, key, length) in [
        ("reference", "full_size", "792 mm"),
        ("render", "model", "33 mm"),
    ] {
        let found = doubts(side, key, length);
        assert!(!found.contains("model-size-absurd"), "{found}");
    }
}

#[test]
fn views_of_different_variants_are_doubtful() {
    let mut job = example();
    let mut view = job["views"][0].clone();
    view["name"] = json!("front");
    job["views"].as_array_mut().expect("a list").push(view);
    let doubts = doubts_of(&job).join("\n");
    assert!(!doubts.contains("mixed-variants"), "{doubts}");
    job["views"][1]["reference"]["variant"] = json!("rebuilt");
    let doubts = doubts_of(&job).join("\n");
    let words =
        "mixed-variants: /views: the views show different variants (\"as delivered\", \"rebuilt\")";
    assert!(doubts.contains(words), "{doubts}");
}

/// A small generator (Knuth, The Art of Computer Programming 2, MMIX constants) with a fixed seed.
struct Dice(u64);

impl Dice {
    fn below(&mut self, end: usize) -> usize {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) as usize % end
    }
}

fn all_pointers(at: &str, value: &Value, list: &mut Vec<String>) {
    let mut go = |key: &str, inner: &Value| {
        let pointer = format!("{at}/{key}");
        list.push(pointer.clone());
        all_pointers(&pointer, inner, list);
    };
    match value {
        Value::Object(object) => object.iter().for_each(|(k, v)| go(k, v)),
        Value::Array(items) => items
            .iter()
            .enumerate()
            .for_each(|(i, v)| go(&i.to_string(), v)),
        _ => {}
    }
}

#[test]
fn no_change_of_the_example_makes_the_reader_panic() {
    let mut pointers = Vec::new();
    all_pointers("", &example(), &mut pointers);
    let values = [
        json!(null),
        json!(0),
        json!(-1),
        json!(1e308),
        json!(5e-324),
        json!(""),
        json!("tank rear"),
        json!("1/0"),
        json!("'"),
        json!("½"),
        json!([]),
        json!([[]]),
        json!([0, 0]),
        json!([[0, 0], [0, 0], [0, 0], [0, 0]]),
        json!({}),
        json!(true),
        json!("\u{0}"),
        json!(":"),
        json!("x"),
        json!("-"),
    ];
    let mut dice = Dice(7);
    let mut sound = 0;
    for _ in 0..3000 {
        let mut job = example();
        for _ in 0..=dice.below(3) {
            let pointer = &pointers[dice.below(pointers.len())];
            if let Some(place) = job.pointer_mut(pointer) {
                *place = values[dice.below(values.len())].clone();
            }
        }
        match parse(&job.to_string()) {
            Ok(job) => {
                sound += 1;
                job::doubts(&job);
            }
            Err(error) => assert!(!error.faults().is_empty() && !error.to_string().is_empty()),
        }
    }
    // Both ways must be walked, or the test shows little.
    assert!((20..2900).contains(&sound), "{sound} of 3000 were sound");
}

#[test]
fn no_change_of_the_bytes_makes_the_reader_panic() {
    let mut dice = Dice(11);
    for _ in 0..2000 {
        let mut bytes = EXAMPLE.as_bytes().to_vec();
        for _ in 0..=dice.below(4) {
            let at = dice.below(bytes.len());
            match dice.below(3) {
                0 => bytes[at] = dice.below(256) as u8,
                1 => bytes.truncate(at.max(1)),
                _ => {
                    bytes.remove(at);
                }
            }
            if bytes.is_empty() {
                break;
            }
        }
        let _ = job::parse(&bytes, Path::new("a.json"));
    }
}

/// Four points of a figure, 210 mm by 297 mm.
fn sheet_of_paper() -> Value {
    json!([
        { "reference": [412, 305], "at": [0, "0 mm"] },
        { "reference": [3610, 198], "at": ["210 mm", 0] },
        { "reference": [3688, 2120], "at": ["21 cm", "297 mm"] },
        { "reference": [377, 2011], "at": [0, "297 mm"] },
    ])
}

/// Two lines of either direction.
fn line_pairs() -> Value {
    json!({
        "horizontal": [[[412, 305], [3610, 198]], [[377, 2011], [3688, 2120]]],
        "vertical": [[[412, 305], [377, 2011]], [[3610, 198], [3688, 2120]]],
    })
}

#[test]
fn every_way_to_rectify_is_accepted() {
    let corners = json!([[412, 305], [3610, 198], [3688, 2120], [377, 2011]]);
    let bent = json!([[[100, 100], [500, 95], [900, 101]]]);
    for (rectify, is_meant) in [
        (
            json!({ "corners": corners, "find_bezel": true }),
            (|p| matches!(p, KnownPlane::Rectangle(r) if r.aspect.is_none() && r.find_bezel))
                as fn(&KnownPlane) -> bool,
        ),
        (
            json!({ "points": sheet_of_paper() }),
            |p| matches!(p, KnownPlane::Figure(points) if points[2].at[0].0 == 210.0 && points[0].at[1].0 == 0.0),
        ),
        (line_pairs(), |p| matches!(p, KnownPlane::Lines(_))),
        (json!({ "straight_lines": bent }), |p| {
            matches!(p, KnownPlane::Unknown)
        }),
    ] {
        let job = with("/views/0/reference/rectify", rectify.clone());
        let job = parse(&job.to_string()).expect("sound");
        let found = job.views[0].reference.rectify.as_ref().expect("stated");
        assert!(is_meant(&found.plane), "{rectify}: {found:?}");
    }
}

#[test]
fn coordinates_of_a_figure_may_be_below_zero() {
    let mut points = sheet_of_paper();
    points[0]["at"] = json!([-10, "-1 in"]);
    let job = with("/views/0/reference/rectify", json!({ "points": points }));
    let job = parse(&job.to_string()).expect("sound");
    let found = job.views[0].reference.rectify.as_ref().expect("stated");
    let KnownPlane::Figure(points) = &found.plane else {
        panic!("points are stated");
    };
    assert_eq!(points[0].at.map(|v| v.0), [-10.0, -25.4]);
}

#[test]
fn faulty_rectification_is_refused_with_a_way_out() {
    let corners = json!([[412, 305], [3610, 198], [3688, 2120], [377, 2011]]);
    let mut two_lines = line_pairs();
    two_lines["vertical"] = json!([[[412, 305], [377, 2011]]]);
    let mut in_line = sheet_of_paper();
    for (k, at) in [[0, 0], [100, 0], [210, 0], [10, 297]].iter().enumerate() {
        in_line[k]["at"] = json!(at);
    }
    let mut mirrored = sheet_of_paper();
    for (k, at) in [[0, 297], [210, 297], [210, 0], [0, 0]].iter().enumerate() {
        mirrored[k]["at"] = json!(at);
    }
    let short = json!([[[100, 100], [101, 100], [102, 100]]]);
    let same = json!([[[100, 100], [100, 100], [900, 100]]]);
    for (rectify, words) in [
        (json!({}), "nothing is stated to rectify by"),
        (
            json!({ "corners": corners, "points": sheet_of_paper() }),
            "both corners and points are stated; they may contradict each other: keep one",
        ),
        (
            json!({ "points": sheet_of_paper(), "aspect": "16:9" }),
            "/rectify/aspect: \"aspect\" belongs to the corners of a rectangle",
        ),
        (
            json!({ "straight_lines": same, "find_bezel": true }),
            "/rectify/find_bezel: \"find_bezel\" belongs to the corners",
        ),
        (
            json!({ "points": [sheet_of_paper()[0], sheet_of_paper()[1], sheet_of_paper()[2]] }),
            "/rectify/points: 3 points; a plane figure needs 4 or more",
        ),
        (
            json!({ "points": in_line }),
            "all points but one lie on one line (by their \"at\")",
        ),
        (
            json!({ "points": mirrored }),
            "the figure is the mirror image of what the picture shows",
        ),
        (
            two_lines,
            "/rectify/vertical: 1 \"vertical\" line; each of \"horizontal\" and \"vertical\" needs 2 or more",
        ),
        (
            json!({ "straight_lines": short }),
            "/straight_lines/0: the line is 2.0 px long; mark points at least 10 px apart",
        ),
        (
            json!({ "straight_lines": same }),
            "line 0 (counted from 0) has 2 different points; it takes 3 or more to see a bend",
        ),
        (
            json!({ "corners": [[412, 305], [3610, 198], [412, 305], [377, 2011]], "aspect": "16:9" }),
            "lies on one line with its neighbours",
        ),
        (
            json!({ "corners": [[5, 5], [5, 5], [5, 5], [5, 5]] }),
            "lies on one line with its neighbours",
        ),
    ] {
        let found = lines(&with("/views/0/reference/rectify", rectify.clone()));
        assert!(found.contains(words), "{rectify}:\n{found}");
    }
}

#[test]
fn an_aspect_that_the_view_must_tell_is_doubtful() {
    for rectify in [
        json!({ "corners": [[412, 305], [3610, 198], [3688, 2120], [377, 2011]] }),
        line_pairs(),
    ] {
        let doubts = doubts_of(&with("/views/0/reference/rectify", rectify)).join("\n");
        let words = "aspect-from-view: /views/0/reference/rectify: width over height is found from the view";
        assert!(doubts.contains(words), "{doubts}");
    }
    let stated = doubts_of(&example()).join("\n");
    assert!(!stated.contains("aspect-from-view"), "{stated}");
}
