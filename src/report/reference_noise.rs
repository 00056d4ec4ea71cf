//! What a report keeps of the noise of a reference, so that a later comparison with the same marks on the same reference knows
//! what both have in common.
use super::{finite::finite, revision::settings::REVISION};
use crate::{
    job::View,
    measurement::{FigureByReference, MeasureKind, PartKind, ReferenceNoise},
    registration::ByReference,
};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Value of [`ReferenceNoiseEntry::version`].
pub const NOISE_VERSION: u32 = 1;

/// What the noise of the reference does to the figures of a view.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ReferenceNoiseEntry {
    /// Raised when what follows changes its meaning; one of another version is not used.
    pub version: u32,
    /// Marks in the reference as they were taken, by landmark, reference pixels.
    pub marks_px: BTreeMap<String, [f64; 2]>,
    /// What the rectification is known again by; empty where nothing of it is unsure.
    pub rectification: Vec<f64>,
    /// One for each figure that is told.
    pub figures: Vec<FigureNoiseEntry>,
}

/// What the noise of the reference does to one figure.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct FigureNoiseEntry {
    /// What the figure is of.
    pub of: PartKind,
    /// Name of the region, span or angle.
    pub name: String,
    /// Which of its figures.
    pub measure: MeasureKind,
    /// How far 95 % of the noise of a landmark's mark move it, along x and y of the reference: per cent, degrees, or render
    /// pixels for an offset. Landmarks that move it by next to nothing are left out.
    pub by_mark: BTreeMap<String, [f64; 2]>,
    /// The same for the numbers of the rectification.
    pub by_rectification: Vec<f64>,
}

/// The entry of a view.
pub(super) fn entry(view: &View, noise: &ReferenceNoise) -> ReferenceNoiseEntry {
    let marks = view.landmarks.iter().zip(&noise.marks);
    ReferenceNoiseEntry {
        version: NOISE_VERSION,
        marks_px: marks.map(|(l, mark)| (l.name.clone(), *mark)).collect(),
        rectification: noise.rectification.clone(),
        figures: noise.figures.iter().map(|f| figure(view, f)).collect(),
    }
}

fn figure(view: &View, figure: &FigureByReference) -> FigureNoiseEntry {
    let ByReference {
        marks,
        rectification,
    } = &figure.moved;
    let most = marks
        .iter()
        .flat_map(|(_, moved)| moved)
        .chain(rectification)
        .fold(0.0_f64, |most, moved| most.max(moved.abs()));
    let least = REVISION.least_part.get() * most;
    let counts = |moved: &f64| moved.abs() >= least;
    let kept = marks.iter().filter(|(_, moved)| moved.iter().any(counts));
    FigureNoiseEntry {
        of: figure.of,
        name: figure.name.clone(),
        measure: figure.measure,
        by_mark: kept
            .filter_map(|(i, moved)| Some((view.landmarks.get(*i)?.name.clone(), *moved)))
            .filter(|(_, moved)| moved.iter().all(|v| finite(*v).is_some()))
            .collect(),
        by_rectification: rectification.clone(),
    }
}
