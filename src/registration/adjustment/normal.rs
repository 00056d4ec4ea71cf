//! Normal equations with blocks: the regions' unknowns only meet through the global ones.
//!
//! Each region's block is eliminated (Schur complement), so the cost grows with the number of regions, not with its cube.
//!
//! # Source
//! B. Triggs et al., "Bundle adjustment: a modern synthesis" (2000), section 6.1 (reduced system); covariance blocks by
//! the inverse of a partitioned matrix.
use nalgebra::{DMatrix, DVector, Matrix5, Matrix5xX, SVector};

/// Five numbers of a region.
pub(crate) type Vector5 = SVector<f64, 5>;

/// Accumulated normal equations `N x = b`.
#[derive(Clone, Debug)]
pub(crate) struct Normal {
    global: DMatrix<f64>,
    global_right: DVector<f64>,
    regions: Vec<RegionBlock>,
}

#[derive(Clone, Debug)]
struct RegionBlock {
    own: Matrix5<f64>,
    own_right: Vector5,
    /// Region rows, global columns.
    with_global: Matrix5xX<f64>,
}

/// The inverse of the normal matrix, as far as figures need it.
#[derive(Clone, Debug)]
pub(crate) struct Covariance {
    pub(crate) global: DMatrix<f64>,
    pub(crate) regions: Vec<Matrix5<f64>>,
    /// Region rows, global columns.
    pub(crate) region_with_global: Vec<Matrix5xX<f64>>,
    /// A root of what the datum parts' own errors add to that of the global unknowns.
    pub(crate) datum_root: DMatrix<f64>,
}

impl Covariance {
    /// What the datum parts' own errors add to the variance of a figure with this derivative by the global unknowns.
    pub(crate) fn by_datum_parts(&self, by_global: &DVector<f64>) -> f64 {
        self.datum_root.tr_mul(by_global).norm_squared()
    }

    /// What they move the five numbers of region `j` by: a root of what they add to its covariance.
    pub(super) fn region_root(&self, j: usize) -> Matrix5xX<f64> {
        let Some(global) = self.global.clone().cholesky() else {
            return Matrix5xX::zeros(self.datum_root.ncols());
        };
        &self.region_with_global[j] * global.solve(&self.datum_root)
    }

    /// Covariance of a region's five numbers with what the datum parts' own errors add.
    pub(crate) fn of_region(&self, j: usize) -> Matrix5<f64> {
        let root = self.region_root(j);
        let added = &root * root.transpose();
        self.regions[j] + added
    }

    /// What they add to the covariance of number `k` of region `j` with a figure.
    pub(crate) fn with_region_by_datum_parts(
        &self,
        by_global: &DVector<f64>,
        j: usize,
        k: usize,
    ) -> f64 {
        (self.region_root(j).row(k) * self.datum_root.tr_mul(by_global))[(0, 0)]
    }
}

impl Normal {
    pub(crate) fn new(global_unknowns: usize, regions: usize) -> Self {
        Self {
            global: DMatrix::zeros(global_unknowns, global_unknowns),
            global_right: DVector::zeros(global_unknowns),
            regions: vec![
                RegionBlock {
                    own: Matrix5::zeros(),
                    own_right: Vector5::zeros(),
                    with_global: Matrix5xX::zeros(global_unknowns),
                };
                regions
            ],
        }
    }

    /// Adds one scalar observation: `residual = by_global . dx + by_region . dr + noise`, weight = 1 / variance.
    pub(crate) fn add(
        &mut self,
        by_global: &DVector<f64>,
        by_region: Option<(usize, &Vector5)>,
        weight: f64,
        residual: f64,
    ) {
        self.global.ger(weight, by_global, by_global, 1.0);
        self.global_right.axpy(weight * residual, by_global, 1.0);
        if let Some((j, d)) = by_region {
            let block = &mut self.regions[j];
            block.own.ger(weight, d, d, 1.0);
            block.own_right.axpy(weight * residual, d, 1.0);
            block.with_global.ger(weight, d, by_global, 1.0);
        }
    }

    /// What is expected of one global unknown: `residual = dx + noise`.
    pub(crate) fn expect_global(&mut self, k: usize, weight: f64, residual: f64) {
        self.global[(k, k)] += weight;
        self.global_right[k] += weight * residual;
    }

    /// What is expected of one number of a region.
    pub(crate) fn expect_region(&mut self, region: usize, k: usize, weight: f64, residual: f64) {
        let block = &mut self.regions[region];
        block.own[(k, k)] += weight;
        block.own_right[k] += weight * residual;
    }

    /// The solution with every diagonal element times `1 + damping`; `None` where the matrix is not positive definite.
    pub(crate) fn solve(&self, damping: f64) -> Option<(DVector<f64>, Vec<[f64; 5]>)> {
        let mut reduced = self.global.clone();
        damp(&mut reduced, damping);
        let mut right = self.global_right.clone();
        let mut eliminated = Vec::with_capacity(self.regions.len());
        for block in &self.regions {
            let mut own = block.own;
            for k in 0..5 {
                own[(k, k)] *= 1.0 + damping;
            }
            let own = own.cholesky()?;
            let (by_global, by_right) =
                (own.solve(&block.with_global), own.solve(&block.own_right));
            reduced -= block.with_global.tr_mul(&by_global);
            right -= block.with_global.tr_mul(&by_right);
            eliminated.push((by_global, by_right));
        }
        let global = reduced.cholesky()?.solve(&right);
        let regions = eliminated
            .iter()
            .map(|(by_global, by_right)| (by_right - by_global * &global).into())
            .collect();
        Some((global, regions))
    }

    /// The blocks of the inverse; `None` where the matrix is not positive definite.
    pub(crate) fn covariance(&self) -> Option<Covariance> {
        let mut reduced = self.global.clone();
        let mut inverses = Vec::with_capacity(self.regions.len());
        for block in &self.regions {
            let inverse = block.own.cholesky()?.inverse();
            let by_global = inverse * &block.with_global;
            reduced -= block.with_global.tr_mul(&by_global);
            inverses.push((inverse, by_global));
        }
        let global = reduced.cholesky()?.inverse();
        let (mut regions, mut region_with_global) = (Vec::new(), Vec::new());
        for (inverse, by_global) in &inverses {
            let cross = -(by_global * &global);
            regions.push(inverse - &cross * by_global.transpose());
            region_with_global.push(cross);
        }
        Some(Covariance {
            datum_root: DMatrix::zeros(global.nrows(), 0),
            global,
            regions,
            region_with_global,
        })
    }
}

fn damp(matrix: &mut DMatrix<f64>, damping: f64) {
    for k in 0..matrix.nrows() {
        matrix[(k, k)] *= 1.0 + damping;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A small well-posed system, and the same as one dense matrix.
    fn sample() -> (Normal, DMatrix<f64>, DVector<f64>) {
        let (m, regions) = (4, 3);
        let mut normal = Normal::new(m, regions);
        let mut dense = DMatrix::zeros(m + 5 * regions, m + 5 * regions);
        let mut right = DVector::zeros(m + 5 * regions);
        let mut seed = 7_u64;
        let mut random = || {
            seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
            (seed >> 33) as f64 / f64::from(1_u32 << 31) - 0.5
        };
        for k in 0..60 {
            let g = DVector::from_fn(m, |_, _| random());
            let d = Vector5::from_fn(|_, _| random());
            let (w, r) = (1.0 + random(), random());
            let region = (k % 4 < 3).then_some(k % 4);
            normal.add(&g, region.map(|j| (j, &d)), w, r);
            let mut row = DVector::zeros(m + 5 * regions);
            row.rows_mut(0, m).copy_from(&g);
            if let Some(j) = region {
                row.rows_mut(m + 5 * j, 5).copy_from(&d);
            }
            dense.ger(w, &row, &row, 1.0);
            right.axpy(w * r, &row, 1.0);
        }
        (normal, dense, right)
    }

    #[test]
    fn elimination_gives_the_solution_of_the_whole_matrix() {
        let (normal, dense, right) = sample();
        let whole = dense.cholesky().expect("positive definite").solve(&right);
        let (global, regions) = normal.solve(0.0).expect("positive definite");
        assert!((global - whole.rows(0, 4)).norm() < 1e-10);
        for (j, r) in regions.iter().enumerate() {
            assert!((Vector5::from(*r) - whole.fixed_rows::<5>(4 + 5 * j)).norm() < 1e-10);
        }
    }

    #[test]
    fn covariance_blocks_are_those_of_the_whole_inverse() {
        let (normal, dense, _) = sample();
        let whole = dense.try_inverse().expect("regular");
        let blocks = normal.covariance().expect("positive definite");
        assert!((blocks.global - whole.view((0, 0), (4, 4))).norm() < 1e-10);
        for j in 0..3 {
            let at = 4 + 5 * j;
            assert!((blocks.regions[j] - whole.fixed_view::<5, 5>(at, at)).norm() < 1e-10);
            assert!((&blocks.region_with_global[j] - whole.view((at, 0), (5, 4))).norm() < 1e-10);
        }
    }
}
