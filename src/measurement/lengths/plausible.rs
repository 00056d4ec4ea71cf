//! Whether the scales of both images can be meant: a model several times too large or too small asks for a unit.
use super::scales::{KnownMarks, study};
use crate::{
    job::{Job, View},
    measurement::Scales,
    registration::Adjustment,
    units::unit_between,
};

/// A model so many times too large or too small is asked about (a judgement): nobody builds so far off, and a copy is not
/// printed so far off either.
pub(super) const PLAUSIBLE: f64 = 1.5;
/// A ratio is taken for the job's scale where it is as near to it as this, as a factor: a judgement.
const SCALE_NEAR: f64 = 1.1;

/// What the known lengths of a view say of a size that cannot be meant, in a sentence without its full stop; `None` where
/// the model as a whole is about as large as it should be, or nothing tells.
pub fn implausible_size(job: &Job, view: &View, adjustment: &Adjustment) -> Option<String> {
    let marks = KnownMarks::new(view, adjustment);
    of_scales(&study(job, view, &marks).figures, job.scale.denominator())
}

/// The same from scales that are known already; `denominator` is that of the job's scale.
pub(crate) fn of_scales(scales: &Scales, denominator: f64) -> Option<String> {
    let ratio = 1.0 + scales.model_size_percent?.value() / 100.0;
    let is_large = ratio > 1.0;
    let times = if is_large { ratio } else { 1.0 / ratio };
    if !times.is_finite() || times < PLAUSIBLE {
        return None;
    }
    let off = |factor: f64| (times / factor).ln().abs();
    let unit = unit_between(times);
    // Where a unit is as near, the nearer one is meant.
    let is_scale = off(denominator) < SCALE_NEAR.ln()
        && unit.is_none_or(|(factor, _)| off(denominator) < off(factor));
    let advice = match unit {
        _ if is_scale => "that is the job's scale: see whether a length of the model is stated as \"full_size\", or one of the \
                          full-size object as \"model\""
            .to_owned(),
        Some((factor, units)) => {
            format!("{factor} lies between {units}: see whether a known length has another unit")
        }
        None => {
            "see whether a known length has another unit, or is marked at the wrong ends".to_owned()
        }
    };
    let word = if is_large { "large" } else { "small" };
    let digits = if times < 20.0 { 1 } else { 0 };
    Some(format!(
        "by the known lengths the model as a whole is {times:.digits$} times too {word}; {advice}, and whether the job's scale is right"
    ))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::statistics::Measured;

    fn of(percent: f64) -> Option<String> {
        of_scaled(percent, 33.0)
    }

    fn of_scaled(percent: f64, denominator: f64) -> Option<String> {
        let scales = Scales {
            model_size_percent: Measured::plus_minus(percent, 1.0),
            ..Scales::default()
        };
        of_scales(&scales, denominator)
    }

    #[test]
    fn a_model_that_is_off_by_the_scale_asks_for_full_size_and_model() {
        let words =
            "that is the job's scale: see whether a length of the model is stated as \"full_size\"";
        for (percent, denominator, is_scale) in [
            (2300.0, 24.0, true),
            (2440.0, 24.0, false),
            (2440.0, 25.0, false),
            (100.0 / 24.0 - 100.0, 24.0, true),
            (2300.0, 48.0, false),
            (60.0, 1.0, false),
        ] {
            let text = of_scaled(percent, denominator).expect("implausible");
            assert_eq!(text.contains(words), is_scale, "{percent}: {text}");
        }
    }

    #[test]
    fn a_model_of_about_its_size_is_not_asked_about() {
        assert_eq!(of_scales(&Scales::default(), 33.0), None);
        for percent in [-33.0, 0.0, 49.0] {
            assert_eq!(of(percent), None, "{percent}");
        }
    }

    #[test]
    fn the_likely_units_are_named() {
        for (percent, words) in [
            (
                896.0,
                "10.0 times too large; 10 lies between millimetres and centimetres",
            ),
            (
                -90.0,
                "10.0 times too small; 10 lies between millimetres and centimetres",
            ),
            (
                2440.0,
                "25 times too large; 25.4 lies between millimetres and inches",
            ),
            (
                1120.0,
                "12.2 times too large; 12 lies between inches and feet",
            ),
            (
                400.0,
                "5.0 times too large; see whether a known length has another unit, or",
            ),
        ] {
            let text = of(percent).expect("implausible");
            assert!(text.contains(words), "{percent}: {text}");
        }
    }
}
