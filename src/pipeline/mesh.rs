//! The mesh of a job while its views are compared.
use super::{
    error::{Error, failure},
    sizes::Why,
};
use crate::{
    drawn::JobMesh,
    images::{Budget, BudgetError, Hold},
    job::{Job, ModelSource, RenderImage, View},
    report::ViewFailure,
};
use std::fs;

/// Bytes that a mesh takes for each byte of its files, while it is read and afterwards: facets with their corners, edges and normals
/// beside the file itself.
const EACH_BYTE: u64 = 10;

/// A job's mesh, and the memory for it.
#[derive(Debug)]
pub struct HeldMesh {
    /// The mesh.
    pub mesh: JobMesh,
    _memory: Hold,
}

/// Why a mesh is not held.
#[derive(Clone, Debug)]
pub enum NoMesh {
    /// It was asked to stop while it waited for memory.
    Stopped,
    /// It cannot be used.
    Failed(ViewFailure),
}

impl HeldMesh {
    /// Reads the mesh that a job names.
    ///
    /// # Errors
    /// [`NoMesh`].
    pub fn read(
        source: &ModelSource,
        memory: &Budget,
        stopped: &dyn Fn() -> bool,
    ) -> Result<Self, NoMesh> {
        let lengths = source.files.iter().map(|file| fs::metadata(&file.path));
        let bytes: u64 = lengths.map(|data| data.map_or(0, |data| data.len())).sum();
        let hold = memory.take(EACH_BYTE.saturating_mul(bytes), stopped);
        let hold = hold.map_err(|error| match error {
            BudgetError::Stopped => NoMesh::Stopped,
            error => NoMesh::Failed(failure(error.code(), &error)),
        })?;
        let read = JobMesh::read(source);
        let mesh = read.map_err(|error| NoMesh::Failed(failure(error.code(), &error)))?;
        Ok(Self {
            mesh,
            _memory: hold,
        })
    }
}

/// The mesh that the views of a run share.
pub(super) struct RunMesh {
    read: Option<Result<HeldMesh, ViewFailure>>,
}

impl RunMesh {
    /// Reads the mesh of a job where it is needed.
    ///
    /// # Errors
    /// [`Error::Stopped`]. What else goes wrong is told by the views that need it.
    pub(super) fn read(
        job: &Job,
        is_needed: bool,
        memory: &Budget,
        stopped: &dyn Fn() -> bool,
    ) -> Result<Self, Error> {
        let Some(source) = (job.model.as_ref()).filter(|_| is_needed) else {
            return Ok(Self::none());
        };
        let read = match HeldMesh::read(source, memory, stopped) {
            Ok(held) => Ok(held),
            Err(NoMesh::Stopped) => return Err(Error::Stopped),
            Err(NoMesh::Failed(failure)) => Err(failure),
        };
        Ok(Self { read: Some(read) })
    }

    /// None: nothing needs it.
    pub(super) fn none() -> Self {
        Self { read: None }
    }

    /// Whether it was read, or tried to be.
    pub(super) fn is_read(&self) -> bool {
        self.read.is_some()
    }

    /// The mesh, where it was read and can be used.
    pub(super) fn whole(&self) -> Option<&JobMesh> {
        let held = self.read.as_ref()?.as_ref().ok()?;
        Some(&held.mesh)
    }

    /// The mesh for photos that are taken together, or why it cannot be used (code and words); `None` where the job has none.
    pub(super) fn for_photos(&self) -> Option<Result<&JobMesh, Why>> {
        let read = self.read.as_ref()?.as_ref();
        let why = |failure: &ViewFailure| (failure.code, failure.text.clone());
        Some(read.map(|held| &held.mesh).map_err(why))
    }

    /// The mesh for a view; `None` where it needs none.
    pub(super) fn of(&self, view: &View) -> Result<Option<&JobMesh>, ViewFailure> {
        match &self.read {
            Some(read) if needs_mesh(view) => match read {
                Ok(held) => Ok(Some(&held.mesh)),
                Err(failure) => Err(failure.clone()),
            },
            _ => Ok(None),
        }
    }
}

/// Whether a view is measured by the job's mesh.
pub(super) fn needs_mesh(view: &View) -> bool {
    view.render.image == RenderImage::Drawn || view.render.camera.is_some()
}

/// Whether the job says which parts of its mesh are mirror images.
pub(super) fn has_symmetry(job: &Job) -> bool {
    (job.model.as_ref()).is_some_and(|model| !model.mirrored.is_empty())
}
