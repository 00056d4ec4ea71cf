//! Closed-form fits of a map through points: start values, and exact where there are no more points than it needs.
//!
//! # Source
//! Similarity: S. Umeyama, "Least-squares estimation of transformation parameters between two point patterns", IEEE
//! PAMI 13 (1991), eqs. 40 to 42, in two dimensions. Projective: R. Hartley, "In defense of the eight-point algorithm",
//! IEEE PAMI 19 (1997): the direct linear transform on centred and scaled points.
use nalgebra::{DMatrix, DVector, Matrix3};

/// The similarity that takes `from` to `to`, or `None` where the points do not determine it: exact for two points, least
/// squares for more.
pub(crate) fn similarity(from: &[[f64; 2]], to: &[[f64; 2]]) -> Option<Matrix3<f64>> {
    normalised(from, to, similarity_of_centred)
}

/// The affine map that takes `from` to `to`, or `None` where the points do not determine it: exact for three points, least
/// squares for more.
pub(crate) fn affine(from: &[[f64; 2]], to: &[[f64; 2]]) -> Option<Matrix3<f64>> {
    normalised(from, to, affine_of_centred)
}

/// The projective map that takes `from` to `to`, or `None` where the points do not determine it: exact for four points,
/// algebraic least squares for more.
pub(crate) fn projective(from: &[[f64; 2]], to: &[[f64; 2]]) -> Option<Matrix3<f64>> {
    normalised(from, to, projective_of_centred)
}

/// A fit between two lists of centred and scaled points.
type OfCentred = fn(&[[f64; 2]], &[[f64; 2]]) -> Option<Matrix3<f64>>;

fn normalised(from: &[[f64; 2]], to: &[[f64; 2]], fit: OfCentred) -> Option<Matrix3<f64>> {
    let (from, to_normal) = (Normalised::new(from)?, Normalised::new(to)?);
    let map = fit(&from.points, &to_normal.points)?;
    let matrix = to_normal.back()? * map * from.matrix;
    let last = matrix[(2, 2)];
    let matrix = if last.abs() > 1e-12 * matrix.norm() {
        matrix / last
    } else {
        matrix
    };
    matrix.iter().all(|v| v.is_finite()).then_some(matrix)
}

/// Points moved to their centroid and scaled to a mean distance of sqrt(2) from it (Hartley 1997).
struct Normalised {
    points: Vec<[f64; 2]>,
    matrix: Matrix3<f64>,
}

impl Normalised {
    fn new(points: &[[f64; 2]]) -> Option<Self> {
        let n = points.len() as f64;
        let cx = points.iter().map(|p| p[0]).sum::<f64>() / n;
        let cy = points.iter().map(|p| p[1]).sum::<f64>() / n;
        let mean = points
            .iter()
            .map(|p| (p[0] - cx).hypot(p[1] - cy))
            .sum::<f64>()
            / n;
        if mean.is_nan() || mean <= 0.0 {
            return None;
        }
        let s = std::f64::consts::SQRT_2 / mean;
        Some(Self {
            points: points
                .iter()
                .map(|p| [(p[0] - cx) * s, (p[1] - cy) * s])
                .collect(),
            matrix: Matrix3::new(s, 0.0, -s * cx, 0.0, s, -s * cy, 0.0, 0.0, 1.0),
        })
    }

    fn back(&self) -> Option<Matrix3<f64>> {
        self.matrix.try_inverse()
    }
}

fn similarity_of_centred(from: &[[f64; 2]], to: &[[f64; 2]]) -> Option<Matrix3<f64>> {
    // Both clouds are centred: the rotation and scale are one complex quotient.
    let (mut real, mut imaginary, mut square) = (0.0, 0.0, 0.0);
    for (p, q) in from.iter().zip(to) {
        real += p[0] * q[0] + p[1] * q[1];
        imaginary += p[0] * q[1] - p[1] * q[0];
        square += p[0] * p[0] + p[1] * p[1];
    }
    let (a, b) = (real / square, imaginary / square);
    (a.hypot(b) > 1e-12).then(|| Matrix3::new(a, -b, 0.0, b, a, 0.0, 0.0, 0.0, 1.0))
}

fn affine_of_centred(from: &[[f64; 2]], to: &[[f64; 2]]) -> Option<Matrix3<f64>> {
    let a = DMatrix::from_fn(from.len(), 3, |r, c| if c == 2 { 1.0 } else { from[r][c] });
    let decomposition = a.svd(true, true);
    if decomposition.rank(1e-9) < 3 {
        return None;
    }
    let row = |k: usize| {
        decomposition
            .solve(&DVector::from_fn(to.len(), |r, _| to[r][k]), 1e-12)
            .ok()
    };
    let (x, y) = (row(0)?, row(1)?);
    Some(Matrix3::new(
        x[0], x[1], x[2], y[0], y[1], y[2], 0.0, 0.0, 1.0,
    ))
}

fn projective_of_centred(from: &[[f64; 2]], to: &[[f64; 2]]) -> Option<Matrix3<f64>> {
    let mut a = DMatrix::<f64>::zeros((2 * from.len()).max(9), 9);
    for (k, (p, q)) in from.iter().zip(to).enumerate() {
        let (x, y, u, v) = (p[0], p[1], q[0], q[1]);
        for (c, value) in [-x, -y, -1.0, 0.0, 0.0, 0.0, u * x, u * y, u]
            .into_iter()
            .enumerate()
        {
            a[(2 * k, c)] = value;
        }
        for (c, value) in [0.0, 0.0, 0.0, -x, -y, -1.0, v * x, v * y, v]
            .into_iter()
            .enumerate()
        {
            a[(2 * k + 1, c)] = value;
        }
    }
    let decomposition = a.svd(false, true);
    let mut order: Vec<usize> = (0..9).collect();
    order.sort_by(|&i, &j| {
        decomposition.singular_values[i].total_cmp(&decomposition.singular_values[j])
    });
    // A second vanishing singular value: three of four points lie on one line, or points coincide.
    if decomposition.singular_values[order[1]] < 1e-9 * decomposition.singular_values[order[8]] {
        return None;
    }
    let v = decomposition.v_t?;
    let h = v.row(order[0]);
    let map = Matrix3::new(h[0], h[1], h[2], h[3], h[4], h[5], h[6], h[7], h[8]);
    // Three points on one line that are not on one in the other image: the map flattens the plane (its norm is 1).
    (map.determinant().abs() > 1e-9).then_some(map)
}

#[cfg(test)]
mod tests {
    use super::*;
    use nalgebra::Vector3;

    const CLOUD: [[f64; 2]; 6] = [
        [10.0, 20.0],
        [400.0, 35.0],
        [380.0, 300.0],
        [25.0, 280.0],
        [200.0, 150.0],
        [90.0, 220.0],
    ];

    fn mapped(m: &Matrix3<f64>, p: [f64; 2]) -> [f64; 2] {
        let v = m * Vector3::new(p[0], p[1], 1.0);
        [v.x / v.z, v.y / v.z]
    }

    fn recovers(fit: OfCentred, truth: Matrix3<f64>, points: &[[f64; 2]]) {
        let to: Vec<_> = points.iter().map(|&p| mapped(&truth, p)).collect();
        let found = fit(points, &to).expect("the points determine the map");
        for (&p, q) in points.iter().zip(&to) {
            let r = mapped(&found, p);
            assert!((r[0] - q[0]).hypot(r[1] - q[1]) < 1e-8, "{p:?}");
        }
    }

    #[test]
    fn exact_data_are_met_with_the_least_and_with_more_points() {
        let turned = Matrix3::new(0.8, -0.3, 5.0, 0.3, 0.8, 9.0, 0.0, 0.0, 1.0);
        let sheared = Matrix3::new(0.8, 0.1, 5.0, 0.3, 1.2, 9.0, 0.0, 0.0, 1.0);
        let seen = Matrix3::new(0.8, 0.1, 5.0, 0.3, 1.2, 9.0, 2e-4, -3e-4, 1.0);
        for (fit, truth, least) in [
            (similarity as OfCentred, turned, 2),
            (affine, sheared, 3),
            (projective, seen, 4),
        ] {
            recovers(fit, truth, &CLOUD[..least]);
            recovers(fit, truth, &CLOUD);
        }
    }

    #[test]
    fn coincident_and_collinear_points_determine_nothing() {
        let same = [[5.0, 5.0]; 4];
        assert!(similarity(&same, &CLOUD[..4]).is_none());
        let line: Vec<_> = (0..5).map(|k| [10.0 * k as f64, 5.0 * k as f64]).collect();
        assert!(affine(&line, &line).is_none());
        assert!(projective(&line, &line).is_none());
        let three_in_line = [[0.0, 0.0], [10.0, 10.0], [20.0, 20.0], [5.0, 30.0]];
        assert!(projective(&three_in_line, &CLOUD[..4]).is_none());
    }
}
