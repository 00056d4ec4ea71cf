//! The papers that a sheet is drawn for.
use serde::{Deserialize, Serialize};

/// Free on each side of a sheet, and between what stands on it, paper millimetres.
pub(crate) const MARGIN: f64 = 10.0;
pub(crate) const GAP: f64 = 5.0;

/// A paper size, landscape.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Paper {
    /// ISO 216 A4, 297 x 210 mm.
    #[default]
    A4,
    /// ISO 216 A3, 420 x 297 mm.
    A3,
    /// 11 x 8 1/2 in.
    Letter,
}

impl Paper {
    /// Width and height, millimetres, landscape.
    pub fn size_mm(self) -> [f64; 2] {
        match self {
            Self::A4 => [297.0, 210.0],
            Self::A3 => [420.0, 297.0],
            Self::Letter => [279.4, 215.9],
        }
    }
}
