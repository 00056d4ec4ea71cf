//! Why a mesh cannot be used: which file, where in it, what was found, what to do.
use super::format::Format;
use crate::{job::InputError, printable::shortened, stop::Stopped};
use std::path::PathBuf;

/// Why a mesh file cannot be used.
#[derive(Debug, thiserror::Error)]
#[error("{}: {fault}", path.display())]
pub struct Error {
    /// The file.
    pub path: PathBuf,
    /// What is wrong with it.
    #[source]
    pub fault: Fault,
}

impl Error {
    /// A short name of the fault that stays the same from version to version.
    pub fn code(&self) -> &'static str {
        self.fault.code()
    }
}

/// What is wrong with a mesh file; the text goes behind its path.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum Fault {
    /// The run was asked to stop.
    #[error(transparent)]
    Stopped(#[from] Stopped),
    /// The file is not there, is no file, is too long or is not handed out.
    #[error(transparent)]
    Input(#[from] InputError),
    /// The content is no mesh that is read here.
    #[error(
        "holds {found}; STL, OBJ, PLY, glTF, GLB and 3MF can be read; export the model as one of them"
    )]
    Format {
        /// What the content looks like.
        found: &'static str,
    },
    /// The format has no unit of length and none was stated.
    #[error(
        "{} {format} file has no unit of length; state the unit that the model was exported in: mm, cm, m, in or ft (--unit, or \"unit\" in \
         the job's \"model\")", format.article()
    )]
    UnitMissing {
        /// What the content is.
        format: Format,
    },
    /// More of something than is read.
    #[error("has {}{found} {what}; at most {most} are read; {advice}", if *.is_least { "at least " } else { "" })]
    TooMany {
        /// What there is too much of, in the plural.
        what: &'static str,
        /// How many there are.
        found: u64,
        /// Whether counting ended there.
        is_least: bool,
        /// How many are read.
        most: u64,
        /// What to do.
        advice: &'static str,
    },
    /// The content contradicts its format.
    #[error(
        "the {format} file cannot be read at {}: {}; export it again",
        shortened(place),
        shortened(found)
    )]
    Damaged {
        /// What the content is.
        format: Format,
        /// Where, such as "line 12".
        place: String,
        /// What was found there and what was expected.
        found: String,
    },
    /// Something that the format allows but that is not read here.
    #[error(
        "the {format} file has {}, which is not read; {advice}",
        shortened(found)
    )]
    Unsupported {
        /// What the content is.
        format: Format,
        /// What it has.
        found: String,
        /// What to do.
        advice: &'static str,
    },
    /// The mesh names a file that is not beside it.
    #[error(
        "names the file \"{}\", which does not lie in the mesh's own folder; put it there or export the mesh as one file (GLB)",
        shortened(name)
    )]
    OutsideFolder {
        /// The file as it is named.
        name: String,
    },
    /// A file that the mesh names cannot be used.
    #[error("its file \"{}\" {source}", shortened(name))]
    Beside {
        /// The file as it is named.
        name: String,
        /// Why.
        source: InputError,
    },
    /// No facet has an area.
    #[error("the {format} file has no facet with an area; export the model as a mesh of triangles")]
    NoFacets {
        /// What the content is.
        format: Format,
    },
}

impl Fault {
    /// A short name of the fault that stays the same from version to version.
    pub fn code(&self) -> &'static str {
        match self {
            Self::Stopped(_) => "stopped",
            Self::Input(InputError::Missing) => "mesh-missing",
            Self::Input(InputError::NotAFile { .. }) => "mesh-no-file",
            Self::Input(InputError::TooLong { .. }) => "mesh-file-too-long",
            Self::Input(InputError::Unreadable(_)) => "mesh-unreadable",
            Self::Format { .. } => "mesh-format",
            Self::UnitMissing { .. } => "mesh-unit-missing",
            Self::TooMany { .. } => "mesh-too-large",
            Self::Damaged { .. } => "mesh-damaged",
            Self::Unsupported { .. } => "mesh-rare-kind",
            Self::OutsideFolder { .. } => "mesh-outside-folder",
            Self::Beside { .. } => "mesh-file-beside",
            Self::NoFacets { .. } => "mesh-no-facets",
        }
    }

    /// The content contradicts its format.
    pub(super) fn damaged(
        format: Format,
        place: impl Into<String>,
        found: impl Into<String>,
    ) -> Self {
        Self::Damaged {
            format,
            place: place.into(),
            found: found.into(),
        }
    }
}
