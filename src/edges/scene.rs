//! The edge points of a render, and the reference's response on the same grid.
use super::settings::EDGES;
use super::{
    lines::Lines,
    onto::{OntoResponse, WorkFromRender},
    owner,
    points::{self, EdgePoint},
    response::Response,
    shape::Shape,
    window::Window,
};
use crate::{
    frame::{FromReference, WorkPx},
    job::{LandmarkUse, View},
    kernels::Plane,
    meshes::MeshEdges,
    registration::{Adjustment, RegionErrors, adjustment::SubjectPoint},
};
use nalgebra::Vector2;
use rayon::prelude::*;

/// What the fit works on.
pub(crate) struct EdgeScene {
    /// Edge points of the render.
    pub(super) points: Vec<EdgePoint>,
    /// Their places in render pixels.
    pub(super) places: Vec<Vector2<f64>>,
    /// Their places on the model, where the camera needs them.
    pub(super) spaces: Vec<Option<[f64; 3]>>,
    /// For each edge point: the other regions that hold it.
    pub(super) rivals: Vec<Vec<usize>>,
    /// For each region: indices of its points.
    pub(super) of_region: Vec<Vec<usize>>,
    pub(super) response: Response,
    /// Takes the reference as it is on disk to the grid on which the response lies.
    pub(super) work_from_reference: FromReference<WorkPx>,
    /// Render pixels per working pixel.
    pub(super) factor: f64,
    /// For each region: datum landmarks lie on it.
    pub(super) is_datum: Vec<bool>,
    /// Where the points are a mesh's: which lie on one line.
    pub(super) lines: Option<Lines>,
    /// The share of the render's edges that the further picture of its view has too, in per cent, where that is so small that it
    /// was not used.
    pub(crate) unlike_percent: Option<f64>,
}

impl EdgeScene {
    /// The window holds the reference as `adjustment` has it; where the mesh is known, the edges are its own and not those of the
    /// render's picture.
    pub(crate) fn new(
        view: &View,
        window: &Window,
        adjustment: &Adjustment,
        mesh: Option<&MeshEdges>,
    ) -> Self {
        let render_from_work = &window.render_from_window;
        let work_from_render = render_from_work.inverse();
        // One after the other: side by side they would need twice the memory, and each is parallel in itself.
        let mut unlike_percent = None;
        let found = match mesh {
            Some(mesh) => {
                let size = window.render.dimensions();
                points::of_mesh(mesh, &view.regions, &work_from_render, size)
            }
            None => {
                let of_shape = |points: &mut Vec<EdgePoint>, owners: &Plane<u16>| {
                    let shape = window.shape.as_ref();
                    let shape = shape.map(|picture| Shape::new(picture, owners));
                    unlike_percent = shape.and_then(|shape| shape.keep(points));
                };
                points::find(&window.render, &view.regions, &work_from_render, of_shape)
            }
        };
        let mut response = Response::new(&window.reference, view.reference.kind);
        if let Some(usable) = &window.usable {
            response.keep_where(usable);
        }
        let needs_depth = adjustment.layout().parallax.is_some();
        let every_landmark: Vec<usize> = (0..view.landmarks.len()).collect();
        let (mut points, mut places, mut spaces) = (Vec::new(), Vec::new(), Vec::new());
        let mut rivals = Vec::new();
        let mut of_region = vec![Vec::new(); view.regions.len()];
        for point in found {
            let place = points::in_render(&point, render_from_work);
            let landmarks = &view.regions[point.region].landmarks;
            let space = needs_depth
                .then(|| {
                    point
                        .space
                        .or_else(|| adjustment.space_of(landmarks, place))
                        .or_else(|| adjustment.space_of(&every_landmark, place))
                })
                .flatten();
            // A camera that has moved asks for a point's depth: without it the point cannot be placed.
            if needs_depth && space.is_none() {
                continue;
            }
            of_region[point.region].push(points.len());
            rivals.push(owner::rivals_of(&view.regions, point.region, place));
            points.push(point);
            places.push(place);
            spaces.push(space);
        }
        let state = adjustment.state();
        let is_datum = view
            .regions
            .iter()
            .map(|r| {
                r.landmarks.iter().any(|&i| {
                    // The marks of an altered datum part were put on the part.
                    let is_moved = adjustment.pairs()[i].region.is_some();
                    view.landmarks[i].usage == LandmarkUse::Datum && !is_moved
                })
            })
            .collect();
        Self {
            lines: mesh.map(|_| Lines::of_points(&points)),
            points,
            places,
            spaces,
            rivals,
            of_region,
            response,
            work_from_reference: state.render_from_reference().then(&work_from_render),
            factor: render_from_work.rows()[0][0],
            is_datum,
            unlike_percent,
        }
    }

    /// The region whose errors move an edge point: none for a datum part.
    pub(super) fn moved_by(&self, k: usize) -> Option<usize> {
        self.moved_by_region(self.points[k].region)
    }

    /// Region `j` where it has errors of its own; none for a datum part.
    pub(super) fn moved_by_region(&self, j: usize) -> Option<usize> {
        (!self.is_datum[j]).then_some(j)
    }

    /// How an adjustment takes the subject's points to the response.
    pub(crate) fn onto_response(&self, adjustment: &Adjustment) -> OntoResponse {
        let state = adjustment.state();
        OntoResponse {
            map: WorkFromRender::new(&self.work_from_reference, state),
            shifts: self
                .spaces
                .iter()
                .map(|space| adjustment.shift_of(*space))
                .collect(),
        }
    }

    /// For each edge point: the strongest response where another part that it may lie on would have it; `None` where it
    /// lies on one region only.
    pub(crate) fn rival_responses(
        &self,
        adjustment: &Adjustment,
        onto: &OntoResponse,
    ) -> Vec<Option<f64>> {
        (0..self.points.len())
            .into_par_iter()
            .map(|k| {
                let response = |j: &usize| {
                    let region = self.moved_by_region(*j);
                    let at = onto.apply(adjustment.subject_of(self.places[k], region), k);
                    f64::from(self.response.at(at, self.points[k].normal))
                };
                self.rivals[k].iter().map(response).reduce(f64::max)
            })
            .collect()
    }

    /// The likelihood of each point on a region that has the errors `errors` about `anchor`, beside that of its rivals.
    pub(crate) fn likelihoods<'s>(
        &'s self,
        onto: &'s OntoResponse,
        errors: RegionErrors,
        anchor: Vector2<f64>,
        points: &'s [usize],
        rivals: &'s [Option<f64>],
    ) -> impl Iterator<Item = f64> + 's {
        let back = SubjectPoint::new(&errors, anchor);
        points.iter().map(move |&k| {
            let at = onto.apply(back.of(self.places[k]), k);
            let own = f64::from(self.response.at(at, self.points[k].normal));
            owner::mixed_likelihood(own, rivals[k])
        })
    }

    /// Indices of the points of region `j`.
    pub(crate) fn points_of(&self, j: usize) -> &[usize] {
        &self.of_region[j]
    }

    /// Whether region `j` has errors of its own that edges can tell.
    pub(crate) fn is_searched(&self, j: usize) -> bool {
        !self.is_datum[j] && self.points_of(j).len() >= EDGES.least_points.count()
    }
}
