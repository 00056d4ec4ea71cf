//! A photo of a toy cube with 37 marks by hand, 3.6 px rough (reference/rubik-two-photos).
use crate::{golden, in_space, reference};
use tickstrip::registration::space;

#[test]
fn rough_marks_give_an_interval_that_holds_the_focal_length_of_the_exif() {
    let Some(folder) = reference::folder("toy cube", "rubik-two-photos") else {
        return;
    };
    let case = golden::json(&folder, "case.json");
    let view = &case["photos"][0];
    let points = view["points"].as_array().expect("points");
    let places: Vec<[f64; 3]> = points
        .iter()
        .map(|p| in_space::numbers(&p["xyz"]))
        .collect();
    let seen: Vec<[f64; 2]> = points.iter().map(|p| in_space::numbers(&p["uv"])).collect();
    let photo = in_space::photo((1936, 1296), Some(3.5));
    let found = space::resect(&photo, &in_space::marks(&places, 1.0, &seen, 0.5));
    let found = found.expect("a camera");
    let focal = in_space::told(found.first.focal_px);
    let exif = view["focal_px_from_exif"].as_f64().expect("a number");
    assert!(focal.holds(exif), "{focal:?} {exif}");
    let fitted = in_space::rows::<3>(&view["our_solution"][0]["K"])[0][0];
    assert!(focal.holds(fitted), "{focal:?} {fitted}");
    assert!((2.0..4.5).contains(&found.rms_px), "{}", found.rms_px);
}
