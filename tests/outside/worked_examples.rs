//! Textbook and public examples with known results (reference/worked-examples; sources in each test).
use crate::{golden, reference, views};
use tickstrip::{
    frame::Point,
    job::RegistrationKind,
    registration::{Finding, register},
};

/// C. Ghilani and P. Wolf, "Adjustment Computations", example 18.1, two-dimensional conformal transformation: parameters as
/// retyped in public listings that name no book (that it is this example is from memory, not verified; no edition was seen).
/// sigma0 and deviations: recomputed with NumPy in reference/worked-examples, not printed values.
#[test]
fn the_conformal_example_comes_out_to_its_printed_digits() {
    let Some(folder) = reference::folder("conformal example", "worked-examples") else {
        return;
    };
    let example = golden::json(&folder, "conformal_ghilani_ex18_1.json");
    let (from, to) = (
        golden::points(&example["points_xy"]),
        golden::points(&example["points_XY"]),
    );
    let view = views::view(
        RegistrationKind::Similarity,
        &from,
        &to,
        [Some(1.0), Some(1e-9)],
    );
    let found = register(&view, views::EXPECTED, (1000, 1000), None)
        .expect("three points determine a similarity")
        .registration;
    let rows = found.render_from_reference.rows();
    assert!((rows[0][0] - -4.51249).abs() < 5e-6);
    assert!((rows[0][1] - 0.25371).abs() < 5e-6);
    assert!((rows[0][2] - 1_050_003.715).abs() < 5e-4);
    assert!((rows[1][2] - 50_542.131).abs() < 5e-4);
    assert!((found.scale.value() - 4.519621).abs() < 1e-6);
    assert!((found.rotation_deg.value() - (183.21806 - 360.0)).abs() < 1e-5);
    assert!((found.sigma0.expect("two are redundant") - 0.13982).abs() < 1e-5);
    // Deviation of a and b is 0.000576 with sigma0: ours is stated for a deviation of 1.
    let deviation = found.scale.half_width() / 1.959964 * 0.139820;
    assert!((deviation - 0.000576).abs() < 1e-6);
}

/// Constructed with a fixed seed in reference/worked-examples: twelve marks, one blunder of (9, -6) at index 7; the
/// statistics are computed there with NumPy.
#[test]
fn data_snooping_finds_the_constructed_blunder() {
    let Some(folder) = reference::folder("data snooping", "worked-examples") else {
        return;
    };
    let example = golden::json(&folder, "data_snooping_constructed.json");
    let source = golden::points(&example["src"]);
    let clean = golden::points(&example["dst_clean"]);
    let blundered = golden::points(&example["dst_with_blunder_at_index_7"]);
    let wrong = |target: &[[f64; 2]]| -> Vec<usize> {
        let view = views::view(
            RegistrationKind::Similarity,
            &source,
            target,
            [Some(0.8), Some(1e-9)],
        );
        let found = register(&view, views::EXPECTED, (900, 600), None).expect("twelve points");
        (0..source.len())
            .filter(|&k| found.registration.landmarks[k].finding == Some(Finding::Wrong))
            .collect()
    };
    assert!(wrong(&clean).is_empty());
    assert_eq!(wrong(&blundered), [7]);
}

/// Six known points of a plane of 60 x 90 units (reference/worked-examples/plane_six_points.json). Who measured them is not
/// recorded there: no source for the data. The solution is SciPy's least squares on the reprojection.
#[test]
fn six_points_of_a_plane_give_the_projective_fit() {
    let Some(folder) = reference::folder("plane of six points", "worked-examples") else {
        return;
    };
    let example = golden::json(&folder, "plane_six_points.json");
    let (plane, image) = (
        golden::points(&example["plane_xy"]),
        golden::points(&example["image_uv"]),
    );
    let view = views::view(
        RegistrationKind::Projective,
        &plane,
        &image,
        [Some(1.0), Some(1e-9)],
    );
    let found = register(&view, views::EXPECTED, (700, 700), None)
        .expect("six points")
        .registration;
    let expected = &example["H_plane_to_image_reprojection_ls"];
    for (r, row) in found.render_from_reference.rows().iter().enumerate() {
        for (c, value) in row.iter().enumerate() {
            let e = expected[r][c].as_f64().expect("a number");
            assert!(
                (value - e).abs() < 1e-5 * (1.0 + e.abs()),
                "element {r} {c}: {value} against {e}"
            );
        }
    }
    assert!((found.sigma0.expect("four are redundant") - 1.20738).abs() < 1e-4);
    let residuals = golden::points(&example["residuals_px"]);
    for (landmark, residual) in found.landmarks.iter().zip(&residuals) {
        // Theirs is model minus data or its opposite: the size is what is compared.
        let ours = landmark.residual_px[0].hypot(landmark.residual_px[1]);
        assert!((ours - residual[0].hypot(residual[1])).abs() < 1e-4);
    }
}

/// Mean shapes and single specimens from the R package shapes 1.2.7 (O'Higgins and Dryden 1993); ordinary Procrustes
/// computed with SciPy in reference/worked-examples.
#[test]
fn procrustes_superposition_is_a_similarity_registration() {
    let Some(folder) = reference::folder("Procrustes", "worked-examples") else {
        return;
    };
    let example = golden::json(&folder, "procrustes_shapes.json");
    let case = &example["cases"][0];
    let (a, b) = (golden::points(&case["A"]), golden::points(&case["B"]));
    let expected = &case["match_B_onto_A"];
    // Stated deviations as large as the shapes differ, so that no specimen's point counts as a wrong mark.
    let view = views::view(
        RegistrationKind::Similarity,
        &b,
        &a,
        [Some(200.0), Some(1e-6)],
    );
    let found = register(&view, views::EXPECTED, (4000, 4000), None)
        .expect("twelve points")
        .registration;
    let scale = expected["scale"].as_f64().expect("a number");
    assert!(
        (found.scale.value() - scale).abs() < 1e-5,
        "{} against {scale}",
        found.scale.value()
    );
    let square: f64 = found
        .landmarks
        .iter()
        .map(|l| l.residual_px[0].powi(2) + l.residual_px[1].powi(2))
        .sum();
    assert!((square - expected["oss"].as_f64().expect("a number")).abs() < 1.0);
    let mapped = found
        .render_from_reference
        .apply(Point::new(b[0][0], b[0][1]));
    assert!(mapped.distance(Point::new(a[0][0], a[0][1])) < 200.0);
}
