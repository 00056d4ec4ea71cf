//! Runs decoders so that a case which their authors did not think of is a damaged file and no crash.
use super::{Error, Format};
use std::{
    cell::Cell,
    panic::{self, AssertUnwindSafe},
    path::Path,
};

thread_local! {
    static DECODING: Cell<bool> = const { Cell::new(false) };
}

/// Whether this thread is inside a decoder: what panics there comes out as [`Error::Damaged`], and a panic hook need not
/// tell of it.
pub fn is_decoding() -> bool {
    DECODING.get()
}

/// Runs a decoder; where it panics, the file is damaged.
pub(super) fn guarded<T>(
    path: &Path,
    format: Format,
    work: impl FnOnce() -> Result<T, Error>,
) -> Result<T, Error> {
    let was_decoding = DECODING.replace(true);
    // What the work leaves behind half-done is dropped with it.
    let outcome = panic::catch_unwind(AssertUnwindSafe(work));
    DECODING.set(was_decoding);
    outcome.unwrap_or_else(|_| {
        Err(Error::Damaged {
            path: path.to_owned(),
            format,
            source: "its parts contradict each other".into(),
        })
    })
}
