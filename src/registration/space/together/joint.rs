//! One adjustment of all cameras and all parts: Levenberg-Marquardt on reduced normal equations.
//!
//! # Source
//! K. Levenberg (1944), D. Marquardt (1963); the reduction in [`super::normal`]. What is stated sharper than
//! [`SHARPEST`] is taken as that sharp: normal equations square what lies between it and a mark.
use super::{
    edge_marks::JointEdges,
    normal::{Normal, Spread},
    part::{NINE, Nine, PartFrame, Placing, moved, on_subject},
    ties::{JointLength, JointMirror},
};
use crate::registration::space::{
    camera::{Beyond, ByNumbers, Camera, LEAST_LOG, Step, at, see},
    photo::Units,
    settings::SPACE,
    solving::{Linear, Problem, Weighing, whitened},
};
use nalgebra::{Matrix2, SMatrix, Vector2, Vector3};

/// Trials of one step, each damped ten times more.
const MOST_TRIALS: usize = 10;
/// Deviation of what is tied or stated exactly: of a logarithm, or half diagonals.
pub(super) const SHARPEST: f64 = 1e-6;
/// Rows that observations of one camera take at most.
const OWN_ROWS: usize = 14;

/// A mark in one of the photos.
#[derive(Clone, Debug)]
pub(super) struct JointMark {
    pub(super) photo: usize,
    /// Its number in its photo.
    pub(super) own: usize,
    /// The part it lies on; `None`: on what carries the cameras.
    pub(super) part: Option<usize>,
    /// The part of a mark of the datum, where it is known.
    pub(super) datum_part: Option<usize>,
    /// Place on the model, millimetres, and its standard deviation along each axis.
    pub(super) place: Vector3<f64>,
    pub(super) place_sigma: f64,
    /// Half diagonals of its photo.
    pub(super) mark: Vector2<f64>,
}

/// One photo of several.
#[derive(Clone, Debug)]
pub(super) struct JointPhoto {
    pub(super) units: Units,
    /// What is known of its camera; its marks stand in [`Joint::marks`].
    pub(super) problem: Problem,
    /// Where its numbers stand among those of the whole, and how many they are.
    pub(super) first: usize,
    pub(super) count: usize,
    /// Whether the deviation of its marks is stated.
    pub(super) is_stated: bool,
}

/// A part, and what is expected of its errors.
#[derive(Clone, Debug)]
pub(super) struct JointPart {
    pub(super) frame: PartFrame,
    pub(super) expected: Nine,
    /// Where its numbers stand among those of the cameras, where something ties it to other parts.
    pub(super) first: Option<usize>,
}

/// All that is adjusted together.
#[derive(Clone, Debug)]
pub(super) struct Joint {
    pub(super) photos: Vec<JointPhoto>,
    pub(super) parts: Vec<JointPart>,
    pub(super) marks: Vec<JointMark>,
    /// Photos of one camera.
    pub(super) ties: Vec<[usize; 2]>,
    /// Known lengths, and errors that mirror each other.
    pub(super) lengths: Vec<JointLength>,
    pub(super) mirrors: Vec<JointMirror>,
    /// Places on edges of the model that the photos have.
    pub(super) edges: Vec<JointEdges>,
    /// Where the logarithm of the subject's size stands, in what the model's scale makes it, where a length tells it.
    pub(super) scale_at: Option<usize>,
    /// How many numbers cameras, parts that are tied and the scale have; [`Joint::lay_out`] counts them.
    pub(super) numbers: usize,
}

/// Cameras and errors of parts.
#[derive(Clone, Debug)]
pub(super) struct State {
    pub(super) cameras: Vec<Camera>,
    pub(super) errors: Vec<Nine>,
    /// Logarithm of the subject's size in what the model's scale makes it.
    pub(super) log_scale: f64,
}

/// What is solved for, and how far.
#[derive(Clone, Copy, Debug)]
pub(super) struct Plan<'a> {
    /// Marks that take part.
    pub(super) kept: &'a [bool],
    pub(super) weighing: Weighing,
    /// Factor on the deviation of marks, each photo's.
    pub(super) factors: &'a [f64],
    pub(super) steps: usize,
}

/// A mark as its camera shows it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Row {
    /// Mark minus prediction.
    pub(super) residual: Vector2<f64>,
    by_camera: ByNumbers,
    /// By the errors of the part in what is expected of them.
    by_part: SMatrix<f64, 2, NINE>,
    /// Covariance of the mark.
    pub(super) covariance: Matrix2<f64>,
}

/// A solution.
#[derive(Clone, Debug)]
pub(super) struct Solved {
    pub(super) state: State,
    /// Of all marks, those that take no part too.
    pub(super) rows: Vec<Row>,
    pub(super) cost: f64,
    /// By least squares; errors of parts in what is expected of them.
    pub(super) spread: Spread,
}

impl Solved {
    /// Covariance of a mark's prediction.
    pub(super) fn of_prediction(&self, joint: &Joint, mark: &JointMark, row: &Row) -> Matrix2<f64> {
        let photo = &joint.photos[mark.photo];
        let (first, n) = (photo.first, photo.count);
        let by_camera = row.by_camera.columns(0, n);
        let own = self.spread.cameras.view((first, first), (n, n));
        let mut sum = by_camera * own * by_camera.transpose();
        if let Some(part) = mark.part {
            let cross = self.spread.cross[part].columns(first, n);
            let mixed = row.by_part * cross * by_camera.transpose();
            let other = mixed.transpose();
            sum += mixed + other;
            sum += row.by_part * self.spread.parts[part] * row.by_part.transpose();
        }
        Matrix2::new(sum[(0, 0)], sum[(0, 1)], sum[(1, 0)], sum[(1, 1)])
    }
}

impl Row {
    /// Of a mark that the camera does not show: as far off as can be.
    fn hidden() -> Self {
        Self {
            residual: Vector2::repeat(1e3),
            by_camera: ByNumbers::zeros(),
            by_part: SMatrix::zeros(),
            covariance: Matrix2::identity() * 1e-6,
        }
    }
}

impl Joint {
    fn row(&self, mark: &JointMark, state: &State, beyond: &Beyond, factor: f64) -> Option<Row> {
        let photo = &self.photos[mark.photo];
        let (place, by_errors) = match mark.part {
            None => (mark.place, None),
            Some(part) => {
                let own = &self.parts[part];
                let (place, slopes) = on_subject(&mark.place, &own.frame, &state.errors[part]);
                let scaled = slopes * SMatrix::<f64, NINE, NINE>::from_diagonal(&own.expected);
                (place, Some(scaled))
            }
        };
        let point = (place - photo.units.middle) / photo.units.size;
        let seen = see(&state.cameras[mark.photo], beyond, &point)?;
        let by_place = seen.by_point / photo.units.size;
        let noise = Matrix2::identity() * (photo.problem.sigma * factor).powi(2);
        Some(Row {
            residual: mark.mark - seen.place,
            by_camera: seen.by_numbers,
            by_part: by_errors.map_or_else(SMatrix::zeros, |slopes| by_place * slopes),
            covariance: noise + by_place * by_place.transpose() * mark.place_sigma.powi(2),
        })
    }

    /// What lies between the pictures of all cameras and their photos.
    pub(super) fn beyond(&self, state: &State) -> Option<Vec<Beyond>> {
        let cameras = self.photos.iter().zip(&state.cameras);
        cameras
            .map(|(photo, camera)| Beyond::new(camera, photo.problem.half))
            .collect()
    }

    /// How a part is placed in a state.
    pub(super) fn placing(&self, part: usize, state: &State) -> Placing {
        Placing::new(&self.parts[part].frame, &state.errors[part])
    }

    /// All marks as the cameras show them; `None` where one that is `kept` is not shown.
    fn rows(&self, state: &State, plan: &Plan<'_>) -> Option<Vec<Row>> {
        let beyond = self.beyond(state)?;
        let each = self.marks.iter().zip(plan.kept).map(|(mark, &is_kept)| {
            let row = self.row(mark, state, &beyond[mark.photo], plan.factors[mark.photo]);
            row.or_else(|| (!is_kept).then(Row::hidden))
        });
        each.collect()
    }

    /// What is known of the cameras beforehand, added to the equations; its cost.
    fn observe(&self, state: &State, plan: &Plan<'_>, normal: &mut Normal) -> f64 {
        let mut cost = 0.0;
        for ((photo, camera), factor) in self.photos.iter().zip(&state.cameras).zip(plan.factors) {
            let mut linear = Linear::new(OWN_ROWS, photo.count);
            photo.problem.observations(camera, &mut linear, *factor);
            cost += linear.square();
            let (matrix, right) = linear.used_rows();
            let block = matrix.transpose() * &matrix;
            let mut own = normal
                .cameras
                .view_mut((photo.first, photo.first), (photo.count, photo.count));
            own += block;
            let mut own = normal.right.rows_mut(photo.first, photo.count);
            own += matrix.transpose() * right;
        }
        for tie in &self.ties {
            cost += self.tie(tie, state, normal);
        }
        cost
    }

    /// Focal length, principal point and lens of two photos of one camera are the same; the cost.
    fn tie(&self, tie: &[usize; 2], state: &State, normal: &mut Normal) -> f64 {
        let cameras = tie.map(|k| &state.cameras[k]);
        let focal = cameras.map(|camera| {
            let q = camera.perspective.max(LEAST_LOG);
            let slopes = vec![(at::LOG_SCALE, 1.0), (at::PERSPECTIVE, -1.0 / q)];
            (camera.log_scale - q.ln(), slopes)
        });
        let single = |value: fn(&Camera) -> f64, at: usize| {
            cameras.map(|camera| (value(camera), vec![(at, 1.0)]))
        };
        let tied = [
            focal,
            single(|c| c.principal.x, at::PRINCIPAL),
            single(|c| c.principal.y, at::PRINCIPAL + 1),
            single(|c| c.lens, at::LENS),
        ];
        let mut cost = 0.0;
        for [one, other] in tied {
            let off = (other.0 - one.0) / SHARPEST;
            let columns = |k: usize, sign: f64, slopes: &[(usize, f64)]| -> Vec<(usize, f64)> {
                let first = self.photos[tie[k]].first;
                let scaled = slopes.iter();
                scaled
                    .map(|&(at, v)| (first + at, sign * v / SHARPEST))
                    .collect()
            };
            let mut row = columns(0, 1.0, &one.1);
            row.extend(columns(1, -1.0, &other.1));
            for &(i, a) in &row {
                normal.right[i] += a * off;
                for &(j, b) in &row {
                    normal.cameras[(i, j)] += a * b;
                }
            }
            cost += off * off;
        }
        cost
    }

    /// The equations about a state, all rows, and the cost; `None` where a mark that takes part is not shown.
    pub(super) fn linear(&self, state: &State, plan: &Plan<'_>) -> Option<(Normal, Vec<Row>, f64)> {
        let rows = self.rows(state, plan)?;
        let mut normal = Normal::zeros(self.numbers, self.parts.len());
        let mut cost = self.observe(state, plan, &mut normal);
        cost += self.observe_beside(state, plan.weighing, &mut normal)?;
        cost += self.observe_edges(state, &mut normal)?;
        for ((block, part), errors) in normal.parts.iter_mut().zip(&self.parts).zip(&state.errors) {
            if part.first.is_some() {
                // Nothing of it is eliminated.
                block.own = SMatrix::identity();
                continue;
            }
            let expected = errors.component_div(&part.expected);
            block.own += SMatrix::<f64, NINE, NINE>::identity();
            block.right -= expected;
            cost += expected.norm_squared();
        }
        let c2 = SPACE.robust_constant.get().powi(2);
        for ((mark, row), _) in self
            .marks
            .iter()
            .zip(&rows)
            .zip(plan.kept)
            .filter(|(_, k)| **k)
        {
            let white = whitened(&row.covariance)?;
            let square = (white * row.residual).norm_squared();
            let weight = match plan.weighing {
                Weighing::LeastSquares => {
                    cost += square;
                    1.0
                }
                Weighing::Robust => {
                    cost += c2 * (square / c2).ln_1p();
                    1.0 / (1.0 + square / c2)
                }
            };
            self.add(
                &mut normal,
                mark,
                row,
                &(white.transpose() * white * weight),
            );
        }
        cost.is_finite().then_some((normal, rows, cost))
    }

    fn add(&self, normal: &mut Normal, mark: &JointMark, row: &Row, weight: &Matrix2<f64>) {
        let photo = &self.photos[mark.photo];
        let (first, n) = (photo.first, photo.count);
        let by_camera = row.by_camera.columns(0, n);
        let weighed = by_camera.transpose() * weight;
        let mut own = normal.cameras.view_mut((first, first), (n, n));
        own += &weighed * by_camera;
        let mut right = normal.right.rows_mut(first, n);
        right += &weighed * row.residual;
        let Some(part) = mark.part else { return };
        let weighed = row.by_part.transpose() * weight;
        if let Some(at) = self.parts[part].first {
            let mut own = normal.cameras.fixed_view_mut::<NINE, NINE>(at, at);
            own += weighed * row.by_part;
            let mut right = normal.right.fixed_rows_mut::<NINE>(at);
            right += weighed * row.residual;
            let with = weighed * by_camera;
            let mut below = normal.cameras.view_mut((at, first), (NINE, n));
            below += &with;
            let mut beside = normal.cameras.view_mut((first, at), (n, NINE));
            beside += with.transpose();
            return;
        }
        let block = &mut normal.parts[part];
        block.own += weighed * row.by_part;
        block.right += weighed * row.residual;
        let mut with = block.with.columns_mut(first, n);
        with += weighed * by_camera;
    }

    /// The state after a step.
    fn moved(&self, state: &State, normal: &Normal, damping: f64) -> Option<State> {
        let steps = normal.steps(damping)?;
        let cameras = self
            .photos
            .iter()
            .zip(&state.cameras)
            .map(|(photo, camera)| {
                let mut step = Step::zeros();
                step.rows_mut(0, photo.count)
                    .copy_from(&steps.cameras.rows(photo.first, photo.count));
                camera.moved(&step)
            });
        let parts = self.parts.iter().zip(&state.errors).zip(&steps.parts);
        Some(State {
            cameras: cameras.collect(),
            errors: parts
                .map(|((part, errors), step)| {
                    let tied = part
                        .first
                        .map(|at| steps.cameras.fixed_rows::<NINE>(at).into_owned());
                    moved(
                        errors,
                        &tied.as_ref().unwrap_or(step).component_mul(&part.expected),
                    )
                })
                .collect(),
            log_scale: state.log_scale + self.scale_at.map_or(0.0, |at| steps.cameras[at]),
        })
    }

    /// The state of least cost near `start`; `None` where the start shows not all marks, or something is not determined.
    pub(super) fn solve(&self, start: &State, plan: &Plan<'_>) -> Option<Solved> {
        let mut state = start.clone();
        let (mut normal, mut rows, mut cost) = self.linear(&state, plan)?;
        let mut damping = 0.0;
        let rest = match plan.weighing {
            Weighing::LeastSquares => 1e-9,
            Weighing::Robust => 1e-4,
        };
        for _ in 0..plan.steps {
            let mut better = None;
            for _ in 0..MOST_TRIALS {
                let moved = self.moved(&state, &normal, damping);
                let tried = moved.and_then(|moved| Some((self.linear(&moved, plan)?, moved)));
                if let Some((found, moved)) = tried
                    && found.2 <= cost * (1.0 + 1e-12) + 1e-12
                {
                    better = Some((found, moved));
                    break;
                }
                damping = (damping * 10.0_f64).max(1e-4);
            }
            let Some((found, moved)) = better else { break };
            let gain = cost - found.2;
            state = moved;
            (normal, rows, cost) = found;
            damping = if damping < 1e-5 { 0.0 } else { damping / 10.0 };
            if gain < rest * (1.0 + cost) {
                break;
            }
        }
        let plain = Plan {
            weighing: Weighing::LeastSquares,
            ..*plan
        };
        let spread = match plan.weighing {
            Weighing::LeastSquares => self.spread(&normal)?,
            Weighing::Robust => self.spread(&self.linear(&state, &plain)?.0)?,
        };
        Some(Solved {
            state,
            rows,
            cost,
            spread,
        })
    }
}
