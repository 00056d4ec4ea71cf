//! Poses of exact and noisy points against SciPy's and OpenCV's (reference/golden, camera_pose.json; versions in the file).
use crate::{golden, in_space, reference};
use serde_json::Value;
use tickstrip::registration::space::{self, Photo};

fn case() -> Option<(Value, Photo)> {
    let folder = reference::folder("golden pose", "golden")?;
    let file = golden::json(&folder, "camera_pose.json");
    let mut photo = in_space::photo((1626, 1223), Some(0.8));
    let k = in_space::rows::<3>(&file["K"]);
    photo.principal_point = in_space::principal(k[0][2] + 0.5, k[1][2] + 0.5, 1e-3);
    Some((file, photo))
}

/// Rodrigues' turn as rows.
fn turn(v: [f64; 3]) -> Vec<[f64; 3]> {
    let turn = nalgebra::Rotation3::new(nalgebra::Vector3::from(v));
    let turn = turn.matrix();
    (0..3)
        .map(|r| [turn[(r, 0)], turn[(r, 1)], turn[(r, 2)]])
        .collect()
}

#[test]
fn exact_points_give_the_true_pose() {
    let Some((file, mut photo)) = case() else {
        return;
    };
    let case = &file["cases"][0];
    assert!(case["distortion_k1_k2_p1_p2_k3"].is_null());
    let places = in_space::rows::<3>(&file["object_points_m"]);
    photo.mark_sigma_px = Some(0.01);
    let marks = in_space::marks(
        &places,
        1000.0,
        &golden::points(&case["image_points_exact"]),
        0.5,
    );
    let found = space::resect(&photo, &marks).expect("a camera");
    let focal = in_space::told(found.first.focal_px).value();
    assert!((focal - 1650.0).abs() < 1e-3, "{focal}");
    let shift = in_space::numbers::<3>(&case["tvec_true"]).map(|v| v * 1000.0);
    let expected = in_space::centre_of(&turn(in_space::numbers(&case["rvec_true"])), shift);
    assert!(in_space::apart(in_space::centre(&found), expected) < 1e-2);
}

#[test]
fn a_free_focal_length_and_its_deviation_are_those_of_scipy() {
    let Some((file, photo)) = case() else {
        return;
    };
    let (case, free) = (&file["cases"][0], &file["focal_free_case_0"]);
    let places = in_space::rows::<3>(&file["object_points_m"]);
    let marks = in_space::marks(
        &places,
        1000.0,
        &golden::points(&case["image_points_noisy"]),
        0.5,
    );
    let found = space::resect(&photo, &marks).expect("a camera");
    assert!(in_space::wrong(&found).is_empty());
    let focal = in_space::told(found.first.focal_px);
    let expected = free["f"].as_f64().expect("a number");
    assert!((focal.value() - expected).abs() < 0.01, "{focal:?}");
    let shift = in_space::numbers::<3>(&free["tvec"]).map(|v| v * 1000.0);
    let centre = in_space::centre_of(&turn(in_space::numbers(&free["rvec"])), shift);
    assert!(in_space::apart(in_space::centre(&found), centre) < 0.01);
    // SciPy's deviation is by its sigma0 of 0.689, ours by the stated 0.8.
    let sd = free["sd"][6].as_f64().expect("a number") * 0.8
        / free["sigma0"].as_f64().expect("a number");
    let half = focal.half_width() / 1.96;
    assert!((half / sd - 1.0).abs() < 0.03, "{half} against {sd}");
    // pycolmap 4.2.1 with its robust loss.
    assert!(focal.holds(1646.1), "{focal:?}");
}
