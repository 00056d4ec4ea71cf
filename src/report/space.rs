//! What several photos tell together: its entries in the report, and its rows for spreadsheets.
use super::{
    finite::{figure, finite},
    json::*,
};
use crate::{
    job::{Job, TogetherLength, View},
    measurement::PartInSpace,
    registration::space::{
        MarkFinding,
        together::{EdgesOfPart, LengthFound, PhotoFound},
    },
    statistics::Measured,
    units::ModelMm,
};

/// What became of one photo: its view, and its camera or why there is none (code and words).
pub type SpacePhoto<'a> = (&'a View, Result<&'a PhotoFound, (&'static str, String)>);

/// What the search for edges came to: why it could not be done (code and words).
pub type EdgesUnseen = Option<(&'static str, String)>;

/// Names of parts that have no figures.
#[derive(Clone, Debug, Default)]
pub struct PartsBeside {
    /// Parts that no photo with a camera marks.
    pub unmarked: Vec<String>,
    /// Datum parts one of which contradicts the others, where it cannot be told which.
    pub rivals: Vec<String>,
}

/// What known lengths tell.
#[derive(Clone, Debug, Default)]
pub struct InSpaceLengths<'a> {
    /// By how much the model's datum is larger than its scale asks for, per cent.
    pub larger_percent: Option<Measured>,
    /// Each known length with what it comes to.
    pub found: Vec<(&'a TogetherLength, LengthFound)>,
}

fn length_entry(job: &Job, (length, found): &(&TogetherLength, LengthFound)) -> SpaceLengthEntry {
    SpaceLengthEntry {
        from: length.ends[0].name.clone(),
        to: length.ends[1].name.clone(),
        full_size_mm: length.length.0,
        asked_full_size_mm: finite(ModelMm(found.asked_mm).full_size(job.scale).0),
        wrong: found.is_wrong,
        uncontrolled: found.is_uncontrolled,
    }
}

impl SpaceEntry {
    /// Collects what was found.
    pub fn new(
        job: &Job,
        (photos, parts): (&[SpacePhoto<'_>], &[PartInSpace]),
        beside: PartsBeside,
        lengths: InSpaceLengths<'_>,
        (widened, unseen): ([f64; 3], EdgesUnseen),
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
            unmarked: beside.unmarked,
            datum_disagrees: beside.rivals,
            picture: None,
            model_larger_percent: lengths.larger_percent.map(figure),
            known: lengths.found.iter().map(|l| length_entry(job, l)).collect(),
            expected_widened: WidenedEntry {
                size: finite(widened[0]),
                rotation: finite(widened[1]),
                offset: finite(widened[2]),
            },
            edges_error: unseen.map(|(code, text)| ErrorEntry {
                code: code.to_owned(),
                text,
            }),
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
        edge_points: 0,
        datum_edges_contradict: false,
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
        edge_points: found.edge_points,
        datum_edges_contradict: found.is_datum_strained,
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
        own_axes: part.axes.map(|axes| axes.vectors()),
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
        altered_datum: part.found.is_altered_datum,
        edges: edges_entries(&part.found.edges, names),
        edges_unused: match part.found.edges {
            EdgesOfPart::NotLookedFor | EdgesOfPart::Used(_) => None,
            EdgesOfPart::TooFew => Some(UnusedEdges::TooFew),
            EdgesOfPart::NoBetterThanChance => Some(UnusedEdges::NoBetterThanChance),
            EdgesOfPart::AgainstMarks => Some(UnusedEdges::AgainstMarks),
        },
    }
}

fn edges_entries(edges: &EdgesOfPart, names: &[&str]) -> Vec<SpaceEdgesEntry> {
    let EdgesOfPart::Used(photos) = edges else {
        return Vec::new();
    };
    let entry = |(photo, points): &(usize, usize)| {
        Some(SpaceEdgesEntry {
            view: (*names.get(*photo)?).to_owned(),
            points: *points,
        })
    };
    photos.iter().filter_map(entry).collect()
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
        let names = match self.own_axes {
            Some(_) => crate::measurement::NAMES_ALONG_OWN,
            None => crate::measurement::NAMES_IN_SPACE,
        };
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
