//! Width over height of a rectangle, as people write it.
use super::{error::FaultKind, raw::RawAspect};
use crate::{
    printable::shortened,
    units::{LengthError, parse_length},
};

/// Width over height of `16:9`, `2.39:1`, `1920 x 1080`, a number, or `210 mm x 297 mm`; from 0.01 to 100.
pub(super) fn aspect(raw: &RawAspect) -> Result<f64, FaultKind> {
    let (value, found) = match raw {
        RawAspect::Number(number) => (*number, number.to_string()),
        RawAspect::Text(text) => (from_text(text)?, format!("\"{}\"", shortened(text))),
    };
    within_range(value, || found.clone())
}

/// The aspect where it is a shape that can be rectified.
pub(super) fn within_range(value: f64, found: impl Fn() -> String) -> Result<f64, FaultKind> {
    if (0.01..=100.0).contains(&value) {
        Ok(value)
    } else {
        Err(FaultKind::AspectOutOfRange { found: found() })
    }
}

fn from_text(text: &str) -> Result<f64, FaultKind> {
    let unreadable = || FaultKind::AspectUnreadable {
        found: format!("\"{}\"", shortened(text)),
    };
    let (width, height) = text
        .split_once([':', 'x', 'X', '×'])
        .or_else(|| text.split_once('/'))
        .map(|(width, height)| (width.trim(), height.trim()))
        .ok_or_else(unreadable)?;
    match (plain_number(width), plain_number(height)) {
        (Some(width), Some(height)) => Ok(width / height),
        (None, None) => Ok(length(width, unreadable)? / length(height, unreadable)?),
        (Some(_), None) | (None, Some(_)) => {
            let side = plain_number(width).map_or(width, |_| height);
            length(side, unreadable)?;
            let found = shortened(text);
            Err(FaultKind::AspectHalfUnit { found })
        }
    }
}

fn length(text: &str, unreadable: impl Fn() -> FaultKind) -> Result<f64, FaultKind> {
    parse_length(text).map_err(|error| match error {
        LengthError::Unreadable { .. } => unreadable(),
        other => other.into(),
    })
}

/// A number without a unit; words that Rust reads as numbers, such as `inf`, are none.
fn plain_number(text: &str) -> Option<f64> {
    let is_plain = text
        .chars()
        .all(|c| c.is_ascii_digit() || matches!(c, '.' | '-'));
    is_plain.then(|| text.parse().ok()).flatten()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Result<f64, FaultKind> {
        aspect(&RawAspect::Text(text.to_owned()))
    }

    #[test]
    fn aspects_are_read_in_all_their_forms() {
        for (text, value) in [
            ("16:9", 16.0 / 9.0),
            ("2.39:1", 2.39),
            ("4/3", 4.0 / 3.0),
            ("1920x1080", 16.0 / 9.0),
            ("210 mm x 297 mm", 210.0 / 297.0),
            ("8 1/2 in × 11 in", 8.5 / 11.0),
        ] {
            let read = read(text).expect(text);
            // One rounding each in the lengths and in the quotient.
            assert!((read - value).abs() < 1e-14, "{text}: {read}");
        }
        assert_eq!(aspect(&RawAspect::Number(1.85)), Ok(1.85));
    }

    #[test]
    fn faulty_aspects_say_what_is_allowed() {
        for (text, words) in [
            ("wide", "cannot be read; write \"16:9\", \"2.39:1\""),
            ("16:", "cannot be read"),
            ("inf:1", "cannot be read"),
            ("0:9", "must be from 0.01 to 100"),
            ("16:0", "must be from 0.01 to 100"),
            ("-16:9", "must be from 0.01 to 100"),
            ("210 mm x 297", "a unit on one side only"),
            ("210 x 297 mm", "a unit on one side only"),
            ("3 leagues x 2 mm", "the unit \"leagues\" is not known"),
        ] {
            let error = read(text).expect_err(text).to_string();
            assert!(error.contains(words), "{text}: {error}");
        }
    }
}
