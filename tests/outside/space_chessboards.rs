//! Photos of a chessboard, a plane, against the calibration published with them (reference/chessboard-left).
use crate::{golden, in_space, reference};
use tickstrip::registration::space::{self, KnownLens, KnownPoint};

#[test]
fn planes_with_an_unknown_lens_hold_the_published_focal_length() {
    let Some(folder) = reference::folder("chessboards", "chessboard-left") else {
        return;
    };
    let file = golden::json(&folder, "chessboard_left.json");
    let places: Vec<[f64; 3]> = (0..54)
        .map(|k| [f64::from(k % 9) * 25.0, f64::from(k / 9) * 25.0, 0.0])
        .collect();
    let (mut held, mut all) = ([0, 0], 0);
    for view in file["views"].as_array().expect("views") {
        all += 1;
        let mut photo = in_space::photo((640, 480), Some(0.2));
        photo.principal_point = in_space::principal(343.49, 234.86, 0.05);
        let without = golden::points(&view["undistorted_corners_px"]);
        let marks = in_space::marks(&places, 1.0, &without, 0.5);
        let found = space::resect(&photo, &marks).expect("a camera");
        assert!(found.is_flat && found.rms_px < 0.25, "{}", found.rms_px);
        held[0] += usize::from(in_space::told(found.first.focal_px).holds(532.9));
        // Nothing known: 25 px of a diagonal of 800.
        photo.principal_point = KnownPoint::Middle { deviation: 0.031 };
        photo.lens = KnownLens::unknown();
        let seen = golden::points(&view["corners_px"]);
        let found = space::resect(&photo, &in_space::marks(&places, 1.0, &seen, 0.5));
        let found = found.expect("a camera");
        let holds = match found.first.focal_px {
            space::Told::Figure(focal) => focal.holds(532.9),
            space::Told::AtLeast { low, .. } => low < 532.9,
            space::Told::Not(_) => false,
        };
        held[1] += usize::from(holds);
    }
    assert_eq!(all, 6);
    assert!(held[0] >= 5 && held[1] == 6, "{held:?} of {all}");
}
