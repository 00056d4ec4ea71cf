//! Errors in words: what to change in CAD.
use super::{ranking::times_tolerance, verdict};
use crate::{
    job::{Angle, Job, Region, Span, Tolerance},
    measurement::{Correction, MeasureKind, PartChange, Pivot, RegionMeasure, Verdict},
    statistics::Measured,
    units::ModelMm,
};

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
    is_visible_beside(job.smallest_visible, model_mm)
}

/// The same, where the smallest error that can be seen is this.
pub(crate) fn is_visible_beside(smallest: ModelMm, model_mm: Option<f64>) -> bool {
    model_mm.is_none_or(|mm| mm.abs() >= smallest.0)
}

/// Which of a region's errors call for a change, each on its own: sizes, turn, moves.
pub(crate) fn changes_of_region(
    job: &Job,
    tolerance: &Tolerance,
    measure: &RegionMeasure,
) -> Vec<PartChange> {
    let size = |axis: usize| measure.size_model_mm.map(|size| size[axis]);
    let [x, y] = measure.offset_model_mm;
    let errors = [
        measure.width_percent,
        measure.height_percent,
        measure.rotation_deg,
        x,
        y,
    ];
    let numbers = MeasureKind::OF_REGION.into_iter().zip(errors);
    let asked = numbers
        .enumerate()
        .filter_map(|(k, (measure_kind, error))| {
            let error = error?;
            let (limit, model_mm) = match k {
                0 | 1 => {
                    let removed = |mm| mm * (1.0 - factor_of(error.value()));
                    (tolerance.proportion_percent, size(k).map(removed))
                }
                2 => {
                    let reach = measure.size_model_mm.map(|s| s[0].hypot(s[1]) / 2.0);
                    let moved = reach.map(|reach| reach * error.value().to_radians());
                    (tolerance.angle_deg, moved)
                }
                _ => (tolerance.offset.0, Some(error.value())),
            };
            let is_asked = calls_for_change(error, verdict::judge(error, limit));
            (is_asked && is_visible(job, model_mm)).then(|| PartChange {
                measure: measure_kind,
                error,
                model_mm: model_mm.map(f64::abs),
                times_tolerance: times_tolerance(Some(error), limit),
            })
        });
    asked.collect()
}

/// What a size has to be multiplied by to take its error, per cent, off.
pub(crate) fn factor_of(percent: f64) -> f64 {
    1.0 / (1.0 + percent / 100.0)
}

/// The same with its interval.
pub(crate) fn measured_factor_of(percent: Measured) -> Option<Measured> {
    let factor = factor_of(percent.value());
    Measured::plus_minus(factor, factor * factor * percent.half_width() / 100.0)
}

/// A region's changes in words; `None` where nothing is to be done.
pub(crate) fn of_region(region: &Region, measure: &RegionMeasure) -> Option<Correction> {
    let changes = &measure.changes;
    let times = changes.iter().map(|c| c.times_tolerance);
    (!changes.is_empty()).then(|| Correction {
        about: region.name.clone(),
        text: sentence(&region.name, changes, measure.pivot.as_ref()),
        times_tolerance: times.fold(0.0, f64::max),
    })
}

/// "make the lantern 3.8 % narrower (...), turn it 2° clockwise, move it 0.3 mm up": the first names the part.
fn sentence(name: &str, changes: &[PartChange], pivot: Option<&Pivot>) -> String {
    let single = changes.iter().filter_map(in_words);
    let moves: Vec<String> = changes.iter().filter_map(move_words).collect();
    let moving = (!moves.is_empty()).then(|| format!("move {{}} {}", moves.join(" and ")));
    let all = single.chain(moving).enumerate().map(|(k, words)| {
        let part = match k {
            0 => &format!("the {name}"),
            _ => "it",
        };
        words.replace("{}", part)
    });
    let mut text = all.collect::<Vec<_>>().join(", ");
    if let Some(pivot) = pivot {
        text.push_str(&format!(
            ", about its \"{}\": that stays where it is",
            pivot.landmark
        ));
    }
    text
}

/// A change of size or a turn, with `{}` for the part; `None` of a move.
fn in_words(change: &PartChange) -> Option<String> {
    let is_large = change.error.value() > 0.0;
    let size = |what: &str, [too_small, too_large]: [&str; 2]| {
        let word = if is_large { too_large } else { too_small };
        let factor = factor_of(change.error.value());
        let millimetres = change
            .model_mm
            .map_or_else(String::new, |mm| format!("{mm:.2} mm on the model; "));
        format!(
            "make {{}} {:.1} % {word} ({millimetres}scale its {what} by {factor:.3})",
            100.0 * (1.0 - factor).abs()
        )
    };
    match change.measure {
        MeasureKind::Width => Some(size("width", ["wider", "narrower"])),
        MeasureKind::Height => Some(size("height", ["higher", "lower"])),
        MeasureKind::Rotation => {
            let direction = if is_large {
                "anticlockwise"
            } else {
                "clockwise"
            };
            Some(format!(
                "turn {{}} {:.1}° {direction}",
                change.error.value().abs()
            ))
        }
        _ => None,
    }
}

/// "0.31 mm left"; `None` of another change than a move.
fn move_words(change: &PartChange) -> Option<String> {
    let [less, more] = match change.measure {
        MeasureKind::OffsetX => ["left", "right"],
        MeasureKind::OffsetY => ["up", "down"],
        _ => return None,
    };
    // The model lies too far right: it has to go left.
    let word = if change.error.value() > 0.0 {
        less
    } else {
        more
    };
    Some(format!("{:.2} mm {word}", change.error.value().abs()))
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
    let factor = factor_of(error.value());
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
