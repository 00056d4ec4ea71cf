//! Whether intervals from edges hold the truth where whole edges err: Monte Carlo with points of one side that share an error.
//!
//! # Source
//! JCGM 101:2008 (propagation of distributions by Monte Carlo).
use super::coverage::job;
use crate::{
    frame::Point,
    job::RegistrationKind,
    registration::{
        Adjustment,
        adjustment::{EdgeMark, MarkNoise, Pair, Settling},
        register,
    },
    statistics::{Measured, trials::Noise},
};
use nalgebra::Vector2;

const TRIALS: usize = 300;
/// A part without landmarks: corners of its box.
const BOX: [[f64; 2]; 2] = [[380.0, 120.0], [560.0, 260.0]];
/// Points along a side.
const POINTS: usize = 50;
/// What shading does to a whole side, and what noise does to each of its points, pixels.
const SIDE_SIGMA: f64 = 0.4;
const POINT_SIGMA: f64 = 0.5;
/// One over the variance that the fit gives a point.
const WEIGHT: f64 = 1.0 / (1.54 * 1.54);

/// An adjustment whose registration is as good as exact, of images of one scale, with one part without landmarks.
fn registered(noise: &mut Noise) -> Adjustment {
    let mut job = job(RegistrationKind::Similarity, true, noise);
    let view = &mut job.views[0];
    (view.known, view.spans, view.angles) = (Vec::new(), Vec::new(), Vec::new());
    view.landmarks.truncate(8);
    view.render.mark_sigma_px = Some(0.01);
    view.reference.mark_sigma_px = Some(0.01);
    for landmark in &mut view.landmarks {
        landmark.reference = Point::new(landmark.render.x, landmark.render.y);
    }
    view.regions[0].landmarks.clear();
    let registered = register(view, job.expected, (1000, 1000), None);
    registered.expect("eight datum landmarks").adjustment
}

/// The points of the four sides, found where the subject, which the model equals, and noise put them.
fn found(noise: &mut Noise) -> Vec<EdgeMark> {
    let mut marks = Vec::with_capacity(4 * POINTS);
    for side in 0..4 {
        let (across, far) = (side % 2, side / 2);
        let along = 1 - across;
        let shift = SIDE_SIGMA * noise.normal();
        let mut normal = Vector2::zeros();
        normal[across] = 1.0;
        for k in 0..POINTS {
            let part = (k as f64 + 0.5) / POINTS as f64;
            let mut place = Vector2::zeros();
            place[across] = BOX[far][across];
            place[along] = BOX[0][along] + part * (BOX[1][along] - BOX[0][along]);
            let at = place + normal * (shift + POINT_SIGMA * noise.normal());
            marks.push(EdgeMark {
                pair: Pair {
                    render: Point::new(place.x, place.y),
                    reference: Point::new(at.x, at.y),
                    render_noise: MarkNoise::NONE,
                    reference_noise: MarkNoise::NONE,
                    along: None,
                    space: None,
                    region: Some(0),
                    part: Some(0),
                },
                normal,
                weight: WEIGHT,
            });
        }
    }
    marks
}

#[test]
fn intervals_hold_the_truth_where_whole_edges_err() {
    let mut noise = Noise(83);
    let before = registered(&mut noise);
    let mut held = [0; 4];
    let mut widest = [0.0_f64; 4];
    for _ in 0..TRIALS {
        let fitted = before
            .with_edges(&found(&mut noise), 3.0, (Settling::LookedAgain, 0.25))
            .expect("edges all around");
        let errors = fitted.region(0);
        for (n, k) in [0, 1, 3, 4].into_iter().enumerate() {
            let deviation = fitted.region_covariance(0)[(k, k)].sqrt();
            let figure = Measured::from_deviation(errors.to_array()[k], deviation, 60.0);
            let figure = figure.expect("finite");
            held[n] += usize::from(figure.holds(0.0));
            widest[n] = widest[n].max(figure.half_width());
        }
    }
    // Counted as independent, the points would make intervals that hold in about 70 %.
    for (n, held) in held.into_iter().enumerate() {
        let share = held as f64 / TRIALS as f64;
        assert!(share > 0.95 - 0.038, "figure {n}: {share}");
    }
    // Not by being endless: a pixel in a box of 180 times 140.
    assert!(widest[0] < 0.01 && widest[2] < 1.0, "{widest:?}");
}
