//! Known lengths and symmetric landmarks of a view.
use super::marks::MarkNames;
use crate::{
    job::{
        Axis, CalliperReading, End, Known, Side, Symmetry,
        error::{FaultKind, Faults},
        every::every,
        raw::{Mark, RawAxis, RawEnd, RawKnown, RawMeasured, RawSide, RawSymmetry},
    },
    printable::shortened,
    units::{FullSizeMm, ModelMm},
};

impl MarkNames<'_> {
    pub(super) fn known(&self, raw: &RawKnown, at: &str, faults: &mut Faults) -> Option<Known> {
        let length = self.known_length(raw, at, faults);
        let sigma = self.known_sigma(raw, at, faults);
        let from = self.end(&raw.from, &format!("{at}/from"), faults);
        let to = self.end(&raw.to, &format!("{at}/to"), faults);
        let side = match raw.side {
            RawSide::Render => Side::Render,
            RawSide::Reference => Side::Reference,
        };
        let ends = [from?, to?];
        let px = self.apart(side, ends, &format!("{at}/to"), faults)?;
        let (length, text) = length?.unzip();
        let sigma = sigma?;
        if let Some(length) = length {
            faults.keep(at, check_scale(px, length.at(self.around.scale)))?;
        }
        Some(Known {
            side,
            from: ends[0],
            to: ends[1],
            length,
            sigma,
            along: raw.along.map(|axis| match axis {
                RawAxis::Horizontal => Axis::Horizontal,
                RawAxis::Vertical => Axis::Vertical,
            }),
            text: text.unwrap_or_default(),
        })
    }

    /// A calliper reading, and the known length of the render that it is as well.
    pub(super) fn measured(
        &self,
        raw: &RawMeasured,
        at: &str,
        faults: &mut Faults,
    ) -> Option<(CalliperReading, Known)> {
        let known = RawKnown {
            side: RawSide::Render,
            from: RawEnd::Landmark(raw.from.clone()),
            to: RawEnd::Landmark(raw.to.clone()),
            along: None,
            full_size: None,
            model: Some(raw.model.clone()),
            sigma: None,
        };
        let known = self.known(&known, at, faults)?;
        let (End::Landmark(from), End::Landmark(to)) = (known.from, known.to) else {
            return None;
        };
        let reading = CalliperReading {
            from,
            to,
            length: known.length?.at(self.around.scale),
            sigma: raw.sigma_mm.map(ModelMm),
        };
        Some((reading, known))
    }

    /// The length with its words: `Some(None)` where only a direction is known.
    fn known_length(
        &self,
        raw: &RawKnown,
        at: &str,
        faults: &mut Faults,
    ) -> Option<Option<(FullSizeMm, String)>> {
        match (&raw.full_size, &raw.model) {
            (Some(length), None) => {
                let (length, text) = self.length(length, &format!("{at}/full_size"), faults)?;
                Some(Some((FullSizeMm(length), text)))
            }
            (None, Some(length)) => {
                let (length, text) = self.length(length, &format!("{at}/model"), faults)?;
                Some(Some((ModelMm(length).full_size(self.around.scale), text)))
            }
            (Some(_), Some(_)) => {
                faults.push(at, FaultKind::KnownWithTwoLengths);
                None
            }
            (None, None) if raw.along.is_some() => Some(None),
            (None, None) => {
                faults.push(at, FaultKind::KnownWithoutLength);
                None
            }
        }
    }

    /// How well a known length is known, on the full-size object: `Some(None)` where nothing is said of it.
    fn known_sigma(
        &self,
        raw: &RawKnown,
        at: &str,
        faults: &mut Faults,
    ) -> Option<Option<FullSizeMm>> {
        let Some(sigma) = &raw.sigma else {
            return Some(None);
        };
        let (sigma, _) = self.length(sigma, &format!("{at}/sigma"), faults)?;
        match (&raw.full_size, &raw.model) {
            (None, None) => {
                faults.push(&format!("{at}/sigma"), FaultKind::SigmaOfNoLength);
                None
            }
            (_, Some(_)) => Some(Some(ModelMm(sigma).full_size(self.around.scale))),
            (Some(_), None) => Some(Some(FullSizeMm(sigma))),
        }
    }

    fn end(&self, raw: &RawEnd, at: &str, faults: &mut Faults) -> Option<End> {
        match raw {
            RawEnd::Landmark(name) => self.names.landmark(name, at, faults).map(End::Landmark),
            RawEnd::Point(Mark(point)) => Some(End::Point(*point)),
        }
    }

    /// The distance of both ends, pixels as marked; two ends in one place have none.
    fn apart(&self, side: Side, ends: [End; 2], at: &str, faults: &mut Faults) -> Option<f64> {
        if let [End::Landmark(a), End::Landmark(b)] = ends
            && a == b
        {
            let name = shortened(&self.landmarks[a].name);
            faults.push(at, FaultKind::SameLandmark { name });
            return None;
        }
        let place = |end| match (end, side) {
            (End::Point(point), _) => Some(point),
            // A mark that is not there is told where the landmark is looked at.
            (End::Landmark(i), Side::Render) => self.landmarks[i].render.map(|mark| mark.0),
            (End::Landmark(i), Side::Reference) => Some(self.landmarks[i].reference.0),
        };
        let (from, to) = (place(ends[0])?, place(ends[1])?);
        if from == to {
            faults.push(at, FaultKind::SamePoint { point: to });
            return None;
        }
        Some((to[0] - from[0]).hypot(to[1] - from[1]))
    }

    pub(super) fn symmetry(
        &self,
        raw: &RawSymmetry,
        at: &str,
        faults: &mut Faults,
    ) -> Option<Symmetry> {
        let mut seen = std::collections::HashSet::new();
        let mut mark = |name: &String, pointer: &str| {
            if !seen.insert(name.clone()) {
                let name = shortened(name);
                faults.push(pointer, FaultKind::LandmarkListedTwice { name });
                return None;
            }
            self.names.landmark(name, pointer, faults)
        };
        let pairs = every(
            raw.pairs
                .iter()
                .enumerate()
                .map(|(index, [first, second])| {
                    let first = mark(first, &format!("{at}/pairs/{index}/0"));
                    let second = mark(second, &format!("{at}/pairs/{index}/1"));
                    Some([first?, second?])
                }),
        );
        let on_axis = raw.axis.iter().enumerate();
        let axis = every(on_axis.map(|(index, name)| mark(name, &format!("{at}/axis/{index}"))));
        let (pairs, axis) = (pairs?, axis?);
        // Each pair observes twice and each landmark on the axis once; the axis takes two.
        if 2 * pairs.len() + axis.len() < 3 {
            faults.push(&format!("{at}/pairs"), FaultKind::SymmetryTooFew);
            return None;
        }
        Some(Symmetry { pairs, axis })
    }
}

/// Pixels that a millimetre of the model may have in an image: from a metre a pixel to ten nanometres a pixel, beyond any
/// model and any lens (a judgement). Outside of it a unit or a scale is wrong, and every offset would pass or fail by it.
const PX_PER_MODEL_MM: std::ops::RangeInclusive<f64> = 1e-3..=1e5;

fn check_scale(px: f64, length: ModelMm) -> Result<(), FaultKind> {
    let px_per_mm = px / length.0;
    if PX_PER_MODEL_MM.contains(&px_per_mm) {
        Ok(())
    } else {
        Err(FaultKind::KnownOutOfScale {
            model_mm: length.0,
            px,
        })
    }
}

/// Whether no two known lengths of an image lie between the same two points.
pub(super) fn are_stated_once(known: &[Known], at: &str, faults: &mut Faults) -> bool {
    let is_same = |a: &Known, b: &Known| {
        let ends = [b.from, b.to];
        a.side == b.side && (ends == [a.from, a.to] || ends == [a.to, a.from])
    };
    let mut all = true;
    for (index, later) in known.iter().enumerate() {
        let both_long = |k: &Known| k.length.is_some() && later.length.is_some();
        let mut earlier = known[..index].iter();
        if let Some(first) = earlier.position(|k| both_long(k) && is_same(k, later)) {
            all = false;
            let kind = FaultKind::KnownTwice {
                first: format!("{at}/{first}"),
                other: shortened(&known[first].text),
                found: shortened(&later.text),
            };
            faults.push(&format!("{at}/{index}"), kind);
        }
    }
    all
}
