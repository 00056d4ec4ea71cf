//! A part that carries the registration, and is in truth altered.
use super::tally::{self, Tallies, warned};
use crate::support::{
    drawn::{Part, SIZE, draw, draw_from, images_of, job_of, region},
    random::Random,
    truth::Errors,
    views,
};
use tickstrip::{
    frame::Point,
    job::{LandmarkUse, RegistrationKind},
    measurement::{MeasuredView, measure},
    registration::register,
};

/// Outline, grey and patch inside of three datum parts, then of the part that is judged.
const PARTS: [([f64; 4], f64, [f64; 4]); 4] = [
    (
        [60.0, 300.0, 220.0, 430.0],
        90.0,
        [90.0, 330.0, 150.0, 390.0],
    ),
    (
        [380.0, 290.0, 540.0, 430.0],
        120.0,
        [410.0, 350.0, 500.0, 400.0],
    ),
    (
        [70.0, 60.0, 200.0, 190.0],
        150.0,
        [100.0, 90.0, 160.0, 130.0],
    ),
    (
        [330.0, 70.0, 500.0, 200.0],
        170.0,
        [370.0, 110.0, 440.0, 160.0],
    ),
];
const NAMES: [&str; 4] = ["sill", "wheel", "tank", "vessel"];

fn centre([l, t, r, b]: [f64; 4]) -> [f64; 2] {
    [(l + r) / 2.0, (t + b) / 2.0]
}

fn corners([l, t, r, b]: [f64; 4]) -> [[f64; 2]; 4] {
    [[l, t], [r, t], [r, b], [l, b]]
}

/// Parts whose index is in `datum` carry the registration.
fn compared(seed: u64, errors: [Errors; 4], datum: &[usize], noise: f64) -> MeasuredView {
    let mut random = Random::new(seed);
    let (mut model, mut subject) = (Vec::new(), Vec::new());
    let (mut render, mut reference) = (Vec::new(), Vec::new());
    let mut regions = Vec::new();
    for (k, (outline, grey, patch)) in PARTS.into_iter().enumerate() {
        let about = centre(outline);
        let now = errors[k].shown_box(about, outline);
        model.extend([
            Part(now, grey),
            Part(errors[k].shown_box(about, patch), 60.0),
        ]);
        subject.extend([Part(outline, grey), Part(patch, 60.0)]);
        let [l, t, r, b] = outline;
        let mut of_part = region(NAMES[k], [l - 16.0, t - 16.0, r + 16.0, b + 16.0]);
        of_part.landmarks = (render.len()..render.len() + 4).collect();
        render.extend(corners(now).map(|p| random.about(p, 0.5 * noise)));
        reference.extend(corners(outline).map(|p| random.about(p, noise)));
        regions.push(of_part);
    }
    let mut view = views::view(
        RegistrationKind::Similarity,
        &reference,
        &render,
        [None, None],
    );
    for (i, landmark) in view.landmarks.iter_mut().enumerate() {
        landmark.name = format!("{} {}", NAMES[i / 4], i % 4);
        landmark.usage = if datum.contains(&(i / 4)) {
            LandmarkUse::Datum
        } else {
            LandmarkUse::Check
        };
        landmark.render = Point::new(render[i][0], render[i][1]);
    }
    view.regions = regions;
    let registered =
        register(&view, views::EXPECTED, SIZE, None).expect("eight datum marks or more");
    let images = images_of(
        draw(&model, 230.0, 0.0),
        draw_from(seed, &subject, 200.0, 12.0),
    );
    measure(&job_of(&view, views::EXPECTED), &view, images, registered)
}

/// Errors of the judged part, and of datum part `which` by `size` per cent and `shift` pixels at most.
fn drawn_errors(seed: u64, which: Option<usize>, size: f64, shift: f64) -> [Errors; 4] {
    let mut random = Random::new(seed + 1000);
    let mut errors = [Errors::default(); 4];
    errors[3] = Errors::new(
        [0.05, 0.05].map(|s| s * random.uniform()),
        [8.0, 8.0].map(|s| s * random.uniform()),
    );
    if let Some(which) = which {
        let angle = 3.0 * random.uniform();
        errors[which] = Errors::new(
            [
                0.01 * size * random.uniform(),
                0.01 * size * random.uniform(),
            ],
            [shift * angle.cos(), shift * angle.sin()],
        );
    }
    errors
}

/// What came of some cases, in each of which one datum part is altered.
#[derive(Debug, Default)]
struct Outcome {
    named: usize,
    misnamed: usize,
    undecided: usize,
    /// Figures of all parts.
    all: Tallies,
    /// Where the right part was named, and where not.
    told: Tallies,
    untold: Tallies,
    /// Largest miss, in half widths, of a figure in a case without any of the warnings.
    worst_in_silence: f64,
}

/// `size` per cent and `shift` pixels are those of the altered datum part.
fn cases(few: u64, size: f64, shift: f64, noise: f64) -> Outcome {
    let mut outcome = Outcome::default();
    for seed in 0..tally::cases(few) {
        let which = (seed % 3) as usize;
        let errors = drawn_errors(seed, Some(which), size, shift);
        let measured = compared(seed, errors, &[0, 1, 2], noise);
        let texts = warned(&measured, "altered-datum");
        let quoted = format!("of \"{}\"", NAMES[which]);
        let is_named = texts.iter().any(|t| t.contains(&quoted));
        let is_undecided = !warned(&measured, "datum-parts-disagree").is_empty();
        outcome.named += usize::from(is_named);
        outcome.misnamed += texts.iter().filter(|t| !t.contains(&quoted)).count();
        outcome.undecided += usize::from(is_undecided);
        let mut here = Tallies::default();
        for (found, error) in measured.measurement.regions.iter().zip(errors) {
            here.add(found, error);
            outcome.all.add(found, error);
            let of_its_kind = if is_named {
                &mut outcome.told
            } else {
                &mut outcome.untold
            };
            of_its_kind.add(found, error);
        }
        if !is_named && !is_undecided {
            let worst = here
                .sizes
                .worst_over_half_width
                .max(here.offsets.worst_over_half_width);
            outcome.worst_in_silence = outcome.worst_in_silence.max(worst);
        }
    }
    tally::tell(
        &format!("a datum part off by {shift} px and {size} %, marks of {noise} px"),
        &outcome,
    );
    outcome
}

#[test]
fn an_altered_datum_part_is_named_and_the_others_stay_right() {
    // Four marks a part, of 1 and 0.5 px: 4 to 8 px stand out. Of 12 px with twice the noise, which hides more of it, the
    // test is less sure.
    // What is not named is allowed for: without that, 79 % of such offsets of the second kind hold instead of nine in ten.
    for (count, shift, noise, least, [sizes, offsets], untold) in [
        (10, 8.0, 1.0, 8, [80, 78], 0.7),
        (20, 4.0, 1.0, 12, [160, 157], 0.9),
        (6, 12.0, 2.0, 4, [48, 44], 0.6),
    ] {
        let found = cases(count, 4.0, shift, noise);
        let [least, sizes, offsets] = [least, sizes, offsets].map(|n| n * tally::cases(1) as usize);
        assert!(
            found.named >= least && found.misnamed == 0,
            "{shift} px: {found:?}"
        );
        assert!(found.told.sizes.share_held() > 0.9, "{shift} px: {found:?}");
        assert!(
            found.told.offsets.share_held() > 0.9,
            "{shift} px: {found:?}"
        );
        assert!(
            found.untold.sizes.share_held() > 0.9 && found.untold.offsets.share_held() > untold,
            "{shift} px: {found:?}"
        );
        assert!(found.worst_in_silence < 1.5, "{shift} px: {found:?}");
        found.all.assert_given(sizes, offsets);
    }
}

/// What the marks cannot tell is no larger than what the intervals allow for.
#[test]
fn a_small_alteration_of_a_datum_part_stays_within_the_intervals() {
    let found = cases(6, 3.0, 2.0, 1.0);
    assert_eq!(found.misnamed, 0, "{found:?}");
    assert!(found.untold.offsets.share_held() > 0.9, "{found:?}");
    assert!(found.worst_in_silence < 1.5, "{found:?}");
    let all = 8 * tally::cases(6) as usize;
    found.all.assert_given(all, all);
}

#[test]
fn datum_parts_that_are_right_are_not_accused() {
    let mut all = Tallies::default();
    let mut accused = 0;
    for seed in 0..tally::cases(8) {
        let errors = drawn_errors(seed, None, 0.0, 0.0);
        let measured = compared(seed, errors, &[0, 1, 2], 1.0);
        accused += warned(&measured, "altered-datum").len();
        accused += warned(&measured, "datum-parts-disagree").len();
        for (found, error) in measured.measurement.regions.iter().zip(errors) {
            all.add(found, error);
        }
    }
    tally::tell(&format!("no datum part off, {accused} accused"), &all);
    // One of two hundred parts by chance.
    assert_eq!(accused, 0);
    assert!(
        all.sizes.share_held() > 0.93 && all.offsets.share_held() > 0.93,
        "{all:?}"
    );
    let asked = 8 * tally::cases(8) as usize;
    all.assert_given(asked, asked);
}

/// Nothing but these two carries the registration: the marks cannot know which is altered, and say so.
#[test]
fn of_two_datum_parts_that_disagree_both_are_named() {
    let mut spoken = 0;
    let mut all = Tallies::default();
    for seed in 0..tally::cases(6) {
        let which = (seed % 2) as usize;
        let errors = drawn_errors(seed, Some(which), 0.0, 8.0);
        let measured = compared(seed, errors, &[0, 1], 1.0);
        let texts = warned(&measured, "datum-parts-disagree");
        spoken += texts.len();
        for (found, error) in measured.measurement.regions.iter().zip(errors) {
            all.add(found, error);
        }
        for text in texts {
            assert!(
                text.contains("\"sill\"") && text.contains("\"wheel\""),
                "{text}"
            );
        }
    }
    tally::tell(&format!("one of two off by 8 px, {spoken} spoken"), &all);
    let all_cases = tally::cases(6) as usize;
    assert!(3 * spoken >= 2 * all_cases, "{spoken} of {all_cases}");
    // Either may be right, which the intervals allow for; where they only take the registration to lie where it does, 30 of 46 hold.
    assert!(
        all.sizes.share_held() > 0.94 && all.offsets.share_held() > 0.75,
        "{all:?}"
    );
    all.assert_given(46 * all_cases / 6, 40 * all_cases / 6);
}
