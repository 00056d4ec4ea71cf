//! A single-photo resection of five control points against the textbook's solution (reference/worked-examples,
//! resection_mikhail.json: Mikhail, Bethel and McGlone, "Introduction to Modern Photogrammetry").
use crate::{golden, in_space, reference};
use tickstrip::registration::space::{self, Photo, SpaceMark, Told};

/// Photo millimetres count from the middle of this many.
const SIDE: u32 = 230;

fn example() -> Option<(serde_json::Value, Photo, Vec<SpaceMark>)> {
    let folder = reference::folder("resection by Mikhail", "worked-examples")?;
    let example = golden::json(&folder, "resection_mikhail.json");
    let number = |point: &serde_json::Value, key: &str| point[key].as_f64().expect("a number");
    let points = example["points"].as_array().expect("points");
    let places: Vec<[f64; 3]> = points
        .iter()
        .map(|p| ["X", "Y", "Z"].map(|key| number(p, key)))
        .collect();
    // The photo's y runs up.
    let seen: Vec<[f64; 2]> = points
        .iter()
        .map(|p| [number(p, "x"), -number(p, "y")])
        .collect();
    let marks = in_space::marks(&places, 1.0, &seen, f64::from(SIDE) / 2.0);
    let mut photo = in_space::photo((SIDE, SIDE), Some(0.0137));
    let middle = f64::from(SIDE) / 2.0;
    photo.principal_point = in_space::principal(middle, middle, 1e-7);
    Some((example, photo, marks))
}

#[test]
fn the_camera_of_the_textbook_is_found() {
    let Some((example, mut photo, marks)) = example() else {
        return;
    };
    let published = &example["published"];
    let expected = |key: &str| published[key].as_f64().expect("a number");
    photo.focal = in_space::focal(example["f_mm"].as_f64().expect("a number"), 1e-9);
    let found = space::resect(&photo, &marks).expect("a camera");
    let centre = in_space::centre(&found);
    let place = ["XL", "YL", "ZL"].map(expected);
    // Published to nanometres of the ground; millimetres ask for nine digits of the resection.
    assert!(in_space::apart(centre, place) < 1e-3, "{centre:?}");
    // M takes the ground to the photo with y up and z back.
    let (axis, up) = (found.first.axis, found.first.up);
    let right = [
        axis[1] * up[2] - axis[2] * up[1],
        axis[2] * up[0] - axis[0] * up[2],
        axis[0] * up[1] - axis[1] * up[0],
    ];
    let (omega, phi) = (axis[1].atan2(-axis[2]), (-axis[0]).asin());
    let kappa = (-up[0]).atan2(right[0]);
    for (angle, key) in [(omega, "omega"), (phi, "phi"), (kappa, "kappa")] {
        assert!(
            (angle - expected(key)).abs() < 1e-6,
            "{key}: {angle} against {}",
            expected(key)
        );
    }
    let residuals = found.marks.iter().filter_map(|m| m.residual_px);
    let sum: f64 = residuals.map(|[x, y]| x * x + y * y).sum();
    assert!(
        (sum - expected("sum_squared_residuals")).abs() < 1e-8,
        "{sum}"
    );
}

#[test]
fn a_vertical_photo_of_nearly_flat_ground_tells_no_focal_length() {
    let Some((_, photo, marks)) = example() else {
        return;
    };
    let found = space::resect(&photo, &marks).expect("a camera");
    let focal = found.first.focal_px;
    assert!(
        matches!(focal, Told::AtLeast { low, .. } if low < 530.0),
        "{focal:?}"
    );
}
