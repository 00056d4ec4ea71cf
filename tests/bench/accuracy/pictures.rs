//! Drawn pictures with known errors.
use super::{
    outcome::Outcome,
    support::{
        drawn::{Part, SIZE, draw_from, images_of, job_of, region},
        random::Random,
        truth::Errors,
        views,
    },
};
use tickstrip::{
    images::ViewImages,
    job::{LandmarkUse, RegistrationKind, View},
    measurement::measure,
    registration::{Registered, register},
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

fn corners([l, t, r, b]: [f64; 4]) -> [[f64; 2]; 4] {
    [[l, t], [r, b], [r, t], [l, b]]
}

/// A case, before anybody takes a photograph of it.
pub struct Case {
    pub view: View,
    /// What the model is made of, what the subject is.
    pub model: Vec<Part>,
    pub subject: Vec<Part>,
    pub is_wrong: Vec<bool>,
    truths: Vec<Errors>,
}

pub fn drawn(seed: u64) -> Case {
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
    Case {
        view,
        model,
        subject,
        is_wrong,
        truths,
    }
}

/// The pictures lie over each other but for noise; the figures of all parts.
pub fn one(seed: u64) -> Outcome {
    let case = drawn(seed);
    let images = images_of(
        draw_from(1, &case.model, 230.0, 0.0),
        draw_from(seed, &case.subject, 190.0, 20.0),
    );
    let registered = register(&case.view, views::EXPECTED, SIZE, None).expect("twelve datum marks");
    case.measured(images, registered)
}

impl Case {
    /// What is found, beside the truth.
    pub fn measured(&self, images: ViewImages, registered: Registered) -> Outcome {
        let job = job_of(&self.view, views::EXPECTED);
        let measured = measure(&job, &self.view, images, registered).measurement;
        let mut outcome = Outcome::of_marks(&measured.registration, &self.is_wrong);
        for (part, truth) in measured.regions.iter().zip(&self.truths) {
            outcome.take_part(part, truth);
        }
        outcome
    }
}
