//! What names the landmarks of a view: spans, angles and regions.
use crate::{
    job::{
        Angle, Region, Span,
        error::{FaultKind, Faults},
        every::every,
        names::Names,
        raw::{RawAngle, RawLandmark, RawLength, RawRegion, RawSpan},
        shapes::{centre, outline, point},
        starter::of_user,
        surroundings::{Surroundings, tolerance},
    },
    printable::shortened,
    units::{length_from_number, parse_length},
};

/// The landmarks of a view, for the things that name them.
pub(super) struct MarkNames<'a> {
    pub(super) names: Names<'a>,
    pub(super) landmarks: &'a [RawLandmark],
    pub(super) around: &'a Surroundings,
}

impl MarkNames<'_> {
    /// Indices of two different landmarks; a fault of `to` is told at `to_at`.
    pub(super) fn two(
        &self,
        [from, to]: [&str; 2],
        [from_at, to_at]: [String; 2],
        faults: &mut Faults,
    ) -> Option<[usize; 2]> {
        let from_index = self.names.landmark(from, &from_at, faults);
        let to_index = self.names.landmark(to, &to_at, faults);
        let (from_index, to_index) = (from_index?, to_index?);
        if from_index == to_index {
            let name = shortened(to);
            faults.push(&to_at, FaultKind::SameLandmark { name });
            return None;
        }
        Some([from_index, to_index])
    }

    fn ends(&self, from: &str, to: &str, at: &str, faults: &mut Faults) -> Option<[usize; 2]> {
        let pointers = [format!("{at}/from"), format!("{at}/to")];
        self.two([from, to], pointers, faults)
    }

    /// Millimetres of a length and its words.
    pub(super) fn length(
        &self,
        raw: &RawLength,
        at: &str,
        faults: &mut Faults,
    ) -> Option<(f64, String)> {
        let unit = self.around.unit;
        match raw {
            RawLength::Number(number) => faults
                .keep(at, length_from_number(*number, unit))
                .map(|length| (length, format!("{number} {}", unit.symbol()))),
            RawLength::Text(text) => faults
                .keep(at, parse_length(text))
                .map(|length| (length, text.clone())),
        }
    }

    pub(super) fn span(&self, raw: &RawSpan, at: &str, faults: &mut Faults) -> Option<Span> {
        let [from, to] = self.ends(&raw.from, &raw.to, at, faults)?;
        Some(Span {
            name: raw.name.clone(),
            from,
            to,
            tolerance: tolerance(&raw.tolerance, self.around.tolerance),
        })
    }

    pub(super) fn angle(&self, raw: &RawAngle, at: &str, faults: &mut Faults) -> Option<Angle> {
        let ends = self.ends(&raw.from, &raw.to, at, faults);
        let against = raw.against.as_ref().map(|[from, to]| {
            let pointers = [format!("{at}/against/0"), format!("{at}/against/1")];
            self.two([from, to], pointers, faults)
        });
        let [from, to] = ends?;
        Some(Angle {
            name: raw.name.clone(),
            from,
            to,
            against: match against {
                None => None,
                Some(against) => Some(against?),
            },
            tolerance: tolerance(&raw.tolerance, self.around.tolerance),
        })
    }

    pub(super) fn region(&self, raw: &RawRegion, at: &str, faults: &mut Faults) -> Option<Region> {
        let corners: Vec<_> = raw.outline.iter().copied().map(point).collect();
        let corners = faults.keep(&format!("{at}/outline"), outline(&corners));
        let mut seen = std::collections::HashSet::new();
        let landmarks = every(raw.landmarks.iter().enumerate().map(|(index, name)| {
            let pointer = format!("{at}/landmarks/{index}");
            if !seen.insert(name) {
                let name = shortened(name);
                faults.push(&pointer, FaultKind::LandmarkListedTwice { name });
                return None;
            }
            self.names.landmark(name, &pointer, faults)
        }));
        let corners = corners?;
        Some(Region {
            name: raw.name.clone(),
            anchor: raw.anchor.map_or_else(|| centre(&corners), point),
            outline: corners,
            landmarks: landmarks?,
            tolerance: tolerance(&raw.tolerance, self.around.tolerance),
            note: of_user(raw.note.as_ref()),
        })
    }
}
