//! The camera of a photo, in space: from marks of points whose places on the model are known (resection).
#![doc = include_str!("METHOD.md")]
mod attitudes;
mod camera;
mod contradiction;
mod error;
mod figures;
mod looked;
mod marks;
mod measured;
mod of_view;
mod photo;
mod resection;
pub(crate) mod settings;
mod shape;
mod solving;
mod start;
#[cfg(test)]
mod tests;
pub mod together;
mod told;

pub(crate) use contradiction::contradicts_focal;
pub use error::Error;
pub use figures::Attitude;
pub(crate) use measured::{MeasuredPlaces, NotPlaced};
pub use of_view::{ViewPhoto, of_render, of_view};
pub use photo::{KnownFocal, KnownLens, KnownPoint, Photo, Screen, SpaceMark};
pub(crate) use resection::Prediction;
pub use resection::{
    Deciding, MarkFinding, MarkFit, Resection, SecondAttitude, WANTED_MARKS, resect,
};
pub use shape::{Plane, Shape};
pub use told::{Told, Untold};
