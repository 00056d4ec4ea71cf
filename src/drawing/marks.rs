//! The shapes of landmarks, the same on every picture and on the marking page: datum round, check square.
use super::{
    board::{Item, Swatch},
    scene::{Position, Scene, Stroke},
};
use crate::job::LandmarkUse;

/// The outline of a landmark at `place`, `radius` large.
pub(crate) fn outline(
    scene: &mut Scene,
    usage: LandmarkUse,
    place: Position,
    radius: f64,
    stroke: Stroke,
) {
    match usage {
        LandmarkUse::Datum => scene.circle(place, radius, Some(stroke), None),
        LandmarkUse::Check => scene.square(place, radius, stroke),
    }
}

/// What the shapes of the reference's marks mean; those that there are.
pub(crate) fn legend(stroke: Stroke, datums: usize, checks: usize) -> Vec<Item> {
    let mut items = Vec::new();
    if datums > 0 {
        let text = format!("datum in the registered reference ({datums})");
        items.push(Item::new(Swatch::Circle(stroke), text));
    }
    if checks > 0 {
        let text = format!("check in the registered reference ({checks})");
        items.push(Item::new(Swatch::Square(stroke), text));
    }
    items
}
