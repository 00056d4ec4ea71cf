//! The drawn model as the marking page asks for it: its turntable, places under a click, its lines over a photo.
use crate::support::marking::Marking;
use serde_json::{Value, json};
use std::{
    fs,
    path::{Path, PathBuf},
};
use tempfile::TempDir;

/// A folder with the mesh and the photos of the demo, and its job with a change.
fn folder(change: impl FnOnce(&mut Value)) -> (TempDir, PathBuf) {
    let folder = tempfile::tempdir().expect("a folder");
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/camera-demo");
    for name in ["gate.jpg", "market.jpg", "pump.3mf"] {
        fs::copy(demo.join(name), folder.path().join(name)).expect("copied");
    }
    let text = fs::read_to_string(demo.join("pump.json")).expect("readable");
    let mut job = serde_json::from_str(&text).expect("JSON");
    change(&mut job);
    let file = folder.path().join("job.json");
    fs::write(&file, job.to_string()).expect("written");
    (folder, file)
}

fn code(said: &Value) -> &str {
    said["error"]["code"].as_str().unwrap_or_default()
}

/// From the front (azimuth -90), level: x runs right and z up, as `about` says how long.
fn front(about: &Value, [x, _, z]: [f64; 3]) -> [f64; 2] {
    let number = |value: &Value| value.as_f64().expect("a number");
    let scale = number(&about["scale"]);
    [
        number(&about["size"][0]) / 2.0 + scale * (x - number(&about["middle"][0])),
        number(&about["size"][1]) / 2.0 - scale * (z - number(&about["middle"][2])),
    ]
}
const FRONT: &str = "2700_0";

#[test]
fn the_model_is_drawn_from_all_sides_tile_by_tile() {
    let (_folder, job) = folder(|_| ());
    let page = Marking::start(&job);
    let about = page.get("/api/model");
    assert_eq!(about["size"], json!([1600, 1200]));
    assert_eq!(about["parts"].as_array().map(Vec::len), Some(12));
    let stamp = about["stamp"].as_str().expect("a stamp");
    let tile = |turn: &str, place: &str| {
        let bytes = page.bytes(&format!("/api/model/{stamp}/{turn}/{place}"));
        image::load_from_memory(&bytes)
            .expect("a picture")
            .to_luma8()
    };
    let whole = tile(FRONT, "3/0/0");
    assert_eq!(whole.dimensions(), (800, 600));
    // Half as large as the size: white beside the tank, grey on it.
    let at = |place: [f64; 3]| {
        let [x, y] = front(&about, place).map(|v| (v / 2.0) as u32);
        whole.get_pixel(x, y)[0]
    };
    assert!(at([0.0, 0.0, 30.0]) < 250, "the tank");
    assert!(at([-60.0, 0.0, 60.0]) > 250, "beside it");
    // A tile of the finer picture is the same place of it, larger.
    let fine = tile(FRONT, "2/1/0");
    assert_eq!(fine.dimensions(), (800, 800));
    // Lines are as wide on either, so some pixels differ; of the same picture beside itself far more do.
    let apart = |by: u32| {
        let places = (0..300).flat_map(|y| (0..390).map(move |x| (x, y)));
        let differ = places.filter(|(x, y)| {
            let coarse = i32::from(whole.get_pixel(400 + x + by, *y)[0]);
            let sum = (0..4).map(|k| i32::from(fine.get_pixel(2 * x + k % 2, 2 * y + k / 2)[0]));
            (coarse - sum.sum::<i32>() / 4).abs() > 90
        });
        differ.count()
    };
    assert!(2 * apart(0) < apart(4), "{} {}", apart(0), apart(4));
    assert_ne!(tile("0_900", "3/0/0").into_raw(), whole.clone().into_raw());
    for nothing in [
        format!("{stamp}/{FRONT}/9/0/0"),
        format!("{stamp}/{FRONT}/3/1/0"),
        format!("{stamp}/{FRONT}/3/4294967295/4294967295"),
        format!("{stamp}/3600_0/3/0/0"),
        format!("{stamp}/0_901/3/0/0"),
        format!("{stamp}/front/3/0/0"),
        format!("0123456789abcdef/{FRONT}/3/0/0"),
    ] {
        assert_eq!(
            page.refused(&format!("/api/model/{nothing}")).0,
            404,
            "{nothing}"
        );
    }
}

#[test]
fn a_click_tells_the_corner_the_edge_or_the_surface() {
    let (_folder, job) = folder(|_| ());
    let page = Marking::start(&job);
    let about = page.get("/api/model");
    let pick = |[x, y]: [f64; 2], plain: bool| {
        page.post(
            "/api/pick",
            &json!({ "turn": FRONT, "view": 0, "at": [x, y], "zoom": 0.5, "plain": plain }),
        )
    };
    // The front corner of the tank's top, from ten screen pixels beside it.
    let corner = front(&about, [-35.0, -16.0, 39.0]);
    let beside = [corner[0] + 12.0, corner[1] + 16.0];
    let (status, picked) = pick(beside, false);
    assert_eq!(status, 200, "{picked}");
    assert_eq!(
        picked,
        json!({ "place": [-35.0, -16.0, 39.0], "part": "tank", "kind": "corner" })
    );
    let (_, plain) = pick(beside, true);
    assert_eq!(
        (plain["kind"].as_str(), plain["part"].as_str()),
        (Some("surface"), Some("tank"))
    );
    let scale = about["scale"].as_f64().expect("a number");
    let x = plain["place"][0].as_f64().expect("a number");
    assert!((x - (-35.0 + 12.0 / scale)).abs() < 2e-3, "{plain}");
    // Between two corners, a little below the edge.
    let edge = front(&about, [-10.0, -16.0, 39.0]);
    let (_, picked) = pick([edge[0], edge[1] + 6.0], false);
    assert_eq!(picked["kind"], "edge", "{picked}");
    assert_eq!(
        (&picked["place"][1], &picked["place"][2]),
        (&json!(-16.0), &json!(39.0))
    );
    let (status, said) = pick([3.0, 3.0], false);
    assert_eq!((status, code(&said)), (422, "beside-the-model"), "{said}");
}

#[test]
fn what_the_model_hides_is_told() {
    let (_folder, job) = folder(|_| ());
    let page = Marking::start(&job);
    // The front and the rear corner of the tank's top, and one that hangs free before it.
    let places = [
        [-35.0, -16.0, 39.0],
        [-35.0, 16.0, 39.0],
        [0.0, -90.0, 39.0],
    ];
    let (status, seen) = page.post("/api/seen", &json!({ "turn": FRONT, "places": places }));
    assert_eq!((status, &seen["seen"]), (200, &json!([true, false, true])));
    let (_, none) = page.post("/api/seen", &json!({ "turn": FRONT, "places": [] }));
    assert_eq!(none["seen"], json!([]));
    let (status, said) = page.post("/api/seen", &json!({ "turn": "9999_0", "places": places }));
    assert_eq!((status, code(&said)), (422, "no-direction"));
}

#[test]
fn clicks_that_mean_nothing_are_refused_with_what_to_do() {
    let (_folder, job) = folder(|_| ());
    let page = Marking::start(&job);
    let pick = |body: Value| {
        let (status, said) = page.post("/api/pick", &body);
        (status, code(&said).to_owned())
    };
    let refused = (422, "no-direction".to_owned());
    assert_eq!(
        pick(json!({ "turn": "9999_0", "view": 0, "at": [1, 1], "zoom": 1 })),
        refused
    );
    // The view has no rendered image, and there is no such view.
    let refused = (422, "not-found".to_owned());
    assert_eq!(pick(json!({ "view": 0, "at": [1, 1], "zoom": 1 })), refused);
    assert_eq!(
        pick(json!({ "view": 70, "at": [1, 1], "zoom": 1 })),
        refused
    );
    for zoom in [0.0, -1.0, 1e300] {
        let (status, _) =
            pick(json!({ "turn": FRONT, "view": 0, "at": [1e300, -1e300], "zoom": zoom }));
        assert_eq!(status, 422, "{zoom}");
    }
    assert_eq!(page.refused("/api/lines/70").0, 422);
}

#[test]
fn the_lines_over_a_photo_follow_its_marks() {
    let (_folder, job) = folder(|_| ());
    let page = Marking::start(&job);
    let lines = |page: &Marking| {
        page.get("/api/lines/0")["path"]
            .as_str()
            .expect("a path")
            .to_owned()
    };
    let before = lines(&page);
    let state = page.get("/api/state");
    // The corner of the tank ends a line within the noise of its mark.
    let tank = &state["job"]["views"][0]["landmarks"][6];
    assert_eq!(tank["name"], "tank right front top");
    let mark = [0, 1].map(|k| tank["reference"][k].as_f64().expect("a number"));
    let nearest = before
        .split(['M', 'L'])
        .filter_map(|corner| {
            let (x, y) = corner.split_once(' ')?;
            let [x, y] = [x, y].map(|v| v.parse::<f64>().expect("a number"));
            Some((x - mark[0]).hypot(y - mark[1]))
        })
        .fold(f64::INFINITY, f64::min);
    assert!(nearest < 3.0, "{nearest} px");
    let stamp = |state: &Value| state["fit"]["views"][0]["camera"]["stamp"].clone();
    let edit = json!({ "op": "set", "at": "/job/views/0/landmarks/6/reference", "value": [mark[0] + 2.0, mark[1]] });
    let after = page.change(&state, "Move", &edit);
    assert_ne!(stamp(&after), stamp(&state));
    assert_ne!(lines(&page), before);
}

#[test]
fn without_a_mesh_that_can_be_read_the_page_says_why() {
    let (folder, job) = folder(|_| ());
    fs::write(folder.path().join("pump.3mf"), "no mesh").expect("written");
    let page = Marking::start(&job);
    let (status, said) = page.refused("/api/model");
    assert_eq!(status, 422);
    let text = said["error"]["text"].as_str().expect("words");
    assert!(text.contains("pump.3mf"), "{text}");
    // The rest of the page stands.
    assert_eq!(page.get("/api/state")["fit"]["views"][0]["name"], "gate");
    fs::remove_file(folder.path().join("pump.3mf")).expect("removed");
    assert_eq!(
        page.refused("/api/model").1["error"]["code"],
        "mesh-missing"
    );
    let plain = fs::read_to_string(&job).expect("readable");
    let mut plain: Value = serde_json::from_str(&plain).expect("JSON");
    plain.as_object_mut().expect("a job").remove("model");
    for view in plain["views"].as_array_mut().expect("views") {
        view.as_object_mut().expect("a view").remove("render");
    }
    plain.as_object_mut().expect("a job").remove("together");
    fs::write(&job, plain.to_string()).expect("written");
    let page = Marking::start(&job);
    assert_eq!(page.refused("/api/model").1["error"]["code"], "no-model");
}
