//! The jobs of the service on the disk: whole or not there, also after the program was killed.
use crate::{job::read_input, service::write_beside};
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value};
use std::{
    fs, io,
    path::{Path, PathBuf},
};

/// What has become of a job.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub(super) enum State {
    /// It waits for its turn.
    Queued,
    /// It is being compared.
    Running,
    /// It was compared; some views may have failed.
    Finished,
    /// No view could be compared, or the time was over.
    Failed,
    /// It was cancelled.
    Cancelled,
    /// The service ended before the job did.
    Interrupted,
}

impl State {
    /// Whether nothing more will happen to it.
    pub fn is_over(self) -> bool {
        !matches!(self, Self::Queued | Self::Running)
    }
}

/// Why a job has no result.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Trouble {
    /// Stable.
    pub code: String,
    /// For people.
    pub text: String,
}

/// A job as it is answered and stored.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Status {
    /// Its name in addresses.
    pub id: String,
    pub state: State,
    /// The job's title.
    pub title: String,
    /// The job file under the served folder; null for one that was posted with its images.
    pub path: Option<String>,
    /// When it was taken in, UTC, RFC 3339.
    pub submitted: String,
    /// When it was over.
    pub ended: Option<String>,
    /// View to the stage it is in.
    pub progress: Map<String, Value>,
    /// "within", "undecided", "out"; null where there is none.
    pub verdict: Option<String>,
    pub error: Option<Trouble>,
    /// Files of the result, relative.
    pub files: Vec<String>,
}

/// The folder of the service's jobs.
#[derive(Clone, Debug)]
pub(super) struct Store {
    jobs: PathBuf,
}

/// A job that is being taken in; gone when it is dropped.
#[derive(Debug)]
pub(super) struct Incoming {
    folder: tempfile::TempDir,
}

/// Largest state of a job that is read, bytes: some hundred a file of the result; a judgement.
const MOST_STATUS: u64 = 16 << 20;
/// Prefix of what is not whole yet.
const INCOMING: &str = ".tickstrip-";

impl Store {
    /// Opens the folder, removes what was half-written, and reads the jobs that are there. Those that had not ended
    /// are interrupted now. What is no job, or cannot be read as one, is left alone.
    pub fn open(folder: &Path, now: &str) -> io::Result<(Self, Vec<Status>)> {
        let jobs = folder.join("jobs");
        fs::create_dir_all(&jobs)?;
        let store = Self {
            jobs: fs::canonicalize(jobs)?,
        };
        let mut found = Vec::new();
        for entry in fs::read_dir(&store.jobs)? {
            let path = entry?.path();
            if is_half_written(&path) {
                remove(&path)?;
            } else {
                found.extend(store.recover(&path, now)?);
            }
        }
        found.sort_by(|a, b| (&a.submitted, &a.id).cmp(&(&b.submitted, &b.id)));
        Ok((store, found))
    }

    /// The job in a folder; `None` where none can be read there.
    fn recover(&self, path: &Path, now: &str) -> io::Result<Option<Status>> {
        let bytes = read_input(&path.join("status.json"), MOST_STATUS).ok();
        let status = bytes.and_then(|bytes| serde_json::from_slice::<Status>(&bytes).ok());
        let Some(mut status) = status else {
            return Ok(None);
        };
        if path.file_name().and_then(|name| name.to_str()) != Some(status.id.as_str()) {
            return Ok(None);
        }
        for entry in fs::read_dir(path)? {
            let inner = entry?.path();
            if is_half_written(&inner) {
                remove(&inner)?;
            }
        }
        if !status.state.is_over() {
            status.interrupt(now);
            self.save(&status)?;
        }
        Ok(Some(status))
    }

    /// Room for a job to be taken in.
    pub fn incoming(&self) -> io::Result<Incoming> {
        let folder = tempfile::Builder::new()
            .prefix(INCOMING)
            .tempdir_in(&self.jobs)?;
        fs::create_dir(folder.path().join("input"))?;
        Ok(Incoming { folder })
    }

    /// Makes an incoming job one of the service's.
    pub fn admit(&self, incoming: Incoming, status: &Status) -> io::Result<()> {
        write_beside(&incoming.folder.path().join("status.json"), &text(status)?)?;
        fs::rename(incoming.folder.path(), self.folder(&status.id))?;
        // The folder has moved: there is nothing left to clean up.
        let _ = incoming.folder.keep();
        Ok(())
    }

    /// Writes a job's state.
    pub fn save(&self, status: &Status) -> io::Result<()> {
        write_beside(&self.folder(&status.id).join("status.json"), &text(status)?)
    }

    /// Removes a job with its results.
    pub fn remove(&self, id: &str) -> io::Result<()> {
        let folder = self.folder(id);
        // Renamed first: what is killed in between is no job any more.
        let gone = self.jobs.join(format!("{INCOMING}gone-{id}"));
        fs::rename(folder, &gone)?;
        fs::remove_dir_all(gone)
    }

    /// The folder with the posted files of a job.
    pub fn input(&self, id: &str) -> PathBuf {
        self.folder(id).join("input")
    }

    /// The folder with the results of a job.
    pub fn results(&self, id: &str) -> PathBuf {
        self.folder(id).join("results")
    }

    fn folder(&self, id: &str) -> PathBuf {
        self.jobs.join(id)
    }
}

impl Incoming {
    /// The folder for the posted files.
    pub fn input(&self) -> PathBuf {
        self.folder.path().join("input")
    }
}

impl Status {
    /// Records that the service ended before the job did.
    pub fn interrupt(&mut self, now: &str) {
        self.end(
            State::Interrupted,
            now,
            Some(Trouble {
                code: "interrupted".to_owned(),
                text: "the service ended before this job did; post it again".to_owned(),
            }),
        );
    }

    /// Records how the job ended.
    pub fn end(&mut self, state: State, now: &str, error: Option<Trouble>) {
        self.state = state;
        self.ended = Some(now.to_owned());
        self.error = error;
    }
}

fn text(status: &Status) -> io::Result<Vec<u8>> {
    serde_json::to_vec_pretty(status).map_err(io::Error::other)
}

/// Whether something was being written, or removed, when the service ended.
fn is_half_written(path: &Path) -> bool {
    let name = path.file_name().unwrap_or_default().to_string_lossy();
    name.starts_with(INCOMING)
}

fn remove(path: &Path) -> io::Result<()> {
    match path.is_dir() {
        true => fs::remove_dir_all(path),
        false => fs::remove_file(path),
    }
}

/// All files below a folder, relative, with `/` between folders, in order.
pub(super) fn files_below(folder: &Path) -> Vec<String> {
    fn walk(root: &Path, folder: &Path, found: &mut Vec<String>) {
        for entry in fs::read_dir(folder).into_iter().flatten().flatten() {
            let path = entry.path();
            if path.is_dir() {
                walk(root, &path, found);
            } else if let Ok(relative) = path.strip_prefix(root) {
                let parts: Vec<_> = relative.iter().map(|part| part.to_string_lossy()).collect();
                found.push(parts.join("/"));
            }
        }
    }
    let mut found = Vec::new();
    walk(folder, folder, &mut found);
    found.sort();
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    fn status(id: &str, state: State) -> Status {
        Status {
            id: id.to_owned(),
            state,
            title: "t".to_owned(),
            path: None,
            submitted: "2031-04-05T06:07:08Z".to_owned(),
            ended: None,
            progress: Map::new(),
            verdict: None,
            error: None,
            files: Vec::new(),
        }
    }

    #[test]
    fn after_a_kill_whole_jobs_are_there_and_half_ones_are_gone() {
        let folder = tempfile::tempdir().expect("a folder");
        let (store, none) = Store::open(folder.path(), "now").expect("opened");
        assert!(none.is_empty());
        for (id, state) in [
            ("aa", State::Finished),
            ("bb", State::Running),
            ("cc", State::Queued),
        ] {
            store
                .admit(store.incoming().expect("room"), &status(id, state))
                .expect("admitted");
        }
        // Killed while a job came in, while results were being written, and while one was removed.
        let half = store.incoming().expect("room").folder.keep();
        fs::write(half.join("input/a.png"), "half").expect("written");
        fs::create_dir(store.folder("aa").join(".tickstrip-x")).expect("made");
        fs::create_dir(folder.path().join("jobs/.tickstrip-gone-dd")).expect("made");
        let (_, found) = Store::open(folder.path(), "later").expect("opened again");
        let states: Vec<_> = found.iter().map(|s| (s.id.as_str(), s.state)).collect();
        assert_eq!(
            states,
            [
                ("aa", State::Finished),
                ("bb", State::Interrupted),
                ("cc", State::Interrupted)
            ]
        );
        assert_eq!(
            found[1].error.as_ref().map(|e| e.code.as_str()),
            Some("interrupted")
        );
        assert!(!half.exists() && !folder.path().join("jobs/.tickstrip-gone-dd").exists());
        assert_eq!(files_below(&store.folder("aa")), ["status.json"]);
    }

    #[test]
    fn what_cannot_be_read_as_a_job_is_left_alone() {
        let folder = tempfile::tempdir().expect("a folder");
        let (store, _) = Store::open(folder.path(), "now").expect("opened");
        for id in ["aa", "bb"] {
            store
                .admit(
                    store.incoming().expect("room"),
                    &status(id, State::Finished),
                )
                .expect("admitted");
        }
        // The state of one cannot be read, that of the other is of another version; the third is somebody else's.
        let unreadable = store.folder("aa").join("status.json");
        fs::remove_file(&unreadable).expect("there");
        fs::create_dir(&unreadable).expect("made");
        fs::write(store.folder("bb").join("status.json"), "{\"state\": 7}").expect("written");
        fs::create_dir(store.folder("photos")).expect("made");
        let (_, found) = Store::open(folder.path(), "later").expect("opened again");
        assert!(found.is_empty());
        for kept in ["aa/input", "bb/input", "photos"] {
            assert!(store.folder(kept).exists(), "{kept}");
        }
    }

    #[test]
    fn a_removed_job_is_gone() {
        let folder = tempfile::tempdir().expect("a folder");
        let (store, _) = Store::open(folder.path(), "now").expect("opened");
        store
            .admit(
                store.incoming().expect("room"),
                &status("aa", State::Finished),
            )
            .expect("admitted");
        store.remove("aa").expect("removed");
        assert!(
            Store::open(folder.path(), "now")
                .expect("opened")
                .1
                .is_empty()
        );
    }
}
