//! Refines the registration and the errors of regions by the edges of both images.
//!
//! The render's edge points are looked for along their normals in the reference, first on datum parts, which refine the
//! registration, then on all parts, the window getting narrower. Before the parts are fitted, and once again before the
//! last round, each part's errors are searched for at random around what is known, so that a part does not lock onto a
//! neighbouring edge unnoticed.
use super::settings::EDGES;
use super::{
    chance::OnEdges,
    scene::EdgeScene,
    search::{Search, Spread},
};
use crate::{
    registration::{
        Adjustment, RegionErrors,
        adjustment::{
            ADJUSTMENT,
            Settling::{self, AtRest, LookedAgain},
        },
    },
    stop,
};
use rayon::prelude::*;

/// Windows (standard deviations, working pixels) of the rounds on datum parts, and of those on all parts.
const DATUM_WINDOWS: [f64; 3] = [9.0, 4.0, 2.5];
const ALL_WINDOWS: [f64; 3] = [6.0, 3.0, 2.0];
const SETTLING_ROUNDS: usize = 2;

/// What the edges made of the adjustment.
#[derive(Clone, Debug)]
pub(crate) struct EdgeFit {
    pub(crate) adjustment: Adjustment,
    /// For each region of the view; `None` where its edges tell nothing.
    pub(crate) regions: Vec<Option<RegionEvidence>>,
    /// For each region of the view: share of its edge points on an edge of the reference, and the same by chance.
    pub(crate) on_edges: Vec<Option<OnEdges>>,
    /// How far the edges of datum parts would have moved the datum marks, root mean square, render pixels, where these
    /// do not bear it and they were not used.
    pub(crate) refused_px: Option<f64>,
}

/// What the edges say of one region.
#[derive(Clone, Debug)]
pub(crate) struct RegionEvidence {
    /// Mean and covariance of the region's errors over all places where its edges fit.
    pub(crate) spread: Spread,
    /// How far the fitted part lies on edges, in standard deviations of what displaced parts have.
    pub(crate) beyond_chance: f64,
}

impl EdgeScene {
    /// Looks for the points and fits them.
    fn round(
        &self,
        adjustment: &Adjustment,
        sigma: f64,
        is_asked: impl Fn(usize) -> bool + Sync,
        settling: Settling,
    ) -> Option<Adjustment> {
        stop::check().ok()?;
        let marks = self.look(adjustment, sigma, is_asked);
        let reach_px = (sigma / 2.0).max(1.0) * self.factor;
        // Neighbouring points err together: of a line that is counted already.
        let share = match self.lines {
            Some(_) => 1.0,
            None => ADJUSTMENT.independent_share.get(),
        };
        adjustment.with_edges(&marks, reach_px, (settling, share))
    }

    fn is_on_datum(&self, k: usize) -> bool {
        self.is_datum[self.points[k].region]
    }

    /// The registration refined by the edges of datum parts; where the marks do not bear that, theirs, and how far they
    /// would have been moved.
    fn by_datum(&self, landmarks: &Adjustment) -> Option<(Adjustment, Option<f64>)> {
        let mut fitted = landmarks.clone();
        if (0..self.points.len()).any(|k| self.is_on_datum(k)) {
            for sigma in DATUM_WINDOWS {
                fitted = self.round(&fitted, sigma, |k| self.is_on_datum(k), LookedAgain)?;
            }
        }
        // An edge beside the right one, in chrome or in shadow, may pull a whole part: the marks are better then.
        let most = match self.lines {
            Some(_) => EDGES.mesh_strain.get(),
            None => 1.0,
        };
        if landmarks.strain(&fitted) > most {
            let moved_px = landmarks.moved_px(&fitted);
            return Some((landmarks.clone(), Some(moved_px)));
        }
        Some((fitted, None))
    }

    /// Fits in rounds. `None` where no edge point lies on any region.
    pub(crate) fn fit(&self, landmarks: &Adjustment) -> Option<EdgeFit> {
        if self.points.is_empty() {
            return None;
        }
        let (mut fitted, refused_px) = self.by_datum(landmarks)?;
        let is_asked = |k: usize| refused_px.is_none() || !self.is_on_datum(k);
        // What is known of the parts without their own edges: where searches draw from.
        let before = fitted.clone();
        let search = Search::new(self, &before);
        fitted = fitted.with_regions(&search.first());
        for sigma in ALL_WINDOWS {
            fitted = self.round(&fitted, sigma, is_asked, LookedAgain)?;
        }
        let mut spreads = search.spreads(&fitted);
        let restarts: Vec<Option<RegionErrors>> = spreads
            .iter()
            .map(|s| {
                s.as_ref()
                    .filter(|s| s.gain > EDGES.restart_gain.get())
                    .map(|s| s.best)
            })
            .collect();
        let mut changed = restarts.iter().any(Option::is_some);
        if changed {
            fitted = self.round(
                &fitted.with_regions(&restarts),
                EDGES.last_window.get(),
                is_asked,
                LookedAgain,
            )?;
        }
        for _ in 0..SETTLING_ROUNDS {
            fitted = self.round(&fitted, EDGES.settling_window.get(), is_asked, LookedAgain)?;
        }
        let mut beyond = self.beyond_chance_of_all(&fitted);
        for _ in 0..2 {
            if fitted.review_marks(&|j| beyond[j] > EDGES.trusted_beyond_chance.get()) {
                fitted = self.round(&fitted, EDGES.last_window.get(), is_asked, LookedAgain)?;
                beyond = self.beyond_chance_of_all(&fitted);
                changed = true;
            }
        }
        if changed {
            spreads = search.spreads(&fitted);
        }
        // The last: what it finds is fitted until nothing moves.
        fitted = self.round(&fitted, EDGES.settling_window.get(), is_asked, AtRest)?;
        let regions = spreads
            .into_iter()
            .zip(beyond)
            .map(|(spread, beyond_chance)| {
                Some(RegionEvidence {
                    spread: spread?,
                    beyond_chance,
                })
            })
            .collect();
        let onto = self.onto_response(&fitted);
        let on_edges = (0..self.is_datum.len())
            .into_par_iter()
            .map(|j| self.on_edges(&fitted, &onto, j))
            .collect();
        Some(EdgeFit {
            adjustment: fitted,
            regions,
            on_edges,
            refused_px,
        })
    }
}
