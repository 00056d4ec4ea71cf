//! The parts of a view that was taken by another camera, by that camera: solved from the marks that have a place on the model and from the
//! edges of the model's mesh in the photo, together with nine errors of each part in space. What these look like in the render are the
//! five errors that are told: so depth is neither guessed nor left out.
use super::{depth, overlap::grid::EdgeSource, settings::REGIONS};
use crate::{
    edges::{
        OnEdges,
        in_space::{self, InRender, MeshPart, MeshParts, PhotoEdges},
        own_reach,
    },
    frame::fit,
    images::ViewImages,
    job::{Job, LandmarkUse, MarkOn, ReferenceKind, RenderImage, View},
    meshes::{Edges, MeshEdges, Model, Part, Projection},
    registration::{
        Adjustment, RegionErrors, RegionFit,
        checks::places::Places,
        space::{
            self, KnownFocal, KnownLens, Photo, SpaceMark, ViewPhoto,
            together::{
                Adjusted, EdgesOfPart, ExpectedOfParts, Fitting, NINE, Nine, Placing, Subject,
                TogetherPhoto,
            },
        },
    },
    stop::{self, Stopped},
};
use nalgebra::{SMatrix, SVector, Vector2, Vector3};

/// Step of the difference quotients, in what is expected of an error.
const STEP: f64 = 1e-4;
/// Corners of a part that its errors in the render are taken from: more say the same.
const MOST_CORNERS: usize = 2000;

/// The model's mesh as a view is measured by it.
#[derive(Clone, Copy, Debug)]
pub struct ViewMesh<'a> {
    /// Its edges that the render shows.
    pub seen: &'a MeshEdges,
    /// All of it.
    pub model: &'a Model,
    /// The edges of all of it.
    pub edges: &'a Edges,
}

/// What the camera tells of a part.
#[derive(Clone, Debug)]
pub(crate) struct PartByCamera {
    pub(crate) fit: RegionFit,
    /// What became of its edges.
    pub(crate) edges: EdgesOfPart,
    /// How far they lie on edges of the photo where the model has them.
    pub(crate) on_edges: Option<OnEdges>,
}

/// The parts of the view's regions, in their order; `None` where nothing is told by the camera. All are `None` where both images have one
/// camera, or where that of the reference cannot be told.
///
/// # Errors
/// Where the run is asked to stop.
pub(crate) fn parts(
    (job, view): (&Job, &View),
    (images, source): (&ViewImages, &EdgeSource),
    (registered, mesh): (&Adjustment, Option<ViewMesh<'_>>),
) -> Result<Vec<Option<PartByCamera>>, Stopped> {
    let none = || vec![None; view.regions.len()];
    let Some(mesh) = mesh.filter(|_| is_asked(view, registered)) else {
        return Ok(none());
    };
    let size = images.reference.rgb.dimensions();
    let render = images.render.rgb.dimensions();
    let asked = photo(view, size).zip(InPicture::new(view, mesh.model, render));
    let Some((photo, picture)) = asked else {
        return Ok(none());
    };
    let photos = [photo];
    let subject = subject(job, view, mesh.model);
    let mut adjusted = Adjusted::new(&photos, &subject);
    if adjusted.fitting().is_none() {
        return Ok(none());
    }
    stop::check()?;
    let most_pixels = in_space::pixels_of_each(1);
    let from = source.picture.as_ref().unwrap_or(&images.reference.rgb);
    let mut edges = PhotoEdges::new(from, view.reference.kind, most_pixels);
    if let Some(usable) = &source.usable {
        edges.keep_where(usable);
    }
    let parts = MeshParts {
        model: mesh.model,
        edges: mesh.edges,
        parts: owners(job, view, mesh.model),
    };
    let looked = [Some(edges)];
    in_space::refine(&mut adjusted, &looked, &parts)?;
    let ([Some(edges)], Some(fitting)) = (looked, adjusted.fitting()) else {
        return Ok(none());
    };
    let pixel = |place: [f64; 3]| picture.projection.pixel(place);
    let in_render = InRender {
        pixel: &pixel,
        reach_px: own_reach(picture.factor),
    };
    let overlaps = in_space::overlaps(&fitting, &edges, (&parts, &in_render))?;
    let each = overlaps.into_iter().enumerate().map(|(j, on_edges)| {
        let part = part_of_region(view, mesh.model, j)?;
        Some(PartByCamera {
            fit: picture.fit(&fitting, (mesh.model, part), (view, j))?,
            edges: fitting.edges_of(j),
            on_edges,
        })
    });
    Ok(each.collect())
}

/// Whether another camera took the reference, and the render's is known and shows the model where the landmarks have it.
fn is_asked(view: &View, registered: &Adjustment) -> bool {
    !view.same_camera
        // The camera of a drawn render was solved from these very marks.
        && view.render.image != RenderImage::Drawn
        && view.reference.kind == ReferenceKind::Photo
        && view.render.camera.is_some()
        && depth::why_untold(view, registered).is_none()
}

/// The reference with what is known of its camera: near that of the render, and with a lens that bends little. `None` where it shows a
/// screen nobody knows where, for then it is no picture by a camera.
fn photo(view: &View, size: (u32, u32)) -> Option<TogetherPhoto> {
    let ViewPhoto { mut photo, marks } = space::of_view(view, size).ok()?;
    let marks: Vec<SpaceMark> = (marks.into_iter().filter(is_point_of_model(view))).collect();
    if photo.screen.is_none() && photo.focal == KnownFocal::Unknown {
        return None;
    }
    if photo.lens == KnownLens::NONE {
        photo.lens = KnownLens::slight();
    }
    if photo.focal == KnownFocal::Unknown {
        let [_, _, depth] = view.render.camera?;
        let near = Photo {
            focal: KnownFocal::Perspective { depth },
            ..photo
        };
        if !space::contradicts_focal(&near, &marks, REGIONS.near_level.get()) {
            photo = near;
        }
    }
    let part_of = |mark: &SpaceMark| {
        let k = view.landmarks.iter().position(|l| l.name == mark.name)?;
        view.regions.iter().position(|r| r.landmarks.contains(&k))
    };
    Some(TogetherPhoto {
        part_of: marks.iter().map(part_of).collect(),
        view: ViewPhoto { photo, marks },
        same_as: None,
    })
}

/// Which marks are of points of the model: not those on a rounded outline, which lie along it where the user's eye put them, and not those
/// whose place the render's own camera sees elsewhere.
fn is_point_of_model(view: &View) -> impl Fn(&SpaceMark) -> bool {
    let places = Places::of(view);
    move |mark| {
        let own = view.landmarks.iter().position(|l| l.name == mark.name);
        own.is_some_and(|k| {
            !matches!(view.landmarks[k].on, Some(MarkOn::Outline(_))) && places.holds(k)
        })
    }
}

/// Each region is a part, about the middle of what the mesh has of it.
fn subject(job: &Job, view: &View, model: &Model) -> Subject {
    let expected = ExpectedOfParts {
        size_percent: job.expected.size_percent,
        rotation_deg: job.expected.rotation_deg,
        offset_percent: job.expected.offset_percent,
    };
    let middle = |j: usize| {
        let [least, greatest] = model.part_box(part_of_region(view, model, j)?);
        Some(std::array::from_fn(|k| (least[k] + greatest[k]) / 2.0))
    };
    Subject {
        middles: (0..view.regions.len()).map(middle).collect(),
        ..Subject::of(view.regions.len(), expected)
    }
}

fn part_of_region<'m>(view: &View, model: &'m Model, j: usize) -> Option<&'m Part> {
    let name = &view.regions[j].name;
    model.parts().iter().find(|part| part.name == *name)
}

/// Whose errors the edges of each part of the mesh have.
fn owners(job: &Job, view: &View, model: &Model) -> Vec<MeshPart> {
    let datum = job.model.iter().flat_map(|model| &model.datum);
    let datum: Vec<&String> = datum.collect();
    let has_datum_marks = |name: &str| {
        let mut marks = view.landmarks.iter();
        marks.any(|l| l.usage == LandmarkUse::Datum && l.part.as_deref() == Some(name))
    };
    let owner = |part: &Part| {
        let region = view.regions.iter().position(|r| r.name == part.name);
        match region {
            Some(j) => MeshPart::Looked(j),
            None if datum.contains(&&part.name) || has_datum_marks(&part.name) => MeshPart::Datum,
            None => MeshPart::Other,
        }
    };
    model.parts().iter().map(owner).collect()
}

/// How the render shows the model.
struct InPicture {
    projection: Projection,
    /// Render pixels per working pixel.
    factor: f64,
}

impl InPicture {
    fn new(view: &View, model: &Model, render: (u32, u32)) -> Option<Self> {
        Some(Self {
            projection: Projection::new(view.render.camera?, model).ok()?,
            factor: super::overlap::grid::render_px_per_work_px(render),
        })
    }

    /// The five errors of a region in the render, with their covariance; `None` where the render shows the part as a line.
    fn fit(
        &self,
        fitting: &Fitting,
        (model, part): (&Model, &Part),
        (view, j): (&View, usize),
    ) -> Option<RegionFit> {
        let anchor = Vector2::from(view.regions[j].anchor.xy());
        let corners = corners(model, part);
        let known = fitting.known(j);
        let expected = fitting.expected(j);
        let five = |errors: &Nine| {
            let placing = fitting.placing_with(j, errors);
            self.five(&corners, &placing, anchor)
        };
        let value = five(&known.mean)?;
        let mut slopes = SMatrix::<f64, 5, NINE>::zeros();
        for k in 0..NINE {
            let by = STEP * expected[k];
            let mut moved = known.mean;
            moved[k] += by;
            slopes.set_column(k, &((five(&moved)? - value) / by));
        }
        let beforehand = slopes
            * SMatrix::<f64, NINE, NINE>::from_diagonal(&expected.map(|v| v * v))
            * slopes.transpose();
        let is_by_edges = matches!(fitting.edges_of(j), EdgesOfPart::Used(_));
        Some(RegionFit {
            errors: RegionErrors::from_array(value.into()),
            covariance: slopes * known.covariance * slopes.transpose(),
            freedom: match is_by_edges {
                true => REGIONS.edge_freedom.get(),
                false => fitting.freedom(),
            },
            expected: std::array::from_fn(|k| beforehand[(k, k)].max(0.0).sqrt()),
            landmarks: fitting.marks_on(j),
            is_datum: false,
            by_reference: Default::default(),
        })
    }

    /// The five errors that take the subject to the model as the render shows both: least squares over the corners.
    fn five(
        &self,
        corners: &[Vector3<f64>],
        placing: &Placing,
        anchor: Vector2<f64>,
    ) -> Option<SVector<f64, 5>> {
        let pixel = |place: &Vector3<f64>| self.projection.pixel((*place).into());
        let seen = |corner: &Vector3<f64>| pixel(&placing.on_subject(corner));
        let subject: Vec<[f64; 2]> = corners.iter().map(seen).collect::<Option<_>>()?;
        let model: Vec<[f64; 2]> = corners.iter().map(pixel).collect::<Option<_>>()?;
        let map = fit::affine(&subject, &model)?;
        let turn = (map[(1, 0)] - map[(0, 1)]).atan2(map[(0, 0)] + map[(1, 1)]);
        let (sin, cos) = turn.sin_cos();
        let stretch = Vector2::new(
            cos * map[(0, 0)] + sin * map[(1, 0)],
            cos * map[(1, 1)] - sin * map[(0, 1)],
        );
        // Turned back and unstretched, from the middle of the corners: where the subject has what the model has at the anchor.
        let middle = |of: &[[f64; 2]]| {
            let sum: Vector2<f64> = of.iter().map(|p| Vector2::from(*p)).sum();
            sum / of.len() as f64
        };
        let off = anchor - middle(&model);
        let back = Vector2::new(cos * off.x + sin * off.y, cos * off.y - sin * off.x);
        let at = middle(&subject) + back.component_div(&stretch);
        let offset = anchor - at;
        let all = [stretch.x - 1.0, stretch.y - 1.0, turn, offset.x, offset.y];
        all.iter()
            .all(|v| v.is_finite())
            .then(|| SVector::from(all))
    }
}

/// Places of a part's corners, each once, evenly thinned where there are many.
fn corners(model: &Model, part: &Part) -> Vec<Vector3<f64>> {
    let facets = model.facets()[part.facets.clone()].iter().flatten();
    let mut all: Vec<u32> = facets.copied().collect();
    all.sort_unstable();
    all.dedup();
    let stride = all.len().div_ceil(MOST_CORNERS).max(1);
    let some = all.into_iter().step_by(stride);
    some.map(|k| Vector3::from(model.vertices()[k as usize]))
        .collect()
}
