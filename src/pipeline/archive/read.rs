//! Checking an archive, and putting it out.
use super::{
    error::ArchiveError,
    list::{LIST, List, MOST_LIST_BYTES, is_safe},
};
use crate::{
    job::{InputFile, open_input},
    pipeline::{
        own_folder::OwnFolder,
        results_folder::{Counted, Listed, disk},
    },
};
use std::{
    collections::BTreeSet,
    fs,
    io::{self, BufReader, Read, Write},
    path::{Path, PathBuf},
};
use zip::ZipArchive;

/// Largest archive that is read, bytes: a judgement.
const MOST_BYTES: u64 = 1 << 40;
/// Most that is put out for a byte of the archive, and what is allowed on top, bytes: judgements; deflated zeros take a thousandth.
const MOST_GROWTH: u64 = 200;
const ALWAYS_ALLOWED: u64 = 100 << 20;
/// Faults that are told; of more, how many.
const MOST_TOLD: usize = 20;
/// The files while they are put out.
const NEW: &str = "new";
const PREFIX: &str = ".tickstrip-restore-";
const PURPOSE: &str = "an archive that is put out";

/// What a sound archive holds.
#[derive(Clone, Debug)]
pub struct Verified {
    /// Files in it, its list not counted.
    pub files: usize,
    /// Their bytes.
    pub bytes: u64,
    /// The day that it was written.
    pub date: String,
    /// The program that wrote it.
    pub program: String,
}

/// What was put out.
#[derive(Clone, Debug)]
pub struct Restored {
    /// The job file.
    pub job: PathBuf,
    /// What the archive holds.
    pub contents: Verified,
}

/// An opened archive with its list.
struct Opened {
    path: PathBuf,
    length: u64,
    zip: ZipArchive<BufReader<InputFile>>,
    list: List,
}

/// Checks that an archive holds what its list names, byte for byte, and nothing else.
///
/// # Errors
/// [`ArchiveError::Damaged`] with what is not so, and those of a file that is no archive.
pub fn verify(path: &Path) -> Result<Verified, ArchiveError> {
    let mut opened = Opened::open(path)?;
    opened.check_names()?;
    let mut faults = Faults::default();
    for listed in opened.list.files.clone() {
        match opened.copy(&listed, &mut io::sink()) {
            Ok(()) => {}
            Err(fault) => faults.push(fault.into_words(listed.path())),
        }
    }
    faults.none(path)?;
    Ok(opened.contents())
}

/// Puts an archive out into a folder that is new or empty, checked as by [`verify`]: all of it or nothing.
///
/// # Errors
/// Those of [`verify`], where the folder holds something, and what the disk refuses.
pub fn restore(path: &Path, out: &Path) -> Result<Restored, ArchiveError> {
    let mut opened = Opened::open(path)?;
    opened.check_names()?;
    let is_there = fs::symlink_metadata(out).is_ok();
    let is_empty = || fs::read_dir(out).is_ok_and(|mut entries| entries.next().is_none());
    if is_there && !is_empty() {
        return Err(ArchiveError::NotEmpty {
            path: out.to_owned(),
        });
    }
    let above = match out.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent,
        _ => Path::new("."),
    };
    fs::create_dir_all(above).map_err(disk("making the folder above it", above))?;
    let making = disk("making a folder for the files in it", above);
    let folder = OwnFolder::make(above, PREFIX, PURPOSE).map_err(making)?;
    let put_out = opened.put_out(&folder).and_then(|()| {
        if is_there {
            fs::remove_dir(out).map_err(disk("taking its place", out))?;
        }
        fs::rename(folder.path().join(NEW), out)
            .map_err(disk("putting the files in place", out))?;
        Ok(())
    });
    // What cannot be removed lies beside and does no harm.
    let _ = folder.take_away();
    put_out?;
    Ok(Restored {
        job: out.join(&opened.list.job),
        contents: opened.contents(),
    })
}

/// Why an entry is not what was archived.
enum EntryFault {
    Missing,
    Unreadable(String),
    Changed,
    Disk(io::Error),
}

impl EntryFault {
    fn into_words(self, name: &str) -> String {
        match self {
            Self::Missing => format!("\"{name}\" is missing"),
            Self::Unreadable(text) => format!("\"{name}\" cannot be unpacked ({text})"),
            Self::Changed => format!("\"{name}\" was changed"),
            Self::Disk(error) => format!("\"{name}\": {error}"),
        }
    }
}

/// What is wrong, up to a length.
#[derive(Default)]
struct Faults {
    told: Vec<String>,
    more: usize,
}

impl Faults {
    fn push(&mut self, text: String) {
        if self.told.len() < MOST_TOLD {
            self.told.push(text);
        } else {
            self.more += 1;
        }
    }

    fn none(mut self, path: &Path) -> Result<(), ArchiveError> {
        if self.more > 0 {
            self.told.push(format!("and {} more", self.more));
        }
        if self.told.is_empty() {
            return Ok(());
        }
        Err(ArchiveError::Damaged {
            path: path.to_owned(),
            faults: self.told,
        })
    }
}

impl Opened {
    fn open(path: &Path) -> Result<Self, ArchiveError> {
        let input = |source: io::Error| ArchiveError::Input {
            path: path.to_owned(),
            source,
        };
        let file = open_input(path, MOST_BYTES).map_err(|error| input(error.into()))?;
        let length = file.length();
        let mut zip =
            ZipArchive::new(BufReader::new(file)).map_err(|error| ArchiveError::NoZip {
                path: path.to_owned(),
                text: error.to_string(),
            })?;
        let no_list = |text: String| ArchiveError::NoList {
            path: path.to_owned(),
            text,
        };
        let mut bytes = Vec::new();
        let entry = zip
            .by_name(LIST)
            .map_err(|error| no_list(error.to_string()))?;
        let read = entry.take(MOST_LIST_BYTES).read_to_end(&mut bytes);
        read.map_err(|error| no_list(error.to_string()))?;
        let list = List::parse(&bytes).map_err(no_list)?;
        Ok(Self {
            path: path.to_owned(),
            length,
            zip,
            list,
        })
    }

    /// Names that lead out of the folder, stand twice in the list or are not in it.
    fn check_names(&self) -> Result<(), ArchiveError> {
        let mut faults = Faults::default();
        let mut listed = BTreeSet::from([LIST.to_owned()]);
        for file in &self.list.files {
            if !is_safe(file.path()) {
                faults.push(format!("\"{}\" is no plain path", file.path()));
            }
            // One name on systems that do not tell small letters from large ones.
            if !listed.insert(file.path().to_lowercase()) {
                faults.push(format!("\"{}\" is named twice", file.path()));
            }
        }
        if !self
            .list
            .files
            .iter()
            .any(|file| file.path() == self.list.job)
        {
            faults.push(format!("the job \"{}\" is not listed", self.list.job));
        }
        let sizes = self.list.files.iter().map(Listed::size);
        let bytes = sizes.fold(0, u64::saturating_add);
        let most = self.length.saturating_mul(MOST_GROWTH);
        if bytes > most.saturating_add(ALWAYS_ALLOWED) {
            faults.push(format!(
                "it would grow to {bytes} bytes, more than {MOST_GROWTH} times its size"
            ));
        }
        for name in self.zip.file_names() {
            let name = name.unwrap_or("a name that is no text".into());
            if !listed.contains(&name.to_lowercase()) {
                faults.push(format!("\"{name}\" is not listed"));
            }
        }
        faults.none(&self.path)
    }

    /// Copies an entry, no more of it than is listed.
    fn copy(&mut self, listed: &Listed, to: &mut impl Write) -> Result<(), EntryFault> {
        let Some(index) = self.zip.index_for_name(listed.path()) else {
            return Err(EntryFault::Missing);
        };
        let entry = self.zip.by_index(index);
        let entry = entry.map_err(|error| EntryFault::Unreadable(error.to_string()))?;
        let mut entry = entry.take(listed.size().saturating_add(1));
        let mut counted = Counted::new(to);
        let mut buffer = vec![0; 1 << 16];
        loop {
            // Ends with the entry, which is cut off behind the listed length.
            let count = match entry.read(&mut buffer) {
                Ok(0) => break,
                Ok(count) => count,
                Err(error) => return Err(EntryFault::Unreadable(error.to_string())),
            };
            counted
                .write_all(&buffer[..count])
                .map_err(EntryFault::Disk)?;
        }
        if counted.listed(listed.path()).is_same(listed) {
            Ok(())
        } else {
            Err(EntryFault::Changed)
        }
    }

    /// Writes all files into the folder, in `new`.
    fn put_out(&mut self, folder: &OwnFolder) -> Result<(), ArchiveError> {
        let mut faults = Faults::default();
        for listed in self.list.files.clone() {
            let path = format!("{NEW}/{}", listed.path());
            let place = folder.path().join(&path);
            let mut file = folder.create(&path).map_err(disk("writing it", &place))?;
            match self.copy(&listed, &mut file) {
                Ok(()) => {}
                Err(EntryFault::Disk(error)) => {
                    return Err(disk("writing it", &place)(error).into());
                }
                Err(fault) => faults.push(fault.into_words(listed.path())),
            }
        }
        faults.none(&self.path)
    }

    fn contents(&self) -> Verified {
        Verified {
            files: self.list.files.len(),
            bytes: (self.list.files.iter().map(Listed::size)).fold(0, u64::saturating_add),
            date: self.list.date.clone(),
            program: self.list.program.clone(),
        }
    }
}

/// Whether an archive holds the job file with this checksum; `None` where it is no archive.
pub(super) fn holds_marks(path: &Path, marks_blake3: &str) -> Option<bool> {
    let opened = Opened::open(path).ok()?;
    Some(opened.list.marks_blake3 == marks_blake3)
}
