//! Reading a view that was compared earlier; nothing in the file is trusted.
use super::head::{Head, LONGEST_LINE, MAGIC, MOST_HEAD, PageParts, Part, parts};
use crate::{
    drawing::PrintedPage,
    job::open_input,
    pipeline::{
        own_folder::inside,
        results_folder::{Counted, FINISHED, Listed},
    },
    report::CollectedView,
};
use std::{
    collections::BTreeSet,
    io::{self, Read, Seek, SeekFrom},
    path::{Path, PathBuf},
    sync::Arc,
};

/// Longest file of a view that is read, bytes: pages and small pictures have a few MB; a judgement.
const MOST_BYTES: u64 = 1 << 30;

/// A view that was compared, in a folder of results.
#[derive(Clone, Debug)]
pub struct FinishedView {
    /// What was found.
    pub collected: CollectedView,
    /// All else, most of it on the disk.
    pub body: Body,
}

/// Files, pages and small pictures of a finished view, which stay on the disk until they are asked for.
#[derive(Clone, Debug)]
pub struct Body {
    /// The folder of the results.
    folder: PathBuf,
    name: String,
    key: Option<String>,
    date: String,
    lists: Arc<Lists>,
    checksum: String,
    /// Where the parts begin.
    at: u64,
}

#[derive(Debug)]
struct Lists {
    files: Vec<Listed>,
    pages: Vec<PageParts>,
    small: Vec<(String, Part)>,
}

impl Lists {
    fn parts(&self) -> impl Iterator<Item = &Part> {
        parts(&self.pages, &self.small)
    }
}

impl FinishedView {
    pub(super) fn new(folder: &Path, head: Head, checksum: String, at: u64) -> Self {
        let Head {
            key,
            date,
            collected,
            files,
            pages,
            small,
        } = head;
        let body = Body {
            folder: folder.to_owned(),
            name: collected.entry.name.clone(),
            key,
            date,
            lists: Arc::new(Lists {
                files,
                pages,
                small,
            }),
            checksum,
            at,
        };
        Self { collected, body }
    }

    /// The finished view of this name in a folder of results; `None` where there is none that is sound. Only its head is read.
    pub fn open(folder: &Path, view: &str) -> Option<Self> {
        let path = inside(folder, &format!("{view}/{FINISHED}"))?;
        if !path.symlink_metadata().ok()?.is_file() {
            return None;
        }
        let mut file = open_input(&path, MOST_BYTES).ok()?;
        let (checksum, length, first) = first_line(&mut file)?;
        if length > MOST_HEAD {
            return None;
        }
        file.seek(SeekFrom::Start(first)).ok()?;
        let mut text = Vec::new();
        file.by_ref().take(length).read_to_end(&mut text).ok()?;
        if blake3::hash(&text).to_hex().as_str() != checksum {
            return None;
        }
        let head: Head = serde_json::from_slice(&text).ok()?;
        let at = first + length;
        let end = parts(&head.pages, &head.small)
            .map(|part| part.size)
            .try_fold(at, |sum, size| sum.checked_add(size));
        let is_sound = end == Some(file.length()) && is_of_view(&head, view);
        is_sound.then(|| Self::new(folder, head, checksum, at))
    }
}

impl Body {
    /// Whether the view was compared with all that this key stands for, and has this date on its sheets where one is asked for.
    pub fn fits(&self, key: &str, date: Option<&str>) -> bool {
        self.key.as_deref() == Some(key) && date.is_none_or(|date| date == self.date)
    }

    /// Checksum of its head, which has those of all else.
    pub fn checksum(&self) -> &str {
        &self.checksum
    }

    /// The view's name.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// The path of the file itself, as seen from its results.
    pub fn path(&self) -> String {
        format!("{}/{FINISHED}", self.name)
    }

    /// The file itself, listed as it is.
    ///
    /// # Errors
    /// Where it cannot be read.
    pub fn listed(&self) -> io::Result<Listed> {
        let path = inside(&self.folder, &self.path()).ok_or_else(changed)?;
        let mut file = open_input(&path, MOST_BYTES)?;
        let mut counted = Counted::new(io::sink());
        io::copy(&mut file, &mut counted)?;
        Ok(counted.listed(&self.path()))
    }

    /// Files of the view beside this one.
    pub fn files(&self) -> &[Listed] {
        &self.lists.files
    }

    /// The folder of its results.
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// The same view in another folder, to which its files were taken.
    pub fn moved_to(mut self, folder: &Path) -> Self {
        self.folder = folder.to_owned();
        self
    }

    /// Whether the parts and all files beside are as they were written.
    pub fn is_whole(&self) -> bool {
        let mut at = self.at;
        let is_part = |part: &Part| {
            let start = at;
            at += part.size;
            self.read(start, part).is_ok()
        };
        self.lists.parts().all(is_part)
            && self.lists.files.iter().all(|file| {
                inside(&self.folder, file.path()).is_some_and(|place| file.is_as_written(&place))
            })
    }

    /// Number of pages of its sheet.
    pub fn pages(&self) -> usize {
        self.lists.pages.len()
    }

    /// A page of its sheet.
    ///
    /// # Errors
    /// Where the file was changed meanwhile.
    pub fn page(&self, number: usize) -> io::Result<PrintedPage> {
        let pages = &self.lists.pages;
        let earlier = pages[..number].iter().flat_map(|page| page.parts());
        let mut at = self.at + earlier.map(|part| part.size).sum::<u64>();
        let page = &pages[number];
        let mut next = |part: &Part| {
            let start = at;
            at += part.size;
            self.read(start, part)
        };
        let svg = String::from_utf8(next(&page.svg)?).map_err(|_| changed())?;
        let pictures = page.pictures.iter();
        let pictures = pictures.map(|(name, part)| Ok((name.clone(), Arc::new(next(part)?))));
        Ok(PrintedPage {
            title: page.title.clone(),
            chapter: page.chapter.clone(),
            name: page.name.clone(),
            aspect: page.aspect,
            size_mm: page.size_mm,
            svg,
            pictures: pictures.collect::<io::Result<_>>()?,
        })
    }

    /// The picture that stands for the file at this path in `report.html`; `None` where the file itself does.
    pub fn small(&self, path: &str) -> Option<Vec<u8>> {
        let small = &self.lists.small;
        let number = small.iter().position(|(of, _)| of == path)?;
        let all = self.lists.parts().count();
        let earlier = self.lists.parts().take(all - small.len() + number);
        let at = self.at + earlier.map(|part| part.size).sum::<u64>();
        self.read(at, &small[number].1).ok()
    }

    fn read(&self, at: u64, part: &Part) -> io::Result<Vec<u8>> {
        let path = inside(&self.folder, &self.path()).ok_or_else(changed)?;
        let mut file = open_input(&path, MOST_BYTES)?;
        file.seek(SeekFrom::Start(at))?;
        let mut bytes = Vec::new();
        file.take(part.size).read_to_end(&mut bytes)?;
        if Part::of(&bytes) == *part {
            Ok(bytes)
        } else {
            Err(changed())
        }
    }
}

fn changed() -> io::Error {
    io::Error::new(io::ErrorKind::InvalidData, "the file was changed meanwhile")
}

/// Checksum and length of the head, and the length of the first line.
fn first_line(file: &mut impl Read) -> Option<(String, u64, u64)> {
    let mut begin = Vec::new();
    file.take(LONGEST_LINE as u64)
        .read_to_end(&mut begin)
        .ok()?;
    let end = begin.iter().position(|byte| *byte == b'\n')?;
    let line = std::str::from_utf8(&begin[..end]).ok()?;
    let (checksum, length) = line
        .strip_prefix(MAGIC)?
        .strip_prefix(' ')?
        .split_once(' ')?;
    Some((checksum.to_owned(), length.parse().ok()?, end as u64 + 1))
}

/// Whether a head speaks of this view, of files in its folder and of nothing else.
fn is_of_view(head: &Head, view: &str) -> bool {
    let entry = &head.collected.entry;
    let is_own = |path: &str| {
        let name = path
            .strip_prefix(view)
            .and_then(|rest| rest.strip_prefix('/'));
        name.is_some_and(|name| {
            !name.is_empty() && name != ".." && name != "." && !name.contains(['/', '\\', ':'])
        })
    };
    let files: BTreeSet<&str> = head.files.iter().map(Listed::path).collect();
    let named: BTreeSet<&str> = entry.files.values().map(String::as_str).collect();
    let is_size = |mm: &f64| mm.is_finite() && *mm > 0.0;
    entry.name == view
        && entry.error.is_none()
        && entry.verdict.is_some()
        && files.len() == head.files.len()
        && files == named
        && files
            .iter()
            .all(|path| is_own(path) && !path.ends_with(FINISHED))
        && head
            .small
            .iter()
            .all(|(path, _)| files.contains(path.as_str()))
        && head
            .pages
            .iter()
            .all(|page| page.size_mm.iter().all(is_size))
}
