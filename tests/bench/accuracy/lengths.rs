//! Known lengths of a plan, one of them misread now and then: its scale and its stretch stand for sizes.
use super::{
    outcome::{Outcome, SIZES},
    support::{
        drawn::{SIZE, images_of, job_of},
        random::Random,
        views,
    },
};
use image::{Rgb, RgbImage};
use tickstrip::{
    job::{Axis, End, Known, RegistrationKind, Side},
    measurement::measure,
    registration::register,
    units::FullSizeMm,
};

const PX_PER_MM: f64 = 0.3;
const POINTS: [[f64; 2]; 8] = [
    [40.0, 40.0],
    [560.0, 60.0],
    [540.0, 440.0],
    [60.0, 420.0],
    [300.0, 50.0],
    [310.0, 430.0],
    [50.0, 230.0],
    [550.0, 250.0],
];
const LINES: [[usize; 2]; 8] = [
    [0, 1],
    [1, 2],
    [2, 3],
    [3, 0],
    [4, 5],
    [6, 7],
    [0, 2],
    [1, 3],
];

pub fn one(seed: u64) -> Outcome {
    let mut random = Random::new(seed);
    for _ in 0..8 {
        random.uniform();
    }
    // A copy is stretched by some per cent along x, every other time.
    let stretch = 0.01 * random.normal() * f64::from(u8::from(seed.is_multiple_of(2)));
    let reference: Vec<[f64; 2]> = POINTS
        .iter()
        .map(|[x, y]| random.about([x * (1.0 + stretch), *y], 1.0))
        .collect();
    let misread = (random.uniform() > 0.0).then(|| (4.0 * (1.0 + random.uniform())) as usize % 8);
    let mut view = views::view(
        RegistrationKind::Affine,
        &reference,
        &POINTS,
        [Some(0.7), Some(1.0)],
    );
    for (k, [a, b]) in LINES.into_iter().enumerate() {
        let [p, q] = [POINTS[a], POINTS[b]];
        let true_mm = (p[0] - q[0]).hypot(p[1] - q[1]) / PX_PER_MM;
        let factor = if misread == Some(k) { 1.1 } else { 1.0 };
        view.known.push(Known {
            side: Side::Reference,
            from: End::Landmark(a),
            to: End::Landmark(b),
            length: Some(FullSizeMm(true_mm * factor)),
            sigma: None,
            along: None::<Axis>,
            text: String::new(),
        });
    }
    let Ok(registered) = register(&view, views::EXPECTED, SIZE, None) else {
        return Outcome::default();
    };
    let blank = || RgbImage::from_pixel(SIZE.0, SIZE.1, Rgb([128; 3]));
    let job = job_of(&view, views::EXPECTED);
    let measured = measure(&job, &view, images_of(blank(), blank()), registered).measurement;
    let mut outcome = Outcome::default();
    for (k, known) in measured.scales.known.iter().enumerate() {
        outcome.take_suspect(misread == Some(k), known.doubtful);
    }
    outcome.parts = 1;
    if let Some(fit) = &measured.scales.reference_dimensions {
        outcome.answered = 1;
        outcome.take(SIZES, fit.stretch_percent, 100.0 * stretch);
    }
    let scale = measured.scales.registered_px_per_full_size_mm;
    outcome.take_in(SIZES, scale, PX_PER_MM, PX_PER_MM / 100.0);
    outcome
}
