//! Features of the full-size object at several scales, and what a printer cannot show of them.
use super::json::nine_digits;
use crate::units::{FullSizeMm, ScaleRatio, common_scales};
use serde::Serialize;

/// Something of the full-size object with a length that matters: a gap, a step, the thickness of a wall.
#[derive(Clone, Debug, PartialEq)]
pub struct Feature {
    /// What it is called.
    pub name: String,
    /// How large it is.
    pub length: FullSizeMm,
    /// Whether it is a wall, which has to hold.
    pub is_wall: bool,
}

/// What a printer can do; what is not stated limits nothing.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct Printer {
    /// Its pixel or dot, millimetres.
    pub pixel_mm: Option<f64>,
    /// The height of its layers, millimetres.
    pub layer_mm: Option<f64>,
    /// The least wall that holds, millimetres.
    pub wall_mm: Option<f64>,
}

/// All features at all scales.
#[derive(Clone, Debug, Serialize)]
pub struct FeatureTable {
    /// What the printer can do.
    pub printer: Printer,
    /// The scales, such as "1:24", in the order in which they were asked for.
    pub scales: Vec<String>,
    /// In the order of the table.
    pub features: Vec<FeatureRow>,
    /// N of 1:N up to which nothing is too small; null where nothing limits.
    pub nothing_too_small_up_to: Option<f64>,
    /// The smallest scale of models in use at which nothing is too small; null where nothing limits, or there is none.
    pub smallest_scale_in_use: Option<String>,
}

/// One feature.
#[derive(Clone, Debug, Serialize)]
pub struct FeatureRow {
    /// Its name.
    pub name: String,
    /// Full-size millimetres.
    pub full_size_mm: f64,
    /// Whether it is a wall.
    pub wall: bool,
    /// One for each scale.
    pub at: Vec<FeatureAtScale>,
}

/// One feature at one scale.
#[derive(Clone, Debug, Serialize)]
pub struct FeatureAtScale {
    /// Millimetres on the model.
    pub mm: f64,
    /// What it is smaller than: "pixel", "layer", "wall".
    pub below: Vec<&'static str>,
}

impl Printer {
    /// What limits a feature, with its millimetres: a wall by all, another one by pixel and layer.
    fn limits(self, is_wall: bool) -> impl Iterator<Item = (&'static str, f64)> {
        let wall = self.wall_mm.filter(|_| is_wall);
        let all = [
            ("pixel", self.pixel_mm),
            ("layer", self.layer_mm),
            ("wall", wall),
        ];
        all.into_iter().filter_map(|(word, mm)| Some((word, mm?)))
    }
}

impl FeatureTable {
    /// The features at these scales.
    pub fn new(features: &[Feature], scales: &[ScaleRatio], printer: Printer) -> Self {
        let row = |feature: &Feature| {
            let at = scales.iter().map(|scale| {
                let mm = feature.length.at(*scale).0;
                let too_small = printer
                    .limits(feature.is_wall)
                    .filter(|(_, limit)| mm < *limit);
                FeatureAtScale {
                    mm: nine_digits(mm),
                    below: too_small.map(|(word, _)| word).collect(),
                }
            });
            FeatureRow {
                name: feature.name.clone(),
                full_size_mm: nine_digits(feature.length.0),
                wall: feature.is_wall,
                at: at.collect(),
            }
        };
        let most = features.iter().flat_map(|feature| {
            let limits = printer.limits(feature.is_wall);
            limits.map(|(_, limit)| feature.length.0 / limit)
        });
        let most = most.reduce(f64::min);
        let in_use = most.and_then(|most| {
            // What a scale misses by less than its own rounding it does not miss.
            let fits = |n: f64| n <= most * (1.0 + 1e-9);
            let scales = common_scales().into_iter().map(|common| common.scale);
            let fitting =
                scales.filter(|scale| fits(scale.denominator()) && scale.denominator() > 1.0);
            fitting.max_by(|a, b| a.denominator().total_cmp(&b.denominator()))
        });
        Self {
            printer,
            scales: scales.iter().map(ToString::to_string).collect(),
            features: features.iter().map(row).collect(),
            nothing_too_small_up_to: most.map(nine_digits),
            smallest_scale_in_use: in_use.map(|scale| scale.to_string()),
        }
    }

    /// The table as indented JSON with a newline at its end.
    pub fn to_json(&self) -> String {
        let text = serde_json::to_string_pretty(self).expect("a table has only string keys");
        text + "\n"
    }

    /// The table as lines for a terminal.
    pub fn to_text(&self) -> String {
        let widest = self.features.iter().map(|f| f.name.chars().count()).max();
        let width = widest.unwrap_or(0).clamp(7, 40);
        let mut text = format!("{:width$} {:>13}", "feature", "full size mm");
        for scale in &self.scales {
            text += &format!(" {:>10} mm", scale);
        }
        text.push('\n');
        for feature in &self.features {
            let name: String = feature.name.chars().take(width).collect();
            text += &format!("{name:width$} {:>13}", short(feature.full_size_mm));
            for at in &feature.at {
                let mark = if at.below.is_empty() { "  " } else { " !" };
                text += &format!(" {:>11}{mark}", format!("{:.3}", at.mm));
            }
            text.truncate(text.trim_end().len());
            text.push('\n');
        }
        for (k, scale) in self.scales.iter().enumerate() {
            for word in ["pixel", "layer", "wall"] {
                let too_small = self
                    .features
                    .iter()
                    .filter(|f| f.at[k].below.contains(&word));
                let names: Vec<&str> = too_small.map(|f| f.name.as_str()).collect();
                if !names.is_empty() {
                    let what = if word == "wall" { "least wall" } else { word };
                    text += &format!("! at {scale} below the {what}: {}\n", names.join(", "));
                }
            }
        }
        text += &match (self.nothing_too_small_up_to, &self.smallest_scale_in_use) {
            (None, _) => {
                "state --pixel-mm, --layer-mm or --wall-mm to see what is too small\n".to_owned()
            }
            (Some(most), None) => format!("nothing is too small up to 1:{}\n", short(most)),
            (Some(most), Some(scale)) => format!(
                "nothing is too small up to 1:{}; the smallest scale in use is {scale}\n",
                short(most)
            ),
        };
        text
    }
}

/// Four significant digits, without zeros at the end.
fn short(x: f64) -> String {
    let rounded: f64 = format!("{x:.3e}").parse().unwrap_or(x);
    format!("{rounded}")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn feature(name: &str, mm: f64, is_wall: bool) -> Feature {
        Feature {
            name: name.to_owned(),
            length: FullSizeMm(mm),
            is_wall,
        }
    }

    fn scales(all: &[f64]) -> Vec<ScaleRatio> {
        let scale = |n: &f64| ScaleRatio::one_to(*n).expect("above 0");
        all.iter().map(scale).collect()
    }

    /// By hand: a wall of 24 mm is 1 mm at 1:24 and 0.75 mm at 1:32, a rivet of 1.2 mm is 0.05 and 0.0375 mm.
    #[test]
    fn what_is_below_pixel_layer_or_least_wall_is_said_and_up_to_which_scale_nothing_is() {
        let features = [
            feature("tank side", 24.0, true),
            feature("rivet", 1.2, false),
        ];
        let printer = Printer {
            pixel_mm: Some(0.04),
            layer_mm: Some(0.03),
            wall_mm: Some(0.8),
        };
        let table = FeatureTable::new(&features, &scales(&[24.0, 32.0]), printer);
        let below = |row: usize, at: usize| table.features[row].at[at].below.clone();
        assert_eq!(below(0, 0), Vec::<&str>::new());
        assert_eq!(below(0, 1), ["wall"]);
        assert_eq!(below(1, 0), Vec::<&str>::new());
        assert_eq!(below(1, 1), ["pixel"]);
        assert_eq!(table.features[1].at[0].mm, 0.05);
        // 1.2 / 0.04 and 24 / 0.8 are both 30: the next larger scale in use is 1:25.
        assert_eq!(table.nothing_too_small_up_to, Some(30.0));
        assert_eq!(table.smallest_scale_in_use.as_deref(), Some("1:25"));
        let text = table.to_text();
        assert!(
            text.contains("! at 1:32 below the least wall: tank side\n"),
            "{text}"
        );
        assert!(
            text.contains("! at 1:32 below the pixel: rivet\n"),
            "{text}"
        );
    }

    #[test]
    fn without_a_printer_nothing_is_too_small() {
        let table = FeatureTable::new(
            &[feature("gap", 0.1, false)],
            &scales(&[1000.0]),
            Printer::default(),
        );
        assert_eq!(table.nothing_too_small_up_to, None);
        assert!(table.features[0].at[0].below.is_empty());
    }
}
