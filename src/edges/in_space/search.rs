//! Where else the edges of a part would fit, in all photos at once: random search and importance sampling of its nine errors.
//!
//! # Source
//! Importance sampling with a mixture as proposal: A. Owen and Y. Zhou, "Safe and effective importance sampling" (2000).
use super::{
    chance::log_likelihood,
    photo::PhotoEdges,
    places::{Group, Place},
};
use crate::{
    edges::{random::Random, settings::EDGES},
    registration::space::together::{Fitting, Known, NINE, Nine, Own, Sight, moved},
};
use nalgebra::{Cholesky, Const, Vector2};

/// Draws around what is known of a part, and around the best of them, narrower.
const WIDE_DRAWS: usize = 300;
const NARROW_DRAWS: usize = 150;
const NARROW: f64 = 0.35;
/// Draws of the spread from what was known before the edges, and from around the fit, wider.
const SPREAD_DRAWS: usize = 200;
const WIDER: f64 = 2.0;
/// Places of a part in one photo that a draw is looked at by.
const MOST_PLACES: usize = 60;
/// Added to a scaled covariance, so that rounding leaves it positive.
const FLOOR: f64 = 1e-10;

/// The places of a part in one photo, with their normals.
struct Asked<'a> {
    photo: &'a PhotoEdges,
    sight: Sight,
    places: Vec<(Place, Vector2<f64>)>,
    /// As how many observations they count.
    observations: f64,
}

impl Asked<'_> {
    /// Where the photo shows the places with these errors of the part.
    fn seen(
        &self,
        search: &Search<'_>,
        errors: &Nine,
    ) -> impl Iterator<Item = Option<Vector2<f64>>> {
        let placing = search.fitting.placing_with(search.part, errors);
        let places = self.places.iter();
        places.map(move |(place, _)| self.sight.place(&placing.on_subject(&place.place)))
    }
}

/// The places of a part in all photos.
pub(super) struct Search<'a> {
    fitting: &'a Fitting,
    part: usize,
    asked: Vec<Asked<'a>>,
}

impl<'a> Search<'a> {
    /// `photos` are those that take part. `None` where no place is seen.
    pub(super) fn new(
        fitting: &'a Fitting,
        part: usize,
        groups: impl Iterator<Item = &'a Group>,
        photos: &[Option<&'a PhotoEdges>],
    ) -> Option<Self> {
        let placing = fitting.placing(part);
        let mut asked = Vec::new();
        for group in groups.filter(|group| group.part == Some(part)) {
            let (Some(photo), Some(sight)) = (photos[group.photo], fitting.sight(group.photo))
            else {
                continue;
            };
            let stride = group.places.len().div_ceil(MOST_PLACES);
            let some = group.places.iter().step_by(stride);
            let places: Vec<(Place, Vector2<f64>)> = some
                .filter_map(|place| Some((*place, place.seen(&sight, Some(&placing))?.1)))
                .collect();
            if !places.is_empty() {
                let observations = group.places.len() as f64 / EDGES.points_per_observation.get();
                asked.push(Asked {
                    photo,
                    sight,
                    places,
                    observations,
                });
            }
        }
        (!asked.is_empty()).then_some(Self {
            fitting,
            part,
            asked,
        })
    }

    fn log_likelihood(&self, errors: &Nine) -> f64 {
        let of_photo = |asked: &Asked<'_>| {
            let seen = asked.seen(self, errors).zip(&asked.places);
            let each = seen.map(|(at, (_, normal))| {
                log_likelihood(at.map_or(0.0, |at| asked.photo.at(at, *normal)))
            });
            each.sum::<f64>() / asked.places.len() as f64 * asked.observations
        };
        self.asked.iter().map(of_photo).sum()
    }

    /// The best place that was drawn from what is known.
    pub(super) fn best(&self) -> Option<Nine> {
        let known = Normal::of(&self.fitting.known(self.part), 1.0)?;
        let mut random = Random::of(self.part, 11);
        let score = |z: &Nine| {
            let errors = known.at(z);
            (self.log_likelihood(&errors) - z.norm_squared() / 2.0, *z)
        };
        let mut best = score(&Nine::zeros());
        let mut from = Nine::zeros();
        for draw in 0..WIDE_DRAWS + NARROW_DRAWS {
            let by = random.normals::<NINE>();
            if draw == WIDE_DRAWS {
                from = best.1;
            }
            let z = if draw < WIDE_DRAWS {
                by
            } else {
                from + by * NARROW
            };
            let tried = score(&z);
            if tried.0 > best.0 {
                best = tried;
            }
        }
        Some(known.at(&best.1))
    }

    /// How far the places lie from where the fit has them along their normals, root mean square, working pixels.
    fn off_px(&self, from: &[Vec<Option<Vector2<f64>>>], errors: &Nine) -> f64 {
        let (mut sum, mut count) = (0.0, 0.0);
        for (asked, from) in self.asked.iter().zip(from) {
            for ((seen, from), (_, normal)) in asked.seen(self, errors).zip(from).zip(&asked.places)
            {
                if let (Some(seen), Some(from)) = (seen, from) {
                    sum += (normal.dot(&(seen - from)) * asked.photo.scale).powi(2);
                    count += 1.0;
                }
            }
        }
        if count > 0.0 {
            (sum / count).sqrt()
        } else {
            0.0
        }
    }

    /// Second moment, about the fit, of the other places where the edges fit as well, each as likely as it is; `before` is what was known
    /// without the edges. How far the place of the fit itself reaches is known by its covariance.
    pub(super) fn spread(&self, before: &Known) -> Option<Own> {
        let fit = Normal::of(&self.fitting.known(self.part), WIDER)?;
        let known = Normal::of(before, 1.0)?;
        let mut random = Random::of(self.part, 13);
        let draws: Vec<Nine> = (0..2 * SPREAD_DRAWS)
            .map(|draw| {
                let z = random.normals::<NINE>();
                if draw % 2 == 0 {
                    known.at(&z)
                } else {
                    fit.at(&z)
                }
            })
            .collect();
        let log_weight = |draw: &Nine| {
            let (a, b) = (known.log_density(draw), fit.log_density(draw));
            let proposal = a.max(b) + (-(a - b).abs()).exp().ln_1p();
            self.log_likelihood(draw) + a - proposal
        };
        let logs: Vec<f64> = draws.iter().map(log_weight).collect();
        let most = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let at_fit: Vec<Vec<Option<Vector2<f64>>>> = (self.asked.iter())
            .map(|asked| asked.seen(self, &fit.mean).collect())
            .collect();
        let (mut sum, mut total) = (Own::zeros(), 0.0);
        for (draw, log) in draws.iter().zip(&logs) {
            let (weight, off) = ((log - most).exp(), draw - fit.mean);
            total += weight;
            if self.off_px(&at_fit, draw) > EDGES.space_other_place.get() {
                sum += off * off.transpose() * weight;
            }
        }
        let spread = sum / total;
        spread.iter().all(|v| v.is_finite()).then_some(spread)
    }
}

/// A normal distribution of nine errors.
struct Normal {
    mean: Nine,
    /// Deviations, and the triangle of the correlations.
    deviations: Nine,
    root: Cholesky<f64, Const<NINE>>,
}

impl Normal {
    fn of(known: &Known, wider: f64) -> Option<Self> {
        let deviations = known.covariance.diagonal().map(|v| v.max(0.0).sqrt());
        let scaled = Own::from_fn(|i, j| {
            let v = known.covariance[(i, j)] / (deviations[i] * deviations[j]);
            if i == j { v + FLOOR } else { v }
        });
        Some(Self {
            mean: known.mean,
            deviations: deviations * wider,
            root: scaled.cholesky()?,
        })
    }

    /// The errors that are `z` off.
    fn at(&self, z: &Nine) -> Nine {
        moved(
            &self.mean,
            &(self.root.l() * z).component_mul(&self.deviations),
        )
    }

    fn log_density(&self, errors: &Nine) -> f64 {
        let off = (errors - self.mean).component_div(&self.deviations);
        let z = self.root.l().solve_lower_triangular(&off);
        let size: f64 = self.deviations.iter().map(|d| d.ln()).sum::<f64>()
            + self.root.l().diagonal().iter().map(|d| d.ln()).sum::<f64>();
        -z.map_or(f64::INFINITY, |z| z.norm_squared()) / 2.0 - size
    }
}
