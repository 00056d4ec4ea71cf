//! Landmarks that are proposed for a view: what `proposal` finds, for the page.
use super::{desk::Desk, document::Document, fit, needs, pictures::Pyramid, places};
use crate::{
    job::{self, Job, LandmarkUse, MarkOn, Side, View},
    proposal::{self, Asked, Finds, Looked, Proposal, Seen},
    registration,
};
use serde::Serialize;
use serde_json::Value;
use std::{cell::Cell, path::PathBuf, sync::Arc};

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
    render: [f64; 2],
    reference: Option<Expected>,
    gain: f64,
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
    let asked = Cell::new(false);
    // Once: who holds a picture does not wait for memory.
    let memory = desk
        .options
        .memory
        .take(BYTES * pixels, &|| asked.replace(true));
    let _memory = memory.ok()?;
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
    let draft = &now.draft[&view.name];
    let (proposals, finds) = proposed((&job, view), draft, pictures, (&seen, finds));
    desk.looks.keep(pictures, seen, finds);
    Some(Proposals {
        revision: now.revision,
        proposals: proposals.into_iter().map(|p| worded(view, p)).collect(),
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
        usage: match proposal.usage {
            LandmarkUse::Datum => "datum",
            LandmarkUse::Check => "check",
        },
        on: match proposal.on {
            MarkOn::Corner => "corner",
            MarkOn::Outline(_) => "outline",
            MarkOn::Centre => "centre",
        },
        render: proposal.render,
        reference: proposal.reference.map(|expected| Expected {
            place: expected.prediction.place,
            half_axes: expected.prediction.half_axes,
            turned_deg: expected.prediction.turned_deg,
            refined: expected.is_refined,
        }),
        gain: proposal.gain,
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
