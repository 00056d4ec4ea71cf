//! The adjustment of one camera by marks and by what is known beforehand: Levenberg-Marquardt on orthogonal triangles.
//!
//! # Source
//! K. Levenberg (1944), D. Marquardt (1963); least squares by Householder's triangles, G. Golub and C. Van Loan, "Matrix
//! Computations" (4th ed., 2013), section 5.3: a focal length that is stated to nine digits would take all digits from
//! normal equations.
use super::{
    camera::{self, Beyond, ByNumbers, Camera, LEAST_LOG, Step, at, see},
    photo::Beforehand,
    settings::SPACE,
};
use nalgebra::{DMatrix, DVector, Matrix2, Vector2, Vector3};

/// Trials of one step, each damped ten times more.
const MOST_TRIALS: usize = 10;
/// A triangle whose diagonal falls below this part of its largest entry determines nothing.
const SINGULAR: f64 = 1e-11;

/// A mark of the problem, normalised.
#[derive(Clone, Debug)]
pub(super) struct Mark {
    pub(super) point: Vector3<f64>,
    pub(super) mark: Vector2<f64>,
    /// Standard deviation of the place on the model, sizes of the datum.
    pub(super) place_sigma: f64,
}

/// Marks that carry a camera.
#[derive(Clone, Debug)]
pub(super) struct Problem {
    pub(super) marks: Vec<Mark>,
    pub(super) known: Beforehand,
    /// Half sides of the picture.
    pub(super) half: [f64; 2],
    /// Standard deviation of a mark before its factor, half diagonals of the photo.
    pub(super) sigma: f64,
}

/// How residuals are weighed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Weighing {
    LeastSquares,
    /// Cauchy's weights.
    Robust,
}

/// What is solved for, and how far.
#[derive(Clone, Copy, Debug)]
pub(super) struct Plan<'a> {
    /// Marks that take part.
    pub(super) kept: &'a [bool],
    pub(super) weighing: Weighing,
    /// Factor on the deviation of marks.
    pub(super) factor: f64,
    pub(super) steps: usize,
    /// Gain of the cost below which it is at rest.
    pub(super) rest: f64,
}

impl<'a> Plan<'a> {
    pub(super) fn least_squares(kept: &'a [bool], factor: f64) -> Self {
        Self {
            kept,
            weighing: Weighing::LeastSquares,
            factor,
            steps: 60,
            rest: 1e-10,
        }
    }

    pub(super) fn robust(kept: &'a [bool], factor: f64) -> Self {
        Self {
            kept,
            weighing: Weighing::Robust,
            factor,
            steps: 15,
            rest: 1e-4,
        }
    }
}

/// A mark as a camera shows it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Row {
    /// Mark minus prediction.
    pub(super) residual: Vector2<f64>,
    pub(super) by_numbers: ByNumbers,
    /// Covariance of the residual.
    pub(super) covariance: Matrix2<f64>,
}

impl Row {
    /// The squared residual in its deviations.
    pub(super) fn square(&self) -> f64 {
        whitened(&self.covariance).map_or(f64::INFINITY, |w| (w * self.residual).norm_squared())
    }
}

/// A solved camera.
#[derive(Clone, Debug)]
pub(super) struct Solved {
    pub(super) camera: Camera,
    /// Of all marks, those that take no part too.
    pub(super) rows: Vec<Row>,
    pub(super) cost: f64,
    /// `covariance = root * root'` of the numbers, by least squares.
    pub(super) root: DMatrix<f64>,
}

impl Solved {
    /// Covariance of two numbers.
    pub(super) fn covariance(&self, i: usize, j: usize) -> f64 {
        self.root.row(i).dot(&self.root.row(j))
    }

    /// Covariance of a mark's prediction.
    pub(super) fn of_prediction(&self, row: &Row) -> Matrix2<f64> {
        let n = self.root.nrows();
        let spread = row.by_numbers.columns(0, n) * &self.root;
        let product = &spread * spread.transpose();
        Matrix2::new(
            product[(0, 0)],
            product[(0, 1)],
            product[(1, 0)],
            product[(1, 1)],
        )
    }

    /// The cost, with what a reversed depth misses 0 by: a plane has an exact twin there.
    pub(super) fn judged_cost(&self) -> f64 {
        let q = self.camera.perspective.min(0.0);
        let variance = self.covariance(at::PERSPECTIVE, at::PERSPECTIVE);
        self.cost + q * q / variance.max(1e-12)
    }
}

/// Upper triangle `w` with `w' w` the inverse of the covariance.
pub(super) fn whitened(covariance: &Matrix2<f64>) -> Option<Matrix2<f64>> {
    let inverse = covariance.try_inverse()?;
    inverse.cholesky().map(|c| c.l().transpose())
}

/// Rows of the linear problem, by numbers and right side.
pub(super) struct Linear {
    matrix: DMatrix<f64>,
    right: DVector<f64>,
    used: usize,
}

impl Linear {
    pub(super) fn new(rows: usize, columns: usize) -> Self {
        Self {
            matrix: DMatrix::zeros(rows, columns),
            right: DVector::zeros(rows),
            used: 0,
        }
    }

    /// One number observed `off` from where it is.
    fn observe(&mut self, entries: &[(usize, f64)], off: f64, deviation: f64) {
        for &(column, value) in entries {
            self.matrix[(self.used, column)] = value / deviation;
        }
        self.right[self.used] = off / deviation;
        self.used += 1;
    }

    pub(super) fn square(&self) -> f64 {
        self.right.rows(0, self.used).norm_squared()
    }

    /// The rows so far: by numbers, and the right side.
    pub(super) fn used_rows(&self) -> (DMatrix<f64>, DVector<f64>) {
        (
            self.matrix.rows(0, self.used).into_owned(),
            self.right.rows(0, self.used).into_owned(),
        )
    }
}

impl Problem {
    /// All marks as a camera shows them; `None` where it does not show one of them that is `kept`.
    pub(super) fn rows(&self, camera: &Camera, kept: &[bool], factor: f64) -> Option<Vec<Row>> {
        let beyond = Beyond::new(camera, self.half)?;
        let each = self.marks.iter().zip(kept).map(|(mark, &is_kept)| {
            let Some(seen) = see(camera, &beyond, &mark.point) else {
                return (!is_kept).then(Row::hidden);
            };
            let noise = Matrix2::identity() * (self.sigma * factor).powi(2);
            let place = seen.by_point * seen.by_point.transpose() * mark.place_sigma.powi(2);
            Some(Row {
                residual: mark.mark - seen.place,
                by_numbers: seen.by_numbers,
                covariance: noise + place,
            })
        });
        each.collect()
    }

    /// What is known of the camera beforehand, as rows.
    pub(super) fn observations(&self, camera: &Camera, linear: &mut Linear, factor: f64) {
        let known = &self.known;
        for k in 0..2 {
            let seen = known.principal[k];
            let off = seen.value - camera.principal[k];
            linear.observe(&[(at::PRINCIPAL + k, 1.0)], off, seen.deviation);
        }
        let off = known.lens.value - camera.lens;
        linear.observe(&[(at::LENS, 1.0)], off, known.lens.deviation);
        let off = known.perspective.value - camera.perspective;
        linear.observe(&[(at::PERSPECTIVE, 1.0)], off, known.perspective.deviation);
        if let Some(seen) = known.log_focal {
            let q = camera.perspective.max(LEAST_LOG);
            let off = seen.value - (camera.log_scale - q.ln());
            let entries = [(at::LOG_SCALE, 1.0), (at::PERSPECTIVE, -1.0 / q)];
            linear.observe(&entries, off, seen.deviation);
        }
        if let (Some(seen), Some(corners)) = (&known.corners, &camera.corners) {
            let times = if seen.is_of_marks { factor } else { 1.0 };
            for k in 0..8 {
                let off = seen.places[k / 2][k % 2] - corners[k / 2][k % 2];
                linear.observe(&[(at::CORNERS + k, 1.0)], off, seen.deviation * times);
            }
        }
    }

    /// The linear problem at a camera, and its cost.
    fn linear(&self, camera: &Camera, plan: &Plan<'_>) -> Option<(Linear, Vec<Row>, f64)> {
        let rows = self.rows(camera, plan.kept, plan.factor)?;
        let n = camera.count();
        let mut linear = Linear::new(14 + 2 * rows.len(), n);
        self.observations(camera, &mut linear, plan.factor);
        let mut cost = linear.square();
        let c2 = SPACE.robust_constant.get().powi(2);
        for (row, _) in rows.iter().zip(plan.kept).filter(|(_, kept)| **kept) {
            let white = whitened(&row.covariance)?;
            let residual = white * row.residual;
            let square = residual.norm_squared();
            let weight = match plan.weighing {
                Weighing::LeastSquares => {
                    cost += square;
                    1.0
                }
                Weighing::Robust => {
                    cost += c2 * (square / c2).ln_1p();
                    (1.0 / (1.0 + square / c2)).sqrt()
                }
            };
            let scaled = white * row.by_numbers.columns(0, n) * weight;
            linear.matrix.rows_mut(linear.used, 2).copy_from(&scaled);
            linear
                .right
                .rows_mut(linear.used, 2)
                .copy_from(&(residual * weight));
            linear.used += 2;
        }
        cost.is_finite().then_some((linear, rows, cost))
    }

    /// The camera of least cost near `start`; `None` where the start shows not all marks, or nothing is determined.
    pub(super) fn solve(&self, start: &Camera, plan: &Plan<'_>) -> Option<Solved> {
        let mut camera = *start;
        let (mut linear, mut rows, mut cost) = self.linear(&camera, plan)?;
        let mut damping = 0.0;
        for _ in 0..plan.steps {
            let triangle = Triangle::new(&linear)?;
            let mut better = None;
            for _ in 0..MOST_TRIALS {
                let moved = triangle.step(damping).map(|step| camera.moved(&step));
                let tried = moved.and_then(|moved| Some((moved, self.linear(&moved, plan)?)));
                if let Some((moved, found)) = tried
                    && found.2 <= cost * (1.0 + 1e-13) + 1e-13
                {
                    better = Some((moved, found));
                    break;
                }
                damping = (damping * 10.0_f64).max(1e-4);
            }
            let Some((moved, found)) = better else { break };
            let gain = cost - found.2;
            camera = moved;
            (linear, rows, cost) = found;
            damping = if damping < 1e-5 { 0.0 } else { damping / 10.0 };
            if gain < plan.rest * (1.0 + cost) {
                break;
            }
        }
        let root = match plan.weighing {
            Weighing::LeastSquares => Triangle::new(&linear)?.root()?,
            Weighing::Robust => {
                let plain = Plan {
                    weighing: Weighing::LeastSquares,
                    ..*plan
                };
                Triangle::new(&self.linear(&camera, &plain)?.0)?.root()?
            }
        };
        Some(Solved {
            camera,
            rows,
            cost,
            root,
        })
    }
}

impl Row {
    /// Of a mark that the camera does not show: as far off as can be.
    fn hidden() -> Self {
        Self {
            residual: Vector2::repeat(1e3),
            by_numbers: ByNumbers::zeros(),
            covariance: Matrix2::identity() * 1e-6,
        }
    }
}

/// The orthogonal triangle of a linear problem, its columns scaled to length 1.
struct Triangle {
    upper: DMatrix<f64>,
    right: DVector<f64>,
    lengths: DVector<f64>,
}

impl Triangle {
    fn new(linear: &Linear) -> Option<Self> {
        let n = linear.matrix.ncols();
        let mut matrix = linear.matrix.rows(0, linear.used).into_owned();
        if linear.used < n {
            return None;
        }
        let lengths = DVector::from_fn(n, |k, _| matrix.column(k).norm().max(1e-300));
        for (k, mut column) in matrix.column_iter_mut().enumerate() {
            column /= lengths[k];
        }
        let mut right = linear.right.rows(0, linear.used).into_owned();
        let qr = matrix.qr();
        qr.q_tr_mul(&mut right);
        Some(Self {
            upper: qr.r(),
            right: right.rows(0, n).into_owned(),
            lengths,
        })
    }

    /// The step with this damping.
    fn step(&self, damping: f64) -> Option<Step> {
        let n = self.upper.ncols();
        let scaled = if damping == 0.0 {
            self.is_regular().then_some(())?;
            self.upper.solve_upper_triangular(&self.right)?
        } else {
            let mut matrix = DMatrix::zeros(2 * n, n);
            matrix.rows_mut(0, n).copy_from(&self.upper);
            matrix.rows_mut(n, n).fill_diagonal(damping.sqrt());
            let mut right = DVector::zeros(2 * n);
            right.rows_mut(0, n).copy_from(&self.right);
            let qr = matrix.qr();
            qr.q_tr_mul(&mut right);
            qr.r()
                .solve_upper_triangular(&right.rows(0, n).into_owned())?
        };
        let mut step = Step::zeros();
        for k in 0..n {
            step[k] = scaled[k] / self.lengths[k];
        }
        step.iter().all(|v| v.is_finite()).then_some(step)
    }

    fn is_regular(&self) -> bool {
        let diagonal = self.upper.diagonal().abs();
        diagonal.min() > SINGULAR * diagonal.max()
    }

    /// `root * root'` is the covariance of the numbers.
    fn root(&self) -> Option<DMatrix<f64>> {
        let n = self.upper.ncols();
        self.is_regular().then_some(())?;
        let mut root = self
            .upper
            .solve_upper_triangular(&DMatrix::identity(n, n))?;
        for (k, mut row) in root.row_iter_mut().enumerate() {
            row /= self.lengths[k];
        }
        root.iter().all(|v| v.is_finite()).then_some(root)
    }
}

/// Predictions of a point that is no mark.
pub(super) fn predicted(
    camera: &Camera,
    half: [f64; 2],
    point: &Vector3<f64>,
) -> Option<camera::Seen> {
    see(camera, &Beyond::new(camera, half)?, point)
}
