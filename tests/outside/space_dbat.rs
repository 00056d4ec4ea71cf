//! Eleven photos of a printed sheet with targets, a plane through a lens that bends, against the published
//! self-calibration (reference/dbat-camcal: DBAT 0.9.2, Boerlin and Grussenmeyer).
use crate::{golden, in_space, reference};
use std::collections::HashMap;
use tickstrip::registration::space::{self, KnownLens};

#[test]
fn each_photo_of_the_sheet_holds_the_published_focal_length() {
    let Some(folder) = reference::folder("printed sheet", "dbat-camcal") else {
        return;
    };
    let case = golden::json(&folder, "case.json");
    let objects = case["object_points"].as_array().expect("points");
    let of: HashMap<u64, [f64; 3]> = objects
        .iter()
        .map(|p| {
            (
                p["id"].as_u64().expect("an id"),
                in_space::numbers(&p["xyz"]),
            )
        })
        .collect();
    let published = in_space::numbers::<2>(&case["published"]["f_px"]);
    let expected = (published[0] + published[1]) / 2.0;
    let (mut held, mut all) = (0, 0);
    for view in case["photos"].as_array().expect("photos") {
        let (mut places, mut seen) = (Vec::new(), Vec::new());
        for point in view["points"].as_array().expect("points") {
            let id = point["id"].as_u64().expect("an id");
            let Some(place) = of.get(&id) else { continue };
            places.push(*place);
            seen.push(in_space::numbers::<2>(&point["uv"]));
        }
        // The division model is within half a pixel of the published lens.
        let mut photo = in_space::photo((2272, 1704), None);
        photo.lens = KnownLens::unknown();
        let found = space::resect(&photo, &in_space::marks(&places, 100.0, &seen, 0.5));
        let found = found.expect("a camera");
        assert!(found.rms_px < 1.0, "{}: {}", view["image"], found.rms_px);
        all += 1;
        held += match found.first.focal_px {
            space::Told::Figure(focal) => usize::from(focal.holds(expected)),
            space::Told::AtLeast { low, .. } => usize::from(low < expected),
            space::Told::Not(_) => 0,
        };
    }
    assert!(all == 11 && held >= 10, "{held} of {all}");
}
