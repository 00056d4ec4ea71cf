//! The mesh formats that are read.
use std::fmt;

/// The mesh formats that are read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum Format {
    /// Facets of three corners, as text.
    AsciiStl,
    /// Facets of three corners, as numbers.
    BinaryStl,
    /// Lists of vertices and polygons with objects and groups, as text.
    Obj,
    /// Elements that a header describes, as text or numbers.
    Ply,
    /// A JSON document with its buffers in it or beside it.
    Gltf,
    /// The same in one binary file.
    Glb,
    /// A zip package of XML documents.
    ThreeMf,
}

impl Format {
    /// Whether the format says what unit its lengths have.
    pub fn has_unit(self) -> bool {
        matches!(self, Self::Gltf | Self::Glb | Self::ThreeMf)
    }
}

impl Format {
    /// What stands before its name.
    pub(super) fn article(self) -> &'static str {
        match self {
            Self::AsciiStl | Self::BinaryStl | Self::Obj => "an",
            Self::Ply | Self::Gltf | Self::Glb | Self::ThreeMf => "a",
        }
    }
}

impl fmt::Display for Format {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::AsciiStl | Self::BinaryStl => "STL",
            Self::Obj => "OBJ",
            Self::Ply => "PLY",
            Self::Gltf => "glTF",
            Self::Glb => "GLB",
            Self::ThreeMf => "3MF",
        })
    }
}
