//! Twenty surveyed targets in a photo of a room (reference/lab-20-targets; their number base is unknown, the unit too).
use crate::{golden, in_space, reference};
use tickstrip::registration::space;

#[test]
fn twenty_targets_give_the_place_and_the_focal_length_of_the_folder() {
    let Some(folder) = reference::folder("surveyed targets", "lab-20-targets") else {
        return;
    };
    let case = golden::json(&folder, "case.json");
    let photo_of = &case["photos"][0];
    let points = photo_of["points"].as_array().expect("points");
    let places: Vec<[f64; 3]> = points
        .iter()
        .map(|p| in_space::numbers(&p["xyz"]))
        .collect();
    let seen: Vec<[f64; 2]> = points.iter().map(|p| in_space::numbers(&p["uv"])).collect();
    let photo = in_space::photo((1072, 712), None);
    let found = space::resect(&photo, &in_space::marks(&places, 1.0, &seen, 0.5));
    let found = found.expect("a camera");
    // The one whose principal point was free, as ours is within 2 % of the diagonal.
    let solution = &photo_of["our_solution"][1];
    let focal = in_space::told(found.first.focal_px);
    let k = in_space::rows::<3>(&solution["K"]);
    assert!(focal.holds(k[0][0]), "{focal:?}");
    let expected = in_space::numbers::<3>(&solution["camera_centre"]);
    let centre = found.first.centre_mm.map(in_space::told);
    for axis in 0..3 {
        assert!(
            centre[axis].holds(expected[axis]),
            "{centre:?} {expected:?}"
        );
    }
    assert!(found.rms_px < 1.5, "{}", found.rms_px);
}
