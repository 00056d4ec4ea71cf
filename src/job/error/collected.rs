//! The faults of a file as they come.
use super::{Error, Fault, FaultKind, MOST_FAULTS};
use std::path::Path;

/// Collects faults up to [`MOST_FAULTS`].
#[derive(Debug, Default)]
pub(in crate::job) struct Faults {
    list: Vec<Fault>,
    more: usize,
}

impl Faults {
    pub fn push(&mut self, pointer: &str, kind: FaultKind) {
        if self.is_full() {
            self.more += 1;
            return;
        }
        self.list.push(Fault {
            pointer: pointer.to_owned(),
            kind,
        });
    }

    pub fn is_empty(&self) -> bool {
        self.list.is_empty()
    }

    pub fn is_full(&self) -> bool {
        self.list.len() >= MOST_FAULTS
    }

    pub fn list(&self) -> &[Fault] {
        &self.list
    }

    /// The value of a result, or `None` with its error collected.
    pub fn keep<T>(&mut self, pointer: &str, result: Result<T, impl Into<FaultKind>>) -> Option<T> {
        result.map_err(|kind| self.push(pointer, kind.into())).ok()
    }

    pub fn into_error(self, file: &Path) -> Error {
        Error::Faulty {
            file: file.to_owned(),
            faults: self.list,
            more: self.more,
        }
    }
}
