//! Checks that look at all of a list before they give up.

/// All values, once each has been looked at (a plain `collect` would stop at the first fault).
pub(super) fn every<T>(values: impl Iterator<Item = Option<T>>) -> Option<Vec<T>> {
    let values: Vec<Option<T>> = values.collect();
    values.into_iter().collect()
}
