//! A page of a PDF plan, vector or scan, as a picture at a stated resolution.
//!
//! A PDF may come from anywhere, and the crate that reads it bounds neither time nor memory. So it is read by a process of its own: this
//! program, started again, which takes its bounds before it looks at a byte. What it answers is checked as the file would be.
//! METHOD.md beside this file says how.
mod bounds;
mod child;
mod document;
mod error;
mod pdf_file;
mod request;
mod serve;
pub(crate) mod settings;

pub use error::{Error, Limit};
pub use pdf_file::{Bounds, DrawnPage, Page, Pages, PdfFile};
pub use request::Note;
pub(crate) use serve::{serve, task};
