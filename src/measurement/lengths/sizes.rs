//! Sizes of two images against each other, and what their known lengths say, in words.
use super::{DimensionFit, settings::LENGTHS};
use crate::{
    job::{Job, Known, ReferenceKind, RenderKind, Side, View},
    measurement::{KnownFit, Scales, SpanMeasure},
    registration::Registration,
    statistics::{
        Measured,
        words::{self, Sign},
    },
    units::FullSizeMm,
    warning::Code,
};

/// How the reference differs from the render in size and angle, by the scales of both.
#[derive(Clone, Debug)]
pub struct SizeComparison {
    /// How much the reference is larger than the render says, per cent.
    pub larger_percent: Measured,
    /// How far what the reference shows is turned against the render, degrees, clockwise.
    pub turned_deg: Measured,
    /// All in one sentence; with the first span where an image is a plan, whose dimensions are what it is looked at for.
    pub text: String,
    /// One for each span that both images scale, in the order of the view.
    pub spans: Vec<SpanSizes>,
}

/// One span in both images.
#[derive(Clone, Debug)]
pub struct SpanSizes {
    /// The span's name.
    pub name: String,
    /// By the render, millimetres on the model.
    pub was_model_mm: Measured,
    /// By the reference, millimetres on the model.
    pub becomes_model_mm: Measured,
    /// By the render, full-size millimetres.
    pub was_full_size_mm: Measured,
    /// By the reference, full-size millimetres.
    pub becomes_full_size_mm: Measured,
    /// Such as "the span "overall" becomes 26.31 mm ±0.08 instead of ...".
    pub text: String,
}

/// Compares the sizes; `None` unless both images have a scale from known lengths.
pub(crate) fn compare(
    job: &Job,
    view: &View,
    registration: &Registration,
    scales: &Scales,
    spans: &[SpanMeasure],
) -> Option<SizeComparison> {
    let model = scales.model_size_percent?;
    // The render over the reference, turned round.
    let inverse = |percent: f64| 100.0 * (1.0 / (1.0 + percent / 100.0) - 1.0);
    if model.low() <= -100.0 {
        return None;
    }
    let [value, low, high] = [model.value(), model.high(), model.low()].map(inverse);
    let larger_percent = Measured::new(value, low, high)?;
    let turned_deg = registration.rotation_deg.times(-1.0);
    let n = job.scale.denominator();
    let spans: Vec<SpanSizes> = spans.iter().filter_map(|s| span_sizes(s, n)).collect();
    let text = sentence(job, view, larger_percent, turned_deg, spans.first());
    Some(SizeComparison {
        larger_percent,
        turned_deg,
        text,
        spans,
    })
}

fn span_sizes(span: &SpanMeasure, n: f64) -> Option<SpanSizes> {
    let (was, becomes) = (span.model_mm?, span.full_size_mm?);
    let mut sizes = SpanSizes {
        name: span.name.clone(),
        was_model_mm: was,
        becomes_model_mm: becomes.times(1.0 / n),
        was_full_size_mm: was.times(n),
        becomes_full_size_mm: becomes,
        text: String::new(),
    };
    let feet = |m: Measured| FullSizeMm(m.value()).feet_and_inches_within(m.half_width());
    sizes.text = format!(
        "the span \"{}\" becomes {} instead of {} (full size {}, {}, instead of {}, {})",
        sizes.name,
        with_unit(sizes.becomes_model_mm, " mm"),
        with_unit(sizes.was_model_mm, " mm"),
        with_unit(sizes.becomes_full_size_mm, " mm"),
        feet(sizes.becomes_full_size_mm),
        with_unit(sizes.was_full_size_mm, " mm"),
        feet(sizes.was_full_size_mm),
    );
    Some(sizes)
}

fn sentence(
    job: &Job,
    view: &View,
    larger: Measured,
    turned: Measured,
    span: Option<&SpanSizes>,
) -> String {
    let (second, first) = match (view.render.kind, view.reference.kind) {
        (RenderKind::Plan, ReferenceKind::Plan) => ("the reference", "the render"),
        (RenderKind::Plan, _) => ("the reference", "the plan"),
        (RenderKind::Model, ReferenceKind::Plan) => ("the plan", "the model"),
        (RenderKind::Model, _) => ("the reference", "the model"),
        (RenderKind::Print, ReferenceKind::Plan) => ("the plan", "the print"),
        (RenderKind::Print, _) => ("the reference", "the print"),
    };
    let size = if larger.holds(0.0) {
        format!(
            "{second} is as large as {first} ({})",
            with_sign(larger, " %")
        )
    } else {
        let word = if larger.value() > 0.0 {
            "larger"
        } else {
            "smaller"
        };
        let amount = larger.times(larger.value().signum());
        format!(
            "{second} is {} {word} than {first}",
            with_unit(amount, " %")
        )
    };
    let turn = if turned.holds(0.0) {
        format!("not turned ({})", with_sign(turned, "°"))
    } else {
        let word = if turned.value() > 0.0 {
            "clockwise"
        } else {
            "anticlockwise"
        };
        let amount = turned.times(turned.value().signum());
        format!("turned by {} {word}", with_unit(amount, "°"))
    };
    let is_plan =
        view.render.kind == RenderKind::Plan || view.reference.kind == ReferenceKind::Plan;
    let span = span.filter(|_| is_plan);
    let span = span.map_or_else(String::new, |s| format!("; at {} {}", job.scale, s.text));
    format!("{size} and {turn}{span}")
}

/// "3.4 ±0.3 %".
pub(in crate::measurement) fn with_unit(figure: Measured, unit: &str) -> String {
    words::interval(figure, Sign::Minus, unit)
}

/// "+0.1 ±0.3 %".
fn with_sign(figure: Measured, unit: &str) -> String {
    words::interval(figure, Sign::Always, unit)
}

/// Warnings on what the known lengths of either image say.
pub(crate) fn about_dimensions(view: &View, scales: &Scales, warn: &mut dyn FnMut(Code, String)) {
    for (known, fit) in view.known.iter().zip(&scales.known) {
        if fit.doubtful && !fit.ambiguous {
            warn(Code::DoubtfulLength, doubtful(view, known, fit));
        }
    }
    for side in Side::BOTH {
        let of_side = view.known.iter().zip(&scales.known);
        let contradicting: Vec<String> = of_side
            .filter(|(known, fit)| known.side == side && fit.ambiguous)
            .map(|(known, _)| in_words(view, known))
            .collect();
        if contradicting.len() > 1 {
            warn(Code::ContradictingLengths, contradiction(&contradicting));
        }
        let fit = match side {
            Side::Render => &scales.render_dimensions,
            Side::Reference => &scales.reference_dimensions,
        };
        if let Some(fit) = fit {
            about_image(side, fit, warn);
        }
        about_refused(side, scales, warn);
    }
}

fn about_refused(side: Side, scales: &Scales, warn: &mut dyn FnMut(Code, String)) {
    let (image, refused) = match side {
        Side::Render => ("render", scales.refused[0]),
        Side::Reference => ("reference", scales.refused[1]),
    };
    if let Some([wrong, all]) = refused.lengths {
        warn(
            Code::LengthsRefused,
            format!(
                "{wrong} of {all} known lengths of the {image} contradict the others, so nothing tells which are right, \
                 and no scale is taken from them. Look whether their ends are marked in the {image}, and whether each \
                 length and its unit belong to its line."
            ),
        );
    }
    if let Some([wrong, all]) = refused.directions {
        let which = match wrong < all {
            true => format!(
                "{wrong} of {all} known directions (\"along\") of the {image} contradict the others"
            ),
            false => format!(
                "The {all} known directions (\"along\") of the {image} contradict each other"
            ),
        };
        warn(
            Code::DirectionsRefused,
            format!(
                "{which}, so nothing tells which are right, and no angle of the drawing is taken from them. Look whether \
                 \"x\" and \"y\" are exchanged."
            ),
        );
    }
}

fn in_words(view: &View, known: &Known) -> String {
    let what = if known.length.is_some() {
        known.text.as_str()
    } else {
        "the direction"
    };
    format!("{what} from {}", known.ends_in_words(&view.landmarks))
}

fn contradiction(lengths: &[String]) -> String {
    format!(
        "These known lengths contradict each other, and nothing tells which is misread: {}. Add another length of the \
         same image.",
        lengths.join("; ")
    )
}

fn doubtful(view: &View, known: &Known, fit: &KnownFit) -> String {
    let test = match (fit.test_statistic, fit.critical_value) {
        (Some(t), Some(limit)) => format!(" (test {t:.1}, limit {limit:.1})"),
        _ => String::new(),
    };
    let asked = fit
        .others_ask_for_full_size_mm
        .map(|asked| match known.side {
            Side::Reference => format!(
                "the others ask for {}, {}",
                with_unit(asked, " mm"),
                FullSizeMm(asked.value()).feet_and_inches_within(asked.half_width())
            ),
            Side::Render => format!("the others ask for {} full size", with_unit(asked, " mm")),
        });
    let off = fit.direction_error_deg.map_or(0.0, f64::abs);
    if off > LENGTHS.crossed_direction.get() {
        return format!(
            "The known length {} disagrees with the others{test}: it runs at {off:.0}° to the direction that its \"along\" \
             states. Look whether \"x\" and \"y\" are exchanged, and at its ends. Its direction was left out.",
            in_words(view, known)
        );
    }
    let advice = asked.unwrap_or_else(|| "look at its direction and its ends".to_owned());
    format!(
        "The known length {} disagrees with the others{test}: it is probably misread or marked at the wrong ends; {advice}. \
         It was left out.",
        in_words(view, known)
    )
}

fn about_image(side: Side, fit: &DimensionFit, warn: &mut dyn FnMut(Code, String)) {
    let image = match side {
        Side::Render => "render",
        Side::Reference => "reference",
    };
    if let (true, Some(stretch), Some(test)) =
        (fit.is_stretched, fit.stretch_percent, fit.stretch_test)
    {
        let factor = 100.0 / (1.0 + stretch.value() / 100.0);
        warn(
            Code::Stretched,
            format!(
                "By its known lengths the {image} is stretched by {} more along x than along y (F {:.1}, limit {:.1}), \
                 so proportions are off by that: scale the picture's width to {factor:.2} % and mark it again, or \
                 rectify it by something of known width and height.",
                with_sign(stretch, " %"),
                test.statistic,
                test.critical
            ),
        );
    }
    if let (true, Some(angle), Some(test)) =
        (fit.is_out_of_square, fit.out_of_square_deg, fit.square_test)
    {
        warn(
            Code::OutOfSquare,
            format!(
                "Right angles of the drawing are {} in the {image} (F {:.1}, limit {:.1}): rectify it by \
                 its border.",
                with_unit(angle.plus(90.0), "°"),
                test.statistic,
                test.critical
            ),
        );
    }
    if fit.disagree {
        warn(
            Code::LengthsDisagree,
            format!(
                "The known lengths of the {image} disagree by more than the noise of the marks explains; the intervals \
                 are widened by it. Look at the ends, or state a larger mark_sigma_px."
            ),
        );
    }
}
