//! Several shots of one screen: what goes with the first is averaged, the rest is told, and all of them count.
use crate::support::random::Random;
use assert_cmd::Command;
use image::{Rgb, RgbImage};
use serde_json::{Value, json};
use std::{fs, path::Path, sync::LazyLock};
use tempfile::TempDir;
use tickstrip::{job, kernels::warp::warp_rgb};

const DEMO: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/demo");
/// Noise that each shot has beside the demo's photo, grey levels.
const NOISE: f64 = 8.0;

/// The demo's photo as it would have been taken a little beside, with noise of its own.
fn shot(k: usize) -> RgbImage {
    static PHOTO: LazyLock<RgbImage> = LazyLock::new(|| {
        let photo = image::open(Path::new(DEMO).join("side-screen.jpg"));
        photo.expect("an image").to_rgb8()
    });
    let beside = k as f64;
    let from_shot = [
        [1.0 + 0.002 * beside, -0.003 * beside, 3.3 * beside],
        [0.003 * beside, 1.0 - 0.001 * beside, -2.7 * beside],
        [2e-6 * beside, -1e-6 * beside, 1.0],
    ];
    let mut picture = warp_rgb(&PHOTO, PHOTO.dimensions(), &from_shot);
    let mut random = Random::new(41 + k as u64);
    for value in picture.iter_mut() {
        *value = (f64::from(*value) + NOISE * random.normal()).round() as u8;
    }
    picture
}

/// The demo's side view in a folder of its own, with four shots, and one of another picture.
fn folder() -> TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    let at = |name: &str| folder.path().join(name);
    for name in ["side-render.png", "plan-old.png"] {
        fs::copy(Path::new(DEMO).join(name), at(name)).expect("copied");
    }
    for k in 0..4 {
        shot(k).save(at(&format!("shot-{k}.png"))).expect("written");
    }
    let job = fs::read(Path::new(DEMO).join("pump.json")).expect("readable");
    let job: Value = serde_json::from_slice(&job).expect("JSON");
    let mut view = job["views"][0].clone();
    let reference = view["reference"].as_object_mut().expect("an object");
    reference.remove("image");
    reference.remove("marked_on");
    write(
        folder.path(),
        &json!({ "title": "t", "scale": "1:24", "views": [view] }),
    );
    name_shots(
        folder.path(),
        &["shot-0.png", "shot-1.png", "shot-2.png", "shot-3.png"],
    );
    folder
}

fn read(folder: &Path) -> Value {
    serde_json::from_slice(&fs::read(folder.join("job.json")).expect("there")).expect("JSON")
}

fn write(folder: &Path, job: &Value) {
    fs::write(folder.join("job.json"), job.to_string()).expect("written");
}

fn name_shots(folder: &Path, names: &[&str]) {
    let mut job = read(folder);
    job["views"][0]["reference"]["images"] = json!(names);
    write(folder, &job);
}

fn run(folder: &Path, arguments: &[&str]) -> (i32, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_tickstrip"))
        .args(arguments)
        .current_dir(folder)
        .output()
        .expect("runs");
    let all = [output.stdout, output.stderr].concat();
    let text = String::from_utf8(all).expect("UTF-8");
    (output.status.code().expect("a status"), text)
}

fn compared(folder: &Path) -> Value {
    let quickly = ["compare", "job.json", "--quiet", "--pictures", "none"];
    let (_, text) = run(folder, &quickly);
    let report = fs::read(folder.join("job-results/report.json"));
    let report: Value =
        serde_json::from_slice(&report.unwrap_or_else(|_| panic!("{text}"))).expect("JSON");
    report["views"][0].clone()
}

#[test]
fn the_report_has_how_many_shots_were_used_and_what_the_noise_became() {
    let folder = folder();
    let view = compared(folder.path());
    assert_eq!(view["error"], Value::Null, "{view}");
    let shots = &view["shots"];
    assert_eq!((&shots["given"], &shots["used"]), (&json!(4), &json!(4)));
    let of = |key: &str| shots[key].as_f64().expect("a number");
    // Noise of the luma: 0.668 of that of a channel.
    let one = of("noise_of_one");
    assert!((one / (0.668 * NOISE) - 1.0).abs() < 0.2, "{shots}");
    assert!(of("noise_of_mean") < 0.58 * one, "{shots}");
    let page = fs::read_to_string(folder.path().join("job-results/report.html")).expect("there");
    assert!(page.contains("The reference is the mean of 4 shots: its noise is "));
    // The figures are those of the demo: the beam is turned by 2.5 degrees.
    let regions = view["regions"].as_array().expect("a list");
    let beam = regions
        .iter()
        .find(|r| r["name"] == "pump beam")
        .expect("there");
    let turned = beam["rotation_deg"]["value"].as_f64().expect("a number");
    assert!((turned - 2.5).abs() < 0.4, "{turned}");
}

#[test]
fn a_shot_that_does_not_go_with_the_first_is_named_and_every_shot_counts() {
    let folder = folder();
    name_shots(folder.path(), &["shot-0.png", "shot-1.png", "shot-2.png"]);
    let first = compared(folder.path());
    assert_eq!(first["shots"]["used"], 3);
    // Another picture under the name of the last one.
    fs::copy(
        folder.path().join("plan-old.png"),
        folder.path().join("shot-2.png"),
    )
    .expect("copied");
    let second = compared(folder.path());
    let shots = &second["shots"];
    assert_eq!(
        (&shots["given"], &shots["used"]),
        (&json!(3), &json!(2)),
        "{second}"
    );
    let warnings = second["warnings"].as_array().expect("a list");
    let told = warnings
        .iter()
        .find(|w| w["code"] == "shot-left-out")
        .expect("told");
    let text = told["text"].as_str().expect("a text");
    assert!(
        text.starts_with("A shot of the reference is not used. shot-2.png: "),
        "{text}"
    );
    assert_ne!(first["reference"]["blake3"], second["reference"]["blake3"]);
}

#[test]
fn shots_none_of_which_goes_with_the_first_are_an_error_of_the_view() {
    let folder = folder();
    name_shots(folder.path(), &["shot-0.png", "plan-old.png"]);
    let error = compared(folder.path())["error"].clone();
    assert_eq!(error["code"], "no-shot-aligns", "{error}");
    let text = error["text"].as_str().expect("a text");
    for words in [
        "shot-0.png: none of the other shots",
        "(plan-old.png: ",
        "from the same place",
    ] {
        assert!(text.contains(words), "{text}");
    }
}

#[test]
fn a_job_that_names_its_shots_wrongly_is_told_where() {
    let folder = folder();
    let cases: [(Value, Value, &str); 6] = [
        (
            json!("shot-0.png"),
            json!(["shot-0.png", "shot-1.png"]),
            "/views/0/reference/images: both \"image\" and \"images\"",
        ),
        (
            Value::Null,
            json!(["shot-0.png"]),
            "/views/0/reference/images: ",
        ),
        (
            Value::Null,
            json!(["shot-0.png", "shot-1.png", "shot-0.png"]),
            "/views/0/reference/images/2: this is the same file as entry 0",
        ),
        (
            Value::Null,
            json!(["shot-0.png", "gone.png"]),
            "/views/0/reference/images/1: there is no file ",
        ),
        (
            Value::Null,
            json!(["shot-0.png", " "]),
            "/views/0/reference/images/1: ",
        ),
        (Value::Null, Value::Null, "/views/0/reference: "),
    ];
    for (image, images, words) in cases {
        let mut job = read(folder.path());
        let reference = job["views"][0]["reference"]
            .as_object_mut()
            .expect("an object");
        for (key, value) in [("image", image), ("images", images)] {
            reference.remove(key);
            if !value.is_null() {
                reference.insert(key.to_owned(), value);
            }
        }
        write(folder.path(), &job);
        let (status, text) = run(folder.path(), &["check", "job.json"]);
        assert_eq!(status, 2, "{text}");
        assert!(text.contains(words), "{words}: {text}");
    }
}

#[test]
fn all_shots_of_a_job_are_its_files_and_the_first_is_the_one_that_is_marked() {
    let job = job::read(Path::new("fixtures/jobs/shots.json")).expect("sound");
    let reference = &job.views[0].reference;
    let names: Vec<_> = reference.shots().filter_map(Path::file_name).collect();
    assert_eq!(names, ["screen-1.jpg", "screen-2.jpg", "screen-3.jpg"]);
    assert!(reference.image.ends_with("screen-1.jpg"));
    let files = job::named_files(&job);
    let pointers: Vec<&str> = files.iter().map(|(pointer, _)| pointer.as_str()).collect();
    let of_shot = |k: usize| format!("/views/0/reference/images/{k}");
    let expected = [
        "/views/0/render/image".to_owned(),
        of_shot(0),
        of_shot(1),
        of_shot(2),
    ];
    assert_eq!(pointers, expected);
}

#[test]
fn an_archive_has_all_shots_wherever_they_lie() {
    let folder = folder();
    let inside = folder.path().join("inside");
    fs::create_dir(&inside).expect("made");
    for name in ["job.json", "side-render.png", "shot-0.png", "shot-2.png"] {
        fs::rename(folder.path().join(name), inside.join(name)).expect("moved");
    }
    name_shots(&inside, &["shot-0.png", "../shot-1.png", "shot-2.png"]);
    let (status, text) = run(&inside, &["archive", "job.json", "--out", "all.zip"]);
    assert_eq!(status, 0, "{text}");
    let (status, text) = run(
        &inside,
        &["archive", "--restore", "all.zip", "--out", "again"],
    );
    assert_eq!(status, 0, "{text}");
    let again = inside.join("again");
    let shots = read(&again)["views"][0]["reference"]["images"].clone();
    assert_eq!(
        shots,
        json!(["shot-0.png", "outside/1/shot-1.png", "shot-2.png"])
    );
    for name in shots.as_array().expect("a list") {
        assert!(
            again.join(name.as_str().expect("a text")).is_file(),
            "{name}"
        );
    }
    let (status, text) = run(&again, &["check", "job.json"]);
    assert_eq!(status, 0, "{text}");
}

#[test]
fn carrying_to_another_picture_takes_the_place_of_all_shots() {
    let folder = folder();
    shot(6)
        .save(folder.path().join("new.png"))
        .expect("written");
    let carry = [
        "carry",
        "job.json",
        "--reference",
        "new.png",
        "--out",
        "carried.json",
    ];
    let (status, text) = run(folder.path(), &carry);
    assert_eq!(status, 0, "{text}");
    let carried = fs::read(folder.path().join("carried.json")).expect("written");
    let carried: Value = serde_json::from_slice(&carried).expect("JSON");
    let reference = &carried["views"][0]["reference"];
    assert_eq!(reference["image"], "new.png");
    assert_eq!(reference["images"], Value::Null);
}

#[test]
fn a_first_shot_that_was_written_over_is_carried_and_stays_one_of_them() {
    let folder = folder();
    let shots = ["shot-0.png", "shot-1.png"];
    name_shots(folder.path(), &shots);
    let bytes = fs::read(folder.path().join("shot-0.png")).expect("there");
    let checksum = blake3::hash(&bytes).to_hex().to_string();
    let mut job = read(folder.path());
    job["views"][0]["reference"]["marked_on"] = json!({ "size": [1900, 1210], "blake3": checksum });
    write(folder.path(), &job);
    let kept = folder.path().join("job-marked");
    fs::create_dir(&kept).expect("made");
    fs::write(kept.join(format!("{checksum}.png")), bytes).expect("written");
    shot(5)
        .save(folder.path().join("shot-0.png"))
        .expect("written");
    let (status, text) = run(
        folder.path(),
        &["carry", "job.json", "--out", "carried.json"],
    );
    assert_eq!(status, 0, "{text}");
    let carried = fs::read(folder.path().join("carried.json")).expect("written");
    let carried: Value = serde_json::from_slice(&carried).expect("JSON");
    let reference = &carried["views"][0]["reference"];
    assert_eq!(reference["images"], json!(shots));
    assert_eq!(reference["image"], Value::Null);
    assert_ne!(reference["marked_on"]["blake3"], json!(checksum));
}

#[test]
fn more_shots_take_no_more_memory_than_two() {
    let folder = folder();
    let need = |names: &[&str]| {
        name_shots(folder.path(), names);
        let (_, text) = run(
            folder.path(),
            &["compare", "job.json", "--max-memory", "1MB"],
        );
        let at = text
            .find("its images take ")
            .unwrap_or_else(|| panic!("{text}"))
            + 16;
        let digits: String = text[at..]
            .chars()
            .take_while(char::is_ascii_digit)
            .collect();
        digits.parse::<u64>().expect("a number")
    };
    let two = need(&["shot-0.png", "shot-1.png"]);
    assert_eq!(
        need(&["shot-0.png", "shot-1.png", "shot-2.png", "shot-3.png"]),
        two
    );
}

#[test]
fn a_blank_picture_beside_others_does_no_harm() {
    let folder = folder();
    let blank = RgbImage::from_pixel(64, 64, Rgb([128; 3]));
    blank
        .save(folder.path().join("blank.png"))
        .expect("written");
    name_shots(folder.path(), &["shot-0.png", "blank.png", "shot-1.png"]);
    let view = compared(folder.path());
    assert_eq!(view["shots"]["used"], 2, "{view}");
}
