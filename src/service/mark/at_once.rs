//! Memory that is taken where it is free, and not waited for.
use std::cell::Cell;

/// Ends the waiting for memory with its second look: who holds a picture or a mesh does not wait.
pub(super) fn at_once() -> impl Fn() -> bool {
    let is_asked = Cell::new(false);
    move || is_asked.replace(true)
}
