//! What the figures mean: verdicts, the order of what is worst, the changes to make, and what to leave alone.
pub(crate) mod correction;
pub(super) mod follows;
pub(super) mod leave_alone;
pub(super) mod pivot;
pub(crate) mod ranking;
pub(super) mod verdict;
