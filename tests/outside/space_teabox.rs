//! A photo of a tea box marked by hand, one mark wrong, against OpenCV's solutions (reference/teabox, teabox_00.json).
use crate::{golden, in_space, reference};
use serde_json::Value;
use tickstrip::registration::space::{self, Error, Photo, SpaceMark};

const WRONG: usize = 1;

fn teabox() -> Option<(Value, Photo)> {
    let folder = reference::folder("tea box", "teabox")?;
    let case = golden::json(&folder, "teabox_00.json");
    let k = in_space::rows::<3>(&case["K"]);
    let mut photo = in_space::photo((640, 480), None);
    photo.principal_point = in_space::principal(k[0][2] + 0.5, k[1][2] + 0.5, 1e-3);
    Some((case, photo))
}

fn marks(case: &Value, sizes: [f64; 3]) -> Vec<SpaceMark> {
    let places = in_space::rows::<3>(&case["points_m"]);
    let places: Vec<[f64; 3]> = places
        .iter()
        .map(|p| std::array::from_fn(|k| p[k] * sizes[k]))
        .collect();
    in_space::marks(&places, 1000.0, &golden::points(&case["marks_px"]), 0.5)
}

#[test]
fn the_wrong_mark_is_named_and_the_pose_is_that_of_opencv() {
    let Some((case, mut photo)) = teabox() else {
        return;
    };
    photo.focal = in_space::focal(839.33, 1e-5);
    let found = space::resect(&photo, &marks(&case, [1.0; 3])).expect("a camera");
    assert_eq!(in_space::wrong(&found), [WRONG]);
    // OpenCV has a focal length of its own in x and in y: 1.637.
    assert!((found.rms_px - 1.637).abs() < 0.002, "{}", found.rms_px);
    let pose = &case["solvePnP_without_B"];
    let shift = in_space::numbers::<3>(&pose["tvec_m"]).map(|v| v * 1000.0);
    let expected = in_space::centre_of(&in_space::rows(&pose["R"]), shift);
    let centre = in_space::centre(&found);
    // The camera's place follows its turn at half a metre: 0.02 mm of t and as much of the turn.
    assert!(
        in_space::apart(centre, expected) < 0.1,
        "{centre:?} against {expected:?}"
    );
}

#[test]
fn a_free_focal_length_is_that_of_opencv_and_its_interval_holds_the_published_one() {
    let Some((case, photo)) = teabox() else {
        return;
    };
    let found = space::resect(&photo, &marks(&case, [1.0; 3])).expect("a camera");
    assert_eq!(in_space::wrong(&found), [WRONG]);
    let focal = in_space::told(found.first.focal_px);
    let expected = case["focal_free_without_B"]["f_px"]
        .as_f64()
        .expect("a number");
    assert!((focal.value() - expected).abs() < 0.05, "{focal:?}");
    assert!(focal.holds(839.3), "{focal:?}");
    // pycolmap 4.2.1 with its robust loss.
    assert!(focal.holds(908.6), "{focal:?}");
}

#[test]
fn no_other_order_of_the_box_s_sizes_fits() {
    let Some((case, photo)) = teabox() else {
        return;
    };
    let size = [165.0, 68.0, 80.0];
    for order in [[0, 2, 1], [1, 0, 2], [2, 1, 0], [1, 2, 0], [2, 0, 1]] {
        let sizes = std::array::from_fn(|k| size[order[k]] / size[k]);
        let mut marks = marks(&case, sizes);
        marks.remove(WRONG);
        match space::resect(&photo, &marks) {
            Ok(found) => assert!(
                found.rms_px > 10.0 || !in_space::wrong(&found).is_empty(),
                "{order:?}: {} px",
                found.rms_px
            ),
            Err(error) => assert!(
                matches!(
                    error,
                    Error::Contradict { .. } | Error::Mirrored { .. } | Error::NoCamera { .. }
                ),
                "{error}"
            ),
        }
    }
}
