//! A run: the views of a job that are compared, those that are taken over, and what is written of all of them.
use super::{
    CompareOptions, Error, Event, Outcome, Results, Reuse,
    finished_view::Body,
    mesh::{RunMesh, has_symmetry, needs_mesh},
    one_view::{Comparison, FOREIGN, ViewDone},
    results_folder::{LeftViews, NewResults},
    reuse::{Origin, Sources, Taken, take_over},
    together::{InSpace, found_in_space},
    turns,
    view_key::{Asked, Fields, PROGRAM, ViewKeys},
    whole_job, whole_sheets,
};
use crate::{
    drawing::{self, Picture, PrintedPage},
    images::{Budget, Limits},
    job::{Job, View},
    printable::{listed, shortened},
    report::{self, CollectedView, Report, SpaceEntry},
    stop::{self, Stop},
};
use rayon::prelude::*;

/// Compares the views of a job and writes the result folder: all of it or nothing. Where no view could be compared,
/// earlier results stay; where nothing has changed, they are left as they are.
///
/// # Errors
/// Where nothing could be written or a view is unknown. A view that fails is named in the report; the others go on.
pub fn compare(
    job: &Job,
    options: &CompareOptions,
    observer: &(dyn Fn(Event<'_>) + Sync),
) -> Result<Outcome, Error> {
    compare_until(job, options, observer, &Stop::default())
}

/// As [`compare`], until it is asked to stop: that is heard within a second, and the results stay as they were.
///
/// # Errors
/// Those of [`compare`], [`Error::Stopped`] and [`Error::Paused`].
pub fn compare_until(
    job: &Job,
    options: &CompareOptions,
    observer: &(dyn Fn(Event<'_>) + Sync),
    stop: &Stop,
) -> Result<Outcome, Error> {
    let compare = || {
        let views = selected(job, &options.views)?;
        Run {
            job,
            options,
            observer,
            views,
        }
        .to_results(&Rest::IsCompared)
    };
    stop.run(compare)
        .map_err(|source| Error::Threads { source })?
}

/// The views of these names, all where none is named.
pub(super) fn selected<'a>(job: &'a Job, names: &[String]) -> Result<Vec<&'a View>, Error> {
    if let Some(name) = names
        .iter()
        .find(|n| job.views.iter().all(|v| v.name != **n))
    {
        return Err(Error::UnknownView {
            name: shortened(name),
            known: listed(job.views.iter().map(|v| v.name.as_str())),
        });
    }
    let is_wanted = |v: &&View| names.is_empty() || names.contains(&v.name);
    Ok(job.views.iter().filter(is_wanted).collect())
}

/// What became of a view, by its key.
pub(super) type Told<'a> = dyn Fn(&View, Option<&str>) -> Result<CollectedView, Error> + Sync + 'a;

/// What is done about views that no earlier results have as they would be now.
pub(super) enum Rest<'a> {
    /// They are compared.
    IsCompared,
    /// They are among those that could not be compared, or there are none; views are taken from these results as well.
    IsTold {
        /// The results.
        from: Vec<std::path::PathBuf>,
        /// What became of such a view, by its name and key; why that is not known.
        of: &'a Told<'a>,
    },
}

/// What became of a view in a run.
pub(super) enum Done {
    /// It was taken over, or is to be.
    Taken(Box<Taken>),
    /// It was compared now, well or not.
    Compared(Box<ViewDone>),
}

impl Done {
    /// What was found, and what lies in the results.
    fn collected(&self) -> &CollectedView {
        match self {
            Self::Taken(taken) => &taken.view.collected,
            Self::Compared(done) => &done.collected,
        }
    }

    fn body(&self) -> Option<&Body> {
        match self {
            Self::Taken(taken) => Some(&taken.view.body),
            Self::Compared(done) => done.body.as_ref(),
        }
    }

    pub fn has_failed(&self) -> bool {
        self.body().is_none()
    }

    /// Whether the results that are there have all that is known of it.
    fn is_in_place(&self) -> bool {
        match self {
            Self::Taken(taken) => taken.origin == Origin::InPlace,
            Self::Compared(done) => done.body.is_none(),
        }
    }

    /// Takes its files over where they lie elsewhere; what was found, and its body in the new results.
    pub fn into_results(self, folder: &NewResults) -> Result<(CollectedView, Option<Body>), Error> {
        match self {
            Self::Compared(done) => Ok((done.collected, done.body)),
            Self::Taken(taken) => {
                let Taken { view, origin } = *taken;
                let body = take_over(&view.body, origin, folder)?;
                Ok((view.collected, Some(body)))
            }
        }
    }
}

/// One run.
pub(super) struct Run<'r> {
    pub job: &'r Job,
    pub options: &'r CompareOptions,
    pub observer: &'r (dyn Fn(Event<'_>) + Sync),
    pub views: Vec<&'r View>,
}

/// What a run made in its folder of new results.
pub(super) struct Made<T> {
    pub what: T,
    /// What becomes of the results that are there.
    pub results: Results,
    /// Checksum of all that it was made from; `None` where it is to be made again in any case.
    pub made_from: Option<String>,
}

impl Run<'_> {
    /// From the views to the folder of results.
    pub fn to_results(&self, rest: &Rest<'_>) -> Result<Outcome, Error> {
        if let Some(earlier) = &self.options.against {
            report::may_be_compared(earlier, self.job)?;
        }
        let make = |folder: &NewResults| {
            let keys = self.keys();
            let (done, mesh) = self.do_views((folder, &keys), rest)?;
            self.make_whole(folder, &keys, done, mesh)
        };
        let ((report, counts), results, notes) = self.in_folder(&self.options.out, make)?;
        Ok(Outcome {
            out: self.options.out.clone(),
            report,
            results,
            compared: counts[0],
            taken_over: counts[1],
            notes,
        })
    }

    pub fn keys(&self) -> ViewKeys {
        ViewKeys::read(self.job, &self.views, self.options)
    }

    /// Makes new results in a folder and puts them in place.
    pub fn in_folder<T>(
        &self,
        out: &std::path::Path,
        make: impl FnOnce(&NewResults) -> Result<Made<T>, Error>,
    ) -> Result<(T, Results, Vec<String>), Error> {
        let left = match self.options.reuse {
            Reuse::Nothing => LeftViews::AreRemoved,
            Reuse::OfThisDate | Reuse::OfAnyDate => LeftViews::AreTakenUp,
        };
        let names: Vec<&str> = self.views.iter().map(|view| view.name.as_str()).collect();
        let mut folder =
            NewResults::begin(&self.job.file, (out, self.options.named), &names, left)?;
        let made = make(&folder).and_then(|made| Ok(stop::check().map(|()| made)?));
        let made = match made {
            Err(Error::Stopped) if left == LeftViews::AreTakenUp => {
                return Err(match folder.leave() {
                    0 => Error::Stopped,
                    views => Error::Paused { views },
                });
            }
            made => made?,
        };
        let notes = match made.results {
            Results::InPlace => {
                folder.state_made_from(made.made_from);
                folder.put_in_place()?
            }
            Results::Unchanged | Results::EarlierKept => folder.discard(),
        };
        Ok((made.what, made.results, notes))
    }

    /// Takes views over and compares the others; with the mesh, where that was read.
    pub fn do_views(
        &self,
        (folder, keys): (&NewResults, &ViewKeys),
        rest: &Rest<'_>,
    ) -> Result<(Vec<Done>, RunMesh), Error> {
        let mut sources = match self.options.reuse {
            Reuse::Nothing => Sources::none(),
            Reuse::OfThisDate | Reuse::OfAnyDate => Sources::of(folder),
        };
        if self.options.reuse != Reuse::Nothing {
            sources.add(self.options.take_from.iter().cloned(), Origin::Staying);
        }
        if let Rest::IsTold { from, .. } = rest {
            sources.add(from.iter().cloned(), Origin::Passing);
        }
        let date = self.options.date_to_fit();
        let find =
            |view: &&View| sources.find(&view.name, keys.of(self.job, view).key.as_deref()?, date);
        let mut taken: Vec<Option<Taken>> = self.views.par_iter().map(find).collect();
        stop::check()?;
        let open = self
            .views
            .iter()
            .zip(&taken)
            .filter(|(_, taken)| taken.is_none());
        let open: Vec<&View> = open.map(|(view, _)| *view).collect();
        let mut compared = match rest {
            Rest::IsCompared => self.compare_views((folder, keys), &open)?,
            Rest::IsTold { of, .. } => {
                let told = |view: &&View| {
                    let collected = of(view, keys.of(self.job, view).key.as_deref())?;
                    Ok(ViewDone {
                        collected,
                        body: None,
                    })
                };
                let told: Result<Vec<ViewDone>, Error> = open.iter().map(told).collect();
                (told?, RunMesh::none())
            }
        };
        let mut in_order = compared.0.drain(..);
        let done = self
            .views
            .iter()
            .zip(&mut taken)
            .map(|(view, taken)| match taken.take() {
                Some(taken) => {
                    (self.observer)(Event::Finished { view: &view.name });
                    Done::Taken(Box::new(taken))
                }
                None => Done::Compared(Box::new(
                    in_order.next().expect("one for each that is open"),
                )),
            });
        let done = done.collect();
        drop(in_order);
        Ok((done, compared.1))
    }

    fn compare_views(
        &self,
        (folder, keys): (&NewResults, &ViewKeys),
        views: &[&View],
    ) -> Result<(Vec<ViewDone>, RunMesh), Error> {
        let is_needed = views.iter().any(|view| needs_mesh(view));
        let is_read = is_needed || has_symmetry(self.job);
        let mesh = RunMesh::read(self.job, is_read, &self.options.memory, &stop::is_asked)?;
        if let Some(mesh) = mesh.whole() {
            mesh.check_symmetry().map_err(Error::Model)?;
        }
        let comparison = Comparison {
            job: self.job,
            options: self.options,
            is_mesh_known: !is_needed || keys.is_mesh_unchanged(self.job),
            mesh: &mesh,
            keys,
            folder,
            observer: self.observer,
        };
        let done = turns::in_turns(views, self.options, &stop::is_asked, &|view, look| {
            comparison.compare_view(view, look)
        })?;
        Ok((done, mesh))
    }

    /// Writes what concerns all views, unless the results that are there are the same: the report, and how many views were compared
    /// and taken over.
    fn make_whole(
        &self,
        folder: &NewResults,
        keys: &ViewKeys,
        done: Vec<Done>,
        mesh: RunMesh,
    ) -> Result<Made<(Report, [usize; 2])>, Error> {
        let taken_over = done.iter().filter(|d| matches!(d, Done::Taken(_))).count();
        let counts = [done.len() - taken_over, taken_over];
        let is_compared = !done.iter().all(Done::has_failed);
        let made_from = self.made_from(keys, &done);
        let same = |checksum: &String| {
            let is_in_place = done.iter().all(Done::is_in_place);
            is_in_place && self.options.reuse != Reuse::Nothing && folder.are_made_from(checksum)
        };
        let foreign: Vec<String> = (done.iter().map(|done| &done.collected().entry))
            .filter(|view| view.error.as_ref().is_some_and(|e| e.code == FOREIGN))
            .map(|view| view.name.clone())
            .collect();
        if made_from.as_ref().is_some_and(same) {
            let views = done.into_iter().map(|done| done.collected().clone());
            let earlier = match self.is_in_space() {
                true => folder.earlier_report(),
                false => None,
            };
            let space = match earlier {
                Some(earlier) => earlier.space,
                None => self.space_again((folder, &foreign), mesh)?,
            };
            let report = Report::of_views(self.job, views)
                .with_space(space)
                .with_carried(&self.options.carried);
            return Ok(Made {
                what: (report, counts),
                results: Results::Unchanged,
                made_from,
            });
        }
        let mesh = self.mesh_in_space(mesh)?;
        let mut space = self.space(&mesh, &foreign)?;
        let mut in_space = Vec::new();
        if let Some(space) = space
            .as_mut()
            .filter(|s| is_compared && self.draws_space(s))
        {
            in_space = self.draw_space(folder, space, mesh)?;
        } else {
            drop(mesh);
        }
        let keeps = !is_compared && folder.has_earlier();
        let (mut views, mut bodies) = (Vec::new(), Vec::new());
        for done in done {
            let (collected, body) = match keeps {
                true => (done.collected().clone(), None),
                false => done.into_results(folder)?,
            };
            views.push(collected);
            bodies.extend(body);
        }
        let mut report = Report::of_views(self.job, views)
            .with_space(space.map(|space| space.entry))
            .with_carried(&self.options.carried);
        if let Some(earlier) = self.options.against.as_ref().filter(|_| is_compared) {
            report.revision = Some(report::revision(earlier, &report)?);
        }
        stop::check()?;
        if !keeps {
            let front = self.overview(&report, &bodies)?;
            let sheets = (front, in_space);
            whole_job::write((folder, self.options), &report, &bodies, sheets)?;
        }
        Ok(Made {
            what: (report, counts),
            results: match keeps {
                true => Results::EarlierKept,
                false => Results::InPlace,
            },
            made_from,
        })
    }

    /// Checksum of all that results are made from; `None` where they are held against others.
    fn made_from(&self, keys: &ViewKeys, done: &[Done]) -> Option<String> {
        if self.options.against.is_some() {
            return None;
        }
        let mut all = Fields::default();
        all.add("program", PROGRAM);
        let asked = serde_json::to_string(&Asked::of(self.options)).ok()?;
        all.add("asked", &asked);
        all.add("full page", &self.options.full_page.to_string());
        all.add("job", &self.job.blake3);
        let name = self.job.file.file_name().unwrap_or_default();
        all.add("name", &name.to_string_lossy());
        for said in &self.options.carried {
            all.add("carried", said);
        }
        if self.job.together.is_some() {
            // On the sheet of the model in space.
            all.add("date", &self.options.date);
            all.add("mesh", &keys.of_mesh(self.job)?);
            // What a view that failed says of its photo is not all that edges are found by.
            for view in &self.views {
                all.add("photo", &keys.of(self.job, view).state);
            }
        }
        for done in done {
            match done.body() {
                Some(body) => all.add("view", body.checksum()),
                None => {
                    let entry = serde_json::to_string(&done.collected().entry).ok()?;
                    all.add("failed", &entry);
                }
            }
        }
        Some(all.checksum())
    }

    /// Whether the photos that are taken together are all among the views of this run.
    fn is_in_space(&self) -> bool {
        are_compared(self.job, &self.views)
    }

    /// The mesh, read where the photos need it and no view did.
    fn mesh_in_space(&self, mesh: RunMesh) -> Result<RunMesh, Error> {
        match !self.is_in_space() || mesh.is_read() {
            true => Ok(mesh),
            false => RunMesh::read(self.job, true, &self.options.memory, &stop::is_asked),
        }
    }

    /// `foreign` are the views whose marks belong to other pictures: they tell nothing in space either.
    fn space(&self, mesh: &RunMesh, foreign: &[String]) -> Result<Option<InSpace>, Error> {
        let bounds = (&self.options.limits(), &self.options.memory);
        space_of(self.job, (&self.views, foreign), mesh, bounds)
    }

    /// What the photos tell, where the results that are there have it and cannot be read.
    fn space_again(
        &self,
        (folder, foreign): (&NewResults, &[String]),
        mesh: RunMesh,
    ) -> Result<Option<SpaceEntry>, Error> {
        let mesh = self.mesh_in_space(mesh)?;
        let Some(mut space) = self.space(&mesh, foreign)? else {
            return Ok(None);
        };
        let is_drawn = folder.earlier_has(drawing::SPACE_FILE);
        space.entry.picture = is_drawn.then(|| drawing::SPACE_FILE.to_owned());
        Ok(Some(space.entry))
    }

    /// Whether the model is drawn in space, if it has a mesh.
    fn draws_space(&self, space: &InSpace) -> bool {
        self.options.pictures.has(Picture::Sheet) && !space.parts.is_empty()
    }

    /// Draws the model in space with its parts, where its mesh can be used; the sheets.
    fn draw_space(
        &self,
        folder: &NewResults,
        space: &mut InSpace,
        mesh: RunMesh,
    ) -> Result<Vec<PrintedPage>, Error> {
        let Some(mesh) = mesh.whole() else {
            return Ok(Vec::new());
        };
        let how = (self.options.paper, self.options.date.as_str());
        let Some((file, pages)) = whole_sheets::in_space(self.job, how, space, mesh)? else {
            return Ok(Vec::new());
        };
        folder.write(file.name, &file.bytes)?;
        space.entry.picture = Some(file.name.to_owned());
        Ok(pages.into_iter().map(Into::into).collect())
    }

    /// The pages in front of the sheets of several views.
    fn overview(&self, report: &Report, bodies: &[Body]) -> Result<Vec<PrintedPage>, Error> {
        let is_drawn = self.options.pictures.has(Picture::Sheet) && report.views.len() > 1;
        if !is_drawn || bodies.is_empty() {
            return Ok(Vec::new());
        }
        let thumbnail = |name: &str| {
            let body = bodies.iter().find(|body| body.name() == name)?;
            // A page that cannot be read is told where the sheets are written.
            (body.pages() > 0).then(|| body.page(0).ok()?.thumbnail())?
        };
        let thumbnails = report.views.iter().map(|view| thumbnail(&view.name));
        let how = (self.options.paper, self.options.date.as_str());
        let pages = whole_sheets::overview(self.job, how, report, thumbnails.collect())?;
        Ok(pages.into_iter().map(Into::into).collect())
    }
}

/// Whether photos are taken together that are all among these views.
fn are_compared(job: &Job, views: &[&View]) -> bool {
    let name = |k: usize| &job.views[k].name;
    let is_compared = |&k: &usize| views.iter().any(|view| view.name == *name(k));
    let together = job.together.as_ref();
    together.is_some_and(|together| together.views.iter().all(is_compared))
}

/// What the photos tell together, where all of them are among these views; but for those whose marks are `foreign` to them.
///
/// # Errors
/// Where the run is asked to stop.
pub(super) fn space_of(
    job: &Job,
    (views, foreign): (&[&View], &[String]),
    mesh: &RunMesh,
    bounds: (&Limits, &Budget),
) -> Result<Option<InSpace>, Error> {
    match are_compared(job, views) {
        true => found_in_space(job, (mesh, foreign), bounds),
        false => Ok(None),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::job;
    use std::{fs, path::Path};

    #[test]
    fn a_stopped_comparison_leaves_nothing_behind() {
        let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/demo/pump.json");
        let job = job::read(&demo).expect("sound");
        let folder = tempfile::tempdir().expect("a folder");
        let mut options = CompareOptions::new(
            folder.path().join("results"),
            "2031-04-05".to_owned(),
            Budget::new(1 << 30),
        );
        options.views = vec!["side".to_owned()];
        options.reuse = Reuse::OfThisDate;
        for last in ["reading images", "registering", "measuring"] {
            let stop = Stop::default();
            let observer = |event: Event<'_>| {
                if matches!(event, Event::Stage { stage, .. } if stage == last) {
                    stop.ask();
                }
            };
            let error = compare_until(&job, &options, &observer, &stop).expect_err("stopped");
            assert_eq!(error.code(), "stopped", "{last}");
            assert_eq!(fs::read_dir(folder.path()).expect("there").count(), 0);
        }
    }
}
