//! A cube in the photo of the dragon, six corners marked by eye (reference/dragon-photo-cad, case_0000.json).
use crate::{golden, in_space, reference};
use tickstrip::registration::space;

#[test]
fn six_clicks_give_the_published_pose_and_hold_the_published_focal_length() {
    let Some(folder) = reference::folder("cube of the dragon", "dragon-photo-cad") else {
        return;
    };
    let case = golden::json(&folder, "case_0000.json");
    let cube = &case["cube"];
    let corners = in_space::rows::<3>(&cube["corners_m"]);
    let indices = &cube["marked_corner_index_in_corners_m"];
    let (mut places, mut seen) = (Vec::new(), Vec::new());
    for (name, mark) in cube["marked_corners_px"].as_object().expect("marks") {
        let index = indices[name].as_u64().expect("an index");
        places.push(corners[usize::try_from(index).expect("small")]);
        seen.push(in_space::numbers::<2>(mark));
    }
    let marks = in_space::marks(&places, 1000.0, &seen, 0.5);
    let mut photo = in_space::photo((640, 480), Some(0.5));
    let k = in_space::rows::<3>(&case["K"]);
    photo.principal_point = in_space::principal(k[0][2] + 0.5, k[1][2] + 0.5, 0.01);
    let free = space::resect(&photo, &marks).expect("a camera");
    let focal = in_space::told(free.first.focal_px);
    assert!(
        focal.holds(k[0][0]) && focal.half_width() < 80.0,
        "{focal:?}"
    );
    photo.focal = in_space::focal((k[0][0] + k[1][1]) / 2.0, 1e-5);
    let found = space::resect(&photo, &marks).expect("a camera");
    let rms = cube["marks_residual_rms_px"].as_f64().expect("a number");
    assert!((found.rms_px - rms).abs() < 0.002, "{} {rms}", found.rms_px);
    let pose = in_space::rows::<4>(&cube["cMo"]);
    let turn: Vec<[f64; 3]> = pose[..3].iter().map(|r| [r[0], r[1], r[2]]).collect();
    let shift = [0, 1, 2].map(|k| pose[k][3] * 1000.0);
    let expected = in_space::centre_of(&turn, shift);
    let centre = in_space::centre(&found);
    // fx and fy differ by a fifth of a pixel in the published pose: 0.01 mm of t, 0.003 degrees at half a metre.
    assert!(
        in_space::apart(centre, expected) < 0.1,
        "{centre:?} {expected:?}"
    );
}
