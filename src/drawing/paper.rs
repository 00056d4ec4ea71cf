//! The papers that a sheet is drawn for.
use super::scene::Box2;
use serde::{Deserialize, Serialize};

/// Free on each side of a sheet, and between what stands on it, paper millimetres.
pub(crate) const MARGIN: f64 = 10.0;
pub(crate) const GAP: f64 = 5.0;

/// A sheet of paper as it is printed on: its size, and which side is up. Landscape unless [`portrait`](Self::portrait) says otherwise.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Paper {
    format: Format,
    is_portrait: bool,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
enum Format {
    A4,
    A3,
    Letter,
}

impl Paper {
    /// ISO 216 A4, 297 x 210 mm.
    pub const A4: Self = Self::landscape(Format::A4);
    /// ISO 216 A3, 420 x 297 mm.
    pub const A3: Self = Self::landscape(Format::A3);
    /// 11 x 8 1/2 in.
    pub const LETTER: Self = Self::landscape(Format::Letter);

    const fn landscape(format: Format) -> Self {
        Self {
            format,
            is_portrait: false,
        }
    }

    /// The same paper with its short side up.
    #[must_use]
    pub const fn portrait(self) -> Self {
        Self {
            is_portrait: true,
            ..self
        }
    }

    /// Width and height, millimetres.
    pub fn size_mm(self) -> [f64; 2] {
        let [short, long] = match self.format {
            Format::A4 => [210.0, 297.0],
            Format::A3 => [297.0, 420.0],
            Format::Letter => [215.9, 279.4],
        };
        if self.is_portrait {
            [short, long]
        } else {
            [long, short]
        }
    }

    /// What the paper is called.
    pub fn name(self) -> &'static str {
        match self.format {
            Format::A4 => "A4",
            Format::A3 => "A3",
            Format::Letter => "Letter",
        }
    }

    /// What lies within the margins.
    pub(crate) fn inside(self) -> Box2 {
        let [width, height] = self.size_mm();
        Box2::new(0.0, 0.0, width, height).grown(-MARGIN)
    }
}

impl Default for Paper {
    fn default() -> Self {
        Self::A4
    }
}
