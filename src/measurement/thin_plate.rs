//! Thin-plate spline: the smoothest map that takes one set of points to another.
//!
//! # Source
//! F. L. Bookstein, "Principal warps: thin-plate splines and the decomposition of deformations", IEEE Transactions on
//! Pattern Analysis and Machine Intelligence 11 (1989), 567-585. He writes `U(r) = r^2 log r^2`; here `r^2 log r`, which
//! halves the weights and changes nothing in the map.
use nalgebra::{DMatrix, Matrix2, Matrix3x2};

/// A fitted spline.
#[derive(Clone, Debug)]
pub struct ThinPlate {
    centre: [f64; 2],
    scale: f64,
    knots: Vec<[f64; 2]>,
    /// One row a knot; columns x and y of the image.
    weights: Vec<[f64; 2]>,
    /// Rows: constant, x, y.
    affine: Matrix3x2<f64>,
}

impl ThinPlate {
    /// The spline that takes every point of `from` to its partner in `to`.
    ///
    /// `smoothing` 0 passes through the points; a larger one (in the squared unit of the points) bends less: it is
    /// added to the kernel matrix's diagonal. `None` for fewer than 3 pairs, lists of different length, points of
    /// `from` that all lie on one line or coincide, or numbers that are not finite or a smoothing below 0.
    pub fn fit(from: &[[f64; 2]], to: &[[f64; 2]], smoothing: f64) -> Option<Self> {
        let count = from.len();
        let finite = from.iter().chain(to).flatten().all(|v| v.is_finite());
        if count < 3 || to.len() != count || !finite || !smoothing.is_finite() || smoothing < 0.0 {
            return None;
        }
        let (centre, scale) = frame_of(from)?;
        let knots: Vec<[f64; 2]> = from.iter().map(|p| scaled(*p, centre, scale)).collect();
        if coincide(&knots) {
            return None;
        }
        let mut left = DMatrix::<f64>::zeros(count + 3, count + 3);
        let mut right = DMatrix::<f64>::zeros(count + 3, 2);
        for (i, a) in knots.iter().enumerate() {
            for (j, b) in knots.iter().enumerate() {
                left[(i, j)] = kernel(squared_distance(*a, *b));
            }
            // The kernel of scaled points differs by the square of the scale, and so must the smoothing; the logarithm
            // of the scale is absorbed by the affine part.
            left[(i, i)] += smoothing / (scale * scale);
            for (k, value) in [1.0, a[0], a[1]].into_iter().enumerate() {
                left[(i, count + k)] = value;
                left[(count + k, i)] = value;
            }
            let image = scaled(to[i], centre, scale);
            right[(i, 0)] = image[0];
            right[(i, 1)] = image[1];
        }
        let solution = left.lu().solve(&right)?;
        if !solution.iter().all(|v| v.is_finite()) {
            return None;
        }
        Some(Self {
            centre,
            scale,
            knots,
            weights: (0..count)
                .map(|i| [solution[(i, 0)], solution[(i, 1)]])
                .collect(),
            affine: Matrix3x2::from_fn(|row, column| solution[(count + row, column)]),
        })
    }

    /// Where the spline takes a point.
    pub fn map(&self, point: [f64; 2]) -> [f64; 2] {
        let p = scaled(point, self.centre, self.scale);
        let mut image: [f64; 2] = std::array::from_fn(|k| {
            self.affine[(0, k)] + self.affine[(1, k)] * p[0] + self.affine[(2, k)] * p[1]
        });
        for (knot, weight) in self.knots.iter().zip(&self.weights) {
            let u = kernel(squared_distance(p, *knot));
            image[0] += weight[0] * u;
            image[1] += weight[1] * u;
        }
        [
            image[0] * self.scale + self.centre[0],
            image[1] * self.scale + self.centre[1],
        ]
    }
}

/// `r^2 log r`, from `r^2`.
fn kernel(squared: f64) -> f64 {
    if squared > 0.0 {
        0.5 * squared * squared.ln()
    } else {
        0.0
    }
}

fn squared_distance(a: [f64; 2], b: [f64; 2]) -> f64 {
    (a[0] - b[0]).powi(2) + (a[1] - b[1]).powi(2)
}

fn scaled(p: [f64; 2], centre: [f64; 2], scale: f64) -> [f64; 2] {
    [(p[0] - centre[0]) / scale, (p[1] - centre[1]) / scale]
}

/// Centre and root mean square radius of the points; `None` where they lie on one line (the smaller spread is below a
/// millionth of the larger).
fn frame_of(points: &[[f64; 2]]) -> Option<([f64; 2], f64)> {
    let count = points.len() as f64;
    let mean = |k: usize| points.iter().map(|p| p[k]).sum::<f64>() / count;
    let centre = [mean(0), mean(1)];
    let mut spread = Matrix2::<f64>::zeros();
    for p in points {
        let d = nalgebra::Vector2::new(p[0] - centre[0], p[1] - centre[1]);
        spread += d * d.transpose() / count;
    }
    let eigenvalues = spread.symmetric_eigenvalues();
    let (small, large) = (eigenvalues.min(), eigenvalues.max());
    // Squared, as these are variances.
    (large > 0.0 && small > 1e-12 * large).then(|| (centre, (small + large).sqrt()))
}

/// Whether two knots are nearer than a thousand-millionth of the spread.
fn coincide(knots: &[[f64; 2]]) -> bool {
    knots
        .iter()
        .enumerate()
        .any(|(i, a)| knots[..i].iter().any(|b| squared_distance(*a, *b) < 1e-18))
}

#[cfg(test)]
mod tests {
    use super::*;

    const FROM: [[f64; 2]; 5] = [
        [100.0, 200.0],
        [900.0, 180.0],
        [870.0, 700.0],
        [120.0, 640.0],
        [500.0, 400.0],
    ];

    #[test]
    fn it_passes_through_its_points() {
        let to = FROM.map(|[x, y]| [x + (y / 90.0).sin() * 9.0, y - (x / 70.0).cos() * 7.0]);
        let spline = ThinPlate::fit(&FROM, &to, 0.0).expect("fits");
        for (from, to) in FROM.iter().zip(to) {
            let mapped = spline.map(*from);
            // Solving an 8 x 8 system of condition 1e3 or so in f64 leaves less than 1e-9 px.
            assert!((mapped[0] - to[0]).hypot(mapped[1] - to[1]) < 1e-9);
        }
    }

    #[test]
    fn an_affine_map_is_reproduced_everywhere() {
        let affine = |[x, y]: [f64; 2]| [1.1 * x - 0.2 * y + 5.0, 0.1 * x + 0.95 * y - 8.0];
        let spline = ThinPlate::fit(&FROM, &FROM.map(affine), 0.0).expect("fits");
        for p in [[0.0, 0.0], [3000.0, -200.0], [450.0, 333.0]] {
            let (mapped, expected) = (spline.map(p), affine(p));
            assert!((mapped[0] - expected[0]).hypot(mapped[1] - expected[1]) < 1e-8);
        }
    }

    #[test]
    fn much_smoothing_leaves_an_affine_map() {
        let to = FROM.map(|[x, y]| [x + (y / 90.0).sin() * 9.0, y]);
        let spline = ThinPlate::fit(&FROM, &to, 1e15).expect("fits");
        let (a, b, c) = (
            spline.map([0.0, 0.0]),
            spline.map([400.0, 300.0]),
            spline.map([800.0, 600.0]),
        );
        // Points on a line in equal steps stay so: the bending left over is of the order 1e-6 px.
        assert!((a[0] + c[0] - 2.0 * b[0]).abs() < 1e-5);
    }

    #[test]
    fn too_few_collinear_or_coincident_points_have_no_spline() {
        let line = [[0.0, 0.0], [10.0, 10.0], [20.0, 20.0], [30.0, 30.0]];
        assert!(ThinPlate::fit(&FROM[..2], &FROM[..2], 0.0).is_none());
        assert!(ThinPlate::fit(&line, &FROM[..4], 0.0).is_none());
        let twice = [FROM[0], FROM[1], FROM[2], FROM[1]];
        assert!(ThinPlate::fit(&twice, &FROM[..4], 0.0).is_none());
        assert!(ThinPlate::fit(&FROM, &FROM[..4], 0.0).is_none());
        assert!(ThinPlate::fit(&[[f64::NAN; 2]; 4], &FROM[..4], 0.0).is_none());
        assert!(ThinPlate::fit(&FROM, &FROM, -1.0).is_none());
    }
}
