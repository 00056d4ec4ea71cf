//! A reference that was measured by itself: its dimensions over its rectified picture.
use super::{
    Error, dimension_words,
    dimensions::{DimensionsToDraw, DrawnAngle, draw_dimensions},
    png::encode_png,
};
use crate::{
    frame::FromReference,
    job::{Job, View},
    measurement::{MeasuredBy, ReferenceAlone},
    rectification,
};
use image::RgbImage;

/// The dimensions of a reference over it as PNG: over the rectified picture where it was measured as a plane.
///
/// # Errors
/// [`Error::Rectify`] where the rectified picture would be too large, [`Error::Scene`], [`Error::Png`] and [`Error::Stopped`].
pub fn draw_alone(
    job: &Job,
    view: &View,
    alone: &ReferenceAlone,
    picture: &RgbImage,
) -> Result<Vec<u8>, Error> {
    let rectification = alone.rectification.as_ref();
    let drawn = match rectification.filter(|_| alone.by == MeasuredBy::Plane) {
        None => {
            let to_draw = to_draw(job, view, alone, &|i| view.landmarks[i].reference.xy());
            draw_dimensions(picture, &to_draw)
        }
        Some(rectification) => {
            let size = picture.dimensions();
            let shown = rectification::shown(size, rectification)?;
            let shown_from_reference: FromReference<_> = rectification
                .rectified_from_reference()
                .then(&shown.rectified_from_shown.inverse());
            let place = |i: usize| shown_from_reference.apply(view.landmarks[i].reference).xy();
            let to_draw = to_draw(job, view, alone, &place);
            let rectified = rectification::rectified_picture(picture, rectification)?;
            draw_dimensions(&rectified, &to_draw)
        }
    };
    encode_png(&drawn?)
}

/// What is drawn; `at` is where the picture shows a landmark.
fn to_draw(
    job: &Job,
    view: &View,
    alone: &ReferenceAlone,
    at: &dyn Fn(usize) -> [f64; 2],
) -> DimensionsToDraw {
    let n = job.scale.denominator();
    let lengths = view.spans.iter().zip(&alone.spans);
    let lengths = lengths.filter_map(|(span, found)| {
        let words = dimension_words::length((*found).ok()?, n);
        Some(([at(span.from), at(span.to)], words))
    });
    let angles = view.angles.iter().zip(&alone.angles);
    let angles = angles.filter_map(|(angle, found)| {
        Some(DrawnAngle {
            own: [at(angle.from), at(angle.to)],
            against: angle.against.map(|ends| ends.map(at)),
            words: dimension_words::angle((*found).ok()?),
        })
    });
    let untold = alone.spans.iter().filter(|found| found.is_err()).count();
    DimensionsToDraw {
        head: dimension_words::head(&view.name, n),
        notes: dimension_words::notes(alone, untold),
        marks: (0..view.landmarks.len()).map(at).collect(),
        origin: alone.origin.map(at),
        lengths: lengths.collect(),
        angles: angles.collect(),
    }
}
