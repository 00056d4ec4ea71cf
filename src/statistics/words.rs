//! Figures in words: the one wording of values and intervals for terminal, page, pictures, sheets and sentences.
use super::Measured;

/// Whether a positive number gets its plus sign.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Sign {
    /// An error or an offset: "+4.1".
    Always,
    /// A length or a scale: "4.1".
    Minus,
    /// An arrow or a word tells it: "4.1" for both.
    Never,
}

/// Beyond this many decimals a figure only pretends.
const MOST_DECIMALS: i32 = 4;
/// From here on powers of ten are shorter.
const LARGE: f64 = 1e6;
/// An interval whose sides differ by more than this part of its half width is told by its ends (a judgement).
const LOPSIDED: f64 = 0.2;

/// "+4.1 ±0.7 %": the half width to one significant digit, to two where it begins with 1 or 2, and the value to the same
/// place. `unit` begins with a space where there is to be one.
///
/// The half width is the longer side of the interval, so that the text never claims more than the interval.
pub(crate) fn plus_minus(figure: Measured, sign: Sign, unit: &str) -> String {
    let half = (figure.high - figure.value).max(figure.value - figure.low);
    if half >= LARGE || figure.value.abs() >= LARGE {
        let value = with_sign(figure.value, sign, |x| format!("{x:.1e}"));
        return format!("{value} ±{half:.0e}{unit}");
    }
    let place = last_place(half);
    let rounded = |x: f64| round_to(x, place);
    let value = with_sign(figure.value, sign, rounded);
    format!("{value} ±{}{unit}", rounded(half))
}

/// The same, or "+4.0 (+3.0 to +8.0) %" where the interval is lopsided.
pub(crate) fn interval(figure: Measured, sign: Sign, unit: &str) -> String {
    let (above, below) = (figure.high - figure.value, figure.value - figure.low);
    if (above - below).abs() <= LOPSIDED * figure.half_width() || above.max(below) >= LARGE {
        return plus_minus(figure, sign, unit);
    }
    let place = last_place(above.min(below).max(0.1 * above.max(below)));
    let text = |x: f64, sign: Sign| with_sign(x, sign, |x| round_to(x, place));
    let ends = match sign {
        Sign::Minus => Sign::Minus,
        // An arrow carries the sign of the value only: the ends need their own.
        Sign::Always | Sign::Never => Sign::Always,
    };
    format!(
        "{} ({} to {}){unit}",
        text(figure.value, sign),
        text(figure.low, ends),
        text(figure.high, ends)
    )
}

/// A plain number with this many decimals.
pub(crate) fn decimals(x: f64, places: usize) -> String {
    if x.abs() >= LARGE {
        return format!("{x:.1e}");
    }
    with_sign(x, Sign::Minus, |x| format!("{x:.places$}"))
}

/// A number with a true minus sign; what is shown as zero has none.
fn with_sign(x: f64, sign: Sign, write: impl Fn(f64) -> String) -> String {
    let digits = write(x.abs());
    let is_zero = !digits.bytes().any(|b| (b'1'..=b'9').contains(&b));
    match sign {
        _ if is_zero => digits,
        Sign::Always | Sign::Minus if x < 0.0 => format!("−{digits}"),
        Sign::Always => format!("+{digits}"),
        Sign::Minus | Sign::Never => digits,
    }
}

/// The power of ten of the last digit worth showing beside this half width.
fn last_place(half: f64) -> i32 {
    if half <= 0.0 {
        return -2;
    }
    let leading = half.log10().floor();
    let first_digits = half / 10f64.powf(leading);
    let place = if first_digits < 2.95 {
        leading - 1.0
    } else {
        leading
    };
    (place as i32).clamp(-MOST_DECIMALS, 6)
}

fn round_to(x: f64, place: i32) -> String {
    if place >= 0 {
        let unit = 10f64.powi(place);
        return format!("{:.0}", (x / unit).round() * unit);
    }
    let places = usize::try_from(-place).expect("the place is below 0");
    format!("{x:.places$}")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn text(value: f64, half: f64) -> String {
        let figure = Measured::plus_minus(value, half).expect("finite");
        plus_minus(figure, Sign::Always, "")
    }

    #[test]
    fn the_half_width_decides_the_last_place() {
        assert_eq!(text(4.123, 0.68), "+4.1 ±0.7");
        assert_eq!(text(-4.123, 0.14), "−4.12 ±0.14");
        assert_eq!(text(4.123, 0.2949), "+4.12 ±0.29");
        assert_eq!(text(4.123, 0.2951), "+4.1 ±0.3");
        assert_eq!(text(41.3, 12.2), "+41 ±12");
        assert_eq!(text(4321.0, 345.0), "+4300 ±300");
    }

    #[test]
    fn a_value_that_rounds_to_zero_has_no_sign() {
        assert_eq!(text(-0.03, 0.7), "0.0 ±0.7");
        assert_eq!(text(0.0, 0.0), "0.00 ±0.00");
    }

    #[test]
    fn huge_and_tiny_figures_stay_short() {
        assert!(text(-1e300, 3e299).len() < 20);
        assert_eq!(text(1.0, 1e-12), "+1.0000 ±0.0000");
    }

    #[test]
    fn an_uneven_interval_is_told_by_its_longer_side_or_its_ends() {
        let figure = Measured::new(4.0, 3.0, 8.0).expect("finite");
        assert_eq!(plus_minus(figure, Sign::Minus, " %"), "4 ±4 %");
        assert_eq!(
            interval(figure, Sign::Always, " %"),
            "+4.0 (+3.0 to +8.0) %"
        );
        assert_eq!(interval(figure, Sign::Minus, " mm"), "4.0 (3.0 to 8.0) mm");
        let even = Measured::plus_minus(-4.0, 1.0).expect("finite");
        assert_eq!(interval(even, Sign::Never, " mm"), "4.0 ±1.0 mm");
    }
}
