//! Balls, barrels, cylinders and vessels in a lit picture: another light than the render's, soft shadows on the ground, a
//! highlight, and cloth beneath them in every second picture.
use super::{
    rounded::{FRAME, STUDIO, altered, measured_in_frame},
    tally::{self, Tallies},
};
use crate::support::{
    drawn::draw,
    random::Random,
    truth::Errors,
    vessels::{Form, Ground, Light, Vessel, draw_over},
};
use tickstrip::measurement::MeasuredView;

const FORMS: [Form; 4] = [Form::Ball, Form::Cylinder, Form::Barrel, Form::Vessel];
const PLACES: [[f64; 2]; 4] = [
    [200.0, 145.0],
    [400.0, 145.0],
    [200.0, 315.0],
    [400.0, 315.0],
];
/// Grey of the ground in the reference.
const GROUND: u8 = 60;

/// Four parts, one of each form; which stands where, and how large it is, differs.
fn parts(seed: u64, random: &mut Random) -> [Vessel; 4] {
    std::array::from_fn(|k| Vessel {
        form: FORMS[(k + seed as usize) % 4],
        centre: PLACES[k],
        half: [70.0 + 6.0 * random.uniform(), 55.0 + 5.0 * random.uniform()],
        depth: 42.0,
        albedo: 0.6 + 0.08 * random.uniform(),
    })
}

fn lamp(random: &mut Random) -> Light {
    Light {
        towards: [0.8 * random.uniform(), -0.4 + 0.5 * random.uniform(), 0.7],
        ambient: 0.4,
        gloss: 0.6,
    }
}

fn compared(seed: u64, has_marks: bool, errors: &[Errors; 4]) -> MeasuredView {
    let mut random = Random::new(seed);
    let subject = parts(seed, &mut random);
    let model: [Vessel; 4] = std::array::from_fn(|k| altered(subject[k], errors[k]));
    let light = lamp(&mut random);
    let ground = Ground {
        grey: GROUND,
        cloth: (seed % 2 == 1).then_some((14.0, 14.0)),
        shadow: 0.45,
    };
    let render = draw_over(&draw(&FRAME, 240.0, 0.0), &model, &STUDIO, 0.0, 1);
    let behind = ground.under(&draw(&FRAME, f64::from(GROUND), 0.0), &subject, &light);
    let reference = draw_over(&behind, &subject, &light, 14.0, seed);
    measured_in_frame(
        &mut random,
        ("part", [&subject, &model]),
        (has_marks, None),
        [render, reference],
    )
}

/// Errors of the size that modellers make.
fn any_errors(seed: u64) -> [Errors; 4] {
    let mut random = Random::new(seed + 500);
    std::array::from_fn(|_| {
        let size = [0.05, 0.05].map(|s| s * random.uniform());
        Errors::new(size, [7.0, 7.0].map(|s| s * random.uniform()))
    })
}

/// Two parts are right, two 5 px off.
fn two_are_off(seed: u64) -> [Errors; 4] {
    let mut random = Random::new(seed + 900);
    std::array::from_fn(|k| {
        let angle = std::f64::consts::PI * random.uniform();
        match (k as u64 + seed / 2).is_multiple_of(2) {
            true => Errors::default(),
            false => Errors::new([0.0; 2], [5.0 * angle.cos(), 5.0 * angle.sin()]),
        }
    })
}

fn tallied(few: u64, has_marks: bool) -> Tallies {
    let mut all = Tallies::default();
    for seed in 0..tally::cases(few) {
        let errors = any_errors(seed);
        let measured = compared(seed, has_marks, &errors);
        for (found, errors) in measured.measurement.regions[1..].iter().zip(errors) {
            all.add(found, errors);
        }
    }
    tally::tell(&format!("lit parts, marks {has_marks}"), &all);
    all
}

#[test]
fn lit_parts_with_marks_on_their_outlines_hold() {
    let Tallies { sizes, offsets } = tallied(13, true);
    assert!(
        sizes.given >= 60 && offsets.given >= 100,
        "{sizes:?} {offsets:?}"
    );
    assert!(
        sizes.share_held() >= 0.9 && offsets.share_held() >= 0.9,
        "{sizes:?} {offsets:?}"
    );
}

#[test]
fn lit_parts_by_their_edges_alone_are_never_wrong_in_silence() {
    let Tallies { sizes, offsets } = tallied(10, false);
    assert!(
        sizes.worst_over_half_width < 2.0 && offsets.worst_over_half_width < 2.0,
        "{sizes:?} {offsets:?}"
    );
}

/// Area under the curve of hits over false alarms: how often a part that is right ranks above one that is off.
fn ranking(right: &[f64], off: &[f64]) -> f64 {
    let pairs = right.iter().flat_map(|r| off.iter().map(move |o| (r, o)));
    let above: f64 = pairs
        .map(|(r, o)| match r.total_cmp(o) {
            std::cmp::Ordering::Greater => 1.0,
            std::cmp::Ordering::Equal => 0.5,
            std::cmp::Ordering::Less => 0.0,
        })
        .sum();
    above / (right.len() * off.len()) as f64
}

fn ranked(few: u64, has_marks: bool) -> f64 {
    let (mut right, mut off) = (Vec::new(), Vec::new());
    for seed in 0..tally::cases(few) {
        let errors = two_are_off(seed);
        let measured = compared(seed, has_marks, &errors);
        for (found, errors) in measured.measurement.regions[1..].iter().zip(errors) {
            let score = found.edge_overlap.as_ref().map_or(0.0, |o| o.above_chance);
            let list = if errors.offset == [0.0; 2] {
                &mut right
            } else {
                &mut off
            };
            list.push(score);
        }
    }
    let ranking = ranking(&right, &off);
    tally::tell(
        &format!(
            "ranking, marks {has_marks}, {} right and {} off",
            right.len(),
            off.len()
        ),
        &ranking,
    );
    ranking
}

/// A part whose marks tell that it is off counts as far as they have it on its own edges.
#[test]
fn parts_off_by_five_pixels_rank_below_those_that_are_right() {
    let ranking = ranked(8, true);
    assert!(ranking > 0.85, "{ranking}");
}

/// Without marks the edges find their own place, if they tell one.
#[test]
fn parts_off_by_five_pixels_rank_lower_by_their_edges_alone() {
    let ranking = ranked(8, false);
    assert!(ranking > 0.75, "{ranking}");
}
