//! Edges of invented objects with known errors, in photos that are drawn here: shaded parts before clutter, blurred and with noise. The
//! cameras are plain matrices.
mod drawn;
mod table;

use super::*;
use crate::registration::space::together::{EdgesOfPart, Together};
use drawn::{Draw, Scene, scene};

/// The object's photos adjusted by their marks, and with their edges.
fn both(scene: &Scene) -> [Together; 2] {
    let marks = scene.adjusted().told();
    let mut adjusted = scene.adjusted();
    refine(&mut adjusted, &scene.photos_of_edges(), &scene.mesh()).expect("nobody asks to stop");
    [marks, adjusted.told()]
}
