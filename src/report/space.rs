//! What several photos tell together: its entries in the report, and its rows for spreadsheets.
use super::{
    finite::{figure, finite},
    json::*,
};
use crate::{
    job::{Job, View},
    measurement::PartInSpace,
    registration::space::{MarkFinding, together::PhotoFound},
    units::ModelMm,
};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// What the photos of "together" tell: the errors of the parts in space.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SpaceEntry {
    /// The worst verdict of the parts; null where no part has figures.
    pub verdict: Option<Verdict>,
    /// The photos, as the job lists them.
    pub views: Vec<SpaceViewEntry>,
    /// The parts, the worst first.
    pub parts: Vec<SpacePartEntry>,
    /// Parts that no photo with a camera marks.
    pub unmarked: Vec<String>,
    /// By how much what is expected of parts was widened, because they are off by more.
    pub expected_widened: WidenedEntry,
    /// What to change in CAD, the worst first.
    pub corrections: Vec<CorrectionEntry>,
}

/// One of the photos.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SpaceViewEntry {
    /// Its view.
    pub name: String,
    /// Why its camera could not be told, and it took no part; null where it could.
    pub error: Option<ErrorEntry>,
    /// Three rows of four numbers that take model millimetres (x, y, z, 1) to pixels of its picture, homogeneous.
    pub matrix: Option<[[f64; 4]; 3]>,
    /// Focal length by all photos, pixels; null where it cannot be told.
    pub focal_length_px: Option<Figure>,
    /// Root mean square of the residuals that are left, pixels.
    pub rms_px: Option<f64>,
    /// Standard deviation of a mark, as stated or as estimated, pixels.
    pub mark_sigma_px: Option<f64>,
    /// Landmarks that contradict the others and are left out.
    pub wrong: Vec<String>,
    /// Pairs whose marks were exchanged and are taken the other way round.
    pub exchanged: Vec<[String; 2]>,
}

/// Factors on what is expected.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct WidenedEntry {
    /// Of width, depth and height.
    pub size: Option<f64>,
    /// Of turns.
    pub rotation: Option<f64>,
    /// Of offsets.
    pub offset: Option<f64>,
}

/// A part in space: model minus subject, along the axes of the model. What cannot be told is null.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SpacePartEntry {
    /// Its name: that of its regions.
    pub name: String,
    /// Middle of the box of its landmarks, about which turns, sizes and offsets are stated, model millimetres.
    pub anchor_model_mm: [f64; 3],
    /// How far its landmarks reach along each axis, model millimetres.
    pub extent_model_mm: [f64; 3],
    /// Marks that count, over all photos.
    pub marks: usize,
    /// Views that they are in.
    pub views: Vec<String>,
    /// Size errors.
    pub size_percent: SizesInSpace,
    /// Turns about the axes: from y towards z, from z towards x, from x towards y.
    pub rotation_deg: Triple,
    /// Offsets on the model.
    pub offset_model_mm: Triple,
    /// The same on the full-size object.
    pub offset_full_size_mm: Triple,
    /// What is tolerated.
    pub tolerance: Tolerance,
    /// The worst of what is told; undecided where nothing is.
    pub verdict: Verdict,
    /// The largest error in units of its tolerance.
    pub times_tolerance: Option<f64>,
    /// What the photos do not tell.
    pub cannot_tell: Vec<String>,
    /// Which further photo would tell more.
    pub would_tell: Option<String>,
    /// What to change in CAD.
    pub correction: Option<String>,
}

/// Errors of a part's sizes.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SizesInSpace {
    /// Along x.
    pub width: Option<Figure>,
    /// Along y.
    pub depth: Option<Figure>,
    /// Along z.
    pub height: Option<Figure>,
}

/// A figure for each axis of the model.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Triple {
    /// Along or about x.
    pub x: Option<Figure>,
    /// Along or about y.
    pub y: Option<Figure>,
    /// Along or about z.
    pub z: Option<Figure>,
}

/// What became of one photo: its view, and its camera or why there is none (code and words).
pub type SpacePhoto<'a> = (&'a View, Result<&'a PhotoFound, (&'static str, String)>);

impl SpaceEntry {
    /// Collects what was found.
    pub fn new(
        job: &Job,
        photos: &[SpacePhoto<'_>],
        parts: &[PartInSpace],
        unmarked: Vec<String>,
        widened: [f64; 3],
    ) -> Self {
        let mut parts: Vec<&PartInSpace> = parts.iter().collect();
        parts.sort_by(|a, b| {
            let order = b.verdict.cmp(&a.verdict);
            order.then(b.times_tolerance.total_cmp(&a.times_tolerance))
        });
        let names: Vec<&str> = photos.iter().map(|(view, _)| view.name.as_str()).collect();
        let mut corrections: Vec<CorrectionEntry> = parts
            .iter()
            .filter_map(|part| part.correction.as_ref())
            .map(|c| CorrectionEntry {
                about: c.about.clone(),
                text: c.text.clone(),
                times_tolerance: finite(c.times_tolerance),
            })
            .collect();
        let times = |c: &CorrectionEntry| c.times_tolerance.unwrap_or(0.0);
        corrections.sort_by(|a, b| times(b).total_cmp(&times(a)));
        Self {
            verdict: parts.iter().map(|part| part.verdict).max(),
            views: photos.iter().map(view_entry).collect(),
            parts: parts
                .iter()
                .map(|part| part_entry(job, part, &names))
                .collect(),
            unmarked,
            expected_widened: WidenedEntry {
                size: finite(widened[0]),
                rotation: finite(widened[1]),
                offset: finite(widened[2]),
            },
            corrections,
        }
    }

    /// Whether a photo took no part.
    pub fn has_failed_views(&self) -> bool {
        self.views.iter().any(|view| view.error.is_some())
    }
}

fn view_entry((view, found): &SpacePhoto<'_>) -> SpaceViewEntry {
    let empty = SpaceViewEntry {
        name: view.name.clone(),
        error: None,
        matrix: None,
        focal_length_px: None,
        rms_px: None,
        mark_sigma_px: None,
        wrong: Vec::new(),
        exchanged: Vec::new(),
    };
    let found = match found {
        Ok(found) => found,
        Err((code, text)) => {
            let (code, text) = ((*code).to_owned(), text.clone());
            return SpaceViewEntry {
                error: Some(ErrorEntry { code, text }),
                ..empty
            };
        }
    };
    // The marks of a photo are those landmarks that have a place on the model.
    let placed = view.landmarks.iter().filter(|l| l.model_mm.is_some());
    let names: Vec<&str> = placed.map(|l| l.name.as_str()).collect();
    let marks = || names.iter().zip(&found.marks).enumerate();
    let wrong = marks().filter(|(_, (_, fit))| fit.finding == MarkFinding::Wrong);
    let exchanged = marks().filter_map(|(k, (name, fit))| match fit.finding {
        MarkFinding::ExchangedWith(other) if other > k => {
            Some([(*name).to_owned(), (*names.get(other)?).to_owned()])
        }
        _ => None,
    });
    SpaceViewEntry {
        matrix: Some(found.camera.camera.rows()),
        focal_length_px: found.camera.focal_px.figure().map(figure),
        rms_px: finite(found.rms_px),
        mark_sigma_px: finite(found.mark_sigma_px),
        wrong: wrong.map(|(_, (name, _))| (*name).to_owned()).collect(),
        exchanged: exchanged.collect(),
        ..empty
    }
}

fn part_entry(job: &Job, part: &PartInSpace, names: &[&str]) -> SpacePartEntry {
    let told = |k: usize| part.found.errors[k].told();
    let triple = |first: usize| Triple {
        x: told(first).map(figure),
        y: told(first + 1).map(figure),
        z: told(first + 2).map(figure),
    };
    let full_size =
        |k: usize| told(k).map(|f| figure(f.times(ModelMm(1.0).full_size(job.scale).0)));
    let views = part.found.photos.iter().filter_map(|&k| names.get(k));
    SpacePartEntry {
        name: part.name.clone(),
        anchor_model_mm: part.found.anchor_mm,
        extent_model_mm: part.found.extent_mm,
        marks: part.found.marks,
        views: views.map(|name| (*name).to_owned()).collect(),
        size_percent: SizesInSpace {
            width: told(0).map(figure),
            depth: told(1).map(figure),
            height: told(2).map(figure),
        },
        rotation_deg: triple(3),
        offset_model_mm: triple(6),
        offset_full_size_mm: Triple {
            x: full_size(6),
            y: full_size(7),
            z: full_size(8),
        },
        tolerance: Tolerance {
            proportion_percent: part.tolerance.proportion_percent,
            offset_mm: part.tolerance.offset.0,
            angle_deg: part.tolerance.angle_deg,
            edge_overlap: part.tolerance.edge_overlap,
        },
        verdict: part.verdict,
        times_tolerance: finite(part.times_tolerance),
        cannot_tell: part.cannot_tell.clone(),
        would_tell: part.would_tell.clone(),
        correction: part.correction.as_ref().map(|c| c.text.clone()),
    }
}

impl SpacePartEntry {
    /// The nine errors with their names, units and tolerances.
    pub(super) fn rows(&self) -> [(&'static str, &'static str, Option<Figure>, f64); 9] {
        let (sizes, turns, offsets) = (
            &self.size_percent,
            &self.rotation_deg,
            &self.offset_model_mm,
        );
        let limits = &self.tolerance;
        let names = crate::measurement::NAMES_IN_SPACE;
        [
            (names[0], "%", sizes.width, limits.proportion_percent),
            (names[1], "%", sizes.depth, limits.proportion_percent),
            (names[2], "%", sizes.height, limits.proportion_percent),
            (names[3], "deg", turns.x, limits.angle_deg),
            (names[4], "deg", turns.y, limits.angle_deg),
            (names[5], "deg", turns.z, limits.angle_deg),
            (names[6], "mm on the model", offsets.x, limits.offset_mm),
            (names[7], "mm on the model", offsets.y, limits.offset_mm),
            (names[8], "mm on the model", offsets.z, limits.offset_mm),
        ]
    }
}
