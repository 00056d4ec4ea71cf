//! Edge points of the render, what the reference answers to them, and what both make of the adjustment.
#![doc = include_str!("METHOD.md")]
mod chance;
mod fit;
// What reads photos comes with pictures.
#[cfg_attr(not(feature = "draw"), allow(dead_code, unused_imports))]
pub(crate) mod in_space;
mod inside;
mod lines;
mod look;
mod onto;
mod owner;
mod points;
mod random;
mod response;
mod scene;
mod search;
pub(crate) mod settings;
mod shape;
mod window;

pub(crate) use chance::{OnEdges, own_reach};
pub(crate) use fit::EdgeFit;
pub(crate) use inside::holds;
pub(crate) use points::in_picture;
pub(crate) use scene::EdgeScene;
pub(crate) use window::{MARGIN, Window};
