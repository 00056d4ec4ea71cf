//! One figure of a report, held against that of another.
use super::{
    entry::{Change, RevisionMeasure},
    pairing::{self, Paired, SharedNoise, paired},
};
use crate::{
    measurement::{MeasureKind, PartKind},
    report::json::Figure,
};

/// A figure of a report, as it is held against that of another.
pub(super) struct Told<'a> {
    pub(super) of: PartKind,
    pub(super) name: &'a str,
    pub(super) measure: MeasureKind,
    pub(super) unit: &'static str,
    pub(super) figure: Option<Figure>,
    pub(super) tolerance: Option<f64>,
    /// It rests on edges, or on edges and marks.
    pub(super) is_by_edges: bool,
    /// What a render pixel is in the figure's unit, where its noise is in pixels.
    pub(super) per_px: f64,
}

impl Told<'_> {
    pub(super) fn is_same(&self, other: &Told<'_>) -> bool {
        (self.of, self.name, self.measure) == (other.of, other.name, other.measure)
    }

    /// What became of it; `None` where neither report has it in a unit that both have.
    pub(super) fn since(
        &self,
        earlier: Option<&Told<'_>>,
        shared: &SharedNoise<'_>,
        to_newer_px: f64,
    ) -> Option<RevisionMeasure> {
        let Some(earlier) = earlier else {
            return Some(self.entry([None, self.figure], None, Change::New));
        };
        if earlier.unit != self.unit {
            return Some(self.entry([None, self.figure], None, Change::CannotTell));
        }
        let factor = if self.unit == PX { to_newer_px } else { 1.0 };
        let before = earlier.figure.map(|f| scaled(f, factor));
        let key = (self.of, self.name, self.measure);
        let pair = before.zip(self.figure).and_then(|(before, after)| {
            if shared.is_known() && pairing::are_one(before, after) {
                // Nothing that it rests on was changed; one of both was read from a file, with nine digits.
                return paired([after, after], f64::INFINITY);
            }
            let units = [earlier.per_px * factor, self.per_px];
            let common = shared.in_common(key, units);
            let are_by_edges = earlier.is_by_edges && self.is_by_edges;
            paired(
                [before, after],
                common.covariance([before, after], are_by_edges),
            )
        });
        let change = pair.map_or(Change::CannotTell, |pair| pair.change(self.tolerance));
        Some(self.entry([before, self.figure], pair, change))
    }

    pub(super) fn gone(&self) -> RevisionMeasure {
        self.entry([self.figure, None], None, Change::Gone)
    }

    pub(super) fn entry(
        &self,
        [before, after]: [Option<Figure>; 2],
        pair: Option<Paired>,
        change: Change,
    ) -> RevisionMeasure {
        RevisionMeasure {
            of: self.of,
            name: self.name.to_owned(),
            measure: self.measure,
            unit: self.unit.to_owned(),
            before,
            after,
            difference: pair.map(|p| crate::report::finite::figure(p.difference)),
            less_off: pair.map(|p| crate::report::finite::figure(p.less_off)),
            tolerance: self.tolerance,
            change,
        }
    }
}

fn scaled(f: Figure, factor: f64) -> Figure {
    Figure {
        value: f.value * factor,
        low: f.low * factor,
        high: f.high * factor,
    }
}

pub(super) const PERCENT: &str = "%";
pub(super) const DEGREES: &str = "°";
pub(super) const MM: &str = "mm";
pub(super) const PX: &str = "px";
