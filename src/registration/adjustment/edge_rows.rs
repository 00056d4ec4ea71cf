//! Edges as further observations of the adjustment: a point of a render's edge, found again in the reference, is a
//! landmark that is known across the edge only.
use super::{
    adjusted::Adjustment,
    model::{Pair, Predictor, RegionErrors, State},
    normal::Normal,
    solving::{AT_REST_PX, Convergence, Problem, Solved, Weighing},
};
use nalgebra::{DVector, Vector2};

/// A point of an edge of the render and where the reference has it.
#[derive(Clone, Copy, Debug)]
pub(crate) struct EdgeMark {
    /// Its place in the render, the place found in the reference, and the region that it lies on.
    pub(crate) pair: Pair,
    /// Unit normal of the edge in the render.
    pub(crate) normal: Vector2<f64>,
    /// One over the variance of the distance along the normal, 1 / render pixels squared.
    pub(crate) weight: f64,
}

/// Gauss-Newton steps with the same found places.
const STEPS: usize = 3;
/// Share of the weight of edge marks with which deviations are reckoned: shading, blur and lines of a drawing shift a whole
/// edge, not one point of it, so that neighbouring points err together over longer stretches than the fit takes them to.
const INDEPENDENT_SHARE: f64 = 0.25;

impl Adjustment {
    /// This adjustment with edge marks beside the landmarks. Marks that lie far off, in units of `reach_px` (render
    /// pixels), count little: weight `1 / (1 + (r / reach)^2)^2` (Geman and McClure 1987). `None` where the normal
    /// equations cannot be solved.
    pub(crate) fn with_edges(&self, marks: &[EdgeMark], reach_px: f64) -> Option<Self> {
        let mut state = self.solved.state.clone();
        let mut last_step_px = f64::INFINITY;
        for _ in 0..STEPS {
            let normal = self.normal_with_edges(&state, marks, reach_px, 1.0);
            let (global, regions) = normal.solve(0.0)?;
            last_step_px = global.amax();
            state = state.changed(&self.problem.layout, global.as_slice(), &regions)?;
        }
        let covariance = self
            .normal_with_edges(&state, marks, reach_px, INDEPENDENT_SHARE)
            .covariance()?;
        let rows = self.problem.rows(&state, self.noise);
        Some(Self {
            solved: Solved {
                state,
                rows,
                covariance,
                convergence: Convergence {
                    is_reached: last_step_px < AT_REST_PX,
                    steps: STEPS,
                    last_step_px,
                },
            },
            ..self.clone()
        })
    }

    /// The edge marks have `share` of their weight.
    fn normal_with_edges(
        &self,
        state: &State,
        marks: &[EdgeMark],
        reach_px: f64,
        share: f64,
    ) -> Normal {
        let problem = &self.problem;
        let rows = problem.rows(state, self.noise);
        let mut normal = problem.normal(
            state,
            &rows,
            &self.active,
            Weighing::LeastSquares,
            self.noise,
        );
        let predictor = Predictor::new(&problem.layout, state);
        for mark in marks {
            let prediction = predictor.predict(&mark.pair);
            let place = Vector2::new(mark.pair.render.x, mark.pair.render.y);
            let residual = mark.normal.dot(&(place - prediction.model));
            let weight = share * mark.weight / (1.0 + (residual / reach_px).powi(2)).powi(2);
            let by_global: DVector<f64> = prediction.by_global.tr_mul(&mark.normal);
            let by_region = prediction.by_region.map(|d| d.tr_mul(&mark.normal));
            normal.add(
                &by_global,
                mark.pair.region.zip(by_region.as_ref()),
                weight,
                residual,
            );
        }
        normal
    }

    /// This adjustment with other errors for its regions: where a search starts again.
    pub(crate) fn with_regions(&self, regions: &[Option<RegionErrors>]) -> Self {
        let mut next = self.clone();
        for (errors, new) in next.solved.state.regions.iter_mut().zip(regions) {
            if let Some(new) = new {
                *errors = *new;
            }
        }
        next.solved.rows = next.problem.rows(&next.solved.state, next.noise);
        next
    }

    /// How far the reference's camera sees a point elsewhere than the render's would, render pixels.
    pub(crate) fn shift_of(&self, space: Option<[f64; 3]>) -> Vector2<f64> {
        match (&self.problem.layout.parallax, space) {
            (Some(parallax), Some(space)) => parallax.shift(space, &self.solved.state.shift),
            _ => Vector2::zeros(),
        }
    }

    /// Where the subject, seen by the render's camera, has the point that the model shows at `place`.
    pub(crate) fn subject_of(&self, place: Vector2<f64>, region: Option<usize>) -> Vector2<f64> {
        match region {
            Some(j) => SubjectPoint::new(&self.region(j), self.problem.layout.anchors[j]).of(place),
            None => place,
        }
    }
}

/// The inverse of [`RegionErrors::apply`]: from a point of the model to that of the subject.
#[derive(Clone, Copy, Debug)]
pub(crate) struct SubjectPoint {
    linear: nalgebra::Matrix2<f64>,
    anchor: Vector2<f64>,
    from: Vector2<f64>,
}

impl SubjectPoint {
    pub(crate) fn new(errors: &RegionErrors, anchor: Vector2<f64>) -> Self {
        let (s, c) = errors.rotation.sin_cos();
        let (w, h) = (1.0 / (1.0 + errors.width), 1.0 / (1.0 + errors.height));
        Self {
            linear: nalgebra::Matrix2::new(c * w, s * w, -s * h, c * h),
            anchor,
            from: anchor - Vector2::from(errors.offset),
        }
    }

    pub(crate) fn of(&self, place: Vector2<f64>) -> Vector2<f64> {
        self.linear * (place - self.anchor) + self.from
    }
}

impl Problem {
    /// The place on the model of a point of the render on region `j`: a plane through the places of the region's
    /// landmarks, tilted no more than they ask for. `None` where none of them has a place.
    pub(crate) fn space_of(&self, landmarks: &[usize], place: Vector2<f64>) -> Option<[f64; 3]> {
        let known: Vec<(Vector2<f64>, [f64; 3])> = landmarks
            .iter()
            .filter_map(|&i| {
                let pair = &self.pairs[i];
                Some((Vector2::new(pair.render.x, pair.render.y), pair.space?))
            })
            .collect();
        if known.is_empty() {
            return None;
        }
        let centre = known.iter().map(|(p, _)| p).sum::<Vector2<f64>>() / known.len() as f64;
        let row = |p: Vector2<f64>| {
            let d = (p - centre) / 100.0;
            nalgebra::Vector3::new(1.0, d.x, d.y)
        };
        let mut normal =
            nalgebra::Matrix3::from_diagonal(&nalgebra::Vector3::new(1e-6, 0.05, 0.05));
        let mut right = nalgebra::Matrix3::zeros();
        for (p, space) in &known {
            let r = row(*p);
            normal += r * r.transpose();
            right += r * nalgebra::RowVector3::from(*space);
        }
        let plane = normal.try_inverse()? * right;
        let at = plane.transpose() * row(place);
        Some([at.x, at.y, at.z])
    }
}

impl Adjustment {
    /// What the depth of a part that has no landmarks with a place may do to its offset where the reference's camera
    /// stands elsewhere, render pixels in x and y: how far, root mean square, landmarks lie off the place that their
    /// neighbours in the picture would give them. Zero where the part's depth is known or the camera is the same.
    pub(crate) fn unknown_depth(&self, landmarks: &[usize]) -> [f64; 2] {
        let pairs = &self.problem.pairs;
        let known = landmarks.iter().any(|&i| pairs[i].space.is_some());
        if known || self.problem.layout.parallax.is_none() {
            return [0.0; 2];
        }
        let every: Vec<usize> = (0..pairs.len()).collect();
        let off: Vec<Vector2<f64>> = pairs
            .iter()
            .filter(|pair| pair.space.is_some())
            .map(|pair| {
                let place = Vector2::new(pair.render.x, pair.render.y);
                let guess = self.problem.space_of(&every, place);
                self.shift_of(pair.space) - self.shift_of(guess)
            })
            .collect();
        let mean_square =
            |k: usize| off.iter().map(|d| d[k] * d[k]).sum::<f64>() / off.len().max(1) as f64;
        [0, 1].map(|k| mean_square(k).sqrt())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_subject_point_is_where_the_errors_lead_from() {
        let errors = RegionErrors {
            width: 0.05,
            height: -0.03,
            rotation: 0.04,
            offset: [6.0, -2.0],
        };
        let anchor = Vector2::new(300.0, 200.0);
        let place = Vector2::new(350.0, 140.0);
        let subject = SubjectPoint::new(&errors, anchor).of(place);
        assert!((errors.apply(anchor, subject) - place).norm() < 1e-10);
        let at_anchor = SubjectPoint::new(&errors, anchor).of(anchor);
        assert!(
            (anchor - at_anchor - Vector2::from(errors.offset)).norm() < 1e-12,
            "model minus subject"
        );
    }
}
