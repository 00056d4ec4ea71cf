//! Views without a rendered image: the model, drawn from its mesh as the reference's camera sees it, is the render.
//!
//! The camera is solved from landmarks whose places on the model are known; with it come the picture, the marks in it and a region for
//! each part that it shows. What comes out is a view like any other.
#![doc = include_str!("METHOD.md")]
mod error;
mod lines;
mod mesh;
mod parts;
mod pick;
pub(crate) mod settings;
mod turntable;

pub use error::Error;
pub use lines::lines_over;
pub use mesh::JobMesh;
pub use pick::{Picked, pick};
pub use turntable::{Turntable, Up};

use crate::{
    frame::{CameraMatrix, FromReference, ModelPoint, Projective, RectifiedPx, RenderPx},
    job::{
        Job, KnownPlane, Landmark, Mask, Rectify, RegistrationKind, RenderImage, RenderKind,
        RenderSource, View,
    },
    meshes::{self, Drawing, MOST_PIXELS, MeshEdges, Projection},
    rectification::Rectification,
    registration::{
        checks::places::Places,
        space::{self, Resection, ViewPhoto},
    },
};
use nalgebra::Matrix3;
use settings::DRAWN;

/// A view whose render is drawn, with its marks, its camera and its regions.
#[derive(Clone, Debug)]
pub struct DrawnView {
    /// The view as a comparison takes it.
    pub view: View,
    /// The render.
    pub drawing: Drawing,
    /// The visible edges of the mesh.
    pub edges: MeshEdges,
    /// Parts of the mesh of which too little is seen for a region; empty where the view states its regions.
    pub hidden: Vec<String>,
}

/// Width and height of the drawn render of a view, pixels, for a reference of this size; at most `most_pixels`.
///
/// # Errors
/// Where the screen that the reference shows cannot be rectified.
pub fn size(view: &View, reference: (u32, u32), most_pixels: u64) -> Result<(u32, u32), Error> {
    let photo = space::of_view(view, reference)?;
    Ok(Frame::of(view, &photo, reference, most_pixels)?.size)
}

/// Draws the render of a view for a reference of this size, with at most `most_pixels`.
///
/// # Errors
/// Where the marks do not tell the camera, or not well enough, or the mesh does not fit them.
pub fn draw(
    job: &Job,
    view: &View,
    mesh: &JobMesh,
    (reference, most_pixels): ((u32, u32), u64),
) -> Result<DrawnView, Error> {
    mesh.check(&view.landmarks)?;
    let photo = space::of_view(view, reference)?;
    let frame = Frame::of(view, &photo, reference, most_pixels)?;
    let found = space::resect(&photo.photo, &photo.marks)?;
    refuse_unsure(&found, &photo, mesh)?;
    let first = &found.first;
    let undistorted_from_picture = first.reference_from_picture.projective();
    let camera = (first.camera)
        .then(undistorted_from_picture)
        .then(frame.rectified_from_reference.projective())
        .then(&frame.render_from_rectified);
    let projection = Projection::new(camera.rows(), &mesh.model)?;
    let drawing = meshes::draw(
        &mesh.model,
        &mesh.edges,
        &projection,
        [frame.size.0, frame.size.1],
    )?;
    if drawing.coverage.iter().all(|covered| *covered == 0) {
        return Err(Error::Nothing);
    }
    let edges = mesh.edges_seen(&projection, frame.size)?;
    let landmarks = view.landmarks.iter().map(|l| marked(l, &camera));
    let landmarks: Vec<Landmark> = landmarks.collect::<Result<_, _>>()?;
    let (regions, hidden) = if view.regions.is_empty() {
        parts::regions(&drawing, &mesh.model, &landmarks, job.tolerance)?
    } else {
        (view.regions.clone(), Vec::new())
    };
    let mut ready = View {
        render: RenderSource {
            image: RenderImage::Drawn,
            marked_on: None,
            kind: RenderKind::Model,
            mark_sigma_px: Some(DRAWN.mark_deviation.get()),
            mask: Mask::Alpha,
            shape: None,
            camera: Some(camera.rows()),
        },
        // The camera was solved from these very marks, so the adjustment leaves it free, as one that stands elsewhere: what it bends to
        // is known to no figure otherwise.
        same_camera: false,
        registration: RegistrationKind::Projective,
        landmarks,
        regions,
        ..view.clone()
    };
    ready.reference.rectify = frame.rectify;
    Ok(DrawnView {
        view: ready,
        drawing,
        edges,
        hidden,
    })
}

/// The visible edges of the mesh in a rendered image of this size (width, height) whose camera the view states; `None` where it states
/// none, or one that does not fit the marks.
///
/// # Errors
/// Where the mesh does not fit the view.
pub fn edges_of_rendered(
    view: &View,
    mesh: &JobMesh,
    size: (u32, u32),
) -> Result<Option<MeshEdges>, Error> {
    let Some(camera) = view.render.camera else {
        return Ok(None);
    };
    if matches!(Places::of(view), Places::CameraMisses { .. }) {
        return Ok(None);
    }
    mesh.check(&view.landmarks)?;
    let projection = Projection::new(camera, &mesh.model)?;
    Ok(Some(mesh.edges_seen(&projection, size)?))
}

/// The frame that a render is drawn in: the picture on the screen, else the photo without its lens.
struct Frame {
    size: (u32, u32),
    rectified_from_reference: FromReference<RectifiedPx>,
    render_from_rectified: Projective<RenderPx, RectifiedPx>,
    /// What the reference is then rectified by.
    rectify: Option<Rectify>,
}

impl Frame {
    fn of(
        view: &View,
        photo: &ViewPhoto,
        reference: (u32, u32),
        most_pixels: u64,
    ) -> Result<Self, Error> {
        let stated = view.reference.rectify.as_ref();
        let is_screen = (photo.photo.screen).is_some_and(|screen| screen.corners.is_some());
        let rectify = if is_screen {
            stated.cloned()
        } else {
            // A plane of the subject is no picture that a camera took; the lens is.
            let lines = stated.map(|rectify| &rectify.straight_lines);
            let lines = lines.filter(|lines| !lines.is_empty());
            lines.map(|lines| Rectify {
                plane: KnownPlane::Unknown,
                straight_lines: lines.clone(),
            })
        };
        let sigma = view.reference.mark_sigma_px;
        let made = rectify
            .as_ref()
            .map(|rectify| Rectification::new(rectify, reference, sigma, None));
        let made = made.transpose().map_err(space::Error::from)?;
        let own = [reference.0, reference.1].map(f64::from);
        let rectangle = made.as_ref().and_then(|made| made.figures().rectangle);
        let [width, height] = rectangle.map_or(own, |r| [r.width, r.height]);
        let most = most_pixels.clamp(1, MOST_PIXELS) as f64;
        let factor = (most / (width * height)).sqrt().min(1.0);
        let whole = |side: f64| (side * factor).floor().max(1.0) as u32;
        let map = Matrix3::from_diagonal(&[factor, factor, 1.0].into());
        Ok(Self {
            size: (whole(width), whole(height)),
            rectified_from_reference: made.as_ref().map_or_else(
                FromReference::identity,
                Rectification::rectified_from_reference,
            ),
            render_from_rectified: Projective::from_matrix(map)
                .expect("a factor above 0 can be inverted"),
            rectify,
        })
    }
}

/// Refuses landmarks that do not fit the mesh of a view, and a camera from which its model cannot be drawn.
///
/// # Errors
/// As [`draw`].
pub fn check(
    view: &View,
    found: &Resection,
    photo: &ViewPhoto,
    mesh: &JobMesh,
) -> Result<(), Error> {
    mesh.check(&view.landmarks)?;
    refuse_unsure(found, photo, mesh)
}

fn refuse_unsure(found: &Resection, photo: &ViewPhoto, mesh: &JobMesh) -> Result<(), Error> {
    if let Some(second) = &found.second {
        let decides = second.decides.as_ref();
        return Err(Error::TwoAttitudes {
            decides: decides.map(|d| photo.marks[d.mark].name.clone()),
        });
    }
    let [least, greatest] = mesh.model.model_box();
    let corner = |k: usize| {
        let of = |axis: usize| [least, greatest][k >> axis & 1][axis];
        ModelPoint([of(0), of(1), of(2)])
    };
    // A corner behind the camera is not seen, however the camera moves a little.
    let deviations = (0..8).filter_map(|k| found.deviation_px(corner(k)));
    let squares: Vec<f64> = deviations.map(|d| d * d).collect();
    let found_px = (squares.iter().sum::<f64>() / squares.len().max(1) as f64).sqrt();
    let (width, height) = photo.photo.size;
    let most_px = DRAWN.most_deviation.get() * f64::from(width).hypot(f64::from(height));
    if found_px > most_px {
        return Err(Error::Unsure { found_px, most_px });
    }
    Ok(())
}

/// The landmark with its mark where the camera shows its place.
fn marked(landmark: &Landmark, camera: &CameraMatrix<RenderPx>) -> Result<Landmark, Error> {
    let behind = || Error::Behind {
        name: landmark.name.clone(),
    };
    let place = landmark.model_mm.unwrap_or_default();
    let mark = camera.apply(ModelPoint(place)).ok_or_else(behind)?;
    let of_place = |sigma: f64| {
        let moved = |axis: usize| {
            let mut place = place;
            place[axis] += sigma;
            let moved = camera.apply(ModelPoint(place));
            moved.map_or(0.0, |moved| moved.distance(mark))
        };
        // The mean of both directions in the picture.
        let square = (0..3).map(|axis| moved(axis).powi(2)).sum::<f64>() / 2.0;
        square.sqrt().hypot(DRAWN.mark_deviation.get())
    };
    Ok(Landmark {
        render: mark,
        sigma_px: [landmark.model_sigma_mm.map(of_place), landmark.sigma_px[1]],
        ..landmark.clone()
    })
}
