//! Looks for the render's edge points along their normals in the reference.
use super::settings::EDGES;
use super::{
    owner,
    scene::EdgeScene,
    window::{FARTHEST, STEP},
};
use crate::{
    frame::Point,
    registration::{
        Adjustment,
        adjustment::{EdgeMark, MarkNoise, Pair},
    },
};
use nalgebra::Vector2;
use rayon::prelude::*;

impl EdgeScene {
    /// Looks for the points along their normals; a window of `sigma` working pixels.
    pub(super) fn look(
        &self,
        adjustment: &Adjustment,
        sigma: f64,
        is_asked: impl Fn(usize) -> bool + Sync,
    ) -> Vec<EdgeMark> {
        let reach = (3.0 * sigma).min(FARTHEST);
        let reference_from_work = self.work_from_reference.inverse();
        let onto = self.onto_response(adjustment);
        let rivals = self.rival_responses(adjustment, &onto);
        let look = |k: usize| {
            let region = self.moved_by(k);
            let subject = adjustment.subject_of(self.places[k], region);
            let at = onto.apply(subject, k);
            let normal = self.points[k].normal;
            let (t, response) = self.best_along(at, normal, sigma, reach)?;
            let strength = (response / EDGES.full_response.get())
                .clamp(0.0, 1.0)
                .powi(2)
                * owner::share_of_owner(response, rivals[k]);
            let found = at + normal * t;
            Some((
                k,
                EdgeMark {
                    pair: Pair {
                        render: Point::new(self.places[k].x, self.places[k].y),
                        reference: reference_from_work.apply(Point::new(found.x, found.y)),
                        render_noise: MarkNoise::NONE,
                        reference_noise: MarkNoise::NONE,
                        along: None,
                        space: self.spaces[k],
                        region,
                        part: Some(self.points[k].region),
                    },
                    normal,
                    weight: strength
                        / (EDGES.point_deviation.get()
                            * EDGES.point_correlation.get()
                            * self.factor)
                            .powi(2),
                },
            ))
        };
        let asked = (0..self.points.len())
            .into_par_iter()
            .filter(|&k| is_asked(k));
        let mut marks: Vec<(usize, EdgeMark)> = asked.filter_map(look).collect();
        if let Some(lines) = &self.lines {
            lines.share_out(&mut marks, self.factor);
        }
        marks.into_iter().map(|(_, mark)| mark).collect()
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
}
