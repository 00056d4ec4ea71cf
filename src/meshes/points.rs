//! Places along the visible edges of a model, in the picture and in space: what a picture's own edges never tell is how far away they are.
use super::{
    edges::Edges,
    model::Model,
    polylines::{VisibleLine, joined},
    projection::Projection,
    screen::Screen,
    visible::{Piece, pieces},
};
use crate::{
    frame::{ModelPoint, Point, RenderPx},
    stop::Stopped,
};

/// The visible edges of a model from a camera.
#[derive(Clone, Debug)]
pub struct MeshEdges {
    /// As lines.
    pub lines: Vec<VisibleLine>,
    /// Places along them, in the order of the edges.
    pub places: Vec<EdgePlace>,
    /// Names of the parts.
    pub parts: Vec<String>,
}

/// A place on a visible edge.
#[derive(Clone, Copy, Debug)]
pub struct EdgePlace {
    /// Where the picture has it.
    pub place: Point<RenderPx>,
    /// Unit normal of the edge there.
    pub normal: [f64; 2],
    /// Where it is on the model.
    pub space: ModelPoint,
    /// Direction of the edge there, of length 1.
    pub along: [f64; 3],
    /// Index of its part.
    pub part: usize,
}

impl MeshEdges {
    /// The visible edges on `size` = [width, height] pixels, a place every `step` pixels along all edges of a part together: so short
    /// edges of fine meshes get their share.
    ///
    /// # Errors
    /// Where the run is asked to stop.
    pub fn seen(
        model: &Model,
        edges: &Edges,
        (projection, size): (&Projection, [u32; 2]),
        step: f64,
    ) -> Result<Self, Stopped> {
        let screen = Screen::new(model, projection, size.map(|n| n as usize))?;
        Ok(Self::of(model, &pieces(model, edges, &screen), step))
    }

    pub(super) fn of(model: &Model, pieces: &[Piece], step: f64) -> Self {
        let mut places = Vec::new();
        // How far each part's next place is.
        let mut next = vec![step / 2.0; model.parts().len()];
        for piece in pieces {
            let part = model.part_of(piece.facet as usize);
            along(piece, part, step, &mut next[part], &mut places);
        }
        Self {
            lines: joined(model, pieces),
            places,
            parts: model.parts().iter().map(|p| p.name.clone()).collect(),
        }
    }
}

fn along(piece: &Piece, part: usize, step: f64, next: &mut f64, places: &mut Vec<EdgePlace>) {
    let [a, b] = piece.ends;
    let way = [b[0] - a[0], b[1] - a[1]];
    let length = way[0].hypot(way[1]);
    let mut at = *next;
    while at < length {
        let share = at / length;
        places.push(EdgePlace {
            place: Point::new(a[0] + share * way[0], a[1] + share * way[1]),
            normal: [-way[1] / length, way[0] / length],
            space: ModelPoint(piece.space.at(share)),
            along: piece.space.direction(),
            part,
        });
        at += step;
    }
    *next = at - length;
}
