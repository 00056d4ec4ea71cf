//! The folder of a job's results: replaced as a whole, and nothing in it is taken away but what was written there by this
//! program and is as it was written.
//!
//! New results are written in a folder of our own beside the place (`new` in it); then the results that are there are
//! moved into that folder (`old`), the new ones are moved to the place, and what was the user's among the old ones is
//! moved after them. Killed at any moment, the next run of the same job for the same folder ends or undoes it.
mod error;
mod manifest;
mod place;

use super::own_folder::{OwnFolder, inside};
use crate::{job::read_input, report};
pub use error::ResultsError;
pub(super) use error::disk;
use manifest::MANIFEST;
pub(super) use manifest::Manifest;
pub(super) use manifest::{Counted, Listed, seen_from};
pub(super) use place::FINISHED;
use place::{Left, OLD, Place, followed, purpose};
pub use place::{Named, clear_left_runs, remove_results};
use std::{
    fs,
    io::{self, Write},
    path::{Path, PathBuf},
    sync::{Mutex, PoisonError},
};

/// The results while they are written.
const NEW: &str = "new";

/// The results of a run while they are written; gone when it is dropped before they are put in place.
#[derive(Debug)]
pub(super) struct NewResults {
    place: Place,
    /// Taken when it is done with.
    folder: Option<OwnFolder>,
    /// The folder in which the results are written.
    path: PathBuf,
    written: Mutex<Vec<Listed>>,
    /// Checksum of all that they are made from.
    made_from: Option<String>,
    /// The list of the results that are there.
    earlier: Option<Manifest>,
    has_earlier: bool,
    /// What runs that were killed or stopped have left with finished views in it; held until the new results are in place.
    left: Vec<OwnFolder>,
    notes: Vec<String>,
}

/// What becomes of finished views that runs which were killed or stopped have left.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum LeftViews {
    /// They may be taken over.
    AreTakenUp,
    /// They are removed.
    AreRemoved,
}

impl NewResults {
    /// Prepares the place of a job's results, after putting right what killed runs have left. `views` are those that will
    /// be written.
    ///
    /// # Errors
    /// Where the place holds something else, or a file that was changed and would be written again.
    pub fn begin(
        job: &Path,
        (out, named): (&Path, Named),
        views: &[&str],
        left: LeftViews,
    ) -> Result<Self, ResultsError> {
        let above = followed(out).map_err(disk("looking at it", out))?;
        let above = above.parent().unwrap_or(&above);
        fs::create_dir_all(above).map_err(disk("making the folder for the results", above))?;
        let place = Place::named(job, out, named).map_err(disk("looking at it", out))?;
        let (notes, left) = place.recover(match left {
            LeftViews::AreTakenUp => Left::IsHeld,
            LeftViews::AreRemoved => Left::IsRemoved,
        })?;
        let earlier = place.look()?;
        if let Some(earlier) = &earlier {
            let will_be_written = |path: &str| match path.split_once('/') {
                Some((view, _)) => views.contains(&view),
                None => true,
            };
            let changed = earlier.changed(&place.out, will_be_written);
            if let Some(path) = changed.into_iter().next() {
                let is_changed = true;
                return Err(ResultsError::InTheWay { path, is_changed });
            }
        }
        let parent = place.parent.clone();
        let making = disk("making a folder for the results in it", &parent);
        let folder = OwnFolder::make(&parent, &place.prefix(), &purpose(&place.key));
        let folder = folder.map_err(making)?;
        let path = folder.path().join(NEW);
        let results = Self {
            has_earlier: (earlier.as_ref())
                .is_some_and(|earlier| earlier.has_a_view() || tells_of_a_view(&place.out)),
            folder: Some(folder),
            written: Mutex::default(),
            made_from: None,
            earlier,
            left,
            path,
            place,
            notes,
        };
        let making = disk("making a folder for the results", &results.path);
        results.own()?.make_folder(NEW).map_err(making)?;
        Ok(results)
    }

    /// Whether results of a view are there that would be replaced.
    pub fn has_earlier(&self) -> bool {
        self.has_earlier
    }

    /// The folder in which the results lie until they are put in place.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Folders with views that runs which were killed or stopped have finished.
    pub fn left(&self) -> impl Iterator<Item = PathBuf> {
        self.left.iter().map(|folder| folder.path().join(NEW))
    }

    /// The results that are there, and their list; its files are as they were written where they are there.
    pub fn earlier(&self) -> Option<(&Path, &Manifest)> {
        Some((self.place.out.as_path(), self.earlier.as_ref()?))
    }

    /// Whether the results that are there are whole and were made from this.
    pub fn are_made_from(&self, checksum: &str) -> bool {
        self.earlier().is_some_and(|(out, list)| {
            let is_there = |path| inside(out, path).is_some_and(|place| place.is_file());
            list.made_from() == Some(checksum) && list.paths().all(is_there)
        })
    }

    /// Says what the results are made from, where that is known.
    pub fn state_made_from(&mut self, checksum: Option<String>) {
        self.made_from = checksum;
    }

    /// The report of the results that are there, where it can be read.
    pub fn earlier_report(&self) -> Option<report::Report> {
        let (out, _) = self.earlier()?;
        let bytes = read_input(&out.join(REPORT), MOST_REPORT).ok()?;
        report::from_json(&bytes)
    }

    /// Whether the results that are there list a file of this path.
    pub fn earlier_has(&self, path: &str) -> bool {
        self.earlier.as_ref().is_some_and(|list| list.lists(path))
    }

    /// Takes a file of other results over, by a second name for it where `shares` and the file system has that.
    ///
    /// # Errors
    /// Where it is not as it was listed.
    pub fn take_over(
        &self,
        from: &Path,
        listed: &Listed,
        shares: bool,
    ) -> Result<(), ResultsError> {
        let relative = listed.path();
        let taking = || disk("taking it over", from);
        let source =
            inside(from, relative).ok_or_else(|| taking()(io::ErrorKind::NotFound.into()))?;
        let taken = self
            .own()?
            .take_in(&format!("{NEW}/{relative}"), &source, shares);
        taken.map_err(disk("taking it over", &source))?;
        if !listed.is_as_written(&self.path.join(relative)) {
            let error = io::Error::new(io::ErrorKind::InvalidData, "it was changed meanwhile");
            return Err(disk("taking it over", &source)(error));
        }
        let mut written = self.written.lock().unwrap_or_else(PoisonError::into_inner);
        written.push(listed.clone());
        Ok(())
    }

    /// Writes a file of the results.
    pub fn write(&self, relative: &str, bytes: &[u8]) -> Result<Listed, ResultsError> {
        self.put(relative, bytes)?;
        let listed = Listed::new(relative, bytes);
        let mut written = self.written.lock().unwrap_or_else(PoisonError::into_inner);
        written.push(listed.clone());
        Ok(listed)
    }

    /// Ends a run that leaves the results that are there as they are; what is to be told of the user's files.
    pub fn discard(mut self) -> Vec<String> {
        self.take_left_away();
        std::mem::take(&mut self.notes)
    }

    /// Leaves the finished views to the next run: how many there are. Without any, nothing is left.
    pub fn leave(mut self) -> usize {
        let finished = |path: &PathBuf| {
            let entries = fs::read_dir(path).into_iter().flatten().flatten();
            let views = entries.filter(|entry| entry.path().join(FINISHED).is_file());
            views.count()
        };
        let own = finished(&self.path);
        if own > 0 {
            // Unlocked, so that the next run may take it over.
            drop(self.folder.take());
        }
        own + self.left().map(|path| finished(&path)).sum::<usize>()
    }

    fn take_left_away(&mut self) {
        for folder in self.left.drain(..) {
            // What cannot be removed now is removed by the next run.
            let _ = folder.take_away();
        }
    }

    /// Writes a file of the results piece by piece.
    pub fn write_by(
        &self,
        relative: &str,
        write: &dyn Fn(&mut dyn Write) -> io::Result<()>,
    ) -> Result<(), ResultsError> {
        let file = self.own()?.create(&format!("{NEW}/{relative}"));
        let listed = file.and_then(|file| {
            let mut file = Counted::new(io::BufWriter::new(file));
            write(&mut file)?;
            file.flush()?;
            Ok(file.listed(relative))
        });
        let listed = listed.map_err(disk("writing it", &self.path.join(relative)))?;
        let mut written = self.written.lock().unwrap_or_else(PoisonError::into_inner);
        written.push(listed);
        Ok(())
    }

    fn put(&self, relative: &str, bytes: &[u8]) -> Result<(), ResultsError> {
        let file = self.own()?.create(&format!("{NEW}/{relative}"));
        file.and_then(|mut file| file.write_all(bytes))
            .map_err(disk("writing it", &self.path.join(relative)))
    }

    /// Puts the results in the place of those that are there, and returns what is to be told of the user's files.
    pub fn put_in_place(mut self) -> Result<Vec<String>, ResultsError> {
        self.seal()?;
        self.move_aside()?;
        if let Err(error) = self.move_in() {
            // Put the old results back; the error that is reported is the first one.
            let _ = self.place.bring_back(self.own()?);
            return Err(error);
        }
        let returned = self.place.bring_back(self.own()?)?;
        self.notes.extend(returned);
        self.take_left_away();
        Ok(std::mem::take(&mut self.notes))
    }

    /// Writes the list, and looks once more whether the place may be taken.
    fn seal(&self) -> Result<(), ResultsError> {
        let files = self.written.lock().unwrap_or_else(PoisonError::into_inner);
        let manifest = Manifest::new(
            self.place.job.clone(),
            self.made_from.clone(),
            files.clone(),
        );
        drop(files);
        let text = manifest.text().map_err(disk("listing it", &self.path))?;
        self.put(MANIFEST, &text)?;
        let Some(earlier) = self.place.look()? else {
            return Ok(());
        };
        let blocking = |path: &str| self.in_the_way_of(path, &earlier);
        match manifest.paths().find_map(blocking) {
            Some(path) => Err(ResultsError::InTheWay {
                path,
                is_changed: false,
            }),
            None => Ok(()),
        }
    }

    /// What is not ours and lies where a file of the new results has to be, or its folder.
    fn in_the_way_of(&self, path: &str, earlier: &Manifest) -> Option<PathBuf> {
        let is_there = |path: &PathBuf| fs::symlink_metadata(path).is_ok();
        let out = &self.place.out;
        match inside(out, path) {
            Some(place) if earlier.lists(path) || !is_there(&place) => None,
            Some(place) => Some(place),
            None => {
                let (view, _) = path.split_once('/')?;
                Some(out.join(view)).filter(is_there)
            }
        }
    }

    /// Moves the results that are there into our own folder, so that at no time both are mixed.
    fn move_aside(&self) -> Result<(), ResultsError> {
        let out = &self.place.out;
        let Ok(data) = fs::symlink_metadata(out) else {
            return Ok(());
        };
        let old = self.own()?.path().join(OLD);
        fs::rename(out, old).map_err(disk("moving the old results aside", out))?;
        // Who could read the old ones can read the new ones; where that cannot be set, they are as any new folder.
        let _ = fs::set_permissions(&self.path, data.permissions());
        Ok(())
    }

    fn move_in(&self) -> Result<(), ResultsError> {
        let out = &self.place.out;
        fs::rename(&self.path, out).map_err(disk("putting the results in place", out))
    }

    fn own(&self) -> Result<&OwnFolder, ResultsError> {
        let gone = || disk("writing it", &self.path)(io::ErrorKind::NotFound.into());
        self.folder.as_ref().ok_or_else(gone)
    }
}

impl Drop for NewResults {
    fn drop(&mut self) {
        if let Some(folder) = self.folder.take() {
            // What cannot be removed now is removed by the next run.
            let _ = folder.take_away();
        }
    }
}

/// The report that lies in a job's results as it was written there; what a killed run left is put right first.
pub fn earlier_report(job: &Path, out: &Path) -> Option<Vec<u8>> {
    let place = Place::of(job, out).ok()?;
    place.recover(Left::Stays).ok()?;
    let manifest = place.look().ok()??;
    let is_ours = manifest.is_ours(&place.out, REPORT);
    is_ours.then(|| read_input(&place.out.join(REPORT), MOST_REPORT).ok())?
}

/// Whether the report of results tells of a view that was compared: of one without pictures there is nothing else.
fn tells_of_a_view(out: &Path) -> bool {
    let bytes = read_input(&out.join(REPORT), MOST_REPORT);
    let report = bytes.ok().and_then(|bytes| report::from_json(&bytes));
    report.is_some_and(|report| report.views.iter().any(|view| view.error.is_none()))
}

/// Refuses a folder of results for what another command than a comparison writes.
///
/// # Errors
/// Where it holds the results of a comparison, or may hold some.
pub fn refuse_folder_of_results(folder: &Path) -> Result<(), ResultsError> {
    if !has_list(folder) {
        return Ok(());
    }
    match Manifest::read(folder) {
        Ok(None) => Ok(()),
        Ok(Some(list)) => Err(ResultsError::OfComparison {
            path: folder.to_owned(),
            job: list.job_file().to_owned(),
        }),
        Err(reason) => Err(ResultsError::Unreadable {
            path: folder.join(MANIFEST),
            reason,
        }),
    }
}

/// Whether a folder has a list of results.
pub(super) fn has_list(folder: &Path) -> bool {
    fs::symlink_metadata(folder.join(MANIFEST)).is_ok()
}

/// What a folder is to those who keep results.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kept {
    /// Results of the job, all as written and nothing else.
    Whole,
    /// Results of the job of which something was changed, or with something else among them.
    Changed,
    /// Anything else.
    NoneOfThisJob,
}

/// Looks at a folder for results of a job.
pub(super) fn kept(job: &Path, folder: &Path) -> Kept {
    let found = Place::of(job, folder).ok().and_then(|place| {
        let manifest = place.look().ok()??;
        Some(manifest.is_all_there_is(&place.out))
    });
    match found {
        Some(true) => Kept::Whole,
        Some(false) => Kept::Changed,
        None => Kept::NoneOfThisJob,
    }
}

/// The results of a job.
#[derive(Debug)]
pub(super) struct ListedResults {
    /// Paths in their folder of the files that are as they were written, their list among them.
    pub as_written: Vec<String>,
    /// How many of them are gone or were changed.
    pub changed: usize,
}

/// What lies in a job's results; `None` where there are none. What a killed run left is put right first.
pub(super) fn listed_results(
    job: &Path,
    out: &Path,
) -> Result<Option<ListedResults>, ResultsError> {
    let place = Place::of(job, out).map_err(disk("looking at it", out))?;
    place.recover(Left::Stays)?;
    let Some(manifest) = place.look()? else {
        return Ok(None);
    };
    let (as_written, changed): (Vec<&str>, Vec<&str>) = manifest
        .paths()
        .chain([MANIFEST])
        .partition(|path| manifest.is_ours(&place.out, path));
    Ok(Some(ListedResults {
        as_written: as_written.into_iter().map(str::to_owned).collect(),
        changed: changed.len(),
    }))
}

/// Largest report that is read, bytes: one of 1,000 views with 200 landmarks each has 100 MB; a judgement.
pub(super) const MOST_REPORT: u64 = 256 << 20;

/// Name of the report in a results folder.
pub(super) const REPORT: &str = "report.json";

#[cfg(test)]
mod tests;
