//! Which marks are called wrong, on marks of known truth.
use crate::{
    job::{Expected, RegistrationKind::Similarity},
    registration::{
        Finding,
        invented::{DATUM, Marks, PART, noisy, registered, right, view},
        register,
    },
    statistics::trials::Noise,
};

const SIGMA: f64 = 0.5;

/// Indices of the marks that are called wrong.
fn wrong(datum: &[Marks]) -> Vec<usize> {
    let found = registered(&view(Similarity, datum, &[], SIGMA)).registration;
    let landmarks = found.landmarks.iter().enumerate();
    landmarks
        .filter(|(_, l)| l.finding == Some(Finding::Wrong))
        .map(|(k, _)| k)
        .collect()
}

fn with_error(mut datum: Vec<Marks>, at: usize, by: [f64; 2]) -> Vec<Marks> {
    let [x, y] = datum[at].0;
    datum[at].0 = [x + by[0], y + by[1]];
    datum
}

#[test]
fn exact_marks_are_not_accused() {
    let found = registered(&view(Similarity, &right(&DATUM), &[], SIGMA)).registration;
    for landmark in found.landmarks {
        assert_eq!(landmark.finding, None);
        assert!(landmark.test_statistic.expect("seven others check it") < 1e-3);
    }
}

/// 250 views of eight good marks, each accused with probability 0.001 at most: more than eight of 2000 in one of 4,000
/// runs (binomial).
#[test]
fn noisy_marks_are_accused_as_seldom_as_the_level_says() {
    let mut noise = Noise(101);
    let views = (0..250).map(|_| noisy(&right(&DATUM), SIGMA, &mut noise));
    let accused: usize = views.map(|marks| wrong(&marks).len()).sum();
    assert!(accused <= 8, "{accused} of 2000");
}

/// What remains without the wrong mark must still check itself: two marks carry a similarity, a third one checks them.
#[test]
fn four_marks_are_the_fewest_of_which_a_wrong_one_is_named() {
    let off = |count: usize| with_error(right(&DATUM[..count]), 1, [30.0, 20.0]);
    assert_eq!(wrong(&off(4)), [1]);
    assert_eq!(wrong(&off(3)), [0; 0]);
}

#[test]
fn too_few_marks_to_check_each_other_are_called_uncontrolled() {
    let datum = with_error(right(&DATUM[..2]), 1, [30.0, 20.0]);
    let found = registered(&view(Similarity, &datum, &[], SIGMA)).registration;
    for landmark in found.landmarks {
        assert_eq!(landmark.finding, Some(Finding::Uncontrolled));
        assert_eq!(landmark.test_statistic, None);
    }
}

#[test]
fn on_a_line_of_marks_the_wrong_one_is_named() {
    let line: Vec<[f64; 2]> = (1..8)
        .map(|k| [90.0, 50.0].map(|v| v * f64::from(k)))
        .collect();
    for by in [[10.0, -18.0], [18.0, 10.0]] {
        assert_eq!(wrong(&with_error(right(&line), 4, by)), [4]);
    }
}

#[test]
fn of_two_marks_on_one_place_the_wrong_one_is_named() {
    let mut datum = right(&DATUM);
    datum.push(datum[3]);
    assert_eq!(wrong(&datum), [0; 0]);
    assert_eq!(wrong(&with_error(datum, 8, [0.0, 15.0])), [8]);
}

/// What is expected of a part does not say which of its two marks is the wrong one, and alone either fits: both stay out.
#[test]
fn of_two_marks_of_a_part_that_contradict_each_other_neither_counts() {
    let expected = Expected {
        size_percent: 4.0,
        rotation_deg: 1.5,
        offset_percent: 0.8,
        keystone_percent: 0.3,
    };
    let n = DATUM.len();
    // The part lies higher or lower as a whole, and one of its marks by 26 px more or less.
    for (up, down) in [(-12.0, 14.0), (-14.0, 12.0)] {
        let checks = with_error(right(&PART[..2]), 0, [0.0, up]);
        let checks = with_error(checks, 1, [0.0, down]);
        let view = view(Similarity, &right(&DATUM), &checks, SIGMA);
        let found = register(&view, expected, (1000, 1000), None).expect("eight datum marks");
        let found = found.registration;
        let findings: Vec<_> = found.landmarks.iter().map(|l| l.finding.clone()).collect();
        assert!(findings[..n].iter().all(Option::is_none), "{findings:?}");
        let each = [n + 1, n].map(|other| Some(Finding::Contradicts(other)));
        assert_eq!(findings[n..], each);
    }
}

/// An error of the size that is stated as the smallest detectable is found four times in five.
#[test]
fn an_error_of_the_smallest_detectable_size_is_found_as_often_as_stated() {
    const TRIALS: usize = 300;
    let mut noise = Noise(103);
    let mut named = 0;
    for trial in 0..TRIALS {
        let at = trial % DATUM.len();
        let clean = registered(&view(Similarity, &right(&DATUM), &[], SIGMA)).registration;
        let size = clean.landmarks[at].smallest_detectable_px.expect("checked");
        let (sin, cos) = (trial as f64).sin_cos();
        let marks = noisy(&right(&DATUM), SIGMA, &mut noise);
        named += usize::from(wrong(&with_error(marks, at, [size * cos, size * sin])).contains(&at));
    }
    // Three binomial deviations of 300 trials with probability 0.8, 2.3 % each.
    let share = named as f64 / TRIALS as f64;
    assert!((share - 0.8).abs() < 0.07, "{share}");
}

#[test]
fn exchanging_the_images_accuses_the_same_mark() {
    let mut noise = Noise(107);
    for at in 0..DATUM.len() {
        let marks = noisy(&right(&DATUM), SIGMA, &mut noise);
        let marks = with_error(marks, at, [14.0, -9.0]);
        let exchanged: Vec<Marks> = marks.iter().map(|(r, q)| (*q, *r)).collect();
        assert_eq!((wrong(&marks), wrong(&exchanged)), (vec![at], vec![at]));
    }
}
