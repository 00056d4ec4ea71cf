//! Errors in words: what to change in CAD.
use super::{ranking::times_tolerance, verdict};
use crate::{
    job::{Angle, Job, Region, Span, Tolerance, View},
    measurement::{AngleMeasure, Correction, RegionMeasure, Verdict},
    statistics::Measured,
};

/// One thing to change, before it becomes words.
struct Change {
    words: String,
    times_tolerance: f64,
}

/// Whether an error is to be corrected: it is out, or it may be and is certainly not zero.
pub(crate) fn calls_for_change(error: Measured, verdict: Verdict) -> bool {
    match verdict {
        Verdict::Out => true,
        Verdict::Undecided => !error.holds(0.0),
        Verdict::Within => false,
    }
}

/// Whether an error of this many model millimetres could be seen; unknown sizes count as visible.
pub(crate) fn is_visible(job: &Job, model_mm: Option<f64>) -> bool {
    model_mm.is_none_or(|mm| mm.abs() >= job.smallest_visible.0)
}

/// The change that removes a region's errors; `None` where nothing is to be done.
pub(crate) fn of_region(job: &Job, region: &Region, measure: &RegionMeasure) -> Option<Correction> {
    let tolerance = &region.tolerance;
    let mut sizes = Vec::new();
    let mut placing = Vec::new();
    let axes = [
        (measure.width_percent, ["width", "wider", "narrower"]),
        (measure.height_percent, ["height", "higher", "lower"]),
    ];
    for (axis, (error, words)) in axes.into_iter().enumerate() {
        sizes.extend(error.and_then(|e| size_change(job, measure, tolerance, (axis, e), words)));
    }
    placing.extend(
        measure
            .rotation_deg
            .and_then(|e| turn_change(job, measure, tolerance, e)),
    );
    placing.extend(move_change(job, measure, tolerance));
    let all: Vec<Change> = sizes.into_iter().chain(placing).collect();
    let times = all.iter().map(|c| c.times_tolerance).fold(0.0, f64::max);
    let words: Vec<String> = all.into_iter().map(|c| c.words).collect();
    (!words.is_empty()).then(|| Correction {
        about: region.name.clone(),
        text: sentence(&region.name, &words),
        times_tolerance: times,
    })
}

/// "make the lantern 3.8 % narrower (...), turn it 2° clockwise, move it 0.3 mm up": the first names the part.
fn sentence(name: &str, words: &[String]) -> String {
    let mut text = String::new();
    for (k, w) in words.iter().enumerate() {
        let part = if k == 0 {
            format!("the {name}")
        } else {
            "it".to_owned()
        };
        if k > 0 {
            text.push_str(", ");
        }
        text.push_str(&w.replace("{}", &part));
    }
    text
}

/// `words`: what changes, and how it becomes where it is too small and too large.
fn size_change(
    job: &Job,
    measure: &RegionMeasure,
    tolerance: &Tolerance,
    (axis, error): (usize, Measured),
    [what, too_small, too_large]: [&str; 3],
) -> Option<Change> {
    let verdict = verdict::judge(error, tolerance.proportion_percent);
    let factor = 1.0 / (1.0 + error.value() / 100.0);
    let model_mm = measure
        .size_model_mm
        .map(|s| (s[axis] * (1.0 - factor)).abs());
    if !calls_for_change(error, verdict) || !is_visible(job, model_mm) {
        return None;
    }
    let word = if error.value() > 0.0 {
        too_large
    } else {
        too_small
    };
    let millimetres = model_mm.map_or_else(String::new, |mm| format!("{mm:.2} mm on the model; "));
    Some(Change {
        words: format!(
            "make {{}} {:.1} % {word} ({millimetres}scale its {what} by {factor:.3})",
            100.0 * (1.0 - factor).abs()
        ),
        times_tolerance: times_tolerance(Some(error), tolerance.proportion_percent),
    })
}

fn turn_change(
    job: &Job,
    measure: &RegionMeasure,
    tolerance: &Tolerance,
    error: Measured,
) -> Option<Change> {
    let verdict = verdict::judge(error, tolerance.angle_deg);
    let reach = measure
        .size_model_mm
        .map(|s| s[0].hypot(s[1]) / 2.0 * error.value().to_radians());
    if !calls_for_change(error, verdict) || !is_visible(job, reach) {
        return None;
    }
    let direction = if error.value() > 0.0 {
        "anticlockwise"
    } else {
        "clockwise"
    };
    Some(Change {
        words: format!("turn {{}} {:.1}° {direction}", error.value().abs()),
        times_tolerance: times_tolerance(Some(error), tolerance.angle_deg),
    })
}

fn move_change(job: &Job, measure: &RegionMeasure, tolerance: &Tolerance) -> Option<Change> {
    let directions = [["left", "right"], ["up", "down"]];
    let mut moves = Vec::new();
    let mut times: f64 = 0.0;
    for (error, [less, more]) in measure.offset_model_mm.into_iter().zip(directions) {
        let Some(error) = error else {
            continue;
        };
        let verdict = verdict::judge(error, tolerance.offset.0);
        if calls_for_change(error, verdict) && is_visible(job, Some(error.value())) {
            // The model lies too far right: it has to go left.
            let word = if error.value() > 0.0 { less } else { more };
            moves.push(format!("{:.2} mm {word}", error.value().abs()));
            times = times.max(times_tolerance(Some(error), tolerance.offset.0));
        }
    }
    (!moves.is_empty()).then(|| Change {
        words: format!("move {{}} {}", moves.join(" and ")),
        times_tolerance: times,
    })
}

/// An angle of a part that is to be turned anyway asks for no second change: turning the part removes it.
pub(crate) fn once(
    job: &Job,
    view: &View,
    regions: &[RegionMeasure],
    angle: &Angle,
    (mut measure, correction): (AngleMeasure, Option<Correction>),
) -> (AngleMeasure, Option<Correction>) {
    let turned = view.regions.iter().zip(regions).find(|(region, part)| {
        let is_on_it = |(from, to): (usize, usize)| {
            region.landmarks.contains(&from) && region.landmarks.contains(&to)
        };
        is_on_it((angle.from, angle.to))
            && !angle.against.is_some_and(|[from, to]| is_on_it((from, to)))
            && part
                .rotation_deg
                .is_some_and(|turn| removes(job, (region, part), turn, measure.error_deg))
    });
    match (turned, &correction) {
        (Some((region, _)), Some(_)) => {
            measure.correction = Some(format!("goes away when the {} is turned", region.name));
            (measure, None)
        }
        _ => (measure, correction),
    }
}

/// Whether a part is to be turned, by an amount that the error of an angle on it may be as well.
fn removes(
    job: &Job,
    (region, part): (&Region, &RegionMeasure),
    turn: Measured,
    angle: Measured,
) -> bool {
    turn_change(job, part, &region.tolerance, turn).is_some()
        && turn.low() <= angle.high()
        && angle.low() <= turn.high()
}

/// The change that removes a span's error.
pub(crate) fn of_span(
    job: &Job,
    span: &Span,
    error: Measured,
    model_mm: Option<Measured>,
    verdict: Verdict,
) -> Option<Correction> {
    if !calls_for_change(error, verdict) || !is_visible(job, model_mm.map(|m| m.value())) {
        return None;
    }
    let word = if error.value() > 0.0 {
        "shorter"
    } else {
        "longer"
    };
    let factor = 1.0 / (1.0 + error.value() / 100.0);
    let millimetres = model_mm.map_or_else(String::new, |mm| {
        format!(" ({:.2} mm on the model)", mm.value().abs())
    });
    Some(Correction {
        about: span.name.clone(),
        text: format!(
            "make {} {:.1} % {word}{millimetres}",
            span.name,
            100.0 * (1.0 - factor).abs()
        ),
        times_tolerance: times_tolerance(Some(error), span.tolerance.proportion_percent),
    })
}

/// The change that removes an angle's error.
pub(crate) fn of_angle(angle: &Angle, error: Measured, verdict: Verdict) -> Option<Correction> {
    calls_for_change(error, verdict).then(|| {
        let direction = if error.value() > 0.0 {
            "anticlockwise"
        } else {
            "clockwise"
        };
        Correction {
            about: angle.name.clone(),
            text: format!(
                "change {} by {:.1}° {direction}",
                angle.name,
                error.value().abs()
            ),
            times_tolerance: times_tolerance(Some(error), angle.tolerance.angle_deg),
        }
    })
}
