//! What is written of a number: nothing where it is not finite.
use super::json::{Figure, Pair};
use crate::statistics::Measured;

/// The number, if it is one.
pub(super) fn finite(x: f64) -> Option<f64> {
    x.is_finite().then_some(x)
}

/// `Measured` promises finite numbers, but its fields are public: a report must hold the promise whoever filled them.
pub(super) fn figure(m: Measured) -> Option<Figure> {
    let all = [m.value, m.low, m.high];
    all.iter().all(|x| x.is_finite()).then_some(Figure {
        value: m.value,
        low: m.low,
        high: m.high,
    })
}

pub(super) fn pair([x, y]: [Option<Measured>; 2]) -> Pair {
    Pair {
        x: x.and_then(figure),
        y: y.and_then(figure),
    }
}
