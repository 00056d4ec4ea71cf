//! `tickstrip measure` as users run it: references before there is a model.
use crate::support::run::{Run, run};
use serde_json::{Value, json};
use std::{fs, path::Path};

const FIXTURES: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures");
const ALONE: &str = include_str!("../../fixtures/jobs/alone.json");

fn measure(folder: &Path, arguments: &[&str]) -> Run {
    run(folder, &[&["measure"], arguments].concat())
}

fn read(name: &str) -> Value {
    let text = fs::read_to_string(Path::new(FIXTURES).join(name)).expect("readable");
    serde_json::from_str(&text).expect("JSON")
}

fn json_of(run: &Run) -> Value {
    serde_json::from_str(&run.out).unwrap_or_else(|e| panic!("{e}: {}{}", run.out, run.err))
}

/// One view of the demo without its render: only what is marked in the reference.
fn alone(view: &str, change: impl FnOnce(&mut Value)) -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    let mut job = read("demo/pump.json");
    let views = job["views"].as_array_mut().expect("views");
    views.retain(|v| v["name"] == view);
    let own = views[0].as_object_mut().expect("a view");
    for key in ["render", "regions", "registration"] {
        own.remove(key);
    }
    let in_reference = |known: &Value| known["in"] == "reference";
    own["known"]
        .as_array_mut()
        .expect("known")
        .retain(in_reference);
    for landmark in own["landmarks"].as_array_mut().expect("landmarks") {
        landmark
            .as_object_mut()
            .expect("a landmark")
            .remove("render");
    }
    let image = own["reference"]["image"].as_str().expect("a file");
    let picture = Path::new(FIXTURES).join("demo").join(image);
    fs::copy(picture, folder.path().join(image)).expect("copied");
    change(&mut job);
    fs::write(folder.path().join("job.json"), job.to_string()).expect("written");
    folder
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value}"))
}

fn holds(figure: &Value, truth: f64) -> bool {
    number(&figure["low"]) <= truth && truth <= number(&figure["high"])
}

fn named<'a>(list: &'a Value, name: &str) -> &'a Value {
    let entries = list.as_array().expect("a list").iter();
    let mut found = entries.filter(|entry| entry["name"] == name);
    found.next().unwrap_or_else(|| panic!("no {name}"))
}

/// The places that hold the truth, of the landmarks on parts that the demo's model has as the subject has them: how many of how many.
fn places_that_hold(
    measured: &Value,
    view: &str,
    parts: &[&str],
    axes: [(&str, f64); 2],
) -> [usize; 2] {
    let truth = read("demo/truth.json");
    let truth = named(&truth["views"], view);
    let mm = 24.0 / number(&truth["render_px_per_model_mm"]);
    let at = |landmark: &Value| [0, 1].map(|k| mm * number(&landmark["render"][k]));
    let origin = at(named(
        &truth["landmarks"],
        measured["origin"].as_str().expect("a name"),
    ));
    let (mut held, mut all) = (0, 0);
    for landmark in truth["landmarks"].as_array().expect("landmarks") {
        let is_right = parts.iter().any(|part| landmark["part"] == *part);
        if !is_right || landmark["name"] == measured["origin"] {
            continue;
        }
        let found = named(
            &measured["places"],
            landmark["name"].as_str().expect("a name"),
        );
        for (k, (axis, sign)) in axes.into_iter().enumerate() {
            let truth = sign * (at(landmark)[k] - origin[k]);
            held += usize::from(holds(&found["full_size_mm"][axis], truth));
            all += 1;
        }
    }
    [held, all]
}

#[test]
fn a_photo_of_a_screen_without_a_render_tells_lengths_and_places_within_the_truth() {
    let folder = alone("side", |job| {
        // The picture on the screen is turned by 1.2°: a line that lies along x takes that off.
        job["views"][0]["known"][0]["along"] = json!("x");
    });
    let run = measure(folder.path(), &["job.json", "--json"]);
    assert_eq!(run.status, 0, "{}", run.err);
    let measured = &json_of(&run)["views"][0]["measured"];
    assert_eq!(measured["by"], "plane");
    // The drawing's 31 1/2 in, and from the sill's front to the vessel's tip: 325 mm along x and 682 mm up.
    let over_vessel = 325.0_f64.hypot(682.0);
    let height = named(&measured["spans"], "height over the vessel");
    assert!(holds(&height["full_size_mm"], over_vessel), "{height}");
    assert!(holds(&height["model_mm"], over_vessel / 24.0), "{height}");
    let share = &measured["proportions"][0];
    assert_eq!(
        (&share["of"], &share["to"]),
        (&json!("height over the vessel"), &json!("tank length"))
    );
    assert!(holds(&share["ratio"], over_vessel / 800.1), "{share}");
    // The front end of the beam is 6° up.
    assert!(holds(&named(&measured["angles"], "beam slope")["deg"], 6.0));
    assert_eq!(measured["place_axes"], json!(["x", "z"]));
    let parts = ["wheels", "undercarriage", "tank", "barrels", "standard"];
    let [held, all] = places_that_hold(measured, "side", &parts, [("x", 1.0), ("z", -1.0)]);
    // One in twenty may lie beyond; places of one reference share the errors of its scale.
    assert!(all > 25 && 10 * held >= 9 * all, "{held} of {all}");
}

#[test]
fn an_old_plan_tells_lengths_within_the_truth_though_it_is_stretched_and_has_a_blot() {
    let folder = alone("plan", |_| ());
    let run = measure(folder.path(), &["job.json", "--json"]);
    assert_eq!(run.status, 0, "{}", run.err);
    let measured = &json_of(&run)["views"][0]["measured"];
    assert_eq!(measured["is_stretch_taken_off"], true);
    assert!(holds(&measured["drawing_stretched_percent"], 1.2));
    let codes: Vec<&Value> = (measured["warnings"].as_array().expect("a list").iter())
        .map(|warning| &warning["code"])
        .collect();
    assert_eq!(codes, ["doubtful-length", "stretched"]);
    for (name, truth) in [("cover length", 832.1), ("reel width", 320.0)] {
        let span = named(&measured["spans"], name);
        assert!(holds(&span["full_size_mm"], truth), "{span}");
        // The plan is drawn at 0.77 px a millimetre, and marked to 0.7 px.
        let width = number(&span["full_size_mm"]["high"]) - number(&span["full_size_mm"]["low"]);
        assert!(width < 12.0, "{span}");
    }
    let parts = ["tank", "wheels", "sills", "vessel"];
    let [held, all] = places_that_hold(measured, "plan", &parts, [("x", 1.0), ("y", -1.0)]);
    assert!(all > 15 && 10 * held >= 9 * all, "{held} of {all}");
}

#[test]
fn a_view_with_a_render_is_measured_by_its_reference_alone() {
    let with = measure(
        Path::new(FIXTURES),
        &["demo/pump.json", "--view", "plan", "--json"],
    );
    assert_eq!(with.status, 0, "{}", with.err);
    let folder = alone("plan", |_| ());
    let without = measure(folder.path(), &["job.json", "--json"]);
    assert_eq!(json_of(&with)["views"][0], json_of(&without)["views"][0]);
}

#[test]
fn a_photo_with_places_on_the_model_is_measured_by_its_camera() {
    let folder = Path::new(FIXTURES).join("space");
    let run = measure(&folder, &["pump.json", "--view", "hall", "--json"]);
    assert_eq!(run.status, 0, "{}", run.err);
    let measured = &json_of(&run)["views"][0]["measured"];
    assert_eq!(
        (&measured["by"], &measured["scale_from"]),
        (&json!("camera"), &json!("places on the model"))
    );
    // The mark that `camera` finds wrong tells nothing.
    let wrong = named(&measured["places"], "tank rear left top");
    assert_eq!(
        (&wrong["full_size_mm"], &wrong["untold"]["code"]),
        (&Value::Null, &json!("mark-in-doubt"))
    );
    let job = read("space/pump.json");
    let landmarks = named(&job["views"], "hall")["landmarks"]
        .as_array()
        .expect("a list")
        .clone();
    let origin = measured["origin"].as_str().expect("a name");
    let place = |name: &str| {
        let found = landmarks.iter().find(|l| l["name"] == name).expect("named");
        [0, 1, 2].map(|k| number(&found["model_mm"][k]))
    };
    let (mut held, mut all) = (0, 0);
    for found in measured["places"].as_array().expect("a list") {
        let name = found["name"].as_str().expect("a name");
        let datum = landmarks
            .iter()
            .any(|l| l["name"] == name && l["use"] != "check");
        if !datum || name == origin || found["untold"] != Value::Null {
            continue;
        }
        for axis in measured["place_axes"].as_array().expect("two") {
            let axis = axis.as_str().expect("a name");
            let k = "xyz".find(axis).expect("an axis");
            held += usize::from(holds(
                &found["model_mm"][axis],
                place(name)[k] - place(origin)[k],
            ));
            all += 1;
        }
    }
    assert!(all >= 16 && 10 * held >= 9 * all, "{held} of {all}");
}

#[test]
fn the_table_says_by_what_and_files_are_written_once() {
    let folder = alone("side", |_| ());
    let arguments = ["job.json", "--out", "measured"];
    let run = measure(folder.path(), &arguments);
    assert_eq!(run.status, 0, "{}", run.err);
    let said = run.out.split_whitespace().collect::<Vec<_>>().join(" ");
    for words in [
        "side: measured in the plane of the reference, ",
        " px a full-size millimetre by its known lengths;",
        "a mark is good to 0.70 px",
        "span full size model tank length",
        "height over the vessel",
        "places in mm from \"hub front\", to the right and down in the picture",
        "wrote measured/side/dimensions.png",
    ] {
        assert!(said.contains(words), "{words}: {}", run.out);
    }
    assert!(
        run.out.lines().all(|line| line.chars().count() <= 80),
        "{}",
        run.out
    );
    let csv = fs::read_to_string(folder.path().join("measured/dimensions.csv")).expect("written");
    assert!(csv.starts_with("view,kind,name,measure,unit,value,low,high,cannot tell\r\n"));
    assert!(
        csv.contains("side,span,tank length,length,mm on the full-size object,"),
        "{csv}"
    );
    let limits = tickstrip::images::Limits::default();
    let picture = folder.path().join("measured/side/dimensions.png");
    let picture = tickstrip::images::read(&picture, &limits).expect("a picture");
    assert!(
        picture.rgb.width() >= 1000,
        "{:?}",
        picture.rgb.dimensions()
    );
    let again = measure(folder.path(), &arguments);
    assert_eq!(again.status, 2);
    assert!(again.err.contains("is there already"), "{}", again.err);
    let forced = measure(folder.path(), &["job.json", "--out", "measured", "--force"]);
    assert_eq!(forced.status, 0, "{}", forced.err);
}

/// The plan with the first known lengths along x and along y, and what "along" says of either.
fn plan_of_two(along: [&str; 2]) -> tempfile::TempDir {
    alone("plan", |job| {
        let known = &mut job["views"][0]["known"];
        let [first, second] = [0, 4].map(|k| known[k].clone());
        *known = json!([first, second]);
        // As the first one asks for: the paper is stretched, which is another matter.
        known[1]["full_size"] = json!("827.5 mm");
        for (k, along) in along.into_iter().enumerate() {
            known[k]["along"] = json!(along);
        }
        job["views"][0]
            .as_object_mut()
            .expect("a view")
            .remove("axes");
    })
}

#[test]
fn lengths_whose_directions_cross_tell_the_scale_and_no_turn() {
    let [sound, crossed] = [["x", "y"], ["x", "x"]].map(|along| {
        let folder = plan_of_two(along);
        let run = measure(folder.path(), &["job.json"]);
        assert_eq!(run.status, 0, "{} {}", run.out, run.err);
        let span = json_of(&measure(folder.path(), &["job.json", "--json"]));
        let span = span["views"][0]["measured"]["spans"][0].clone();
        (run.out.replace("\n    ", " "), span["full_size_mm"].clone())
    });
    let told = "The 2 known directions (\"along\") of the reference contradict each other";
    assert!(!sound.0.contains(told), "{}", sound.0);
    assert!(crossed.0.contains(told), "{}", crossed.0);
    assert!(
        crossed
            .0
            .contains("Look whether \"x\" and \"y\" are exchanged")
    );
    // The lengths agree, whatever their directions: 800 mm with an interval of hundreds would be an error of the scale.
    let wide = number(&crossed.1["high"]) - number(&crossed.1["low"]);
    assert!(wide < 0.1 * number(&crossed.1["value"]), "{:?}", crossed.1);
    assert!(holds(&crossed.1, number(&sound.1["value"])), "{crossed:?}");
}

#[test]
fn a_plan_that_seems_to_lie_on_its_side_is_asked_about() {
    for (along, is_asked) in [(["x", "y"], false), (["y", "x"], true)] {
        let folder = plan_of_two(along);
        let said = measure(folder.path(), &["job.json"]).out;
        let said = said.split_whitespace().collect::<Vec<_>>().join(" ");
        let asked = "° as a known length with \"along\" says (if the picture does not lie on its side, \"x\" and \"y\" are exchanged)";
        assert_eq!(said.contains(asked), is_asked, "{said}");
    }
}

#[test]
fn a_scale_that_two_lengths_contradict_is_not_told() {
    let folder = alone("plan", |job| {
        let known = &mut job["views"][0]["known"];
        *known = json!([known[0].clone(), known[4].clone()]);
        known[1]["full_size"] = json!("500 in");
    });
    let run = measure(folder.path(), &["job.json"]);
    assert_eq!(run.status, 0, "{} {}", run.out, run.err);
    for said in [
        "known lengths contradict each other",
        "Nothing tells a scale",
    ] {
        assert!(run.out.contains(said), "{said}: {}", run.out);
    }
    assert!(!run.out.contains("a full-size millimetre"), "{}", run.out);
}

#[test]
fn the_results_of_a_comparison_are_no_place_for_dimensions() {
    let folder = alone("side", |_| ());
    let results = folder.path().join("results");
    fs::create_dir(&results).expect("made");
    let list = json!({ "format": "tickstrip-results", "format_version": 1, "job": { "file": "../pump.json", "path_blake3": "" }, "files": [] });
    fs::write(results.join("tickstrip-results.json"), list.to_string()).expect("written");
    for force in [&[][..], &["--force"]] {
        let run = measure(
            folder.path(),
            &[&["job.json", "--out", "results"], force].concat(),
        );
        assert_eq!(run.status, 2, "{} {}", run.out, run.err);
        assert!(
            run.err.contains("this folder holds the results of comparing ../pump.json, which are replaced as a whole; name another folder with --out"),
            "{}",
            run.err
        );
    }
    assert_eq!(fs::read_dir(&results).expect("there").count(), 1);
}

#[test]
fn what_cannot_be_measured_is_told_with_what_to_do() {
    let refused = |change: fn(&mut Value), arguments: &[&str], status: i32, expected: &str| {
        let folder = alone("side", change);
        let run = measure(folder.path(), &[&["job.json"], arguments].concat());
        assert_eq!(run.status, status, "{} {}", run.out, run.err);
        let said = format!("{}{}", run.out, run.err).replace("\n  ", " ");
        assert!(said.contains(expected), "{expected}: {said}");
    };
    refused(
        |_| (),
        &["--view", "front"],
        2,
        "no view \"front\"; the job has \"side\"",
    );
    refused(
        |_| (),
        &["--against", "tank"],
        3,
        "the view has no span \"tank\" to hold the others against; it has \"tank length\"",
    );
    refused(
        |job| job["views"][0]["known"] = json!([]),
        &[],
        0,
        "Nothing tells a scale, so only angles and proportions are told.",
    );
    refused(
        |job| job["views"][0]["landmarks"][0]["reference"] = json!([99999, 5]),
        &[],
        3,
        "\"hub front\"",
    );
    refused(
        |job| job["views"][0]["origin"] = json!("hub fron"),
        &[],
        2,
        "/views/0/origin: no landmark \"hub fron\"; did you mean \"hub front\"?",
    );
    refused(
        |job| {
            job["views"][0]["regions"] =
                json!([{ "name": "x", "outline": [[0, 0], [9, 0], [0, 9]] }])
        },
        &[],
        2,
        "/views/0/regions: the view names no \"render\", and \"regions\" says something of one",
    );
    refused(
        |job| job["views"][0]["landmarks"][0]["render"] = json!([1, 2]),
        &[],
        2,
        "/views/0/landmarks/0/render: the view names no \"render\"",
    );
    refused(
        |job| job["views"][0]["known"][0]["in"] = json!("render"),
        &[],
        2,
        "/views/0/known/0/in: the view names no \"render\"",
    );
    refused(
        |job| {
            let known = &mut job["views"][0]["known"][0];
            known["along"] = json!("x");
            known["sigma"] = json!("1 mm");
            known.as_object_mut().expect("a length").remove("full_size");
        },
        &[],
        2,
        "/views/0/known/0/sigma: \"sigma\" says how well a length is known, and neither",
    );
}

#[test]
fn commands_that_need_a_render_name_the_view_and_say_what_measures_it() {
    let folder = alone("side", |_| ());
    for (command, status) in [
        (&["compare", "job.json", "--out", "results"][..], 3),
        (&["sheet", "job.json"], 3),
        (
            &[
                "carry",
                "job.json",
                "--view",
                "side",
                "--render",
                "side-screen.jpg",
            ],
            2,
        ),
    ] {
        let run = run(folder.path(), command);
        assert_eq!(run.status, status, "{command:?} {} {}", run.out, run.err);
        let said = format!("{}{}", run.out, run.err).replace('\n', " ");
        let said = said.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(
            said.contains("the view \"side\" has no render"),
            "{command:?} {said}"
        );
        assert!(said.contains("\"tickstrip measure\""), "{command:?} {said}");
    }
}

#[test]
fn the_job_of_a_reference_alone_meets_the_schema_and_is_read() {
    let job = tickstrip::job::parse(ALONE.as_bytes(), Path::new("alone.json")).expect("sound");
    let view = &job.views[0];
    assert_eq!(view.render.image, tickstrip::job::RenderImage::Absent);
    assert_eq!(view.origin, Some(0));
    assert_eq!(view.known[0].sigma, Some(tickstrip::units::FullSizeMm(0.5)));
}
