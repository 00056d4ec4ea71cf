//! A length at several scales and in several units, as text and as JSON.
use super::json::nine_digits;
use crate::units::{CommonScale, FullSizeMm, ScaleRatio};
use serde::Serialize;

/// A length converted, and the scales that would give a wanted model length.
#[derive(Clone, Debug, Serialize)]
pub struct LengthAnswer {
    /// The length as it was asked for, then at each scale asked for; full size is the scale "1:1".
    pub lengths: Vec<LengthAtScale>,
    /// What was asked for with a wanted model length.
    pub wanted: Option<WantedScale>,
}

/// A length at one scale.
#[derive(Clone, Debug, Serialize)]
pub struct LengthAtScale {
    /// The scale, such as "1:24".
    pub scale: String,
    /// N of 1:N.
    pub scale_denominator: f64,
    /// Millimetres.
    pub mm: f64,
    /// Centimetres.
    pub cm: f64,
    /// Metres.
    pub m: f64,
    /// Inches.
    pub inches: f64,
    /// Feet and inches to a fraction, such as "3' 10 1/2\"".
    pub feet_and_inches: String,
}

/// The scale for a wanted model length.
#[derive(Clone, Debug, Serialize)]
pub struct WantedScale {
    /// The wanted length on the model, millimetres.
    pub model_mm: f64,
    /// N of the exact scale 1:N.
    pub exact_denominator: f64,
    /// Scales in use, the nearest first.
    pub nearest: Vec<NearScale>,
}

/// A scale in use near the exact one.
#[derive(Clone, Debug, Serialize)]
pub struct NearScale {
    /// Where it is used.
    pub uses: Vec<&'static str>,
    /// The length at this scale.
    #[serde(flatten)]
    pub length: LengthAtScale,
    /// The length over the wanted one, minus 1, per cent.
    pub difference_percent: f64,
}

impl LengthAtScale {
    /// A full-size length at a scale.
    pub fn new(full_size: FullSizeMm, scale: ScaleRatio) -> Self {
        let mm = full_size.at(scale).0;
        // Half a thousandth of the length is more than a rule shows.
        let feet = FullSizeMm(mm).feet_and_inches_within(mm * 5e-4);
        Self {
            scale: scale_text(scale),
            scale_denominator: nine_digits(scale.denominator()),
            mm: nine_digits(mm),
            cm: nine_digits(mm / 10.0),
            m: nine_digits(mm / 1000.0),
            inches: nine_digits(mm / 25.4),
            feet_and_inches: feet,
        }
    }
}

impl WantedScale {
    /// The exact scale and those near it.
    pub fn new(full_size: FullSizeMm, model_mm: f64, nearest: &[CommonScale]) -> Self {
        let near = |common: &CommonScale| {
            let length = LengthAtScale::new(full_size, common.scale);
            let difference = 100.0 * (full_size.at(common.scale).0 / model_mm - 1.0);
            let uses = common.uses.iter().flatten();
            NearScale {
                uses: uses.map(|of| of.words()).collect(),
                length,
                difference_percent: nine_digits(difference),
            }
        };
        Self {
            model_mm: nine_digits(model_mm),
            exact_denominator: nine_digits(full_size.0 / model_mm),
            nearest: nearest.iter().map(near).collect(),
        }
    }
}

impl LengthAnswer {
    /// The answer as indented JSON with a newline at its end.
    pub fn to_json(&self) -> String {
        let text = serde_json::to_string_pretty(self).expect("an answer has only string keys");
        text + "\n"
    }

    /// The answer as lines for a terminal.
    pub fn to_text(&self) -> String {
        let mut text = String::new();
        for length in &self.lengths {
            text.push_str(&line(length));
            text.push('\n');
        }
        if let Some(wanted) = &self.wanted {
            text.push_str(&format!(
                "\nA model of {} mm is 1:{}. The nearest scales in use:\n",
                short(wanted.model_mm),
                short(wanted.exact_denominator)
            ));
            for near in &wanted.nearest {
                text.push_str(&format!(
                    "{}  {:>+7.1} %  {}\n",
                    line(&near.length),
                    near.difference_percent,
                    near.uses.join(", ")
                ));
            }
        }
        text
    }
}

fn line(length: &LengthAtScale) -> String {
    format!(
        "{:<10} {:>10} mm {:>10} in   {}",
        length.scale,
        short(length.mm),
        short(length.inches),
        length.feet_and_inches
    )
}

/// "full size", "1:24", "2:1".
fn scale_text(scale: ScaleRatio) -> String {
    match scale.denominator() {
        1.0 => "full size".to_owned(),
        n if n < 1.0 => format!("{}:1", short(1.0 / n)),
        n => format!("1:{}", short(n)),
    }
}

/// Five significant digits, without zeros at the end.
fn short(x: f64) -> String {
    let rounded: f64 = format!("{x:.4e}").parse().unwrap_or(x);
    format!("{rounded}")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::nearest_scales;

    #[test]
    fn numbers_have_five_digits_and_scales_their_usual_form() {
        assert_eq!(short(36.909375), "36.909");
        assert_eq!(short(1181.1), "1181.1");
        assert_eq!(short(304.8 / 3.5), "87.086");
        let text = |n| scale_text(ScaleRatio::one_to(n).expect("above 0"));
        assert_eq!(
            [text(1.0), text(0.5), text(76.2)],
            ["full size", "2:1", "1:76.2"]
        );
    }

    #[test]
    fn a_wanted_length_is_met_by_the_nearest_scale() {
        let wanted = WantedScale::new(FullSizeMm(5760.0), 180.0, &nearest_scales(32.0, 2));
        assert_eq!(wanted.exact_denominator, 32.0);
        assert_eq!(wanted.nearest[0].length.scale, "1:32");
        assert_eq!(wanted.nearest[0].difference_percent, 0.0);
        assert_eq!(wanted.nearest[1].length.scale, "1:35");
    }
}
