//! What the figures and pictures of a view rest on, as a checksum: where it is the same, the view need not be compared again.
use super::{CompareOptions, mesh::needs_mesh};
use crate::{
    drawing::{Paper, Pictures},
    job::{Job, Mask, ModelSource, RenderImage, View, open_input},
    stop,
};
use rayon::prelude::*;
use serde::{Deserialize, Serialize};
use std::{
    collections::{BTreeMap, BTreeSet},
    io::Read,
    path::{Path, PathBuf},
};

/// Checksum of the source that the program was built from: another program may find other figures.
pub(super) const PROGRAM: &str = env!("TICKSTRIP_SOURCE");
/// Bytes that are read at a time; between them a run hears that it is to stop.
const PIECE: usize = 1 << 20;

/// What a comparison was asked for, as far as the figures and pictures of a view depend on it; not its date.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Asked {
    pub paper: Paper,
    pub pictures: Pictures,
    pub explain: bool,
    pub max_megapixels: f64,
}

impl Asked {
    pub fn of(options: &CompareOptions) -> Self {
        let CompareOptions {
            paper,
            pictures,
            explain,
            max_megapixels,
            // Where results go, and where others are.
            out: _,
            views: _,
            reuse: _,
            take_from: _,
            named: _,
            against: _,
            // Held beside the view's own.
            date: _,
            // Of the page of the whole job.
            full_page: _,
            // Of the job as a whole; the marks themselves are in the views.
            carried: _,
            // How, and not what.
            memory: _,
            turns: _,
        } = options;
        Self {
            paper: *paper,
            pictures: pictures.clone(),
            explain: *explain,
            max_megapixels: *max_megapixels,
        }
    }
}

/// The checksums of a view.
#[derive(Clone, Debug)]
pub(super) struct ViewKey {
    /// Of the job's part in it, its marks and its images; printed on sheets.
    pub state: String,
    /// Of that, the program and what was asked for; `None` where a file cannot be read.
    pub key: Option<String>,
}

/// The contents of the files that the views of a run rest on, each read once.
#[derive(Debug)]
pub(super) struct ViewKeys {
    contents: BTreeMap<PathBuf, Option<String>>,
    of_job: String,
    asked: String,
}

impl ViewKeys {
    /// Reads the files of these views.
    pub fn read(job: &Job, views: &[&View], options: &CompareOptions) -> Self {
        let needs = job.together.is_some() || views.iter().any(|view| needs_mesh(view));
        let meshes = needs.then(|| mesh_files(job));
        let files: BTreeSet<&Path> = (views.iter())
            .flat_map(|view| image_files(view))
            .chain(meshes.into_iter().flatten())
            .collect();
        let files: Vec<&Path> = files.into_iter().collect();
        let contents = files
            .par_iter()
            .map(|path| (path.to_path_buf(), content(path)))
            .collect();
        let asked = serde_json::to_string(&Asked::of(options)).expect("it has only string keys");
        Self {
            contents,
            of_job: of_job(job),
            asked,
        }
    }

    /// The checksums of one of the views.
    pub fn of(&self, job: &Job, view: &View) -> ViewKey {
        let mut state = Fields::default();
        state.add("job", &self.of_job);
        state.add("view", &format!("{:?}", by_names(view)));
        let mut is_known = true;
        let meshes = needs_mesh(view).then(|| mesh_files(job));
        for path in image_files(view).chain(meshes.into_iter().flatten()) {
            let content = self.contents.get(path).and_then(Option::as_deref);
            is_known &= content.is_some();
            state.add("file", content.unwrap_or_default());
        }
        let state = state.checksum();
        let mut key = Fields::default();
        key.add("program", PROGRAM);
        key.add("asked", &self.asked);
        key.add("state", &state);
        ViewKey {
            key: is_known.then(|| key.checksum()),
            state,
        }
    }

    /// Checksum of the job's mesh; `None` where a file of it could not be read.
    pub fn of_mesh(&self, job: &Job) -> Option<String> {
        let mut mesh = Fields::default();
        for path in mesh_files(job) {
            mesh.add("file", self.contents.get(path)?.as_deref()?);
        }
        Some(mesh.checksum())
    }

    /// Whether the images of a view still have the content that they had.
    pub fn is_unchanged(&self, view: &View) -> bool {
        image_files(view).all(|path| self.contents.get(path) == Some(&content(path)))
    }

    /// Whether the files of the job's mesh still have the content that they had; those that were not read do not count.
    pub fn is_mesh_unchanged(&self, job: &Job) -> bool {
        mesh_files(job).all(|path| {
            let then = self.contents.get(path);
            then.is_none_or(|then| *then == content(path))
        })
    }
}

/// Checksum of what several fields hold.
#[derive(Default)]
pub(super) struct Fields(blake3::Hasher);

impl Fields {
    /// Adds a field; lengths keep one from running into the next.
    pub fn add(&mut self, name: &str, text: &str) {
        for part in [name, text] {
            self.0.update(&(part.len() as u64).to_le_bytes());
            self.0.update(part.as_bytes());
        }
    }

    pub fn checksum(&self) -> String {
        self.0.finalize().to_hex().to_string()
    }
}

/// What the job as a whole says of every view, as text. Numbers are written with all their digits.
fn of_job(job: &Job) -> String {
    let Job {
        title,
        scale,
        smallest_visible,
        print,
        tolerance,
        expected,
        model,
        // Both stand on every sheet.
        title_block,
        file,
        // What a view says stands in the view; its content counts and not where it lies.
        views: _,
        blake3: _,
        // Several photos are taken together after their views, from their marks alone.
        together: _,
    } = job;
    let model = model.as_ref().map(|model| {
        let mut model: ModelSource = model.clone();
        for file in &mut model.files {
            file.path = name_of(&file.path);
        }
        model
    });
    format!(
        "{title:?} {scale:?} {smallest_visible:?} {print:?} {tolerance:?} {expected:?} {model:?} {title_block:?} {:?}",
        name_of(file)
    )
}

/// The view with its files by their names alone, as the report has them: what they hold counts, and not where they lie.
fn by_names(view: &View) -> View {
    let mut view = view.clone();
    if let RenderImage::File(path) = &mut view.render.image {
        *path = name_of(path);
    }
    view.reference.image = name_of(&view.reference.image);
    for shot in &mut view.reference.more_shots {
        *shot = name_of(shot);
    }
    for mask in [&mut view.render.mask, &mut view.reference.mask] {
        if let Mask::Image(path) = mask {
            *path = name_of(path);
        }
    }
    if let Some(path) = &mut view.render.shape {
        *path = name_of(path);
    }
    view
}

fn name_of(path: &Path) -> PathBuf {
    path.file_name().unwrap_or_default().into()
}

fn image_files(view: &View) -> impl Iterator<Item = &Path> {
    let render = view.render.image.file().into_iter();
    render
        .chain(view.reference.shots())
        .chain(mask_file(&view.render.mask))
        .chain(view.render.shape.as_deref())
        .chain(mask_file(&view.reference.mask))
}

fn mask_file(mask: &Mask) -> Option<&Path> {
    match mask {
        Mask::Image(path) => Some(path),
        _ => None,
    }
}

fn mesh_files(job: &Job) -> impl Iterator<Item = &Path> {
    let files = job.model.iter().flat_map(|model| &model.files);
    files.map(|file| file.path.as_path())
}

/// Checksum of a file; `None` where it cannot be read, or the run is to stop.
fn content(path: &Path) -> Option<String> {
    let mut file = open_input(path, u64::MAX).ok()?;
    let mut hasher = blake3::Hasher::new();
    let mut piece = vec![0; PIECE];
    loop {
        stop::check().ok()?;
        match file.read(&mut piece).ok()? {
            0 => return Some(hasher.finalize().to_hex().to_string()),
            count => hasher.update(&piece[..count]),
        };
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{images::Budget, job};
    use std::fs;

    fn text(mark: f64, title: &str, image: &str) -> String {
        format!(
            r#"{{"title":"{title}","scale":"1:24","views":[
            {{"name":"side","render":{{"image":"a.png"}},"reference":{{"image":"{image}"}},
              "landmarks":[{{"name":"hub","render":[{mark},2],"reference":[3,4]}}]}},
            {{"name":"front","render":{{"image":"b.png"}},"reference":{{"image":"b.png"}},"landmarks":[]}}]}}"#
        )
    }

    /// Keys of both views of a job in this folder.
    fn keys(folder: &Path, text: &str, change: impl Fn(&mut CompareOptions)) -> [ViewKey; 2] {
        let job = job::parse(text.as_bytes(), &folder.join("job.json")).expect("sound");
        let mut options =
            CompareOptions::new(folder.join("out"), "2031-04-05".to_owned(), Budget::new(1));
        change(&mut options);
        let views: Vec<&View> = job.views.iter().collect();
        let keys = ViewKeys::read(&job, &views, &options);
        [0, 1].map(|k| keys.of(&job, views[k]))
    }

    #[test]
    fn a_key_is_another_one_when_anything_changes_that_figures_or_pictures_rest_on() {
        let folders = [(); 2].map(|()| tempfile::tempdir().expect("a folder"));
        let [here, there] = [folders[0].path(), folders[1].path()];
        for folder in [here, there] {
            for name in ["a.png", "b.png", "c.png"] {
                fs::write(folder.join(name), name).expect("written");
            }
        }
        let plain = text(1.0, "Pump", "c.png");
        let [side, front] = keys(here, &plain, |_| ());
        let side_key = side.key.clone().expect("readable");
        assert!(front.key.is_some() && front.key != side.key);
        // Where it lies does not count.
        assert_eq!(keys(there, &plain, |_| ())[0].key, side.key);
        let differs = |found: &[ViewKey; 2]| {
            [
                found[0].key.as_ref() != Some(&side_key),
                found[1].key != front.key,
            ]
        };
        // A mark by the last digit that a number has: of its own view alone.
        let moved = keys(here, &text(1.0 + f64::EPSILON, "Pump", "c.png"), |_| ());
        assert_eq!(differs(&moved), [true, false]);
        let retitled = keys(here, &text(1.0, "Engine", "c.png"), |_| ());
        assert_eq!(differs(&retitled), [true, true]);
        let larger = keys(here, &plain, |options| options.paper = Paper::A3);
        assert_eq!(differs(&larger), [true, true]);
        assert_eq!(larger[0].state, side.state, "the paper is no figure");
        let fewer = keys(here, &plain, |o| o.pictures = Pictures::only([]));
        assert_eq!(differs(&fewer), [true, true]);
        let dated = keys(here, &plain, |o| o.date = "2031-04-06".to_owned());
        assert_eq!(differs(&dated), [false, false], "it is held apart");
        fs::write(here.join("c.png"), "another").expect("written");
        assert_eq!(differs(&keys(here, &plain, |_| ())), [true, false]);
        fs::remove_file(here.join("c.png")).expect("removed");
        let missing = keys(here, &plain, |_| ());
        assert!(missing[0].key.is_none() && missing[1].key == front.key);
    }

    #[test]
    fn fields_do_not_run_into_each_other() {
        let of = |fields: &[(&str, &str)]| {
            let mut all = Fields::default();
            fields.iter().for_each(|(name, text)| all.add(name, text));
            all.checksum()
        };
        assert_ne!(of(&[("a", "bc")]), of(&[("ab", "c")]));
        assert_ne!(of(&[("a", "b"), ("c", "d")]), of(&[("a", "bcd")]));
    }
}
