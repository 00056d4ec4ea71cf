//! How far the edges of each part lie on edges of one photo as its camera sees the model, every part where the model has it.
use super::{
    photo::PhotoEdges,
    places::{Group, InPhoto, MeshParts},
    search::Search,
};
use crate::{
    edges::{
        chance::{Hits, OnEdges, displacements},
        settings::EDGES,
        window::STEP,
    },
    registration::space::together::{EdgesOfPart, Fitting, Nine, Sight},
    stop::Stopped,
};
use nalgebra::{Vector2, Vector3};
use rayon::prelude::*;

/// The picture that the model was rendered as: where it shows a place of the model, pixels, and how far off its place an edge is still
/// the same there.
pub(crate) struct InRender<'a> {
    pub(crate) pixel: &'a (dyn Fn([f64; 3]) -> Option<[f64; 2]> + Sync),
    pub(crate) reach_px: f64,
}

/// Of each part of an adjustment of one photo; `None` where too few of its edges are seen.
///
/// # Errors
/// Where the run is asked to stop.
pub(crate) fn overlaps(
    fitting: &Fitting,
    photo: &PhotoEdges,
    (mesh, render): (&MeshParts<'_>, &InRender<'_>),
) -> Result<Vec<Option<OnEdges>>, Stopped> {
    let groups = mesh.owned(fitting).seen(fitting, &[Some(photo.scale)])?;
    let of_part = |part: usize| {
        let group = groups.iter().find(|group| group.part == Some(part))?;
        let seen = Seen {
            fitting,
            photo,
            sight: fitting.sight(0)?,
            group,
            part,
        };
        seen.on_edges(render)
    };
    Ok((0..fitting.parts()).into_par_iter().map(of_part).collect())
}

/// The edges of one part in the photo.
struct Seen<'a> {
    fitting: &'a Fitting,
    photo: &'a PhotoEdges,
    sight: Sight,
    group: &'a Group,
    part: usize,
}

impl Seen<'_> {
    fn on_edges(&self, render: &InRender<'_>) -> Option<OnEdges> {
        let fitted = self.fits_best();
        let as_is = self.placed(&Nine::zeros());
        if as_is.len() < EDGES.least_points.count() {
            return None;
        }
        let displaced = displacements(40, 12.0, 50.0).map(|d| self.share(&as_is, d));
        Some(OnEdges::new(
            Hits {
                share: self.share(&as_is, Vector2::zeros()),
                chance: displaced.sum::<f64>() / 40.0,
                best: self.share(&self.placed(&fitted), Vector2::zeros()),
            },
            self.in_render(render),
            render.reach_px,
        ))
    }

    /// The errors with which the edges fit best: those that are told, where they are by its edges; else those of the best place among what is
    /// known of it.
    fn fits_best(&self) -> Nine {
        let known = self.fitting.known(self.part).mean;
        if matches!(self.fitting.edges_of(self.part), EdgesOfPart::Used(_)) {
            return known;
        }
        let (own, photos) = (std::iter::once(self.group), [Some(self.photo)]);
        let search = Search::new(self.fitting, self.part, own, &photos);
        search.and_then(|search| search.best()).unwrap_or(known)
    }

    /// Where the photo has the places with these errors of the part.
    fn placed(&self, errors: &Nine) -> Vec<InPhoto> {
        let placing = self.fitting.placing_with(self.part, errors);
        let places = self.group.places.iter();
        places
            .filter_map(|place| place.seen(&self.sight, Some(&placing)))
            .collect()
    }

    /// Share of the places that, displaced by `by` working pixels, have a full edge within reach along their normals.
    fn share(&self, placed: &[InPhoto], by: Vector2<f64>) -> f64 {
        let n = (EDGES.overlap_reach.get() / STEP).round() as i32;
        let hit = |(at, normal): &&InPhoto| {
            (-n..=n).any(|i| {
                let off = by + *normal * (STEP * f64::from(i));
                self.photo.at(at + off / self.photo.scale, *normal) > 1.0
            })
        };
        placed.iter().filter(hit).count() as f64 / placed.len().max(1) as f64
    }

    /// Places and unit normals of the part's edges where the render has them.
    fn in_render(&self, render: &InRender<'_>) -> Vec<(Vector2<f64>, Vector2<f64>)> {
        let pixel = |place: Vector3<f64>| (render.pixel)(place.into()).map(Vector2::from);
        let each = self.group.places.iter().filter_map(|place| {
            let (at, next) = (
                pixel(place.place)?,
                pixel(place.place + place.along * 1e-3)?,
            );
            let way = (next - at).try_normalize(f64::MIN_POSITIVE)?;
            Some((at, Vector2::new(-way.y, way.x)))
        });
        each.collect()
    }
}
