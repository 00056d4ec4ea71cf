//! One mark carried from an image to its next version.
//!
//! The place is predicted by what changed in the whole, looked for around that from coarse to fine by likeness of the
//! surroundings, brought to rest between the pixels, and carried back again: where it does not come back, it was lost.
//!
//! # Source
//! J.-Y. Bouguet, "Pyramidal implementation of the Lucas Kanade feature tracker" (2000): coarse to fine. Z. Kalal, K. Mikolajczyk
//! and J. Matas, "Forward-backward error" (2010): there and back.
use super::{levels::Levels, patch::Patch, settings::CARRY};
use nalgebra::{Matrix2, Matrix3, Vector2, Vector3};

/// Levels on which a mark is looked for, the coarsest first, and how far in samples of each: 32 px in all directions.
const LEVELS: [(usize, i32); 4] = [(3, 4), (2, 2), (1, 2), (0, 2)];

/// A mark carried over.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Carried {
    /// Its place in the next version, pixels.
    pub place: [f64; 2],
    /// Standard deviation of that beside the mark it was carried from, pixels: in the direction in which it is known worst.
    pub deviation: f64,
    /// The same in the direction in which it is known best.
    pub least_deviation: f64,
    /// What says that it is there.
    pub by: CarriedBy,
}

impl Carried {
    /// Correlation of its surroundings before and after, 0 to 1; `None` where they were not found.
    pub fn likeness(&self) -> Option<f64> {
        match self.by {
            CarriedBy::Tracking { likeness } => Some(likeness),
            CarriedBy::Camera => None,
        }
    }
}

/// What says where a mark is in the next version.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum CarriedBy {
    /// Its surroundings were found again.
    Tracking {
        /// Their correlation before and after, 0 to 1.
        likeness: f64,
    },
    /// The camera shows its place on the model there.
    Camera,
}

impl CarriedBy {
    /// As JSON has it.
    pub fn name(self) -> &'static str {
        match self {
            Self::Tracking { .. } => "tracking",
            Self::Camera => "camera",
        }
    }
}

/// Why a mark could not be carried over.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum Lost {
    /// The surroundings reach beyond an image.
    #[error("it lies at the border of the picture, or outside of the new one")]
    AtBorder,
    /// Nothing to go by.
    #[error("there is nothing to go by around it")]
    Flat,
    /// Something else is there.
    #[error("its surroundings look different now (correlation {likeness:.2})")]
    Unlike {
        /// The best correlation found.
        likeness: f64,
    },
    /// It slides along an edge.
    #[error("it slides along an edge (±{:.1} px)", 1.96 * deviation)]
    Slides {
        /// Standard deviation along it, pixels.
        deviation: f64,
    },
    /// Carried back it is elsewhere.
    #[error("carried back again it lies {px:.1} px off")]
    NotBack {
        /// How far off, pixels.
        px: f64,
    },
}

/// Carries a mark over; `map` is what changed in the whole: it takes pixels of `old` to those of `new`. A mark `on_outline` need be
/// known across the outline alone; its surroundings have to correlate by `least`.
pub(super) fn carry(
    [old, new]: [&Levels; 2],
    mark: [f64; 2],
    map: &Matrix3<f64>,
    (on_outline, least): (bool, f64),
) -> Result<Carried, Lost> {
    let mark = Vector2::from(mark);
    let (predicted, linear) = at(map, mark).ok_or(Lost::AtBorder)?;
    let (place, level, likeness) = look([old, new], mark, (predicted, &linear), least)?;
    let patch = Patch::around(old, level, mark).ok_or(Lost::Flat)?;
    let found = patch
        .settle(new, place, &linear)
        .ok_or(Lost::Unlike { likeness })?;
    let back = linear.try_inverse().ok_or(Lost::AtBorder)?;
    let again = Patch::around(new, level, found.place)
        .and_then(|patch| patch.settle(old, mark, &back))
        .ok_or(Lost::Unlike { likeness })?;
    let px = (again.place - mark).norm();
    let eigen = found.covariance.symmetric_eigen().eigenvalues;
    let off = (linear * (again.place - mark)).norm() / 2.0;
    let deviation = |variance: f64| {
        (CARRY.noise.get().powi(2) * variance.max(0.0) + CARRY.least_deviation.get().powi(2)).sqrt()
    };
    let (worst, best) = (deviation(eigen.max()).hypot(off), deviation(eigen.min()));
    let matters = if on_outline { best } else { worst };
    if matters > CARRY.most_deviation.get() {
        return Err(Lost::Slides { deviation: worst });
    }
    if !on_outline && px > CARRY.there_and_back.get().max(2.0 * worst) {
        return Err(Lost::NotBack { px });
    }
    Ok(Carried {
        place: found.place.into(),
        deviation: worst,
        least_deviation: best,
        by: CarriedBy::Tracking { likeness },
    })
}

/// The place to a sample, the level on which it is to be settled, and the likeness there.
fn look(
    [old, new]: [&Levels; 2],
    mark: Vector2<f64>,
    (predicted, linear): (Vector2<f64>, &Matrix2<f64>),
    least: f64,
) -> Result<(Vector2<f64>, usize, f64), Lost> {
    let mut at = predicted;
    let mut last = Err(Lost::AtBorder);
    for (level, reach) in LEVELS.into_iter().filter(|(level, _)| *level < old.count()) {
        let Some(patch) = Patch::around(old, level, mark) else {
            if level == 0 && last == Err(Lost::AtBorder) {
                let is_inside = Patch::is_inside(old, mark);
                return Err(if is_inside {
                    Lost::Flat
                } else {
                    Lost::AtBorder
                });
            }
            continue;
        };
        let Some((place, likeness)) = patch.most_alike(new, at, linear, reach) else {
            continue;
        };
        // A coarse level that shows another thing does not lead; a fine one that does not reach what a coarser one had (noise,
        // a blur) leaves the settling to that.
        if likeness >= least {
            (at, last) = (place, Ok((place, level, likeness)));
        } else if last.is_err() {
            last = Err(Lost::Unlike { likeness });
        }
    }
    last
}

/// Where a map takes a place, and its linear part there; `None` beyond its horizon.
pub(super) fn at(map: &Matrix3<f64>, p: Vector2<f64>) -> Option<(Vector2<f64>, Matrix2<f64>)> {
    let h = map * Vector3::new(p.x, p.y, 1.0);
    // Not a number is beyond the horizon as well.
    if h.z.is_nan() || h.z <= 1e-9 {
        return None;
    }
    let place = h.xy() / h.z;
    let linear = Matrix2::from_fn(|r, c| (map[(r, c)] - place[r] * map[(2, c)]) / h.z);
    (place.iter().chain(linear.iter()).all(|v| v.is_finite()) && linear.determinant().abs() > 1e-6)
        .then_some((place, linear))
}
