//! Whether scale, angle and stretch of a plan hold the truth as often as they say, and whether a misread dimension is
//! found: 400 trials with a fixed seed, the bound three binomial standard deviations (as in [`super::coverage`]).
use super::{
    DimensionFit, KnownFit,
    coverage::{BOUND, REFERENCE_SIGMA, TRIALS, job},
    scales::{self, KnownMarks},
};
use crate::{job::*, registration::register, statistics::trials::Noise, units::FullSizeMm};

/// A drawing's dimensions, millimetres: ends and how they run.
const DIMENSIONS: [([f64; 2], [f64; 2], Axis); 8] = [
    ([0.0, -200.0], [2000.0, -200.0], Axis::Horizontal),
    ([0.0, -400.0], [900.0, -400.0], Axis::Horizontal),
    ([900.0, -400.0], [2000.0, -400.0], Axis::Horizontal),
    ([0.0, 1600.0], [2000.0, 1600.0], Axis::Horizontal),
    ([-200.0, 0.0], [-200.0, 1400.0], Axis::Vertical),
    ([-400.0, 0.0], [-400.0, 600.0], Axis::Vertical),
    ([-400.0, 600.0], [-400.0, 1400.0], Axis::Vertical),
    ([2200.0, 0.0], [2200.0, 1400.0], Axis::Vertical),
];
const PX_PER_MM: f64 = 0.4;
const ANGLE: f64 = 0.012;

/// What is wrong with a plan.
#[derive(Clone, Copy, Default)]
struct Faults {
    /// Scale along x over that along y, minus 1.
    stretch: f64,
    /// Shear of the plan, radians: a right angle shows as 90° minus twice this.
    shear: f64,
    /// Index of a dimension that reads this many times its true length.
    misread: Option<(usize, f64)>,
}

fn plan(faults: Faults, stated: bool, noise: &mut Noise) -> Job {
    let mut job = job(RegistrationKind::Similarity, stated, noise);
    let (e, g) = (faults.stretch / (2.0 + faults.stretch), faults.shear);
    let (sin, cos) = ANGLE.sin_cos();
    let mut mark = |p: [f64; 2]| {
        let t = [cos * p[0] - sin * p[1], sin * p[0] + cos * p[1]];
        let s = [(1.0 + e) * t[0] + g * t[1], g * t[0] + (1.0 - e) * t[1]];
        End::Point(s.map(|v| 300.0 + PX_PER_MM * v + REFERENCE_SIGMA * noise.normal()))
    };
    job.views[0].known = DIMENSIONS
        .iter()
        .enumerate()
        .map(|(k, (from, to, axis))| {
            let wrong = faults.misread.filter(|(i, _)| *i == k);
            let length = (to[0] - from[0]).hypot(to[1] - from[1]) * wrong.map_or(1.0, |w| w.1);
            Known {
                side: Side::Reference,
                from: mark(*from),
                to: mark(*to),
                length: Some(FullSizeMm(length)),
                along: Some(*axis),
                text: format!("{length} mm"),
            }
        })
        .collect();
    job
}

fn study(job: &Job) -> (DimensionFit, Vec<KnownFit>) {
    let view = &job.views[0];
    let registered =
        register(view, job.expected, (1000, 1000), None).expect("eight datum landmarks");
    let marks = KnownMarks::new(view, &registered.adjustment);
    let figures = scales::study(job, view, &marks).figures;
    let fit = figures.reference_dimensions.expect("lengths are known");
    (fit, figures.known)
}

/// Shares of trials in which the intervals of scale, angle, stretch and squareness hold the truth.
fn shares(faults: Faults, stated: bool) -> [f64; 4] {
    let mut noise = Noise(23);
    let mut counts = [0; 4];
    for _ in 0..TRIALS {
        let (fit, _) = study(&plan(faults, stated, &mut noise));
        let holds = [
            fit.px_per_mm.holds(PX_PER_MM),
            fit.angle_deg.expect("directions").holds(ANGLE.to_degrees()),
            fit.stretch_percent
                .expect("both ways")
                .holds(100.0 * faults.stretch),
            fit.out_of_square_deg
                .expect("both ways")
                .holds(-2.0 * faults.shear.to_degrees()),
        ];
        for (count, holds) in counts.iter_mut().zip(holds) {
            *count += usize::from(holds);
        }
    }
    counts.map(|count| count as f64 / TRIALS as f64)
}

#[test]
fn scale_angle_stretch_and_squareness_hold_the_truth_as_often_as_they_say() {
    let sound = Faults::default();
    let stretched = Faults {
        stretch: 0.015,
        ..sound
    };
    let slanted = Faults {
        stretch: 0.015,
        shear: 0.01,
        ..sound
    };
    for (name, faults) in [
        ("sound", sound),
        ("stretched", stretched),
        ("slanted", slanted),
    ] {
        let shares = shares(faults, true);
        let is_fair = |share: &f64| *share > BOUND.0 && *share < BOUND.1;
        assert!(
            shares.iter().all(is_fair),
            "{name}: scale, angle, stretch, squareness {shares:?}"
        );
    }
}

#[test]
fn with_estimated_noise_the_intervals_are_not_too_narrow() {
    for share in shares(Faults::default(), false) {
        assert!(share > BOUND.0, "{share}");
    }
}

#[test]
fn a_misread_dimension_is_named_and_the_right_length_asked_for() {
    // 600 written as 660: 24 px at 1.2 px of noise a coordinate.
    let faults = Faults {
        misread: Some((5, 1.1)),
        ..Faults::default()
    };
    let mut noise = Noise(29);
    let (mut named, mut held, mut accused) = (0, 0, 0);
    for _ in 0..TRIALS {
        let (fit, known) = study(&plan(faults, true, &mut noise));
        named += usize::from(known[5].doubtful && !known[5].ambiguous);
        accused += (0..8).filter(|&k| k != 5 && known[k].doubtful).count();
        let asked = known[5].others_ask_for_full_size_mm.expect("others");
        held += usize::from(asked.holds(600.0));
        assert!(!fit.is_stretched);
    }
    let share = |count: usize| count as f64 / TRIALS as f64;
    assert!(share(named) > 0.99, "{}", share(named));
    assert!(
        share(held) > BOUND.0 && share(held) < BOUND.1,
        "{}",
        share(held)
    );
    // Eight lengths and eight directions at one in a thousand: 1.6 %, and three binomial deviations.
    assert!(share(accused) < 0.035, "{}", share(accused));
}

#[test]
fn a_stretched_plan_is_not_taken_for_misread_dimensions() {
    let faults = Faults {
        stretch: 0.02,
        ..Faults::default()
    };
    let mut noise = Noise(31);
    let mut stretched = 0;
    for _ in 0..100 {
        let (fit, known) = study(&plan(faults, true, &mut noise));
        let test = fit.stretch_test.expect("both ways");
        let clean = known.iter().all(|k| !k.doubtful);
        stretched += usize::from(fit.is_stretched && test.speaks() && clean);
    }
    assert!(stretched > 95, "{stretched}");
}

#[test]
fn of_two_lengths_that_contradict_each_other_neither_is_called_right() {
    let mut noise = Noise(37);
    let mut job = plan(Faults::default(), true, &mut noise);
    let known = &mut job.views[0].known;
    known.truncate(2);
    known[1].length = Some(FullSizeMm(990.0));
    let (fit, known) = study(&job);
    assert!(known.iter().all(|k| k.doubtful && k.ambiguous));
    // The interval of the scale is as wide as the contradiction: 10 % between two.
    assert!(fit.disagree && fit.px_per_mm.half_width() > 0.1 * fit.px_per_mm.value);
}

#[test]
fn a_single_length_gives_a_scale_and_no_test() {
    let mut noise = Noise(41);
    let mut job = plan(Faults::default(), true, &mut noise);
    job.views[0].known.truncate(1);
    job.views[0].known[0].along = None;
    let (fit, known) = study(&job);
    assert!(fit.px_per_mm.holds(PX_PER_MM));
    assert!(fit.angle_deg.is_none() && fit.stretch_percent.is_none() && fit.sigma0.is_none());
    assert_eq!(known[0].test_statistic, None);
    assert!(!known[0].doubtful);
}

#[test]
fn a_drawing_on_its_side_has_an_angle_near_90_degrees() {
    let mut noise = Noise(43);
    let mut job = plan(Faults::default(), true, &mut noise);
    for known in &mut job.views[0].known {
        known.along = known.along.map(|axis| match axis {
            Axis::Horizontal => Axis::Vertical,
            Axis::Vertical => Axis::Horizontal,
        });
    }
    let (fit, known) = study(&job);
    let angle = fit.angle_deg.expect("directions").value;
    assert!((angle.abs() - 90.0).abs() < 2.0, "{angle}");
    assert!(known.iter().all(|k| !k.doubtful));
}

#[test]
fn a_chain_of_dimensions_that_does_not_add_up_has_its_wrong_link_named() {
    let mut noise = Noise(47);
    let mut job = plan(Faults::default(), true, &mut noise);
    let known = &mut job.views[0].known;
    // Overall from the very same points as its two parts.
    known[0].from = known[1].from;
    known[1].to = known[2].from;
    known[0].to = known[2].to;
    known[0].length = Some(FullSizeMm(2100.0));
    let (_, known) = study(&job);
    assert!(known[0].doubtful && !known[0].ambiguous);
    let asked = known[0].others_ask_for_full_size_mm.expect("others");
    assert!(asked.holds(2000.0), "{asked:?}");
}
