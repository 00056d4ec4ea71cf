//! The cameras of a job's references as JSON and as lines for a terminal.
use super::json::{SpaceEntry, nine_digits};
use crate::{
    registration::space::{
        Attitude, MarkFinding, MarkFit, Resection, SpaceMark, Told, Untold, WANTED_MARKS,
    },
    statistics::{
        Measured,
        words::{Sign, decimals, interval},
    },
};
use serde::Serialize;

/// The cameras of a job.
#[derive(Clone, Debug, Serialize)]
pub struct CameraReport {
    /// Each view that was asked for.
    pub views: Vec<CameraOfView>,
    /// What the photos of "together" tell; left out where the job names none.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub space: Option<SpaceEntry>,
}

/// The camera of one view's reference.
#[derive(Clone, Debug, Serialize)]
pub struct CameraOfView {
    /// Its name.
    pub name: String,
    /// Its camera; left out where it could not be solved.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub camera: Option<JsonCamera>,
    /// Why not.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub error: Option<JsonReason>,
}

/// A code for scripts and its words.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct JsonReason {
    /// Stable code.
    pub code: String,
    /// What it means and what to do.
    pub text: String,
}

impl JsonReason {
    /// Of a code and its words.
    pub fn new(code: &str, text: impl Into<String>) -> Self {
        Self {
            code: code.to_owned(),
            text: text.into(),
        }
    }
}

/// A solved camera.
#[derive(Clone, Debug, Serialize)]
pub struct JsonCamera {
    /// Width and height of the picture that the camera makes, pixels: of the reference, or of the rectified screen.
    pub picture_px: [f64; 2],
    /// The camera.
    pub first: JsonAttitude,
    /// Another one that fits as well.
    pub second_attitude: Option<JsonSecond>,
    /// Root mean square of the residuals of the marks that carry it, pixels of the reference.
    pub rms_px: f64,
    /// Standard deviation of a mark, pixels of the reference, as stated or as estimated.
    pub mark_sigma_px: f64,
    /// Each landmark with a place on the model.
    pub landmarks: Vec<JsonMark>,
    /// What is missing, and what to do.
    pub missing: Vec<JsonReason>,
}

/// Where a camera is and what it is like.
#[derive(Clone, Debug, Serialize)]
pub struct JsonAttitude {
    /// Where it is.
    pub exterior: JsonExterior,
    /// What it is like.
    pub interior: JsonInterior,
}

/// Where a camera is; axes are those of the model.
#[derive(Clone, Debug, Serialize)]
pub struct JsonExterior {
    /// Three rows of four numbers that take model millimetres (x, y, z, 1) to pixels of the picture, homogeneous.
    pub matrix: [[f64; 4]; 3],
    /// Its place, millimetres.
    pub centre_model_mm: [JsonTold; 3],
    /// The middle of the datum landmarks, millimetres.
    pub looks_at_model_mm: [f64; 3],
    /// From its place to there, millimetres.
    pub distance_model_mm: JsonTold,
    /// Where it stands seen from there: from x towards y, degrees.
    pub azimuth_deg: JsonTold,
    /// Above the plane of x and y, degrees.
    pub elevation_deg: JsonTold,
    /// How far it is turned clockwise, seen from behind, from where z points up, degrees.
    pub roll_deg: JsonTold,
    /// Direction of its axis.
    pub axis: [f64; 3],
    /// What is up in the picture.
    pub up: [f64; 3],
}

/// What a camera is like.
#[derive(Clone, Debug, Serialize)]
pub struct JsonInterior {
    /// Focal length, pixels of the picture.
    pub focal_length_px: JsonTold,
    /// The same for 35 mm film, millimetres, by the diagonal.
    pub focal_length_35mm: JsonTold,
    /// Between the left and the right border, degrees.
    pub field_of_view_deg: JsonTold,
    /// Where its axis meets the picture, pixels.
    pub principal_point_px: [JsonTold; 2],
    /// Coefficient of the lens, where it was an unknown.
    pub lens: Option<JsonTold>,
}

/// A figure with its 95 % interval; `null` is what cannot be told.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct JsonTold {
    /// The best estimate.
    pub value: Option<f64>,
    /// Lower end.
    pub low: Option<f64>,
    /// Upper end.
    pub high: Option<f64>,
    /// Why it cannot be told.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub untold: Option<&'static str>,
}

/// Another attitude.
#[derive(Clone, Debug, Serialize)]
pub struct JsonSecond {
    /// It.
    #[serde(flatten)]
    pub attitude: JsonAttitude,
    /// How much worse it fits, as a chi-square.
    pub cost_more: f64,
}

/// A landmark as the camera shows it.
#[derive(Clone, Debug, Serialize)]
pub struct JsonMark {
    /// Its name.
    pub name: String,
    /// Where the camera shows it, pixels of the reference.
    pub predicted_px: Option<[f64; 2]>,
    /// Mark minus that.
    pub residual_px: Option<[f64; 2]>,
    /// The part of its own error that the residual shows, 0 to 1; `null` where it carries nothing.
    pub redundancy: Option<f64>,
    /// "good", "wrong", "exchanged", "uncontrolled" or "predicted".
    pub finding: &'static str,
    /// The landmark that its mark was exchanged with.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub exchanged_with: Option<String>,
}

impl CameraReport {
    /// As JSON with a line break at its end; numbers have nine digits.
    pub fn to_json(&self) -> String {
        to_json(self)
    }

    /// As lines for a terminal.
    pub fn to_text(&self) -> String {
        let texts = self.views.iter().map(CameraOfView::to_text);
        texts.collect::<Vec<_>>().join("\n")
    }
}

fn to_json(value: &impl Serialize) -> String {
    let text = serde_json::to_string_pretty(value).expect("a camera has only string keys");
    text + "\n"
}

impl CameraOfView {
    /// What was solved of a view.
    pub fn solved(name: &str, found: &Resection, marks: &[SpaceMark]) -> Self {
        Self {
            name: name.to_owned(),
            camera: Some(JsonCamera::new(found, marks)),
            error: None,
        }
    }

    /// What could not be solved.
    pub fn failed(name: &str, code: &str, text: String) -> Self {
        Self {
            name: name.to_owned(),
            camera: None,
            error: Some(JsonReason::new(code, text)),
        }
    }

    fn to_text(&self) -> String {
        let mut lines = Vec::new();
        if let Some(error) = &self.error {
            lines.push(format!("{}: {}", self.name, error.text));
        }
        if let Some(camera) = &self.camera {
            camera.to_lines(&self.name, &mut lines);
        }
        lines.iter().map(|line| format!("{line}\n")).collect()
    }
}

impl JsonTold {
    fn measured(figure: Measured) -> Self {
        Self {
            value: Some(nine_digits(figure.value())),
            low: Some(nine_digits(figure.low())),
            high: Some(nine_digits(figure.high())),
            untold: None,
        }
    }

    fn new(told: Told) -> Self {
        match told {
            Told::Figure(figure) => Self::measured(figure),
            Told::AtLeast { low, reason } => Self {
                low: low.is_finite().then(|| nine_digits(low)),
                untold: Some(reason.code()),
                ..Self::default()
            },
            Told::Not(reason) => Self {
                untold: Some(reason.code()),
                ..Self::default()
            },
        }
    }

    /// The same followed by what it is meant by, where it can be told.
    fn with(&self, unit: &str, meant: &str) -> String {
        let words = self.in_words(unit);
        if self.low.is_some() {
            words + meant
        } else {
            words
        }
    }

    /// "61.3 ±1.4 mm", "at least 400 mm", or "cannot be told".
    fn in_words(&self, unit: &str) -> String {
        let figure = match (self.value, self.low, self.high) {
            (Some(value), Some(low), Some(high)) => Measured::new(value, low, high),
            _ => None,
        };
        match (figure, self.low) {
            (Some(figure), _) => interval(figure, Sign::Minus, unit),
            (None, Some(low)) => format!("at least {}{unit}", three_digits(low)),
            (None, None) => "cannot be told".to_owned(),
        }
    }
}

/// Rounded down to three digits: it is a lower end.
fn three_digits(x: f64) -> String {
    let place = 10_f64.powf((x.abs().max(1e-9).log10().floor() - 2.0).min(0.0));
    let places = if place < 1.0 { 1 } else { 0 };
    decimals((x / place).floor() * place, places)
}

impl JsonAttitude {
    fn new(attitude: &Attitude, middle: [f64; 3]) -> Self {
        let told = JsonTold::new;
        Self {
            exterior: JsonExterior {
                matrix: attitude.camera.rows().map(|row| row.map(nine_digits)),
                centre_model_mm: attitude.centre_mm.map(told),
                looks_at_model_mm: middle.map(nine_digits),
                distance_model_mm: told(attitude.distance_mm),
                azimuth_deg: told(attitude.azimuth_deg),
                elevation_deg: told(attitude.elevation_deg),
                roll_deg: told(attitude.roll_deg),
                axis: attitude.axis.map(nine_digits),
                up: attitude.up.map(nine_digits),
            },
            interior: JsonInterior {
                focal_length_px: told(attitude.focal_px),
                focal_length_35mm: told(attitude.focal_35mm),
                field_of_view_deg: told(attitude.field_of_view_deg),
                principal_point_px: attitude.principal_point_px.map(JsonTold::measured),
                lens: attitude.lens.map(JsonTold::measured),
            },
        }
    }

    fn to_lines(&self, lines: &mut Vec<String>) {
        let (exterior, interior) = (&self.exterior, &self.interior);
        let [x, y, z] = exterior.looks_at_model_mm.map(|v| decimals(v, 2));
        lines.push(format!(
            "  distance      {} from the middle of the datum landmarks ({x}, {y}, {z})",
            exterior.distance_model_mm.in_words(" mm")
        ));
        let [x, y, z] = &exterior.centre_model_mm;
        let place = [("x", x), ("y", y), ("z", z)]
            .map(|(axis, told)| format!("{axis} {}", told.in_words(" mm")));
        let is_told = x.value.is_some();
        lines.push(format!(
            "  place         {}",
            if is_told {
                place.join(", ")
            } else {
                JsonTold::default().in_words("")
            }
        ));
        lines.push(format!(
            "  direction     azimuth {}, elevation {}",
            exterior.azimuth_deg.with("°", " (from x towards y)"),
            exterior.elevation_deg.with("°", ", seen from there")
        ));
        lines.push(format!(
            "  roll          {}",
            exterior.roll_deg.with("°", " clockwise, z being up")
        ));
        lines.push(format!(
            "  focal length  {}; for 35 mm film {}",
            interior.focal_length_px.in_words(" px"),
            interior.focal_length_35mm.in_words(" mm")
        ));
        lines.push(format!(
            "  field of view {}",
            interior.field_of_view_deg.with("°", " from left to right")
        ));
        if let Some(lens) = &interior.lens {
            lines.push(format!("  lens          coefficient {}", lens.in_words("")));
        }
    }
}

impl JsonCamera {
    fn new(found: &Resection, marks: &[SpaceMark]) -> Self {
        let named = |k: usize| marks[k].name.clone();
        let attitude = |a: &Attitude| JsonAttitude::new(a, found.middle_mm);
        let each = marks.iter().zip(&found.marks);
        Self {
            picture_px: found.picture.map(nine_digits),
            first: attitude(&found.first),
            second_attitude: found.second.as_ref().map(|second| JsonSecond {
                attitude: attitude(&second.attitude),
                cost_more: nine_digits(second.cost_more),
            }),
            rms_px: nine_digits(found.rms_px),
            mark_sigma_px: nine_digits(found.mark_sigma_px),
            landmarks: each.map(|(mark, fit)| mark_of(mark, fit, named)).collect(),
            missing: missing(found, marks),
        }
    }

    fn to_lines(&self, name: &str, lines: &mut Vec<String>) {
        let carrying = |m: &&JsonMark| !matches!(m.finding, "wrong" | "predicted");
        let count = self.landmarks.iter().filter(carrying).count();
        lines.push(format!(
            "{name}: camera by {count} datum landmarks, which are {} px off (root mean square); a mark is good to {} px",
            decimals(self.rms_px, 2),
            decimals(self.mark_sigma_px, 2)
        ));
        self.first.to_lines(lines);
        if let Some(second) = &self.second_attitude {
            lines.push("  or, as far as these marks tell:".to_owned());
            second.attitude.to_lines(lines);
        }
        lines.extend(self.cad_lines());
        lines.push("  mark          is off by (x, y) px".to_owned());
        lines.extend(self.landmarks.iter().map(JsonMark::to_line));
        lines.extend(
            self.missing
                .iter()
                .map(|m| format!("  missing: {}", m.text)),
        );
    }
}

fn mark_of(mark: &SpaceMark, fit: &MarkFit, named: impl Fn(usize) -> String) -> JsonMark {
    let (finding, exchanged_with) = match fit.finding {
        MarkFinding::Good => ("good", None),
        MarkFinding::Wrong => ("wrong", None),
        MarkFinding::ExchangedWith(other) => ("exchanged", Some(named(other))),
        MarkFinding::Uncontrolled => ("uncontrolled", None),
        MarkFinding::Predicted => ("predicted", None),
    };
    JsonMark {
        name: mark.name.clone(),
        predicted_px: fit.predicted.map(|p| p.xy().map(nine_digits)),
        residual_px: fit.residual_px.map(|r| r.map(nine_digits)),
        redundancy: fit.redundancy.map(nine_digits),
        finding,
        exchanged_with,
    }
}

impl JsonMark {
    fn to_line(&self) -> String {
        let off = match self.residual_px {
            Some([x, y]) => format!("({}, {})", decimals(x, 1), decimals(y, 1)),
            None => "(not shown by the camera)".to_owned(),
        };
        let note = match (self.finding, &self.exchanged_with) {
            ("wrong", _) => {
                "  WRONG: contradicts the others and is left out; mark it anew".to_owned()
            }
            (_, Some(other)) => {
                format!(
                    "  EXCHANGED with \"{other}\": taken the other way round; exchange the marks"
                )
            }
            ("uncontrolled", _) => "  nothing else checks it".to_owned(),
            ("predicted", _) => "  a check landmark: only shown".to_owned(),
            _ => String::new(),
        };
        format!("    {}  {off}{note}", self.name)
    }
}

/// What is missing, and what to do.
fn missing(found: &Resection, marks: &[SpaceMark]) -> Vec<JsonReason> {
    let mut missing: Vec<JsonReason> = Vec::new();
    if let Some(second) = &found.second {
        let what = match &second.decides {
            Some(deciding) => {
                let nearer = if deciding.off_px[0] <= deciding.off_px[1] {
                    "first"
                } else {
                    "second"
                };
                format!(
                    "the mark of \"{}\", which is {} px elsewhere in the second, fits the {nearer} better: make it a datum landmark if its part is right",
                    marks[deciding.mark].name,
                    decimals(deciding.apart_px, 0)
                )
            }
            None => "mark a datum point that lies off the plane of the others".to_owned(),
        };
        let text = format!("two attitudes fit; {what}");
        missing.push(JsonReason::new("two-attitudes", text));
    }
    let first = &found.first;
    let figures = [
        first.focal_px,
        first.distance_mm,
        first.azimuth_deg,
        first.elevation_deg,
        first.roll_deg,
    ];
    for untold in figures.iter().filter_map(|told| told.reason()) {
        if missing.iter().all(|m| m.code != untold.code()) {
            missing.push(JsonReason::new(untold.code(), sentence(untold, first)));
        }
    }
    if found.is_flat {
        let text = "the datum landmarks lie in one plane on the model: mark some nearer and farther, so that perspective and turn are told apart";
        missing.push(JsonReason::new("flat-datum", text.to_owned()));
    }
    let carrying =
        |fit: &&MarkFit| !matches!(fit.finding, MarkFinding::Predicted | MarkFinding::Wrong);
    let count = found.marks.iter().filter(carrying).count();
    if count < WANTED_MARKS {
        let text = format!(
            "{count} datum landmarks check each other little; mark {} more with places on the model, so that a wrong mark is noticed",
            WANTED_MARKS - count
        );
        missing.push(JsonReason::new("few-marks", text));
    }
    missing
}

/// Why something cannot be told, with what can be told instead.
fn sentence(untold: Untold, attitude: &Attitude) -> String {
    let focal = JsonTold::new(attitude.focal_px).in_words(" px");
    match attitude.focal_px {
        Told::AtLeast { reason, .. } if reason == untold => {
            format!(
                "the focal length is {focal}, and no more can be told of it: {}",
                untold.text()
            )
        }
        _ => format!("not all can be told: {}", untold.text()),
    }
}
