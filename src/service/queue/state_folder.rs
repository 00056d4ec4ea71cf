//! The folder of the service's state: marked as its own, and used by one server at a time.
use super::ServeError;
use std::{
    fs::{self, File, OpenOptions, TryLockError},
    io::{self, Read, Seek, Write},
    path::{Path, PathBuf},
};

/// The file by which the folder is known.
const MARK: &str = "tickstrip-service.json";
/// What is in it.
const TEXT: &str = "{\"format\":\"tickstrip-service\",\"format_version\":1}\n";

/// The folder while a server uses it: the operating system lets go of it when the server is killed.
#[derive(Debug)]
pub(super) struct StateFolder {
    path: PathBuf,
    _mark: File,
}

impl StateFolder {
    /// Opens the folder, or makes it.
    ///
    /// # Errors
    /// Where it holds something else, or another server uses it.
    pub fn open(path: &Path) -> Result<Self, ServeError> {
        let unusable = |source: io::Error| ServeError::Folder {
            path: path.to_owned(),
            source,
        };
        fs::create_dir_all(path).map_err(unusable)?;
        let real = fs::canonicalize(path).map_err(unusable)?;
        let foreign = || ServeError::ForeignState {
            path: path.to_owned(),
        };
        let mark = real.join(MARK);
        match fs::symlink_metadata(&mark) {
            Ok(data) if data.is_file() => {}
            Ok(_) => return Err(foreign()),
            Err(_) => {
                if fs::read_dir(&real).map_err(unusable)?.next().is_some() {
                    return Err(foreign());
                }
            }
        }
        let mut options = OpenOptions::new();
        let options = options.read(true).write(true).create(true).truncate(false);
        let mut mark = options.open(&mark).map_err(unusable)?;
        mark.try_lock().map_err(|error| match error {
            TryLockError::WouldBlock => ServeError::StateInUse {
                path: path.to_owned(),
            },
            TryLockError::Error(source) => ServeError::NoLock {
                path: path.to_owned(),
                source,
            },
        })?;
        if !is_marked(&mut mark).map_err(unusable)? {
            return Err(foreign());
        }
        Ok(Self {
            path: real,
            _mark: mark,
        })
    }

    /// Where it lies, without links.
    pub fn path(&self) -> &Path {
        &self.path
    }
}

/// Whether the mark is ours; one that was being written when the server was killed is written again.
fn is_marked(mark: &mut File) -> io::Result<bool> {
    let mut found = Vec::new();
    // Longer ones are somebody else's.
    let most = TEXT.len() as u64 + 1;
    Read::by_ref(mark).take(most).read_to_end(&mut found)?;
    if found == TEXT.as_bytes() {
        return Ok(true);
    }
    if !TEXT.as_bytes().starts_with(&found) {
        return Ok(false);
    }
    mark.rewind()?;
    mark.write_all(TEXT.as_bytes())?;
    mark.sync_all()?;
    Ok(true)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn refusal(path: &Path) -> String {
        StateFolder::open(path).expect_err("refused").to_string()
    }

    #[test]
    fn a_folder_with_something_else_in_it_is_refused() {
        let folder = tempfile::tempdir().expect("a folder");
        fs::write(folder.path().join("notes.txt"), "mine").expect("written");
        let text = refusal(folder.path());
        assert!(text.contains("--state") && text.contains(MARK), "{text}");
        assert_eq!(fs::read_dir(folder.path()).expect("there").count(), 1);
        fs::remove_file(folder.path().join("notes.txt")).expect("removed");
        fs::write(folder.path().join(MARK), "mine").expect("written");
        refusal(folder.path());
        let mark = fs::read_to_string(folder.path().join(MARK));
        assert_eq!(mark.expect("there"), "mine");
    }

    #[test]
    fn one_server_uses_it_at_a_time_and_one_that_was_killed_leaves_no_lock() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("deep/state");
        let state = StateFolder::open(&path).expect("opened");
        let text = refusal(&path);
        assert!(text.contains("another server"), "{text}");
        assert!(text.contains("deep/state"), "{text}");
        drop(state);
        // Killed while the mark was written.
        for length in [0, 10] {
            fs::write(path.join(MARK), &TEXT[..length]).expect("written");
            StateFolder::open(&path).expect("opened");
            assert_eq!(fs::read_to_string(path.join(MARK)).expect("there"), TEXT);
        }
    }
}
