//! Places along the edges of the mesh that the cameras see, with the parts placed as they are now.
use crate::{
    edges::settings::EDGES,
    meshes::{Edges, MeshEdges, Model, Projection},
    registration::space::together::{Fitting, Placing, Sight},
    stop::{self, Stopped},
};
use nalgebra::{Vector2, Vector3};

/// What a part of the mesh is, by its name.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum MeshPart {
    /// It is right.
    Datum,
    /// The part of this number: right or not, as its marks are.
    Part(usize),
    /// The same, and its edges are looked for where it has no marks, too.
    Looked(usize),
    /// No part that marks lie on.
    Other,
}

/// The mesh with what its parts are.
pub(crate) struct MeshParts<'a> {
    pub(crate) model: &'a Model,
    pub(crate) edges: &'a Edges,
    /// Part by part of the mesh.
    pub(crate) parts: Vec<MeshPart>,
}

/// Whose errors the edges of a part of the mesh have.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Owner {
    /// None: it is right, and carries the cameras.
    Datum,
    /// Those of the part of this number.
    Part(usize),
    /// Nobody knows: its edges say nothing, but it hides what lies behind it.
    Nobody,
}

/// The mesh with the owners of its parts.
pub(super) struct Owned<'a> {
    model: &'a Model,
    edges: &'a Edges,
    pub(super) owners: Vec<Owner>,
}

impl<'a> MeshParts<'a> {
    /// Whose errors its parts have in an adjustment. A part with marks of both kinds is neither right nor known to be wrong as a whole.
    pub(super) fn owned(&self, fitting: &Fitting) -> Owned<'a> {
        let owner = |part: &MeshPart| match *part {
            MeshPart::Datum => Owner::Datum,
            MeshPart::Other => Owner::Nobody,
            MeshPart::Looked(part) if !fitting.carries_datum(part) => Owner::Part(part),
            MeshPart::Part(part) | MeshPart::Looked(part) => {
                match (fitting.is_marked(part), fitting.carries_datum(part)) {
                    (true, false) => Owner::Part(part),
                    (false, true) => Owner::Datum,
                    _ => Owner::Nobody,
                }
            }
        };
        Owned {
            model: self.model,
            edges: self.edges,
            owners: self.parts.iter().map(owner).collect(),
        }
    }
}

/// A place on an edge.
#[derive(Clone, Copy, Debug)]
pub(super) struct Place {
    /// On the model, millimetres.
    pub(super) place: Vector3<f64>,
    /// Direction of the edge there, on the model.
    pub(super) along: Vector3<f64>,
}

/// The places of one part of the mesh that one photo shows.
#[derive(Clone, Debug)]
pub(super) struct Group {
    /// Number of the photo among those that take part.
    pub(super) photo: usize,
    /// The part whose errors move them; `None`: they lie on the datum.
    pub(super) part: Option<usize>,
    pub(super) places: Vec<Place>,
}

/// Where a photo has a place: pixels, and the unit normal of its edge.
pub(super) type InPhoto = (Vector2<f64>, Vector2<f64>);

/// Pixels of the picture that visible edges are found in: hidden lines need no more.
const MOST_PIXELS: f64 = 1_000_000.0;
/// Most places of one part in one photo: more say the same.
const MOST_PLACES: usize = 150;
/// Step along an edge by which its direction in the photo is taken, millimetres.
const STEP_MM: f64 = 1e-3;

impl Place {
    /// Where a photo shows it; `None` where it does not.
    pub(super) fn seen(&self, sight: &Sight, placing: Option<&Placing>) -> Option<InPhoto> {
        let on_subject = |place: &Vector3<f64>| placing.map_or(*place, |p| p.on_subject(place));
        let at = sight.place(&on_subject(&self.place))?;
        let next = sight.place(&on_subject(&(self.place + self.along * STEP_MM)))?;
        let way = (next - at).try_normalize(f64::MIN_POSITIVE)?;
        Some((at, Vector2::new(-way.y, way.x)))
    }
}

impl Owned<'_> {
    /// What the photos show of the edges whose owners are known; `scales` are working pixels per pixel of each photo, `None` where
    /// nothing is looked for in it.
    pub(super) fn seen(
        &self,
        fitting: &Fitting,
        scales: &[Option<f64>],
    ) -> Result<Vec<Group>, Stopped> {
        let placings: Vec<Option<Placing>> = self
            .owners
            .iter()
            .map(|owner| match owner {
                Owner::Part(part) => Some(fitting.placing(*part)),
                _ => None,
            })
            .collect();
        let subject = self.model.moved(|part, place| match &placings[part] {
            Some(placing) => placing.on_subject(&place.into()).into(),
            None => place,
        });
        let mut groups = Vec::new();
        for (photo, scale) in scales.iter().enumerate() {
            stop::check()?;
            let (Some(scale), Some(sight)) = (scale, fitting.sight(photo)) else {
                continue;
            };
            self.add_photo((&subject, &placings), (photo, *scale, &sight), &mut groups)?;
        }
        Ok(groups)
    }

    fn add_photo(
        &self,
        (subject, placings): (&Model, &[Option<Placing>]),
        (photo, scale, sight): (usize, f64, &Sight),
        groups: &mut Vec<Group>,
    ) -> Result<(), Stopped> {
        let [width, height] = sight.picture;
        let factor = (MOST_PIXELS / (width * height)).sqrt().min(1.0);
        let size = [width, height].map(|side| (side * factor).floor().max(1.0) as u32);
        let [x, y, w] = sight.rows;
        let matrix = [x.map(|v| v * factor), y.map(|v| v * factor), w];
        let Ok(projection) = Projection::new(matrix, subject) else {
            return Ok(());
        };
        let step = (EDGES.spacing.get() / scale * factor).max(0.5);
        let seen = MeshEdges::seen(subject, self.edges, (&projection, size), step)?;
        let mut of_part: Vec<Vec<Place>> = vec![Vec::new(); self.owners.len()];
        for found in &seen.places {
            let (place, along) = (found.space.vector(), Vector3::from(found.along));
            of_part[found.part].push(match &placings[found.part] {
                Some(placing) => Place {
                    place: placing.on_model(&place),
                    along: placing.direction_on_model(&along),
                },
                None => Place { place, along },
            });
        }
        for (owner, places) in self.owners.iter().zip(of_part) {
            let part = match owner {
                Owner::Datum => None,
                Owner::Part(part) => Some(*part),
                Owner::Nobody => continue,
            };
            if places.len() >= EDGES.least_points.count() {
                groups.push(Group {
                    photo,
                    part,
                    places: thinned(places),
                });
            }
        }
        Ok(())
    }
}

/// Every n-th, so that there are not too many.
fn thinned(places: Vec<Place>) -> Vec<Place> {
    let (count, kept) = (places.len(), places.len().min(MOST_PLACES));
    (0..kept).map(|k| places[k * count / kept]).collect()
}
