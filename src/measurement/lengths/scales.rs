//! How many pixels a millimetre has, in the render and in the registered reference.
//!
//! Each image's known lengths are fitted in its own pixels ([`super::dimensions`]); the reference's scale is then taken
//! through the registration with the same weights, so that what both share cancels.
use super::{
    dimensions::{DimensionStudy, Dimensions, KnownLine, LineFit},
    model_scale::ModelScale,
};
use crate::{
    frame::Point,
    job::{End, Job, Side, View},
    measurement::{KnownFit, Scales, figures, own_marks::own_length},
    registration::{Adjustment, SingleMark, adjustment::Gradient, checks::places::Places},
    statistics::Measured,
    units::FullSizeMm,
};

/// A scale with what it depends on.
#[derive(Clone, Debug)]
pub(crate) struct Scale {
    /// Pixels of the render per millimetre.
    pub(crate) px_per_mm: f64,
    /// Derivative of its logarithm.
    pub(crate) log_gradient: Gradient,
    /// Half-width of the part of its interval that does not come from the marks, relative.
    pub(crate) extra: f64,
}

impl Scale {
    /// A relative figure with this scale's own part of the interval added.
    pub(crate) fn widened(&self, log: Measured) -> Option<Measured> {
        Measured::plus_minus(log.value(), log.half_width().hypot(self.extra))
    }
}

impl Scale {
    /// Model millimetres a pixel, where a millimetre of this scale is `n`th of one on the model.
    fn model_scale(&self, n: f64) -> ModelScale {
        let mut log_gradient = self.log_gradient.clone();
        log_gradient.scale(-1.0);
        ModelScale {
            mm_per_px: 1.0 / (self.px_per_mm * n),
            log_gradient,
            extra: self.extra,
        }
    }
}

/// All that is known of scale in a view.
#[derive(Clone, Debug)]
pub(crate) struct ScaleStudy {
    /// Render pixels per model millimetre, from lengths in the render.
    pub(crate) render: Option<Scale>,
    /// Render pixels per full-size millimetre, from lengths in the reference.
    pub(crate) reference: Option<Scale>,
    /// Model millimetres a pixel of the render: from the render's lengths, else its camera, else the reference's lengths.
    pub(crate) model: Option<ModelScale>,
    pub(crate) figures: Scales,
}

/// An adjustment that also knows the points of known lengths that are no landmarks.
pub(crate) struct KnownMarks {
    pub(crate) adjustment: Adjustment,
    /// For each known length of the view, the pairs at its ends.
    ends: Vec<[usize; 2]>,
}

impl KnownMarks {
    /// Appends each point once, as a pair that takes no part in the adjustment: points of two lengths that are the same
    /// are one mark, with one error.
    pub(crate) fn new(view: &View, adjustment: &Adjustment) -> Self {
        let mut marks = Self {
            adjustment: adjustment.clone(),
            ends: Vec::new(),
        };
        let mut points: Vec<(Side, [f64; 2], usize)> = Vec::new();
        let mut ends = Vec::new();
        for known in &view.known {
            ends.push([known.from, known.to].map(|end| match end {
                End::Landmark(i) => i,
                End::Point(point) => {
                    let found = points.iter().find(|p| p.0 == known.side && p.1 == point);
                    if let Some((_, _, i)) = found {
                        return *i;
                    }
                    let i = marks.adjustment.add_single(single(known.side, point));
                    points.push((known.side, point, i));
                    i
                }
            }));
        }
        marks.ends = ends;
        marks
    }
}

fn single(side: Side, [x, y]: [f64; 2]) -> SingleMark {
    match side {
        Side::Render => SingleMark::Render(Point::new(x, y)),
        Side::Reference => SingleMark::Reference(Point::new(x, y)),
    }
}

/// Fits the scales of a view.
pub(crate) fn study(job: &Job, view: &View, marks: &KnownMarks) -> ScaleStudy {
    let adjustment = &marks.adjustment;
    let own = Side::BOTH.map(|side| own_study(job, view, marks, side));
    let [of_render, of_reference] = &own;
    let render = of_render.as_ref().and_then(own_scale);
    let reference = of_reference
        .as_ref()
        .and_then(|study| registered_scale(view, marks, study));
    let n = job.scale.denominator();
    let measured = |scale: &Scale| {
        let log = scale.widened(adjustment.measured(0.0, &scale.log_gradient)?)?;
        relative(scale.px_per_mm, log)
    };
    let from_camera = camera_scale(view);
    let render_measured = render.as_ref().and_then(measured).or(from_camera);
    let reference_measured = reference.as_ref().and_then(measured);
    let model = match (&render, from_camera, &reference) {
        (Some(r), _, _) => Some(r.model_scale(1.0)),
        (None, Some(camera), _) => Some(ModelScale {
            mm_per_px: 1.0 / camera.value(),
            log_gradient: adjustment.no_gradient(),
            extra: camera.half_width() / camera.value(),
        }),
        (None, None, Some(s)) => Some(s.model_scale(n)),
        (None, None, None) => None,
    };
    let model_size_percent = match (&render, &reference) {
        (Some(r), Some(s)) => {
            let mut gradient = s.log_gradient.clone();
            gradient.add(-1.0, &r.log_gradient);
            let ratio = s.px_per_mm * n / r.px_per_mm;
            adjustment
                .measured(0.0, &gradient)
                .and_then(|log| r.widened(s.widened(log)?))
                .and_then(|log| relative(ratio, log))
                .map(|m| m.plus(-1.0).times(100.0))
        }
        _ => None,
    };
    let known = known_fits(job, view, &own);
    let refused = [&own[0], &own[1]].map(|study| study.as_ref().map(|s| s.refused));
    let [render_dimensions, reference_dimensions] = own.map(|study| study.and_then(|s| s.fit));
    ScaleStudy {
        figures: Scales {
            render_px_per_model_mm: render_measured,
            registered_px_per_full_size_mm: reference_measured,
            model_size_percent,
            known,
            render_dimensions,
            reference_dimensions,
            refused: refused.map(Option::unwrap_or_default),
        },
        render,
        reference,
        model,
    }
}

impl ScaleStudy {
    /// Offset of landmark `i` along `axis` in millimetres on the model; `None` without a scale.
    pub(crate) fn landmark_offset_model_mm(
        &self,
        adjustment: &Adjustment,
        i: usize,
        axis: usize,
    ) -> Option<Measured> {
        let offset = figures::landmark_offset(adjustment, i, axis);
        self.model.as_ref()?.of_figure(adjustment, &offset)
    }
}

/// A positive figure from the interval of its logarithm.
fn relative(value: f64, log: Measured) -> Option<Measured> {
    Measured::plus_minus(value, value * log.half_width())
}

/// What the known lines of the reference say of it alone, and the same as figures.
pub(crate) fn of_reference_alone(
    job: &Job,
    view: &View,
    marks: &KnownMarks,
) -> (Option<DimensionStudy>, Scales) {
    let own = [None, own_study(job, view, marks, Side::Reference)];
    let known = known_fits(job, view, &own);
    let [_, study] = own;
    let figures = Scales {
        render_px_per_model_mm: None,
        registered_px_per_full_size_mm: None,
        model_size_percent: None,
        known,
        render_dimensions: None,
        reference_dimensions: study.as_ref().and_then(|study| study.fit.clone()),
        refused: [
            Default::default(),
            study.as_ref().map_or_else(Default::default, |s| s.refused),
        ],
    };
    (study, figures)
}

/// The known lines of one image, in its own pixels; places in `lines` are those among the image's own.
fn own_study(job: &Job, view: &View, marks: &KnownMarks, side: Side) -> Option<DimensionStudy> {
    let of_side = view.known.iter().zip(&marks.ends);
    let own_mm = |length: FullSizeMm| match side {
        Side::Render => length.at(job.scale).0,
        Side::Reference => length.0,
    };
    let lines: Vec<KnownLine> = of_side
        .filter(|(known, _)| known.side == side)
        .map(|(known, ends)| KnownLine {
            ends: *ends,
            mm: known.length.map(own_mm),
            sigma_mm: known.sigma.map(own_mm),
            along: known.along,
        })
        .collect();
    Dimensions::new(&marks.adjustment, side, &lines)?.study(&marks.adjustment, lines.len())
}

fn own_scale(study: &DimensionStudy) -> Option<Scale> {
    study.fit.as_ref()?;
    Some(Scale {
        px_per_mm: study.log_scale.exp(),
        log_gradient: study.log_gradient.clone(),
        extra: study.extra,
    })
}

/// The reference's scale through the registration: each length weighs as much as in its own image.
fn registered_scale(view: &View, marks: &KnownMarks, study: &DimensionStudy) -> Option<Scale> {
    let mut scale = own_scale(study)?;
    let adjustment = &marks.adjustment;
    let of_side = view.known.iter().zip(&marks.ends);
    let lines = of_side.filter(|(known, _)| known.side == Side::Reference);
    let mut log = study.log_scale;
    for ((_, [from, to]), weight) in lines.zip(&study.length_weights) {
        if *weight == 0.0 {
            continue;
        }
        let registered = figures::registered_length(adjustment, *from, *to);
        let own = own_length(adjustment, Side::Reference, [*from, *to]);
        log += weight * (registered.value / own.value).ln();
        scale
            .log_gradient
            .add(weight / registered.value, &registered.gradient);
        scale.log_gradient.add(-weight / own.value, &own.gradient);
    }
    scale.px_per_mm = log.exp();
    (scale.px_per_mm.is_finite() && scale.px_per_mm > 0.0).then_some(scale)
}

/// How each known length of the view fits the others of its image.
fn known_fits(job: &Job, view: &View, own: &[Option<DimensionStudy>; 2]) -> Vec<KnownFit> {
    let mut next = [0, 0];
    let mut fits = Vec::new();
    for known in &view.known {
        let image = usize::from(known.side == Side::Reference);
        let line = own[image].as_ref().and_then(|s| s.lines.get(next[image]));
        next[image] += 1;
        let to_full_size = match known.side {
            Side::Render => job.scale.denominator(),
            Side::Reference => 1.0,
        };
        fits.push(line.map_or_else(KnownFit::default, |line| known_fit(line, to_full_size)));
    }
    fits
}

fn known_fit(line: &LineFit, to_full_size: f64) -> KnownFit {
    KnownFit {
        disagreement_percent: line.disagreement.map(|d| 100.0 * d),
        direction_error_deg: line.direction_deg,
        test_statistic: line.test.map(|(statistic, _)| statistic),
        critical_value: line.test.map(|(_, critical)| critical),
        others_ask_for_full_size_mm: line.asked_mm.map(|m| m.times(to_full_size)),
        doubtful: line.doubtful,
        ambiguous: line.ambiguous,
    }
}

/// Render pixels per model millimetre from the render's camera: exact for an orthographic one; for a perspective one at
/// the landmarks' depths, from the nearest to the farthest.
fn camera_scale(view: &View) -> Option<Measured> {
    let camera = view.render.camera?;
    let places = Places::of(view);
    if matches!(places, Places::CameraMisses { .. }) {
        return None;
    }
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
        .enumerate()
        .filter(|(i, l)| l.model_mm.is_some() && places.holds(*i))
        .map(|(_, l)| scale_at(l.model_mm))
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
    if low <= 0.0 {
        return None;
    }
    // A mean of equal numbers may lie a rounding beside them.
    Measured::new(value.clamp(low, high.max(low)), low, high)
}
