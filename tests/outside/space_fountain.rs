//! Cameras registered to a laser scan, with points by them (reference/strecha-fountain: Strecha et al., CVPR 2008).
use crate::{golden, in_space, reference};
use tickstrip::registration::space;

#[test]
fn tracks_of_the_fountain_give_the_published_cameras() {
    let Some(folder) = reference::folder("fountain", "strecha-fountain") else {
        return;
    };
    let case = golden::json(&folder, "case.json");
    let k = in_space::rows::<3>(&case["K"]);
    for (number, view) in case["photos"]
        .as_array()
        .expect("photos")
        .iter()
        .enumerate()
    {
        let (mut places, mut seen) = (Vec::new(), Vec::new());
        for track in case["tracks"].as_array().expect("tracks") {
            for mark in track["seen"].as_array().expect("marks") {
                if mark["photo"].as_u64() == u64::try_from(number).ok() {
                    places.push(in_space::numbers::<3>(&track["xyz"]));
                    seen.push(in_space::numbers::<2>(&mark["uv"]));
                }
            }
        }
        let mut photo = in_space::photo((1536, 1024), Some(0.2));
        photo.principal_point = in_space::principal(k[0][2] + 0.5, k[1][2] + 0.5, 0.5);
        let marks = in_space::marks(&places, 1000.0, &seen, 0.5);
        let found = space::resect(&photo, &marks).expect("a camera");
        let focal = in_space::told(found.first.focal_px);
        let expected = (k[0][0] + k[1][1]) / 2.0;
        // Two published focal lengths, 0.17 % apart; ours is one, and the points come from the published cameras.
        assert!(
            (focal.value() / expected - 1.0).abs() < 0.005,
            "{}: {focal:?} against {expected}",
            view["image"]
        );
        let expected = in_space::numbers::<3>(&view["centre"]).map(|v| v * 1000.0);
        let centre = in_space::centre(&found);
        // Half a per cent of the way to the fountain, as one focal length in place of two leaves.
        let way = in_space::told(found.first.distance_mm).value();
        assert!(
            in_space::apart(centre, expected) < 0.005 * way,
            "{}: {centre:?} {expected:?}",
            view["image"]
        );
    }
}
