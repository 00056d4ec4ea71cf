//! Several photos together as users run them, on the fire pump from two sides: its lantern and its beam are not like the model's.
use crate::support::run::{Run, run};
use serde_json::{Value, json};
use std::{fs, path::Path};

const FIXTURE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/space");

/// The job of the fixture with a change, in a folder with its pictures.
fn changed(change: impl FnOnce(&mut Value)) -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    for name in ["render.png", "quay.jpg", "yard.jpg", "hall.jpg"] {
        fs::copy(Path::new(FIXTURE).join(name), folder.path().join(name)).expect("copied");
    }
    let text = fs::read_to_string(Path::new(FIXTURE).join("together.json")).expect("readable");
    let mut job = serde_json::from_str(&text).expect("JSON");
    change(&mut job);
    fs::write(folder.path().join("pump.json"), job.to_string()).expect("written");
    folder
}

fn camera(folder: &Path) -> Run {
    run(folder, &["camera", "pump.json", "--json"])
}

fn space_of(run: &Run) -> Value {
    let report: Value =
        serde_json::from_str(&run.out).unwrap_or_else(|e| panic!("{e}: {}{}", run.out, run.err));
    report["space"].clone()
}

fn part<'a>(space: &'a Value, name: &str) -> &'a Value {
    let parts = space["parts"].as_array().expect("parts");
    let found = parts.iter().find(|part| part["name"] == name);
    found.unwrap_or_else(|| panic!("no {name} in {space}"))
}

fn holds(figure: &Value, truth: f64) -> bool {
    let end = |key: &str| figure[key].as_f64().unwrap_or_else(|| panic!("{figure}"));
    end("low") <= truth && truth <= end("high")
}

#[test]
fn the_errors_of_the_parts_are_found_and_the_others_hold_zero() {
    let folder = changed(|_| ());
    let run = camera(folder.path());
    assert_eq!(run.status, 0, "{}", run.err);
    let space = space_of(&run);
    assert_eq!(space["verdict"], "out");
    let lantern = part(&space, "lantern");
    assert!(holds(&lantern["size_percent"]["width"], 6.0), "{lantern}");
    assert!(holds(&lantern["offset_model_mm"]["z"], -0.45), "{lantern}");
    assert!(
        holds(&lantern["offset_full_size_mm"]["z"], -0.45 * 24.0),
        "{lantern}"
    );
    assert!(holds(&lantern["offset_model_mm"]["x"], 0.0), "{lantern}");
    let correction = lantern["correction"].as_str().expect("a change");
    for words in [
        "make the lantern ",
        " % narrower along x (",
        " mm towards +z",
    ] {
        assert!(correction.contains(words), "{correction}");
    }
    let beam = part(&space, "pump beam");
    assert!(holds(&beam["rotation_deg"]["y"], 3.0), "{beam}");
    assert!(
        beam["correction"]
            .as_str()
            .expect("a change")
            .contains("about y, from x towards z")
    );
    for view in space["views"].as_array().expect("views") {
        assert_eq!(view["error"], Value::Null);
        assert_eq!(view["wrong"], json!([]));
    }
}

#[test]
fn a_comparison_writes_them_into_the_report_the_page_and_a_table() {
    let folder = changed(|_| ());
    let done = run(folder.path(), &["compare", "pump.json", "--out", "results"]);
    assert_eq!(done.status, 1, "{}{}", done.out, done.err);
    for words in [
        "in space, all photos together: ",
        "width %",
        "turn about ",
        "errors are model minus subject along the axes of the model",
    ] {
        assert!(done.out.contains(words), "{words:?} in {}", done.out);
    }
    let read =
        |name: &str| fs::read_to_string(folder.path().join("results").join(name)).expect(name);
    let report: Value = serde_json::from_str(&read("report.json")).expect("JSON");
    assert!(holds(
        &part(&report["space"], "lantern")["size_percent"]["width"],
        6.0
    ));
    assert_eq!(report["verdict"], "out");
    let table = read("space.csv");
    let row = "quay and yard,part,lantern,width,%,";
    assert!(
        table.contains(row) && table.contains("mm on the full-size object"),
        "{table}"
    );
    let page = read("report.html");
    assert!(page.contains("id=\"space\"") && page.contains("% smaller along x (scale it by 0.9"));
    // One view alone says nothing of the others.
    let one = run(
        folder.path(),
        &["compare", "pump.json", "--view", "quay", "--out", "one"],
    );
    assert!(!one.out.contains("in space"), "{}", one.out);
    assert!(!folder.path().join("one/space.csv").exists());
}

#[test]
fn one_photo_says_what_it_does_not_tell_and_which_photo_would() {
    let folder = changed(|job| job["together"] = json!(["quay"]));
    let run = run(folder.path(), &["camera", "pump.json"]);
    assert_eq!(run.status, 0, "{}", run.err);
    assert!(run.out.contains("cannot tell "), "{}", run.out);
    let flat = run.out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        flat.contains("\"quay\", with the same landmarks, would tell "),
        "{flat}"
    );
}

#[test]
fn a_photo_without_a_camera_says_why_and_the_other_gives_the_rest() {
    let folder = changed(|job| {
        let marks = job["views"][1]["landmarks"].as_array_mut().expect("marks");
        marks.retain(|mark| mark["use"] == "check");
    });
    let run = camera(folder.path());
    assert_eq!(run.status, 3, "{}", run.err);
    let space = space_of(&run);
    assert_eq!(space["views"][1]["error"]["code"], "too-few-places");
    assert_eq!(space["views"][0]["error"], Value::Null);
    assert_eq!(part(&space, "lantern")["views"], json!(["quay"]));
}

#[test]
fn a_wrong_mark_of_a_part_is_named() {
    let folder = changed(|job| {
        let marks = job["views"][0]["landmarks"].as_array_mut().expect("marks");
        let mark = marks
            .iter_mut()
            .find(|m| m["name"] == "lantern front right");
        let mark = &mut mark.expect("there")["reference"];
        *mark = json!([mark[0].as_f64().expect("x") + 25.0, mark[1]]);
    });
    let space = space_of(&camera(folder.path()));
    assert_eq!(space["views"][0]["wrong"], json!(["lantern front right"]));
    assert!(holds(
        &part(&space, "lantern")["size_percent"]["width"],
        6.0
    ));
}

#[test]
fn views_that_contradict_each_other_are_refused_with_the_place() {
    type Case = (fn(&mut Value), &'static str);
    let cases: [Case; 9] = [
        (
            |job| job["together"] = json!(["quay", "yart"]),
            "/together/1: no view \"yart\"; the job has \"yard\"",
        ),
        (
            |job| job["together"] = json!(["quay", "quay"]),
            "/together/1: the view \"quay\" is listed twice",
        ),
        (
            |job| job["views"][1]["landmarks"][0]["model_mm"] = json!([30, -12, 4]),
            "/views/1/landmarks/0/model_mm: the landmark \"sole plate front right top\" lies at (30, -12, 4) on the model here and at (30, -12, 3) in the view \"quay\"",
        ),
        (
            |job| {
                let landmarks = job["views"][0]["landmarks"].as_array_mut().expect("a list");
                for coordinate in landmarks
                    .iter_mut()
                    .filter_map(|l| l["model_mm"].as_array_mut())
                    .flatten()
                {
                    *coordinate = json!(coordinate.as_f64().expect("a number") / 10.0);
                }
            },
            "/views/1/landmarks: 26 landmarks lie elsewhere on the model here than in the view \"quay\" (10.0 times as far from each other: \
             10 lies between millimetres and centimetres), such as \"sole plate front right top\", \"sole plate front left top\", \"sole plate \
             rear right top\"; in views that are taken",
        ),
        (
            |job| job["views"][1]["landmarks"][0]["use"] = json!("check"),
            "/views/1/landmarks/0/use: the landmark \"sole plate front right top\" is datum in one and check in the other",
        ),
        (
            |job| job["views"][1]["regions"][0]["name"] = json!("lamp"),
            "belongs to the parts \"lantern\" and \"lamp\"",
        ),
        (
            |job| job["views"][1]["reference"]["interior"] = json!({ "same_as": "yard" }),
            "/views/1/reference/interior/same_as: \"yard\" is this view or takes its own camera from another one",
        ),
        (
            |job| {
                job["views"][1]["reference"]["interior"] =
                    json!({ "same_as": "quay", "lens": "unknown" })
            },
            "the camera is that of \"quay\", and more is stated of it here",
        ),
        (
            |job| {
                job["views"][0]["reference"]["rectify"] =
                    json!({ "corners": [[0, 0], [100, 0], [100, 100], [0, 100]], "aspect": 1 });
                job["views"][1]["reference"]["interior"] = json!({ "same_as": "quay" });
            },
            "is a photo of a screen, whose picture has its own camera",
        ),
    ];
    for (change, words) in cases {
        let run = camera(changed(change).path());
        assert_eq!(run.status, 2, "{}", run.out);
        assert!(run.err.contains(words), "{words:?} in {}", run.err);
        let is_told_once = words.contains("landmarks lie elsewhere");
        assert!(!is_told_once || run.err.lines().count() == 1, "{}", run.err);
    }
}

#[test]
fn photos_of_one_camera_have_one_focal_length_and_one_size() {
    let tied = |job: &mut Value| {
        job["views"][1]["reference"]["interior"] = json!({ "same_as": "quay" });
    };
    let space = space_of(&camera(changed(tied).path()));
    let focal = |k: usize| {
        space["views"][k]["focal_length_px"]["value"]
            .as_f64()
            .expect("told")
    };
    assert!(
        (focal(0) / focal(1) - 1.0).abs() < 1e-4,
        "{} {}",
        focal(0),
        focal(1)
    );
    let folder = changed(|job| {
        tied(job);
        job["views"][1]["reference"]["image"] = json!("small.png");
    });
    let small = image::RgbImage::new(1100, 800);
    small
        .save(folder.path().join("small.png"))
        .expect("written");
    let space = space_of(&camera(folder.path()));
    assert_eq!(
        space["views"][1]["error"]["code"], "same-as-other-size",
        "{space}"
    );
}

/// The job with a part for each landmark and without regions and uses: the datum is named in "model".
fn by_parts(change: impl FnOnce(&mut Value)) -> tempfile::TempDir {
    changed(|job| {
        job["model"] = json!({
            "files": ["model.obj"], "unit": "mm", "datum": ["sole plate", "tank", "air vessel"],
        });
        for view in job["views"].as_array_mut().expect("views") {
            view.as_object_mut().expect("a view").remove("regions");
            for mark in view["landmarks"].as_array_mut().expect("marks") {
                let name = mark["name"].as_str().expect("a name");
                let begins = [("vessel", "air vessel"), ("beam", "pump beam")];
                let parts = ["sole plate", "tank", "lantern", "pump beam"].map(|part| (part, part));
                let mut all = begins.into_iter().chain(parts);
                let part = all
                    .find(|(begin, _)| name.starts_with(begin))
                    .expect("a part")
                    .1;
                mark["part"] = part.into();
                mark.as_object_mut().expect("a mark").remove("use");
            }
        }
        change(job);
    })
}

#[test]
fn parts_and_datum_may_be_named_by_the_landmarks_and_the_model() {
    let stated = space_of(&camera(changed(|_| ()).path()));
    let named = space_of(&camera(by_parts(|_| ()).path()));
    assert_eq!(stated["parts"], named["parts"]);
    assert_eq!(stated["views"], named["views"]);
    // What a landmark says itself counts.
    let own = by_parts(|job| {
        for view in job["views"].as_array_mut().expect("views") {
            for mark in view["landmarks"].as_array_mut().expect("marks") {
                if mark["part"] == "air vessel" {
                    mark["use"] = "check".into();
                }
            }
        }
    });
    let space = space_of(&camera(own.path()));
    assert!(part(&space, "air vessel")["marks"].as_u64() >= Some(4));
}

#[test]
fn edges_of_the_mesh_make_the_errors_sharper_and_are_told() {
    let with_mesh = || {
        let folder = by_parts(|_| ());
        let model = Path::new(FIXTURE).join("model.obj");
        fs::copy(model, folder.path().join("model.obj")).expect("copied");
        folder
    };
    let without = by_parts(|_| ());
    let marks = space_of(&camera(without.path()));
    // The mesh is named and is not there: the marks alone tell, and it is said.
    assert!(marks["edges_error"]["text"].is_string(), "{marks}");
    assert_eq!(part(&marks, "lantern")["edges"], json!([]));
    let folder = with_mesh();
    let space = space_of(&camera(folder.path()));
    assert_eq!(space["edges_error"], Value::Null);
    let half = |figure: &Value| {
        let end = |key: &str| figure[key].as_f64().unwrap_or_else(|| panic!("{figure}"));
        (end("high") - end("low")) / 2.0
    };
    let lantern = part(&space, "lantern");
    for view in ["quay", "yard"] {
        let edges = lantern["edges"].as_array().expect("edges");
        let own = edges.iter().find(|entry| entry["view"] == view);
        let points = own.expect("found in both")["points"].as_u64();
        assert!(points > Some(20), "{lantern}");
    }
    let width = &lantern["size_percent"]["width"];
    assert!(holds(width, 6.0), "{lantern}");
    assert!(half(width) < 0.9 * half(&part(&marks, "lantern")["size_percent"]["width"]));
    // In these photos the beam's edges are lost in what lies behind it.
    let beam = part(&space, "pump beam");
    assert!(holds(&beam["rotation_deg"]["y"], 3.0), "{beam}");
    assert_eq!(beam["edges_unused"], "no-better-than-chance", "{beam}");
    let text = run(folder.path(), &["camera", "pump.json"]).out;
    let flat = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        flat.contains(" in quay, ") && flat.contains("places on edges: "),
        "{flat}"
    );
    // A comparison tells the same, and does not look again where nothing has changed.
    let compare = ["compare", "pump.json", "--out", "results", "--json"];
    let first: Value = serde_json::from_str(&run(folder.path(), &compare).out).expect("JSON");
    let again: Value = serde_json::from_str(&run(folder.path(), &compare).out).expect("JSON");
    // The report is written with nine digits.
    let told = part(&first["space"], "lantern")["size_percent"]["width"]["value"].as_f64();
    let off = told.expect("told") - width["value"].as_f64().expect("told");
    assert!(off.abs() < 1e-6, "{off}");
    assert_eq!(first["space"], again["space"]);
}

#[test]
fn a_datum_part_that_the_model_has_elsewhere_is_named_and_measured() {
    let folder = by_parts(|job| {
        for view in job["views"].as_array_mut().expect("views") {
            for mark in view["landmarks"].as_array_mut().expect("marks") {
                if mark["part"] == "tank" {
                    let x = mark["model_mm"][0].as_f64().expect("a number");
                    mark["model_mm"][0] = json!(x + 0.8);
                }
            }
        }
    });
    let space = space_of(&camera(folder.path()));
    let tank = part(&space, "tank");
    assert_eq!(tank["altered_datum"], true, "{tank}");
    assert!(holds(&tank["offset_model_mm"]["x"], 0.8), "{tank}");
    assert_eq!(part(&space, "lantern")["altered_datum"], false);
    let text = run(folder.path(), &["camera", "pump.json"]).out;
    let flat = text.split_whitespace().collect::<Vec<_>>().join(" ");
    let words = "its landmarks were to be datum and contradict those of the other datum parts";
    assert!(flat.contains(words), "{flat}");
}

/// Lengths along the tank of 36 x 20 x 14 mm, as they are on the full-size object times so much.
fn lengths(job: &mut Value, times: [f64; 3]) {
    let ends = [
        ("tank rear right top", "tank front right top", 36.0),
        ("tank rear left top", "tank rear right top", 20.0),
        ("tank front right top", "tank front right foot", 14.0),
    ];
    let known = ends.iter().zip(times).map(|((from, to, mm), times)| {
        json!({ "in": "reference", "from": from, "to": to, "full_size": format!("{} mm", 24.0 * mm * times) })
    });
    job["views"][0]["known"] = known.collect();
}

#[test]
fn known_lengths_between_datum_landmarks_tell_the_size_of_the_whole() {
    let folder = changed(|job| lengths(job, [1.02; 3]));
    let run = camera(folder.path());
    let space = space_of(&run);
    // The object is 2 % larger than the scale makes the model, so the model is smaller.
    let larger = &space["model_larger_percent"];
    assert!(holds(larger, 100.0 / 1.02 - 100.0), "{larger}");
    let text = tickstrip(folder.path());
    assert!(text.contains("% smaller than its scale asks for"), "{text}");
    let wrong = changed(|job| lengths(job, [1.0, 1.15, 1.0]));
    let space = space_of(&camera(wrong.path()));
    let flags: Vec<&Value> = space["known"]
        .as_array()
        .expect("lengths")
        .iter()
        .map(|k| &k["wrong"])
        .collect();
    assert_eq!(flags, [false, true, false]);
    let text = tickstrip(wrong.path());
    assert!(
        text.contains("the known length \"tank rear left top\" to \"tank rear right top\", 552.0 mm, contradicts the photos and the other lengths, which ask for 4"),
        "{text}"
    );
}

/// What `camera` prints, on one line.
fn tickstrip(folder: &Path) -> String {
    let out = run(folder, &["camera", "pump.json"]).out;
    out.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The pump's job with a part that is marked as "hood" and that the mesh does not have.
fn with_a_part_beside_the_mesh(symmetry: Value) -> tempfile::TempDir {
    let folder = by_parts(|job| {
        job["model"]["symmetry"] = symmetry;
        for view in job["views"].as_array_mut().expect("views") {
            for mark in view["landmarks"].as_array_mut().expect("marks") {
                if mark["part"] == "lantern" {
                    mark["part"] = json!("lantern hood");
                }
            }
        }
    });
    let mesh = "model.obj";
    fs::copy(Path::new(FIXTURE).join(mesh), folder.path().join(mesh)).expect("copied");
    folder
}

#[test]
fn a_symmetry_of_a_part_that_the_mesh_does_not_have_is_refused_by_every_command() {
    let words = "the \"symmetry\" of \"model\" names the part \"lantern hood\", and the mesh has \"sole plate\", \"tank\", \"air vessel\", \
        \"lantern\", \"pump beam\", \"outlet\"; did you mean \"lantern\"?";
    for (symmetry, at) in [
        (
            json!({ "across": "y", "parts": ["tank", "lantern hood"] }),
            "parts/1",
        ),
        (
            json!({ "across": "y", "pairs": [["lantern hood", "tank"]] }),
            "pairs/0/0",
        ),
    ] {
        let folder = with_a_part_beside_the_mesh(symmetry);
        for command in ["camera", "check", "compare"] {
            let run = run(folder.path(), &[command, "pump.json"]);
            let said = run.out + &run.err;
            let said = said.split_whitespace().collect::<Vec<_>>().join(" ");
            let wanted = format!("/model/symmetry/{at}: {words}");
            assert!(said.contains(&wanted), "{command}: {said}");
            assert_ne!(run.status, 0, "{command}");
        }
        assert!(!folder.path().join("pump-results/report.json").exists());
    }
    let folder = with_a_part_beside_the_mesh(json!({ "across": "y", "parts": ["tank"] }));
    assert_eq!(camera(folder.path()).status, 0);
}

#[test]
fn the_symmetry_of_the_model_names_parts_that_are_marked() {
    // The lantern stands on the plane that mirrors the pump, and so does its partner on the subject.
    let mirrored = by_parts(|job| {
        job["model"]["symmetry"] = json!({ "across": "y", "parts": ["lantern"] });
    });
    let space = space_of(&camera(mirrored.path()));
    let lantern = part(&space, "lantern");
    let offset = &lantern["offset_model_mm"]["y"];
    assert!(holds(offset, 0.0), "{offset}");
    let width = offset["high"].as_f64().expect("told") - offset["low"].as_f64().expect("told");
    assert!(width < 0.1, "{offset}");
    let refused = |symmetry: Value, words: &str| {
        let folder = by_parts(|job| job["model"]["symmetry"] = symmetry);
        let run = camera(folder.path());
        assert_eq!(run.status, 2, "{}", run.out);
        assert!(run.err.contains(words), "{words:?} in {}", run.err);
    };
    refused(
        json!({ "across": "y", "parts": ["lanten"] }),
        "/model/symmetry/parts/0: no view that is taken \"together\" marks the part \"lanten\"; they have \"sole plate\"",
    );
    refused(
        json!({ "across": "y", "parts": ["lanten"] }),
        "did you mean \"lantern\"?",
    );
    refused(
        json!({ "across": "y", "pairs": [["lantern", "pump beam"]], "parts": ["lantern"] }),
        "/model/symmetry/parts/0: the part \"lantern\" is listed twice; a part has one mirror image",
    );
    let alone = by_parts(|job| {
        job["model"]["symmetry"] = json!({ "across": "y", "parts": ["lantern"] });
        job.as_object_mut().expect("a job").remove("together");
    });
    let run = camera(alone.path());
    assert!(
        run.err
            .contains("/model/symmetry: no views are taken \"together\""),
        "{}",
        run.err
    );
}

/// The lantern with axes of its own.
fn with_axes(axes: Value) -> tempfile::TempDir {
    by_parts(|job| job["model"]["axes"] = axes)
}

#[test]
fn a_part_with_its_own_axes_is_told_along_them() {
    // A quarter of a turn about z: its x runs along y of the model, its y against x.
    let own = json!([{ "part": "lantern", "width": [0, 1, 0], "height": [0, 0, 2] }]);
    let (plain, turned) = (&by_parts(|_| ()), with_axes(own));
    let [plain, space] = [plain, &turned].map(|folder| space_of(&camera(folder.path())));
    let (lantern, before) = (part(&space, "lantern"), part(&plain, "lantern"));
    assert_eq!(
        lantern["own_axes"],
        json!([[0.0, 1.0, 0.0], [-1.0, 0.0, 0.0], [0.0, 0.0, 1.0]])
    );
    assert!(before.get("own_axes").is_none());
    let value = |part: &Value, pointer: &str| {
        let figure = part
            .pointer(pointer)
            .and_then(|figure| figure["value"].as_f64());
        figure.unwrap_or_else(|| panic!("{pointer} of {part}"))
    };
    for (own, of_model, sign) in [
        ("/size_percent/width", "/size_percent/depth", 1.0),
        ("/size_percent/depth", "/size_percent/width", 1.0),
        ("/size_percent/height", "/size_percent/height", 1.0),
        ("/rotation_deg/y", "/rotation_deg/x", -1.0),
        ("/offset_model_mm/x", "/offset_model_mm/y", 1.0),
        ("/offset_model_mm/y", "/offset_model_mm/x", -1.0),
        ("/offset_model_mm/z", "/offset_model_mm/z", 1.0),
    ] {
        // As far as a solution rests.
        let off = value(lantern, own) - sign * value(before, of_model);
        assert!(off.abs() < 2e-3, "{own}: {lantern} {before}");
    }
    let correction = lantern["correction"].as_str().expect("a change");
    assert!(
        correction.contains(" % shallower along its own y (") && correction.contains("its own +z"),
        "{correction}"
    );
    let beams = [&space, &plain].map(|space| part(space, "pump beam"));
    for pointer in ["/size_percent/width", "/rotation_deg/y"] {
        let [one, other] = beams.map(|beam| value(beam, pointer));
        assert!((one - other).abs() < 1e-6, "{pointer}: {one} {other}");
    }
    let words = on_one_line(&run_words(turned.path()));
    for said in [
        "all of it along the part's own axes",
        "those of lantern are along the part's own axes: x, its width, runs along (0.000, 1.000, 0.000) of the model",
        "shallower along its own y",
    ] {
        assert!(words.contains(said), "{said:?} in {words}");
    }
}

/// The table of a job's cameras.
fn run_words(folder: &Path) -> String {
    run(folder, &["camera", "pump.json"]).out
}

fn on_one_line(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn axes_that_are_none_are_refused_with_what_to_do() {
    let refused = |axes: Value, words: &str| {
        let run = camera(with_axes(axes).path());
        assert_eq!(run.status, 2, "{}", run.out);
        assert!(run.err.contains(words), "{words:?} in {}", run.err);
    };
    let axes = |part: &str, width: Value, height: Value| json!({ "part": part, "width": width, "height": height });
    let (x, z) = (json!([1, 0, 0]), json!([0, 0, 1]));
    refused(
        json!([axes("lanten", x.clone(), z.clone())]),
        "/model/axes/0/part: no view that is taken \"together\" marks the part \"lanten\"",
    );
    refused(
        json!([
            axes("lantern", x.clone(), z.clone()),
            axes("lantern", z.clone(), x.clone())
        ]),
        "/model/axes/1/part: the axes of the part \"lantern\" are stated twice",
    );
    refused(
        json!([axes("lantern", json!([0, 0, 0]), z.clone())]),
        "/model/axes/0/width: (0, 0, 0) is no direction",
    );
    refused(
        json!([axes("lantern", x.clone(), json!([1, 0, 1]))]),
        "/model/axes/0/height: it is at 45.0° to the \"width\"",
    );
    refused(
        json!([axes("lantern", x.clone(), json!([1e300, 0, 1]))]),
        "/model/axes/0/height: (1000",
    );
    let mirrored = |symmetry: Value, words: &str| {
        let folder = by_parts(|job| {
            job["model"]["axes"] = json!([axes("lantern", json!([0.8, 0.6, 0]), json!([0, 0, 1]))]);
            job["model"]["symmetry"] = symmetry;
        });
        let run = camera(folder.path());
        assert_eq!(run.status, 2, "{}", run.out);
        assert!(run.err.contains(words), "{words:?} in {}", run.err);
    };
    mirrored(
        json!({ "across": "y", "parts": ["lantern"] }),
        "/model/symmetry/parts/0: the part \"lantern\" is its own mirror image across y, and none of its axes runs along y",
    );
    mirrored(
        json!({ "across": "y", "pairs": [["lantern", "pump beam"]] }),
        "/model/symmetry/pairs/0: the axes of \"lantern\" and \"pump beam\" are no mirror images across y",
    );
    let alone = by_parts(|job| {
        job["model"]["axes"] = json!([axes("lantern", x, z)]);
        job.as_object_mut().expect("a job").remove("together");
    });
    let run = camera(alone.path());
    let words = "/model/axes: no views are taken \"together\"";
    assert!(run.err.contains(words), "{}", run.err);
}
