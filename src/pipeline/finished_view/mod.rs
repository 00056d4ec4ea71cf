//! A view that was compared, as it lies on the disk beside its pictures: all that a later run needs to take it over.
//!
//! ```text
//! tickstrip-view 1 CHECKSUM-OF-THE-HEAD LENGTH-OF-THE-HEAD
//! {...}                                  the head, JSON: key, date, what was collected, files, parts
//! ...                                    the parts, one after the other: pages as SVG, their pictures, pictures for report.html
//! ```
//!
//! Each part and each file is listed with its length and checksum. What does not agree in any way is no finished view: then the view
//! is compared again.
mod head;
mod read;
#[cfg(test)]
mod tests;
mod write;

pub(super) use read::{Body, FinishedView};
pub(super) use write::{ToFinish, write};
