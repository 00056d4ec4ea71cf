//! A patch of an image, how much another image is like it at a place, and where between the pixels it is most.
//!
//! # Source
//! Normalised cross-correlation: J. P. Lewis, "Fast template matching", Vision Interface (1995), eq. 2. Between the pixels:
//! B. Lucas and T. Kanade, "An iterative image registration technique" (1981), with gain and offset of the grey values as
//! unknowns; the covariance of the place is that of the least squares (GUM).
use super::{levels::Levels, settings::CARRY};
use nalgebra::{Matrix2, Matrix4, Vector2, Vector4};

/// Samples from the middle of a patch to its side.
const HALF: i32 = 7;
const MOST_STEPS: usize = 15;
/// Pixels below which a step is at rest.
const AT_REST: f64 = 0.003;

/// A patch around a mark.
pub(super) struct Patch {
    level: usize,
    /// Places about the middle, pixels.
    offsets: Vec<Vector2<f64>>,
    values: Vec<f64>,
    /// Values less their mean, divided by the root of their sum of squares.
    normal: Vec<f64>,
}

/// Where a patch was found.
#[derive(Clone, Copy, Debug)]
pub(super) struct Found {
    pub(super) place: Vector2<f64>,
    /// Of the place, pixels of the image in which it was looked for.
    pub(super) covariance: Matrix2<f64>,
}

impl Patch {
    /// `None` where it reaches beyond the image, or shows one grey.
    pub(super) fn around(levels: &Levels, level: usize, middle: Vector2<f64>) -> Option<Self> {
        let step = f64::from(1_u32 << level);
        let offsets: Vec<Vector2<f64>> = (-HALF..=HALF)
            .flat_map(|r| {
                (-HALF..=HALF).map(move |c| Vector2::new(f64::from(c), f64::from(r)) * step)
            })
            .collect();
        let values: Vec<f64> = offsets
            .iter()
            .map(|o| levels.value(level, middle + o))
            .collect::<Option<_>>()?;
        let (normal, deviation) = normalised(&values);
        (deviation >= CARRY.least_contrast.get()).then_some(Self {
            level,
            offsets,
            values,
            normal,
        })
    }

    /// Whether all of a patch of the finest level lies in the image.
    pub(super) fn is_inside(levels: &Levels, middle: Vector2<f64>) -> bool {
        let reach = f64::from(HALF);
        let inside = |v: f64, size: f64| v >= reach && v <= size - reach;
        let [width, height] = levels.size();
        inside(middle.x, width) && inside(middle.y, height)
    }

    /// Pixels of its own image from sample to sample.
    pub(super) fn step(&self) -> f64 {
        f64::from(1_u32 << self.level)
    }

    /// The level of another image on which this patch's samples lie about a sample apart there.
    fn level_in(&self, linear: &Matrix2<f64>) -> usize {
        let step = self.step() * linear.determinant().abs().sqrt();
        step.max(1.0).log2().round() as usize
    }

    fn values_at(
        &self,
        levels: &Levels,
        at: Vector2<f64>,
        linear: &Matrix2<f64>,
    ) -> Option<Vec<f64>> {
        let level = self.level_in(linear);
        let places = self.offsets.iter().map(|o| at + linear * o);
        places.map(|p| levels.value(level, p)).collect()
    }

    /// How much the other image is like it at a place, -1 to 1; `None` where the patch reaches beyond it or it shows one grey.
    pub(super) fn likeness(
        &self,
        levels: &Levels,
        at: Vector2<f64>,
        linear: &Matrix2<f64>,
    ) -> Option<f64> {
        let (normal, deviation) = normalised(&self.values_at(levels, at, linear)?);
        (deviation > 0.0).then(|| normal.iter().zip(&self.normal).map(|(a, b)| a * b).sum())
    }

    /// The most alike of the places up to `reach` samples around `at`.
    pub(super) fn most_alike(
        &self,
        levels: &Levels,
        at: Vector2<f64>,
        linear: &Matrix2<f64>,
        reach: i32,
    ) -> Option<(Vector2<f64>, f64)> {
        let moves = (-reach..=reach).flat_map(|r| (-reach..=reach).map(move |c| (c, r)));
        let places = moves
            .map(|(c, r)| at + linear * Vector2::new(f64::from(c), f64::from(r)) * self.step());
        places
            .filter_map(|p| Some((p, self.likeness(levels, p, linear)?)))
            .reduce(|best, next| if next.1 > best.1 { next } else { best })
    }

    /// The place between the pixels, from one that is right to a sample or two. `None` where it leads farther, comes to no rest, or
    /// where nothing tells it.
    pub(super) fn settle(
        &self,
        levels: &Levels,
        from: Vector2<f64>,
        linear: &Matrix2<f64>,
    ) -> Option<Found> {
        let level = self.level_in(linear);
        let step = self.step() * linear.determinant().abs().sqrt();
        let half = f64::from(1_u32 << level) / 2.0;
        let mut at = from;
        for _ in 0..MOST_STEPS {
            let mut normal = Matrix4::zeros();
            let mut right = Vector4::zeros();
            let mut square = 0.0;
            for (offset, wanted) in self.offsets.iter().zip(&self.values) {
                let p = at + linear * offset;
                let value = |dx: f64, dy: f64| levels.value(level, p + Vector2::new(dx, dy));
                let slope_x = (value(half, 0.0)? - value(-half, 0.0)?) / (2.0 * half);
                let slope_y = (value(0.0, half)? - value(0.0, -half)?) / (2.0 * half);
                let row = Vector4::new(slope_x, slope_y, value(0.0, 0.0)?, 1.0);
                normal += row * row.transpose();
                right += row * *wanted;
                square += wanted * wanted;
            }
            let inverse = normal.try_inverse()?;
            let solved = inverse * right;
            let gain = solved[2];
            if gain <= 0.0 {
                return None;
            }
            let change = Vector2::new(solved[0], solved[1]) / gain;
            // A step of the linear model is no better than the patch's own size.
            let change = change * (step / change.norm()).min(1.0);
            at += change;
            if (at - from).norm() > 2.5 * step {
                return None;
            }
            if change.norm() < AT_REST * step {
                let left = (square - solved.dot(&right)).max(0.0);
                let variance = left / (self.values.len() as f64 - 4.0) / (gain * gain);
                return Some(Found {
                    place: at,
                    covariance: inverse.fixed_view::<2, 2>(0, 0) * variance,
                });
            }
        }
        None
    }
}

/// Values less their mean, divided by the root of their sum of squares, and their standard deviation.
fn normalised(values: &[f64]) -> (Vec<f64>, f64) {
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    let square: f64 = values.iter().map(|v| (v - mean).powi(2)).sum();
    let root = square.sqrt().max(1e-12);
    let normal = values.iter().map(|v| (v - mean) / root).collect();
    (normal, (square / n).sqrt())
}
