//! References measured by themselves, as JSON and as a table for a spreadsheet.
use super::{
    JsonReason,
    csv::{cell, number},
    finite::figure,
    json::{self, Figure, Program, Warning},
};
use crate::{
    job::{Angle, Job, Span, View},
    measurement::{AXES, MeasuredBy, ReferenceAlone, ScaleFrom, Untold, along_model},
    statistics::Measured,
};
use serde::Serialize;
use std::collections::BTreeMap;

/// Name of the format.
const FORMAT: &str = "tickstrip-dimensions";
/// Its version.
const VERSION: u32 = 1;

/// What was measured in the references of a job.
#[derive(Clone, Debug, Serialize)]
pub struct DimensionsReport {
    /// "tickstrip-dimensions".
    pub format: &'static str,
    /// 1.
    pub format_version: u32,
    /// The program that wrote it.
    pub program: Program,
    /// The job's title.
    pub title: String,
    /// N of the scale 1:N.
    pub scale_denominator: f64,
    /// Each view that was asked for.
    pub views: Vec<DimensionsOfView>,
}

/// What was measured in one reference.
#[derive(Clone, Debug, Serialize)]
pub struct DimensionsOfView {
    /// Name of the view.
    pub name: String,
    /// The figures; `null` where it could not be measured.
    pub measured: Option<Dimensions>,
    /// Why not.
    pub error: Option<JsonReason>,
}

/// The figures of one reference.
#[derive(Clone, Debug, Serialize)]
pub struct Dimensions {
    /// "plane" or "camera".
    pub by: &'static str,
    /// The axis of the model along which the camera takes depths from places on the model.
    pub depth_along: Option<&'static str>,
    /// What tells the scale: "known lengths", "points", "places on the model".
    pub scale_from: Option<&'static str>,
    /// Pixels of the rectified reference for a full-size millimetre.
    pub px_per_full_size_mm: Option<Figure>,
    /// How far the drawing is turned in the reference, degrees, clockwise; taken off.
    pub drawing_turned_deg: Option<Figure>,
    /// How much more it is stretched along x than along y, per cent; taken off where `is_stretch_taken_off`.
    pub drawing_stretched_percent: Option<Figure>,
    /// Whether the known lengths tell the stretch so well that it was taken off.
    pub is_stretch_taken_off: bool,
    /// Standard deviation of a mark, pixels of the reference.
    pub mark_sigma_px: f64,
    /// Whether the job states it; else it is believed beforehand and estimated from what is left over.
    pub is_mark_sigma_stated: bool,
    /// Name of the landmark from which places are counted.
    pub origin: Option<String>,
    /// What a place is counted along: axes of the model, or "right" and "down".
    pub place_axes: [&'static str; 2],
    /// One a span, in the order of the view.
    pub spans: Vec<DimensionEntry>,
    /// One an angle.
    pub angles: Vec<AngleAlone>,
    /// Spans over one of them.
    pub proportions: Vec<ProportionEntry>,
    /// One a landmark.
    pub places: Vec<PlaceEntry>,
    /// What the reader must know.
    pub warnings: Vec<Warning>,
}

/// The length of a span.
#[derive(Clone, Debug, Serialize)]
pub struct DimensionEntry {
    /// Its name.
    pub name: String,
    /// Names of the landmarks at its ends.
    pub between: [String; 2],
    /// Millimetres on the full-size object.
    pub full_size_mm: Option<Figure>,
    /// Millimetres on the model.
    pub model_mm: Option<Figure>,
    /// Why they cannot be told.
    pub untold: Option<JsonReason>,
}

/// An angle.
#[derive(Clone, Debug, Serialize)]
pub struct AngleAlone {
    /// Its name.
    pub name: String,
    /// Degrees, clockwise: from the line to the right, or from the span that it is measured against.
    pub deg: Option<Figure>,
    /// Why it cannot be told.
    pub untold: Option<JsonReason>,
}

/// A span over another.
#[derive(Clone, Debug, Serialize)]
pub struct ProportionEntry {
    /// Name of the span.
    pub of: String,
    /// Name of the span that it is held against.
    pub to: String,
    /// Length over length.
    pub ratio: Option<Figure>,
    /// Why it cannot be told.
    pub untold: Option<JsonReason>,
}

/// The place of a landmark.
#[derive(Clone, Debug, Serialize)]
pub struct PlaceEntry {
    /// Its name.
    pub name: String,
    /// Millimetres on the full-size object from the origin, by the axes of `place_axes`.
    pub full_size_mm: Option<BTreeMap<&'static str, Figure>>,
    /// The same on the model.
    pub model_mm: Option<BTreeMap<&'static str, Figure>>,
    /// Why it cannot be told.
    pub untold: Option<JsonReason>,
}

fn reason(why: Untold) -> JsonReason {
    JsonReason::new(why.code(), why.text())
}

/// The figure, or why there is none.
fn told(result: &Result<Measured, Untold>) -> (Option<Measured>, Option<JsonReason>) {
    match result {
        Ok(measured) => (Some(*measured), None),
        Err(why) => (None, Some(reason(*why))),
    }
}

impl DimensionsReport {
    /// Of the views that were asked for.
    pub fn new(job: &Job, views: Vec<DimensionsOfView>) -> Self {
        Self {
            format: FORMAT,
            format_version: VERSION,
            program: Program::own(),
            title: job.title.clone(),
            scale_denominator: job.scale.denominator(),
            views,
        }
    }

    /// As JSON with a line break at its end; numbers have nine digits.
    pub fn to_json(&self) -> String {
        json::as_text(self)
    }

    /// One row a figure, for spreadsheets, in the form of [`to_csv`](super::to_csv).
    pub fn to_csv(&self) -> String {
        let mut rows = "view,kind,name,measure,unit,value,low,high,cannot tell\r\n".to_owned();
        for view in &self.views {
            if let Some(measured) = &view.measured {
                measured.rows(&view.name, &mut rows);
            }
        }
        rows
    }
}

impl DimensionsOfView {
    /// What was measured in the reference of a view.
    pub fn measured(job: &Job, view: &View, alone: &ReferenceAlone) -> Self {
        Self {
            name: view.name.clone(),
            measured: Some(Dimensions::new(job, view, alone)),
            error: None,
        }
    }

    /// What could not be measured.
    pub fn failed(view: &View, code: &str, text: String) -> Self {
        Self {
            name: view.name.clone(),
            measured: None,
            error: Some(JsonReason::new(code, text)),
        }
    }
}

impl Dimensions {
    fn new(job: &Job, view: &View, alone: &ReferenceAlone) -> Self {
        let to_model = 1.0 / job.scale.denominator();
        let name = |landmark: usize| view.landmarks[landmark].name.clone();
        let span = |(span, found): (&Span, &Result<Measured, Untold>)| {
            let (length, untold) = told(found);
            DimensionEntry {
                name: span.name.clone(),
                between: [name(span.from), name(span.to)],
                full_size_mm: length.map(figure),
                model_mm: length.map(|length| figure(length.times(to_model))),
                untold,
            }
        };
        let angle = |(angle, found): (&Angle, &Result<Measured, Untold>)| {
            let (deg, untold) = told(found);
            AngleAlone {
                name: angle.name.clone(),
                deg: deg.map(figure),
                untold,
            }
        };
        let proportions = alone.proportions.iter().map(|proportion| {
            let (ratio, untold) = told(&proportion.ratio);
            ProportionEntry {
                of: view.spans[proportion.of].name.clone(),
                to: view.spans[proportion.to].name.clone(),
                ratio: ratio.map(figure),
                untold,
            }
        });
        let fit = alone.dimensions.as_ref();
        let (place_axes, signs) = place_axes(alone);
        let places = view.landmarks.iter().zip(&alone.places);
        let places = places.map(|(landmark, found)| {
            let along = |factor: f64| {
                let [right, down] = found.as_ref().ok()?;
                Some(BTreeMap::from([
                    (place_axes[0], figure(right.times(signs[0] * factor))),
                    (place_axes[1], figure(down.times(signs[1] * factor))),
                ]))
            };
            PlaceEntry {
                name: landmark.name.clone(),
                full_size_mm: along(1.0),
                model_mm: along(to_model),
                untold: found.as_ref().err().map(|why| reason(*why)),
            }
        });
        let warnings = alone.warnings.iter().map(Warning::from);
        Self {
            by: match alone.by {
                MeasuredBy::Plane => "plane",
                MeasuredBy::Camera { .. } => "camera",
            },
            depth_along: match alone.by {
                MeasuredBy::Plane => None,
                MeasuredBy::Camera { depth_along } => Some(AXES[depth_along]),
            },
            scale_from: alone.scale_from.map(|from| match from {
                ScaleFrom::KnownLengths => "known lengths",
                ScaleFrom::Points => "points",
                ScaleFrom::PlacesOnModel => "places on the model",
            }),
            px_per_full_size_mm: alone.px_per_full_size_mm.map(figure),
            drawing_turned_deg: fit.and_then(|fit| fit.angle_deg).map(figure),
            drawing_stretched_percent: fit.and_then(|fit| fit.stretch_percent).map(figure),
            is_stretch_taken_off: fit.is_some_and(|fit| fit.is_stretched),
            mark_sigma_px: alone.mark_sigma_px,
            is_mark_sigma_stated: alone.is_sigma_stated,
            origin: alone.origin.map(name),
            place_axes,
            spans: view.spans.iter().zip(&alone.spans).map(span).collect(),
            angles: view.angles.iter().zip(&alone.angles).map(angle).collect(),
            proportions: proportions.collect(),
            places: places.collect(),
            warnings: warnings.collect(),
        }
    }

    fn rows(&self, view: &str, rows: &mut String) {
        let mut add = |kind: &str,
                       name: &str,
                       measure: &str,
                       unit: &str,
                       told: (Option<Figure>, &Option<JsonReason>)| {
            let (figure, untold) = told;
            let texts = [view, kind, name, measure, unit].map(cell).join(",");
            let numbers = figure.map_or([None; 3], |f| [f.value, f.low, f.high].map(Some));
            let numbers = numbers.map(|n| n.map_or(String::new(), number)).join(",");
            let why = untold.as_ref().map_or(String::new(), |why| cell(&why.code));
            rows.push_str(&format!("{texts},{numbers},{why}\r\n"));
        };
        let (full, model) = ("mm on the full-size object", "mm on the model");
        for span in &self.spans {
            add(
                "span",
                &span.name,
                "length",
                full,
                (span.full_size_mm, &span.untold),
            );
            add(
                "span",
                &span.name,
                "length",
                model,
                (span.model_mm, &span.untold),
            );
        }
        for angle in &self.angles {
            add(
                "angle",
                &angle.name,
                "angle",
                "degrees",
                (angle.deg, &angle.untold),
            );
        }
        for share in &self.proportions {
            let measure = format!("length over that of {}", share.to);
            add(
                "proportion",
                &share.of,
                &measure,
                "",
                (share.ratio, &share.untold),
            );
        }
        for place in &self.places {
            for axis in self.place_axes {
                let along = |of: &Option<BTreeMap<&'static str, Figure>>| {
                    of.as_ref().and_then(|of| of.get(axis).copied())
                };
                let measure = format!("place along {axis}");
                add(
                    "landmark",
                    &place.name,
                    &measure,
                    full,
                    (along(&place.full_size_mm), &place.untold),
                );
                add(
                    "landmark",
                    &place.name,
                    &measure,
                    model,
                    (along(&place.model_mm), &place.untold),
                );
            }
        }
    }
}

/// What places are counted along, and the sign of a figure to the right, or downwards, along it.
fn place_axes(alone: &ReferenceAlone) -> ([&'static str; 2], [f64; 2]) {
    match alone.axes {
        None => (["right", "down"], [1.0, 1.0]),
        Some(axes) => {
            let (right, down) = (along_model(axes.right()), along_model(axes.down()));
            ([right.0, down.0], [right.1, down.1])
        }
    }
}
