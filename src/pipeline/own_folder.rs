//! A folder that the program makes for itself. It lists each file before it makes it, so that these can be taken away
//! again, and nothing else; while it is in use the list is locked, and a program that was killed leaves no lock.
use serde::{Deserialize, Serialize};
use std::{
    collections::BTreeSet,
    fs::{self, File, OpenOptions},
    io::{self, Read, Write},
    path::{Component, Path, PathBuf},
    sync::{Mutex, PoisonError},
};

/// The list in such a folder: a head, then a path a line; those of folders end in `/`.
const LIST: &str = "made-by-tickstrip.jsonl";
const FORMAT: &str = "tickstrip-own-folder";
const FORMAT_VERSION: u32 = 1;
/// Longest list that is read, bytes: some 100,000 files; a judgement.
const MOST_BYTES: u64 = 16 << 20;
/// A folder that was just made may be taken for one that was left, once; more often would be a fault.
const ATTEMPTS: usize = 3;

/// The first line of the list.
#[derive(Debug, PartialEq, Eq, Serialize, Deserialize)]
struct Head {
    format: String,
    format_version: u32,
    /// What the folder is for; only who knows it may take the folder over.
    purpose: String,
}

/// A folder of ours, held as long as this is there.
#[derive(Debug)]
pub struct OwnFolder {
    path: PathBuf,
    list: Mutex<List>,
}

#[derive(Debug)]
struct List {
    file: File,
    paths: BTreeSet<String>,
}

impl OwnFolder {
    /// Makes a folder in `parent`, its name `prefix` and something random.
    ///
    /// # Errors
    /// Where `parent` takes no folder.
    pub fn make(parent: &Path, prefix: &str, purpose: &str) -> io::Result<Self> {
        for _ in 0..ATTEMPTS {
            let mut builder = tempfile::Builder::new();
            let path = builder.prefix(prefix).tempdir_in(parent)?.keep();
            match Self::begin(&path, purpose) {
                Ok(Some(folder)) => return Ok(folder),
                // Another run took it for one that was left and removed it.
                Ok(None) => {}
                Err(error) if error.kind() == io::ErrorKind::NotFound => {}
                Err(error) => {
                    let _ = fs::remove_file(path.join(LIST));
                    let _ = fs::remove_dir(&path);
                    return Err(error);
                }
            }
        }
        Err(io::Error::other(
            "new folders are removed by another program",
        ))
    }

    fn begin(path: &Path, purpose: &str) -> io::Result<Option<Self>> {
        let list = path.join(LIST);
        let mut file = OpenOptions::new()
            .read(true)
            .append(true)
            .create_new(true)
            .open(&list)?;
        // Where files cannot be locked, a folder that is left stays: nobody can tell that it is not in use.
        let _ = file.lock();
        if !list.exists() {
            return Ok(None);
        }
        file.write_all(head(purpose)?.as_bytes())?;
        Ok(Some(Self {
            path: path.to_owned(),
            list: Mutex::new(List {
                file,
                paths: BTreeSet::new(),
            }),
        }))
    }

    /// Takes over a folder that a program left behind; `None` where it is in use, or nothing proves that it was made
    /// for `purpose`. One without anything in it, as it is when a program was killed in making it, is removed.
    ///
    /// # Errors
    /// Where the folder cannot be read.
    pub fn claim(path: &Path, purpose: &str) -> io::Result<Option<Self>> {
        let list = path.join(LIST);
        // What is a link now is not what was made.
        if !fs::symlink_metadata(path)?.is_dir() {
            return Ok(None);
        }
        match fs::symlink_metadata(&list) {
            Ok(data) if data.is_file() => {}
            Ok(_) => return Ok(None),
            Err(_) => {
                let _ = fs::remove_dir(path);
                return Ok(None);
            }
        }
        let mut file = OpenOptions::new().read(true).append(true).open(&list)?;
        if file.try_lock().is_err() {
            return Ok(None);
        }
        let mut text = String::new();
        if Read::by_ref(&mut file)
            .take(MOST_BYTES)
            .read_to_string(&mut text)
            .is_err()
        {
            return Ok(None);
        }
        let head = head(purpose)?;
        let Some(rest) = text.strip_prefix(&head) else {
            // Killed while the head was written.
            if head.starts_with(&text) {
                fs::remove_file(&list)?;
                let _ = fs::remove_dir(path);
            }
            return Ok(None);
        };
        // A last line without its end names a file that was not made any more.
        let whole = rest.rfind('\n').map_or("", |end| &rest[..end]);
        let paths = whole.lines().filter_map(|l| serde_json::from_str(l).ok());
        let list = List {
            paths: paths.collect(),
            file,
        };
        Ok(Some(Self {
            path: path.to_owned(),
            list: Mutex::new(list),
        }))
    }

    /// Where it lies.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Whether any path in its list is such.
    pub fn lists(&self, is_such: impl Fn(&str) -> bool) -> bool {
        let list = self.list.lock().unwrap_or_else(PoisonError::into_inner);
        list.paths.iter().any(|path| is_such(path))
    }

    /// Makes a folder in it, with those above; one that is there is no fault.
    ///
    /// # Errors
    /// Those of the disk.
    pub fn make_folder(&self, relative: &str) -> io::Result<()> {
        let mut above = String::new();
        for part in relative.split('/') {
            above.push_str(part);
            above.push('/');
            self.note(&above)?;
            match fs::create_dir(self.path.join(&above)) {
                Err(error) if error.kind() != io::ErrorKind::AlreadyExists => return Err(error),
                _ => {}
            }
        }
        Ok(())
    }

    /// Makes a file in it that must not be there yet.
    ///
    /// # Errors
    /// Those of the disk.
    pub fn create(&self, relative: &str) -> io::Result<File> {
        if let Some((folder, _)) = relative.rsplit_once('/') {
            self.make_folder(folder)?;
        }
        self.note(relative)?;
        let mut options = OpenOptions::new();
        let options = options.write(true).create_new(true);
        options.open(self.path.join(relative))
    }

    /// Takes a file of ours in from elsewhere, by a second name for it where the file system has that and `shares`, else as a copy.
    ///
    /// # Errors
    /// Those of the disk.
    pub fn take_in(&self, relative: &str, from: &Path, shares: bool) -> io::Result<()> {
        if let Some((folder, _)) = relative.rsplit_once('/') {
            self.make_folder(folder)?;
        }
        self.note(relative)?;
        let to = self.path.join(relative);
        if shares && fs::hard_link(from, &to).is_ok() {
            return Ok(());
        }
        let mut options = OpenOptions::new();
        let mut new = options.write(true).create_new(true).open(&to)?;
        io::copy(&mut File::open(from)?, &mut new)?;
        Ok(())
    }

    /// Lists a path before it is made.
    ///
    /// # Errors
    /// Those of the disk.
    pub fn note(&self, relative: &str) -> io::Result<()> {
        let mut list = self.list.lock().unwrap_or_else(PoisonError::into_inner);
        if list.paths.insert(relative.to_owned()) {
            let mut line = serde_json::to_string(relative)?;
            line.push('\n');
            list.file.write_all(line.as_bytes())?;
        }
        Ok(())
    }

    /// Removes what the list names, then the folder itself unless something else lies in it; whether it is gone.
    ///
    /// # Errors
    /// Those of the disk; what could not be removed is still listed.
    pub fn take_away(self) -> io::Result<bool> {
        let list = self.list.into_inner();
        let list = list.unwrap_or_else(PoisonError::into_inner);
        // Backwards, so that what lies in a folder comes before it.
        for relative in list.paths.iter().rev() {
            let Some(path) = inside(&self.path, relative) else {
                continue;
            };
            match fs::symlink_metadata(&path) {
                Ok(data) if data.is_dir() && relative.ends_with('/') => remove_if_empty(&path)?,
                Ok(data) if data.is_file() && !relative.ends_with('/') => fs::remove_file(&path)?,
                _ => {}
            }
        }
        if fs::read_dir(&self.path)?.count() > 1 {
            return Ok(false);
        }
        fs::remove_file(self.path.join(LIST))?;
        drop(list);
        remove_if_empty(&self.path)?;
        Ok(true)
    }
}

fn head(purpose: &str) -> io::Result<String> {
    let mut line = serde_json::to_string(&Head {
        format: FORMAT.to_owned(),
        format_version: FORMAT_VERSION,
        purpose: purpose.to_owned(),
    })?;
    line.push('\n');
    Ok(line)
}

/// Removes a folder unless something lies in it.
pub fn remove_if_empty(path: &Path) -> io::Result<()> {
    match fs::remove_dir(path) {
        Err(error) if error.kind() == io::ErrorKind::DirectoryNotEmpty => Ok(()),
        Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(()),
        done => done,
    }
}

/// The place of a listed path in a folder; `None` where it leads elsewhere, by `..`, from the root or through a link,
/// or where a folder above it is not there.
pub fn inside(root: &Path, relative: &str) -> Option<PathBuf> {
    let mut path = root.to_owned();
    let mut parts = Path::new(relative).components().peekable();
    while let Some(part) = parts.next() {
        let Component::Normal(name) = part else {
            return None;
        };
        path.push(name);
        let is_folder = || fs::symlink_metadata(&path).is_ok_and(|data| data.is_dir());
        if parts.peek().is_some() && !is_folder() {
            return None;
        }
    }
    Some(path)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names(folder: &Path) -> Vec<String> {
        let mut names: Vec<String> = fs::read_dir(folder)
            .expect("readable")
            .map(|e| e.expect("readable").file_name().into_string())
            .collect::<Result<_, _>>()
            .expect("UTF-8");
        names.sort();
        names
    }

    /// As a killed program leaves it: the lock is gone, the folder is there.
    fn killed(folder: OwnFolder) -> PathBuf {
        folder.path().to_owned()
    }

    #[test]
    fn what_was_made_is_taken_away_and_nothing_else() {
        let parent = tempfile::tempdir().expect("a folder");
        let folder = OwnFolder::make(parent.path(), ".t-", "a test").expect("made");
        for file in ["new/a.txt", "new/deep/b.txt", "c.txt"] {
            let mut file = folder.create(file).expect("made");
            file.write_all(b"text").expect("written");
        }
        assert!(folder.create("c.txt").is_err(), "it is there already");
        let path = killed(folder);
        fs::write(path.join("new/deep/mine.txt"), "mine").expect("written");
        let folder = OwnFolder::claim(&path, "a test").expect("read");
        assert!(!folder.expect("claimed").take_away().expect("removed"));
        assert_eq!(names(&path.join("new")), ["deep"]);
        assert_eq!(names(&path.join("new/deep")), ["mine.txt"]);
        // Once the user has taken out what is his, the rest goes.
        fs::remove_file(path.join("new/deep/mine.txt")).expect("removed");
        let folder = OwnFolder::claim(&path, "a test").expect("read");
        assert!(folder.expect("claimed").take_away().expect("removed"));
        assert!(names(parent.path()).is_empty());
    }

    #[test]
    fn a_folder_in_use_or_for_something_else_is_left_alone() {
        let parent = tempfile::tempdir().expect("a folder");
        let folder = OwnFolder::make(parent.path(), ".t-", "a test").expect("made");
        let claim = |purpose: &str| OwnFolder::claim(folder.path(), purpose).expect("read");
        assert!(claim("a test").is_none(), "it is in use");
        let path = killed(folder);
        let claim = |purpose: &str| OwnFolder::claim(&path, purpose).expect("read");
        assert!(claim("another").is_none() && claim("a tes").is_none());
        assert!(claim("a test").is_some());
    }

    #[test]
    fn a_program_killed_while_it_made_the_folder_leaves_nothing() {
        let parent = tempfile::tempdir().expect("a folder");
        let path = parent.path().join(".t-x");
        let whole = head("a test").expect("JSON");
        for length in [None, Some(0), Some(9), Some(whole.len() - 1)] {
            fs::create_dir(&path).expect("made");
            if let Some(length) = length {
                fs::write(path.join(LIST), &whole[..length]).expect("written");
            }
            let claimed = OwnFolder::claim(&path, "a test").expect("read");
            assert!(claimed.is_none() && !path.exists(), "{length:?}");
        }
        fs::create_dir(&path).expect("made");
        fs::write(path.join(LIST), "something of the user's").expect("written");
        assert!(OwnFolder::claim(&path, "a test").expect("read").is_none());
        assert_eq!(names(&path), [LIST]);
    }

    #[cfg(unix)]
    #[test]
    fn a_list_leads_nowhere_else() {
        let parent = tempfile::tempdir().expect("a folder");
        let outside = parent.path().join("outside");
        fs::create_dir(&outside).expect("made");
        fs::write(outside.join("mine.txt"), "mine").expect("written");
        let folder = OwnFolder::make(parent.path(), ".t-", "a test").expect("made");
        std::os::unix::fs::symlink(&outside, folder.path().join("link")).expect("linked");
        let absolute = outside.join("mine.txt");
        for path in [
            "link/mine.txt",
            "../outside/mine.txt",
            "link",
            absolute.to_str().expect("UTF-8"),
        ] {
            folder.note(path).expect("noted");
        }
        assert!(!folder.take_away().expect("removed"));
        assert_eq!(names(&outside), ["mine.txt"]);
    }
}
