//! How many pixels a millimetre has, in the render and in the registered reference.
//!
//! Lengths marked in pixels are all equally sure, so the scale is the least-squares line through the origin,
//! `k = sum(L p) / sum(L L)` for known lengths `L` and marked lengths `p`.
use super::{KnownFit, Scales, figures};
use crate::{
    job::{Job, Side, View},
    registration::{Adjustment, adjustment::Gradient},
    statistics::{Measured, normal_quantile},
};

/// A scale with what it depends on.
#[derive(Clone, Debug)]
pub(crate) struct Scale {
    /// Pixels of the render per millimetre.
    pub(crate) px_per_mm: f64,
    /// Derivative of its logarithm.
    pub(crate) log_gradient: Gradient,
}

/// All that is known of scale in a view.
#[derive(Clone, Debug)]
pub(crate) struct ScaleStudy {
    /// Render pixels per model millimetre, from lengths in the render.
    pub(crate) render: Option<Scale>,
    /// Render pixels per full-size millimetre, from lengths in the reference.
    pub(crate) reference: Option<Scale>,
    /// Model millimetres per render pixel and the half-width of its interval.
    pub(crate) model_mm_per_px: Option<(f64, f64)>,
    pub(crate) figures: Scales,
}

/// Fits the scales of a view.
pub(crate) fn study(job: &Job, view: &View, adjustment: &Adjustment) -> ScaleStudy {
    let lengths: Vec<Length> = view
        .known
        .iter()
        .map(|known| {
            let figure = match known.side {
                Side::Render => figures::render_length(adjustment, known.from, known.to),
                Side::Reference => figures::registered_length(adjustment, known.from, known.to),
            };
            let mm = match known.side {
                Side::Render => known.length.at(job.scale).0,
                Side::Reference => known.length.0,
            };
            Length {
                side: known.side,
                mm,
                figure,
            }
        })
        .collect();
    let render = fit(&lengths, Side::Render, adjustment);
    let reference = fit(&lengths, Side::Reference, adjustment);
    let n = job.scale.denominator();
    let measured = |scale: &Scale| relative(adjustment, scale.px_per_mm, &scale.log_gradient);
    let from_camera = camera_scale(view);
    let render_measured = render.as_ref().and_then(measured).or(from_camera);
    let reference_measured = reference.as_ref().and_then(measured);
    let model_mm_per_px = match (render_measured, reference_measured) {
        (Some(k), _) => Some((1.0 / k.value, k.half_width() / (k.value * k.value))),
        (None, Some(k)) => Some((
            1.0 / (k.value * n),
            k.half_width() / (k.value * k.value * n),
        )),
        (None, None) => None,
    };
    let model_size_percent = match (&render, &reference) {
        (Some(r), Some(s)) => {
            let mut gradient = s.log_gradient.clone();
            gradient.add(-1.0, &r.log_gradient);
            let ratio = s.px_per_mm * n / r.px_per_mm;
            relative(adjustment, ratio, &gradient).map(|m| m.plus(-1.0).times(100.0))
        }
        _ => None,
    };
    let known = disagreements(&lengths, [&render, &reference], adjustment);
    ScaleStudy {
        figures: Scales {
            render_px_per_model_mm: render_measured,
            registered_px_per_full_size_mm: reference_measured,
            model_mm_per_render_px: model_mm_per_px.map(|(v, _)| v),
            model_size_percent,
            known,
        },
        render,
        reference,
        model_mm_per_px,
    }
}

impl ScaleStudy {
    /// A figure in pixels, in model millimetres, with the uncertainty of the scale.
    pub(crate) fn model_mm(&self, px: Measured) -> Option<Measured> {
        let (mm, half) = self.model_mm_per_px?;
        Measured::plus_minus(px.value * mm, (px.half_width() * mm).hypot(px.value * half))
    }
}

struct Length {
    side: Side,
    mm: f64,
    figure: figures::Figure,
}

/// A positive figure from the gradient of its logarithm.
fn relative(adjustment: &Adjustment, value: f64, log_gradient: &Gradient) -> Option<Measured> {
    let log = adjustment.measured(0.0, log_gradient)?;
    Measured::plus_minus(value, value * log.half_width())
}

fn fit(lengths: &[Length], side: Side, adjustment: &Adjustment) -> Option<Scale> {
    let of_side = || lengths.iter().filter(|l| l.side == side);
    let squares: f64 = of_side().map(|l| l.mm * l.mm).sum();
    if squares <= 0.0 {
        return None;
    }
    let px_per_mm = of_side().map(|l| l.mm * l.figure.value).sum::<f64>() / squares;
    if px_per_mm.is_nan() || px_per_mm <= 0.0 {
        return None;
    }
    let mut log_gradient = adjustment.no_gradient();
    for l in of_side() {
        log_gradient.add(l.mm / squares / px_per_mm, &l.figure.gradient);
    }
    Some(Scale {
        px_per_mm,
        log_gradient,
    })
}

/// How each known length fits the scale of the others of its image: a length is tested against a scale that it had no
/// part in, so that a misread one does not hide in it.
fn disagreements(
    lengths: &[Length],
    scales: [&Option<Scale>; 2],
    adjustment: &Adjustment,
) -> Vec<KnownFit> {
    let limit = normal_quantile(1.0 - 0.001 / 2.0);
    let mut fits: Vec<KnownFit> = (0..lengths.len())
        .map(|k| {
            let length = &lengths[k];
            let scale = scales[usize::from(length.side == Side::Reference)];
            let disagreement = scale.as_ref().map_or(0.0, |s| {
                length.figure.value / (length.mm * s.px_per_mm) - 1.0
            });
            let statistic = against_the_others(lengths, k, adjustment);
            KnownFit {
                disagreement_percent: 100.0 * disagreement,
                test_statistic: statistic,
                doubtful: false,
            }
        })
        .collect();
    for side in [Side::Render, Side::Reference] {
        // Only the worst is named: a misread length drags the test of the others along.
        let worst = (0..lengths.len())
            .filter(|&k| lengths[k].side == side)
            .max_by(|&a, &b| statistic(&fits[a]).total_cmp(&statistic(&fits[b])));
        if let Some(k) = worst.filter(|&k| statistic(&fits[k]) > limit) {
            fits[k].doubtful = true;
        }
    }
    fits
}

fn statistic(fit: &KnownFit) -> f64 {
    fit.test_statistic.unwrap_or(0.0)
}

fn against_the_others(lengths: &[Length], k: usize, adjustment: &Adjustment) -> Option<f64> {
    let others: Vec<Length> = lengths
        .iter()
        .enumerate()
        .filter(|(i, l)| *i != k && l.side == lengths[k].side)
        .map(|(_, l)| Length {
            side: l.side,
            mm: l.mm,
            figure: l.figure.clone(),
        })
        .collect();
    let scale = fit(&others, lengths[k].side, adjustment)?;
    let own = &lengths[k];
    let mut gradient = own.figure.gradient.clone();
    gradient.add(-own.mm * scale.px_per_mm, &scale.log_gradient);
    let deviation = adjustment.variance(&gradient).sqrt();
    (deviation > 0.0).then(|| (own.figure.value - own.mm * scale.px_per_mm).abs() / deviation)
}

/// Render pixels per model millimetre from the render's camera: exact for an orthographic one; for a perspective one at
/// the landmarks' depths, from the nearest to the farthest.
fn camera_scale(view: &View) -> Option<Measured> {
    let camera = view.render.camera?;
    let row = |r: usize| nalgebra::Vector3::new(camera[r][0], camera[r][1], camera[r][2]);
    let scale_at = |space: Option<[f64; 3]>| {
        let p = nalgebra::Vector3::from(space.unwrap_or_default());
        let depth = row(2).dot(&p) + camera[2][3];
        let u = (row(0).dot(&p) + camera[0][3]) / depth;
        let v = (row(1).dot(&p) + camera[1][3]) / depth;
        let (x, y) = ((row(0) - row(2) * u) / depth, (row(1) - row(2) * v) / depth);
        x.cross(&y).norm().sqrt()
    };
    let at_landmarks: Vec<f64> = view
        .landmarks
        .iter()
        .filter(|l| l.model_mm.is_some())
        .map(|l| scale_at(l.model_mm))
        .collect();
    let is_orthographic = row(2).norm() == 0.0;
    let scales = if is_orthographic {
        vec![scale_at(None)]
    } else {
        at_landmarks
    };
    let low = scales.iter().copied().fold(f64::INFINITY, f64::min);
    let high = scales.iter().copied().fold(0.0, f64::max);
    let value = scales.iter().sum::<f64>() / scales.len() as f64;
    (low > 0.0 && high.is_finite()).then_some(Measured { value, low, high })
}
