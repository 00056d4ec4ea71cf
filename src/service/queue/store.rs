//! The jobs of the service on the disk: whole or not there, also after the program was killed. Only what the service can
//! be proved to have made is ever removed; all else stays where it is and is told of.
use super::{ServeError, state_folder::StateFolder};
use crate::{
    job::read_input,
    pipeline::{self, OwnFolder, There},
    service::shell::{kind_of, random_token},
};
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value};
use std::{
    fs::{self, File},
    io,
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
#[derive(Debug)]
pub(super) struct Store {
    state: StateFolder,
    jobs: PathBuf,
}

/// A job that is being taken in; gone when it is dropped.
#[derive(Debug)]
pub(super) struct Incoming {
    id: String,
    /// Taken when the job is one of the service's.
    folder: Option<OwnFolder>,
}

/// Largest state of a job that is read, bytes: some hundred a file of the result; a judgement.
const MOST_STATUS: u64 = 16 << 20;
/// Something among the jobs that is left as it is.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct Skipped {
    pub path: PathBuf,
    pub reason: String,
}

/// What the name of an entry says that it is.
#[derive(Debug, PartialEq, Eq)]
enum Named<'a> {
    Job(&'a str),
    /// It was being taken in or removed.
    Unfinished(&'a str),
    Foreign,
}

/// Begin of the names of what is not whole yet.
const INCOMING: &str = ".tickstrip-";
/// Begin of the names of what is being removed.
const GONE: &str = ".tickstrip-gone-";
const STATUS: &str = "status.json";
const INPUT: &str = "input";
const RESULTS: &str = "results";
/// Where a removed job's folder goes that holds more than the service put in.
const SET_ASIDE: &str = "set-aside";

impl Store {
    /// Opens the folder, removes what was half-written, and reads the jobs that are there. Those that had not ended
    /// are interrupted now. What cannot be read, or was not made by the service, is left as it is.
    pub fn open(folder: &Path, now: &str) -> Result<(Self, Vec<Status>, Vec<Skipped>), ServeError> {
        let unusable = |source| ServeError::Folder {
            path: folder.to_owned(),
            source,
        };
        let state = StateFolder::open(folder)?;
        let jobs = state.path().join("jobs");
        fs::create_dir_all(&jobs).map_err(unusable)?;
        let store = Self { state, jobs };
        let entries = fs::read_dir(&store.jobs).and_then(|list| list.collect::<io::Result<_>>());
        let mut entries: Vec<fs::DirEntry> = entries.map_err(unusable)?;
        entries.sort_by_key(fs::DirEntry::path);
        let (mut found, mut skipped) = (Vec::new(), Vec::new());
        for path in entries.iter().map(fs::DirEntry::path) {
            match store.take_up(&path, now) {
                Ok(status) => found.extend(status),
                Err(reason) => skipped.push(Skipped { path, reason }),
            }
        }
        found.sort_by(|a, b| (&a.submitted, &a.id).cmp(&(&b.submitted, &b.id)));
        Ok((store, found, skipped))
    }

    /// The job in a folder, if it is one; or why the entry is left as it is.
    fn take_up(&self, path: &Path, now: &str) -> Result<Option<Status>, String> {
        let name = path.file_name().unwrap_or_default().to_string_lossy();
        match named(&name) {
            Named::Job(id) => self.recover(path, id, now).map(Some),
            Named::Unfinished(id) => {
                let gone = self
                    .take_away(path, id)
                    .map_err(|error| error.to_string())?;
                match gone {
                    Removed::Whole => Ok(None),
                    Removed::SetAside(to) => Err(format!(
                        "it held more than the service put in, and was moved to {}",
                        to.display()
                    )),
                    Removed::Nothing => Err(NOT_OURS.to_owned()),
                }
            }
            Named::Foreign => Err(NOT_OURS.to_owned()),
        }
    }

    fn recover(&self, path: &Path, id: &str, now: &str) -> Result<Status, String> {
        let claimed = match path.join(STATUS).exists() {
            true => OwnFolder::claim(path, &purpose(id)).map_err(|error| error.to_string())?,
            false => return Err(format!("it has no {STATUS}")),
        };
        // It is only proved by it that the folder is ours.
        drop(claimed.ok_or(NOT_OURS)?);
        let unreadable =
            |error: &dyn std::fmt::Display| format!("{STATUS} cannot be read: {error}");
        let bytes = read_input(&path.join(STATUS), MOST_STATUS).map_err(|e| unreadable(&e))?;
        let mut status: Status = serde_json::from_slice(&bytes).map_err(|e| unreadable(&e))?;
        if status.id != id {
            return Err(format!("{STATUS} is that of another job"));
        }
        self.tidy(path).map_err(|error| error.to_string())?;
        if !status.state.is_over() {
            status.interrupt(now);
            self.save(&status).map_err(|error| error.to_string())?;
        }
        Ok(status)
    }

    /// Takes away what a killed server was writing in a job's folder.
    fn tidy(&self, folder: &Path) -> io::Result<()> {
        pipeline::clear_left(&folder.join(STATUS));
        pipeline::clear_left_runs(folder)
    }

    /// Room for a job to be taken in.
    pub fn incoming(&self) -> io::Result<Incoming> {
        let id = random_token();
        let prefix = format!("{INCOMING}{id}-");
        let folder = OwnFolder::make(&self.jobs, &prefix, &purpose(&id))?;
        folder.make_folder(INPUT)?;
        Ok(Incoming {
            id,
            folder: Some(folder),
        })
    }

    /// Makes an incoming job one of the service's.
    pub fn admit(&self, mut incoming: Incoming, status: &Status) -> io::Result<()> {
        let folder = incoming.own()?;
        folder.note(STATUS)?;
        let path = folder.path().join(STATUS);
        pipeline::write_whole(&path, &text(status)?, There::IsReplaced)?;
        fs::rename(folder.path(), self.folder(&status.id))?;
        // The folder has moved: there is nothing left to take away.
        drop(incoming.folder.take());
        // The rename is on the disk only when the folder is; where folders cannot be opened the system sees to it.
        if let Ok(jobs) = File::open(&self.jobs) {
            let _ = jobs.sync_all();
        }
        Ok(())
    }

    /// Writes a job's state.
    pub fn save(&self, status: &Status) -> io::Result<()> {
        let path = self.folder(&status.id).join(STATUS);
        pipeline::write_whole(&path, &text(status)?, There::IsReplaced)
    }

    /// Removes a job with its results. Where its folder holds something else, it is set aside and its new path returned.
    pub fn remove(&self, id: &str) -> io::Result<Option<PathBuf>> {
        // Renamed first: what is killed in between is no job any more.
        let gone = self.jobs.join(format!("{GONE}{id}"));
        fs::rename(self.folder(id), &gone)?;
        Ok(match self.take_away(&gone, id) {
            Ok(Removed::Whole) => None,
            Ok(Removed::SetAside(path)) => Some(path),
            // The next start tries again, and tells of it.
            Ok(Removed::Nothing) | Err(_) => Some(gone),
        })
    }

    /// Removes from a job's folder what the service put in, and sets it aside where something else is in it.
    fn take_away(&self, path: &Path, id: &str) -> io::Result<Removed> {
        let Some(folder) = OwnFolder::claim(path, &purpose(id))? else {
            return Ok(match path.exists() {
                true => Removed::Nothing,
                false => Removed::Whole,
            });
        };
        self.tidy(path)?;
        pipeline::remove_results(&path.join(RESULTS))?;
        if folder.take_away()? {
            return Ok(Removed::Whole);
        }
        let aside = self.state.path().join(SET_ASIDE);
        fs::create_dir_all(&aside)?;
        let to = pipeline::free_name(&aside.join(id));
        fs::rename(path, &to)?;
        Ok(Removed::SetAside(to))
    }

    /// The folder with the posted files of a job.
    pub fn input(&self, id: &str) -> PathBuf {
        self.folder(id).join(INPUT)
    }

    /// The folder with the results of a job.
    pub fn results(&self, id: &str) -> PathBuf {
        self.folder(id).join(RESULTS)
    }

    fn folder(&self, id: &str) -> PathBuf {
        self.jobs.join(id)
    }
}

/// What became of a folder that was to be removed.
enum Removed {
    Whole,
    SetAside(PathBuf),
    /// It is in use, or nothing proves that the service made it.
    Nothing,
}

const NOT_OURS: &str = "nothing shows that the service made it";

/// What a job's folder is for.
fn purpose(id: &str) -> String {
    format!("service-job {id}")
}

fn named(name: &str) -> Named<'_> {
    let is_id = |text: &str| {
        text.len() == 32 && text.bytes().all(|b| matches!(b, b'0'..=b'9' | b'a'..=b'f'))
    };
    if is_id(name) {
        return Named::Job(name);
    }
    let incoming = (name.strip_prefix(INCOMING)).and_then(|rest| Some(rest.split_once('-')?.0));
    match name.strip_prefix(GONE).or(incoming) {
        Some(id) if is_id(id) => Named::Unfinished(id),
        _ => Named::Foreign,
    }
}

impl Incoming {
    /// The id of the job.
    pub fn id(&self) -> &str {
        &self.id
    }

    /// The folder for the posted files.
    pub fn input(&self) -> PathBuf {
        let folder = self.folder.as_ref().map(|folder| folder.path().join(INPUT));
        folder.unwrap_or_default()
    }

    /// Makes a posted file, which must not be there yet; `relative` is made of plain names.
    pub fn create(&self, relative: &Path) -> io::Result<File> {
        let names = relative.iter().map(|name| name.to_string_lossy());
        let names: Vec<_> = std::iter::once(INPUT.into()).chain(names).collect();
        self.own()?.create(&names.join("/"))
    }

    fn own(&self) -> io::Result<&OwnFolder> {
        let taken_in = || io::Error::from(io::ErrorKind::NotFound);
        self.folder.as_ref().ok_or_else(taken_in)
    }
}

impl Drop for Incoming {
    fn drop(&mut self) {
        if let Some(folder) = self.folder.take() {
            // What cannot be removed now is removed at the next start.
            let _ = folder.take_away();
        }
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

/// All files below a folder, relative, with `/` between folders, in order.
pub(super) fn files_below(folder: &Path) -> Vec<String> {
    fn walk(root: &Path, folder: &Path, found: &mut Vec<String>) {
        for entry in fs::read_dir(folder).into_iter().flatten().flatten() {
            let path = entry.path();
            if path.is_dir() {
                walk(root, &path, found);
            } else if let Ok(relative) = path.strip_prefix(root) {
                let parts: Vec<_> = relative.iter().map(|part| part.to_string_lossy()).collect();
                let extension = path.extension().and_then(|extension| extension.to_str());
                // What is of use to the program alone is not handed out.
                if extension.and_then(kind_of).is_some() {
                    found.push(parts.join("/"));
                }
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
    use std::io::Write;

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

    fn opened(folder: &Path) -> (Store, Vec<Status>, Vec<Skipped>) {
        Store::open(folder, "now").expect("opened")
    }

    /// A job with a posted file.
    fn admitted(store: &Store, state: State) -> String {
        let incoming = store.incoming().expect("room");
        let id = incoming.id().to_owned();
        let mut file = incoming.create(Path::new("deep/a.png")).expect("made");
        file.write_all(b"posted").expect("written");
        store
            .admit(incoming, &status(&id, state))
            .expect("admitted");
        id
    }

    fn names(folder: &Path) -> Vec<String> {
        let entries = fs::read_dir(folder).expect("readable");
        let mut names: Vec<String> = entries
            .map(|e| e.expect("readable").file_name().into_string())
            .collect::<Result<_, _>>()
            .expect("UTF-8");
        names.sort();
        names
    }

    #[test]
    fn after_a_kill_whole_jobs_are_there_and_half_ones_are_gone() {
        let folder = tempfile::tempdir().expect("a folder");
        let (store, none, _) = opened(folder.path());
        assert!(none.is_empty());
        let states = [State::Finished, State::Running, State::Queued];
        let mut ids = states.map(|state| (admitted(&store, state), state));
        // Killed while a job came in, while its state was being written, and while one was removed.
        let mut half = store.incoming().expect("room");
        half.create(Path::new("a.png")).expect("made");
        drop(half.folder.take());
        let gone = admitted(&store, State::Finished);
        let jobs = folder.path().join("jobs");
        fs::rename(jobs.join(&gone), jobs.join(format!("{GONE}{gone}"))).expect("moved");
        fs::create_dir(jobs.join(format!("{INCOMING}{gone}-aB3xYz"))).expect("made");
        drop(store);
        let (store, mut found, skipped) = opened(folder.path());
        assert_eq!(skipped, []);
        found.sort_by(|a, b| a.id.cmp(&b.id));
        ids.sort_by(|a, b| a.0.cmp(&b.0));
        for (status, (id, before)) in found.iter().zip(&ids) {
            assert_eq!(&status.id, id);
            let after = match before {
                State::Finished => State::Finished,
                _ => State::Interrupted,
            };
            assert_eq!(status.state, after);
            let code = status.error.as_ref().map(|e| e.code.as_str());
            assert_eq!(code, (after == State::Interrupted).then_some("interrupted"));
        }
        assert_eq!(names(&jobs), ids.each_ref().map(|(id, _)| id.clone()));
        assert_eq!(names(&store.folder(&ids[0].0)).len(), 3);
    }

    #[test]
    fn what_the_service_did_not_make_or_cannot_read_stays_and_is_told_of() {
        let folder = tempfile::tempdir().expect("a folder");
        let (store, ..) = opened(folder.path());
        let [broken, sound] = [(); 2].map(|()| admitted(&store, State::Finished));
        let jobs = store.jobs.clone();
        fs::create_dir(store.results(&broken)).expect("made");
        fs::write(store.results(&broken).join("report.json"), "good").expect("written");
        fs::write(store.folder(&broken).join(STATUS), "{").expect("written");
        // Files of the user's, one with a status that looks like one of ours.
        let like_ours = "0123456789abcdef0123456789abcdef";
        for name in ["mine", like_ours, ".tickstrip-gone-x", ".tickstrip-aB3xYz"] {
            fs::create_dir(jobs.join(name)).expect("made");
            fs::write(jobs.join(name).join("a.txt"), "mine").expect("written");
        }
        let text = text(&status(like_ours, State::Finished)).expect("JSON");
        fs::write(jobs.join(like_ours).join(STATUS), text).expect("written");
        fs::write(jobs.join("notes.txt"), "mine").expect("written");
        let before = names(&jobs);
        drop(store);
        let (store, found, skipped) = opened(folder.path());
        let ids: Vec<_> = found.iter().map(|status| &status.id).collect();
        assert_eq!(ids, [&sound]);
        assert_eq!((skipped.len(), names(&jobs)), (6, before));
        let told = skipped.iter().find(|s| s.path == store.folder(&broken));
        assert!(
            told.expect("told")
                .reason
                .contains("status.json cannot be read")
        );
        let report = fs::read_to_string(store.results(&broken).join("report.json"));
        assert_eq!(report.expect("there"), "good");
        assert_eq!(names(&jobs.join("mine")), ["a.txt"]);
    }

    #[test]
    fn a_removed_job_is_gone_and_what_was_put_into_its_folder_is_set_aside() {
        let folder = tempfile::tempdir().expect("a folder");
        let (store, ..) = opened(folder.path());
        let [plain, noted] = [(); 2].map(|()| admitted(&store, State::Finished));
        assert_eq!(store.remove(&plain).expect("removed"), None);
        fs::write(store.input(&noted).join("notes.txt"), "mine").expect("written");
        let aside = store.remove(&noted).expect("removed").expect("set aside");
        assert_eq!(names(&aside.join(INPUT)), ["notes.txt"]);
        assert_eq!(names(&store.jobs), [""; 0]);
        drop(store);
        let (_, found, skipped) = opened(folder.path());
        assert!(found.is_empty() && skipped.is_empty());
    }

    #[test]
    fn names_tell_what_an_entry_is() {
        let id = "0123456789abcdef0123456789abcdef";
        assert_eq!(named(id), Named::Job(id));
        let [incoming, gone] = [format!("{INCOMING}{id}-x"), format!("{GONE}{id}")];
        assert_eq!(named(&incoming), Named::Unfinished(id));
        assert_eq!(named(&gone), Named::Unfinished(id));
        for name in [
            "",
            "jobs",
            ".tickstrip-",
            ".tickstrip-gone-",
            &id[1..],
            ".tickstrip-x-y",
        ] {
            assert_eq!(named(name), Named::Foreign, "{name}");
        }
    }
}
