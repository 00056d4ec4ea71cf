//! Landmarks that are proposed for a view: what `proposal` finds, for the page.
use super::{
    at_once::at_once, camera, desk::Desk, document::Document, fit, needs, pictures::Pyramid, places,
};
use crate::{
    job::{self, Job, LandmarkUse, MarkOn, Side, View},
    meshes::{Projection, Sight},
    proposal::{self, Asked, AskedOfCamera, Finds, Looked, Predicted, Proposal, Seen},
    registration,
};
use serde::Serialize;
use serde_json::Value;
use std::{path::PathBuf, sync::Arc};

/// Bytes a pixel that looking for places needs meanwhile.
const BYTES: u64 = 60;

/// What a view's proposals are.
#[derive(Debug, Serialize)]
pub(super) struct Proposals {
    /// The state that they were made for.
    revision: String,
    proposals: Vec<Proposed>,
    parts: Vec<Missing>,
    /// Why there are none, where that is not for want of places.
    #[serde(skip_serializing_if = "Option::is_none")]
    text: Option<String>,
}

#[derive(Debug, Serialize)]
struct Proposed {
    part: Option<String>,
    name: String,
    #[serde(rename = "use")]
    usage: &'static str,
    on: &'static str,
    /// `None` where there is no render.
    render: Option<[f64; 2]>,
    reference: Option<Expected>,
    gain: f64,
    /// Its place on the model and how well that is known, where another view has it.
    #[serde(skip_serializing_if = "Option::is_none")]
    model_mm: Option<[f64; 3]>,
    #[serde(skip_serializing_if = "Option::is_none")]
    model_sigma_mm: Option<f64>,
}

/// Where the partner is to be expected; fields as of the predictions for single marks.
#[derive(Debug, Serialize)]
struct Expected {
    place: [f64; 2],
    half_axes: [f64; 2],
    turned_deg: f64,
    refined: bool,
}

/// Landmarks that a part should still have.
#[derive(Debug, Serialize)]
struct Missing {
    part: String,
    missing: usize,
}

/// What the render shows, looked for with memory that nobody needs just now; `None` where there is none.
fn seen_in(desk: &Desk, render: &Pyramid) -> Option<Seen> {
    let pixels = Seen::most_pixels(render.picture().dimensions());
    let _memory = (desk.options.memory.take(BYTES * pixels, &at_once())).ok()?;
    Some(Seen::of(render.picture()))
}

/// What is taken from the document, which others may change meanwhile.
pub(super) struct Now {
    revision: String,
    text: String,
    file: PathBuf,
    draft: Value,
}

impl Now {
    pub fn of(document: &Document) -> Self {
        Self {
            revision: document.revision(),
            text: document.text(),
            file: document.file().to_owned(),
            draft: document.draft().clone(),
        }
    }
}

/// The proposals for a view; `None` where there is no such view.
pub(super) fn of_view(desk: &Desk, now: Now, index: usize) -> Option<Proposals> {
    let none = |revision: String, text: String| Proposals {
        revision,
        proposals: Vec::new(),
        parts: Vec::new(),
        text: Some(text),
    };
    let job = match job::parse(now.text.as_bytes(), &now.file) {
        Ok(job) => job,
        Err(error) => {
            let document = serde_json::from_str(&now.text).unwrap_or_default();
            let fault = error.faults().first();
            let fault = fault.map(|fault| places::fault(fault, &document));
            return Some(none(now.revision, fault.unwrap_or_default()));
        }
    };
    let view = job.views.get(index)?;
    let draft = &now.draft[&view.name];
    let predicted = predicted(desk, &job, index, draft);
    if job.model.is_some() && view.image(Side::Render).is_none() {
        return Some(Proposals {
            revision: now.revision,
            proposals: predicted,
            parts: Vec::new(),
            text: None,
        });
    }
    let at_hand = |side| {
        view.image(side)
            .and_then(|path| desk.pictures.at_hand(path))
    };
    let [Some(render), Some(reference)] = Side::BOTH.map(at_hand) else {
        return Some(none(now.revision, "the images are being read".to_owned()));
    };
    let pictures = [&render, &reference];
    let (seen, finds) = match desk.looks.of(pictures) {
        Some(kept) => kept,
        None => match seen_in(desk, &render) {
            Some(seen) => (Arc::new(seen), Finds::default()),
            None => {
                let text = "there is not enough memory just now to look for places".to_owned();
                return Some(none(now.revision, text));
            }
        },
    };
    let (proposals, finds) = proposed((&job, view), draft, pictures, (&seen, finds));
    desk.looks.keep(pictures, seen, finds);
    let own = proposals.into_iter().map(|p| worded(view, p));
    Some(Proposals {
        revision: now.revision,
        proposals: predicted.into_iter().chain(own).collect(),
        parts: missing(view),
        text: None,
    })
}

fn proposed(
    (job, view): (&Job, &View),
    draft: &Value,
    [render, reference]: [&Arc<Pyramid>; 2],
    (seen, before): (&Seen, Finds),
) -> (Vec<Proposal>, Finds) {
    let view = fit::as_compared(view, Some(render));
    let (render, reference) = (render.picture(), reference.picture());
    let sizes = [render.dimensions(), reference.dimensions()];
    let laid_over = registration::lay_over(&view, job.expected, sizes, None).ok();
    let singles = draft["landmarks"].as_array().into_iter().flatten();
    let skipped = draft["skipped"].as_array().into_iter().flatten();
    let mut looked = Looked {
        render,
        reference,
        before,
    };
    let names = singles.clone().filter_map(|single| single["name"].as_str());
    let places = singles.map(|single| &single["render"]).chain(skipped);
    let asked = Asked {
        view: &view,
        render_size: sizes[0],
        seen,
        registered: laid_over.as_ref().map(|laid_over| &laid_over.registered),
        names: names.map(str::to_owned).collect(),
        passed_over: places.filter_map(fit::point).collect(),
    };
    let proposals = proposal::propose(&asked, Some(&mut looked));
    (proposals, looked.before)
}

fn worded(view: &View, proposal: Proposal) -> Proposed {
    Proposed {
        part: proposal.part.map(|j| view.regions[j].name.clone()),
        name: proposal.name,
        usage: in_words(proposal.usage),
        on: match proposal.on {
            MarkOn::Corner => "corner",
            MarkOn::Outline(_) => "outline",
            MarkOn::Centre => "centre",
        },
        render: Some(proposal.render),
        reference: proposal.reference.map(|expected| Expected {
            place: expected.prediction.place,
            half_axes: expected.prediction.half_axes,
            turned_deg: expected.prediction.turned_deg,
            refined: expected.is_refined,
        }),
        gain: proposal.gain,
        model_mm: None,
        model_sigma_mm: None,
    }
}

/// The landmarks of other views, where the cameras of this one show their places.
fn predicted(desk: &Desk, job: &Job, index: usize, draft: &Value) -> Vec<Proposed> {
    let view = &job.views[index];
    let found = || {
        let size = desk.pictures.size(&view.reference.image)?;
        let source = job.model.as_ref()?;
        let solved = camera::of_photo(view, size).ok()?;
        let model = desk.models.read(source).ok()?;
        let photo = Projection::new(solved.found.first.camera.rows(), model.model()).ok()?;
        // In a rendered image its own camera tells the place.
        let render = match view.image(Side::Render) {
            None => None,
            Some(image) => {
                let rows = camera::of_render(view, desk.pictures.size(image)?)?;
                Some(Projection::new(rows, model.model()).ok()?)
            }
        };
        let texts = |key: &str| -> Vec<String> {
            let all = draft[key].as_array().into_iter().flatten();
            let name = |entry: &Value| {
                let name = entry.as_str().or_else(|| entry["name"].as_str());
                name.map(str::to_owned)
            };
            all.filter_map(name).collect()
        };
        let asked = AskedOfCamera {
            job,
            view: index,
            camera: &solved.found,
            size,
            names: [texts("landmarks"), texts("skipped_names")].concat(),
            are_seen: &|places| Sight::new(model.model(), &photo).are_seen(places),
        };
        let predicted = proposal::by_camera(&asked);
        let each = predicted.into_iter().filter_map(|predicted| {
            let place = predicted.landmark.model_mm?;
            Some((
                predicted,
                match &render {
                    None => None,
                    Some(render) => Some(render.pixel(place)?),
                },
            ))
        });
        Some(each.map(|(p, render)| of_other(p, render)).collect())
    };
    found().unwrap_or_default()
}

fn of_other(predicted: Predicted<'_>, render: Option<[f64; 2]>) -> Proposed {
    let Predicted { landmark, expected } = predicted;
    Proposed {
        part: landmark.part.clone(),
        name: landmark.name.clone(),
        usage: in_words(landmark.usage),
        on: match landmark.on {
            Some(MarkOn::Centre) => "centre",
            _ => "corner",
        },
        render,
        reference: Some(Expected {
            place: expected.place,
            half_axes: expected.half_axes,
            turned_deg: expected.turned_deg,
            refined: false,
        }),
        gain: 0.0,
        model_mm: landmark.model_mm,
        model_sigma_mm: landmark.model_sigma_mm,
    }
}

fn in_words(usage: LandmarkUse) -> &'static str {
    match usage {
        LandmarkUse::Datum => "datum",
        LandmarkUse::Check => "check",
    }
}

fn missing(view: &View) -> Vec<Missing> {
    let regions = view.regions.iter();
    regions
        .map(|region| Missing {
            part: region.name.clone(),
            missing: needs::PER_REGION.saturating_sub(region.landmarks.len()),
        })
        .filter(|part| part.missing > 0)
        .collect()
}
