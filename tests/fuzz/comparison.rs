//! A whole comparison of small pictures with made-up marks: measured, reported, now and then drawn.
use crate::{
    harness::{Checked, Outcome},
    random::Random,
    registration, words,
};
use image::{Rgb, RgbImage};
use serde_json::Value;
use std::{collections::BTreeMap, path::Path};
use tickstrip::{
    drawing::{self, Paper, ViewToDraw},
    images::{Picture, ViewImages},
    job::{self, Job, View},
    measurement::{self, MeasuredView},
    rectification::{self, Rectification},
    registration as library,
    report::{self, Report, TableStyle, ViewFailure, ViewOutcome},
};

/// The marks of [`registration::made`] are for pictures ten times as large.
const REDUCTION: f64 = 10.0;
const RENDER: (u32, u32) = (160, 120);
const REFERENCE: (u32, u32) = (192, 108);
/// One in so many is drawn as well; told by the input, so that it comes out the same again.
const DRAWN: usize = 16;
/// Pixels of a rectified picture that is made.
const MOST_STRAIGHTENED: f64 = 1e6;
/// Longest text about a view, bytes.
const MOST_WORDS: usize = 6000;

pub fn made(random: &mut Random, corpus: &[Vec<u8>]) -> Vec<u8> {
    let job = registration::made(random, corpus);
    match serde_json::from_slice::<Value>(&job) {
        Ok(mut job) => {
            reduce(&mut job);
            job.to_string().into_bytes()
        }
        Err(_) => job,
    }
}

/// Every mark of the job is reduced: pairs of numbers are marks, but for those under "at".
fn reduce(value: &mut Value) {
    match value {
        Value::Array(items) => match items.as_mut_slice() {
            [Value::Number(x), Value::Number(y)] => {
                for number in [x, y] {
                    let reduced = number.as_f64().map(|n| n / REDUCTION);
                    *number = reduced
                        .and_then(serde_json::Number::from_f64)
                        .unwrap_or_else(|| 0.into());
                }
            }
            items => items.iter_mut().for_each(reduce),
        },
        Value::Object(map) => map
            .iter_mut()
            .filter(|(key, _)| *key != "at")
            .for_each(|(_, part)| reduce(part)),
        _ => {}
    }
}

/// Boxes on a ground with some structure.
fn picture((width, height): (u32, u32), shift: u32) -> Picture {
    let rgb = RgbImage::from_fn(width, height, |x, y| {
        let (x, y) = (x + shift, y + shift);
        let is_box = (x / 23 + y / 17) % 3 == 0 && x % 23 > 3 && y % 17 > 2;
        let ground = 180 + (x * 7 + y * 13) % 11;
        Rgb([if is_box { 60 } else { ground as u8 }; 3])
    });
    Picture {
        rgb,
        alpha: None,
        notes: Vec::new(),
    }
}

pub fn check(input: &[u8]) -> Checked {
    let Ok(job) = job::parse(input, Path::new("/jobs/pump.json")) else {
        return Ok(Outcome::Refused);
    };
    let is_drawn = input.len().is_multiple_of(DRAWN);
    let mut measured = Vec::new();
    for view in job.views.iter().take(2) {
        measured.push((view, measure(&job, view)?));
    }
    let mut outcomes = Vec::new();
    for (view, result) in measured {
        let result = match result {
            Ok(measured) => {
                check_measured(&job, view, &measured, is_drawn)?;
                Ok(measured.measurement)
            }
            Err(failure) => Err(failure),
        };
        let files = BTreeMap::new();
        outcomes.push(ViewOutcome {
            view: std::borrow::Cow::Borrowed(view),
            result,
            files,
            reference_blake3: None,
        });
    }
    check_report(&Report::new(&job, &outcomes))?;
    Ok(match outcomes.iter().any(|o| o.result.is_ok()) {
        true => Outcome::Accepted,
        false => Outcome::Refused,
    })
}

type Measured = Result<MeasuredView, ViewFailure>;

fn measure(job: &Job, view: &View) -> Result<Measured, String> {
    let refused = |code: &'static str, text: String| {
        words::check_code(code)?;
        words::check_sentence("refusal", &text, MOST_WORDS)?;
        Ok(Err(ViewFailure { code, text }))
    };
    let reference = picture(REFERENCE, 2);
    let stated = view.reference.rectify.as_ref();
    let bezel = stated.and_then(|stated| rectification::look_for_bezel(stated, &reference.rgb));
    let rectification = match rectification::of_view(view, REFERENCE, bezel.as_ref()) {
        Ok(rectification) => rectification,
        Err(error) => return refused(error.code(), error.to_string()),
    };
    if let Some(made) = &rectification {
        check_rectified(&reference.rgb, made)?;
    }
    let registered = match library::register(view, job.expected, RENDER, rectification.as_ref()) {
        Ok(registered) => registered,
        Err(error) => return refused(error.code(), error.to_string()),
    };
    let images = ViewImages {
        render: picture(RENDER, 0),
        reference,
        shots: None,
        shape: None,
        render_mask: None,
        reference_mask: None,
    };
    Ok(Ok(measurement::measure(job, view, images, registered)))
}

fn check_rectified(reference: &RgbImage, made: &Rectification) -> Result<(), String> {
    let size = made.figures().rectangle.map_or(0.0, |r| r.width * r.height);
    // A larger one is no matter of this test: it would take the machine's memory.
    if size > MOST_STRAIGHTENED {
        return Ok(());
    }
    let (width, height) = match rectification::rectified_picture(reference, made) {
        Ok(picture) => picture.dimensions(),
        Err(error) => return words::check_code(error.code()),
    };
    match width > 0 && height > 0 {
        true => Ok(()),
        false => Err(format!("rectified to {width} x {height}")),
    }
}

fn check_measured(
    job: &Job,
    view: &View,
    measured: &MeasuredView,
    is_drawn: bool,
) -> Result<(), String> {
    for warning in &measured.measurement.warnings {
        words::check_code(warning.code.as_str())?;
        words::check_sentence("warning", &warning.text, MOST_WORDS)?;
    }
    if is_drawn {
        let input = ViewToDraw {
            job,
            view,
            measurement: &measured.measurement,
            work: &measured.work,
            pairs: &measured.pairs,
            date: "2031-04-05",
            checksum: "0",
            paper: Paper::A4,
        };
        drawing::draw_view(&input, &drawing::Pictures::all())
            .map_err(|e| format!("not drawn: {e}"))?;
    }
    Ok(())
}

fn check_report(report: &Report) -> Result<(), String> {
    let json = report::to_json(report);
    let again = report::from_json(json.as_bytes()).map(|again| report::to_json(&again));
    if again.as_deref() != Some(json.as_str()) {
        return Err("the report does not come back from its JSON".to_owned());
    }
    let style = TableStyle {
        width: 80,
        color: false,
    };
    let table = report::table(report, &style);
    let html = report::to_html(report, &|_| None);
    let body = html.split("<main>").nth(1).unwrap_or_default();
    for (what, text) in [
        ("table", table.as_str()),
        ("page", body),
        ("CSV", &report::to_csv(report)),
    ] {
        words::check_numbers(what, text)?;
    }
    Ok(())
}
