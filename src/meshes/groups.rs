//! Things that belong together, by their indices: each leads to the first of its group.
//!
//! # Source
//! R. E. Tarjan, Efficiency of a good but not linear set union algorithm, Journal of the ACM 22 (1975), 215-225.

/// Makes the groups of `a` and `b` one.
pub(super) fn join(first: &mut [u32], a: u32, b: u32) {
    let (a, b) = (root(first, a), root(first, b));
    first[a.max(b) as usize] = a.min(b);
}

/// The first of a group; the way there is halved as it is gone.
pub(super) fn root(first: &mut [u32], mut of: u32) -> u32 {
    while first[of as usize] != of {
        first[of as usize] = first[first[of as usize] as usize];
        of = first[of as usize];
    }
    of
}
