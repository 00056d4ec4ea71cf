//! The last versions of a job file, kept beside it.
use crate::pipeline::{There, write_whole};
use std::{
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
        Ok(Self {
            next: numbers.last().map_or(1, |(number, _)| number + 1),
            folder,
            kept: None,
        })
    }

    /// Whether the last one is old enough.
    pub fn is_due(&self) -> bool {
        self.kept.is_none_or(|kept| kept.elapsed() > INTERVAL)
    }

    /// Keeps a version, and removes the oldest beyond [`MOST`].
    pub fn keep(&mut self, bytes: &[u8]) -> io::Result<()> {
        let path = self.folder.join(format!("{:06}.json", self.next));
        write_whole(&path, bytes, There::IsReplaced)?;
        self.next += 1;
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
        let path = entry?.path();
        let number = path
            .file_stem()
            .and_then(|stem| stem.to_str()?.parse().ok());
        if let Some(number) = number {
            found.push((number, path));
        }
    }
    found.sort();
    Ok(found)
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
}
