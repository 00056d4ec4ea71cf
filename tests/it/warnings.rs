//! What a reader must know stands in the report under its code.
use crate::support::{compared::compare, tree};
use assert_cmd::Command;
use image::{
    ExtendedColorType, ImageEncoder, Rgb, RgbImage, codecs::png::PngEncoder, imageops::FilterType,
};
use serde_json::{Value, json};
use std::{
    collections::BTreeMap,
    fs::{self, File},
    path::Path,
};
use tempfile::TempDir;
use tickstrip::warning::Code;

const DEMO: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/demo");

/// The codes of each view's warnings, by the view's name.
fn codes_of(job: &Value) -> BTreeMap<String, Vec<String>> {
    let report = report_of(job).0;
    let views = report["views"].as_array().expect("a list");
    let text = |value: &Value| value.as_str().expect("a text").to_owned();
    views
        .iter()
        .map(|view| {
            let warnings = view["warnings"].as_array().expect("a list").iter();
            (
                text(&view["name"]),
                warnings.map(|w| text(&w["code"])).collect(),
            )
        })
        .collect()
}

/// What the program makes of a job with the demo's pictures: the report, and the table.
fn report_of(job: &Value) -> (Value, String) {
    let folder = tempfile::tempdir().expect("a folder");
    for name in [
        "front-render.png",
        "front-earlier.png",
        "side-render.png",
        "side-screen.jpg",
    ] {
        fs::copy(Path::new(DEMO).join(name), folder.path().join(name)).expect("copied");
    }
    let (width, height) =
        image::image_dimensions(folder.path().join("front-earlier.png")).expect("an image");
    RgbImage::from_pixel(width, height, Rgb([128; 3]))
        .save(folder.path().join("blank.png"))
        .expect("written");
    fs::write(folder.path().join("job.json"), job.to_string()).expect("written");
    let output = Command::new(env!("CARGO_BIN_EXE_tickstrip"))
        .args(["compare", "job.json"])
        .current_dir(folder.path())
        .output()
        .expect("the program starts");
    let report = fs::read(folder.path().join("job-results/report.json"));
    let report: Value =
        serde_json::from_slice(&report.unwrap_or_else(|_| panic!("{output:?}"))).expect("JSON");
    let table = String::from_utf8(output.stdout).expect("UTF-8");
    (report, table)
}

/// The demo's view of this name under another, with a change.
fn changed(view: &str, name: &str, change: impl Fn(&mut Value)) -> Value {
    let job = fs::read(Path::new(DEMO).join("pump.json")).expect("readable");
    let job: Value = serde_json::from_slice(&job).expect("JSON");
    let views = job["views"].as_array().expect("a list");
    let mut found = views
        .iter()
        .find(|v| v["name"] == view)
        .expect("there")
        .clone();
    found["name"] = json!(name);
    change(&mut found);
    found
}

fn datums(view: &mut Value) -> impl Iterator<Item = &mut Value> {
    let landmarks = view["landmarks"].as_array_mut().expect("a list");
    landmarks.iter_mut().filter(|l| l["use"] == "datum")
}

#[test]
fn each_view_has_the_codes_of_what_was_done_to_it() {
    let front = |name: &str, change: &dyn Fn(&mut Value)| changed("front", name, change);
    let known_in = |side: &'static str| {
        move |view: &mut Value| {
            let known = view["known"].as_array_mut().expect("a list");
            known.retain(|known| known["in"] == side);
        }
    };
    let cases = [
        ("swapped-marks", front("swapped-marks", &|_| {})),
        ("no-scale", front("no-scale", &|v| v["known"] = json!([]))),
        (
            "proportions-only",
            front("proportions-only", &known_in("render")),
        ),
        (
            "hidden-errors",
            front("hidden-errors", &|v| v["registration"] = json!("affine")),
        ),
        (
            "parallax",
            front("parallax", &|v| v["same_camera"] = json!(false)),
        ),
        (
            "no-edges",
            front("no-edges", &|v| {
                v["reference"]["image"] = json!("blank.png")
            }),
        ),
        (
            "far-from-datum",
            front("far-from-datum", &|v| {
                v["registration"] = json!("projective");
                for mark in datums(v).skip(6) {
                    mark["use"] = json!("check");
                }
            }),
        ),
        (
            "contradicting-marks",
            front("contradicting-marks", &|v| {
                let lid = ["box foot left", "box foot right", "box lock"];
                let marks = v["landmarks"].as_array_mut().expect("a list");
                marks.retain(|l| !lid.iter().any(|name| l["name"] == *name));
                for mark in marks {
                    if mark["name"] == "lid left" {
                        mark["reference"] = json!([268.37, 517.0]);
                    }
                    if mark["name"] == "lid right" {
                        mark["reference"] = json!([496.81, 484.0]);
                    }
                }
                let parts = v["regions"].as_array_mut().expect("a list");
                for part in parts {
                    if part["name"] == "tool box" {
                        part["landmarks"] = json!(["lid left", "lid right"]);
                    }
                }
            }),
        ),
        (
            "uncontrolled-marks",
            front("uncontrolled-marks", &|v| {
                for mark in datums(v).skip(2) {
                    mark["use"] = json!("check");
                }
            }),
        ),
        (
            "many-wrong-marks",
            front("many-wrong-marks", &|v| {
                for side in ["render", "reference"] {
                    v[side]["mark_sigma_px"] = json!(0.1);
                }
            }),
        ),
    ];
    let views: Vec<&Value> = cases.iter().map(|(_, view)| view).collect();
    let found = codes_of(&json!({ "title": "t", "scale": "1:24", "views": views }));
    // The first view is the demo's as it is, with its two marks that are exchanged.
    let unchanged = &found["swapped-marks"];
    for (code, _) in &cases {
        let codes = &found[*code];
        assert!(codes.iter().any(|c| c == code), "{code}: {codes:?}");
        let is_as_it_was = *code == "swapped-marks";
        assert_eq!(unchanged.iter().any(|c| c == code), is_as_it_was, "{code}");
    }
    assert!(!unchanged.contains(&"low-edge-overlap".to_owned()));
    assert!(!found["no-scale"].contains(&"proportions-only".to_owned()));
}

/// The demo's front view with its reference exchanged for that of another view after it was marked.
fn exchanged(insisting: bool) -> Value {
    let folder = tempfile::tempdir().expect("a folder");
    let name = "front-earlier.png";
    let open = |name: &str| image::open(Path::new(DEMO).join(name)).expect("an image");
    let earlier = open(name);
    open("side-screen.jpg")
        .resize_exact(earlier.width(), earlier.height(), FilterType::Triangle)
        .save(folder.path().join(name))
        .expect("written");
    fs::copy(
        Path::new(DEMO).join("front-render.png"),
        folder.path().join("front-render.png"),
    )
    .expect("copied");
    let view = changed("front", "front", |view| {
        view["marks_are_right"] = json!(insisting);
    });
    let job = json!({ "title": "t", "scale": "1:24", "views": [view] });
    fs::write(folder.path().join("job.json"), job.to_string()).expect("written");
    Command::new(env!("CARGO_BIN_EXE_tickstrip"))
        .args(["compare", "job.json"])
        .current_dir(folder.path())
        .output()
        .expect("the program starts");
    let report = fs::read(folder.path().join("job-results/report.json")).expect("a report");
    let report: Value = serde_json::from_slice(&report).expect("JSON");
    report["views"][0]["error"].clone()
}

#[test]
fn marks_of_another_picture_are_refused_unless_the_user_insists() {
    let error = exchanged(false);
    assert_eq!(error["code"], "marks-of-another-picture", "{error}");
    let text = error["text"].as_str().expect("a text");
    assert!(
        text.contains("these marks do not belong to these images")
            && text.contains("\"marks_are_right\": true"),
        "{text}"
    );
    assert_eq!(exchanged(true), Value::Null);
}

#[test]
fn a_view_with_many_wrong_marks_leads_no_list_of_changes() {
    let wrong = changed("front", "wrong", |v| {
        for side in ["render", "reference"] {
            v[side]["mark_sigma_px"] = json!(0.1);
        }
    });
    let views = json!([wrong, changed("front", "sound", |_| {})]);
    let (report, table) = report_of(&json!({ "title": "t", "scale": "1:24", "views": views }));
    assert_eq!(report["views"][0]["distrusted"], true);
    assert_eq!(report["views"][1]["distrusted"], false);
    let texts = |view: usize| {
        report["views"][view]["corrections"]
            .as_array()
            .expect("a list")
    };
    assert!(!texts(0).is_empty() && !texts(1).is_empty());
    let place = |words: &str| {
        table
            .find(words)
            .unwrap_or_else(|| panic!("{words} in {table}"))
    };
    let order = [
        "change nothing by this view yet: so many of its marks",
        "what to change in CAD, worst first:",
        "not to be trusted yet, wrong: so many of its marks",
        "\nverdict: ",
    ]
    .map(place);
    assert!(order.is_sorted(), "{order:?} in {table}");
}

/// The demo's side view as one who has not read on marks it: nothing rectifies the photo.
fn side(name: &str, change: impl Fn(&mut Value)) -> Value {
    changed("side", name, |view| {
        view["registration"] = json!("similarity");
        view["reference"]["mark_sigma_px"] = json!(1.0);
        change(view);
    })
}

#[test]
fn what_is_doubtful_of_a_picture_is_said_before_its_marks_are_blamed() {
    let plain = side("plain", |view| {
        let reference = view["reference"].as_object_mut().expect("an object");
        reference.remove("rectify");
    });
    let narrow = side("narrow", |view| {
        view["reference"]["rectify"]["aspect"] = json!("4:3");
    });
    let views = json!([plain, narrow]);
    let (report, table) = report_of(&json!({ "title": "t", "scale": "1:24", "views": views }));
    for (view, code, why) in [
        (
            0,
            "not-rectified",
            "its picture is not rectified, and its marks",
        ),
        (
            1,
            "aspect-unlike-view",
            "what is stated of its picture's aspect",
        ),
    ] {
        let view = &report["views"][view];
        assert_eq!(view["warnings"][0]["code"], code, "{view}");
        assert_eq!(view["distrusted"], true, "{view}");
        let words = format!("change nothing by this view yet: {why}");
        assert!(table.contains(words.split_at(60).0), "{words} in {table}");
    }
    assert!(
        !table.contains("what to change in CAD, worst first"),
        "{table}"
    );
}

#[test]
fn an_outline_that_lies_elsewhere_than_the_marks_of_its_part_is_told() {
    let at = |outline: Value| {
        changed("front", "front", |view| {
            view["regions"][0]["outline"] = outline.clone();
        })
    };
    let job = |view: Value| json!({ "title": "t", "scale": "1:24", "views": [view] });
    let told = codes_of(&job(at(json!([[5, 5], [40, 5], [40, 40], [5, 40]]))));
    let code = "region-away-from-marks".to_owned();
    assert!(told["front"].contains(&code), "{told:?}");
    let told = codes_of(&job(changed("front", "front", |_| ())));
    assert!(!told["front"].contains(&code), "{told:?}");
}

#[test]
fn edges_that_overlap_less_than_asked_for_are_told() {
    let view = changed("front", "front", |_| {});
    let tolerance = json!({ "edge_overlap": 0.99 });
    let job = json!({ "title": "t", "scale": "1:24", "tolerance": tolerance, "views": [view] });
    assert!(codes_of(&job)["front"].contains(&"low-edge-overlap".to_owned()));
}

// ---- What is told of marks alone: views whose pictures show nothing, measured without drawing.

const SIZE: (u32, u32) = (600, 500);

/// The folder with the pictures: one shows nothing, the other has a colour profile that is none.
fn blank_pictures() -> TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    let blank = RgbImage::from_pixel(SIZE.0, SIZE.1, Rgb([180; 3]));
    blank
        .save(folder.path().join("blank.png"))
        .expect("written");
    let file = File::create(folder.path().join("noted.png")).expect("made");
    let mut encoder = PngEncoder::new(file);
    encoder
        .set_icc_profile(b"no profile".to_vec())
        .expect("PNG has one");
    encoder
        .write_image(&blank, SIZE.0, SIZE.1, ExtendedColorType::Rgb8)
        .expect("written");
    folder
}

/// Five by five places all over the picture.
fn places() -> impl Iterator<Item = [f64; 2]> {
    (0..25).map(|i| {
        let [column, row] = [i % 5, i / 5].map(f64::from);
        [60.0 + 120.0 * column, 50.0 + 100.0 * row]
    })
}

/// A direction that is another one for each mark, so that no map takes such moves up.
fn towards(i: usize) -> [f64; 2] {
    // The golden angle: no two are alike.
    let (sin, cos) = (2.4 * i as f64).sin_cos();
    [cos, sin]
}

/// A plan of which render and reference are the same, with 12 known lengths, six along x and six along y, of 5 mm a pixel.
fn plan() -> Value {
    let landmarks: Vec<Value> = places()
        .enumerate()
        .map(|(i, p)| json!({ "name": format!("mark {i:02}"), "use": "datum", "render": p, "reference": p }))
        .collect();
    let known: Vec<Value> = (0..12)
        .map(|k| {
            let (along_y, n) = (k >= 6, f64::from(k % 6));
            let length = 300.0 + 20.0 * n;
            let (from, to) = match along_y {
                false => ([40.0 + n, 30.0 + 80.0 * n], [40.0 + n + length, 30.0 + 80.0 * n]),
                true => ([50.0 + 90.0 * n, 20.0 + n], [50.0 + 90.0 * n, 20.0 + n + length]),
            };
            json!({ "in": "reference", "from": from, "to": to, "along": if along_y { "y" } else { "x" },
                "full_size": format!("{} mm", 5.0 * length) })
        })
        .collect();
    json!({
        "name": "view",
        "render": { "image": "blank.png", "mark_sigma_px": 1.0 },
        "reference": { "image": "blank.png", "kind": "plan", "mark_sigma_px": 1.0 },
        "landmarks": landmarks, "known": known,
    })
}

/// Moves every mark in the reference.
fn move_marks(view: &mut Value, moved: impl Fn(usize, [f64; 2]) -> [f64; 2]) {
    for (i, (landmark, p)) in datums(view).zip(places()).enumerate() {
        landmark["reference"] = json!(moved(i, p));
    }
}

/// The place drawn together to the middle of the picture, and nearer by so much at its corners.
fn bent(p: [f64; 2], together: f64, at_corners: f64) -> [f64; 2] {
    let [x, y] = [p[0] - 300.0, p[1] - 250.0].map(|v| together * v);
    let times = 1.0 - at_corners * (x * x + y * y) / (300.0 * 300.0 + 250.0 * 250.0);
    [300.0 + times * x, 250.0 + times * y]
}

/// The same by so many pixels, each mark in a direction of its own.
fn move_marks_by(view: &mut Value, px: f64) {
    move_marks(view, |i, p| [0, 1].map(|k| p[k] + px * towards(i)[k]));
}

/// Makes the known lengths with these numbers so many times as long.
fn misread(view: &mut Value, times: &[(usize, f64)]) {
    for (k, times) in times {
        let known = &mut view["known"][*k];
        let [from, to] = ["from", "to"].map(|end| {
            let at = |axis: usize| known[end][axis].as_f64().expect("a number");
            [at(0), at(1)]
        });
        let length = (to[0] - from[0]).hypot(to[1] - from[1]);
        known["full_size"] = json!(format!("{:.1} mm", 5.0 * length * times));
    }
}

/// A plane seen by a camera of 700 px turned by 25 and 20 degrees, whose rectangle of 480 x 400 tells its proportion.
fn askew() -> Value {
    let seen = |[x, y]: [f64; 2]| {
        let (sin, cos) = 25_f64.to_radians().sin_cos();
        let (sin_up, cos_up) = 20_f64.to_radians().sin_cos();
        let [x, y] = [(x - 300.0) / 240.0, (y - 250.0) / 240.0];
        let (x, z) = (cos * x, -sin * x);
        let (y, z) = (cos_up * y - sin_up * z, sin_up * y + cos_up * z + 3.5);
        [300.0 + 700.0 * x / z, 250.0 + 700.0 * y / z]
    };
    let mut view = plan();
    move_marks(&mut view, |_, p| seen(p));
    view["known"] = json!([]);
    let corners = [[60.0, 50.0], [540.0, 50.0], [540.0, 450.0], [60.0, 450.0]].map(seen);
    view["reference"]["rectify"] = json!({ "corners": corners, "aspect": "6:5" });
    view
}

/// Marks at depths of their own, 500 mm before the render's camera; the reference's stands so many millimetres beside it
/// and is turned back to them.
fn from_elsewhere(beside_mm: f64) -> Value {
    let mut view = plan();
    view["known"] = json!([]);
    view["same_camera"] = json!(false);
    view["render"]["camera"] =
        json!({ "matrix": [[2000, 0, 300, 150_000], [0, 2000, 250, 125_000], [0, 0, 1, 500]] });
    for (i, (landmark, [x, y])) in datums(&mut view).zip(places()).enumerate() {
        let z = 40.0 * towards(i)[1];
        let away = 500.0 + z;
        landmark["model_mm"] = json!([(x - 300.0) * away / 2000.0, (y - 250.0) * away / 2000.0, z]);
        landmark["reference"] = json!([x - 2000.0 * beside_mm * (1.0 / away - 1.0 / 500.0), y]);
    }
    view
}

/// The code, words of the warning, and the change that makes the view have it.
type Case = (&'static str, &'static str, fn(&mut Value));

/// Each change makes the view have its warning, and without it the view has none of them.
fn assert_told(sound: &Value, cases: &[Case]) {
    let folder = blank_pictures();
    let warned = |view: &Value| -> Vec<(Code, String)> {
        let mut view = view.clone();
        for image in ["render", "reference"] {
            let name = view[image]["image"].as_str().expect("a name");
            view[image]["image"] = json!(folder.path().join(name));
        }
        let job = json!({ "title": "t", "scale": "1:24", "views": [view] });
        let warnings = compare(&job).1.measurement.warnings;
        warnings.into_iter().map(|w| (w.code, w.text)).collect()
    };
    let of_sound = warned(sound);
    let mut wrong = Vec::new();
    for (code, words, change) in cases {
        let mut view = sound.clone();
        change(&mut view);
        let found = warned(&view);
        let is_told = |(of, text): &(Code, String)| of == code && text.contains(words);
        if !found.iter().any(is_told) || of_sound.iter().any(|w| w.0 == *code) {
            wrong.push(format!("{code}: {found:#?}"));
        }
    }
    assert!(
        wrong.is_empty(),
        "{}\nof the sound view: {of_sound:#?}",
        wrong.join("\n")
    );
}

#[test]
fn what_speaks_against_an_image_or_its_marks_is_told() {
    assert_told(
        &plan(),
        &[
            (
                "image-note",
                "The render: the embedded colour profile cannot be used",
                |v| v["render"]["image"] = json!("noted.png"),
            ),
            (
                "swapped-marks",
                "\"mark 03\" and \"mark 20\" are exchanged in one of the images",
                |v| {
                    let [one, other] = [3, 20].map(|i| v["landmarks"][i]["reference"].clone());
                    v["landmarks"][3]["reference"] = other;
                    v["landmarks"][20]["reference"] = one;
                },
            ),
            ("wrong-mark", "\"mark 07\" is off by 20.", |v| {
                v["landmarks"][7]["reference"] = json!([320.0, 150.0])
            }),
            (
                "marks-disagree",
                "times as much as their stated mark_sigma_px allows",
                |v| move_marks_by(v, 3.5),
            ),
            (
                "marks-scatter",
                "1.4 times the most that is taken for noise of marks (5.0 px)",
                |v| {
                    for image in ["render", "reference"] {
                        v[image]
                            .as_object_mut()
                            .expect("an object")
                            .remove("mark_sigma_px");
                    }
                    move_marks_by(v, 11.0);
                },
            ),
            (
                "lens-by-marks",
                "by 3.1 ±1.6 % at its corners: that bend was taken off",
                // As barrel distortion: 3 % at the corners of the picture.
                |v| move_marks(v, |_, p| bent(p, 1.0, 0.03)),
            ),
            (
                "bent-picture",
                "as if a lens had bent the reference",
                // Only in the middle of the picture, where a lens is badly told.
                |v| move_marks(v, |_, p| bent(p, 0.3, 0.8)),
            ),
        ],
    );
}

#[test]
fn what_speaks_against_known_lengths_and_directions_is_told() {
    assert_told(
        &plan(),
        &[
            (
                "doubtful-length",
                "The known length 1870.0 mm from [42, 190] to [382, 190]",
                |v| misread(v, &[(2, 1.1)]),
            ),
            (
                "contradicting-lengths",
                "nothing tells which is misread: 1500 mm from",
                |v| {
                    v["known"].as_array_mut().expect("a list").truncate(2);
                    misread(v, &[(1, 0.9)]);
                },
            ),
            (
                "lengths-refused",
                "5 of 12 known lengths of the reference contradict the others",
                |v| {
                    misread(v, &[(0, 1.4), (2, 0.6), (5, 2.0), (7, 1.7), (9, 0.4)]);
                },
            ),
            (
                "directions-refused",
                "5 of 12 known directions (\"along\") of the reference contradict",
                |v| {
                    for k in [0, 2, 5, 7, 9] {
                        let along = &mut v["known"][k]["along"];
                        *along = json!(if *along == "x" { "y" } else { "x" });
                    }
                },
            ),
            (
                "directions-refused",
                "The 2 known directions (\"along\") of the reference contradict each other",
                |v| {
                    let known = v["known"].as_array_mut().expect("a list");
                    known.truncate(2);
                    known[0]["along"] = json!("y");
                },
            ),
            (
                "doubtful-length",
                "it runs at 90° to the direction that its \"along\" states. Look whether \"x\" and \"y\" are exchanged",
                |v| v["known"][2]["along"] = json!("y"),
            ),
            (
                "lengths-disagree",
                "The known lengths of the reference disagree by more than the noise",
                |v| {
                    // 3.4 px each, where two marks have 1.4: too little for any one of them to be misread.
                    let off = |k: usize| 3.4 / (300.0 + 20.0 * (k % 6) as f64);
                    let signed = |k: usize| if k.is_multiple_of(2) { off(k) } else { -off(k) };
                    misread(
                        v,
                        &(0..12).map(|k| (k, 1.0 + signed(k))).collect::<Vec<_>>(),
                    );
                },
            ),
            (
                "implausible-size",
                "the model as a whole is 10.0 times too large; 10 lies between millimetres and centimetres",
                |v| {
                    // 300 px of the render are 62.5 mm on a model at 1:24.
                    let known = v["known"].as_array_mut().expect("a list");
                    known.push(json!({ "in": "render", "from": [40, 30], "to": [340, 30], "model": "62.5 cm" }));
                },
            ),
            ("stretched", "the reference is stretched by +2.0", |v| {
                misread(v, &(0..6).map(|k| (k, 1.0 / 1.02)).collect::<Vec<_>>());
            }),
            (
                "out-of-square",
                "Right angles of the drawing are 91.",
                |v| {
                    let known = v["known"].as_array_mut().expect("a list");
                    for known in known.iter_mut().filter(|known| known["along"] == "y") {
                        let x = known["to"][0].as_f64().expect("a number");
                        known["to"][0] = json!(x - 8.0);
                    }
                },
            ),
        ],
    );
}

/// What `check` says of the plan with this known length in the render.
fn checked(model: &str) -> String {
    let folder = blank_pictures();
    let mut view = plan();
    let known = view["known"].as_array_mut().expect("a list");
    known.push(json!({ "in": "render", "from": [40, 30], "to": [340, 30], "model": model }));
    let job = json!({ "title": "t", "scale": "1:24", "views": [view] });
    fs::write(folder.path().join("job.json"), job.to_string()).expect("written");
    let output = Command::new(env!("CARGO_BIN_EXE_tickstrip"))
        .args(["check", "job.json"])
        .current_dir(folder.path())
        .output()
        .expect("the program starts");
    format!("{output:?}")
}

#[test]
fn check_asks_for_the_unit_of_a_length_before_anything_is_compared() {
    let found = checked("62.5 cm");
    assert!(
        found.contains("/views/0/known")
            && found.contains("10 lies between millimetres and centimetres"),
        "{found}"
    );
    let sound = checked("62.5 mm");
    assert!(!sound.contains("/views/0/known"), "{sound}");
}

#[test]
fn what_speaks_against_a_plane_or_a_camera_is_told() {
    assert_told(
        &askew(),
        &[
            (
                "aspect-from-view",
                "Width over height of the plane was found from the view as 1.2",
                |v| {
                    v["reference"]["rectify"]
                        .as_object_mut()
                        .expect("an object")
                        .remove("aspect");
                },
            ),
            ("bezel-not-found", "The bezel was not found: ", |v| {
                v["reference"]["rectify"]["find_bezel"] = json!(true)
            }),
        ],
    );
    assert_told(
        &from_elsewhere(25.0),
        &[(
            "far-camera",
            "the reference's camera would have to stand elsewhere by ",
            |v| *v = from_elsewhere(120.0),
        )],
    );
}

#[test]
fn views_whose_known_lengths_make_models_of_different_size_are_named_with_the_likely_unit() {
    let in_inches = changed("front", "front", |v| {
        for known in v["known"].as_array_mut().expect("a list") {
            if let Some(length) = known["model"].as_str() {
                known["model"] = json!(length.replace(" mm", " in"));
            }
        }
    });
    let side = changed("side", "side", |_| {});
    let warned = |views: [&Value; 2]| -> Vec<String> {
        let job = json!({ "title": "t", "scale": "1:24", "views": views });
        let report = report_of(&job).0;
        let warnings = report["warnings"].as_array().expect("a list").iter();
        let of_views = warnings.filter(|w| w["code"] == "views-disagree");
        of_views.map(|w| w["text"].to_string()).collect()
    };
    let found = warned([&side, &in_inches]).join("; ");
    for words in [
        "what is marked in the view \\\"front\\\" is 17",
        "mm long on the model, and in \\\"side\\\" 8",
        "about 25.4 times as much, as between millimetres and inches",
    ] {
        assert!(found.contains(words), "{words}: {found}");
    }
    assert_eq!(
        warned([&side, &changed("front", "front", |_| {})]),
        Vec::<String>::new()
    );
}

/// The tests of a file below `src`: all of it, or the end of it.
fn tests_of<'a>(file: &str, source: &'a str) -> &'a str {
    if file.ends_with("tests.rs") {
        return source;
    }
    let tests = source.split_once("#[cfg(test)]\nmod tests {");
    tests.map_or("", |(_, tests)| tests)
}

/// Every code stands in a test that always runs (`tests/outside` is skipped where its data are missing): quoted, or as the
/// variant. It cannot see whether the test asserts it of a result or only mentions it, nor whether the words are right; nor
/// a code that is put together of pieces, which it calls missing.
#[test]
fn every_code_stands_in_a_test() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).expect("sources are UTF-8");
    let rust = |(file, _): &(String, Vec<u8>)| file.ends_with(".rs");
    let mut tests: String = tree::files(&root.join("tests/it"))
        .into_iter()
        .filter(rust)
        .map(|(_, bytes)| text(bytes))
        .collect();
    for (file, bytes) in tree::files(&root.join("src")).into_iter().filter(rust) {
        tests.push_str(tests_of(&file, &text(bytes)));
    }
    let is_of_name = |c: char| c.is_alphanumeric() || c == '_';
    let stands = |code: &Code| {
        let variant = format!("Code::{code:?}");
        let mut after = tests.split(&variant).skip(1);
        tests.contains(&format!("\"{code}\"")) || after.any(|rest| !rest.starts_with(is_of_name))
    };
    let missing: Vec<&Code> = Code::ALL.iter().filter(|code| !stands(code)).collect();
    assert!(missing.is_empty(), "no test asserts {missing:?}");
}
