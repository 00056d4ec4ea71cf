//! Six photos of a cube of 84 mm with a published camera matrix (reference/visp-cube84).
use crate::{golden, in_space, reference};
use tickstrip::registration::space::{
    self, MarkFinding, ViewPhoto,
    together::{ExpectedOfParts, Subject, TogetherPhoto, adjust},
};

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

/// The six photos together; the face at 84 mm is the datum, the corners of the other one are a part that the model has 4 mm
/// farther down: that is what the photos have to tell.
#[test]
fn six_photos_tell_that_the_cube_is_84_mm_high_and_not_88() {
    let Some(folder) = reference::folder("cube of 84 mm, together", "visp-cube84") else {
        return;
    };
    let case = golden::json(&folder, "case.json");
    let k = in_space::rows::<3>(&case["K"]);
    let photo = |view: &serde_json::Value| {
        let points = view["points"].as_array().expect("points");
        let mut places: Vec<[f64; 3]> = points
            .iter()
            .map(|p| in_space::numbers(&p["xyz"]))
            .collect();
        let seen: Vec<[f64; 2]> = points.iter().map(|p| in_space::numbers(&p["uv"])).collect();
        let is_part: Vec<bool> = places.iter().map(|place| place[2] == 0.0).collect();
        for (place, is_part) in places.iter_mut().zip(&is_part) {
            if *is_part {
                place[2] = -4.0;
            }
        }
        let mut marks = in_space::marks(&places, 1.0, &seen, 0.5);
        for (mark, is_part) in marks.iter_mut().zip(&is_part) {
            mark.is_datum = !is_part;
        }
        let mut photo = in_space::photo((640, 480), Some(0.7));
        photo.principal_point = in_space::principal(k[0][2] + 0.5, k[1][2] + 0.5, 0.01);
        photo.focal = in_space::focal((k[0][0] + k[1][1]) / 2.0, 0.005);
        TogetherPhoto {
            view: ViewPhoto { photo, marks },
            part_of: is_part.iter().map(|is_part| is_part.then_some(0)).collect(),
            same_as: None,
        }
    };
    let photos: Vec<TogetherPhoto> = case["photos"]
        .as_array()
        .expect("photos")
        .iter()
        .map(photo)
        .collect();
    let expected = ExpectedOfParts {
        size_percent: 4.0,
        rotation_deg: 1.5,
        offset_percent: 0.8,
    };
    let found = adjust(&photos, &Subject::of(1, expected));
    let solved = found.photos.iter().flatten();
    assert!(solved.clone().count() >= 5, "{:?}", found.photos);
    let wrong = solved.flat_map(|photo| &photo.marks);
    let wrong = wrong
        .filter(|mark| mark.finding == MarkFinding::Wrong)
        .count();
    assert_eq!(wrong, 0);
    let part = found.parts[0].as_ref().expect("marked");
    for (offset, truth) in part.errors[6..].iter().zip([0.0, 0.0, -4.0]) {
        let offset = offset.told().expect("six photos tell it");
        assert!(offset.holds(truth), "{truth}: {offset:?}");
        // Three corners of an edge of 84 mm, whose size and turn are as good as unknown, each good to 0.7 mm.
        assert!(offset.half_width() < 4.0, "{offset:?}");
    }
    let down = part.errors[8].figure;
    assert!(!down.holds(0.0), "{down:?}");
}
