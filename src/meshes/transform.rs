//! Affine maps in space: where a part of a mesh stands within the whole.

/// Three rows of four numbers: `place = linear part * place + shift`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Transform(pub(super) [[f64; 4]; 3]);

impl Transform {
    pub(super) const IDENTITY: Self = Self([
        [1.0, 0.0, 0.0, 0.0],
        [0.0, 1.0, 0.0, 0.0],
        [0.0, 0.0, 1.0, 0.0],
    ]);

    /// The place that a place is taken to.
    pub(super) fn apply(&self, [x, y, z]: [f64; 3]) -> [f64; 3] {
        self.0.map(|[a, b, c, d]| a * x + b * y + c * z + d)
    }

    /// First `first`, then this.
    pub(super) fn after(&self, first: &Self) -> Self {
        let column = |row: &[f64; 4], c: usize| -> f64 {
            let shift = if c == 3 { row[3] } else { 0.0 };
            (0..3).map(|k| row[k] * first.0[k][c]).sum::<f64>() + shift
        };
        Self(self.0.map(|row| std::array::from_fn(|c| column(&row, c))))
    }
}
