//! How much of a mesh is read. All are judgements: an order above the largest models that are drawn for print, and within what a
//! small computer holds.

/// How much of a mesh file is read.
#[derive(Clone, Copy, Debug)]
pub struct Limits {
    /// Bytes of a file, unpacked.
    pub bytes: u64,
    /// Facets, copies counted.
    pub facets: usize,
    /// Parts.
    pub parts: usize,
}

impl Default for Limits {
    /// 1 GB, 5 million facets, 10,000 parts.
    fn default() -> Self {
        Self {
            bytes: 1_000_000_000,
            facets: 5_000_000,
            parts: 10_000,
        }
    }
}

/// Entries of any list in a document that says how a model is put together: nodes, objects, components.
pub(super) const MOST_ENTRIES: usize = 100_000;
/// Nodes or components within each other.
pub(super) const DEEPEST: usize = 64;
/// Largest coordinate, in the file's unit and in millimetres.
pub(super) const LARGEST_COORDINATE: f64 = 1e12;
