//! Six photos of a cube of 84 mm with a published camera matrix (reference/visp-cube84).
use crate::{golden, in_space, reference};
use tickstrip::registration::space;

#[test]
fn the_cube_s_poses_are_found_with_the_published_focal_length() {
    let Some(folder) = reference::folder("cube of 84 mm", "visp-cube84") else {
        return;
    };
    let case = golden::json(&folder, "case.json");
    let k = in_space::rows::<3>(&case["K"]);
    for view in case["photos"].as_array().expect("photos") {
        let points = view["points"].as_array().expect("points");
        let places: Vec<[f64; 3]> = points
            .iter()
            .map(|p| in_space::numbers(&p["xyz"]))
            .collect();
        let seen: Vec<[f64; 2]> = points.iter().map(|p| in_space::numbers(&p["uv"])).collect();
        let mut photo = in_space::photo((640, 480), Some(0.7));
        photo.principal_point = in_space::principal(k[0][2] + 0.5, k[1][2] + 0.5, 0.01);
        // The published lengths differ by 1 % in x and y, which no lens with square pixels does.
        photo.focal = in_space::focal((k[0][0] + k[1][1]) / 2.0, 0.005);
        let found = space::resect(&photo, &in_space::marks(&places, 1.0, &seen, 0.5));
        let found = found.expect("a camera");
        let name = &view["image"];
        let pose = &view["pose"];
        let expected =
            in_space::centre_of(&in_space::rows(&pose["R"]), in_space::numbers(&pose["t"]));
        let centre = in_space::centre(&found);
        // The cube is 110 to 150 px wide: half a pixel is 0.4 % of an edge, so of the half metre to the camera; aside a
        // degree is 9 mm.
        assert!(
            in_space::apart(centre, expected) < 15.0,
            "{name}: {centre:?} {expected:?}"
        );
        assert!(found.rms_px < 1.0, "{name}: {}", found.rms_px);
    }
}
