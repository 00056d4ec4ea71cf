//! Places on the model by a click on a picture of it.
use super::settings::DRAWN;
use crate::meshes::{FeatureKind, Features, Model, Projection, Sight};

/// A place on the model that was clicked.
#[derive(Clone, Debug, PartialEq)]
pub struct Picked {
    /// Model millimetres, rounded to their thousandths as people write them.
    pub place: [f64; 3],
    /// Name of its part.
    pub part: String,
    /// What it was drawn to.
    pub kind: FeatureKind,
}

/// The place that a click on `pixel` of the camera's picture means, the screen showing `zoom` of its own pixels for one of the picture's: a
/// corner of the mesh near it, else a place on a feature edge, else where the ray meets the surface. Without `is_drawn_to` corners
/// and edges it is the surface alone. `None` where nothing of the model is.
pub fn pick(
    model: &Model,
    features: &Features,
    projection: &Projection,
    (pixel, zoom, is_drawn_to): ([f64; 2], f64, bool),
) -> Option<Picked> {
    let sight = Sight::new(model, projection);
    let reach = |screen: f64| {
        if is_drawn_to {
            screen / zoom.clamp(1e-3, 1e3)
        } else {
            // Beyond every place.
            -1.0
        }
    };
    let reach = [DRAWN.corner_reach.get(), DRAWN.edge_reach.get()].map(reach);
    let found = features.at(model, &sight, (pixel, reach))?;
    Some(Picked {
        place: found.place.map(|v| (v * 1e3).round() / 1e3),
        part: model.parts()[found.part].name.clone(),
        kind: found.kind,
    })
}
