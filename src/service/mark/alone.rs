//! A reference that is marked without a render: what its marks tell as they stand.
use super::needs::Need;
use crate::{
    job::{Job, View},
    measurement::{self, Asked},
    report::{DimensionsInWords, DimensionsOfView},
    warning::Code,
};

/// What the marks of a reference, `size` (width, height) pixels large, tell; else why not, and what the view needs either way.
pub(super) fn measured(
    job: &Job,
    view: &View,
    size: (u32, u32),
) -> (Result<DimensionsInWords, Option<String>>, Vec<Need>) {
    if view.landmarks.is_empty() {
        let text = "Click the points between which you want to know lengths and angles, each once.";
        return (Err(None), vec![Need::new("landmark", text.to_owned())]);
    }
    // The bezel of a screen is looked for by `measure`: here the corners count as they were marked.
    let alone = match measurement::measure_alone(job, view, size, None, Asked::default()) {
        Ok(alone) => alone,
        Err(error) => {
            let text = error.to_string();
            return (
                Err(Some(text.clone())),
                vec![Need::new("not-measured", text)],
            );
        }
    };
    let mut needs: Vec<Need> = (alone.warnings.iter())
        .map(|warning| match warning.code {
            Code::NotRectified => Need::new(
                warning.code.as_str(),
                "A photo that is not taken square on shows no true lengths: press C and click the corners of a rectangle in the plane that you \
                 measure. If the picture is no photo, say so under Job and rectification."
                    .to_owned(),
            ),
            Code::NoScale => Need::new(
                warning.code.as_str(),
                "Nothing tells a scale yet, so only angles and proportions are told: press L and click the two ends of a length that you know."
                    .to_owned(),
            ),
            code => Need::new(code.as_str(), warning.text.clone()),
        })
        .collect();
    if view.spans.is_empty() && view.angles.is_empty() {
        let text = "Choose two landmarks under Spans to have their distance told, or under Angles.";
        needs.push(Need::new("span", text.to_owned()));
    }
    let of_view = DimensionsOfView::measured(job, view, &alone);
    let words = of_view.measured.map(|measured| measured.in_words());
    (words.ok_or(None), needs)
}
