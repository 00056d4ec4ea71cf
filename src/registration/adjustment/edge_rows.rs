//! Edges as further observations of the adjustment: a point of a render's edge, found again in the reference, is a
//! landmark that is known across the edge only.
use super::{
    adjusted::Adjustment,
    model::{Pair, Predictor, RegionErrors, State},
    normal::{Normal, Vector5},
    solving::{AT_REST_PX, Convergence, Problem, Row, Solved, Weighing},
};
use nalgebra::{DMatrix, DVector, Vector2};

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

/// One edge mark as an observation.
struct EdgeRow {
    place: Vector2<f64>,
    normal: Vector2<f64>,
    datum_part: Option<usize>,
    residual: f64,
    weight: f64,
    by_global: DVector<f64>,
    /// The region whose errors move it, and how.
    by_region: Option<(usize, Vector5)>,
}

/// What there is to observe at one state.
struct Seen {
    landmarks: Vec<Row>,
    edges: Vec<EdgeRow>,
}

/// How far a solution with edges is taken with the same found places.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Settling {
    /// They are looked for again afterwards: a few Gauss-Newton steps do.
    LookedAgain,
    /// They are not: until it rests. Weights that follow the residuals bring it there by a constant factor a step.
    AtRest,
}

/// Steps that are always made.
const STEPS: usize = 3;
/// Most steps to rest.
const MOST_STEPS: usize = 30;

impl Adjustment {
    /// This adjustment with edge marks beside the landmarks. Marks that lie far off, in units of `reach_px` (render
    /// pixels), count little: weight `1 / (1 + (r / reach)^2)^2` (Geman and McClure 1987). Deviations are reckoned with
    /// `share` of their weight. `None` where the normal equations cannot be solved.
    pub(crate) fn with_edges(
        &self,
        marks: &[EdgeMark],
        reach_px: f64,
        (settling, share): (Settling, f64),
    ) -> Option<Self> {
        let most_steps = match settling {
            Settling::LookedAgain => STEPS,
            Settling::AtRest => MOST_STEPS,
        };
        let mut state = self.solved.state.clone();
        let (mut steps, mut last_step_px) = (0, f64::INFINITY);
        let mut seen = self.seen_at(&state, marks, reach_px);
        while steps < STEPS || (steps < most_steps && last_step_px >= AT_REST_PX) {
            let (global, regions) = self.normal_of(&state, &seen, 1.0).solve(0.0)?;
            last_step_px = global.amax();
            state = state.changed(&self.problem.layout, global.as_slice(), &regions)?;
            seen = self.seen_at(&state, marks, reach_px);
            steps += 1;
        }
        let mut covariance = self.normal_of(&state, &seen, share).covariance()?;
        covariance.datum_root = self.datum_root(&state, &seen)?;
        Some(Self {
            solved: Solved {
                state,
                rows: seen.landmarks,
                covariance,
                convergence: Convergence {
                    is_reached: last_step_px < AT_REST_PX,
                    steps,
                    last_step_px,
                },
            },
            ..self.clone()
        })
    }

    /// What landmarks and edge marks observe at `state`.
    fn seen_at(&self, state: &State, marks: &[EdgeMark], reach_px: f64) -> Seen {
        let predictor = Predictor::new(&self.problem.layout, state);
        let edge = |mark: &EdgeMark| {
            let prediction = predictor.predict(&mark.pair);
            let place = Vector2::new(mark.pair.render.x, mark.pair.render.y);
            let residual = mark.normal.dot(&(place - prediction.model));
            EdgeRow {
                place,
                normal: mark.normal,
                datum_part: mark.pair.datum_part(),
                residual,
                weight: mark.weight / (1.0 + (residual / reach_px).powi(2)).powi(2),
                by_global: prediction.by_global.tr_mul(&mark.normal),
                by_region: (mark.pair.region)
                    .zip(prediction.by_region.map(|d| d.tr_mul(&mark.normal))),
            }
        };
        Seen {
            landmarks: self.problem.rows(state, self.noise),
            edges: marks.iter().map(edge).collect(),
        }
    }

    /// The edge marks have `share` of their weight.
    fn normal_of(&self, state: &State, seen: &Seen, share: f64) -> Normal {
        let mut normal = self.problem.normal(
            state,
            &seen.landmarks,
            &self.active,
            Weighing::LeastSquares,
            self.noise,
        );
        for row in &seen.edges {
            let by_region = row.by_region.as_ref().map(|(j, d)| (*j, d));
            normal.add(&row.by_global, by_region, share * row.weight, row.residual);
        }
        normal
    }

    /// What the datum parts' own errors do to a solution by marks and edges with all of their weight.
    fn datum_root(&self, state: &State, seen: &Seen) -> Option<DMatrix<f64>> {
        let mut parts = self.problem.datum_parts(&seen.landmarks, &self.active);
        for row in &seen.edges {
            if let Some(part) = row.datum_part {
                parts.add(part, &row.by_global, (row.place, row.normal), row.weight);
            }
        }
        let covariance = self.normal_of(state, seen, 1.0).covariance()?;
        Some(parts.root(&covariance.global, &self.problem.suspected))
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
    use crate::registration::adjustment::MarkNoise;
    use crate::{
        frame::{Point, truth::Errors},
        job::RegistrationKind,
        registration::invented::{ANCHOR, DATUM, in_reference, registered, right, view},
    };

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

    /// The part's box, about its anchor.
    const BOX: [[f64; 2]; 2] = [[380.0, 120.0], [560.0, 260.0]];
    const WEIGHT: f64 = 1.0;

    /// An adjustment as good as exact, of which the part has no landmarks.
    fn without_landmarks() -> Adjustment {
        let view = view(RegistrationKind::Similarity, &right(&DATUM), &[], 0.01);
        registered(&view).adjustment
    }

    /// Marks on side `side` (left, top, right, bottom) of the box of a part that has these errors, `count` along it.
    fn side(errors: Errors, side: usize, count: usize) -> Vec<EdgeMark> {
        let (across, far) = (side % 2, side / 2);
        let mut normal = Vector2::zeros();
        normal[across] = 1.0;
        let places = (0..count).map(|k| {
            let part = (k as f64 + 0.5) / count as f64;
            let mut subject = [BOX[far][across]; 2];
            let [from, to] = BOX.map(|corner| corner[1 - across]);
            subject[1 - across] = from + part * (to - from);
            subject
        });
        places
            .map(|subject| {
                let ([x, y], [u, v]) = (errors.shown(ANCHOR, subject), in_reference(subject));
                EdgeMark {
                    pair: Pair {
                        render: Point::new(x, y),
                        reference: Point::new(u, v),
                        render_noise: MarkNoise::NONE,
                        reference_noise: MarkNoise::NONE,
                        along: None,
                        space: None,
                        region: Some(0),
                        part: Some(0),
                    },
                    normal,
                    weight: WEIGHT,
                }
            })
            .collect()
    }

    fn all_around(errors: Errors, count: usize) -> Vec<EdgeMark> {
        (0..4).flat_map(|k| side(errors, k, count)).collect()
    }

    fn upright(size: [f64; 2], offset: [f64; 2]) -> Errors {
        Errors {
            size,
            rotation: 0.0,
            offset,
        }
    }

    /// Differences of width and height, as pixels at half the box, and of the offset.
    fn off(found: RegionErrors, truth: Errors) -> [f64; 4] {
        let size = |found: f64, k: usize| 90.0 * (found - truth.size[k]).abs();
        let offset = [0, 1].map(|k| (found.offset[k] - truth.offset[k]).abs());
        [
            size(found.width, 0),
            size(found.height, 1),
            offset[0],
            offset[1],
        ]
    }

    #[test]
    fn exact_edges_give_the_errors_with_many_points_and_with_one_a_side() {
        let truth = upright([0.03, -0.02], [4.0, -6.0]);
        for count in [50, 1] {
            let fitted = without_landmarks().with_edges(
                &all_around(truth, count),
                50.0,
                (Settling::LookedAgain, 0.25),
            );
            let found = fitted.expect("edges all around").region(0);
            // What is expected beforehand (60 %, 283 px) pulls by one part in ten thousand where there are four points.
            let worst = off(found, truth).into_iter().fold(0.0, f64::max);
            assert!(worst < 2e-3, "{count}: {found:?}");
            assert!(found.rotation.abs() < 1e-3, "{count}: {found:?}");
        }
    }

    #[test]
    fn without_edges_the_errors_and_their_deviations_stay() {
        let before = without_landmarks();
        let after = before
            .with_edges(&[], 5.0, (Settling::LookedAgain, 0.25))
            .expect("nothing is added");
        let deviation = |a: &Adjustment, k: usize| a.solved.covariance.regions[0][(k, k)].sqrt();
        assert_eq!(after.region(0), RegionErrors::default());
        for k in 0..5 {
            assert!((deviation(&after, k) / deviation(&before, k) - 1.0).abs() < 1e-9);
        }
    }

    #[test]
    fn edges_on_one_line_tell_nothing_along_it() {
        let truth = upright([0.0; 2], [3.0, -2.0]);
        let fitted = without_landmarks().with_edges(
            &side(truth, 1, 50),
            50.0,
            (Settling::LookedAgain, 0.25),
        );
        let fitted = fitted.expect("one side");
        let deviation = |k: usize| fitted.solved.covariance.regions[0][(k, k)].sqrt();
        // What is expected beforehand: 60 %, and 20 % of a diagonal of 1414 px.
        assert!((deviation(0) / 0.6 - 1.0).abs() < 1e-3, "{}", deviation(0));
        assert!(
            (deviation(3) / 282.8 - 1.0).abs() < 1e-2,
            "{}",
            deviation(3)
        );
        assert!(fitted.region(0).offset[0].abs() < 1e-6);
        // The side itself is where it was found.
        let at = fitted
            .region(0)
            .apply(Vector2::from(ANCHOR), Vector2::new(470.0, 120.0));
        assert!((at.y - 118.0).abs() < 1e-3, "{at}");
    }

    #[test]
    fn edges_on_one_place_count_as_one_of_their_weights_sum() {
        let truth = upright([0.0; 2], [3.0, -2.0]);
        let one = side(truth, 0, 1);
        let many = vec![one[0]; 40];
        let heavy = [EdgeMark {
            weight: 40.0 * WEIGHT,
            ..one[0]
        }];
        let fit = |marks: &[EdgeMark]| {
            without_landmarks()
                .with_edges(marks, 50.0, (Settling::LookedAgain, 0.25))
                .expect("one point")
        };
        let (many, heavy) = (fit(&many), fit(&heavy));
        for (a, b) in many
            .region(0)
            .to_array()
            .into_iter()
            .zip(heavy.region(0).to_array())
        {
            assert!((a - b).abs() < 1e-9, "{a} {b}");
        }
    }

    /// Points of another edge, which every tenth point took for its own.
    #[test]
    fn points_far_off_count_little() {
        let truth = upright([0.004, -0.004], [0.6, -0.8]);
        let mut marks = all_around(truth, 50);
        for mark in marks.iter_mut().step_by(10) {
            mark.pair.render.x += 30.0 * mark.normal.x;
            mark.pair.render.y += 30.0 * mark.normal.y;
        }
        let fitted = without_landmarks()
            .with_edges(&marks, 4.0, (Settling::LookedAgain, 0.25))
            .expect("edges all around");
        // Each weighs 1 / (1 + (30 / 4)^2)^2 = 0.0003 of a good one: 0.001 px of its 30.
        let worst = off(fitted.region(0), truth).into_iter().fold(0.0, f64::max);
        assert!(worst < 0.02, "{:?}", fitted.region(0));
    }

    #[test]
    fn a_part_moved_the_other_way_gives_the_opposite_errors() {
        let there = upright([0.0; 2], [5.0, -3.0]);
        let back = upright([0.0; 2], [-5.0, 3.0]);
        let fit = |truth: Errors| {
            let fitted = without_landmarks().with_edges(
                &all_around(truth, 20),
                50.0,
                (Settling::LookedAgain, 0.25),
            );
            fitted.expect("edges all around").region(0).offset
        };
        let (there, back) = (fit(there), fit(back));
        for k in 0..2 {
            assert!((there[k] + back[k]).abs() < 1e-3, "{there:?} {back:?}");
        }
    }
}
