//! The cameras of a job's references, without a comparison.
use super::{
    Error, in_space,
    mesh::has_symmetry,
    run::selected,
    sizes::{render_size, size},
};
use crate::{
    drawn::JobMesh,
    job::{self, Fault, Job, View},
    registration::space,
    report::{CameraOfView, CameraReport},
};

/// Solves the camera of each view's reference; `names` are the views that are asked for, none: all. Of the images only the
/// heads are read, but where several photos are taken together beside a mesh. A view that cannot be solved says why; the others go on.
///
/// # Errors
/// Where a view is unknown, the symmetry of the model names a part that its mesh does not have, or the run is asked to stop.
pub fn cameras(job: &Job, names: &[String]) -> Result<CameraReport, Error> {
    let views = selected(job, names)?;
    // Where the mesh cannot be read nothing contradicts the job: the cameras need none.
    if let (Some(source), true) = (&job.model, has_symmetry(job))
        && let Ok(mesh) = JobMesh::read(source)
    {
        mesh.check_symmetry().map_err(Error::Model)?;
    }
    let solved = views.iter().map(|view| {
        solve(view).unwrap_or_else(|(code, text)| CameraOfView::failed(&view.name, code, text))
    });
    Ok(CameraReport {
        views: solved.collect(),
        // Of a single view that is asked for the others tell nothing.
        space: if names.is_empty() {
            in_space(job)?
        } else {
            None
        },
    })
}

fn solve(view: &View) -> Result<CameraOfView, (&'static str, String)> {
    let reference = size(&view.reference.image)?;
    let render = render_size(view, reference)?;
    let outside = job::marks_outside(view, "", render, reference);
    if let Some(fault) = outside.faults.first() {
        let texts: Vec<String> = outside.faults.iter().map(Fault::text).collect();
        return Err((fault.code(), texts.join("; ")));
    }
    let words = |e: space::Error| (e.code(), e.to_string());
    let photo = space::of_view(view, reference).map_err(words)?;
    let found = space::resect(&photo.photo, &photo.marks).map_err(words)?;
    Ok(CameraOfView::solved(&view.name, &found, &photo.marks))
}
