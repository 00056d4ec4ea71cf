//! The mesh of a job while its views are compared.
use super::{
    error::{Error, failure},
    sizes::Why,
};
use crate::{
    drawn::JobMesh,
    images::{Budget, BudgetError, Hold},
    job::{Job, RenderImage, View},
    report::ViewFailure,
};
use std::fs;

/// Bytes that a mesh takes for each byte of its files, while it is read and afterwards: facets with their corners, edges and normals
/// beside the file itself.
const EACH_BYTE: u64 = 10;

/// The mesh that the views of a run share, and the memory for it.
pub(super) struct RunMesh {
    read: Option<Result<JobMesh, ViewFailure>>,
    _memory: Option<Hold>,
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
        let none = |read| Self {
            read,
            _memory: None,
        };
        let Some(source) = (job.model.as_ref()).filter(|_| is_needed) else {
            return Ok(none(None));
        };
        let lengths = source.files.iter().map(|file| fs::metadata(&file.path));
        let bytes: u64 = lengths.map(|data| data.map_or(0, |data| data.len())).sum();
        let hold = match memory.take(EACH_BYTE.saturating_mul(bytes), stopped) {
            Ok(hold) => hold,
            Err(BudgetError::Stopped) => return Err(Error::Stopped),
            Err(error) => return Ok(none(Some(Err(failure(error.code(), &error))))),
        };
        let read = JobMesh::read(source).map_err(|error| failure(error.code(), &error));
        Ok(Self {
            read: Some(read),
            _memory: Some(hold),
        })
    }

    /// None: nothing needs it.
    pub(super) fn none() -> Self {
        Self {
            read: None,
            _memory: None,
        }
    }

    /// Whether it was read, or tried to be.
    pub(super) fn is_read(&self) -> bool {
        self.read.is_some()
    }

    /// The mesh, where it was read and can be used.
    pub(super) fn whole(&self) -> Option<&JobMesh> {
        self.read.as_ref()?.as_ref().ok()
    }

    /// The mesh for photos that are taken together, or why it cannot be used (code and words); `None` where the job has none.
    pub(super) fn for_photos(&self) -> Option<Result<&JobMesh, Why>> {
        let read = self.read.as_ref()?.as_ref();
        Some(read.map_err(|failure| (failure.code, failure.text.clone())))
    }

    /// The mesh for a view; `None` where it needs none.
    pub(super) fn of(&self, view: &View) -> Result<Option<&JobMesh>, ViewFailure> {
        match &self.read {
            Some(read) if needs_mesh(view) => read.as_ref().map(Some).map_err(Clone::clone),
            _ => Ok(None),
        }
    }
}

/// Whether a view is measured by the job's mesh.
pub(super) fn needs_mesh(view: &View) -> bool {
    view.render.image == RenderImage::Drawn || view.render.camera.is_some()
}
