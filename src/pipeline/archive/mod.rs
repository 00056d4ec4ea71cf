//! One zip file that holds a job with all that it needs: the job file, its images and meshes, the results that lie beside it, the
//! schemas of both formats, and a list with the size and checksum of each. It can be checked later, and put out again elsewhere.
//!
//! A file keeps its place relative to the job file. What lies outside of the job's folder is put into `outside/`, and the job in
//! the archive names it there.
mod contents;
mod error;
mod latest;
mod list;
mod read;
#[cfg(test)]
mod tests;
mod write;

pub use error::ArchiveError;
pub use latest::{archive_without, free_archive};
pub use read::{Restored, Verified, restore, verify};
pub use write::{Archived, archive};
