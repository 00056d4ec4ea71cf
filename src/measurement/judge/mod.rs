//! What the figures mean: verdicts, the order of what is worst, the changes to make, and what to leave alone.
pub(super) mod correction;
pub(super) mod leave_alone;
pub(crate) mod ranking;
pub(super) mod verdict;
