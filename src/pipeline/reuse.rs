//! Views that were compared before and need not be compared again: in the results that are there, in what a killed run has left, in
//! other results of the job.
use super::{
    finished_view::{Body, FinishedView},
    results_folder::{Listed, Manifest, NewResults, ResultsError, disk},
};
use std::{
    collections::HashMap,
    path::{Path, PathBuf},
};

/// A view that is taken over.
#[derive(Debug)]
pub(super) struct Taken {
    pub view: FinishedView,
    pub origin: Origin,
}

/// Where a view is taken from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Origin {
    /// The results that are replaced.
    InPlace,
    /// Results that go away afterwards.
    Passing,
    /// Results that stay.
    Staying,
}

/// Where views may be taken from.
#[derive(Debug)]
pub(super) struct Sources<'a> {
    in_place: Option<(&'a Path, HashMap<&'a str, &'a Listed>)>,
    others: Vec<(PathBuf, Origin)>,
}

impl<'a> Sources<'a> {
    /// The results that are there and what killed runs have left.
    pub fn of(folder: &'a NewResults) -> Self {
        let listed = |(out, list): (&'a Path, &'a Manifest)| (out, list.by_path());
        Self {
            in_place: folder.earlier().map(listed),
            others: folder.left().map(|path| (path, Origin::Passing)).collect(),
        }
    }

    /// Nowhere.
    pub fn none() -> Self {
        Self {
            in_place: None,
            others: Vec::new(),
        }
    }

    /// Further results.
    pub fn add(&mut self, folders: impl IntoIterator<Item = PathBuf>, origin: Origin) {
        self.others
            .extend(folders.into_iter().map(|path| (path, origin)));
    }

    /// A finished view with this key, all of it as it was written; with this date on its sheets, where one is asked for.
    pub fn find(&self, view: &str, key: &str, date: Option<&str>) -> Option<Taken> {
        let fitting =
            |folder: &Path| FinishedView::open(folder, view).filter(|v| v.body.fits(key, date));
        if let Some((out, listed)) = &self.in_place
            && let Some(view) = fitting(out).filter(|view| is_listed(&view.body, out, listed))
        {
            let origin = Origin::InPlace;
            return Some(Taken { view, origin });
        }
        self.others.iter().find_map(|(folder, origin)| {
            let view = fitting(folder).filter(|view| view.body.is_whole())?;
            let origin = *origin;
            Some(Taken { view, origin })
        })
    }
}

/// Whether all files of a view are listed by the results that they lie in, and there: those are as they were written, or the run
/// would have refused them.
fn is_listed(view: &Body, out: &Path, listed: &HashMap<&str, &Listed>) -> bool {
    let is_file = |path: &str| out.join(path).symlink_metadata().is_ok_and(|d| d.is_file());
    let own = view.path();
    listed.contains_key(own.as_str())
        && view.files().iter().all(|file| {
            listed.get(file.path()).is_some_and(|other| *other == file) && is_file(file.path())
        })
}

/// Takes the files of a view over into new results.
///
/// # Errors
/// Where one was changed meanwhile.
pub(super) fn take_over(
    view: &Body,
    origin: Origin,
    folder: &NewResults,
) -> Result<Body, ResultsError> {
    let shares = origin != Origin::Staying;
    let from = view.folder();
    for file in view.files() {
        folder.take_over(from, file, shares)?;
    }
    let own = view.listed();
    let own = own.map_err(disk("taking it over", &from.join(view.path())))?;
    folder.take_over(from, &own, shares)?;
    Ok(view.clone().moved_to(folder.path()))
}
