//! Marks without pictures: exchanged ones, wrong ones, a datum part that is altered as a whole.
use super::{
    outcome::Outcome,
    support::{
        drawn::{SIZE, images_of, job_of, region},
        random::Random,
        truth::Errors,
        views,
    },
};
use image::{Rgb, RgbImage};
use tickstrip::{
    frame::Point,
    job::{LandmarkUse, RegistrationKind},
    measurement::measure,
    registration::register,
};

/// Four parts with datum marks, and a fifth with check marks.
const PARTS: [[f64; 4]; 5] = [
    [40.0, 330.0, 200.0, 450.0],
    [240.0, 350.0, 360.0, 430.0],
    [400.0, 320.0, 560.0, 440.0],
    [60.0, 60.0, 190.0, 250.0],
    [330.0, 70.0, 520.0, 240.0],
];
const RENDER_SIGMA: f64 = 0.6;
const REFERENCE_SIGMA: f64 = 1.2;

pub fn one(seed: u64) -> Outcome {
    let mut random = Random::new(seed);
    for _ in 0..8 {
        random.uniform();
    }
    let altered = (random.uniform() > 0.0).then(|| (2.0 * (1.0 + random.uniform())) as usize);
    let (mut render, mut reference, mut truths, mut regions) = (vec![], vec![], vec![], vec![]);
    for (k, outline) in PARTS.into_iter().enumerate() {
        let [l, t, r, b] = outline;
        let about = [(l + r) / 2.0, (t + b) / 2.0];
        let mut error = |scale: f64| {
            if k == 4 || altered == Some(k) {
                scale * random.normal()
            } else {
                0.0
            }
        };
        let truth = Errors::new([error(0.04), error(0.04)], [error(6.0), error(6.0)]);
        for corner in [[l, t], [r, t], [r, b], [l, b]] {
            render.push(random.about(truth.shown(about, corner), RENDER_SIGMA));
            reference.push(random.about(corner, REFERENCE_SIGMA));
        }
        let mut region = region(&format!("part {k}"), truth.shown_box(about, outline));
        region.anchor = Point::new(about[0], about[1]);
        region.landmarks = (4 * k..4 * k + 4).collect();
        regions.push(region);
        truths.push(truth);
    }
    let mut is_wrong: Vec<bool> = render.iter().map(|_| random.uniform() > 0.92).collect();
    for (mark, wrong) in reference.iter_mut().zip(&is_wrong) {
        if *wrong {
            *mark = random.about(*mark, 12.0);
        }
    }
    if random.uniform() > 0.4 {
        let first = (10.0 * (1.0 + random.uniform())) as usize % 19;
        reference.swap(first, first + 1);
        is_wrong[first] = true;
        is_wrong[first + 1] = true;
    }
    let mut view = views::view(
        RegistrationKind::Similarity,
        &reference,
        &render,
        [None, None],
    );
    for landmark in &mut view.landmarks[16..] {
        landmark.usage = LandmarkUse::Check;
    }
    view.regions = regions;
    let Ok(registered) = register(&view, views::EXPECTED, SIZE, None) else {
        return Outcome::default();
    };
    let blank = || RgbImage::from_pixel(SIZE.0, SIZE.1, Rgb([128; 3]));
    let job = job_of(&view, views::EXPECTED);
    let measured = measure(&job, &view, images_of(blank(), blank()), registered).measurement;
    let mut outcome = Outcome::of_marks(&measured.registration, &is_wrong);
    for (part, truth) in measured.regions.iter().zip(&truths) {
        outcome.take_part(part, truth);
    }
    outcome
}
