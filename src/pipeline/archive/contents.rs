//! What goes into the archive of a job, and under which names.
use super::{
    error::ArchiveError,
    list::{LIST, is_safe},
};
use crate::{
    job::{self, Job, document_text},
    meshes,
    pipeline::results_folder::listed_results,
    report,
};
use serde_json::{Value, json};
use std::{
    collections::{BTreeMap, HashMap},
    path::{Component, Path, PathBuf},
};

/// Folder of what lies outside of the job's.
const OUTSIDE: &str = "outside";
/// Folder of the schemas.
const SCHEMAS: &str = "tickstrip-schemas";

/// Where an entry comes from.
#[derive(Debug)]
pub(super) enum Source {
    File(PathBuf),
    Text(Vec<u8>),
}

/// Entries by their names.
#[derive(Debug)]
pub(super) struct Contents {
    /// Name of the job file.
    pub(super) job: String,
    pub(super) entries: BTreeMap<String, Source>,
    /// Names of entries in small letters, by which some systems tell them apart, with the file.
    taken: HashMap<String, PathBuf>,
    /// In plain words, what is not as on the disk.
    pub(super) notes: Vec<String>,
}

/// Collects what belongs to a job whose text is `text`; its results lie in `results`, where there are any.
pub(super) fn collect(job: &Job, text: &[u8], results: &Path) -> Result<Contents, ArchiveError> {
    let folder = job.file.parent().unwrap_or(Path::new(""));
    let name = job.file.file_name().unwrap_or_default().to_string_lossy();
    let mut contents = Contents {
        job: if is_safe(&name) {
            name.into_owned()
        } else {
            "job.json".to_owned()
        },
        entries: BTreeMap::new(),
        taken: HashMap::new(),
        notes: Vec::new(),
    };
    let moved = contents.take_files(job, folder)?;
    let text = if moved.is_empty() {
        text.to_vec()
    } else {
        contents.notes.push(format!(
            "{} of the job's files lie outside of its folder: the job in the archive names them in {OUTSIDE}/",
            moved.len()
        ));
        with_paths(text, &moved).unwrap_or_else(|| text.to_vec())
    };
    contents
        .entries
        .insert(contents.job.clone(), Source::Text(text));
    for (name, schema) in [("job", job::schema()), ("report", report::schema())] {
        let text = format!("{schema:#}\n").into_bytes();
        let name = format!("{SCHEMAS}/{name}.schema.json");
        contents.entries.insert(name, Source::Text(text));
    }
    contents.take_results(&job.file, results)?;
    Ok(contents)
}

impl Contents {
    /// Takes the job's files; returns where the job has to name them otherwise, by JSON pointers.
    fn take_files(
        &mut self,
        job: &Job,
        folder: &Path,
    ) -> Result<Vec<(String, String)>, ArchiveError> {
        let mut moved = Vec::new();
        let mut outside = Outside::default();
        for (pointer, path) in job::named_files(job) {
            let inside = relative(path, folder).filter(|name| self.is_free_for(name, path));
            let name = match inside {
                Some(name) => name,
                None => {
                    let name = outside.name(path);
                    moved.push((pointer, name.clone()));
                    name
                }
            };
            for buffer in buffers(path)? {
                let beside =
                    |name: &str| name.rsplit_once('/').map(|(folder, _)| folder.to_owned());
                let name = beside(&name).map_or(buffer.clone(), |f| format!("{f}/{buffer}"));
                let path = path.with_file_name("").join(&buffer);
                self.take(name, path);
            }
            self.take(name, path.to_owned());
        }
        Ok(moved)
    }

    /// Whether a file may have this name: nothing else has it, and every system can write it.
    fn is_free_for(&self, name: &str, path: &Path) -> bool {
        is_safe(name)
            && name.to_lowercase() != self.job.to_lowercase()
            && name != LIST
            && !name.starts_with(&format!("{OUTSIDE}/"))
            && !name.starts_with(&format!("{SCHEMAS}/"))
            && (self.taken.get(&name.to_lowercase())).is_none_or(|taken| taken == path)
    }

    fn take(&mut self, name: String, path: PathBuf) {
        self.taken.insert(name.to_lowercase(), path.clone());
        self.entries.insert(name, Source::File(path));
    }

    /// Takes the results that are as they were written.
    fn take_results(&mut self, job: &Path, results: &Path) -> Result<(), ArchiveError> {
        let Some(listed) = listed_results(job, results)? else {
            self.notes.push("there are no results beside it".to_owned());
            return Ok(());
        };
        let folder = results.file_name().unwrap_or_default().to_string_lossy();
        let folder = if is_safe(&folder) {
            folder.into_owned()
        } else {
            "results".to_owned()
        };
        let mut left_out = listed.changed;
        for path in listed.as_written {
            let name = format!("{folder}/{path}");
            let source = results.join(&path);
            if self.is_free_for(&name, &source) {
                self.take(name, source);
            } else {
                left_out += 1;
            }
        }
        if left_out > 0 {
            self.notes.push(format!(
                "{left_out} files of the results are gone or were changed, and are left out"
            ));
        }
        Ok(())
    }
}

/// Names for files outside of the job's folder: a numbered folder for each of theirs, so that what lies beside each other stays so.
#[derive(Debug, Default)]
struct Outside {
    folders: HashMap<PathBuf, usize>,
}

impl Outside {
    fn name(&mut self, path: &Path) -> String {
        let folder = path.parent().unwrap_or(Path::new("")).to_owned();
        let number = self.folders.len() + 1;
        let number = *self.folders.entry(folder).or_insert(number);
        let name = path.file_name().unwrap_or_default().to_string_lossy();
        let name = if is_safe(&name) {
            name.into_owned()
        } else {
            // Its ending is not what its kind is told by.
            blake3::hash(name.as_bytes()).to_hex()[..16].to_owned()
        };
        format!("{OUTSIDE}/{number}/{name}")
    }
}

/// A path as it is named from a folder that it lies in, with `/` between folders.
fn relative(path: &Path, folder: &Path) -> Option<String> {
    let names = path.strip_prefix(folder).ok()?.components();
    let names = names.map(|part| match part {
        Component::Normal(name) => name.to_str(),
        _ => None,
    });
    Some(names.collect::<Option<Vec<&str>>>()?.join("/"))
}

/// Files that a mesh of text keeps its numbers in.
fn buffers(path: &Path) -> Result<Vec<String>, ArchiveError> {
    let is_text = path
        .extension()
        .is_some_and(|e| e.eq_ignore_ascii_case("gltf"));
    if !is_text {
        return Ok(Vec::new());
    }
    let bytes = job::read_input(path, meshes::Limits::default().bytes).map_err(|error| {
        ArchiveError::Input {
            path: path.to_owned(),
            source: error.into(),
        }
    })?;
    let files = meshes::buffer_files(&bytes).into_iter();
    Ok(files.filter(|name| is_safe(name)).collect())
}

/// The job's text with other paths; `None` where it is not what was read.
fn with_paths(text: &[u8], moved: &[(String, String)]) -> Option<Vec<u8>> {
    let text = std::str::from_utf8(text).ok()?;
    let mut document: Value = serde_json::from_str(text.trim_start_matches('\u{feff}')).ok()?;
    for (pointer, name) in moved {
        let place = document.pointer_mut(pointer)?;
        match place.get_mut("file") {
            Some(file) => *file = json!(name),
            None => *place = json!(name),
        }
    }
    Some(document_text(&document).into_bytes())
}
