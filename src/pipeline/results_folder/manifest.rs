//! The list of what was written into a results folder: what is listed and unchanged is ours, all else is the user's.
use crate::{job::read_input, pipeline::own_folder::inside};
use rayon::prelude::*;
use serde::{Deserialize, Serialize};
use std::{
    collections::HashMap,
    fs::{self, File},
    io::{self, Write},
    path::{Component, Path, PathBuf},
};

/// Name of the list in a results folder.
pub(super) const MANIFEST: &str = "tickstrip-results.json";
const FORMAT: &str = "tickstrip-results";
const FORMAT_VERSION: u32 = 1;
/// Longest list that is read, bytes: some 100,000 files; a judgement.
const MOST_BYTES: u64 = 32 << 20;

/// What tickstrip wrote into a results folder.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Manifest {
    format: String,
    format_version: u32,
    job: JobPlace,
    /// Checksum of all that the results were made from; absent where they are to be made again in any case.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    made_from: Option<String>,
    files: Vec<Listed>,
}

/// Which job the results are of.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct JobPlace {
    /// The job file as seen from the results folder: it stays true when both are moved.
    file: String,
    /// Checksum of its absolute path: it stays true when the results folder is moved.
    path_blake3: String,
}

/// A file as it was written.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Listed {
    /// Relative to the results folder, with `/` between folders.
    path: String,
    /// Bytes.
    size: u64,
    blake3: String,
}

impl JobPlace {
    /// The place of a job as its results name it; both paths are absolute and without links.
    pub fn new(job: &Path, out: &Path) -> Self {
        let bytes = job.as_os_str().as_encoded_bytes();
        Self {
            file: seen_from(out, job),
            path_blake3: blake3::hash(bytes).to_hex().to_string(),
        }
    }
}

impl Listed {
    /// Lists these bytes.
    pub fn new(path: &str, bytes: &[u8]) -> Self {
        Self {
            path: path.to_owned(),
            size: bytes.len() as u64,
            blake3: blake3::hash(bytes).to_hex().to_string(),
        }
    }

    pub fn path(&self) -> &str {
        &self.path
    }

    /// Bytes.
    pub fn size(&self) -> u64 {
        self.size
    }

    /// Whether both are of the same path and content.
    pub fn is_same(&self, other: &Self) -> bool {
        (&self.path, self.size, &self.blake3) == (&other.path, other.size, &other.blake3)
    }

    /// Whether what lies at this path is what was written there; through a link it is not.
    pub fn is_as_written(&self, path: &Path) -> bool {
        let is_of_size = |data: fs::Metadata| data.is_file() && data.len() == self.size;
        fs::symlink_metadata(path).is_ok_and(is_of_size)
            && checksum(path).is_ok_and(|found| found == self.blake3)
    }
}

/// Counts what is written and takes its checksum on the way.
pub struct Counted<W> {
    inner: W,
    size: u64,
    hasher: blake3::Hasher,
}

impl<W: Write> Counted<W> {
    pub fn new(inner: W) -> Self {
        Self {
            inner,
            size: 0,
            hasher: blake3::Hasher::new(),
        }
    }

    /// Checksum of what was written, in hexadecimal.
    pub fn checksum(&self) -> String {
        self.hasher.finalize().to_hex().to_string()
    }

    /// Lists what was written.
    pub fn listed(self, path: &str) -> Listed {
        Listed {
            path: path.to_owned(),
            size: self.size,
            blake3: self.checksum(),
        }
    }
}

impl<W: Write> Write for Counted<W> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let written = self.inner.write(bytes)?;
        self.hasher.update(&bytes[..written]);
        self.size += written as u64;
        Ok(written)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.inner.flush()
    }
}

impl Manifest {
    /// A list of files, in order.
    pub fn new(job: JobPlace, made_from: Option<String>, mut files: Vec<Listed>) -> Self {
        files.sort_by(|a, b| a.path.cmp(&b.path));
        Self {
            format: FORMAT.to_owned(),
            format_version: FORMAT_VERSION,
            job,
            made_from,
            files,
        }
    }

    /// The list of a results folder; `None` where it has none.
    ///
    /// # Errors
    /// Why it cannot be used.
    pub fn read(folder: &Path) -> Result<Option<Self>, String> {
        let path = folder.join(MANIFEST);
        match fs::symlink_metadata(&path) {
            Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(None),
            Ok(data) if !data.is_file() => return Err("it is no file".to_owned()),
            _ => {}
        }
        let bytes = read_input(&path, MOST_BYTES).map_err(|error| error.to_string())?;
        let manifest: Self = serde_json::from_slice(&bytes).map_err(|error| error.to_string())?;
        if manifest.format != FORMAT || manifest.format_version != FORMAT_VERSION {
            let (format, version) = (&manifest.format, manifest.format_version);
            return Err(format!("it is a list of the format {format} {version}"));
        }
        Ok(Some(manifest))
    }

    /// The list as a file.
    pub fn text(&self) -> io::Result<Vec<u8>> {
        let mut text = serde_json::to_vec_pretty(self)?;
        text.push(b'\n');
        Ok(text)
    }

    /// The job file as seen from the results.
    pub fn job_file(&self) -> &str {
        &self.job.file
    }

    /// Whether the results are of this job: at the same place as then, or at the same place beside the results.
    pub fn is_of(&self, job: &JobPlace) -> bool {
        self.job.file == job.file || self.job.path_blake3 == job.path_blake3
    }

    /// Checksum of all that the results were made from, where it is known.
    pub fn made_from(&self) -> Option<&str> {
        self.made_from.as_deref()
    }

    /// All files by their paths.
    pub fn by_path(&self) -> HashMap<&str, &Listed> {
        self.files.iter().map(|file| (file.path(), file)).collect()
    }

    /// Whether there are pictures of a view, so that one was compared.
    pub fn has_a_view(&self) -> bool {
        self.files.iter().any(|file| file.path.contains('/'))
    }

    /// Paths of all files.
    pub fn paths(&self) -> impl Iterator<Item = &str> {
        self.files.iter().map(Listed::path)
    }

    /// Whether a file was written at this path.
    pub fn lists(&self, path: &str) -> bool {
        self.paths().any(|listed| listed == path)
    }

    /// Whether a file was written below this folder.
    pub fn lists_below(&self, folder: &str) -> bool {
        let is_below = |path: &str| {
            path.strip_prefix(folder)
                .is_some_and(|rest| rest.starts_with('/'))
        };
        self.paths().any(is_below)
    }

    /// Whether the file of a results folder is listed and as it was written; the list itself counts as such.
    pub fn is_ours(&self, folder: &Path, path: &str) -> bool {
        let Some(place) = inside(folder, path) else {
            return false;
        };
        let as_written = |file: &Listed| file.path == path && file.is_as_written(&place);
        path == MANIFEST || self.files.iter().any(as_written)
    }

    /// Whether a results folder holds what is listed, as it was written, and nothing else.
    pub fn is_all_there_is(&self, folder: &Path) -> bool {
        self.paths().all(|path| self.is_ours(folder, path)) && self.is_all_in(folder, "")
    }

    fn is_all_in(&self, folder: &Path, relative: &str) -> bool {
        let Ok(mut entries) = fs::read_dir(folder.join(relative)) else {
            return false;
        };
        entries.all(|entry| {
            let Ok(entry) = entry else { return false };
            let Ok(name) = entry.file_name().into_string() else {
                return false;
            };
            let path = match relative {
                "" => name,
                _ => format!("{relative}/{name}"),
            };
            let is_folder = entry.file_type().is_ok_and(|kind| kind.is_dir());
            let is_listed = path == MANIFEST || self.lists(&path);
            is_listed || (is_folder && self.lists_below(&path) && self.is_all_in(folder, &path))
        })
    }

    /// Files of a results folder that are there and not as they were written, of those that are `wanted`.
    pub fn changed(&self, folder: &Path, wanted: impl Fn(&str) -> bool) -> Vec<PathBuf> {
        let is_changed = |file: &&Listed| {
            inside(folder, &file.path).is_some_and(|place| {
                fs::symlink_metadata(&place).is_ok() && !file.is_as_written(&place)
            })
        };
        // A path that is listed twice is as written where either is.
        let is_other = |file: &&Listed| !self.is_ours(folder, &file.path);
        let wanted: Vec<&Listed> = self.files.iter().filter(|f| wanted(&f.path)).collect();
        let changed = wanted.into_par_iter().filter(is_changed).filter(is_other);
        changed.map(|file| folder.join(&file.path)).collect()
    }
}

fn checksum(path: &Path) -> io::Result<String> {
    let mut hasher = blake3::Hasher::new();
    hasher.update_reader(File::open(path)?)?;
    Ok(hasher.finalize().to_hex().to_string())
}

/// A path as seen from a folder, with `/`; both are absolute and without links. Whole where they share no root.
pub fn seen_from(folder: &Path, to: &Path) -> String {
    let shared = folder
        .components()
        .zip(to.components())
        .take_while(|(a, b)| a == b)
        .count();
    if shared == 0 {
        return to.to_string_lossy().into_owned();
    }
    let up = folder
        .components()
        .skip(shared)
        .map(|_| Component::ParentDir);
    let parts = up.chain(to.components().skip(shared));
    let parts: Vec<_> = parts.map(|c| c.as_os_str().to_string_lossy()).collect();
    parts.join("/")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_job_is_known_again_when_it_is_moved_with_its_results_or_the_results_alone() {
        let place = |job: &str, out: &str| JobPlace::new(Path::new(job), Path::new(out));
        let of = |job, out| Manifest::new(place(job, out), None, Vec::new());
        let written = of("/home/pump/job.json", "/home/pump/job-results");
        assert_eq!(written.job_file(), "../job.json");
        assert!(written.is_of(&place("/disk/pump/job.json", "/disk/pump/job-results")));
        assert!(written.is_of(&place("/home/pump/job.json", "/elsewhere")));
        assert!(!written.is_of(&place("/home/pump/other.json", "/home/pump/job-results")));
    }

    #[test]
    fn only_what_is_as_it_was_written_is_ours() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path();
        fs::create_dir(path.join("side")).expect("made");
        let written = ["report.json", "side/heat.png", "side/grid.png"];
        let files = written.iter().map(|path| Listed::new(path, b"as written"));
        let job = JobPlace::new(Path::new("/a/job.json"), Path::new("/a/job-results"));
        let manifest = Manifest::new(job, None, files.collect());
        for file in ["report.json", "side/heat.png", "side/notes.txt"] {
            fs::write(path.join(file), b"as written").expect("written");
        }
        fs::write(path.join(MANIFEST), manifest.text().expect("JSON")).expect("written");
        let manifest = Manifest::read(path).expect("read").expect("there");
        assert!(manifest.is_ours(path, "report.json") && manifest.is_ours(path, "side/heat.png"));
        assert!(!manifest.is_ours(path, "side/notes.txt") && !manifest.is_ours(path, "../job"));
        assert!(manifest.changed(path, |_| true).is_empty());
        // Of the same length, so that only its content tells.
        fs::write(path.join("side/heat.png"), b"my drawing").expect("written");
        assert!(!manifest.is_ours(path, "side/heat.png"));
        assert_eq!(
            manifest.changed(path, |_| true),
            [path.join("side/heat.png")]
        );
        assert!(manifest.changed(path, |p| !p.contains('/')).is_empty());
        assert!(manifest.lists_below("side") && !manifest.lists_below("sid"));
        for (text, words) in [
            ("{}", "missing field"),
            (
                "{\"format\":\"other\",\"format_version\":7,\"job\":{\"file\":\"\",\"path_blake3\":\"\"},\"files\":[]}",
                "other 7",
            ),
        ] {
            fs::write(path.join(MANIFEST), text).expect("written");
            assert!(Manifest::read(path).expect_err("no list").contains(words));
        }
    }
}
