//! The last versions of a job file, kept beside it.
use crate::pipeline::{There, clear_left, write_whole};
use std::{
    ffi::OsStr,
    fs, io,
    path::PathBuf,
    time::{Duration, Instant},
};

/// Versions that are kept.
const MOST: usize = 50;
/// A new version is kept after this time, so that many small moves of a mark do not push the older ones out.
const INTERVAL: Duration = Duration::from_secs(60);

/// The folder of the versions.
#[derive(Debug)]
pub(super) struct Versions {
    folder: PathBuf,
    /// Number of the next one.
    next: u64,
    kept: Option<Instant>,
}

impl Versions {
    /// Opens the folder, which need not be there.
    pub fn open(folder: PathBuf) -> io::Result<Self> {
        fs::create_dir_all(&folder)?;
        let numbers = numbered(&folder)?;
        let versions = Self {
            next: numbers.last().map_or(1, |(number, _)| number + 1),
            folder,
            kept: None,
        };
        clear_left(&versions.path_of_next());
        Ok(versions)
    }

    fn path_of_next(&self) -> PathBuf {
        self.folder.join(format!("{:06}.json", self.next))
    }

    /// Whether the last one is old enough.
    pub fn is_due(&self) -> bool {
        self.kept.is_none_or(|kept| kept.elapsed() > INTERVAL)
    }

    /// Keeps a version, and removes the oldest beyond [`MOST`].
    pub fn keep(&mut self, bytes: &[u8]) -> io::Result<()> {
        loop {
            let path = self.path_of_next();
            self.next += 1;
            match write_whole(&path, bytes, There::Stays) {
                // One of another program that marks the same job.
                Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {}
                done => break done?,
            }
        }
        self.kept = Some(Instant::now());
        let numbers = numbered(&self.folder)?;
        let surplus = numbers.len().saturating_sub(MOST);
        for (_, path) in &numbers[..surplus] {
            fs::remove_file(path)?;
        }
        Ok(())
    }
}

/// The versions that are there, oldest first.
fn numbered(folder: &PathBuf) -> io::Result<Vec<(u64, PathBuf)>> {
    let mut found = Vec::new();
    for entry in fs::read_dir(folder)? {
        let entry = entry?;
        if let Some(number) = number(&entry.file_name())
            && entry.file_type()?.is_file()
        {
            found.push((number, entry.path()));
        }
    }
    found.sort();
    Ok(found)
}

/// The number in the name of a version; `None` where the name is none that we give.
fn number(name: &OsStr) -> Option<u64> {
    let digits = name.to_str()?.strip_suffix(".json")?;
    let is_ours = digits.len() >= 6 && digits.bytes().all(|b| b.is_ascii_digit());
    is_ours.then(|| digits.parse().ok())?
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_last_fifty_stay() {
        let folder = tempfile::tempdir().expect("a folder");
        let mut versions = Versions::open(folder.path().join("v")).expect("opened");
        assert!(versions.is_due());
        for number in 0..60 {
            versions.keep(format!("{number}").as_bytes()).expect("kept");
        }
        assert!(!versions.is_due());
        let there = numbered(&folder.path().join("v")).expect("read");
        assert_eq!(there.len(), MOST);
        assert_eq!(fs::read_to_string(&there[0].1).expect("there"), "10");
        let again = Versions::open(folder.path().join("v")).expect("opened");
        assert_eq!(again.next, 61);
    }

    #[test]
    fn files_with_other_names_and_versions_of_another_program_stay() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("v");
        let mut versions = Versions::open(path.clone()).expect("opened");
        let mut others = Versions::open(path.clone()).expect("opened");
        versions.keep(b"mine").expect("kept");
        others.keep(b"theirs").expect("kept");
        for (name, text) in [("000001.json", "mine"), ("000002.json", "theirs")] {
            assert_eq!(fs::read_to_string(path.join(name)).expect("there"), text);
        }
        let foreign = ["0.json", "7.png", "000000.txt", "000001 good.json"];
        for name in foreign {
            fs::write(path.join(name), "the user's").expect("written");
        }
        fs::create_dir(path.join("000000.json")).expect("made");
        for number in 0..60 {
            versions.keep(format!("{number}").as_bytes()).expect("kept");
        }
        assert!(foreign.iter().all(|name| path.join(name).exists()));
        assert!(path.join("000000.json").exists() && !path.join("000001.json").exists());
    }
}
