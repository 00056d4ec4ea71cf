//! How many views are worked on at a time.
use crate::images::Budget;

/// Views that are worked on at the same time, at most: each holds its images.
pub(super) const VIEWS_AT_ONCE: usize = 4;

/// The views that are worked on at a time; clones share them, so that several jobs take no more memory than one.
#[derive(Clone, Debug, Default)]
pub struct Turns {
    shared: Option<Budget>,
}

impl Turns {
    /// For several runs of so many threads each.
    pub fn shared(threads: usize) -> Self {
        Self {
            shared: Some(Budget::new(places_for(threads))),
        }
    }

    /// The places of a run of so many threads.
    pub(super) fn places(&self, threads: usize) -> Budget {
        let own = || Budget::new(places_for(threads));
        self.shared.clone().unwrap_or_else(own)
    }
}

/// Views that are handed out at a time: one for each thread and half as many again, because the thread that hands them out works on
/// one meanwhile, and the others must not wait for it.
fn places_for(threads: usize) -> u64 {
    let threads = threads.clamp(1, VIEWS_AT_ONCE) as u64;
    threads + threads / 2
}
