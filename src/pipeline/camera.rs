//! The cameras of a job's references, without a comparison.
use super::{
    Error,
    mesh::{RunMesh, has_symmetry},
    run::selected,
    sizes::{render_size, size},
    together::found_in_space,
};
use crate::{
    images::{Budget, Limits, half_of_free_memory},
    job::{self, Fault, Job, View},
    registration::space,
    report::{CameraOfView, CameraReport},
    stop,
};

/// Solves the camera of each view's reference; `names` are the views that are asked for, none: all. Of the images only the
/// heads are read, but where several photos are taken together beside a mesh. A view that cannot be solved says why; the others go on.
///
/// # Errors
/// Where a view is unknown, the symmetry of the model names a part that its mesh does not have, or the run is asked to stop.
pub fn cameras(job: &Job, names: &[String]) -> Result<CameraReport, Error> {
    let views = selected(job, names)?;
    // Of a single view that is asked for the others tell nothing.
    let is_together = names.is_empty() && job.together.is_some();
    let memory = Budget::new(half_of_free_memory());
    let is_read = is_together || has_symmetry(job);
    let mesh = RunMesh::read(job, is_read, &memory, &stop::is_asked)?;
    // Where the mesh cannot be read nothing contradicts the job: the cameras need none.
    if let Some(mesh) = mesh.whole() {
        mesh.check_symmetry().map_err(Error::Model)?;
    }
    let solved = views.iter().map(|view| {
        solve(view).unwrap_or_else(|(code, text)| CameraOfView::failed(&view.name, code, text))
    });
    Ok(CameraReport {
        views: solved.collect(),
        space: match is_together {
            true => {
                found_in_space(job, (&mesh, &[]), (&Limits::default(), &memory))?.map(|f| f.entry)
            }
            false => None,
        },
    })
}

fn solve(view: &View) -> Result<CameraOfView, (&'static str, String)> {
    let reference = size(view, &view.reference.image)?;
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
