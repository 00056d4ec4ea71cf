//! Why a render cannot be drawn.
use crate::{meshes, printable::shortened, registration, stop::Stopped};

/// Why a render cannot be drawn.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum Error {
    /// The run was asked to stop.
    #[error(transparent)]
    Stopped(#[from] Stopped),
    /// The mesh cannot be used.
    #[error("{0}")]
    Mesh(#[from] meshes::Error),
    /// The reference's camera cannot be solved.
    #[error("{0}")]
    Camera(#[from] registration::space::Error),
    /// Two cameras fit the marks.
    #[error(
        "two attitudes of the camera fit the datum landmarks, so the model cannot be drawn as it was seen; {}",
        advice(.decides)
    )]
    TwoAttitudes {
        /// A landmark beside those of the datum that tells them apart.
        decides: Option<String>,
    },
    /// The camera is not told well enough.
    #[error(
        "the marks tell where the camera shows the model to {found_px:.0} px only (one standard deviation at the corners of its box), and \
         {most_px:.0} px are asked for; mark more datum landmarks, at the ends of the model and nearer and farther, or state what is known of \
         the camera in \"interior\""
    )]
    Unsure {
        /// Standard deviation, reference pixels.
        found_px: f64,
        /// What is asked for.
        most_px: f64,
    },
    /// Places of landmarks that are not on the mesh.
    #[error(
        "the place of \"{}\" on the model (model_mm) is not near the mesh, {mesh}: {hint}",
        shortened(name)
    )]
    BesideMesh {
        /// The landmark that lies farthest off.
        name: String,
        /// The mesh's box in words.
        mesh: String,
        /// What may be the reason.
        hint: String,
    },
    /// A mesh that is many times as large as what is marked on it.
    #[error(
        "the mesh, {mesh}, is {times:.0} times as large as what the landmarks' places on the model (model_mm) reach over{units}; see whether \
         \"unit\" in \"model\" is the unit that the mesh was exported in"
    )]
    LargeMesh {
        /// How many times.
        times: f64,
        /// Which units lie so far apart.
        units: String,
        /// The mesh's box in words.
        mesh: String,
    },
    /// A part that the mesh does not have.
    #[error(
        "the landmark \"{}\" is on the part \"{}\", and the mesh has {known}",
        shortened(landmark),
        shortened(part)
    )]
    NoSuchPart {
        /// The landmark.
        landmark: String,
        /// The part that it names.
        part: String,
        /// The parts there are.
        known: String,
    },
    /// A datum part that the mesh does not have.
    #[error(
        "the \"datum\" of \"model\" names the part \"{}\", and the mesh has {known}",
        shortened(part)
    )]
    NoSuchDatum {
        /// The part.
        part: String,
        /// The parts there are.
        known: String,
    },
    /// A part of the symmetry that the mesh does not have.
    #[error(
        "{}: the \"symmetry\" of \"model\" names the part \"{}\", and the mesh has {known}",
        pointer,
        shortened(part)
    )]
    NoSuchMirrored {
        /// Where in the job, as a JSON pointer.
        pointer: String,
        /// The part.
        part: String,
        /// The parts there are.
        known: String,
    },
    /// More parts than a view has regions.
    #[error(
        "{found} parts of the mesh are seen, and a view has at most {most} regions; join parts that are judged together, or state \"regions\""
    )]
    TooManyParts {
        /// Parts that are seen.
        found: usize,
        /// Regions that a view may have.
        most: usize,
    },
    /// A landmark that the camera does not show.
    #[error(
        "the camera that the marks tell does not show the place of \"{}\" (model_mm): it lies behind it; see whether a coordinate has a wrong sign",
        shortened(name)
    )]
    Behind {
        /// The landmark.
        name: String,
    },
    /// Nothing can be drawn with the camera.
    #[error("the camera that the marks tell cannot be drawn from: {0}")]
    Projection(#[from] meshes::ProjectionError),
    /// The camera looks past the model.
    #[error(
        "nothing of the model is in the picture that the camera took; see whether the mesh has the axes and the unit of \"model_mm\""
    )]
    Nothing,
}

fn advice(decides: &Option<String>) -> String {
    match decides {
        Some(name) => format!(
            "the mark \"{}\" tells them apart: make it a datum landmark",
            shortened(name)
        ),
        None => "mark a datum landmark off the plane of the others".to_owned(),
    }
}

impl Error {
    /// Stable code for scripts.
    pub fn code(&self) -> &'static str {
        match self {
            Self::Stopped(_) => "stopped",
            Self::Mesh(error) => error.code(),
            Self::Camera(error) => error.code(),
            Self::TwoAttitudes { .. } => "two-attitudes",
            Self::Unsure { .. } => "camera-unsure",
            Self::BesideMesh { .. } => "places-beside-mesh",
            Self::LargeMesh { .. } => "mesh-too-large-for-places",
            Self::NoSuchPart { .. } | Self::NoSuchDatum { .. } | Self::NoSuchMirrored { .. } => {
                "unknown-part"
            }
            Self::TooManyParts { .. } => "too-many-parts",
            Self::Behind { .. } => "place-behind-camera",
            Self::Projection(error) => error.code(),
            Self::Nothing => "nothing-drawn",
        }
    }
}
