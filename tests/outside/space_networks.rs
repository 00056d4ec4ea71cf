//! Two published networks of photos, as several photos together: five aerial photos of a town with surveyed points
//! (reference/dbat-strasbourg: DBAT 0.9.2, Boerlin and Grussenmeyer), and photos of one camera around an object with targets
//! (reference/jaicov-network: JAiCov, Loesler; the adjustment of AICON 3D Studio).
use crate::{golden, in_space, reference};
use serde_json::Value;
use std::{collections::BTreeMap, fs};
use tickstrip::{
    frame::{ModelPoint, Point},
    registration::space::{
        KnownLens, MarkFinding, MarkFit, SpaceMark, ViewPhoto,
        together::{ExpectedOfParts, Subject, Together, TogetherPhoto, adjust},
    },
};

const EXPECTED: ExpectedOfParts = ExpectedOfParts {
    size_percent: 4.0,
    rotation_deg: 1.5,
    offset_percent: 0.8,
};

fn mark(name: String, place: [f64; 3], sigma: f64, at: [f64; 2], is_datum: bool) -> SpaceMark {
    SpaceMark {
        name,
        place: ModelPoint(place),
        place_sigma_mm: sigma,
        mark: Point::new(at[0], at[1]),
        is_datum,
    }
}

/// How many of the nine errors hold zero, of how many that are told.
fn held(found: &Together) -> (usize, usize) {
    let told = found.parts.iter().flatten().flat_map(|part| &part.errors);
    let told: Vec<_> = told.filter_map(|error| error.told()).collect();
    (told.iter().filter(|f| f.holds(0.0)).count(), told.len())
}

#[test]
fn a_part_of_the_surveyed_points_of_a_town_has_no_errors() {
    let Some(folder) = reference::folder("aerial photos", "dbat-strasbourg") else {
        return;
    };
    let case = golden::json(&folder, "case.json");
    let camera = &case["camera"];
    let number = |value: &Value| value.as_f64().expect("a number");
    let id = |value: &Value| {
        value["id"]
            .as_u64()
            .or(value["point"].as_u64())
            .expect("an id")
    };
    let control: BTreeMap<u64, [f64; 3]> = case["control"]
        .as_array()
        .expect("points")
        .iter()
        .map(|point| (id(point), in_space::numbers(&point["xyz"])))
        .collect();
    // Every third point is taken for a part of the model; the others carry the cameras.
    let is_part: Vec<u64> = control.keys().copied().skip(1).step_by(3).collect();
    let photo_of = |photo: u64| {
        let size = ["width", "height"].map(|key| camera[key].as_u64().expect("pixels") as u32);
        let mut known = in_space::photo((size[0], size[1]), None);
        known.focal = in_space::focal(number(&camera["f_px"]), 1e-5);
        let [x, y] = in_space::numbers::<2>(&camera["principal_point_px"]);
        known.principal_point = in_space::principal(x + 0.5, y + 0.5, 0.5);
        let all = case["marks"].as_array().expect("marks").iter();
        let own = all.filter(|m| m["photo"] == photo && control.contains_key(&id(m)));
        let (mut marks, mut part_of) = (Vec::new(), Vec::new());
        for m in own {
            let is_of_part = is_part.contains(&id(m));
            let at = in_space::numbers::<2>(&m["uv"]).map(|v| v + 0.5);
            // Metres in place of millimetres; plan and height are good to 2 and 4 cm.
            marks.push(mark(
                id(m).to_string(),
                control[&id(m)],
                0.03,
                at,
                !is_of_part,
            ));
            part_of.push(is_of_part.then_some(0));
        }
        TogetherPhoto {
            view: ViewPhoto {
                photo: known,
                marks,
            },
            part_of,
            same_as: None,
        }
    };
    let photos: Vec<TogetherPhoto> = (1..=5).map(photo_of).collect();
    let found = adjust(&photos, &Subject::of(1, EXPECTED));
    for (k, photo) in found.photos.iter().enumerate() {
        let photo = photo
            .as_ref()
            .unwrap_or_else(|e| panic!("photo {}: {e}", k + 1));
        // The published adjustment leaves 1.10 px, ties included.
        assert!(photo.rms_px < 1.6, "photo {}: {}", k + 1, photo.rms_px);
        let wrong = photo
            .marks
            .iter()
            .filter(|m| m.finding == MarkFinding::Wrong);
        assert_eq!(wrong.count(), 0, "photo {}", k + 1);
    }
    let (holds, told) = held(&found);
    assert!(
        told >= 8 && holds + 1 >= told,
        "{holds} of {told}: {:?}",
        found.parts[0]
    );
}

/// Marks that are set off by a millimetre on the sensor: photo and number. Those of the network that are gross belong to points that
/// are kept apart.
const PLANTED: [(usize, usize); 2] = [(1, 20), (3, 40)];

struct Observed {
    point: String,
    at: [f64; 2],
    is_used: bool,
}

fn observations(text: &str, photo: &str, pixel_mm: f64, pixels: [f64; 2]) -> Vec<Observed> {
    let rows = text
        .lines()
        .skip(1)
        .map(|line| line.split(',').collect::<Vec<_>>());
    let own = rows.filter(|row| row[0] == photo);
    own.map(|row| {
        let number = |k: usize| row[k].parse::<f64>().expect("a number");
        Observed {
            point: row[1].to_owned(),
            at: [
                pixels[0] / 2.0 + number(2) / pixel_mm,
                pixels[1] / 2.0 - number(3) / pixel_mm,
            ],
            is_used: row[6] == "1",
        }
    })
    .collect()
}

#[test]
fn photos_of_one_camera_around_an_object_agree_with_the_published_network() {
    let Some(folder) = reference::folder("network of targets", "jaicov-network") else {
        return;
    };
    let case = golden::json(&folder, "case.json");
    let text = fs::read_to_string(folder.join("observations-odd.csv")).expect("there");
    let (start, pixel) = (&case["start"], case["pixel_mm"].as_f64().expect("a size"));
    let pixels = in_space::numbers::<2>(&start["camera"]["pixels"]);
    let names = ["9", "13", "27", "89"];
    let photos: Vec<TogetherPhoto> = names
        .iter()
        .enumerate()
        .map(|(k, name)| {
            let mut known = in_space::photo((pixels[0] as u32, pixels[1] as u32), None);
            known.lens = KnownLens::unknown();
            let (mut marks, mut part_of) = (Vec::new(), Vec::new());
            for seen in observations(&text, name, pixel, pixels) {
                let place = &start["points"][&seen.point];
                if place.is_null() {
                    // Its place belongs to those that are kept apart.
                    continue;
                }
                // Coordinates are rounded to a millimetre.
                let place = in_space::numbers(place);
                let number: usize = seen.point.parse().expect("a number");
                let is_of_part = number.is_multiple_of(7) && seen.is_used;
                let gross = if PLANTED.contains(&(k, marks.len())) {
                    240.0
                } else {
                    0.0
                };
                let at = [seen.at[0] + gross, seen.at[1]];
                marks.push(mark(seen.point, place, 0.29, at, !is_of_part));
                part_of.push(is_of_part.then_some(0));
            }
            TogetherPhoto {
                view: ViewPhoto {
                    photo: known,
                    marks,
                },
                part_of,
                same_as: (k > 0).then_some(0),
            }
        })
        .collect();
    let found = adjust(&photos, &Subject::of(1, EXPECTED));
    let mut named = 0;
    for (name, photo) in names.iter().zip(&found.photos) {
        let photo = photo
            .as_ref()
            .unwrap_or_else(|e| panic!("photo {name}: {e}"));
        // A millimetre at 1.3 m is 5 px; the published lens has more numbers than ours.
        assert!(photo.rms_px < 3.0, "{name}: {}", photo.rms_px);
        let place = photo.camera.centre_mm.map(|c| in_space::told(c).value());
        let published = in_space::numbers::<3>(&start["photos"][*name]);
        let off = in_space::apart(place, published);
        assert!(off < 6.0, "{name}: {place:?} {published:?}");
        let wrong = |m: &&MarkFit| m.finding == MarkFinding::Wrong;
        named += photo.marks.iter().filter(wrong).count();
    }
    for (photo, own) in PLANTED {
        let mark = &found.photos[photo].as_ref().expect("solved").marks[own];
        assert_eq!(
            mark.finding,
            MarkFinding::Wrong,
            "photo {photo}, mark {own}"
        );
    }
    let all: usize = photos.iter().map(|photo| photo.view.marks.len()).sum();
    assert!(named * 30 < all, "{named} of {all}");
    let (holds, told) = held(&found);
    assert!(
        told >= 8 && holds + 2 >= told,
        "{holds} of {told}: {:?}",
        found.parts[0]
    );
}
