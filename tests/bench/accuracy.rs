//! How near to the truth the figures come, on pictures that it draws: `cargo bench --bench accuracy [-- CASES SEED]`.
//!
//! Each case has a trusted body with datum marks and three parts, altered at random, with none, two and four marks of
//! their own; the reference has other light, noise and clutter, and one mark in twenty is set wrong by 10 to 60 px.
#![allow(clippy::print_stdout, reason = "it is a program")]
#[path = "../it/support/mod.rs"]
#[allow(dead_code, reason = "shared with the tests")]
mod support;

use rayon::prelude::*;
use support::{
    drawn::{Part, SIZE, draw_from, images_of, job_of, region},
    random::Random,
    truth::Errors,
    views,
};
use tickstrip::{
    job::{LandmarkUse, RegistrationKind},
    measurement::measure,
    registration::{Finding, register},
    statistics::Measured,
};

const BODY: [Part; 3] = [
    Part([40.0, 330.0, 560.0, 450.0], 90.0),
    Part([70.0, 350.0, 180.0, 430.0], 150.0),
    Part([420.0, 345.0, 530.0, 440.0], 60.0),
];
/// Three parts of the subject, each with a patch of its own, and how many marks they get.
const PARTS: [([f64; 4], [f64; 4], f64, usize); 3] = [
    (
        [60.0, 60.0, 190.0, 300.0],
        [90.0, 100.0, 150.0, 180.0],
        170.0,
        0,
    ),
    (
        [230.0, 80.0, 370.0, 220.0],
        [250.0, 100.0, 300.0, 190.0],
        60.0,
        2,
    ),
    (
        [400.0, 50.0, 550.0, 290.0],
        [430.0, 90.0, 520.0, 150.0],
        130.0,
        4,
    ),
];
/// Deviation of a mark per coordinate.
const MARK_SIGMA: f64 = 1.0;

/// What one case gave.
#[derive(Default)]
struct Outcome {
    parts: usize,
    answered: usize,
    size_percent: Vec<f64>,
    offset_px: Vec<f64>,
    held: [usize; 2],
    given: [usize; 2],
    wrong: usize,
    found: usize,
    accused: usize,
    good: usize,
    /// Edge overlap above chance and whether the part is off by more than 5 px.
    overlaps: Vec<(f64, bool)>,
}

fn corners([l, t, r, b]: [f64; 4]) -> [[f64; 2]; 4] {
    [[l, t], [r, b], [r, t], [l, b]]
}

fn one(seed: u64) -> Outcome {
    let mut random = Random::new(seed);
    for _ in 0..8 {
        random.uniform();
    }
    let (mut model, mut subject) = (BODY.to_vec(), Vec::new());
    for _ in 0..12 {
        let (x, y) = (
            300.0 + 290.0 * random.uniform(),
            240.0 + 230.0 * random.uniform(),
        );
        let size = 25.0 + 20.0 * random.uniform();
        subject.push(Part(
            [x, y, x + size, y + size],
            150.0 + 90.0 * random.uniform(),
        ));
    }
    subject.extend(BODY);
    let (mut marks, mut truths, mut regions) = (Vec::new(), Vec::new(), Vec::new());
    for Part(outline, _) in BODY {
        for corner in corners(outline) {
            marks.push((corner, corner, LandmarkUse::Datum));
        }
    }
    for (outline, patch, grey, count) in PARTS {
        let about = [
            (outline[0] + outline[2]) / 2.0,
            (outline[1] + outline[3]) / 2.0,
        ];
        let is_right = random.uniform() < -0.2;
        let mut error = |scale: f64| {
            if is_right {
                0.0
            } else {
                scale * random.normal()
            }
        };
        let truth = Errors::new([error(0.04), error(0.04)], [error(5.0), error(5.0)]);
        let light = 40.0 * random.uniform();
        for (shape, shade) in [(outline, grey), (patch, 255.0 - grey)] {
            subject.push(Part(shape, (shade + light).clamp(0.0, 255.0)));
            model.push(Part(truth.shown_box(about, shape), shade));
        }
        let first = marks.len();
        for corner in corners(outline).into_iter().take(count) {
            marks.push((truth.shown(about, corner), corner, LandmarkUse::Check));
        }
        let [l, t, r, b] = truth.shown_box(about, outline);
        let mut region = region("part", [l - 12.0, t - 12.0, r + 12.0, b + 12.0]);
        region.anchor = tickstrip::frame::Point::new(about[0], about[1]);
        region.landmarks = (first..marks.len()).collect();
        regions.push(region);
        truths.push(truth);
    }
    let is_wrong: Vec<bool> = marks.iter().map(|_| random.uniform() > 0.9).collect();
    let (render, reference): (Vec<_>, Vec<_>) = marks
        .iter()
        .zip(&is_wrong)
        .map(|((in_render, in_reference, _), wrong)| {
            let mut q = random.about(*in_reference, MARK_SIGMA);
            if *wrong {
                let (length, angle) = (
                    35.0 + 25.0 * random.uniform(),
                    std::f64::consts::PI * random.uniform(),
                );
                q = [q[0] + length * angle.cos(), q[1] + length * angle.sin()];
            }
            (*in_render, q)
        })
        .unzip();
    let mut view = views::view(
        RegistrationKind::Similarity,
        &reference,
        &render,
        [None, None],
    );
    for (landmark, mark) in view.landmarks.iter_mut().zip(&marks) {
        landmark.usage = mark.2;
    }
    view.regions = regions;
    let images = images_of(
        draw_from(1, &model, 230.0, 0.0),
        draw_from(seed, &subject, 190.0, 20.0),
    );
    let registered = register(&view, views::EXPECTED, SIZE, None).expect("twelve datum marks");
    let measured = measure(&job_of(&view, views::EXPECTED), &view, images, registered).measurement;
    let mut outcome = Outcome::default();
    for (landmark, wrong) in measured.registration.landmarks.iter().zip(&is_wrong) {
        let accused = matches!(
            landmark.finding,
            Some(Finding::Wrong | Finding::SwappedWith(_))
        );
        outcome.wrong += usize::from(*wrong);
        outcome.good += usize::from(!*wrong);
        outcome.found += usize::from(*wrong && accused);
        outcome.accused += usize::from(!*wrong && accused);
    }
    for (part, truth) in measured.regions.iter().zip(&truths) {
        outcome.parts += 1;
        let sizes = [part.width_percent, part.height_percent];
        outcome.answered += usize::from(sizes.iter().chain(&part.offset_px).any(Option::is_some));
        let mut count = |figure: Option<Measured>, truth: f64, k: usize| {
            let Some(figure) = figure else { return };
            outcome.given[k] += 1;
            outcome.held[k] += usize::from(figure.holds(truth));
            let errors = if k == 0 {
                &mut outcome.size_percent
            } else {
                &mut outcome.offset_px
            };
            errors.push((figure.value() - truth).abs());
        };
        for (k, (size, offset)) in sizes.into_iter().zip(part.offset_px).enumerate() {
            count(size, 100.0 * truth.size[k], 0);
            count(offset, truth.offset[k], 1);
        }
        if let Some(overlap) = &part.edge_overlap {
            let off = truth.offset[0].hypot(truth.offset[1]) > 5.0;
            outcome.overlaps.push((overlap.above_chance, off));
        }
    }
    outcome
}

fn root_mean_square(v: &[f64]) -> f64 {
    (v.iter().map(|e| e * e).sum::<f64>() / v.len().max(1) as f64).sqrt()
}

fn median(mut v: Vec<f64>) -> f64 {
    v.sort_by(f64::total_cmp);
    v.get(v.len() / 2).copied().unwrap_or(f64::NAN)
}

/// Chance that a part that is off overlaps less than one that is right.
fn ranking(overlaps: &[(f64, bool)]) -> f64 {
    let of = |is_off: bool| overlaps.iter().filter(move |o| o.1 == is_off).map(|o| o.0);
    let pairs: Vec<f64> = of(false)
        .flat_map(|right| {
            of(true).map(move |off| {
                if right > off {
                    1.0
                } else {
                    f64::from(u8::from(right == off)) / 2.0
                }
            })
        })
        .collect();
    pairs.iter().sum::<f64>() / pairs.len().max(1) as f64
}

fn main() {
    let numbers: Vec<u64> = std::env::args().filter_map(|a| a.parse().ok()).collect();
    let (cases, seed) = (
        *numbers.first().unwrap_or(&60),
        *numbers.get(1).unwrap_or(&1),
    );
    let outcomes: Vec<Outcome> = (0..cases)
        .into_par_iter()
        .map(|k| one(seed * 100_000 + k + 1))
        .collect();
    let sum = |of: fn(&Outcome) -> usize| outcomes.iter().map(of).sum::<usize>();
    let share = |a: usize, b: usize| 100.0 * a as f64 / b.max(1) as f64;
    let all = |of: fn(&Outcome) -> &Vec<f64>| -> Vec<f64> {
        outcomes.iter().flat_map(|o| of(o).clone()).collect()
    };
    let (sizes, offsets) = (all(|o| &o.size_percent), all(|o| &o.offset_px));
    let overlaps: Vec<(f64, bool)> = outcomes.iter().flat_map(|o| o.overlaps.clone()).collect();
    println!("{cases} cases, seed {seed}");
    println!(
        "parts with an answer        {:5.1} %",
        share(sum(|o| o.answered), sum(|o| o.parts))
    );
    println!(
        "size error rms, median      {:5.2}, {:.2} %",
        root_mean_square(&sizes),
        median(sizes.clone())
    );
    println!(
        "offset error rms, median    {:5.2}, {:.2} px",
        root_mean_square(&offsets),
        median(offsets.clone())
    );
    println!(
        "intervals hold size, offset {:5.1}, {:.1} %",
        share(sum(|o| o.held[0]), sum(|o| o.given[0])),
        share(sum(|o| o.held[1]), sum(|o| o.given[1]))
    );
    println!(
        "wrong found, good accused   {:5.1}, {:.1} %",
        share(sum(|o| o.found), sum(|o| o.wrong)),
        share(sum(|o| o.accused), sum(|o| o.good))
    );
    println!("off told from right (AUC)   {:5.2}", ranking(&overlaps));
}
