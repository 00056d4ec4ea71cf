//! What the views of a job take from the job.
use super::{Tolerance, raw::RawTolerance};
use crate::units::{ModelMm, ScaleRatio, Unit};
use std::path::{Path, PathBuf};

/// What the views take from the job.
#[derive(Clone, Debug)]
pub(super) struct Surroundings {
    /// Folder of the job file.
    pub folder: PathBuf,
    /// Unit of plain numbers.
    pub unit: Unit,
    /// Scale of the model.
    pub scale: ScaleRatio,
    /// Job-wide tolerance.
    pub tolerance: Tolerance,
    /// Parts of the model that are right; empty: the job does not say.
    pub datum: Vec<String>,
}

impl Surroundings {
    /// What holds where the file does not say, or says it wrongly.
    pub fn of_folder(folder: &Path) -> Self {
        Self {
            folder: folder.to_owned(),
            unit: Unit::default(),
            scale: ScaleRatio::one_to(1.0).expect("1 is above 0"),
            tolerance: Tolerance {
                proportion_percent: 2.0,
                offset: ModelMm(0.20),
                angle_deg: 1.0,
                edge_overlap: 0.5,
            },
            datum: Vec::new(),
        }
    }
}

/// The tolerance that is stated, as far as it is; else the wider one.
pub(super) fn tolerance(raw: &RawTolerance, wider: Tolerance) -> Tolerance {
    Tolerance {
        proportion_percent: raw.proportion_percent.unwrap_or(wider.proportion_percent),
        offset: raw.offset_mm.map_or(wider.offset, ModelMm),
        angle_deg: raw.angle_deg.unwrap_or(wider.angle_deg),
        edge_overlap: raw.edge_overlap.unwrap_or(wider.edge_overlap),
    }
}
