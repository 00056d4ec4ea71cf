//! What a view still needs, the most needed first, and where the next mark helps most.
use super::fit_words::{capital, counted};
use crate::{
    job::{LandmarkUse, Side, View},
    measurement,
    printable::on_one_line,
    registration::{self, Finding, LaidOver},
};
use serde::Serialize;
use std::path::Path;

/// Landmarks that a region should have.
pub(super) const PER_REGION: usize = 3;
/// Share of the picture's diagonal that the datum marks should span.
const LEAST_SPREAD: f64 = 0.35;

/// One thing to do.
#[derive(Debug, Default, PartialEq, Serialize)]
pub(super) struct Need {
    /// Stable, lower case with hyphens.
    pub code: &'static str,
    /// What to do and why.
    pub text: String,
    /// Where in the render, if a place is better than others.
    pub place: Option<[f64; 2]>,
    /// The same on the model, millimetres.
    pub on_model: Option<[f64; 3]>,
}

impl Need {
    /// One without a better place.
    pub fn new(code: &'static str, text: String) -> Self {
        Self {
            code,
            text,
            ..Self::default()
        }
    }
}

/// That an image is not the one that was marked.
pub(super) fn changed_image(view: &View, side: Side) -> Need {
    let name = side.name();
    let file = view.image(side).and_then(Path::file_name);
    let file = file.unwrap_or_default();
    Need {
        code: "changed-image",
        text: format!(
            "The {name} ({}) has changed since it was marked: look at its marks again, and move those that do not fit.",
            on_one_line(&file.to_string_lossy())
        ),
        ..Need::default()
    }
}

/// Whether a place of the render shows something that can be marked.
pub(super) type Shows<'a> = &'a dyn Fn([f64; 2]) -> bool;

/// What the view needs, with the render's size in pixels and what it shows.
pub(super) fn of(
    view: &View,
    laid_over: &Result<LaidOver, registration::Error>,
    size: (u32, u32),
    shows: Shows<'_>,
) -> Vec<Need> {
    let mut needs = Vec::new();
    about_datum(view, laid_over, (size, shows), &mut needs);
    about_findings(view, laid_over, &mut needs);
    for region in &view.regions {
        let marked = region.landmarks.len();
        if marked < PER_REGION {
            needs.push(Need {
                code: "region-marks",
                text: format!(
                    "The part \"{}\" has {marked} of {PER_REGION} landmarks: mark {} on it as check.",
                    region.name,
                    counted(PER_REGION - marked, "more point")
                ),
                place: Some(region.anchor.xy()),
                ..Need::default()
            });
        }
    }
    if view.known.is_empty() {
        needs.push(Need {
            code: "known",
            text: "No known length: figures stay in pixels and per cent. Type one under Known lengths.".to_owned(),
            ..Need::default()
        });
    }
    if view.regions.is_empty() {
        needs.push(Need {
            code: "region",
            text: "No part yet: draw the outline of a part to have it judged.".to_owned(),
            ..Need::default()
        });
    }
    needs
}

fn about_datum(
    view: &View,
    laid_over: &Result<LaidOver, registration::Error>,
    (size, shows): ((u32, u32), Shows<'_>),
    needs: &mut Vec<Need>,
) {
    let marks: Vec<[f64; 2]> = view.datum().map(|l| l.render.xy()).collect();
    let place = farthest(&marks, size, shows);
    let kind = view.registration.name();
    match laid_over {
        Err(registration::Error::TooFewLandmarks { found, needed, .. }) => needs.push(Need {
            code: "datum",
            text: format!(
                "{} for a {kind} registration{}, best here.",
                capital(&format!("{} needed", counted(needed - found, "datum mark"))),
                if *found == 0 {
                    ", far apart"
                } else {
                    ", far from the others"
                }
            ),
            place,
            ..Need::default()
        }),
        Err(error) => needs.push(Need {
            code: "registration",
            text: error.to_string(),
            place,
            ..Need::default()
        }),
        Ok(laid_over) => {
            let checked = registration::checked_points(view.registration);
            if marks.len() < checked {
                needs.push(Need {
                    code: "redundant",
                    text: format!(
                        "{}, far from the others, best here: only then a wrong mark can be told.",
                        capital(&counted(checked - marks.len(), "more datum mark"))
                    ),
                    place,
                    ..Need::default()
                });
            } else if spread(&marks) < LEAST_SPREAD * f64::from(size.0).hypot(f64::from(size.1)) {
                needs.push(Need {
                    code: "spread",
                    text: "The datum marks lie close together: one more far from them, best here, steadies scale and rotation."
                        .to_owned(),
                    place,
                    ..Need::default()
                });
            } else if let Some(far) =
                measurement::far_from_datum(view, &laid_over.registered.adjustment)
            {
                needs.push(Need {
                    code: "far-from-datum",
                    text: format!("{}.", capital(&far.text)),
                    place: Some(view.regions[far.region].anchor.xy()),
                    ..Need::default()
                });
            }
        }
    }
}

fn about_findings(
    view: &View,
    laid_over: &Result<LaidOver, registration::Error>,
    needs: &mut Vec<Need>,
) {
    let Ok(laid_over) = laid_over else { return };
    for (landmark, fit) in view
        .landmarks
        .iter()
        .zip(&laid_over.registered.registration.landmarks)
    {
        let text = match &fit.finding {
            Some(Finding::Wrong) => format!(
                "\"{}\" fits nothing and is left out: look at both of its marks.",
                landmark.name
            ),
            Some(Finding::SwappedWith(other)) => format!(
                "\"{}\" and \"{}\" are exchanged in one image.",
                landmark.name, view.landmarks[*other].name
            ),
            Some(Finding::Contradicts(other)) if view.landmarks[*other].name > landmark.name => {
                format!(
                    "\"{}\" or \"{}\" is wrong, and nothing tells which: look at both, or mark a third point of the part.",
                    landmark.name, view.landmarks[*other].name
                )
            }
            Some(Finding::WrongPlace) => format!(
                "The place of \"{}\" on the model (model_mm) contradicts its mark in the render: it is left out.",
                landmark.name
            ),
            Some(Finding::OffWithPart(region)) => format!(
                "\"{}\" is off with the whole of \"{}\": take its datum marks as checks.",
                landmark.name, view.regions[*region].name
            ),
            Some(Finding::Uncontrolled) if landmark.usage == LandmarkUse::Datum => format!(
                "Nothing checks \"{}\": mark another datum near it.",
                landmark.name
            ),
            _ => continue,
        };
        // What is wrong comes before what is missing.
        let need = Need {
            code: "finding",
            text,
            place: Some(landmark.render.xy()),
            ..Need::default()
        };
        match fit.finding {
            Some(Finding::Uncontrolled) => needs.push(need),
            _ => needs.insert(0, need),
        }
    }
}

/// The place of the picture that lies farthest from all marks, on a coarse grid within a margin, of those that show something.
fn farthest(marks: &[[f64; 2]], size: (u32, u32), shows: Shows<'_>) -> Option<[f64; 2]> {
    let (width, height) = (f64::from(size.0), f64::from(size.1));
    let grid = (0..17).flat_map(|row| (0..17).map(move |column| [column, row]));
    let places = grid.map(|[column, row]| {
        let share = |k: i32| 0.1 + 0.05 * f64::from(k);
        [width * share(column), height * share(row)]
    });
    let clear = |p: &[f64; 2]| {
        let distances = marks.iter().map(|m| (m[0] - p[0]).hypot(m[1] - p[1]));
        distances.fold(f64::INFINITY, f64::min)
    };
    places
        .filter(|place| shows(*place))
        .reduce(|best, next| match clear(&next) > clear(&best) {
            true => next,
            false => best,
        })
}

/// The longest distance between two marks.
fn spread(marks: &[[f64; 2]]) -> f64 {
    let pairs = marks.iter().flat_map(|a| marks.iter().map(move |b| (a, b)));
    pairs
        .map(|(a, b)| (a[0] - b[0]).hypot(a[1] - b[1]))
        .fold(0.0, f64::max)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::job;

    fn needs(marks: &[[f64; 2]]) -> Vec<Need> {
        let marks: Vec<String> = (marks.iter().enumerate())
            .map(|(i, [x, y])| {
                format!(r#"{{"name":"m{i}","render":[{x},{y}],"reference":[{x},{y}]}}"#)
            })
            .collect();
        let text = format!(
            r#"{{"title":"t","scale":"1:32","views":[{{"name":"a","render":{{"image":"a.png"}},
            "reference":{{"image":"b.png","kind":"plan"}},"landmarks":[{}]}}]}}"#,
            marks.join(",")
        );
        let job = job::parse(text.as_bytes(), std::path::Path::new("t.json")).expect("sound");
        let view = &job.views[0];
        let sizes = [(1000, 800); 2];
        let laid_over = registration::lay_over(view, job.expected, sizes, None);
        of(view, &laid_over, (1000, 800), &|_| true)
    }

    #[test]
    fn the_first_marks_are_asked_for_far_apart() {
        let first = needs(&[]);
        assert_eq!(
            first[0].text,
            "Two datum marks needed for a similarity registration, far apart, best here."
        );
        let second = needs(&[[100.0, 80.0]]);
        assert_eq!(
            second[0].text,
            "One datum mark needed for a similarity registration, far from the others, best here."
        );
        assert_eq!(second[0].place, Some([900.0, 720.0]));
    }

    #[test]
    fn plain_ground_is_no_place_for_a_mark() {
        let right = |place: [f64; 2]| place[0] > 500.0;
        let marks = [[900.0, 720.0]];
        assert_eq!(
            farthest(&marks, (1000, 800), &|_| true),
            Some([100.0, 80.0])
        );
        let found = farthest(&marks, (1000, 800), &right).expect("a place");
        assert!(found[0] > 500.0 && found[1] < 100.0, "{found:?}");
        assert_eq!(farthest(&marks, (1000, 800), &|_| false), None);
    }

    #[test]
    fn marks_that_check_the_others_come_next_and_then_spread() {
        let two = needs(&[[100.0, 80.0], [900.0, 720.0]]);
        assert!(
            two[0]
                .text
                .starts_with("Two more datum marks, far from the others, best here")
        );
        let close = needs(&[
            [400.0, 400.0],
            [450.0, 400.0],
            [450.0, 450.0],
            [400.0, 450.0],
            [425.0, 425.0],
        ]);
        assert_eq!(close[0].code, "spread", "{close:?}");
        let wide = needs(&[
            [100.0, 80.0],
            [900.0, 80.0],
            [900.0, 720.0],
            [100.0, 720.0],
            [500.0, 400.0],
        ]);
        assert_eq!(wide[0].code, "known", "{wide:?}");
    }
}
