//! Registration as a user meets it: known maps are recovered, wrong marks are named, hopeless marks are refused.
use crate::support::views;
use proptest::prelude::*;
use std::{path::Path, sync::mpsc, thread, time::Duration};
use tickstrip::{
    frame::{Point, Projective, ReferencePx, RenderPx},
    job::{self, LandmarkUse, RegistrationKind, View},
    registration::{Error, Finding, Registration, lay_over, register},
};

const CLOUD: [[f64; 2]; 10] = [
    [120.0, 80.0],
    [880.0, 120.0],
    [910.0, 640.0],
    [95.0, 700.0],
    [500.0, 380.0],
    [300.0, 240.0],
    [700.0, 530.0],
    [210.0, 560.0],
    [640.0, 90.0],
    [420.0, 690.0],
];
/// Small fixed disturbances, about half a pixel each way.
const NOISE: [[f64; 2]; 10] = [
    [0.3, -0.5],
    [-0.6, 0.2],
    [0.1, 0.7],
    [-0.2, -0.4],
    [0.5, 0.3],
    [-0.7, 0.1],
    [0.4, -0.6],
    [0.2, 0.5],
    [-0.1, -0.3],
    [0.0, 0.2],
];

fn mapped(map: &Projective<RenderPx, ReferencePx>, noise: f64) -> Vec<[f64; 2]> {
    CLOUD
        .iter()
        .zip(NOISE)
        .map(|(p, n)| {
            let q = map.apply(Point::new(p[0], p[1]));
            [q.x + noise * n[0], q.y + noise * n[1]]
        })
        .collect()
}

fn registered(view: &View) -> Registration {
    register(view, views::EXPECTED, (1000, 800), None)
        .expect("the marks carry a registration")
        .registration
}

fn similarity() -> Projective<RenderPx, ReferencePx> {
    Projective::similarity(1.4, 0.2, [30.0, -50.0])
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    #[test]
    fn a_known_similarity_is_recovered(scale in 0.1_f64..10.0, angle in -3.1_f64..3.1, x in -500.0_f64..500.0) {
        let map = Projective::<RenderPx, ReferencePx>::similarity(scale, angle, [x, 20.0]);
        let found = registered(&views::view(RegistrationKind::Similarity, &CLOUD, &mapped(&map, 0.0), [None, None]));
        for p in CLOUD {
            let p = Point::new(p[0], p[1]);
            prop_assert!(found.render_from_reference.apply(p).distance(map.apply(p)) < 1e-6 * scale.max(1.0));
        }
        prop_assert!((found.scale.value() / scale - 1.0).abs() < 1e-9);
        prop_assert!((found.rotation_deg.value().to_radians() - angle).abs() < 1e-9);
    }

    #[test]
    fn the_order_of_the_landmarks_does_not_matter(turn in 0_usize..10) {
        let render = mapped(&similarity(), 1.0);
        let view = views::view(RegistrationKind::Affine, &CLOUD, &render, [None, None]);
        let mut turned = view.clone();
        turned.landmarks.rotate_left(turn);
        let (a, b) = (registered(&view), registered(&turned));
        let p = Point::new(300.0, 300.0);
        prop_assert!(a.render_from_reference.apply(p).distance(b.render_from_reference.apply(p)) < 1e-7);
    }

    #[test]
    fn the_size_of_the_pictures_does_not_matter(factor in 0.2_f64..5.0) {
        let render = mapped(&similarity(), 1.0);
        let larger: Vec<_> = render.iter().map(|p| [p[0] * factor, p[1] * factor]).collect();
        let stated = |s: f64| [Some(0.75 * s), Some(1e-6)];
        let a = registered(&views::view(RegistrationKind::Similarity, &CLOUD, &render, stated(1.0)));
        let b = registered(&views::view(RegistrationKind::Similarity, &CLOUD, &larger, stated(factor)));
        prop_assert!((b.rms_px / a.rms_px / factor - 1.0).abs() < 1e-6);
        prop_assert!((b.rotation_deg.value() - a.rotation_deg.value()).abs() < 1e-7);
        prop_assert!((b.rotation_deg.half_width() / a.rotation_deg.half_width() - 1.0).abs() < 1e-5);
    }
}

/// Every number of datum marks from the least to 200, spread over the picture.
#[test]
fn every_number_of_datum_landmarks_registers() {
    for (kind, least) in [
        (RegistrationKind::Similarity, 2),
        (RegistrationKind::Affine, 3),
        (RegistrationKind::Projective, 4),
    ] {
        let (sender, receiver) = mpsc::channel();
        thread::spawn(move || {
            for count in least..=200 {
                let at = |k: usize, step: f64| (k as f64 * step).fract();
                let reference: Vec<[f64; 2]> = (0..count)
                    .map(|k| [900.0 * at(k, 0.618_034), 700.0 * at(k, 0.754_878)])
                    .collect();
                let render: Vec<[f64; 2]> = reference
                    .iter()
                    .map(|p| similarity().apply(Point::new(p[0], p[1])).xy())
                    .collect();
                let sigmas = [Some(1.0), Some(1.0)];
                let found = registered(&views::view(kind, &reference, &render, sigmas));
                sender.send((count, found.scale.value())).expect("heard");
            }
        });
        for count in least..=200 {
            // A count takes far less than a second; a minute without an answer is a search that does not end.
            let (answered, scale) = receiver
                .recv_timeout(Duration::from_secs(60))
                .unwrap_or_else(|e| panic!("{count} landmarks, {kind:?}: {e}"));
            assert_eq!(answered, count);
            assert!((scale - 1.4).abs() < 1e-6, "{count} {kind:?}: {scale}");
        }
    }
}

#[test]
fn exchanging_the_images_gives_the_inverse_map() {
    let render = mapped(&similarity(), 1.0);
    // With the noise split between both images as their scales ask for, both directions are the same problem.
    let there = registered(&views::view(
        RegistrationKind::Similarity,
        &CLOUD,
        &render,
        [Some(1.4), Some(1.0)],
    ));
    let back = registered(&views::view(
        RegistrationKind::Similarity,
        &render,
        &CLOUD,
        [Some(1.0), Some(1.4)],
    ));
    assert!((there.scale.value() * back.scale.value() - 1.0).abs() < 1e-5);
    assert!((there.rotation_deg.value() + back.rotation_deg.value()).abs() < 1e-6);
}

#[test]
fn affine_and_projective_registrations_say_what_they_hide() {
    let view = |kind| views::view(kind, &CLOUD, &mapped(&similarity(), 1.0), [None, None]);
    assert!(
        registered(&view(RegistrationKind::Similarity))
            .hides
            .is_empty()
    );
    assert_eq!(registered(&view(RegistrationKind::Affine)).hides.len(), 1);
    let hides = registered(&view(RegistrationKind::Projective)).hides;
    assert!(hides.iter().any(|h| h.contains("keystone")), "{hides:?}");
}

#[test]
fn a_mark_set_wrong_is_named_and_left_out() {
    for kind in [
        RegistrationKind::Similarity,
        RegistrationKind::Affine,
        RegistrationKind::Projective,
    ] {
        let mut render = mapped(&similarity(), 1.0);
        render[4][0] += 25.0;
        let found = registered(&views::view(kind, &CLOUD, &render, [None, None]));
        for (k, landmark) in found.landmarks.iter().enumerate() {
            assert_eq!(
                landmark.finding == Some(Finding::Wrong),
                k == 4,
                "{kind:?}, landmark {k}"
            );
        }
        let clean = registered(&views::view(
            kind,
            &CLOUD,
            &mapped(&similarity(), 1.0),
            [None, None],
        ));
        assert!((found.scale.value() / clean.scale.value() - 1.0).abs() < 0.01);
    }
}

#[test]
fn two_exchanged_marks_are_named_as_such() {
    let mut render = mapped(&similarity(), 1.0);
    render.swap(5, 6);
    let found = registered(&views::view(
        RegistrationKind::Similarity,
        &CLOUD,
        &render,
        [None, None],
    ));
    assert_eq!(found.landmarks[5].finding, Some(Finding::SwappedWith(6)));
    assert_eq!(found.landmarks[6].finding, Some(Finding::SwappedWith(5)));
    assert!(
        found
            .landmarks
            .iter()
            .enumerate()
            .all(|(k, l)| k == 5 || k == 6 || l.finding.is_none())
    );
}

#[test]
fn good_marks_are_not_accused() {
    for kind in [
        RegistrationKind::Similarity,
        RegistrationKind::Affine,
        RegistrationKind::Projective,
    ] {
        let found = registered(&views::view(
            kind,
            &CLOUD,
            &mapped(&similarity(), 1.0),
            [None, None],
        ));
        assert!(
            found.landmarks.iter().all(|l| l.finding.is_none()),
            "{kind:?}"
        );
    }
}

#[test]
fn marks_that_nothing_checks_are_called_uncontrolled() {
    let render = mapped(&similarity(), 1.0);
    let found = registered(&views::view(
        RegistrationKind::Similarity,
        &CLOUD[..2],
        &render[..2],
        [None, None],
    ));
    assert!(
        found
            .landmarks
            .iter()
            .all(|l| l.finding == Some(Finding::Uncontrolled))
    );
    assert_eq!(found.sigma0, None);
    assert_eq!(found.degrees_of_freedom, 0);
}

#[test]
fn check_landmarks_do_not_move_the_registration() {
    let mut render = mapped(&similarity(), 1.0);
    let mut view = views::view(RegistrationKind::Similarity, &CLOUD, &render, [None, None]);
    view.landmarks[3].usage = LandmarkUse::Check;
    let before = registered(&view);
    render[3][0] += 40.0;
    view.landmarks[3].render = Point::new(render[3][0], render[3][1]);
    let after = registered(&view);
    for (a, b) in before
        .render_from_reference
        .rows()
        .iter()
        .flatten()
        .zip(after.render_from_reference.rows().iter().flatten())
    {
        // The marks' extent only scales the unknowns: rounding is all that may differ.
        assert!((a - b).abs() < 1e-9);
    }
    assert!(
        (after.landmarks[3].offset_px[0].value() - before.landmarks[3].offset_px[0].value() - 40.0)
            .abs()
            < 1e-9
    );
}

#[test]
fn too_few_landmarks_are_refused_with_the_way_out() {
    let render = mapped(&similarity(), 1.0);
    let view = views::view(
        RegistrationKind::Projective,
        &CLOUD[..2],
        &render[..2],
        [None, None],
    );
    let error = register(&view, views::EXPECTED, (1000, 800), None).expect_err("two are too few");
    assert_eq!(
        error.to_string(),
        "registration: 2 datum landmarks, projective needs 4; mark 2 more or set \"registration\": \"similarity\""
    );
    assert_eq!(error.code(), "too-few-landmarks");
}

#[test]
fn collinear_and_coincident_landmarks_are_refused_by_name() {
    let line: Vec<[f64; 2]> = (0..5)
        .map(|k| [100.0 * f64::from(k), 50.0 * f64::from(k)])
        .collect();
    let view = views::view(RegistrationKind::Affine, &line, &line, [None, None]);
    let error = register(&view, views::EXPECTED, (1000, 800), None)
        .expect_err("a line carries no affine map");
    assert!(
        matches!(
            &error,
            Error::Degenerate {
                fault: "lie on one line",
                image: "render",
                ..
            }
        ),
        "{error}"
    );
    assert!(error.to_string().contains("\"point 3\""), "{error}");
    let same = [[5.0, 5.0]; 4];
    let view = views::view(
        RegistrationKind::Similarity,
        &same,
        &CLOUD[..4],
        [None, None],
    );
    let error = register(&view, views::EXPECTED, (1000, 800), None)
        .expect_err("a point carries no similarity");
    assert!(
        matches!(
            error,
            Error::Degenerate {
                fault: "lie on one point",
                image: "reference",
                ..
            }
        ),
        "{error}"
    );
    // Enough for a similarity: a line is a fine datum there.
    let view = views::view(RegistrationKind::Similarity, &line, &line, [None, None]);
    assert!(register(&view, views::EXPECTED, (1000, 800), None).is_ok());
}

#[test]
fn more_noise_widens_every_interval() {
    let render = mapped(&similarity(), 1.0);
    let with = |s: f64| {
        registered(&views::view(
            RegistrationKind::Similarity,
            &CLOUD,
            &render,
            [Some(s), Some(s)],
        ))
    };
    let (small, large) = (with(0.5), with(1.5));
    assert!((large.scale.half_width() / small.scale.half_width() - 3.0).abs() < 0.01);
    let (a, b) = (&small.landmarks[2], &large.landmarks[2]);
    assert!(b.offset_px[0].half_width() > 2.9 * a.offset_px[0].half_width());
    assert!(b.smallest_detectable_px > a.smallest_detectable_px);
}

/// Datum marks all over the picture, and a part of 200 x 120 px with check marks at `corners` (0 to 3), the reference
/// marks of which are moved by `off`.
fn with_part(corners: &[usize], off: &[[f64; 2]]) -> View {
    let part = [
        [400.0, 300.0],
        [600.0, 300.0],
        [600.0, 420.0],
        [400.0, 420.0],
    ];
    let mut reference = CLOUD.to_vec();
    let mut render = mapped(&Projective::identity(), 0.5);
    for (&c, d) in corners.iter().zip(off) {
        render.push(part[c]);
        reference.push([part[c][0] + d[0], part[c][1] + d[1]]);
    }
    let mut view = views::view(
        RegistrationKind::Similarity,
        &reference,
        &render,
        [Some(0.5), Some(0.5)],
    );
    for landmark in &mut view.landmarks[CLOUD.len()..] {
        landmark.usage = LandmarkUse::Check;
    }
    view.regions = vec![tickstrip::job::Region {
        name: "lid".to_owned(),
        outline: part.map(|p| Point::new(p[0], p[1])).to_vec(),
        landmarks: (CLOUD.len()..CLOUD.len() + corners.len()).collect(),
        anchor: Point::new(500.0, 360.0),
        tolerance: tickstrip::job::Tolerance {
            proportion_percent: 2.0,
            offset: tickstrip::units::ModelMm(0.2),
            angle_deg: 1.0,
            edge_overlap: 0.5,
        },
        note: None,
    }];
    view
}

fn findings_of_part(view: &View) -> Vec<Option<Finding>> {
    registered(view).landmarks[CLOUD.len()..]
        .iter()
        .map(|l| l.finding.clone())
        .collect()
}

#[test]
fn a_gross_error_on_a_part_with_two_marks_is_named() {
    // 70 px: far more than what is expected of a part (4 % of 200 px, and 0.8 % of the diagonal, 10 px).
    let view = with_part(&[0, 2], &[[0.2, 0.1], [60.0, -40.0]]);
    let findings = findings_of_part(&view);
    assert_ne!(findings[0], Some(Finding::Wrong));
    assert_eq!(findings[1], Some(Finding::Wrong));
}

#[test]
fn of_three_marks_the_one_that_disagrees_is_named_even_where_the_part_could_follow_it() {
    let view = with_part(&[3, 1, 2], &[[10.0, 33.0], [0.2, 0.1], [-0.1, 0.2]]);
    let registered =
        register(&view, views::EXPECTED, (1000, 800), None).expect("the datum marks do");
    let landmarks = &registered.registration.landmarks[CLOUD.len()..];
    let is_wrong = |k: usize| landmarks[k].finding == Some(Finding::Wrong);
    assert!(is_wrong(0) && !is_wrong(1) && !is_wrong(2));
    assert_eq!(registered.regions[0].as_ref().map(|r| r.landmarks), Some(2));
}

#[test]
fn marks_that_disagree_without_telling_which_is_wrong_carry_no_figures() {
    // Both ends moved apart alike: one of them wrong, or a part twice as wide; nothing tells which.
    let view = with_part(&[0, 1], &[[-70.0, 0.0], [70.0, 0.0]]);
    let registered =
        register(&view, views::EXPECTED, (1000, 800), None).expect("the datum marks do");
    assert!(registered.regions[0].is_none(), "no figures by landmarks");
}

#[test]
fn a_part_whose_marks_disagree_with_what_is_expected_has_wider_intervals() {
    let deviation = |apart: f64| {
        let view = with_part(&[0, 1], &[[0.0, -apart], [0.0, apart]]);
        let registered =
            register(&view, views::EXPECTED, (1000, 800), None).expect("the datum marks do");
        let fit = registered.regions[0].as_ref().expect("two marks");
        assert_eq!(fit.landmarks, 2, "neither is accused");
        fit.covariance[(2, 2)].sqrt()
    };
    // Turned by 4 degrees where 1.5 are expected: (4 / 1.5)^2 over four observations, and the root of that.
    assert!(deviation(7.0) > 1.2 * deviation(0.5));
}

#[test]
fn the_adjustment_comes_to_rest() {
    for kind in [
        RegistrationKind::Similarity,
        RegistrationKind::Affine,
        RegistrationKind::Projective,
    ] {
        for noise in [0.0, 1.0, 8.0] {
            let view = views::view(kind, &CLOUD, &mapped(&similarity(), noise), [None, None]);
            let registered =
                register(&view, views::EXPECTED, (1000, 800), None).expect("ten marks");
            let end = registered.adjustment.convergence();
            assert!(
                end.is_reached && end.last_step_px < 0.02,
                "{kind:?} {noise}: {end:?}"
            );
        }
    }
}

#[test]
fn marks_far_outside_of_what_a_lens_shows_are_refused() {
    let text = include_bytes!("../../fixtures/fuzz/jobs/far-marks.json");
    let job = job::parse(text, Path::new("/jobs/pump.json")).expect("sound");
    let view = &job.views[0];
    let error = lay_over(view, job.expected, [(1600, 1200), (1920, 1080)], None);
    let error = error.expect_err("far outside of what the lens shows");
    // Before gross errors were left out first, the adjustment came to rest where "m0" lies beyond the horizon; that code
    // may come again.
    let codes = ["not-converged", "landmark-beyond-horizon"];
    assert!(codes.contains(&error.code()), "{error}");
}
