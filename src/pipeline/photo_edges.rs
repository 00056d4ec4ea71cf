//! Photos that are taken together, searched for the edges of the job's mesh.
use super::{Error, mesh::RunMesh, need, sizes::Why};
use crate::{
    drawn::JobMesh,
    edges::in_space::{self, MeshPart, MeshParts, PhotoEdges},
    images::{self, Budget, Limits, PictureLook},
    job::{Job, View},
    registration::space::together::Adjusted,
    report::EdgesUnseen,
    stop,
};

/// Adjusts by the edges of the mesh as well; `views` are the photos of the adjustment. Why edges could not be looked for in all photos,
/// where that is so: what was found in the others counts.
///
/// # Errors
/// Where the run is asked to stop.
pub(super) fn refine(
    job: &Job,
    mesh: &RunMesh,
    (views, bounds): (&[&View], (&Limits, &Budget)),
    adjusted: &mut Adjusted<'_>,
) -> Result<EdgesUnseen, Error> {
    let mesh = match mesh.for_photos() {
        None => return Ok(None),
        Some(Err(why)) => return Ok(Some(why)),
        Some(Ok(mesh)) => mesh,
    };
    if adjusted.fitting().is_none() {
        return Ok(None);
    }
    for view in views {
        if let Err(error) = mesh.check(&view.landmarks) {
            return Ok(Some((error.code(), error.to_string())));
        }
    }
    let looks: Vec<Result<PictureLook, Why>> = views
        .iter()
        .map(|view| {
            let look = images::look_at(&view.reference.image, bounds.0);
            look.map_err(|e| e.of_view(view))
                .map_err(|e| (e.code(), e.to_string()))
        })
        .collect();
    let most_pixels = in_space::pixels_of_each(views.len());
    let seen: Vec<&PictureLook> = looks.iter().flatten().collect();
    let need = need::of_photo_edges(&seen, most_pixels as u64);
    let _held = match bounds.1.take(need, &stop::is_asked) {
        Ok(held) => held,
        Err(images::BudgetError::Stopped) => return Err(Error::Stopped),
        Err(error) => return Ok(Some((error.code(), error.to_string()))),
    };
    let mut unseen = None;
    let mut photos = Vec::new();
    // One after the other: each is parallel in itself, and large.
    for (view, look) in views.iter().zip(looks) {
        stop::check()?;
        let read = look.and_then(|look| {
            let picture = images::read_looked(&view.reference.image, bounds.0, &look);
            picture.map_err(|e| (e.code(), e.to_string()))
        });
        photos.push(match read {
            Ok(picture) => Some(PhotoEdges::new(
                &picture.rgb,
                view.reference.kind,
                most_pixels,
            )),
            Err(why) => {
                unseen = Some(why);
                None
            }
        });
    }
    in_space::refine(adjusted, &photos, &parts(job, mesh))?;
    Ok(unseen)
}

/// What the parts of the mesh are, by their names.
fn parts<'a>(job: &Job, mesh: &'a JobMesh) -> MeshParts<'a> {
    let together = job.together.iter().flat_map(|together| &together.parts);
    let names: Vec<&str> = together.map(|part| part.name.as_str()).collect();
    let datum = job.model.iter().flat_map(|model| &model.datum);
    let datum: Vec<&String> = datum.collect();
    let parts = mesh.model.parts().iter().map(|part| {
        match names.iter().position(|name| *name == part.name) {
            Some(number) => MeshPart::Part(number),
            None if datum.contains(&&part.name) => MeshPart::Datum,
            None => MeshPart::Other,
        }
    });
    MeshParts {
        model: &mesh.model,
        edges: &mesh.edges,
        parts: parts.collect(),
    }
}
