//! What is written of a number: nothing where it is not finite.
use super::json::{Figure, Pair};
use crate::statistics::Measured;

/// The number, if it is one.
pub(super) fn finite(x: f64) -> Option<f64> {
    x.is_finite().then_some(x)
}

/// A figure as it is written; its numbers are finite.
pub(super) fn figure(m: Measured) -> Figure {
    Figure {
        value: m.value(),
        low: m.low(),
        high: m.high(),
    }
}

pub(super) fn pair([x, y]: [Option<Measured>; 2]) -> Pair {
    Pair {
        x: x.map(figure),
        y: y.map(figure),
    }
}
