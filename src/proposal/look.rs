//! Where the reference shows what the render shows at a place: looked for within the ellipse in which it is to be expected,
//! by the likeness of the surroundings. What is not clearly there, or in two places, is left where it was expected.
use super::settings::PROPOSAL;
use crate::{
    frame::{Point, ReferencePx},
    measurement::{Search, most_alike},
    registration::adjustment::Expected,
};
use image::RgbImage;
use nalgebra::{Matrix2, Vector2};
use std::collections::HashMap;

/// Samples from the middle of a compared patch to its side.
const HALF: i32 = 10;
/// Samples that a wide look goes to each side; finer ones are compared after it.
const WIDE: i32 = 9;
/// Samples that the last look goes to each side.
const CLOSE: i32 = 5;
/// What was found is kept for so many places.
const MOST_KEPT: usize = 4000;

/// What the reference shows.
#[derive(Clone, Copy, Debug)]
pub(super) struct Shown {
    pub(super) at: Point<ReferencePx>,
    /// Of that place, the deviation of a mark left out; reference px.
    pub(super) covariance: Matrix2<f64>,
}

/// One look, and from where.
#[derive(Clone, Copy, Debug)]
struct Look {
    from: Point<ReferencePx>,
    reach: f64,
    found: Option<Shown>,
}

/// Both pictures of a view, and what was looked for in them. A mark more changes little of where things are to be expected: what
/// was found stays found.
pub struct Looked<'a> {
    /// The render.
    pub render: &'a RgbImage,
    /// The reference as it is on disk.
    pub reference: &'a RgbImage,
    /// What was found before.
    pub before: Finds,
}

/// What was found at places of a pair of pictures.
#[derive(Clone, Debug, Default)]
pub struct Finds {
    by_place: HashMap<[u64; 2], Look>,
}

impl Looked<'_> {
    /// What the reference shows for this place of the render; `None` where that is not clear. Kept for the next time by
    /// [`Self::keep`].
    pub(super) fn find(&self, at: [f64; 2], expected: &Expected) -> (Option<Shown>, Option<Found>) {
        let reach = reach(expected);
        let from = expected.reference;
        let key = at.map(f64::to_bits);
        if let Some(look) = self.before.by_place.get(&key) {
            let is_within = from.distance(look.from) + reach <= 1.1 * look.reach + 2.0;
            let is_narrower = reach < 0.6 * look.reach;
            if is_within && (look.found.is_some() || !is_narrower) {
                let found = look.found.filter(|shown| is_expected(expected, shown.at));
                return (found, None);
            }
        }
        let found = self.shown(at, expected, reach);
        let look = Look { from, reach, found };
        (found, Some(Found { key, look }))
    }

    /// Keeps what was found.
    pub(super) fn keep(&mut self, found: Found) {
        let by_place = &mut self.before.by_place;
        if by_place.len() >= MOST_KEPT {
            by_place.clear();
        }
        by_place.insert(found.key, found.look);
    }

    fn shown(&self, at: [f64; 2], expected: &Expected, reach: f64) -> Option<Shown> {
        let images = [self.render, self.reference];
        let linear = expected.render_by_reference;
        let enlarged = linear.determinant().abs().sqrt();
        // Reference pixels of one pixel of the coarser image.
        let pixel = enlarged.recip().max(1.0);
        let mark = Point::new(at[0], at[1]);
        let mut from = expected.reference;
        let pixels_a_sample = reach / pixel / f64::from(WIDE);
        let mut close_reach = (reach / pixel).ceil() as i32;
        if pixels_a_sample > 1.0 {
            let search = Search {
                half: HALF,
                reach: WIDE + 1,
                pixels_a_sample: pixels_a_sample.min(PROPOSAL.coarsest.get()),
            };
            let wide = most_alike(images, linear, (mark, from), search).ok()?;
            if wide.correlation - wide.next < PROPOSAL.ahead.get() {
                return None;
            }
            from = Point::new(from.x + wide.moved.x, from.y + wide.moved.y);
            close_reach = CLOSE;
        }
        let search = Search {
            half: HALF,
            // What is left of a wide look lies within two of its samples.
            reach: close_reach.max(CLOSE),
            pixels_a_sample: 1.0,
        };
        let close = most_alike(images, linear, (mark, from), search).ok()?;
        let is_clear = close.correlation >= PROPOSAL.least_likeness.get()
            && close.correlation - close.next >= PROPOSAL.ahead.get();
        let (within, narrowness) = (close.within?, close.narrowness?);
        if !is_clear {
            return None;
        }
        let shift: Vector2<f64> = close.moved + within;
        let at = Point::new(from.x + shift.x, from.y + shift.y);
        let samples = f64::from((2 * HALF + 1).pow(2));
        let left = (1.0 - close.correlation.powi(2)) / close.correlation;
        let covariance = narrowness * (PROPOSAL.alike_noise.get().powi(2) * left / samples);
        let shown = Shown { at, covariance };
        is_expected(expected, at).then_some(shown)
    }
}

/// A look that was made anew.
pub(super) struct Found {
    key: [u64; 2],
    look: Look,
}

/// Half of the longer axis of the 95 % ellipse of two normal quantities, reference px.
fn reach(expected: &Expected) -> f64 {
    let variance = expected.covariance.symmetric_eigenvalues().max();
    (5.991 * variance.max(0.0)).sqrt()
}

/// Whether a place is no farther off than is to be expected.
fn is_expected(expected: &Expected, at: Point<ReferencePx>) -> bool {
    let off = Vector2::new(at.x - expected.reference.x, at.y - expected.reference.y);
    let Some(inverse) = expected.covariance.try_inverse() else {
        return false;
    };
    // 95 % of two normal quantities.
    off.dot(&(inverse * off)) <= 5.991
}
