//! Registrations against least-squares fits computed with SciPy, scikit-image and OpenCV (reference/golden,
//! transforms_2d.json; versions in the file).
use crate::{golden, reference, views};
use tickstrip::{
    frame::Point,
    job::RegistrationKind,
    registration::{Finding, register},
};

fn kind_of(name: &str) -> RegistrationKind {
    match name {
        "similarity" => RegistrationKind::Similarity,
        "affine" => RegistrationKind::Affine,
        _ => RegistrationKind::Projective,
    }
}

#[test]
fn registrations_equal_the_least_squares_fits_of_scipy() {
    let Some(folder) = reference::folder("golden transforms", "golden") else {
        return;
    };
    let golden = golden::json(&folder, "transforms_2d.json");
    let source = golden::points(&golden["source_points"]);
    let new_points = golden::points(&golden["new_points"]);
    let mut compared = 0;
    for case in golden["cases"].as_array().expect("cases") {
        let label = case["label"].as_str().expect("a label");
        // All marks of a view have the same deviation: fits with weights of their own have no counterpart.
        if label.contains("weighted") {
            continue;
        }
        let kind = kind_of(case["kind"].as_str().expect("a kind"));
        let target = golden::points(&case["target_points"]);
        // Errors in the target alone, as in the golden fit: the reference's marks are all but exact.
        let view = views::view(
            kind,
            &source[..target.len()],
            &target,
            [Some(1.0), Some(1e-6)],
        );
        let found = register(&view, views::EXPECTED, (1400, 1000), None)
            .expect("the points determine the map");
        for (p, q) in new_points
            .iter()
            .zip(golden::points(&case["new_points_mapped"]))
        {
            let mapped = found
                .registration
                .render_from_reference
                .apply(Point::new(p[0], p[1]));
            let off = mapped.distance(Point::new(q[0], q[1]));
            // The golden fits stop at a relative gain of about 1e-12: 1e-4 px at points far outside the cloud.
            assert!(off < 1e-4, "{:?} {label}: off by {off} px at {p:?}", kind);
        }
        let fit = &case["least_squares"];
        if let (Some(expected), Some(sigma0)) = (fit["sigma0"].as_f64(), found.registration.sigma0)
            && expected > 1e-6
        {
            assert!(
                (sigma0 - expected).abs() < 1e-4,
                "{kind:?} {label}: sigma0 {sigma0} against {expected}"
            );
        }
        if let Some(numbers) = fit["redundancy_numbers"].as_array() {
            for (landmark, pair) in found.registration.landmarks.iter().zip(numbers) {
                let expected = (pair[0].as_f64().expect("a number")
                    + pair[1].as_f64().expect("a number"))
                    / 2.0;
                assert!(
                    (landmark.redundancy - expected).abs() < 1e-4,
                    "{kind:?} {label}: redundancy"
                );
            }
        }
        compared += 1;
    }
    assert!(compared >= 6, "only {compared} cases were compared");
}

#[test]
fn the_four_wrong_marks_are_found_and_the_rest_fits_as_without_them() {
    let Some(folder) = reference::folder("golden transforms, robust", "golden") else {
        return;
    };
    let golden = golden::json(&folder, "transforms_2d.json");
    let source = golden::points(&golden["source_points"]);
    let mut tried = 0;
    for case in golden["cases"].as_array().expect("cases") {
        let Some(robust) = case
            .get("least_squares")
            .and_then(|f| f.get("robust"))
            .or(case.get("robust"))
        else {
            continue;
        };
        let target = golden::points(&robust["target_points_with_4_wrong_marks"]);
        let kind = kind_of(case["kind"].as_str().expect("a kind"));
        let view = views::view(kind, &source, &target, [None, None]);
        let found = register(&view, views::EXPECTED, (1400, 1000), None)
            .expect("the points determine the map");
        let wrong: Vec<usize> = found
            .registration
            .landmarks
            .iter()
            .enumerate()
            .filter(|(_, l)| l.finding == Some(Finding::Wrong))
            .map(|(k, _)| k)
            .collect();
        assert_eq!(wrong, [1, 5, 9, 12], "{kind:?}");
        tried += 1;
    }
    assert!(tried > 0, "no case has wrong marks");
}
