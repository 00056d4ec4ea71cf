//! Spans and angles: the figures that hang on two or three landmarks.
use super::{
    AngleMeasure, Correction, SpanMeasure,
    figures::{self, Figure},
    judge::{correction, ranking::times_tolerance, verdict},
    lengths::scales::{Scale, ScaleStudy},
};
use crate::{
    job::{Angle, Job, Span},
    registration::{Adjustment, ByReference, adjustment::Gradient},
    statistics::Measured,
};
use std::f64::consts::PI;

/// The proportion error of a span and the change that it asks for; `None` where its marks coincide in an image.
pub(crate) fn measure_span(
    job: &Job,
    span: &Span,
    adjustment: &Adjustment,
    scales: &ScaleStudy,
) -> Option<(SpanMeasure, Option<Correction>)> {
    let render = figures::render_length(adjustment, span.from, span.to);
    let reference = figures::registered_length(adjustment, span.from, span.to);
    let render_px = adjustment.measured(render.value, &render.gradient)?;
    let reference_px = adjustment.measured(reference.value, &reference.gradient)?;
    if render.value <= 0.0 || reference.value <= 0.0 {
        return None;
    }
    let log_ratio = log_ratio(adjustment, [&render, &reference]);
    let ratio = render.value / reference.value;
    let percent = |ratio: f64, log: Measured| {
        Measured::plus_minus(100.0 * (ratio - 1.0), 100.0 * ratio * log.half_width())
    };
    let error_percent = percent(ratio, adjustment.measured(0.0, &log_ratio)?)?;
    let difference = render.clone().plus(-1.0, &reference);
    let model = scales.model.as_ref();
    let error_model_mm = model.and_then(|model| model.of_figure(adjustment, &difference));
    let n = job.scale.denominator();
    let absolute = match (&scales.render, &scales.reference) {
        (Some(r), Some(s)) => absolute(adjustment, [&render, &reference], [r, s], n),
        _ => None,
    };
    let verdict = verdict::judge(error_percent, span.tolerance.proportion_percent);
    let correction = correction::of_span(job, span, error_percent, error_model_mm, verdict);
    let measure = SpanMeasure {
        name: span.name.clone(),
        render_px,
        reference_px,
        error_percent,
        error_model_mm,
        error_full_size_mm: error_model_mm.map(|m| m.times(n)),
        model_mm: scales
            .render
            .as_ref()
            .and_then(|k| in_mm(adjustment, &render, k)),
        full_size_mm: scales
            .reference
            .as_ref()
            .and_then(|k| in_mm(adjustment, &reference, k)),
        absolute_percent: absolute.map(|(percent, _)| percent),
        absolute_model_mm: absolute.map(|(_, mm)| mm),
        absolute_full_size_mm: absolute.map(|(_, mm)| mm.times(n)),
        verdict,
        times_tolerance: times_tolerance(Some(error_percent), span.tolerance.proportion_percent),
        goes_with: Vec::new(),
        correction: correction.as_ref().map(|c| c.text.clone()),
    };
    Some((measure, correction))
}

/// How the logarithm of the ratio of two lengths depends on all.
fn log_ratio(adjustment: &Adjustment, [render, reference]: [&Figure; 2]) -> Gradient {
    let mut gradient = adjustment.no_gradient();
    gradient.add(1.0 / render.value, &render.gradient);
    gradient.add(-1.0 / reference.value, &reference.gradient);
    gradient
}

/// What the noise of the reference does to the error of a span that was measured, per cent.
pub(crate) fn span_by_reference(span: &Span, adjustment: &Adjustment) -> ByReference {
    let render = figures::render_length(adjustment, span.from, span.to);
    let reference = figures::registered_length(adjustment, span.from, span.to);
    let gradient = log_ratio(adjustment, [&render, &reference]);
    let percent = 100.0 * render.value / reference.value;
    adjustment.by_reference(&gradient).times(percent)
}

/// The same of an angle, degrees.
pub(crate) fn angle_by_reference(angle: &Angle, adjustment: &Adjustment) -> ByReference {
    let render = inclination(angle, adjustment, figures::render_direction);
    let reference = inclination(angle, adjustment, figures::registered_direction);
    let error = render.plus(-1.0, &reference);
    adjustment.by_reference(&error.gradient).times(180.0 / PI)
}

/// The model against the subject by the scales of both images: per cent, and millimetres on the model.
fn absolute(
    adjustment: &Adjustment,
    [render, reference]: [&Figure; 2],
    [r, s]: [&Scale; 2],
    n: f64,
) -> Option<(Measured, Measured)> {
    let mut log_model = adjustment.no_gradient();
    log_model.add(1.0 / render.value, &render.gradient);
    log_model.add(-1.0, &r.log_gradient);
    let mut log_subject = adjustment.no_gradient();
    log_subject.add(1.0 / reference.value, &reference.gradient);
    log_subject.add(-1.0, &s.log_gradient);
    let model = render.value / r.px_per_mm;
    let subject = reference.value / s.px_per_mm / n;
    let mut log_ratio = log_model.clone();
    log_ratio.add(-1.0, &log_subject);
    let log = r.widened(s.widened(adjustment.measured(0.0, &log_ratio)?)?)?;
    let ratio = model / subject;
    let percent = Measured::plus_minus(100.0 * (ratio - 1.0), 100.0 * ratio * log.half_width())?;
    let mut difference = adjustment.no_gradient();
    difference.add(model, &log_model);
    difference.add(-subject, &log_subject);
    let by_marks = adjustment.measured(model - subject, &difference)?;
    let extra = (model * r.extra).hypot(subject * s.extra);
    let half = by_marks.half_width().hypot(extra);
    Some((percent, Measured::plus_minus(model - subject, half)?))
}

fn in_mm(adjustment: &Adjustment, length: &Figure, scale: &Scale) -> Option<Measured> {
    let mut log = adjustment.no_gradient();
    log.add(1.0 / length.value, &length.gradient);
    log.add(-1.0, &scale.log_gradient);
    let value = length.value / scale.px_per_mm;
    let relative = scale.widened(adjustment.measured(0.0, &log)?)?;
    Measured::plus_minus(value, value * relative.half_width())
}

/// The error of an angle and the change that it asks for; `None` where marks coincide.
pub(crate) fn measure_angle(
    angle: &Angle,
    adjustment: &Adjustment,
) -> Option<(AngleMeasure, Option<Correction>)> {
    let render = inclination(angle, adjustment, figures::render_direction);
    let reference = inclination(angle, adjustment, figures::registered_direction);
    let error = render.clone().plus(-1.0, &reference);
    let degrees = |figure: &Figure, value: f64| {
        Some(
            adjustment
                .measured(value, &figure.gradient)?
                .times(180.0 / PI),
        )
    };
    let error_deg = degrees(&error, wrapped(error.value))?;
    let render_deg = degrees(&render, wrapped(render.value))?;
    let verdict = verdict::judge(error_deg, angle.tolerance.angle_deg);
    let correction = correction::of_angle(angle, error_deg, verdict);
    let measure = AngleMeasure {
        name: angle.name.clone(),
        render_deg,
        // Stated beside the render's, so that the difference of the two is the error.
        reference_deg: degrees(&reference, wrapped(render.value) - wrapped(error.value))?,
        error_deg,
        verdict,
        times_tolerance: times_tolerance(Some(error_deg), angle.tolerance.angle_deg),
        goes_with: Vec::new(),
        correction: correction.as_ref().map(|c| c.text.clone()),
    };
    Some((measure, correction))
}

fn inclination(
    angle: &Angle,
    adjustment: &Adjustment,
    direction: fn(&Adjustment, usize, usize) -> Figure,
) -> Figure {
    let own = direction(adjustment, angle.from, angle.to);
    match angle.against {
        Some([from, to]) => own.plus(-1.0, &direction(adjustment, from, to)),
        None => own,
    }
}

/// The angle in (-pi, pi].
fn wrapped(angle: f64) -> f64 {
    let turned = angle.rem_euclid(2.0 * PI);
    if turned > PI {
        turned - 2.0 * PI
    } else {
        turned
    }
}
