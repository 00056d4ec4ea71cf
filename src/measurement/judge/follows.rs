//! Which errors of spans and angles go away when parts are changed: one fault asks for one change.
//!
//! The changes of the parts at the ends of a line move these ends, and so its length and direction. What is left of the line's
//! error after them is judged as an error of its own: where that calls for no change, the line asks for none.
//!
//! # Source
//! To first order, and as if the figures of parts and lines were independent (they share marks, so what is left is known better
//! than stated): our own judgement; no source.
use super::{
    correction::{calls_for_change, is_visible},
    verdict,
};
use crate::{
    frame::{Point, RenderPx},
    job::{Angle, Job, Span, View},
    measurement::{AngleMeasure, Correction, MeasureKind, PartChange, RegionMeasure, SpanMeasure},
    statistics::Measured,
};

/// The parts of a view, and what is to be changed of them.
pub(crate) struct Changed<'a> {
    view: &'a View,
    parts: &'a [RegionMeasure],
    mm_per_px: Option<f64>,
}

/// How far one change of a part moves the figure of a line.
struct Effect<'a> {
    part: &'a str,
    /// Which of the part's numbers is changed.
    measure: MeasureKind,
    /// What the figure changes by, for one unit of the number.
    share: f64,
    error: Measured,
}

impl<'a> Changed<'a> {
    /// `parts` are the measured regions of the view, in its order; `mm_per_px` takes render pixels to model millimetres.
    pub(crate) fn new(view: &'a View, parts: &'a [RegionMeasure], mm_per_px: Option<f64>) -> Self {
        Self {
            view,
            parts,
            mm_per_px,
        }
    }

    pub(crate) fn view(&self) -> &'a View {
        self.view
    }

    /// Of a span that asks for a change: none, where the changes of parts take its error away.
    pub(crate) fn span(
        &self,
        job: &Job,
        span: &Span,
        (mut measure, correction): (SpanMeasure, Option<Correction>),
    ) -> (SpanMeasure, Option<Correction>) {
        if correction.is_none() {
            return (measure, None);
        }
        let percent_per_px = 100.0 / measure.reference_px.value();
        let effects = self.along(span.from, span.to, percent_per_px);
        let mm_per_percent = self.mm_per_px.map(|mm| mm / percent_per_px);
        let calls = |left: Measured| {
            let verdict = verdict::judge(left, span.tolerance.proportion_percent);
            let mm = mm_per_percent.map(|mm| mm * left.value());
            calls_for_change(left, verdict) && is_visible(job, mm)
        };
        let Some(parts) = taken_away(measure.error_percent, &effects, calls) else {
            return (measure, correction);
        };
        measure.correction = Some(in_words(&parts));
        measure.goes_with = parts;
        (measure, None)
    }

    /// The same of an angle.
    pub(crate) fn angle(
        &self,
        angle: &Angle,
        (mut measure, correction): (AngleMeasure, Option<Correction>),
    ) -> (AngleMeasure, Option<Correction>) {
        if correction.is_none() {
            return (measure, None);
        }
        let mut effects = self.turning(angle.from, angle.to, 1.0);
        if let Some([from, to]) = angle.against {
            effects.extend(self.turning(from, to, -1.0));
        }
        let calls = |left: Measured| {
            calls_for_change(left, verdict::judge(left, angle.tolerance.angle_deg))
        };
        let Some(parts) = taken_away(measure.error_deg, &effects, calls) else {
            return (measure, correction);
        };
        measure.correction = Some(in_words(&parts));
        measure.goes_with = parts;
        (measure, None)
    }

    /// What the errors that are to be changed do to the length between two landmarks, times `unit`.
    fn along(&self, from: usize, to: usize, unit: f64) -> Vec<Effect<'a>> {
        let [dx, dy] = self.line(from, to);
        let length = dx.hypot(dy);
        self.at_ends(from, to, [unit * dx / length, unit * dy / length])
    }

    /// The same to its direction, degrees, clockwise.
    fn turning(&self, from: usize, to: usize, sign: f64) -> Vec<Effect<'a>> {
        let [dx, dy] = self.line(from, to);
        let unit = sign * (180.0 / std::f64::consts::PI) / (dx * dx + dy * dy);
        self.at_ends(from, to, [-unit * dy, unit * dx])
    }

    fn line(&self, from: usize, to: usize) -> [f64; 2] {
        let [from, to] = [from, to].map(|i| self.view.landmarks[i].render);
        [to.x - from.x, to.y - from.y]
    }

    /// What the parts at both ends do, as far as it lies along `direction`, from the first end to the second. A number that moves
    /// both ends counts once.
    fn at_ends(&self, from: usize, to: usize, direction: [f64; 2]) -> Vec<Effect<'a>> {
        let mut all: Vec<Effect<'a>> = Vec::new();
        for (landmark, sign) in [(from, -1.0), (to, 1.0)] {
            for effect in self.at(landmark, direction.map(|d| sign * d)) {
                add(&mut all, effect);
            }
        }
        all
    }

    /// What the changes of the part that a landmark belongs to do at it, along `direction`.
    fn at(&self, landmark: usize, [along_x, along_y]: [f64; 2]) -> Vec<Effect<'a>> {
        let regions = &self.view.regions;
        let Some(j) = regions.iter().position(|r| r.landmarks.contains(&landmark)) else {
            return Vec::new();
        };
        let part = &self.parts[j];
        let [x, y] = self.offset_from_centre(j, self.view.landmarks[landmark].render);
        let share = |measure: MeasureKind| match measure {
            MeasureKind::Width => Some(along_x * x / 100.0),
            MeasureKind::Height => Some(along_y * y / 100.0),
            MeasureKind::Rotation => Some((along_y * x - along_x * y).to_radians()),
            MeasureKind::OffsetX => Some(along_x / self.mm_per_px?),
            MeasureKind::OffsetY => Some(along_y / self.mm_per_px?),
            _ => None,
        };
        let effect = |change: &PartChange| {
            Some(Effect {
                part: &part.name,
                measure: change.measure,
                share: share(change.measure)?,
                error: change.error,
            })
        };
        part.changes.iter().filter_map(effect).collect()
    }

    /// A point from that about which part `j` is scaled and turned.
    fn offset_from_centre(&self, j: usize, point: Point<RenderPx>) -> [f64; 2] {
        let pivot = self.parts[j].pivot.as_ref();
        let mut landmarks = self.view.landmarks.iter();
        let pivot = pivot.and_then(|p| landmarks.find(|l| l.name == p.landmark));
        let centre = pivot.map_or(self.view.regions[j].anchor, |l| l.render);
        [point.x - centre.x, point.y - centre.y]
    }
}

fn add<'a>(all: &mut Vec<Effect<'a>>, effect: Effect<'a>) {
    let is_same =
        |other: &&mut Effect<'a>| (other.part, other.measure) == (effect.part, effect.measure);
    match all.iter_mut().find(is_same) {
        Some(other) => other.share += effect.share,
        None => all.push(effect),
    }
}

/// The parts whose changes take an error away, so that what they leave does not call for a change; `None` where they do not.
fn taken_away(
    error: Measured,
    effects: &[Effect<'_>],
    calls: impl Fn(Measured) -> bool,
) -> Option<Vec<String>> {
    let left = left_over(error, effects)?;
    (!calls(left)).then(|| names(effects))
}

/// What the changes leave of an error; `None` where they do nothing to it.
fn left_over(error: Measured, effects: &[Effect<'_>]) -> Option<Measured> {
    let removed: f64 = effects.iter().map(|e| e.share * e.error.value()).sum();
    if removed * error.value() <= 0.0 {
        return None;
    }
    let halves = effects.iter().map(|e| e.share * e.error.half_width());
    let half = halves.fold(error.half_width(), f64::hypot);
    Measured::plus_minus(error.value() - removed, half)
}

/// The parts whose changes help, without repetition.
fn names(effects: &[Effect<'_>]) -> Vec<String> {
    let mut names: Vec<String> = Vec::new();
    for effect in effects.iter().filter(|e| e.share != 0.0) {
        if names.iter().all(|name| name != effect.part) {
            names.push(effect.part.to_owned());
        }
    }
    names
}

/// "goes away with the changes of the lantern and the tool box".
fn in_words(parts: &[String]) -> String {
    let change = match parts {
        [_] => "change",
        _ => "changes",
    };
    let parts: Vec<String> = parts.iter().map(|part| format!("the {part}")).collect();
    format!("goes away with the {change} of {}", parts.join(" and "))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn effect(part: &str, share: f64, error: f64, half: f64) -> Effect<'_> {
        Effect {
            part,
            measure: MeasureKind::Width,
            share,
            error: Measured::plus_minus(error, half).expect("finite"),
        }
    }

    #[test]
    fn what_the_changes_leave_keeps_what_is_unsure_of_both() {
        let error = Measured::plus_minus(5.0, 0.3).expect("finite");
        let left = left_over(error, &[effect("lantern", 1.0, 4.0, 0.4)]).expect("helps");
        assert!((left.value() - 1.0).abs() < 1e-12);
        assert!((left.half_width() - 0.5).abs() < 1e-12);
        // A change that makes it worse takes nothing away.
        assert!(left_over(error, &[effect("lantern", -1.0, 4.0, 0.4)]).is_none());
        assert!(left_over(error, &[]).is_none());
    }

    #[test]
    fn a_number_that_moves_both_ends_counts_once() {
        let mut all = Vec::new();
        add(&mut all, effect("lantern", 0.75, 4.0, 0.4));
        add(&mut all, effect("lantern", -0.25, 4.0, 0.4));
        add(&mut all, effect("tool box", 0.5, 1.0, 0.4));
        let shares: Vec<f64> = all.iter().map(|e| e.share).collect();
        assert_eq!(shares, [0.5, 0.5]);
        assert_eq!(
            in_words(&names(&all)),
            "goes away with the changes of the lantern and the tool box"
        );
    }
}
