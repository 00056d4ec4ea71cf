//! Writing an archive.
use super::{
    contents::{self, Contents, Source},
    error::ArchiveError,
    list::{LIST, List},
};
use crate::{
    job::{self, open_input, read_input},
    pipeline::{
        results_folder::{Counted, Listed, disk},
        whole_file::{There, write_whole_by},
    },
};
use std::{
    fs::File,
    io::{self, BufWriter, Write},
    path::{Path, PathBuf},
};
use zip::{CompressionMethod, DateTime, ZipWriter, write::SimpleFileOptions};

/// Largest file that is archived, bytes: a judgement.
const MOST_BYTES: u64 = 64 << 30;
/// Endings of files that are packed already.
const PACKED: [&str; 9] = [
    "png", "jpg", "jpeg", "webp", "gif", "pdf", "3mf", "zip", "apng",
];

/// What was archived.
#[derive(Clone, Debug)]
pub struct Archived {
    /// The archive.
    pub path: PathBuf,
    /// Files in it, its list not counted.
    pub files: usize,
    /// Their bytes before they were packed.
    pub bytes: u64,
    /// In plain words, what is not as on the disk.
    pub notes: Vec<String>,
}

/// Writes the archive of a job, whole or not at all: the same files on the same `date` (a day, as on the sheets) give the same bytes.
///
/// # Errors
/// Where the job or one of its files cannot be read, where `out` is there already, and what the disk refuses.
pub fn archive(
    job: &Path,
    results: &Path,
    out: &Path,
    date: &str,
) -> Result<Archived, ArchiveError> {
    let read = job::read(job)?;
    let text = read_input(job, job::MOST_BYTES).map_err(|error| input(job, error.into()))?;
    if let Some(missing) = job::missing_images(&read).into_iter().next() {
        return Err(job::Error::from_fault(job, missing).into());
    }
    let contents = contents::collect(&read, &text, results)?;
    let marks = blake3::hash(&text).to_hex().to_string();
    let mut list = List::new(date, &contents.job, marks);
    list.files = listed(&contents)?;
    let written = write_whole_by(out, There::Stays, |file| pack(file, &contents, &list));
    written.map_err(|source| match source.kind() {
        io::ErrorKind::AlreadyExists => ArchiveError::Exists {
            path: out.to_owned(),
        },
        _ => disk("writing it", out)(source).into(),
    })?;
    Ok(Archived {
        path: out.to_owned(),
        files: list.files.len(),
        bytes: list.files.iter().map(Listed::size).sum(),
        notes: contents.notes,
    })
}

fn input(path: &Path, source: io::Error) -> ArchiveError {
    ArchiveError::Input {
        path: path.to_owned(),
        source,
    }
}

/// Sizes and checksums of all entries.
fn listed(contents: &Contents) -> Result<Vec<Listed>, ArchiveError> {
    let entries = contents.entries.iter();
    entries
        .map(|(name, source)| match source {
            Source::Text(bytes) => Ok(Listed::new(name, bytes)),
            Source::File(path) => {
                let mut counted = Counted::new(io::sink());
                copy(path, &mut counted).map_err(|error| input(path, error))?;
                Ok(counted.listed(name))
            }
        })
        .collect()
}

fn copy(path: &Path, to: &mut impl Write) -> io::Result<u64> {
    io::copy(&mut open_input(path, MOST_BYTES)?, to)
}

fn pack(file: &mut File, contents: &Contents, list: &List) -> io::Result<()> {
    let mut zip = ZipWriter::new(BufWriter::new(file)).set_auto_large_file();
    let time = packed_on(&list.date);
    let begin = |zip: &mut ZipWriter<BufWriter<&mut File>>, name: &str| {
        let method = if is_packed(name) {
            CompressionMethod::Stored
        } else {
            CompressionMethod::Deflated
        };
        let options = SimpleFileOptions::default()
            .compression_method(method)
            .last_modified_time(time)
            .unix_permissions(0o644);
        zip.start_file(name, options).map_err(io::Error::from)
    };
    begin(&mut zip, LIST)?;
    zip.write_all(&list.text()?)?;
    for ((name, source), listed) in contents.entries.iter().zip(&list.files) {
        begin(&mut zip, name)?;
        let mut counted = Counted::new(&mut zip);
        match source {
            Source::Text(bytes) => counted.write_all(bytes)?,
            Source::File(path) => {
                copy(path, &mut counted)?;
            }
        }
        if !counted.listed(name).is_same(listed) {
            let text = format!("{name} was changed while it was archived; try again");
            return Err(io::Error::other(text));
        }
    }
    zip.finish()?.flush()
}

fn is_packed(name: &str) -> bool {
    let ending = name
        .rsplit_once('.')
        .map(|(_, ending)| ending.to_lowercase());
    ending.is_some_and(|ending| PACKED.contains(&ending.as_str()))
}

/// Noon of a day such as "2031-04-05": so that nothing but the day tells when it was.
fn packed_on(date: &str) -> DateTime {
    let numbers: Vec<u16> = date.split('-').flat_map(str::parse).collect();
    let [year, month, day] = numbers[..] else {
        return DateTime::default();
    };
    let [month, day] = [month, day].map(|v| u8::try_from(v).unwrap_or(0));
    DateTime::from_date_and_time(year, month, day, 12, 0, 0).unwrap_or_default()
}
