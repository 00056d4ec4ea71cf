//! Where else a part's edges would fit: random search and importance sampling of its five errors.
//!
//! The fit of a part is one optimum; parallel edges make others. Draws from what is known beforehand and from around the
//! fit, each weighed by how well the edges answer there, show whether there are several, and how wide the whole is.
//!
//! # Source
//! Importance sampling with a mixture as proposal: A. Owen and Y. Zhou, "Safe and effective importance sampling" (2000).
use super::settings::EDGES;
use super::{onto::OntoResponse, random::Random, scene::EdgeScene};
use crate::{
    registration::{Adjustment, RegionErrors},
    stop,
};
use nalgebra::{Cholesky, Matrix5, SVector, U5};
use rayon::prelude::*;

type Vector5 = SVector<f64, 5>;

/// Draws of the first search, and of the two parts of the mixture.
const FIRST_DRAWS: usize = 1200;
const WIDE_DRAWS: usize = 1600;
const NARROW_DRAWS: usize = 700;
/// Points of one part that are asked at each draw.
const MOST_POINTS: usize = 120;

/// The errors of a region over all places where its edges fit.
#[derive(Clone, Debug)]
pub(crate) struct Spread {
    pub(crate) mean: Vector5,
    pub(crate) covariance: Matrix5<f64>,
    /// The best draw.
    pub(crate) best: RegionErrors,
    /// By how much its log-likelihood is above that of the fit.
    pub(crate) gain: f64,
}

/// Searches the parts of a scene from what is known before their own edges are fitted.
pub(crate) struct Search<'a> {
    scene: &'a EdgeScene,
    before: &'a Adjustment,
}

impl<'a> Search<'a> {
    pub(crate) fn new(scene: &'a EdgeScene, before: &'a Adjustment) -> Self {
        Self { scene, before }
    }

    /// For each region: the best of many draws from what is known, as the start of the fit.
    pub(crate) fn first(&self) -> Vec<Option<RegionErrors>> {
        let onto = self.scene.onto_response(self.before);
        let rivals = self.scene.rival_responses(self.before, &onto);
        self.each(|j, asked| {
            let known = Known::of(self.before, j)?;
            let anchor = self.before.layout().anchors[j];
            let mut random = Random::of(j, 3);
            let mut best = (f64::NEG_INFINITY, known.mean);
            for draw in 0..=FIRST_DRAWS {
                let z = if draw == 0 {
                    Vector5::zeros()
                } else {
                    random.normals::<5>() * EDGES.widening.get()
                };
                let errors = known.mean + known.root.l() * z;
                let fit = self.log_likelihood(&onto, anchor, &errors, asked, &rivals);
                let score = fit - z.norm_squared() / 2.0;
                if score > best.0 {
                    best = (score, errors);
                }
            }
            Some(errors_of(&best.1))
        })
    }

    /// For each region: mean, covariance and the best draw, around the fit.
    pub(crate) fn spreads(&self, fitted: &Adjustment) -> Vec<Option<Spread>> {
        let onto = self.scene.onto_response(fitted);
        let rivals = self.scene.rival_responses(fitted, &onto);
        self.each(|j, asked| {
            let known = Known::of(self.before, j)?;
            let anchor = self.before.layout().anchors[j];
            let fit = Known::of(fitted, j)?;
            let narrow = fit.widened(EDGES.narrow_widening.get())?;
            let wide = known.widened(EDGES.widening.get())?;
            let mut random = Random::of(j, 5);
            let mut draws = Vec::with_capacity(1 + WIDE_DRAWS + NARROW_DRAWS);
            draws.push(fit.mean);
            draws
                .extend((0..WIDE_DRAWS).map(|_| wide.mean + wide.root.l() * random.normals::<5>()));
            draws.extend(
                (0..NARROW_DRAWS).map(|_| narrow.mean + narrow.root.l() * random.normals::<5>()),
            );
            let target: Vec<f64> = draws
                .iter()
                .map(|d| {
                    self.log_likelihood(&onto, anchor, d, asked, &rivals) + known.log_density(d)
                })
                .collect();
            let proposal = |d: &Vector5| {
                let a = (WIDE_DRAWS as f64).ln() + wide.log_density(d);
                let b = (NARROW_DRAWS as f64).ln() + narrow.log_density(d);
                a.max(b) + (-(a - b).abs()).exp().ln_1p()
            };
            let weights: Vec<f64> = draws
                .iter()
                .zip(&target)
                .map(|(d, t)| t - proposal(d))
                .collect();
            Some(summary(&draws, &target, &weights))
        })
    }

    fn each<T: Send>(&self, of: impl Fn(usize, &Asked) -> Option<T> + Sync) -> Vec<Option<T>> {
        (0..self.before.layout().anchors.len())
            .into_par_iter()
            .map(|j| {
                if !self.scene.is_searched(j) || stop::is_asked() {
                    return None;
                }
                of(j, &Asked::some_of(self.scene.points_of(j)))
            })
            .collect()
    }

    /// How well the edges answer when the region has these errors.
    fn log_likelihood(
        &self,
        onto: &OntoResponse,
        anchor: nalgebra::Vector2<f64>,
        errors: &Vector5,
        asked: &Asked,
        rivals: &[Option<f64>],
    ) -> f64 {
        // One logarithm for many factors: they lie between 0.25 and 2.25, so a product of 32 stays in range.
        let (mut sum, mut product) = (0.0, 1.0);
        let likelihoods =
            self.scene
                .likelihoods(onto, errors_of(errors), anchor, &asked.points, rivals);
        for (k, likelihood) in likelihoods.enumerate() {
            product *= likelihood;
            if k % 32 == 31 {
                sum += f64::ln(product);
                product = 1.0;
            }
        }
        (sum + product.ln()) / asked.points.len() as f64 * asked.observations
    }
}

/// The points of a part that are asked at each draw.
struct Asked {
    points: Vec<usize>,
    /// How many independent observations all points of the part are worth.
    observations: f64,
}

impl Asked {
    fn some_of(points: &[usize]) -> Self {
        let stride = points.len().div_ceil(MOST_POINTS);
        Self {
            points: points.iter().copied().step_by(stride).collect(),
            observations: points.len() as f64 / EDGES.points_per_observation.get(),
        }
    }
}

fn summary(draws: &[Vector5], target: &[f64], log_weights: &[f64]) -> Spread {
    let most = log_weights
        .iter()
        .copied()
        .fold(f64::NEG_INFINITY, f64::max);
    let weights: Vec<f64> = log_weights.iter().map(|w| (w - most).exp()).collect();
    let total: f64 = weights.iter().sum();
    let mean = draws
        .iter()
        .zip(&weights)
        .map(|(d, w)| d * *w)
        .sum::<Vector5>()
        / total;
    let covariance = draws
        .iter()
        .zip(&weights)
        .map(|(d, w)| (d - mean) * (d - mean).transpose() * *w)
        .sum::<Matrix5<f64>>()
        / total;
    let best = (0..draws.len())
        .max_by(|&a, &b| target[a].total_cmp(&target[b]))
        .unwrap_or(0);
    Spread {
        mean,
        covariance,
        best: errors_of(&draws[best]),
        gain: target[best] - target[0],
    }
}

fn errors_of(v: &Vector5) -> RegionErrors {
    RegionErrors::from_array([v[0].max(-0.5), v[1].max(-0.5), v[2], v[3], v[4]])
}

/// A normal distribution of a region's errors.
struct Known {
    mean: Vector5,
    covariance: Matrix5<f64>,
    root: Cholesky<f64, U5>,
}

impl Known {
    fn of(adjustment: &Adjustment, j: usize) -> Option<Self> {
        let mean = Vector5::from(adjustment.region(j).to_array());
        Self::new(mean, adjustment.region_covariance(j))
    }

    fn new(mean: Vector5, covariance: Matrix5<f64>) -> Option<Self> {
        let root = covariance.cholesky()?;
        Some(Self {
            mean,
            covariance,
            root,
        })
    }

    fn widened(&self, factor: f64) -> Option<Self> {
        Self::new(self.mean, self.covariance * factor * factor)
    }

    /// Up to a constant that all have in common.
    fn log_density(&self, v: &Vector5) -> f64 {
        let z = self
            .root
            .l()
            .solve_lower_triangular(&(v - self.mean))
            .unwrap_or_else(Vector5::zeros);
        let size: f64 = self.root.l().diagonal().iter().map(|d| d.ln()).sum();
        -z.norm_squared() / 2.0 - size
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_density_is_highest_at_its_mean() {
        let known = Known::new(Vector5::repeat(0.1), Matrix5::identity() * 0.04)
            .expect("positive definite");
        let at_mean = known.log_density(&Vector5::repeat(0.1));
        assert!(at_mean > known.log_density(&Vector5::repeat(0.2)));
        let off = Vector5::new(0.3, 0.1, 0.1, 0.1, 0.1);
        assert!(
            (at_mean - known.log_density(&off) - 0.5).abs() < 1e-12,
            "one standard deviation"
        );
    }

    #[test]
    fn two_places_that_fit_alike_spread_the_summary() {
        let draws = [Vector5::repeat(-1.0), Vector5::repeat(1.0)];
        let spread = summary(&draws, &[0.0, 0.0], &[0.0, 0.0]);
        assert!(spread.mean.norm() < 1e-12);
        assert!((spread.covariance[(0, 0)] - 1.0).abs() < 1e-12);
    }
}
