//! Several photos together: from the views of the job that it names to the errors of the parts in space.
use super::{
    Error,
    mesh::RunMesh,
    one_view::FOREIGN,
    photo_edges,
    sizes::{Why, render_size, size},
};
use crate::{
    images::{Budget, Limits},
    job::{self, Fault, Job, PartAxes, Together, TogetherEnd, TogetherLength, TogetherPart, View},
    measurement::PartInSpace,
    registration::space::{
        self,
        together::{
            Adjusted, EdgesOfPart, ExpectedOfParts, PhotoFound, Subject, SubjectEnd, SubjectLength,
            SubjectMirror, TogetherPhoto,
        },
    },
    report::{InSpaceLengths, PartsBeside, SpaceEntry, SpacePhoto},
};

/// What the photos tell together, for the report, and the parts themselves.
pub(super) struct InSpace {
    pub(super) entry: SpaceEntry,
    pub(super) parts: Vec<PartInSpace>,
}

/// What the photos tell together, where the job names some. A photo that cannot take part says why, those whose marks are `foreign` to
/// them too; the others go on. Where the job has a mesh, its edges are looked for in the photos; else only the heads of the images are read.
///
/// # Errors
/// Where the run is asked to stop.
pub(super) fn found_in_space(
    job: &Job,
    (mesh, foreign): (&RunMesh, &[String]),
    bounds: (&Limits, &Budget),
) -> Result<Option<InSpace>, Error> {
    let Some(together) = job.together.as_ref() else {
        return Ok(None);
    };
    let views: Vec<&View> = together.views.iter().map(|&k| &job.views[k]).collect();
    let sizes: Vec<Result<(u32, u32), Why>> = views
        .iter()
        .map(|view| size(view, &view.reference.image))
        .collect();
    let read: Vec<Result<space::ViewPhoto, Why>> = views
        .iter()
        .zip(&sizes)
        .map(|(view, size)| match foreign.contains(&view.name) {
            true => Err((FOREIGN, "its marks do not belong to it".to_owned())),
            false => photo(job, view, size.clone()?),
        })
        .collect();
    // Where a photo stands among those that were read.
    let number = |k: usize| {
        read.get(k)?
            .is_ok()
            .then(|| read[..k].iter().flatten().count())
    };
    let photos: Vec<TogetherPhoto> = read
        .iter()
        .enumerate()
        .filter_map(|(k, photo)| {
            let own = photo.as_ref().ok()?;
            let master = views[k].reference.interior.same_as;
            let among = master.and_then(|m| together.views.iter().position(|&v| v == m));
            Some(TogetherPhoto {
                view: own.clone(),
                part_of: part_of(together, k, views[k]),
                same_as: among.and_then(number),
            })
        })
        .collect();
    let (subject, used) = subject(job, together);
    // Of the photos that were read the parts know the numbers.
    let all: Vec<usize> = (0..views.len()).filter(|&k| read[k].is_ok()).collect();
    let mut adjusted = Adjusted::new(&photos, &subject);
    let of_photos: Vec<&View> = all.iter().map(|&k| views[k]).collect();
    let unseen = photo_edges::refine(job, mesh, (&of_photos, bounds), &mut adjusted)?;
    let mut found = adjusted.told();
    for part in found.parts.iter_mut().flatten() {
        for photo in &mut part.photos {
            *photo = all[*photo];
        }
        if let Some(would) = &mut part.would {
            would.photo = all[would.photo];
        }
        if let EdgesOfPart::Used(photos) = &mut part.edges {
            for (photo, _) in photos {
                *photo = all[*photo];
            }
        }
    }
    let names: Vec<&str> = views.iter().map(|view| view.name.as_str()).collect();
    let each = together.parts.iter().zip(&found.parts);
    let is_judged = |part: &TogetherPart| part.landmarks.iter().any(|marks| !marks.is_empty());
    let unmarked = each
        .clone()
        .filter(|(part, found)| found.is_none() && is_judged(part));
    let unmarked = unmarked.map(|(part, _)| part.name.clone()).collect();
    let parts: Vec<PartInSpace> = each
        .filter_map(|(part, found)| Some(PartInSpace::new(job, part, found.as_ref()?, &names)))
        .collect();
    let rivals = found.rivals.iter().map(|&k| together.parts[k].name.clone());
    let rivals = rivals.collect();
    let mut solved = found.photos.iter();
    let outcomes: Vec<SpacePhoto<'_>> = views
        .iter()
        .zip(&read)
        .map(|(view, read)| (*view, outcome(read, &mut solved)))
        .collect();
    let beside = PartsBeside { unmarked, rivals };
    let lengths = InSpaceLengths {
        larger_percent: found.larger_percent,
        found: used.into_iter().zip(found.lengths).collect(),
    };
    let entry = SpaceEntry::new(
        job,
        (&outcomes, &parts),
        beside,
        lengths,
        (found.widened, unseen),
    );
    Ok(Some(InSpace { entry, parts }))
}

/// What is known of the subject, with the lengths that it has. One whose end lies on no part and is no datum says nothing.
fn subject<'a>(job: &Job, together: &'a Together) -> (Subject, Vec<&'a TogetherLength>) {
    let is_used = |end: &TogetherEnd| end.is_datum || end.part.is_some();
    let used: Vec<&TogetherLength> = (together.lengths.iter())
        .filter(|length| length.ends.iter().all(is_used))
        .collect();
    let end = |end: &TogetherEnd| SubjectEnd {
        place_mm: end.place,
        part: end.part,
        is_datum: end.is_datum,
    };
    let lengths = used.iter().map(|length| SubjectLength {
        ends: [end(&length.ends[0]), end(&length.ends[1])],
        model_mm: length.length.at(job.scale).0,
    });
    let symmetry = together.symmetry.as_ref();
    let subject = Subject {
        middles: Vec::new(),
        parts: together.parts.len(),
        axes: (together.parts.iter())
            .map(|part| part.axes.unwrap_or(PartAxes::OF_MODEL))
            .collect(),
        expected: ExpectedOfParts {
            size_percent: job.expected.size_percent,
            rotation_deg: job.expected.rotation_deg,
            offset_percent: job.expected.offset_percent,
        },
        lengths: lengths.collect(),
        mirror: symmetry.map(|symmetry| SubjectMirror {
            axis: symmetry.axis,
            at_mm: symmetry.at_mm,
            pairs: symmetry.pairs.clone(),
            across: symmetry.own.clone(),
        }),
    };
    (subject, used)
}

fn outcome<'a>(
    read: &Result<space::ViewPhoto, Why>,
    solved: &mut impl Iterator<Item = &'a Result<PhotoFound, space::Error>>,
) -> Result<&'a PhotoFound, Why> {
    if let Err(why) = read {
        return Err(why.clone());
    }
    match solved.next() {
        Some(Ok(found)) => Ok(found),
        Some(Err(error)) => Err((error.code(), error.to_string())),
        None => Err((
            space::Error::NotTogether.code(),
            space::Error::NotTogether.to_string(),
        )),
    }
}

/// The part of each landmark that has a place on the model; `number` is that of the view among those that are taken together.
fn part_of(together: &Together, number: usize, view: &View) -> Vec<Option<usize>> {
    let placed = (0..view.landmarks.len()).filter(|&k| view.landmarks[k].model_mm.is_some());
    let part = |k: usize| {
        let mut parts = together.parts.iter();
        parts
            .position(|part| part.landmarks[number].contains(&k) || part.datum[number].contains(&k))
    };
    placed.map(part).collect()
}

fn photo(job: &Job, view: &View, size: (u32, u32)) -> Result<space::ViewPhoto, Why> {
    let render = render_size(view, size)?;
    let outside = job::marks_outside(view, "", render, size);
    if let Some(fault) = outside.faults.first() {
        let texts: Vec<String> = outside.faults.iter().map(Fault::text).collect();
        return Err((fault.code(), texts.join("; ")));
    }
    if let Some(master) = view.reference.interior.same_as {
        let master = &job.views[master];
        let other = self::size(master, &master.reference.image)?;
        if other != size {
            let error = space::Error::OtherSize {
                size,
                view: master.name.clone(),
                other,
            };
            return Err((error.code(), error.to_string()));
        }
    }
    space::of_view(view, size).map_err(|e| (e.code(), e.to_string()))
}
