//! Normal equations of many cameras and parts: parts, which see only cameras, are eliminated first.
//!
//! # Source
//! D. Brown, "The bundle adjustment, progress and prospects" (1976): reduction to the cameras. Columns are scaled to length 1
//! before the reduced equations are solved by Cholesky's triangles.
use super::part::{NINE, Nine};
use nalgebra::{Cholesky, Const, DMatrix, DVector, Dyn, OMatrix, SMatrix};

/// Rows by the nine errors of a part, columns by all numbers of cameras.
pub(super) type ByCameras = OMatrix<f64, Const<NINE>, Dyn>;
/// The own block of a part.
pub(crate) type Own = SMatrix<f64, NINE, NINE>;

/// Added to a scaled diagonal, so that rounding leaves it positive.
const FLOOR: f64 = 1e-13;

/// What concerns one part.
#[derive(Clone, Debug)]
pub(super) struct PartBlock {
    pub(super) own: Own,
    pub(super) with: ByCameras,
    pub(super) right: Nine,
}

/// `N x = r`, camera numbers first, with those of parts that are tied to other parts behind them; the other parts see each other only
/// through `cameras`.
#[derive(Clone, Debug)]
pub(super) struct Normal {
    pub(super) cameras: DMatrix<f64>,
    pub(super) right: DVector<f64>,
    pub(super) parts: Vec<PartBlock>,
}

/// The step that normal equations ask for.
pub(super) struct Steps {
    pub(super) cameras: DVector<f64>,
    pub(super) parts: Vec<Nine>,
}

/// The covariance, as far as it is asked for.
#[derive(Clone, Debug)]
pub(super) struct Spread {
    pub(super) cameras: DMatrix<f64>,
    /// Of each part with the cameras.
    pub(super) cross: Vec<ByCameras>,
    pub(super) parts: Vec<Own>,
}

/// The equations after the parts are eliminated.
struct Reduced {
    triangle: Cholesky<f64, Dyn>,
    lengths: DVector<f64>,
    own: Vec<Cholesky<f64, Const<NINE>>>,
    /// Own block's inverse times `with`.
    shares: Vec<ByCameras>,
}

impl Normal {
    pub(super) fn zeros(cameras: usize, parts: usize) -> Self {
        let block = PartBlock {
            own: Own::zeros(),
            with: ByCameras::zeros(cameras),
            right: Nine::zeros(),
        };
        Self {
            cameras: DMatrix::zeros(cameras, cameras),
            right: DVector::zeros(cameras),
            parts: vec![block; parts],
        }
    }

    fn reduced(&self, damping: f64) -> Option<Reduced> {
        let mut matrix = self.cameras.clone();
        for k in 0..matrix.nrows() {
            matrix[(k, k)] *= 1.0 + damping;
        }
        let (mut own, mut shares) = (Vec::new(), Vec::new());
        for part in &self.parts {
            let mut block = part.own;
            for k in 0..NINE {
                block[(k, k)] *= 1.0 + damping;
            }
            let triangle = Cholesky::new(block)?;
            let share: ByCameras = triangle.solve(&part.with);
            matrix -= part.with.transpose() * &share;
            own.push(triangle);
            shares.push(share);
        }
        let n = matrix.nrows();
        let lengths = DVector::from_fn(n, |k, _| matrix[(k, k)].max(1e-300).sqrt());
        let scaled = DMatrix::from_fn(n, n, |i, j| {
            let entry = matrix[(i, j)] / (lengths[i] * lengths[j]);
            if i == j { entry + FLOOR } else { entry }
        });
        Some(Reduced {
            triangle: Cholesky::new(scaled)?,
            lengths,
            own,
            shares,
        })
    }

    /// The step with this damping; `None` where something is not determined.
    pub(super) fn steps(&self, damping: f64) -> Option<Steps> {
        let reduced = self.reduced(damping)?;
        let mut right = self.right.clone();
        for (part, share) in self.parts.iter().zip(&reduced.shares) {
            right -= share.transpose() * part.right;
        }
        let scaled = right.component_div(&reduced.lengths);
        let cameras = reduced
            .triangle
            .solve(&scaled)
            .component_div(&reduced.lengths);
        let each = self.parts.iter().zip(&reduced.own).zip(&reduced.shares);
        let parts: Vec<Nine> = each
            .map(|((part, own), share)| own.solve(&part.right) - share * &cameras)
            .collect();
        let is_finite = cameras
            .iter()
            .chain(parts.iter().flatten())
            .all(|v| v.is_finite());
        is_finite.then_some(Steps { cameras, parts })
    }

    /// The covariance of all numbers; `None` where something is not determined.
    pub(super) fn spread(&self) -> Option<Spread> {
        let reduced = self.reduced(0.0)?;
        let mut cameras = reduced.triangle.inverse();
        let n = cameras.nrows();
        for i in 0..n {
            for j in 0..n {
                cameras[(i, j)] /= reduced.lengths[i] * reduced.lengths[j];
            }
        }
        let (mut cross, mut parts) = (Vec::new(), Vec::new());
        for (own, share) in reduced.own.iter().zip(&reduced.shares) {
            let with: ByCameras = -(share * &cameras);
            parts.push(own.inverse() - &with * share.transpose());
            cross.push(with);
        }
        let is_finite = cameras.iter().all(|v| v.is_finite());
        is_finite.then_some(Spread {
            cameras,
            cross,
            parts,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::statistics::trials::Noise;

    /// Equations of two parts and four camera numbers from random rows, and the same as one plain matrix.
    fn equations() -> (Normal, DMatrix<f64>, DVector<f64>) {
        let mut noise = Noise(5);
        let (cameras, parts) = (4, 2);
        let n = cameras + NINE * parts;
        let mut normal = Normal::zeros(cameras, parts);
        let (mut plain, mut right) = (DMatrix::zeros(n, n), DVector::zeros(n));
        for k in 0..80 {
            let part = k % parts;
            let mut row = DVector::zeros(n);
            for c in 0..cameras {
                row[c] = noise.normal();
            }
            for c in 0..NINE {
                row[cameras + NINE * part + c] = noise.normal();
            }
            let seen = noise.normal();
            let of_part =
                Nine::from_iterator(row.rows(cameras + NINE * part, NINE).iter().copied());
            let of_cameras = row.rows(0, cameras).into_owned();
            normal.cameras += &of_cameras * of_cameras.transpose();
            normal.right += &of_cameras * seen;
            normal.parts[part].own += of_part * of_part.transpose();
            normal.parts[part].with += of_part * of_cameras.transpose();
            normal.parts[part].right += of_part * seen;
            plain += &row * row.transpose();
            right += row * seen;
        }
        (normal, plain, right)
    }

    #[test]
    fn eliminating_the_parts_gives_what_one_matrix_gives() {
        let (normal, plain, right) = equations();
        let inverse = plain.clone().try_inverse().expect("regular");
        let expected = &inverse * right;
        let steps = normal.steps(0.0).expect("regular");
        let spread = normal.spread().expect("regular");
        assert!((&steps.cameras - expected.rows(0, 4)).norm() < 1e-9);
        assert!((&spread.cameras - inverse.view((0, 0), (4, 4))).norm() < 1e-9);
        for part in 0..2 {
            let first = 4 + NINE * part;
            assert!((steps.parts[part] - expected.fixed_rows::<NINE>(first)).norm() < 1e-9);
            let own = inverse.fixed_view::<NINE, NINE>(first, first);
            assert!((spread.parts[part] - own).norm() < 1e-9);
            let cross = inverse.view((first, 0), (NINE, 4));
            assert!((spread.cross[part].clone() - cross).norm() < 1e-9);
        }
    }

    #[test]
    fn nothing_is_solved_where_a_number_is_not_observed() {
        let (mut normal, ..) = equations();
        normal.parts[1].own.fill(0.0);
        normal.parts[1].with.fill(0.0);
        assert!(normal.steps(0.0).is_none());
        assert!(normal.spread().is_none());
    }
}
