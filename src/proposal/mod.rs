//! Landmarks that might be marked next: places of the render that are well seen, with a name, what they lie on, where their
//! partner in the reference is to be expected, and how much surer the figures would be with them.
#![doc = include_str!("METHOD.md")]
mod asked;
mod by_camera;
mod corners;
mod look;
mod names;
mod order;
mod outermost;
mod places;
mod seen;
pub(crate) mod settings;

pub use asked::{Asked, ExpectedPlace};
pub use by_camera::{AskedOfCamera, Predicted, by_camera};
pub use look::{Finds, Looked};
pub use seen::Seen;

use crate::job::{LandmarkUse, MarkOn};
use places::Places;
use settings::PROPOSAL;

/// A landmark that might be marked.
#[derive(Clone, Debug)]
pub struct Proposal {
    /// The region that it lies on.
    pub part: Option<usize>,
    /// No landmark of the view and no other proposal has this name.
    pub name: String,
    /// What it would be for.
    pub usage: LandmarkUse,
    /// What it lies on.
    pub on: MarkOn,
    /// Its place in the render, pixels.
    pub render: [f64; 2],
    /// Where its partner is to be expected; `None` without a registration.
    pub reference: Option<ExpectedPlace>,
    /// By what share intervals would shrink: those of its part's width, height and offset, or as a datum those of the
    /// registration; without a registration, its distance to the nearest mark over the picture's diagonal. 0 to 1.
    pub gain: f64,
}

/// The landmarks that might be marked next, the most telling first; at most 60.
///
/// Without `looked`, both pictures, nothing is looked for in the reference.
pub fn propose(asked: &Asked<'_>, looked: Option<&mut Looked<'_>>) -> Vec<Proposal> {
    let places = Places::of(asked);
    let ordered = match asked.registered {
        Some(registered) => order::by_gain(asked.view, registered, &places, looked),
        None => order::far_apart(asked, &places),
    };
    let taken = asked.view.landmarks.iter().map(|l| l.name.clone());
    let mut names = names::Names::new(taken.chain(asked.names.iter().cloned()));
    let most = PROPOSAL.most.count();
    ordered
        .into_iter()
        .take(most)
        .map(|chosen| {
            let place = &places.all[chosen.place];
            let part = place.part.map(|j| &asked.view.regions[j]);
            let within = match part {
                Some(region) => names::bounds(region.outline.iter().map(|p| p.xy())),
                None => {
                    let (width, height) = asked.render_size;
                    [0.0, 0.0, f64::from(width), f64::from(height)]
                }
            };
            let name = part.map(|region| region.name.as_str());
            Proposal {
                part: place.part,
                name: names.give(name, within, place.at, place.sort),
                usage: chosen.usage,
                on: place.on,
                render: place.at,
                reference: chosen.reference,
                gain: chosen.gain,
            }
        })
        .collect()
}
