//! The change from continuous coordinates to pixel indices, and what part of a target shows the source.

/// Row by row, acting on (x, y, 1).
pub(super) type Matrix = [[f64; 3]; 3];

/// From this mean number of source pixels to a target pixel (along a line) on, the source is reduced first.
pub(super) const REDUCE_FROM: f64 = 1.5;

/// A map from pixel indices of the target to pixel indices of the source (whole numbers at the centres), its third
/// coordinate above 0 in front of the horizon.
pub(super) struct IndexMap {
    pub(super) rows: Matrix,
    pub(super) determinant: f64,
}

impl IndexMap {
    /// `None` where nothing can be shown: the matrix is singular or not finite, or the source is empty.
    pub(super) fn new(source_from_target: &Matrix, source_size: (usize, usize)) -> Option<Self> {
        let [a, b, c] = *source_from_target;
        // The last row of the inverse times the determinant: the depth at which the target shows a source point.
        let depth = [
            b[0] * c[1] - b[1] * c[0],
            a[1] * c[0] - a[0] * c[1],
            a[0] * b[1] - a[1] * b[0],
        ];
        let determinant = depth[0] * a[2] + depth[1] * b[2] + depth[2] * c[2];
        let is_usable = determinant.is_finite() && determinant != 0.0;
        if !is_usable || source_size.0 == 0 || source_size.1 == 0 {
            return None;
        }
        let centre = [source_size.0 as f64 / 2.0, source_size.1 as f64 / 2.0];
        let at_centre = (depth[0] * centre[0] + depth[1] * centre[1] + depth[2]) / determinant;
        let sign = if at_centre < 0.0 { -1.0 } else { 1.0 };
        // Index (i, j) of the target is the point (i + 0.5, j + 0.5) ...
        let mut rows =
            [a, b, c].map(|[x, y, one]| [sign * x, sign * y, sign * (one + 0.5 * (x + y))]);
        // ... and the point (x, y) of the source has the index (x - 0.5, y - 0.5).
        let third = rows[2];
        for row in &mut rows[..2] {
            for (element, t) in row.iter_mut().zip(third) {
                *element -= 0.5 * t;
            }
        }
        Some(Self {
            rows,
            determinant: determinant.abs(),
        })
    }

    /// The homogeneous image of the index (`x`, `y`).
    pub(super) fn apply(&self, x: f64, y: f64) -> [f64; 3] {
        self.rows.map(|row| row[0] * x + row[1] * y + row[2])
    }

    /// Whether the target pixel (`x`, `y`) shows a point that lies between pixel centres of the source.
    pub(super) fn covers(&self, source_size: (usize, usize), x: usize, y: usize) -> bool {
        let [u, v, w] = self.apply(x as f64, y as f64);
        let inside = |value: f64, length: usize| value >= 0.0 && value <= (length as f64 - 1.0) * w;
        w > 0.0 && inside(u, source_size.0) && inside(v, source_size.1)
    }

    /// The whole factor by which the source is to be reduced: the mean, over a grid of target pixels that show the
    /// source, of the source length that a target pixel's side stands for, rounded; 1 below [`REDUCE_FROM`].
    ///
    /// That length is the root of the Jacobian determinant, which is `det H / w^3` for a projective map.
    pub(super) fn reduction(&self, source_size: (usize, usize), size: (usize, usize)) -> u32 {
        const GRID: usize = 48;
        let places = |length: usize| {
            (0..length.min(GRID)).map(move |i| (2 * i + 1) * length / (2 * length.min(GRID)))
        };
        let lengths: Vec<f64> = places(size.1)
            .flat_map(|y| places(size.0).map(move |x| (x, y)))
            .filter(|&(x, y)| self.covers(source_size, x, y))
            .map(|(x, y)| (self.determinant / self.apply(x as f64, y as f64)[2].powi(3)).sqrt())
            .collect();
        let mean = lengths.iter().sum::<f64>() / lengths.len() as f64;
        if mean >= REDUCE_FROM {
            mean.round() as u32
        } else {
            1
        }
    }

    /// The first covered pixel of row `y`, and the one after the last: the bounds are linear along a row, so they cut
    /// out one span. The ends are then settled by [`Self::covers`] itself, in case they were rounded.
    pub(super) fn covered(
        &self,
        source_size: (usize, usize),
        y: usize,
        width: usize,
    ) -> (usize, usize) {
        let limits = [source_size.0 as f64 - 1.0, source_size.1 as f64 - 1.0];
        let slopes = self.rows.map(|row| row[0]);
        let starts = self.apply(0.0, y as f64);
        let (mut low, mut high) = (0.0f64, width as f64 - 1.0);
        let mut cut = |slope: f64, start: f64| {
            let root = -start / slope;
            if slope > 0.0 {
                low = low.max(root);
            } else if slope < 0.0 {
                high = high.min(root);
            } else if start < 0.0 {
                high = -1.0;
            }
        };
        cut(slopes[2], starts[2]);
        for i in 0..2 {
            cut(slopes[i], starts[i]);
            cut(
                limits[i] * slopes[2] - slopes[i],
                limits[i] * starts[2] - starts[i],
            );
        }
        // A pixel more on each side. The conversions cut off at 0.
        let mut from = ((low - 1.0).floor() as usize).min(width);
        let mut to = ((high + 2.0).floor() as usize).min(width);
        while from < to && !self.covers(source_size, from, y) {
            from += 1;
        }
        while from < to && !self.covers(source_size, to - 1, y) {
            to -= 1;
        }
        (from.min(to), to)
    }
}
