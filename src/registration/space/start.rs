//! Start values: scaled orthography of subsets of the marks, with a few rounds towards perspective.
//!
//! # Source
//! D. DeMenthon and L. Davis, "Model-based object pose in 25 lines of code", International Journal of Computer Vision 15
//! (1995); planes: D. Oberkampf, D. DeMenthon and L. Davis, "Iterative pose estimation using coplanar feature points",
//! Computer Vision and Image Understanding 63 (1996): two attitudes.
use super::{camera::Camera, settings::SPACE, solving::Problem};
use crate::registration::start::subsets::subsets;
use nalgebra::{
    DMatrix, DVector, Matrix2, Matrix2x3, Matrix3, RowVector3, SymmetricEigen, Vector2, Vector3,
};

/// Perspectives that starts are tried with.
const PERSPECTIVES: [f64; 4] = [0.03, 0.2, 0.5, 0.9];
/// Rounds of weighing by depth.
const ROUNDS: usize = 3;
/// Least depth factor of a start.
const NEAREST: f64 = 0.15;
/// Starts that are kept: the best, and the best of those that see from elsewhere.
const BEST: usize = 6;
const ELSEWHERE: usize = 4;
/// Trace of the turn between two attitudes, below which it is more than 37 degrees.
const TURNED: f64 = 2.6;

/// The extents of a cloud of points, by its principal axes.
#[derive(Clone, Debug)]
pub(super) struct Extents {
    /// Root mean squares along the axes, the largest first.
    pub(super) along: [f64; 3],
    /// The axes, as rows, right-handed.
    pub(super) axes: Matrix3<f64>,
    pub(super) mean: Vector3<f64>,
}

impl Extents {
    pub(super) fn of(points: &[Vector3<f64>]) -> Self {
        let n = points.len().max(1) as f64;
        let mean = points.iter().sum::<Vector3<f64>>() / n;
        let scatter = points
            .iter()
            .map(|p| (p - mean) * (p - mean).transpose())
            .sum::<Matrix3<f64>>();
        let eigen = SymmetricEigen::new(scatter / n);
        let mut order = [0, 1, 2];
        order.sort_by(|&a, &b| eigen.eigenvalues[b].total_cmp(&eigen.eigenvalues[a]));
        let axis = |k: usize| eigen.eigenvectors.column(order[k]).into_owned();
        let (first, second) = (axis(0), axis(1));
        let axes = Matrix3::from_rows(&[
            first.transpose(),
            second.transpose(),
            first.cross(&second).transpose(),
        ]);
        Self {
            along: order.map(|k| eigen.eigenvalues[k].max(0.0).sqrt()),
            axes,
            mean,
        }
    }

    /// Whether the points lie in a plane.
    pub(super) fn is_flat(&self) -> bool {
        self.along[2] < SPACE.flat.get() * self.along[0]
    }

    /// Whether the points lie on a line, or on one point.
    pub(super) fn is_line(&self) -> bool {
        self.along[1] <= 1e-3 * self.along[0]
    }
}

/// A start and its score, the less the better.
struct Scored {
    camera: Camera,
    score: f64,
}

/// The starts that are worth solving from, the best first. `places` are the marks in the picture, lens and screen taken
/// off.
pub(super) fn starts(problem: &Problem, places: &[Vector2<f64>]) -> Vec<Camera> {
    let points: Vec<Vector3<f64>> = problem.marks.iter().map(|m| m.point).collect();
    let plain = problem.known.camera();
    let shifted: Vec<Vector2<f64>> = places.iter().map(|u| u - plain.principal).collect();
    let cloud = Cloud {
        points: &points,
        places: &shifted,
        extents: Extents::of(&points),
    };
    let stated = problem.known.stated_perspective();
    let perspectives: Vec<f64> = stated.map_or(PERSPECTIVES.to_vec(), |q| vec![q]);
    let mut poses = cloud.poses(&perspectives);
    if let Some(focal) = problem.known.log_focal {
        for pose in &mut poses {
            pose.perspective = (pose.scale / focal.value.exp()).min(1.5);
        }
    }
    let scored = poses.into_iter().filter_map(|pose| {
        let score = cloud.score(&pose, problem.sigma)?;
        let camera = Camera {
            rotation: pose.rotation,
            log_scale: pose.scale.ln(),
            perspective: pose.perspective,
            middle: pose.middle + plain.principal,
            ..plain
        };
        Some(Scored { camera, score })
    });
    chosen(scored.collect())
}

/// The best, and the best of those seen from elsewhere.
fn chosen(mut all: Vec<Scored>) -> Vec<Camera> {
    all.sort_by(|a, b| a.score.total_cmp(&b.score));
    let mut chosen: Vec<Camera> = all.iter().take(BEST).map(|s| s.camera).collect();
    for scored in &all {
        if chosen.len() >= BEST + ELSEWHERE {
            break;
        }
        if chosen.iter().all(|c| is_turned(c, &scored.camera, TURNED)) {
            chosen.push(scored.camera);
        }
    }
    chosen
}

/// Whether two attitudes are turned so far that the trace of the turn is less than `trace`.
pub(super) fn is_turned(a: &Camera, b: &Camera, trace: f64) -> bool {
    (a.rotation * b.rotation.transpose()).trace() < trace
}

/// A camera by scaled orthography.
#[derive(Clone, Copy)]
struct Pose {
    rotation: Matrix3<f64>,
    scale: f64,
    perspective: f64,
    middle: Vector2<f64>,
}

struct Cloud<'a> {
    points: &'a [Vector3<f64>],
    /// From the principal point.
    places: &'a [Vector2<f64>],
    extents: Extents,
}

impl Cloud<'_> {
    fn poses(&self, perspectives: &[f64]) -> Vec<Pose> {
        let all: Vec<usize> = (0..self.points.len()).collect();
        let size = if self.extents.is_flat() { 3 } else { 4 };
        let mut sets = subsets(&all, size);
        sets.push(all);
        let mut poses: Vec<Pose> = Vec::new();
        let mut of_all = Vec::new();
        for set in &sets {
            of_all = if self.extents.is_flat() {
                self.of_plane(set, perspectives)
            } else {
                self.of_space(set, perspectives)
            };
            poses.extend(&of_all);
        }
        poses.extend(of_all.iter().map(|pose| self.reversed(pose)));
        poses
    }

    /// The attitude that a parallel view cannot tell from this one: reversed along the line of sight.
    fn reversed(&self, pose: &Pose) -> Pose {
        let across = self.extents.axes.row(2).transpose();
        let flip = Matrix3::identity() - across * across.transpose() * 2.0;
        let sight = Matrix3::from_diagonal(&Vector3::new(1.0, 1.0, -1.0));
        Pose {
            rotation: sight * pose.rotation * flip,
            ..*pose
        }
    }

    fn score(&self, pose: &Pose, sigma: f64) -> Option<f64> {
        let unit = SPACE.start_error.get() * sigma;
        let mut score = 0.0;
        for (point, place) in self.points.iter().zip(self.places) {
            let turned = pose.rotation * point;
            let w = 1.0 + pose.perspective * turned.z;
            if w < NEAREST {
                return None;
            }
            let off = (turned.xy() * pose.scale + pose.middle) / w - place;
            score += (off.norm() / unit).min(3.0);
        }
        score.is_finite().then_some(score)
    }

    fn of_space(&self, set: &[usize], perspectives: &[f64]) -> Vec<Pose> {
        let points: Vec<Vector3<f64>> = set.iter().map(|&k| self.points[k]).collect();
        if Extents::of(&points).along[2] < SPACE.flat.get() / 2.0 {
            return Vec::new();
        }
        let matrix = DMatrix::from_fn(set.len(), 4, |row, column| {
            points[row].as_slice().get(column).copied().unwrap_or(1.0)
        });
        let svd = matrix.svd(true, true);
        let solve = |right: DVector<f64>| svd.solve(&right, 1e-12).ok();
        let pose = |q: f64| {
            let mut weights = vec![1.0; set.len()];
            let mut pose = None;
            for _ in 0..ROUNDS {
                let side = |axis: usize| {
                    solve(DVector::from_fn(set.len(), |row, _| {
                        self.places[set[row]][axis] * weights[row]
                    }))
                };
                let (x, y) = (side(0)?, side(1)?);
                let (rotation, scale) =
                    nearest_turn(&Matrix2x3::new(x[0], x[1], x[2], y[0], y[1], y[2]))?;
                let depth = rotation.row(2).into_owned();
                for (weight, point) in weights.iter_mut().zip(&points) {
                    *weight = 1.0 + q * (depth * point).x;
                }
                if weights.iter().any(|w| *w < 0.2) {
                    return None;
                }
                pose = Some(Pose {
                    rotation,
                    scale,
                    perspective: q,
                    middle: Vector2::new(x[3], y[3]),
                });
            }
            pose
        };
        perspectives.iter().filter_map(|&q| pose(q)).collect()
    }

    /// Both attitudes of a plane whose picture is an affine map of it.
    fn of_plane(&self, set: &[usize], perspectives: &[f64]) -> Vec<Pose> {
        let axes = &self.extents.axes;
        let mean = self.extents.mean;
        let matrix = DMatrix::from_fn(set.len(), 3, |row, column| match column {
            2 => 1.0,
            axis => (axes.row(axis) * (self.points[set[row]] - mean)).x,
        });
        let svd = matrix.svd(true, true);
        if svd.singular_values.min() < 1e-6 {
            return Vec::new();
        }
        let side = |axis: usize| {
            let right = DVector::from_fn(set.len(), |row, _| self.places[set[row]][axis]);
            svd.solve(&right, 1e-12).ok()
        };
        let (Some(x), Some(y)) = (side(0), side(1)) else {
            return Vec::new();
        };
        let map = Matrix2::new(x[0], x[1], y[0], y[1]);
        let middle = Vector2::new(x[2], y[2]);
        let mut poses = Vec::new();
        for sign in [1.0, -1.0] {
            let Some((rotation, scale)) = lifted(&map, sign, axes) else {
                continue;
            };
            let middle = middle - (rotation * mean).xy() * scale;
            poses.extend(perspectives.iter().map(|&perspective| Pose {
                rotation,
                scale,
                perspective,
                middle,
            }));
        }
        poses
    }
}

/// The turn whose first two rows are nearest to those of `rows`, and their scale.
fn nearest_turn(rows: &Matrix2x3<f64>) -> Option<(Matrix3<f64>, f64)> {
    // A mark beyond the horizon of the screen gives no number, and a decomposition of none does not end.
    if rows.iter().any(|v| !v.is_finite()) {
        return None;
    }
    let svd = rows.svd(true, true);
    if svd.singular_values.min().is_nan() || svd.singular_values.min() < 1e-9 {
        return None;
    }
    let turn = svd.u? * svd.v_t?;
    let (first, second): (RowVector3<f64>, RowVector3<f64>) =
        (turn.row(0).into_owned(), turn.row(1).into_owned());
    let rotation = Matrix3::from_rows(&[first, second, first.cross(&second)]);
    Some((rotation, svd.singular_values.mean()))
}

/// The turn of a plane with these `axes` (rows) whose parallel picture is `map`; `sign` chooses the attitude.
fn lifted(map: &Matrix2<f64>, sign: f64, axes: &Matrix3<f64>) -> Option<(Matrix3<f64>, f64)> {
    let (a, b) = (map.column(0), map.column(1));
    let k = a.norm_squared() - b.norm_squared();
    let g = a.dot(&b);
    let c = ((-k + k.hypot(2.0 * g)) / 2.0).max(0.0).sqrt();
    let d = if c > 1e-9 { -g / c } else { k.max(0.0).sqrt() };
    let first = Vector3::new(a.x, a.y, sign * c);
    let second = Vector3::new(b.x, b.y, sign * d);
    let scale = first.norm();
    if scale < 1e-9 || second.norm() < 1e-9 {
        return None;
    }
    let (x, y) = (first / scale, second.normalize());
    let columns = Matrix3::from_columns(&[x, y, x.cross(&y)]);
    if columns.iter().any(|v| !v.is_finite()) {
        return None;
    }
    let svd = (columns * axes).svd(true, true);
    let (u, v_t) = (svd.u?, svd.v_t?);
    let proper = Vector3::new(1.0, 1.0, (u * v_t).determinant());
    Some((u * Matrix3::from_diagonal(&proper) * v_t, scale))
}
