//! How far a part's edges lie on edges of the reference, against what chance alone would give.
use super::settings::EDGES;
use super::{onto::OntoResponse, scene::EdgeScene, window::STEP};
use crate::registration::{Adjustment, RegionErrors, adjustment::SubjectPoint};
use nalgebra::Vector2;
use rayon::prelude::*;

/// Share of a part's visible edge points that have an edge of the reference where the registration alone puts them.
#[derive(Clone, Debug)]
pub(crate) struct OnEdges {
    pub(crate) share: f64,
    /// Mean share at displacements well beyond the tolerance.
    pub(crate) chance: f64,
    /// Places and unit normals of the part's edge points, render pixels.
    points: Vec<(Vector2<f64>, Vector2<f64>)>,
    /// How far off its place an edge is still the same, render pixels.
    reach_px: f64,
}

/// How far off its place an edge is still the same, render pixels, of which a working pixel has `factor`.
pub(crate) fn own_reach(factor: f64) -> f64 {
    EDGES.own_reach.get() * factor
}

/// Shares of a part's edge points that have an edge of the reference.
#[derive(Clone, Copy, Debug)]
pub(super) struct Hits {
    /// Where the registration alone puts them.
    pub(super) share: f64,
    /// The mean at displacements well beyond the tolerance.
    pub(super) chance: f64,
    /// Where the part fits best.
    pub(super) best: f64,
}

impl OnEdges {
    /// What is above chance counts relative to what the part reaches where it fits best; `points` are places and unit normals of its
    /// edge points, `reach_px` how far off its place an edge is still the same, render pixels.
    pub(super) fn new(
        hits: Hits,
        points: Vec<(Vector2<f64>, Vector2<f64>)>,
        reach_px: f64,
    ) -> Self {
        let Hits {
            share,
            chance,
            best,
        } = hits;
        let reachable = (best - chance).max(EDGES.least_reachable.get() * (1.0 - chance));
        let above = ((share - chance) / reachable.max(1e-6)).min(1.0);
        Self {
            share: (chance + above * (1.0 - chance)).max(0.0),
            chance,
            points,
            reach_px,
        }
    }

    /// Above chance: from 0, or a little less, to 1.
    pub(crate) fn above_chance(&self) -> f64 {
        if self.chance < 1.0 {
            (self.share - self.chance) / (1.0 - self.chance)
        } else {
            0.0
        }
    }

    /// Low and high corner of the box that nearly all of the part's edge points lie in, render pixels: one in fifty may lie beyond
    /// each side. `None` where there are none.
    pub(crate) fn extent(&self) -> Option<[[f64; 2]; 2]> {
        let range = |axis: usize| {
            let mut values: Vec<f64> = self.points.iter().map(|(p, _)| p[axis]).collect();
            values.sort_by(f64::total_cmp);
            let beyond = values.len() / 50;
            Some([
                *values.get(beyond)?,
                *values.get(values.len().checked_sub(beyond + 1)?)?,
            ])
        };
        let ([left, right], [top, bottom]) = (range(0)?, range(1)?);
        Some([[left, top], [right, bottom]])
    }

    /// What of it is left where only those edges count that lie on their own in the reference, and not on any: a point whose part has
    /// these errors lies off its own edge by what they move it along its normal, and counts the less the farther that is
    /// (`exp(-(distance/reach)^2)`).
    pub(crate) fn on_own(mut self, errors: &RegionErrors, anchor: Vector2<f64>) -> Self {
        let subject = SubjectPoint::new(errors, anchor);
        let own = |(place, normal): &(Vector2<f64>, Vector2<f64>)| {
            let off = normal.dot(&(*place - subject.of(*place))) / self.reach_px;
            libm::exp(-off * off)
        };
        let own = self.points.iter().map(own).sum::<f64>() / self.points.len().max(1) as f64;
        self.share = self.chance + own * (self.share - self.chance);
        self
    }
}

impl EdgeScene {
    pub(super) fn beyond_chance_of_all(&self, adjustment: &Adjustment) -> Vec<f64> {
        let onto = self.onto_response(adjustment);
        (0..self.is_datum.len())
            .into_par_iter()
            .map(|j| self.beyond_chance(adjustment, &onto, j))
            .collect()
    }

    /// How far the share of the part's points that lie on an edge is above that of displaced ones.
    fn beyond_chance(&self, adjustment: &Adjustment, onto: &OntoResponse, j: usize) -> f64 {
        let region = self.moved_by_region(j);
        let subject = |k: usize| adjustment.subject_of(self.places[k], region);
        let placed = self.placed(onto, j, subject);
        let share = |d: Vector2<f64>| self.share_on_edges(&placed, d, 1.0);
        let displaced: Vec<f64> = displacements(30, 8.0, 40.0).map(share).collect();
        let mean = displaced.iter().sum::<f64>() / displaced.len() as f64;
        let square =
            displaced.iter().map(|s| (s - mean).powi(2)).sum::<f64>() / displaced.len() as f64;
        (share(Vector2::zeros()) - mean) / (square.sqrt() + 0.02)
    }

    /// Places on the response and normals of the points of region `j`, whose subject lies at `subject`.
    fn placed(
        &self,
        onto: &OntoResponse,
        j: usize,
        subject: impl Fn(usize) -> Vector2<f64>,
    ) -> Vec<(Vector2<f64>, Vector2<f64>)> {
        let points = self.points_of(j).iter();
        points
            .map(|&k| (onto.apply(subject(k), k), self.points[k].normal))
            .collect()
    }

    /// Share of the points that, displaced by `d` working pixels, have a full edge within `reach` along their normals.
    fn share_on_edges(
        &self,
        placed: &[(Vector2<f64>, Vector2<f64>)],
        d: Vector2<f64>,
        reach: f64,
    ) -> f64 {
        let n = (reach / STEP).round() as i32;
        let hit = |(at, normal): &&(Vector2<f64>, Vector2<f64>)| {
            (-n..=n).any(|i| {
                let along = *normal * (STEP * f64::from(i));
                self.response.at(*at + d + along, *normal) > 1.0
            })
        };
        placed.iter().filter(hit).count() as f64 / placed.len().max(1) as f64
    }

    /// The overlap of a part's edges where the registration alone puts them; `None` with too few points.
    ///
    /// An edge point counts that has a full response of the reference within 2.5 working pixels along its normal; chance
    /// is the mean of the same at displacements of 12 to 50. Many a point is hidden or has no contrast in the reference:
    /// what is above chance is taken relative to what the part reaches where it fits best.
    pub(super) fn on_edges(
        &self,
        fitted: &Adjustment,
        onto: &OntoResponse,
        j: usize,
    ) -> Option<OnEdges> {
        let placed = self.placed(onto, j, |k| self.places[k]);
        if placed.len() < EDGES.least_points.count() {
            return None;
        }
        let share = |d: Vector2<f64>| self.share_on_edges(&placed, d, EDGES.overlap_reach.get());
        let chance = displacements(40, 12.0, 50.0).map(share).sum::<f64>() / 40.0;
        let region = self.moved_by_region(j);
        let fit = self.placed(onto, j, |k| fitted.subject_of(self.places[k], region));
        let best = self.share_on_edges(&fit, Vector2::zeros(), EDGES.overlap_reach.get());
        let points = self.points_of(j).iter();
        let points = points.map(|&k| (self.places[k], self.points[k].normal));
        let hits = Hits {
            share: share(Vector2::zeros()),
            chance,
            best,
        };
        let reach_px = own_reach(self.factor);
        Some(OnEdges::new(hits, points.collect(), reach_px))
    }
}

/// `n` displacements spread over a ring, by the golden angle: the same on every run.
pub(super) fn displacements(
    n: usize,
    inner: f64,
    outer: f64,
) -> impl Iterator<Item = Vector2<f64>> {
    let golden = std::f64::consts::PI * (3.0 - 5.0_f64.sqrt());
    (0..n).map(move |k| {
        let part = (k as f64 + 0.5) / n as f64;
        let radius = inner + (outer - inner) * part;
        let angle = golden * k as f64;
        Vector2::new(radius * angle.cos(), radius * angle.sin())
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Edges upright and level, as many of each.
    fn on_edges() -> OnEdges {
        let places = [[10.0, 20.0], [60.0, 30.0]].map(Vector2::from);
        let points = places.map(|p| [(p, Vector2::x()), (p, Vector2::y())]);
        OnEdges {
            share: 0.8,
            chance: 0.2,
            points: points.concat(),
            reach_px: 5.0,
        }
    }

    #[test]
    fn edges_beside_their_own_do_not_overlap() {
        let at = |offset: [f64; 2]| {
            let errors = RegionErrors {
                offset,
                ..RegionErrors::default()
            };
            on_edges().on_own(&errors, Vector2::zeros()).above_chance()
        };
        assert!((at([0.0, 0.0]) - 0.75).abs() < 1e-12, "right");
        // The upright ones are off by the reach, the level ones not at all.
        let half = 0.75 * (1.0 + (-1.0_f64).exp()) / 2.0;
        assert!((at([5.0, 0.0]) - half).abs() < 1e-12);
        assert!((at([0.0, -5.0]) - half).abs() < 1e-12, "whatever the sign");
        assert!(at([40.0, 40.0]) < 1e-9, "far off, on another edge");
    }

    #[test]
    fn a_wider_part_is_off_where_it_is_wider() {
        let errors = RegionErrors {
            width: 0.1,
            ..RegionErrors::default()
        };
        let anchored_at_10 = on_edges().on_own(&errors, Vector2::new(10.0, 20.0));
        // One upright edge of two, by 50 px less 50/1.1.
        let off = (50.0 - 50.0 / 1.1) / 5.0_f64;
        let expected = 0.75 * (3.0 + (-off * off).exp()) / 4.0;
        assert!((anchored_at_10.above_chance() - expected).abs() < 1e-12);
    }
}
