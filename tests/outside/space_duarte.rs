//! Two views of a measured box, its corners good to 2 mm, against the eleven-parameter solutions (reference/worked-examples,
//! dlt_duarte_cube.json: M. Duarte's box, how well its corners were measured is our own judgement).
use crate::{golden, in_space, reference};
use tickstrip::registration::space::{self, KnownPoint};

#[test]
fn a_box_seen_by_a_cropped_camera_gives_the_published_places() {
    let Some(folder) = reference::folder("measured box", "worked-examples") else {
        return;
    };
    let file = golden::json(&folder, "dlt_duarte_cube.json");
    let places = in_space::rows::<3>(&file["xyz_cm"]);
    for view in file["views"].as_array().expect("views") {
        let published = &view["reprojection_least_squares"];
        let Some(centre) = published.get("camera_centre_cm") else {
            continue;
        };
        let mut photo = in_space::photo((2592, 1944), Some(2.0));
        photo.principal_point = KnownPoint::Middle { deviation: 5.0 };
        let mut marks = in_space::marks(&places, 10.0, &golden::points(&view["uv"]), 0.0);
        for mark in &mut marks {
            mark.place_sigma_mm = 2.0;
        }
        let found = space::resect(&photo, &marks).expect("a camera");
        assert!(
            in_space::wrong(&found).is_empty(),
            "view {}: {:?}",
            view["view"],
            found.marks
        );
        let expected = in_space::numbers::<3>(centre).map(|v| 10.0 * v);
        let centre = found.first.centre_mm;
        for axis in 0..3 {
            let Some(own) = centre[axis].figure() else {
                continue;
            };
            assert!(own.holds(expected[axis]), "{own:?} {}", expected[axis]);
        }
    }
}
