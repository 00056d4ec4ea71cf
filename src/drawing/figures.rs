//! Figures in words: value, interval, arrows, verdicts, as they stand on pictures and sheets.
use crate::{
    measurement::RegionMeasure,
    statistics::{
        Measured,
        words::{self, Sign},
    },
};

/// A signed figure with its interval: `+4.1 ±0.7 %`, or `+4.1 (+3.0 to +6.5) %` where it is lopsided.
pub(crate) fn signed_with(figure: Measured, unit: &str) -> String {
    words::interval(figure, Sign::Always, unit)
}

/// One component of an offset, the sign as an arrow: `→ 0.30 ±0.06 mm`.
pub(crate) fn offset(figure: Measured, axis: usize, unit: &str) -> String {
    let arrow = match (axis, figure.value() >= 0.0) {
        (0, true) => "→",
        (0, false) => "←",
        (_, true) => "↓",
        (_, false) => "↑",
    };
    format!("{arrow} {}", words::interval(figure, Sign::Never, unit))
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
    fn offsets_point_where_they_go() {
        assert_eq!(offset(figure(0.3, 0.06), 0, " mm"), "→ 0.30 ±0.06 mm");
        assert_eq!(offset(figure(-0.3, 0.06), 0, " mm"), "← 0.30 ±0.06 mm");
        assert_eq!(offset(figure(2.0, 0.5), 1, " px"), "↓ 2.0 ±0.5 px");
        assert_eq!(offset(figure(-2.0, 0.5), 1, " px"), "↑ 2.0 ±0.5 px");
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
