//! What stands at the begin of a finished view.
use crate::{pipeline::results_folder::Listed, report::CollectedView};
use serde::{Deserialize, Serialize};

/// The first word of the file, with the version of its format.
pub const MAGIC: &str = "tickstrip-view 1";
/// Longest head, bytes: that of a view with 200 landmarks has some 0.3 MB; a judgement.
pub const MOST_HEAD: u64 = 32 << 20;
/// Longest first line: magic, 64 digits, a number.
pub const LONGEST_LINE: usize = 128;

/// The head.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Head {
    /// Checksum of all that the figures and pictures rest on; `None` where that is not known, so that nothing fits it.
    pub key: Option<String>,
    /// Date that is printed on its sheets.
    pub date: String,
    /// What was found.
    pub collected: CollectedView,
    /// The files beside this one, by their paths in the results.
    pub files: Vec<Listed>,
    /// The pages of its sheet, in order.
    pub pages: Vec<PageParts>,
    /// Pictures at the size that `report.html` has them, by the path of the file that each stands for.
    pub small: Vec<(String, Part)>,
}

/// A page whose contents are parts.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PageParts {
    pub title: String,
    pub chapter: String,
    pub name: String,
    pub aspect: Option<f64>,
    pub size_mm: [f64; 2],
    pub svg: Part,
    pub pictures: Vec<(String, Part)>,
}

/// A piece of what follows the head.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Part {
    /// Bytes.
    pub size: u64,
    pub blake3: String,
}

impl Part {
    pub fn of(bytes: &[u8]) -> Self {
        Self {
            size: bytes.len() as u64,
            blake3: blake3::hash(bytes).to_hex().to_string(),
        }
    }
}

/// All parts in the order in which they follow.
pub fn parts<'a>(
    pages: &'a [PageParts],
    small: &'a [(String, Part)],
) -> impl Iterator<Item = &'a Part> {
    let of_pages = pages.iter().flat_map(PageParts::parts);
    of_pages.chain(small.iter().map(|(_, part)| part))
}

impl PageParts {
    /// Its parts in the order in which they follow.
    pub fn parts(&self) -> impl Iterator<Item = &Part> {
        std::iter::once(&self.svg).chain(self.pictures.iter().map(|(_, part)| part))
    }
}
