//! The place of a job's results: what lies there, and what runs that were killed have left beside it.
use super::{
    error::{ResultsError, disk},
    manifest::{JobPlace, MANIFEST, Manifest},
};
use crate::pipeline::{
    own_folder::{OwnFolder, inside, remove_if_empty},
    whole_file::free_name,
};
use std::{
    fs, io,
    path::{Path, PathBuf},
};

/// Begin of the names of our own folders.
const PREFIX: &str = ".tickstrip-";
/// Last file of a view's folder: from then on the view counts as finished, and a later run may take it over.
pub const FINISHED: &str = "view.tickstrip";

/// What becomes of finished views among what earlier runs have left.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Left {
    /// They stay where they are.
    Stays,
    /// They are held for this run, which may take them over.
    IsHeld,
    /// They are removed.
    IsRemoved,
}

/// The results that were there.
pub(super) const OLD: &str = "old";
/// A chain of links longer than this leads in a circle.
const MOST_LINKS: usize = 32;

/// Where the results of a job lie; both paths are absolute and without links, so that a link to the folder stays one.
#[derive(Debug)]
pub(super) struct Place {
    pub out: PathBuf,
    pub parent: PathBuf,
    pub job: JobPlace,
    /// The same for this job and this folder, and for no others.
    pub key: String,
}

/// Whether the folder of a job's results has the same name in every run.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Named {
    /// It has, and later results take the place of earlier ones.
    #[default]
    TheSame,
    /// Each run has a folder of its own in one folder: what a killed run left is known by that one.
    Anew,
}

impl Place {
    /// That of results whose folder has the same name in every run.
    pub fn of(job: &Path, out: &Path) -> io::Result<Self> {
        Self::named(job, out, Named::TheSame)
    }

    pub fn named(job: &Path, out: &Path, named: Named) -> io::Result<Self> {
        let real = |path: &Path| fs::canonicalize(path).or_else(|_| std::path::absolute(path));
        let (job, out) = (real(job)?, where_it_leads(out)?);
        let parent = out.parent().unwrap_or(&out).to_owned();
        let known_by = match named {
            Named::TheSame => &out,
            Named::Anew => &parent,
        };
        let mut hasher = blake3::Hasher::new();
        hasher.update(job.as_os_str().as_encoded_bytes());
        hasher.update(b"\0");
        hasher.update(known_by.as_os_str().as_encoded_bytes());
        Ok(Self {
            job: JobPlace::new(&job, &out),
            key: hasher.finalize().to_hex()[..12].to_owned(),
            parent,
            out,
        })
    }

    pub fn prefix(&self) -> String {
        format!("{PREFIX}{}-", self.key)
    }

    /// What lies at the place: `None` where nothing does.
    pub fn look(&self) -> Result<Option<Manifest>, ResultsError> {
        let path = self.out.clone();
        match fs::symlink_metadata(&path) {
            Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(None),
            Err(error) => return Err(disk("looking at it", &path)(error)),
            Ok(data) if !data.is_dir() => return Err(ResultsError::NoFolder { path }),
            Ok(_) => {}
        }
        let mut entries = fs::read_dir(&path).map_err(disk("looking into it", &path))?;
        if entries.next().is_none() {
            return Ok(None);
        }
        match Manifest::read(&path) {
            Ok(None) => Err(ResultsError::Foreign { path }),
            Ok(Some(manifest)) if manifest.is_of(&self.job) => Ok(Some(manifest)),
            Ok(Some(manifest)) => Err(ResultsError::OtherJob {
                path,
                job: manifest.job_file().to_owned(),
            }),
            Err(reason) => Err(ResultsError::Unreadable {
                path: path.join(MANIFEST),
                reason,
            }),
        }
    }

    /// Ends what runs of this job for this folder were killed in, and takes away what they left but for what `left` says of finished
    /// views; returns what is to be told of the user's files, and what is held.
    pub fn recover(&self, left: Left) -> Result<(Vec<String>, Vec<OwnFolder>), ResultsError> {
        let (mut notes, mut held) = (Vec::new(), Vec::new());
        for (path, purpose) in left_behind(&self.parent, &self.prefix()) {
            let looking = disk("looking for what an earlier run left", &path);
            let Some(folder) = OwnFolder::claim(&path, &purpose).map_err(looking)? else {
                continue;
            };
            notes.extend(self.bring_back(&folder)?);
            let is_finished = |path: &str| {
                path.ends_with(&format!("/{FINISHED}")) && folder.path().join(path).is_file()
            };
            let has_finished = folder.lists(is_finished);
            match left {
                Left::Stays if has_finished => {}
                Left::IsHeld if has_finished => held.push(folder),
                _ => {
                    let removing = disk("removing what an earlier run left", &path);
                    folder.take_away().map_err(removing)?;
                }
            }
        }
        Ok((notes, held))
    }

    /// Brings the old results back where new ones have not taken their place; else what was the user's among them.
    pub fn bring_back(&self, folder: &OwnFolder) -> Result<Vec<String>, ResultsError> {
        let old = folder.path().join(OLD);
        if !fs::symlink_metadata(&old).is_ok_and(|data| data.is_dir()) {
            return Ok(Vec::new());
        }
        let moving = disk("moving the old results back", &old);
        if self.look()?.is_some() {
            return self.return_foreign(&old).map_err(moving);
        }
        remove_if_empty(&self.out)
            .and_then(|()| fs::rename(&old, &self.out))
            .map_err(moving)?;
        Ok(Vec::new())
    }

    /// Removes from old results what is ours, and moves all else to where the new ones are.
    fn return_foreign(&self, old: &Path) -> io::Result<Vec<String>> {
        let mut returning = Returning {
            old,
            out: &self.out,
            manifest: Manifest::read(old).unwrap_or_default(),
            notes: Vec::new(),
        };
        returning.all()?;
        Ok(returning.notes)
    }
}

/// Folders in `parent` whose names begin like this, and what they are for.
fn left_behind(parent: &Path, prefix: &str) -> Vec<(PathBuf, String)> {
    let entries = fs::read_dir(parent).into_iter().flatten().flatten();
    let named = entries.filter_map(|entry| {
        let name = entry.file_name().into_string().ok()?;
        let (key, _) = name.strip_prefix(PREFIX)?.split_once('-')?;
        let is_meant = name.starts_with(prefix);
        is_meant.then(|| (entry.path(), purpose(key)))
    });
    let mut found: Vec<_> = named.collect();
    found.sort();
    found
}

pub(super) fn purpose(key: &str) -> String {
    format!("results {key}")
}

/// Where a path leads: through links, also where nothing is at their end. The folder above must be there.
fn where_it_leads(path: &Path) -> io::Result<PathBuf> {
    let followed = followed(path)?;
    if let Ok(real) = fs::canonicalize(&followed) {
        return Ok(real);
    }
    match (followed.parent(), followed.file_name()) {
        (Some(parent), Some(name)) => Ok(fs::canonicalize(parent)?.join(name)),
        _ => Ok(followed),
    }
}

/// A path after the links at its end.
pub(super) fn followed(path: &Path) -> io::Result<PathBuf> {
    let mut path = std::path::absolute(path)?;
    for _ in 0..MOST_LINKS {
        match fs::read_link(&path) {
            Ok(target) => path = path.parent().unwrap_or(&path).join(target),
            Err(_) => break,
        }
    }
    Ok(path)
}

/// Removes what was written into a results folder and is as it was written, then the folder where nothing else is in it.
pub fn remove_results(out: &Path) -> io::Result<()> {
    let Ok(Some(manifest)) = Manifest::read(out) else {
        return remove_folder(out);
    };
    for path in manifest.paths().filter(|path| manifest.is_ours(out, path)) {
        fs::remove_file(out.join(path))?;
    }
    let mut folders: Vec<&str> = manifest
        .paths()
        .filter_map(|path| Some(path.rsplit_once('/')?.0))
        .collect();
    folders.dedup();
    for folder in folders.iter().filter_map(|folder| inside(out, folder)) {
        remove_folder(&folder)?;
    }
    // The list goes last: killed before, what is left is still known.
    if fs::read_dir(out)?.count() == 1 {
        fs::remove_file(out.join(MANIFEST))?;
    }
    remove_folder(out)
}

/// Removes a folder where nothing is in it; anything but a folder stays.
fn remove_folder(path: &Path) -> io::Result<()> {
    match fs::symlink_metadata(path) {
        Ok(data) if data.is_dir() => remove_if_empty(path),
        _ => Ok(()),
    }
}

/// Takes away what killed runs have left in a folder in which nobody else compares anything.
pub fn clear_left_runs(parent: &Path) -> io::Result<()> {
    for (path, purpose) in left_behind(parent, PREFIX) {
        if let Some(folder) = OwnFolder::claim(&path, &purpose)? {
            folder.take_away()?;
        }
    }
    Ok(())
}

/// Old results whose foreign files are moved to where the new ones are.
struct Returning<'a> {
    old: &'a Path,
    out: &'a Path,
    manifest: Option<Manifest>,
    notes: Vec<String>,
}

impl Returning<'_> {
    fn all(&mut self) -> io::Result<()> {
        self.folder("")?;
        // The list goes last: killed before, the next run still knows what was ours.
        if self.manifest.is_some() {
            fs::remove_file(self.old.join(MANIFEST))?;
        }
        remove_if_empty(self.old)
    }

    fn folder(&mut self, relative: &str) -> io::Result<()> {
        let entries: Vec<_> = fs::read_dir(self.old.join(relative))?.collect::<Result<_, _>>()?;
        for entry in entries {
            // A name that is not UTF-8 is none of ours.
            let Ok(name) = entry.file_name().into_string() else {
                self.return_entry(&entry.path())?;
                continue;
            };
            let inner = match relative {
                "" => name,
                _ => format!("{relative}/{name}"),
            };
            if entry.file_type()?.is_dir() && self.is_mixed(&inner) {
                self.folder(&inner)?;
                remove_if_empty(&entry.path())?;
            } else if self.is_ours(&inner) {
                fs::remove_file(entry.path())?;
            } else if self.manifest.is_none() || inner != MANIFEST {
                self.return_entry(&entry.path())?;
            }
        }
        Ok(())
    }

    /// Whether a folder holds files of ours, or is among the new results too.
    fn is_mixed(&self, folder: &str) -> bool {
        let is_there = || fs::symlink_metadata(self.out.join(folder)).is_ok_and(|d| d.is_dir());
        (self.manifest.as_ref()).is_some_and(|list| list.lists_below(folder)) || is_there()
    }

    fn is_ours(&self, file: &str) -> bool {
        let list = self.manifest.as_ref();
        file != MANIFEST && list.is_some_and(|list| list.is_ours(self.old, file))
    }

    /// Moves a file, a link or a whole folder of the user's; where its place is taken, beside it under another name.
    fn return_entry(&mut self, from: &Path) -> io::Result<()> {
        let to = self.out.join(from.strip_prefix(self.old).unwrap_or(from));
        if let Some(folder) = to.parent() {
            fs::create_dir_all(folder)?;
        }
        let free = free_name(&to);
        fs::rename(from, &free)?;
        if free != to {
            let (taken, kept) = (to.display(), free.display());
            self.notes.push(format!(
                "{taken} was changed while the job was compared; the changed file is kept as {kept}"
            ));
        }
        Ok(())
    }
}
