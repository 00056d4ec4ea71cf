//! Results kept by date: each run has a folder of its own in one folder, `newest.txt` names the last one, and of the older ones only
//! so many stay.
use super::{
    results_folder::{self, Kept, ResultsError, disk},
    whole_file::{There, write_whole},
};
use crate::job::read_input;
use std::{
    fs, io,
    path::{Path, PathBuf},
};

/// Names the newest results, on one line: a link would not work on every system.
pub(super) const NEWEST: &str = "newest.txt";
/// Longest name of results, bytes.
const MOST_BYTES: u64 = 64;
/// So many runs in one minute have a folder of their own.
const MOST_IN_A_MINUTE: u32 = 1000;

/// Why results cannot be kept by date.
#[derive(Debug, thiserror::Error)]
pub enum KeptError {
    /// The folder has results of its own.
    #[error(
        "{}: results lie in this folder itself, from a run without --keep; name another folder with --out, or move them away",
        path.display()
    )]
    PlainResults {
        /// The folder.
        path: PathBuf,
    },
    /// Too many in one minute.
    #[error("{}: this minute has {MOST_IN_A_MINUTE} results already; wait for the next one", path.display())]
    TooMany {
        /// The folder.
        path: PathBuf,
    },
    /// The operating system refuses.
    #[error(transparent)]
    Results(#[from] ResultsError),
}

/// The folder of one run, reserved in the folder of all; it goes again where nothing was written.
#[derive(Debug)]
pub struct KeptResults {
    all: PathBuf,
    own: PathBuf,
}

impl KeptResults {
    /// Reserves a folder in `all`, named by a minute such as `2031-04-05T14-02`; a second run in one minute gets `-2` at its end.
    ///
    /// # Errors
    /// Where that cannot be.
    pub fn reserve(all: &Path, minute: &str) -> Result<Self, KeptError> {
        if results_folder::has_list(all) {
            return Err(KeptError::PlainResults {
                path: all.to_owned(),
            });
        }
        fs::create_dir_all(all).map_err(disk("making the folder for all results", all))?;
        for number in 1..=MOST_IN_A_MINUTE {
            let name = match number {
                1 => minute.to_owned(),
                _ => format!("{minute}-{number}"),
            };
            let own = all.join(name);
            match fs::create_dir(&own) {
                Ok(()) => {
                    return Ok(Self {
                        all: all.to_owned(),
                        own,
                    });
                }
                Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {}
                Err(error) => {
                    return Err(disk("making a folder for the results", &own)(error).into());
                }
            }
        }
        Err(KeptError::TooMany {
            path: all.to_owned(),
        })
    }

    /// Where the results of this run go.
    pub fn folder(&self) -> &Path {
        &self.own
    }

    /// Names this run's results as the newest and takes away the oldest ones of the same job, so that `most` stay. Results in which
    /// anything is not as it was written stay and do not count; they are named in what is returned.
    ///
    /// # Errors
    /// Where the newest ones cannot be named.
    pub fn finish(&self, job: &Path, most: usize) -> Result<Vec<String>, KeptError> {
        let path = self.all.join(NEWEST);
        let name = self.own.file_name().unwrap_or_default().to_string_lossy();
        write_whole(&path, format!("{name}\n").as_bytes(), There::IsReplaced)
            .map_err(disk("naming the newest results", &path))?;
        let mut notes = Vec::new();
        let mut ours = Vec::new();
        for folder in dated_folders(&self.all) {
            match results_folder::kept(job, &folder) {
                Kept::Whole => ours.push(folder),
                Kept::Changed => notes.push(format!(
                    "{} is kept: not all in it is as it was written",
                    folder.display()
                )),
                Kept::NoneOfThisJob => {}
            }
        }
        let too_many = ours.len().saturating_sub(most);
        for folder in ours
            .iter()
            .take(too_many)
            .filter(|folder| **folder != self.own)
        {
            if let Err(error) = results_folder::remove_results(folder) {
                notes.push(format!("{} is kept: {error}", folder.display()));
            }
        }
        Ok(notes)
    }
}

impl Drop for KeptResults {
    fn drop(&mut self) {
        // Where results were written, it is not empty and stays.
        let _ = fs::remove_dir(&self.own);
    }
}

/// The newest results in a folder of those kept by date; any other folder itself.
pub fn newest_results(folder: &Path) -> PathBuf {
    let newest = newest(folder).filter(|_| !results_folder::has_list(folder));
    newest.unwrap_or_else(|| folder.to_owned())
}

/// The newest results of those kept by date, as they are named.
pub(super) fn newest(all: &Path) -> Option<PathBuf> {
    let bytes = read_input(&all.join(NEWEST), MOST_BYTES).ok()?;
    let name = std::str::from_utf8(&bytes).ok()?.trim_end();
    parts_of(name).map(|_| all.join(name))
}

/// Folders of a folder that are named by a minute, the oldest first.
pub(super) fn dated_folders(all: &Path) -> Vec<PathBuf> {
    let entries = fs::read_dir(all).into_iter().flatten().flatten();
    let is_folder = |entry: &fs::DirEntry| entry.file_type().is_ok_and(|kind| kind.is_dir());
    let named = entries.filter(is_folder).filter_map(|entry| {
        let name = entry.file_name().into_string().ok()?;
        let (minute, number) = parts_of(&name)?;
        Some((minute.to_owned(), number, entry.path()))
    });
    let mut all: Vec<_> = named.collect();
    all.sort();
    all.into_iter().map(|(_, _, path)| path).collect()
}

/// Minute and number of a name such as `2031-04-05T14-02` (number 1) or `2031-04-05T14-02-2`; `None` for any other.
fn parts_of(name: &str) -> Option<(&str, u32)> {
    const SHAPE: &[u8] = b"0000-00-00T00-00";
    let (minute, rest) = name.split_at_checked(SHAPE.len())?;
    let is_shaped = minute.bytes().zip(SHAPE).all(|(byte, shape)| match shape {
        b'0' => byte.is_ascii_digit(),
        _ => byte == *shape,
    });
    if !is_shaped {
        return None;
    }
    if rest.is_empty() {
        return Some((minute, 1));
    }
    let number = rest.strip_prefix('-')?;
    let is_plain = number.bytes().all(|b| b.is_ascii_digit()) && !number.starts_with('0');
    Some((minute, number.parse().ok().filter(|_| is_plain)?))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_minutes_with_a_number() {
        assert_eq!(parts_of("2031-04-05T14-02"), Some(("2031-04-05T14-02", 1)));
        assert_eq!(
            parts_of("2031-04-05T14-02-10"),
            Some(("2031-04-05T14-02", 10))
        );
        for name in [
            "",
            "side",
            "2031-04-05",
            "2031-04-05T14-02x",
            "2031-04-05T14-02-",
            "2031-04-05T14-02-02",
            "2031-04-05T14:02",
        ] {
            assert_eq!(parts_of(name), None, "{name}");
        }
    }

    #[test]
    fn two_runs_in_one_minute_have_folders_of_their_own_in_order() {
        let all = tempfile::tempdir().expect("a folder");
        let minute = "2031-04-05T14-02";
        let runs: Vec<_> = (0..11)
            .map(|_| KeptResults::reserve(all.path(), minute).expect("free"))
            .collect();
        let folders: Vec<_> = runs.iter().map(|run| run.folder().to_owned()).collect();
        assert_eq!(dated_folders(all.path()), folders);
        drop(runs);
        assert!(dated_folders(all.path()).is_empty(), "nothing was written");
    }
}
