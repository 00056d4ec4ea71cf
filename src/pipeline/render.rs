//! The images of a view: read, or the render drawn from the mesh.
use super::{
    CompareOptions,
    admission::{as_failure, outside},
    error::failure,
    mesh::RunMesh,
};
use crate::{
    drawing::{self, DrawnFile},
    drawn,
    images::{self, Picture, ViewImages, ViewLook},
    job::{Job, RenderImage, View},
    measurement::Warning,
    meshes::MeshEdges,
    printable::listed,
    report::ViewFailure,
    warning::Code,
};
use std::borrow::Cow;

/// A view with its images.
pub(super) struct Rendered<'a> {
    /// With its marks, regions and camera in the render, where that was drawn.
    pub(super) view: Cow<'a, View>,
    pub(super) images: ViewImages,
    pub(super) warnings: Vec<Warning>,
    pub(super) files: Vec<DrawnFile>,
    /// The visible edges of the mesh, where they are known.
    pub(super) edges: Option<MeshEdges>,
}

/// Reads the images of a view that was looked at; draws the render where the view asks for it.
pub(super) fn of_view<'a>(
    job: &Job,
    view: &'a View,
    (mesh, options): (&RunMesh, &CompareOptions),
    look: &ViewLook,
) -> Result<Rendered<'a>, ViewFailure> {
    let mesh = mesh.of(view)?;
    let fail = |e: images::Error| failure(e.code(), &e);
    let (RenderImage::Drawn, Some(mesh)) = (&view.render.image, mesh) else {
        let size = look.render.size();
        let edges = mesh.map(|mesh| drawn::edges_of_rendered(view, mesh, size));
        let edges = edges.transpose().map_err(|e| failure(e.code(), &e))?;
        return Ok(Rendered {
            view: Cow::Borrowed(view),
            images: images::read_looked_view(view, look).map_err(fail)?,
            warnings: Vec::new(),
            files: Vec::new(),
            edges: edges.flatten(),
        });
    };
    let sizes = [look.render.size(), look.reference.size()];
    outside(job, view, sizes).map_err(|refusals| as_failure(&refusals))?;
    let size = (look.reference.size(), options.limits().max_pixels);
    let made = drawn::draw(job, view, mesh, size).map_err(|e| failure(e.code(), &e))?;
    let png = drawing::model_png(&made.drawing).map_err(|e| failure(e.code(), &e))?;
    let render = Picture {
        rgb: made.drawing.picture,
        alpha: Some(made.drawing.coverage),
        notes: Vec::new(),
    };
    Ok(Rendered {
        images: images::read_beside_drawn(&made.view, look, render).map_err(fail)?,
        view: Cow::Owned(made.view),
        warnings: about_hidden(&made.hidden).into_iter().collect(),
        files: vec![DrawnFile::alone(("drawn", "drawn.png"), png)],
        edges: Some(made.edges),
    })
}

/// What is told of parts that are not seen.
fn about_hidden(hidden: &[String]) -> Option<Warning> {
    let names = listed(hidden.iter().map(String::as_str));
    (!hidden.is_empty()).then(|| Warning {
        code: Code::HiddenParts,
        text: format!(
            "Of parts of the mesh the camera sees nothing or next to nothing, and they are not measured: {names}."
        ),
    })
}
