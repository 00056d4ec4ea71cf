//! How much better edges fit where they are than displaced.
use super::{photo::PhotoEdges, places::InPhoto};
use crate::edges::{random::Random, settings::EDGES};
use nalgebra::Vector2;

/// Displacements that are tried, and how far they reach, working pixels.
const DISPLACED: usize = 60;
const NEAREST: f64 = 8.0;
const FARTHEST: f64 = 25.0;

/// Logarithm of how likely a response is on an edge.
pub(super) fn log_likelihood(response: f64) -> f64 {
    (EDGES.least_response.get() + response.min(EDGES.most_response.get())).ln()
}

/// By how many standard deviations of displaced ones the places fit better where they are; `seed` makes displacements.
pub(super) fn beyond(photo: &PhotoEdges, placed: &[InPhoto], seed: usize) -> f64 {
    let mean_at = |by: Vector2<f64>| {
        let each = placed
            .iter()
            .map(|(at, normal)| log_likelihood(photo.at(at + by, *normal)));
        each.sum::<f64>() / placed.len().max(1) as f64
    };
    let mut random = Random::of(seed, 7);
    let displaced: Vec<f64> = (0..DISPLACED)
        .map(|k| {
            // Directions at random, distances evenly.
            let way = random.normals::<2>();
            let way = way
                .try_normalize(f64::MIN_POSITIVE)
                .unwrap_or_else(Vector2::x);
            let far = NEAREST + (FARTHEST - NEAREST) * (k as f64 + 0.5) / DISPLACED as f64;
            mean_at(way * (far / photo.scale))
        })
        .collect();
    let count = displaced.len() as f64;
    let mean = displaced.iter().sum::<f64>() / count;
    let variance = displaced.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / count;
    (mean_at(Vector2::zeros()) - mean) / (variance.sqrt() + 1e-9)
}
