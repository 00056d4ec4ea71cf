//! The list of what is in an archive, its first entry.
use crate::{
    job::{LONGEST_FILE_NAME, is_device_name},
    pipeline::results_folder::Listed,
};
use serde::{Deserialize, Serialize};

/// Name of the list.
pub(super) const LIST: &str = "tickstrip-archive.json";
const FORMAT: &str = "tickstrip-archive";
pub(super) const FORMAT_VERSION: u32 = 1;
/// Longest list that is read, bytes: some 100,000 files; a judgement.
pub(super) const MOST_LIST_BYTES: u64 = 32 << 20;
/// Most files of an archive: a judgement.
pub(super) const MOST_FILES: usize = 200_000;

/// What is in an archive.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub(super) struct List {
    format: String,
    format_version: u32,
    /// The program that wrote it.
    pub(super) program: String,
    /// The day, as on the sheets.
    pub(super) date: String,
    /// The job file in the archive.
    pub(super) job: String,
    /// Checksum of the job file as it was on the disk: where paths were changed the archive's differs.
    pub(super) marks_blake3: String,
    pub(super) files: Vec<Listed>,
}

impl List {
    pub(super) fn new(date: &str, job: &str, marks_blake3: String) -> Self {
        Self {
            format: FORMAT.to_owned(),
            format_version: FORMAT_VERSION,
            program: format!("tickstrip {}", env!("CARGO_PKG_VERSION")),
            date: date.to_owned(),
            job: job.to_owned(),
            marks_blake3,
            files: Vec::new(),
        }
    }

    /// Reads the list; else in words why it is none.
    pub(super) fn parse(bytes: &[u8]) -> Result<Self, String> {
        let list: Self = serde_json::from_slice(bytes).map_err(|error| error.to_string())?;
        if list.format != FORMAT || list.format_version != FORMAT_VERSION {
            let (format, version) = (&list.format, list.format_version);
            return Err(format!("it is of the format {format} {version}"));
        }
        if list.files.len() > MOST_FILES {
            return Err(format!("it names more than {MOST_FILES} files"));
        }
        Ok(list)
    }

    pub(super) fn text(&self) -> Result<Vec<u8>, serde_json::Error> {
        let mut text = serde_json::to_vec_pretty(self)?;
        text.push(b'\n');
        Ok(text)
    }
}

/// Whether a path leads to a file below the folder that it is put out in, on every system: plain names with `/` between them.
pub(super) fn is_safe(path: &str) -> bool {
    let is_plain = |name: &str| {
        !name.is_empty()
            && name.len() <= LONGEST_FILE_NAME
            && !name.ends_with(['.', ' '])
            && !name.contains(['\\', ':', '*', '?', '"', '<', '>', '|'])
            && !name.contains(char::is_control)
            && !is_device_name(name)
    };
    path.len() < 1000 && path.split('/').all(is_plain)
}
