//! Whether the reference is symmetric where the job says that the subject is, and what mirrored marks then tell.
mod check;
mod mirrored;
pub(crate) mod settings;

pub(super) use check::check;
pub use check::{PairAsymmetry, SymmetryCheck};
pub(super) use mirrored::Mirrored;
