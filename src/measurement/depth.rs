//! What may be told of a view that was taken from elsewhere while nothing tells depth: sizes and turns of parts, not offsets.
//!
//! A camera beside the render's moves a part that lies across the view as a whole, by its depth: that is an offset, and none
//! of it need be the model's. Its size and its turn stay, as far as the part is flat: relief of three tenths of its size seen by
//! a camera that is off by 5 % of its distance stretches it by 1.5 % (`depth_per_size`, and what is expected of the camera),
//! which its interval leaves out. A length or a direction between two parts follows from their offsets.
use super::{AngleMeasure, Correction, SpanMeasure, Verdict};
use crate::{
    job::{Angle, LandmarkUse, Span, View},
    registration::Adjustment,
};

/// Why offsets of the view cannot be told from depth; `None` where they can, or the camera is the same.
pub(crate) fn why_untold(view: &View, adjustment: &Adjustment) -> Option<&'static str> {
    if !adjustment.mistakes_depth(view) {
        return None;
    }
    let has_places = view.landmarks.iter().any(|l| l.model_mm.is_some());
    Some(match (view.render.camera.is_some(), has_places) {
        (false, true) => "the render has no \"camera\"",
        (true, false) => "no landmark has a place on the model (model_mm)",
        (false, false) => {
            "the render has no \"camera\" and no landmark has a place on the model (model_mm)"
        }
        (true, true) => {
            "the render's camera and the landmarks' places on the model (model_mm) do not fit"
        }
    })
}

/// What is told of it.
pub(crate) fn warning(why: &str) -> String {
    format!(
        "The reference was taken from elsewhere and {why}: depth shows up as offset. So offsets of parts are not told, and \
         lengths and directions between parts are undecided; sizes and angles of a part count as far as it is flat. State \
         both the camera and the places, or take the reference from where the render was."
    )
}

/// The measure as it is, but a span between datum landmarks is not within where the camera was fitted to their places on the
/// model, and that of a span whose ends may lie at different depths is undecided and calls for no change where
/// nothing tells depth.
pub(crate) fn span(
    view: &View,
    span: &Span,
    adjustment: &Adjustment,
    (mut measure, correction): (SpanMeasure, Option<Correction>),
) -> (SpanMeasure, Option<Correction>) {
    if adjustment.camera_is_free() && are_datum(view, &[span.from, span.to]) {
        measure.verdict = not_within(measure.verdict);
        return (measure, correction);
    }
    if !adjustment.mistakes_depth(view) || are_of_one_part(view, span.from, span.to) {
        return (measure, correction);
    }
    measure.verdict = Verdict::Undecided;
    measure.correction = None;
    (measure, None)
}

/// The same of an angle, of which either line may run between depths.
pub(crate) fn angle(
    view: &View,
    angle: &Angle,
    adjustment: &Adjustment,
    (mut measure, correction): (AngleMeasure, Option<Correction>),
) -> (AngleMeasure, Option<Correction>) {
    let line = [angle.from, angle.to];
    let lines = [line, angle.against.unwrap_or(line)];
    if adjustment.camera_is_free() && are_datum(view, lines.as_flattened()) {
        measure.verdict = not_within(measure.verdict);
        return (measure, correction);
    }
    let are_flat = lines.iter().all(|[a, b]| are_of_one_part(view, *a, *b));
    if !adjustment.mistakes_depth(view) || are_flat {
        return (measure, correction);
    }
    measure.verdict = Verdict::Undecided;
    measure.correction = None;
    (measure, None)
}

/// Whether all of these landmarks are of the datum.
fn are_datum(view: &View, landmarks: &[usize]) -> bool {
    let is_datum = |&i: &usize| view.landmarks[i].usage == LandmarkUse::Datum;
    landmarks.iter().all(is_datum)
}

/// The camera was fitted to these very places: that they agree does not show that they are right, that they do not shows an error.
fn not_within(verdict: Verdict) -> Verdict {
    match verdict {
        Verdict::Within => Verdict::Undecided,
        other => other,
    }
}

/// Whether two landmarks are of one depth, as far as can be known: on the same part, or both of the datum, which lies in the
/// plane that the registration takes from one picture to the other.
fn are_of_one_part(view: &View, a: usize, b: usize) -> bool {
    let is_datum = |i: usize| view.landmarks[i].usage == LandmarkUse::Datum;
    let on_one = |landmarks: &[usize]| landmarks.contains(&a) && landmarks.contains(&b);
    (is_datum(a) && is_datum(b)) || view.regions.iter().any(|r| on_one(&r.landmarks))
}
