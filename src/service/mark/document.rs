//! The job file while it is being marked: every change is on the disk before it is answered, none overwrites what
//! somebody else wrote.
use super::{
    edits::{self, Difference, Edit},
    journal::{Journal, Step},
    places, stamp,
    versions::Versions,
};
use crate::{
    job::{self, Fault, FaultKind, InputError},
    pipeline::{self, There},
};
use serde_json::{Value, json};
use std::{
    fs, io,
    path::{Path, PathBuf},
};

/// Folder beside the job with the journal and the last versions.
const FOLDER: &str = ".tickstrip";

/// Why a change was not made.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub(super) enum Refusal {
    /// The page shows an older state.
    #[error("the job was changed in another page meanwhile; this change was not made")]
    Stale,
    /// The file is not as it was written last.
    #[error("{}: the file was changed by another program meanwhile; say which of both is to stay", file.display())]
    ChangedOutside {
        /// The job file.
        file: PathBuf,
    },
    /// Another program serves the same job.
    #[error("{}: another tickstrip is marking this job; end one of the two", file.display())]
    TwoPrograms {
        /// The job file.
        file: PathBuf,
    },
    /// The change would spoil a sound job.
    #[error("{text}")]
    Faulty {
        /// The faults, one a line.
        text: String,
    },
    /// A place that is not there.
    #[error(transparent)]
    NoPlace(#[from] edits::NoPlace),
    /// The file on the disk cannot be taken over.
    #[error("{}: {text}", file.display())]
    NotUsable {
        /// The job file.
        file: PathBuf,
        /// Why not.
        text: String,
    },
    /// Marks cannot be carried over.
    #[error("the marks were not carried over: {0}")]
    NotCarried(#[from] pipeline::CarryError),
    /// The disk does not take it.
    #[error("{}: cannot be saved: {source}", file.display())]
    NotSaved {
        /// The job file.
        file: PathBuf,
        /// What the operating system says.
        source: io::Error,
    },
}

impl Refusal {
    /// Stable code for the page.
    pub fn code(&self) -> &'static str {
        match self {
            Self::Stale => "stale",
            Self::ChangedOutside { .. } => "changed-outside",
            Self::TwoPrograms { .. } => "two-programs",
            Self::Faulty { .. } => "faulty",
            Self::NoPlace(_) => "no-place",
            Self::NotUsable { .. } => "not-usable",
            Self::NotCarried(_) => "not-carried",
            Self::NotSaved { .. } => "not-saved",
        }
    }
}

/// Which of two states of the job stays.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Deserialize)]
#[serde(rename_all = "lowercase")]
pub(super) enum Keep {
    /// The one on the disk.
    File,
    /// The one that the page shows.
    Page,
}

/// A job file that is being changed.
#[derive(Debug)]
pub(super) struct Document {
    file: PathBuf,
    /// The bytes that lie on the disk as far as known.
    on_disk: blake3::Hash,
    journal: Journal,
    versions: Versions,
}

impl Document {
    /// Opens a job file; it must be JSON, whatever else is wrong with it.
    pub fn open(file: &Path) -> Result<Self, Refusal> {
        let not_saved = |source| Refusal::NotSaved {
            file: file.to_owned(),
            source,
        };
        // Through a link the file itself is written, and the journal lies beside it.
        let file = fs::canonicalize(file).map_err(not_saved)?;
        let not_saved = |source| Refusal::NotSaved {
            file: file.clone(),
            source,
        };
        pipeline::clear_left(&file);
        let (bytes, value) = read(&file)?;
        let folder = state_folder(&file);
        fs::create_dir_all(&folder).map_err(not_saved)?;
        let fresh = json!({ "job": value, "draft": {} });
        let journal = Journal::open(&folder.join("journal.jsonl"), &fresh).map_err(not_saved)?;
        let mut document = Self {
            on_disk: blake3::hash(&bytes),
            journal,
            versions: Versions::open(folder.join("versions")).map_err(not_saved)?,
            file: file.clone(),
        };
        document.follow_file(value, &bytes)?;
        Ok(document)
    }

    /// The job as the page shows it.
    pub fn job(&self) -> &Value {
        &self.journal.document()["job"]
    }

    /// What is begun and no part of the job yet: marks without a partner, outlines that are not closed.
    pub fn draft(&self) -> &Value {
        &self.journal.document()["draft"]
    }

    /// Changes whenever the job or the draft does.
    pub fn revision(&self) -> String {
        stamp::of(&self.journal.document().to_string())
    }

    /// The job file.
    pub fn file(&self) -> &Path {
        &self.file
    }

    /// The job's text as it is saved.
    pub fn text(&self) -> String {
        job::document_text(self.job())
    }

    /// What can be undone and redone: how many steps, and the label of the next one.
    pub fn steps(&self) -> Value {
        let [undo, redo] = self.journal.depth();
        let label = |step: Option<&Step>| step.map(|s| s.label.clone());
        json!({
            "undo": undo, "undo_label": label(self.journal.to_undo()),
            "redo": redo, "redo_label": label(self.journal.to_redo()),
        })
    }

    /// Whether the file is as it was written last, and nobody else writes the journal.
    pub fn look(&self) -> Result<(), Refusal> {
        let file = self.file.clone();
        if self.journal.is_foreign() {
            return Err(Refusal::TwoPrograms { file });
        }
        match job::read_input(&self.file, job::MOST_BYTES) {
            Ok(bytes) if blake3::hash(&bytes) == self.on_disk => Ok(()),
            _ => Err(Refusal::ChangedOutside { file }),
        }
    }

    /// Makes changes that were decided on at the state `base`. `note` is given the job before and after them, and adds what is
    /// to be kept beside: it is part of the same step.
    pub fn change(
        &mut self,
        base: &str,
        label: &str,
        list: &[Edit],
        note: &dyn Fn(&Value, &mut Value),
    ) -> Result<(), Refusal> {
        self.look()?;
        if base != self.revision() {
            return Err(Refusal::Stale);
        }
        let before = self.journal.document();
        let mut after = before.clone();
        for edit in list {
            edits::apply(&mut after, edit)?;
        }
        note(&before["job"], &mut after["job"]);
        let Some(difference) = Difference::between(before, &after) else {
            return Ok(());
        };
        self.refuse_spoiling(&after["job"])?;
        self.refuse_missing(&after["job"])?;
        let step = Step {
            label: label.chars().take(200).collect(),
            difference,
        };
        self.carry_out(|journal| journal.change(step))
    }

    /// Takes the last step back.
    pub fn undo(&mut self, base: &str) -> Result<(), Refusal> {
        self.step(base, |journal| journal.undo().map(|_| ()))
    }

    /// Does the step again that was taken back last.
    pub fn redo(&mut self, base: &str) -> Result<(), Refusal> {
        self.step(base, |journal| journal.redo().map(|_| ()))
    }

    /// Decides between the file and the page where the file was changed by another program. The other state is kept
    /// among the versions, and the decision can be undone.
    pub fn decide(&mut self, keep: Keep) -> Result<(), Refusal> {
        match keep {
            Keep::File => {
                let (bytes, value) = read(&self.file)?;
                self.on_disk = blake3::hash(&bytes);
                self.follow_file(value, &bytes)
            }
            Keep::Page => {
                match job::read_input(&self.file, job::MOST_BYTES) {
                    Ok(bytes) => self.versions.keep(&bytes),
                    Err(InputError::Missing) => Ok(()),
                    // What cannot be kept is not written over.
                    Err(error) => Err(error.into()),
                }
                .map_err(|source| self.not_saved(source))?;
                self.write()
            }
        }
    }

    fn step(
        &mut self,
        base: &str,
        step: impl FnOnce(&mut Journal) -> io::Result<()>,
    ) -> Result<(), Refusal> {
        self.look()?;
        if base != self.revision() {
            return Err(Refusal::Stale);
        }
        self.carry_out(step)
    }

    /// The journal first, then the file: a crash in between is noticed on the next start.
    fn carry_out(
        &mut self,
        step: impl FnOnce(&mut Journal) -> io::Result<()>,
    ) -> Result<(), Refusal> {
        self.journal
            .shorten()
            .map_err(|source| self.not_saved(source))?;
        let place = self.journal.place();
        let before = self.text();
        step(&mut self.journal).map_err(|source| self.not_saved(source))?;
        if self.text() == before {
            return Ok(());
        }
        if let Err(refusal) = self.keep_version().and_then(|()| self.write()) {
            self.journal
                .retreat(place)
                .map_err(|source| self.not_saved(source))?;
            return Err(refusal);
        }
        Ok(())
    }

    fn keep_version(&mut self) -> Result<(), Refusal> {
        let kept = match self.versions.is_due() {
            true => job::read_input(&self.file, job::MOST_BYTES)
                .map_err(io::Error::from)
                .and_then(|bytes| self.versions.keep(&bytes)),
            false => Ok(()),
        };
        kept.map_err(|source| self.not_saved(source))
    }

    fn write(&mut self) -> Result<(), Refusal> {
        let text = self.text();
        pipeline::write_whole(&self.file, text.as_bytes(), There::IsReplaced)
            .map_err(|source| self.not_saved(source))?;
        self.on_disk = blake3::hash(text.as_bytes());
        Ok(())
    }

    /// A change must not make a sound job faulty; one that is faulty already may be mended in any order.
    fn refuse_spoiling(&self, after: &Value) -> Result<(), Refusal> {
        let parse = |value: &Value| job::parse(job::document_text(value).as_bytes(), &self.file);
        match parse(after) {
            Err(error) if parse(self.job()).is_ok() => {
                let faults = error.faults().iter().map(|f| places::fault(f, after));
                let text = faults.collect::<Vec<_>>().join("\n");
                Err(Refusal::Faulty { text })
            }
            _ => Ok(()),
        }
    }

    /// A change must not name an image that is not there; one that was named before may be missing for the time.
    fn refuse_missing(&self, after: &Value) -> Result<(), Refusal> {
        let before: Vec<PathBuf> = self.images_of(self.job()).map(|(_, path)| path).collect();
        let is_new = |path: &PathBuf| !before.contains(path) && !path.is_file();
        let missing = self.images_of(after).filter(|(_, path)| is_new(path));
        let texts = missing.map(|((index, key), path)| {
            let view = after["views"][index]["name"].as_str().unwrap_or_default();
            let named = job::key_of_view(view, &key);
            let fault = Fault {
                pointer: format!("/views/{index}/{key}"),
                kind: FaultKind::MissingImage { path, named },
            };
            places::fault(&fault, after)
        });
        let texts: Vec<String> = texts.collect();
        match texts.is_empty() {
            true => Ok(()),
            false => Err(Refusal::Faulty {
                text: texts.join("\n"),
            }),
        }
    }

    /// The images that the views of a job name, each with the view's number and its key in it.
    fn images_of<'j>(
        &self,
        job: &'j Value,
    ) -> impl Iterator<Item = ((usize, String), PathBuf)> + use<'j> {
        let folder = self.file.parent().unwrap_or(&self.file).to_owned();
        let views = job["views"].as_array().into_iter().flatten().enumerate();
        let keys = ["render/image", "render/shape", "reference/image"];
        views.flat_map(move |(index, view)| {
            let own = keys.map(str::to_owned).into_iter();
            let shots = view["reference"]["images"].as_array().map_or(0, Vec::len);
            let shots = (0..shots).map(|shot| format!("reference/images/{shot}"));
            let folder = folder.clone();
            own.chain(shots).filter_map(move |key| {
                let named = view.pointer(&format!("/{key}"))?.as_str()?;
                Some(((index, key), folder.join(named)))
            })
        })
    }

    /// Brings the journal to what lies on the disk.
    fn follow_file(&mut self, value: Value, bytes: &[u8]) -> Result<(), Refusal> {
        if *self.job() == value {
            return Ok(());
        }
        // Killed between journal and file: the step is not done, and can be done again.
        if let Some(step) = self.journal.to_undo() {
            let mut before = self.journal.document().clone();
            if step.difference.back(&mut before).is_ok() && before["job"] == value {
                let undone = self.journal.undo().map(|_| ());
                return undone.map_err(|source| self.not_saved(source));
            }
        }
        let kept = self.versions.keep(self.text().as_bytes());
        kept.and_then(|()| self.versions.keep(bytes))
            .map_err(|source| self.not_saved(source))?;
        let mut after = self.journal.document().clone();
        after["job"] = value;
        let Some(difference) = Difference::between(self.journal.document(), &after) else {
            return Ok(());
        };
        let label = "Changes of the file by another program".to_owned();
        let change = self.journal.change(Step { label, difference });
        change.map_err(|source| self.not_saved(source))
    }

    fn not_saved(&self, source: io::Error) -> Refusal {
        Refusal::NotSaved {
            file: self.file.clone(),
            source,
        }
    }
}

fn state_folder(file: &Path) -> PathBuf {
    let name = file.file_name().unwrap_or(file.as_os_str());
    file.with_file_name(FOLDER).join(name)
}

fn read(file: &Path) -> Result<(Vec<u8>, Value), Refusal> {
    let not_usable = |text: String| Refusal::NotUsable {
        file: file.to_owned(),
        text,
    };
    let bytes = job::read_input(file, job::MOST_BYTES).map_err(|error| {
        not_usable(match error {
            InputError::TooLong { .. } => "is larger than a job file can be".to_owned(),
            error => format!("cannot be read: {error}"),
        })
    })?;
    let text = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(&bytes);
    let value: Value = serde_json::from_slice(text)
        .map_err(|error| not_usable(format!("not JSON: {error}; mend it in an editor first")))?;
    if !value.is_object() {
        return Err(not_usable(
            "is JSON and no job, which begins with {".to_owned(),
        ));
    }
    Ok((bytes, value))
}

#[cfg(test)]
mod tests {
    use super::*;

    const JOB: &str = r#"{"title":"t","own":1,"scale":"1:32","views":[]}"#;

    fn opened(text: &str) -> (tempfile::TempDir, Document) {
        let folder = tempfile::tempdir().expect("a folder");
        let file = folder.path().join("job.json");
        fs::write(&file, text).expect("written");
        let document = Document::open(&file).expect("opened");
        (folder, document)
    }

    fn set(at: &str, value: Value) -> Edit {
        Edit::Set {
            at: at.to_owned(),
            value,
        }
    }

    fn on_disk(document: &Document) -> Value {
        serde_json::from_slice(&fs::read(document.file()).expect("there")).expect("JSON")
    }

    fn retitle(document: &mut Document, title: &str) -> Result<(), Refusal> {
        let base = document.revision();
        document.change(
            &base,
            "Title",
            &[set("/job/title", json!(title))],
            &|_, _| (),
        )
    }

    #[test]
    fn a_change_is_on_the_disk_and_what_it_does_not_touch_survives() {
        let (_folder, mut document) = opened(JOB);
        retitle(&mut document, "new").expect("made");
        assert_eq!(
            on_disk(&document).to_string(),
            r#"{"title":"new","own":1,"scale":"1:32","views":[]}"#
        );
    }

    #[test]
    fn steps_are_undone_after_opening_again() {
        let (_folder, mut document) = opened(JOB);
        for title in ["a", "b", "c"] {
            retitle(&mut document, title).expect("made");
        }
        let mut document = Document::open(document.file()).expect("opened again");
        for title in ["b", "a", "t"] {
            document.undo(&document.revision()).expect("undone");
            assert_eq!(on_disk(&document)["title"], title);
        }
        document.redo(&document.revision()).expect("redone");
        assert_eq!(on_disk(&document)["title"], "a");
    }

    #[test]
    fn an_editor_is_not_overwritten_and_both_states_are_kept() {
        for keep in [Keep::File, Keep::Page] {
            let (_folder, mut document) = opened(JOB);
            retitle(&mut document, "page").expect("made");
            fs::write(document.file(), JOB.replace("\"t\"", "\"editor\"")).expect("written");
            let refusal = retitle(&mut document, "again").expect_err("noticed");
            assert_eq!(refusal.code(), "changed-outside");
            assert_eq!(on_disk(&document)["title"], "editor");
            document.decide(keep).expect("decided");
            let [stays, other] = match keep {
                Keep::File => ["editor", "page"],
                Keep::Page => ["page", "editor"],
            };
            assert_eq!(on_disk(&document)["title"], stays);
            assert_eq!(document.job()["title"], stays);
            let folder = state_folder(document.file()).join("versions");
            let versions: Vec<String> = fs::read_dir(folder)
                .expect("kept")
                .map(|e| fs::read_to_string(e.expect("readable").path()).expect("text"))
                .collect();
            assert!(versions.iter().any(|v| v.contains(other)), "{versions:?}");
        }
    }

    #[test]
    fn a_file_changed_between_two_runs_can_be_undone() {
        let (_folder, mut document) = opened(JOB);
        retitle(&mut document, "page").expect("made");
        fs::write(document.file(), JOB.replace("\"t\"", "\"editor\"")).expect("written");
        let mut document = Document::open(document.file()).expect("opened again");
        assert_eq!(document.job()["title"], "editor");
        document.undo(&document.revision()).expect("undone");
        assert_eq!(on_disk(&document)["title"], "page");
    }

    #[test]
    fn a_step_that_was_cut_off_before_the_file_can_be_done_again() {
        let (_folder, mut document) = opened(JOB);
        retitle(&mut document, "page").expect("made");
        fs::write(document.file(), JOB).expect("as if the rename had not happened");
        let mut document = Document::open(document.file()).expect("opened again");
        assert_eq!(document.job()["title"], "t");
        document.redo(&document.revision()).expect("redone");
        assert_eq!(on_disk(&document)["title"], "page");
    }

    #[test]
    fn an_older_page_and_a_second_program_change_nothing() {
        let (_folder, mut document) = opened(JOB);
        let base = document.revision();
        retitle(&mut document, "first").expect("made");
        let edit = [set("/job/title", json!("second"))];
        let refusal = document
            .change(&base, "Title", &edit, &|_, _| ())
            .expect_err("stale");
        assert_eq!(refusal.code(), "stale");
        let mut other = Document::open(document.file()).expect("opened");
        retitle(&mut other, "other").expect("made");
        let refusal = retitle(&mut document, "mine").expect_err("noticed");
        assert_eq!(refusal.code(), "two-programs");
        assert_eq!(on_disk(&document)["title"], "other");
    }

    #[test]
    fn a_change_that_would_spoil_a_sound_job_is_refused() {
        let sound = include_str!("../../../fixtures/demo/pump.json");
        let (_folder, mut document) = opened(sound);
        let edit = [set("/job/scale", json!("one to many"))];
        let base = document.revision();
        let refusal = document
            .change(&base, "Scale", &edit, &|_, _| ())
            .expect_err("refused");
        assert!(refusal.to_string().starts_with("scale: "), "{refusal}");
        assert_eq!(fs::read_to_string(document.file()).expect("there"), sound);
    }

    #[test]
    fn an_image_that_is_not_there_is_not_taken_into_the_job() {
        // Its own image is missing already, which is no reason to refuse what does not speak of it.
        let job = r#"{"title":"t","scale":"1:32","views":[{"name":"side","reference":{"image":"side.jpg"}}]}"#;
        let (folder, mut document) = opened(job);
        let add = |image: &str| {
            let view = json!({ "name": "front", "render": { "image": image }, "reference": { "image": "side.jpg" } });
            [set("/job/views/-", view)]
        };
        let base = document.revision();
        let refusal = document
            .change(&base, "View", &add("front.png"), &|_, _| ())
            .expect_err("refused");
        let told = refusal.to_string();
        assert!(
            told.starts_with("view \"front\", render, image: there is no file ")
                && told.contains(
                    "front.png, which \"render/image\" of the view \"front\" names; put it there"
                ),
            "{told}"
        );
        assert_eq!(fs::read_to_string(document.file()).expect("there"), job);
        assert_eq!(document.revision(), base);
        fs::write(folder.path().join("front.png"), "now it is there").expect("written");
        document
            .change(&base, "View", &add("front.png"), &|_, _| ())
            .expect("taken");
        assert_eq!(on_disk(&document)["views"][1]["name"], "front");
    }

    #[cfg(unix)]
    #[test]
    fn where_the_disk_takes_nothing_the_change_is_refused_and_can_be_made_later() {
        use std::os::unix::fs::PermissionsExt;
        let (folder, mut document) = opened(JOB);
        // A folder in the file's place: the rename fails for every user, root included.
        fs::remove_file(document.file()).expect("removed");
        fs::create_dir(document.file()).expect("made");
        assert!(retitle(&mut document, "lost?").is_err());
        assert_eq!(document.job()["title"], "t");
        fs::remove_dir(document.file()).expect("removed");
        fs::write(document.file(), JOB).expect("written");
        retitle(&mut document, "kept").expect("made");
        assert_eq!(on_disk(&document)["title"], "kept");
        let mode = fs::metadata(document.file()).expect("there").permissions();
        assert_eq!(
            mode.mode() & 0o777,
            fs::metadata(folder.path().join("job.json"))
                .expect("there")
                .permissions()
                .mode()
                & 0o777
        );
    }
}
