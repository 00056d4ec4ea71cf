//! Looks for the render's edge points along their normals in the reference.
use super::settings::EDGES;
use super::{owner, scene::EdgeScene};
use crate::{
    frame::Point,
    registration::{
        Adjustment,
        adjustment::{EdgeMark, MarkNoise, Pair},
    },
};
use rayon::prelude::*;

impl EdgeScene {
    /// Looks for the points along their normals; a window of `sigma` working pixels.
    pub(super) fn look(
        &self,
        adjustment: &Adjustment,
        sigma: f64,
        is_asked: impl Fn(usize) -> bool + Sync,
    ) -> Vec<EdgeMark> {
        let reference_from_work = self.work_from_reference.inverse();
        let onto = self.onto_response(adjustment);
        let rivals = self.rival_responses(adjustment, &onto);
        let look = |k: usize| {
            let region = self.moved_by(k);
            let subject = adjustment.subject_of(self.places[k], region);
            let at = onto.apply(subject, k);
            let normal = self.points[k].normal;
            let (t, response) = self.response.strongest_along((at, normal), sigma)?;
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
            let weights: Vec<(usize, f64)> = marks.iter().map(|(k, m)| (*k, m.weight)).collect();
            let variance = (EDGES.line_deviation.get() * self.factor).powi(2);
            for ((_, mark), weight) in marks.iter_mut().zip(lines.shared_out(&weights, variance)) {
                mark.weight = weight;
            }
        }
        marks.into_iter().map(|(_, mark)| mark).collect()
    }
}
