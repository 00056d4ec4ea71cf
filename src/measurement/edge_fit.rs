//! Refines the registration and the errors of regions by the edges of both images.
//!
//! The render's edge points are looked for along their normals in the reference, first on datum parts, which refine the
//! registration, then on all parts, the window getting narrower. Before the parts are fitted, and once again before the
//! last round, each part's errors are searched for at random around what is known, so that a part does not lock onto a
//! neighbouring edge unnoticed.
use super::{
    edge_owner,
    edge_points::{self, EdgePoint},
    edge_search::{Search, Spread},
    response::Response,
    work::Window,
};
use crate::{
    frame::{FromReference, IntoReference, Point, Projective, RenderPx, WorkPx},
    job::{LandmarkUse, View},
    registration::{
        Adjustment, RegionErrors,
        edges::{EdgeMark, SubjectPoint},
        model::{Pair, State},
    },
    stop,
};
use nalgebra::Vector2;
use rayon::prelude::*;

/// Standard deviation of the place of one edge point, working pixels, and the factor by which neighbouring points are
/// less worth than independent ones: they lie on the same edge and see the same shading.
const POINT_SIGMA: f64 = 0.7;
const CORRELATION: f64 = 2.2;
/// Windows (standard deviations, working pixels) of the rounds on datum parts, and of those on all parts.
const DATUM_WINDOWS: [f64; 3] = [9.0, 4.0, 2.5];
const ALL_WINDOWS: [f64; 3] = [6.0, 3.0, 2.0];
const LAST_WINDOW: f64 = 2.0;
/// The narrow window in which the fit settles in the end, and how often it looks there.
const SETTLING_WINDOW: f64 = 1.5;
const SETTLING_ROUNDS: usize = 3;
/// Farthest place that is looked at, working pixels.
const FARTHEST: f64 = 25.0;
/// Step of the search along a normal, working pixels.
const STEP: f64 = 0.5;
/// A response of this much is a full edge.
const FULL_RESPONSE: f64 = 1.2;
/// How far along its normal an edge point looks when overlap is asked for, working pixels, and the least share above
/// chance, of what there is, that a part is taken to reach.
const OVERLAP_REACH: f64 = 2.5;
const LEAST_REACHABLE: f64 = 0.17;
/// Gain in log-likelihood at which a search's find replaces the fit.
const RESTART_GAIN: f64 = 2.0;
/// Edges that fit so many standard deviations better than displaced ones may accuse a mark.
const TRUSTED_BEYOND_CHANCE: f64 = 4.0;
/// What edges need around their regions, working pixels: the farthest displacement that chance is judged by, the farthest
/// place along a normal, and the box of the response.
pub(crate) const MARGIN: f64 = 50.0 + FARTHEST + 31.0;
/// Fewer points than this are no evidence.
pub(crate) const LEAST_POINTS: usize = 12;

/// What the edges made of the adjustment.
#[derive(Clone, Debug)]
pub(crate) struct EdgeFit {
    pub(crate) adjustment: Adjustment,
    /// For each region of the view; `None` where its edges tell nothing.
    pub(crate) regions: Vec<Option<RegionEvidence>>,
    /// For each region of the view: share of its edge points on an edge of the reference, and the same by chance.
    pub(crate) on_edges: Vec<Option<OnEdges>>,
}

/// Share of a part's visible edge points that have an edge of the reference where the registration alone puts them.
#[derive(Clone, Copy, Debug)]
pub(crate) struct OnEdges {
    pub(crate) share: f64,
    /// Mean share at displacements well beyond the tolerance.
    pub(crate) chance: f64,
}

/// What the edges say of one region.
#[derive(Clone, Debug)]
pub(crate) struct RegionEvidence {
    /// Mean and covariance of the region's errors over all places where its edges fit.
    pub(crate) spread: Spread,
    /// How far the fitted part lies on edges, in standard deviations of what displaced parts have.
    pub(crate) beyond_chance: f64,
}

/// Takes render pixels to the grid on which the reference was laid by an earlier state of the adjustment.
enum WorkFromRender {
    /// Both states have the same lens: one projective map.
    Direct(Projective<WorkPx, RenderPx>),
    /// The lens has changed: by way of the reference.
    ByReference(IntoReference<RenderPx>, FromReference<WorkPx>),
}

impl WorkFromRender {
    fn new(work_from_reference: &FromReference<WorkPx>, state: &State) -> Self {
        let rectified = &state.rectified_from_reference;
        let rectified_from_render = state.render_from_rectified.inverse();
        if rectified.lens() == work_from_reference.lens() {
            let undistorted_from_rectified = rectified.projective().inverse();
            let work_from_rectified = work_from_reference.projective();
            return Self::Direct(
                work_from_rectified
                    .after(&undistorted_from_rectified.after(&rectified_from_render)),
            );
        }
        let reference_from_render = rectified.inverse().after(&rectified_from_render);
        Self::ByReference(reference_from_render, *work_from_reference)
    }

    fn apply(&self, p: Point<RenderPx>) -> Point<WorkPx> {
        match self {
            Self::Direct(map) => map.apply(p),
            Self::ByReference(into, out) => out.apply(into.apply(p)),
        }
    }
}

/// Takes a point of the subject, as the render's camera sees it, to the response.
pub(crate) struct OntoResponse {
    map: WorkFromRender,
    /// For each edge point: how far the reference's camera sees it elsewhere, render pixels.
    shifts: Vec<Vector2<f64>>,
}

impl OntoResponse {
    /// `subject` is the place of edge point `k`.
    fn apply(&self, subject: Vector2<f64>, k: usize) -> Vector2<f64> {
        let seen = subject + self.shifts[k];
        let p = self.map.apply(Point::new(seen.x, seen.y));
        Vector2::new(p.x, p.y)
    }
}

/// What the fit works on.
pub(crate) struct EdgeScene {
    /// Edge points of the render.
    points: Vec<EdgePoint>,
    /// Their places in render pixels.
    places: Vec<Vector2<f64>>,
    /// Their places on the model, where the camera needs them.
    spaces: Vec<Option<[f64; 3]>>,
    /// For each edge point: the other regions that hold it.
    rivals: Vec<Vec<usize>>,
    /// For each region: indices of its points.
    of_region: Vec<Vec<usize>>,
    response: Response,
    /// Takes the reference as it is on disk to the grid on which the response lies.
    work_from_reference: FromReference<WorkPx>,
    /// Render pixels per working pixel.
    factor: f64,
    /// For each region: datum landmarks lie on it.
    is_datum: Vec<bool>,
}

impl EdgeScene {
    /// The window holds the reference as `adjustment` has it.
    pub(crate) fn new(view: &View, window: &Window, adjustment: &Adjustment) -> Self {
        let render_from_work = &window.render_from_window;
        let work_from_render = render_from_work.inverse();
        // One after the other: side by side they would need twice the memory, and each is parallel in itself.
        let found = edge_points::find(&window.render, &view.regions, &work_from_render);
        let mut response = Response::new(&window.reference, view.reference.kind);
        if let Some(usable) = &window.usable {
            response.keep_where(usable);
        }
        let needs_depth = adjustment.problem.layout.parallax.is_some();
        let every_landmark: Vec<usize> = (0..view.landmarks.len()).collect();
        let (mut points, mut places, mut spaces) = (Vec::new(), Vec::new(), Vec::new());
        let mut rivals = Vec::new();
        let mut of_region = vec![Vec::new(); view.regions.len()];
        for point in found {
            let place = edge_points::in_render(&point, render_from_work);
            let landmarks = &view.regions[point.region].landmarks;
            let space = needs_depth
                .then(|| {
                    let problem = &adjustment.problem;
                    problem
                        .space_of(landmarks, place)
                        .or_else(|| problem.space_of(&every_landmark, place))
                })
                .flatten();
            // A camera that has moved asks for a point's depth: without it the point cannot be placed.
            if needs_depth && space.is_none() {
                continue;
            }
            of_region[point.region].push(points.len());
            rivals.push(edge_owner::rivals_of(&view.regions, point.region, place));
            points.push(point);
            places.push(place);
            spaces.push(space);
        }
        let state = &adjustment.solved.state;
        let is_datum = view
            .regions
            .iter()
            .map(|r| {
                r.landmarks.iter().any(|&i| {
                    // The marks of an altered datum part were put on the part.
                    let is_moved = adjustment.problem.pairs[i].region.is_some();
                    view.landmarks[i].usage == LandmarkUse::Datum && !is_moved
                })
            })
            .collect();
        Self {
            points,
            places,
            spaces,
            rivals,
            of_region,
            response,
            work_from_reference: state.render_from_reference().then(&work_from_render),
            factor: render_from_work.rows()[0][0],
            is_datum,
        }
    }

    /// The region whose errors move an edge point: none for a datum part.
    fn moved_by(&self, k: usize) -> Option<usize> {
        self.moved_by_region(self.points[k].region)
    }

    /// Region `j` where it has errors of its own; none for a datum part.
    fn moved_by_region(&self, j: usize) -> Option<usize> {
        (!self.is_datum[j]).then_some(j)
    }

    /// How an adjustment takes the subject's points to the response.
    pub(crate) fn onto_response(&self, adjustment: &Adjustment) -> OntoResponse {
        let state = &adjustment.solved.state;
        OntoResponse {
            map: WorkFromRender::new(&self.work_from_reference, state),
            shifts: self
                .spaces
                .iter()
                .map(|space| adjustment.shift_of(*space))
                .collect(),
        }
    }

    /// For each edge point: the strongest response where another part that it may lie on would have it; `None` where it
    /// lies on one region only.
    pub(crate) fn rival_responses(
        &self,
        adjustment: &Adjustment,
        onto: &OntoResponse,
    ) -> Vec<Option<f64>> {
        (0..self.points.len())
            .into_par_iter()
            .map(|k| {
                let response = |j: &usize| {
                    let region = self.moved_by_region(*j);
                    let at = onto.apply(adjustment.subject_of(self.places[k], region), k);
                    f64::from(self.response.at(at, self.points[k].normal))
                };
                self.rivals[k].iter().map(response).reduce(f64::max)
            })
            .collect()
    }

    /// Looks for the points along their normals; a window of `sigma` working pixels.
    fn look(
        &self,
        adjustment: &Adjustment,
        sigma: f64,
        is_asked: impl Fn(usize) -> bool + Sync,
    ) -> Vec<EdgeMark> {
        let reach = (3.0 * sigma).min(FARTHEST);
        let reference_from_work = self.work_from_reference.inverse();
        let onto = self.onto_response(adjustment);
        let rivals = self.rival_responses(adjustment, &onto);
        (0..self.points.len())
            .into_par_iter()
            .filter(|&k| is_asked(k))
            .filter_map(|k| {
                let region = self.moved_by(k);
                let subject = adjustment.subject_of(self.places[k], region);
                let at = onto.apply(subject, k);
                let normal = self.points[k].normal;
                let (t, response) = self.best_along(at, normal, sigma, reach)?;
                let strength = (response / FULL_RESPONSE).clamp(0.0, 1.0).powi(2)
                    * edge_owner::share_of_owner(response, rivals[k]);
                let found = at + normal * t;
                Some(EdgeMark {
                    pair: Pair {
                        render: Point::new(self.places[k].x, self.places[k].y),
                        reference: reference_from_work.apply(Point::new(found.x, found.y)),
                        render_sigma: 0.0,
                        reference_sigma: 0.0,
                        space: self.spaces[k],
                        region,
                    },
                    normal,
                    weight: strength / (POINT_SIGMA * CORRELATION * self.factor).powi(2),
                })
            })
            .collect()
    }

    /// Distance along the normal of the strongest response under the window, and that response.
    fn best_along(
        &self,
        at: Vector2<f64>,
        normal: Vector2<f64>,
        sigma: f64,
        reach: f64,
    ) -> Option<(f64, f64)> {
        let n = (2.0 * reach / STEP).round() as usize + 1;
        let place = |i: usize| -reach + STEP * i as f64;
        let mut profile = [0.0_f64; 2 * (FARTHEST / STEP) as usize + 1];
        let profile = &mut profile[..n];
        for (i, r) in profile.iter_mut().enumerate() {
            *r = f64::from(self.response.at(at + normal * place(i), normal));
        }
        let weighed = |i: usize| profile[i] * (-(place(i) / sigma).powi(2) / 2.0).exp();
        let best = (1..profile.len() - 1).max_by(|&a, &b| weighed(a).total_cmp(&weighed(b)))?;
        let (a, b, c) = (profile[best - 1], profile[best], profile[best + 1]);
        let curvature = a - 2.0 * b + c;
        if curvature >= -1e-9 {
            return None;
        }
        let between = (0.5 * (a - c) / curvature).clamp(-1.0, 1.0) * STEP;
        Some((place(best) + between, b))
    }

    fn round(
        &self,
        adjustment: &Adjustment,
        sigma: f64,
        is_asked: impl Fn(usize) -> bool + Sync,
    ) -> Option<Adjustment> {
        stop::check().ok()?;
        let marks = self.look(adjustment, sigma, is_asked);
        adjustment.with_edges(&marks, (sigma / 2.0).max(1.0) * self.factor)
    }

    /// The likelihood of each point on a region that has the errors `errors` about `anchor`, beside that of its rivals.
    pub(crate) fn likelihoods<'s>(
        &'s self,
        onto: &'s OntoResponse,
        errors: RegionErrors,
        anchor: Vector2<f64>,
        points: &'s [usize],
        rivals: &'s [Option<f64>],
    ) -> impl Iterator<Item = f64> + 's {
        let back = SubjectPoint::new(&errors, anchor);
        points.iter().map(move |&k| {
            let at = onto.apply(back.of(self.places[k]), k);
            let own = f64::from(self.response.at(at, self.points[k].normal));
            edge_owner::mixed_likelihood(own, rivals[k])
        })
    }

    /// Indices of the points of region `j`.
    pub(crate) fn points_of(&self, j: usize) -> &[usize] {
        &self.of_region[j]
    }

    /// Whether region `j` has errors of its own that edges can tell.
    pub(crate) fn is_searched(&self, j: usize) -> bool {
        !self.is_datum[j] && self.points_of(j).len() >= LEAST_POINTS
    }

    /// Fits in rounds. `None` where no edge point lies on any region.
    pub(crate) fn fit(&self, landmarks: &Adjustment) -> Option<EdgeFit> {
        if self.points.is_empty() {
            return None;
        }
        let on_datum = |k: usize| self.is_datum[self.points[k].region];
        let mut fitted = landmarks.clone();
        if (0..self.points.len()).any(on_datum) {
            for sigma in DATUM_WINDOWS {
                fitted = self.round(&fitted, sigma, on_datum)?;
            }
        }
        // What is known of the parts without their own edges: where searches draw from.
        let before = fitted.clone();
        let search = Search::new(self, &before);
        fitted = fitted.with_regions(&search.first());
        for sigma in ALL_WINDOWS {
            fitted = self.round(&fitted, sigma, |_| true)?;
        }
        let mut spreads = search.spreads(&fitted);
        let restarts: Vec<Option<RegionErrors>> = spreads
            .iter()
            .map(|s| s.as_ref().filter(|s| s.gain > RESTART_GAIN).map(|s| s.best))
            .collect();
        let mut changed = restarts.iter().any(Option::is_some);
        if changed {
            fitted = self.round(&fitted.with_regions(&restarts), LAST_WINDOW, |_| true)?;
        }
        for _ in 0..SETTLING_ROUNDS {
            fitted = self.round(&fitted, SETTLING_WINDOW, |_| true)?;
        }
        let mut beyond = self.beyond_chance_of_all(&fitted);
        for _ in 0..2 {
            if fitted.review_marks(&|j| beyond[j] > TRUSTED_BEYOND_CHANCE) {
                fitted = self.round(&fitted, LAST_WINDOW, |_| true)?;
                beyond = self.beyond_chance_of_all(&fitted);
                changed = true;
            }
        }
        if changed {
            spreads = search.spreads(&fitted);
        }
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
        })
    }

    fn beyond_chance_of_all(&self, adjustment: &Adjustment) -> Vec<f64> {
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
    fn on_edges(&self, fitted: &Adjustment, onto: &OntoResponse, j: usize) -> Option<OnEdges> {
        let placed = self.placed(onto, j, |k| self.places[k]);
        if placed.len() < LEAST_POINTS {
            return None;
        }
        let share = |d: Vector2<f64>| self.share_on_edges(&placed, d, OVERLAP_REACH);
        let chance = displacements(40, 12.0, 50.0).map(share).sum::<f64>() / 40.0;
        let region = self.moved_by_region(j);
        let fit = self.placed(onto, j, |k| fitted.subject_of(self.places[k], region));
        let best = self.share_on_edges(&fit, Vector2::zeros(), OVERLAP_REACH);
        let reachable = (best - chance).max(LEAST_REACHABLE * (1.0 - chance));
        let above = ((share(Vector2::zeros()) - chance) / reachable.max(1e-6)).min(1.0);
        Some(OnEdges {
            share: (chance + above * (1.0 - chance)).max(0.0),
            chance,
        })
    }
}

/// `n` displacements spread over a ring, by the golden angle: the same on every run.
fn displacements(n: usize, inner: f64, outer: f64) -> impl Iterator<Item = Vector2<f64>> {
    let golden = std::f64::consts::PI * (3.0 - 5.0_f64.sqrt());
    (0..n).map(move |k| {
        let part = (k as f64 + 0.5) / n as f64;
        let radius = inner + (outer - inner) * part;
        let angle = golden * k as f64;
        Vector2::new(radius * angle.cos(), radius * angle.sin())
    })
}
