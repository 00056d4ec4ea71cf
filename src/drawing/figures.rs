//! Figures in words: value, interval, arrows, verdicts, as they stand on pictures and sheets.
use crate::{
    measurement::{RegionMeasure, Verdict},
    statistics::Measured,
};

/// A verdict with the sign that doubles its colour.
pub(crate) fn verdict_sign(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Within => "✓",
        Verdict::Undecided => "?",
        Verdict::Out => "OUT",
    }
}

/// The verdict's word.
pub(crate) fn verdict_word(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Within => "within",
        Verdict::Undecided => "undecided",
        Verdict::Out => "out",
    }
}

/// Decimals that show an uncertainty with one or two figures.
fn decimals(half_width: f64) -> usize {
    match half_width {
        w if w >= 9.95 => 0,
        w if w >= 0.0995 || w <= 0.0 => 1,
        w if w >= 0.00995 => 2,
        _ => 3,
    }
}

/// A number with a true minus sign, and a plus where `signed`.
fn number(value: f64, decimals: usize, sign: Sign) -> String {
    let digits = format!("{:.decimals$}", value.abs());
    let zero = digits.chars().all(|c| matches!(c, '0' | '.'));
    match sign {
        _ if zero => digits,
        Sign::Shown if value > 0.0 => format!("+{digits}"),
        Sign::Shown => format!("−{digits}"),
        Sign::Left => digits,
    }
}

#[derive(Clone, Copy)]
enum Sign {
    Shown,
    Left,
}

/// A signed figure with its interval, without a unit: `+4.1 ±0.7`, or `+4.1 (+3.0 to +6.5)` where it is lopsided.
pub(crate) fn signed(figure: Measured) -> String {
    spell(figure, "", Sign::Shown)
}

/// The same with a unit: `+4.1 % ±0.7`.
pub(crate) fn signed_with(figure: Measured, unit: &str) -> String {
    spell(figure, unit, Sign::Shown)
}

fn spell(figure: Measured, unit: &str, sign: Sign) -> String {
    let half = figure.half_width();
    let places = decimals(half);
    let value = number(figure.value, places, sign) + unit;
    let lopsided = (figure.high - figure.value) - (figure.value - figure.low);
    if lopsided.abs() > 0.2 * half {
        let (low, high) = (figure.low, figure.high);
        let (low, high) = (
            number(low, places, Sign::Shown),
            number(high, places, Sign::Shown),
        );
        return format!("{value} ({low} to {high})");
    }
    format!("{value} ±{half:.places$}")
}

/// One component of an offset, the sign as an arrow: `→ 0.30 mm ±0.06`.
pub(crate) fn offset(figure: Measured, axis: usize, unit: &str) -> String {
    let arrow = match (axis, figure.value >= 0.0) {
        (0, true) => "→",
        (0, false) => "←",
        (_, true) => "↓",
        (_, false) => "↑",
    };
    let lopsided =
        (figure.high + figure.low - 2.0 * figure.value).abs() > 0.2 * figure.half_width();
    // An arrow carries the sign of the value only: the ends of a lopsided interval need their own.
    let sign = if lopsided { Sign::Shown } else { Sign::Left };
    format!("{arrow} {}", spell(figure, unit, sign))
}

/// The offset of a region in model millimetres where known, else in render pixels, and the unit.
pub(crate) fn region_offset(region: &RegionMeasure) -> ([Option<Measured>; 2], &'static str) {
    if region.offset_model_mm.iter().any(Option::is_some) {
        (region.offset_model_mm, " mm")
    } else {
        (region.offset_px, " px")
    }
}

/// A round number (1, 2 or 5 times a power of ten) that is not above `value`.
pub(crate) fn round_down(value: f64) -> f64 {
    if !(value.is_finite() && value > 0.0) {
        return 1.0;
    }
    let power = 10.0_f64.powf(value.log10().floor());
    let lead = value / power * (1.0 + 1e-9);
    let step = if lead >= 5.0 {
        5.0
    } else if lead >= 2.0 {
        2.0
    } else {
        1.0
    };
    step * power
}

/// The exaggeration of 1, 2, 5, 10, 20, 50 that brings `largest` nearest to `wanted`.
pub(crate) fn exaggeration(largest: f64, wanted: f64) -> f64 {
    const STEPS: [f64; 6] = [1.0, 2.0, 5.0, 10.0, 20.0, 50.0];
    if !(largest.is_finite() && largest > 0.0) {
        return 1.0;
    }
    let misfit = |step: f64| (step * largest / wanted).ln().abs();
    STEPS
        .into_iter()
        .min_by(|a, b| misfit(*a).total_cmp(&misfit(*b)))
        .expect("there are steps")
}

/// A plain number with as many decimals as it needs, two at most: `0.5`, `20`, `1.25`.
pub(crate) fn plain(value: f64) -> String {
    let text = format!("{value:.2}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn figure(value: f64, half: f64) -> Measured {
        Measured::plus_minus(value, half).expect("finite")
    }

    #[test]
    fn figures_show_as_many_decimals_as_their_interval_deserves() {
        assert_eq!(signed_with(figure(4.12, 0.71), " %"), "+4.1 % ±0.7");
        assert_eq!(signed(figure(-0.304, 0.062)), "−0.30 ±0.06");
        assert_eq!(signed(figure(-123.4, 21.0)), "−123 ±21");
        assert_eq!(signed(figure(0.01, 0.4)), "0.0 ±0.4");
        assert_eq!(signed(figure(1.5, 0.0)), "+1.5 ±0.0");
    }

    #[test]
    fn a_lopsided_interval_is_given_by_its_ends() {
        let lopsided = Measured {
            value: 4.0,
            low: 3.0,
            high: 8.0,
        };
        assert_eq!(signed_with(lopsided, " %"), "+4.0 % (+3.0 to +8.0)");
    }

    #[test]
    fn offsets_point_where_they_go() {
        assert_eq!(offset(figure(0.3, 0.06), 0, " mm"), "→ 0.30 mm ±0.06");
        assert_eq!(offset(figure(-0.3, 0.06), 0, " mm"), "← 0.30 mm ±0.06");
        assert_eq!(offset(figure(2.0, 0.5), 1, " px"), "↓ 2.0 px ±0.5");
        assert_eq!(offset(figure(-2.0, 0.5), 1, " px"), "↑ 2.0 px ±0.5");
    }

    #[test]
    fn exaggerations_and_scale_bars_are_round() {
        assert_eq!(exaggeration(10.0, 100.0), 10.0);
        assert_eq!(exaggeration(0.001, 100.0), 50.0);
        assert_eq!(exaggeration(400.0, 100.0), 1.0);
        assert_eq!(exaggeration(0.0, 100.0), 1.0);
        assert_eq!(round_down(0.07), 0.05);
        assert_eq!(round_down(50.0), 50.0);
        assert_eq!(round_down(199.0), 100.0);
        assert_eq!(
            (plain(0.5), plain(20.0)),
            ("0.5".to_owned(), "20".to_owned())
        );
    }
}
