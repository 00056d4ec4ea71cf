//! One list of what to change in CAD, over all views: spans, angles and regions that tell of one fault are one change.
//!
//! An error of a part that several views see along the same axis of the model is their weighted mean; views that lie further
//! apart than one pair in a thousand would are said to contradict each other, and nothing is to be changed by them. What the
//! photos tell together of a part in space stands in the place of what each of those views tells alone.
//!
//! # Source
//! Weighted mean and its widening where the views scatter more than stated: Birge, "The calculation of errors by the method of
//! least squares", Physical Review 40 (1932) 207-227, equations (1) and (16). Views count as independent: each has its own
//! marks and its own datum.
use super::{
    finite::{figure, finite},
    json::*,
};
use crate::{
    measurement::{
        AXES, OWN_AXES, TURNS, calls_for_change, is_visible_beside, measured_factor_of, ranking,
        settings::REGIONS, verdict_of,
    },
    statistics::{
        Measured, normal_quantile,
        words::{Sign, decimals, plus_minus},
    },
    units::ModelMm,
};
use std::collections::HashMap;

/// What the sizes of a print as a whole are of.
const WHOLE_PRINT: &str = "whole print, in the slicer,";

/// What is off: readings of the same subject are held against each other.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
struct Subject {
    part: String,
    quantity: QuantityEntry,
    /// The axis of the model or of the part, or the view whose own axes count.
    along: Along,
}

#[derive(Clone, Debug, PartialEq, Eq, Hash)]
enum Along {
    Axis(usize),
    /// An axis of the part, which has its own.
    Own(usize),
    View(String),
}

impl Along {
    /// As an axis is written; `None` of a view.
    fn axis(&self) -> Option<&'static str> {
        match self {
            Self::Axis(axis) => Some(AXES[*axis]),
            Self::Own(axis) => Some(OWN_AXES[*axis]),
            Self::View(_) => None,
        }
    }
}

/// What one view, or all photos together, tells of a subject.
#[derive(Clone, Debug)]
struct Reading {
    error: Measured,
    tolerance: f64,
    views: Vec<String>,
    /// What a size is of, or how far a turned part reaches, millimetres on the model.
    size_mm: Option<f64>,
    about: Option<String>,
    /// How the change looks in the view: "anticlockwise", "left"; `None` of sizes and of what is told in space.
    looks: Option<&'static str>,
}

/// What the job asks for.
pub(super) struct Limits {
    pub(super) smallest_visible: ModelMm,
    /// Tolerance of a size, per cent, where no part has its own.
    pub(super) proportion_percent: f64,
}

/// What to change of each part, the worst part first; `space` is what photos tell together.
pub(super) fn list(
    views: &[ViewEntry],
    space: Option<&SpaceEntry>,
    limits: &Limits,
) -> Vec<ChangeEntry> {
    let mut gathered = Gathered::default();
    space
        .into_iter()
        .for_each(|space| gathered.add_space(space));
    for view in views.iter().filter(|view| !view.distrusted) {
        gathered.add_view(view, space, limits);
    }
    let writer = Writer {
        names_views: views.len() > 1,
        smallest_visible: limits.smallest_visible,
    };
    let subjects = gathered.all.iter();
    let mut changes: Vec<ChangeEntry> = subjects
        .filter_map(|(subject, readings)| writer.change(subject, readings))
        .collect();
    for view in views.iter().filter(|view| !view.distrusted) {
        changes.extend(writer.lines(view));
        told_too(&mut changes, view);
    }
    sorted(changes)
}

/// Everything that is told, by subject, in the order in which it came.
#[derive(Default)]
struct Gathered {
    all: Vec<(Subject, Vec<Reading>)>,
    places: HashMap<Subject, usize>,
}

impl Gathered {
    fn add(&mut self, subject: Subject, reading: Reading) {
        let next = self.all.len();
        let place = *self.places.entry(subject.clone()).or_insert(next);
        if place == next {
            self.all.push((subject, Vec::new()));
        }
        self.all[place].1.push(reading);
    }

    fn add_space(&mut self, space: &SpaceEntry) {
        for part in &space.parts {
            for (k, (_, _, figure, tolerance)) in part.rows().into_iter().enumerate() {
                let (quantity, axis) = match k / 3 {
                    0 => (QuantityEntry::Size, k),
                    1 => (QuantityEntry::Turn, k - 3),
                    _ => (QuantityEntry::Place, k - 6),
                };
                let extent = part.extent_model_mm;
                let Some(error) = figure.and_then(measured) else {
                    continue;
                };
                let subject = Subject {
                    part: part.name.clone(),
                    quantity,
                    along: match part.own_axes {
                        None => Along::Axis(axis),
                        Some(_) => Along::Own(axis),
                    },
                };
                let reading = Reading {
                    error,
                    tolerance,
                    views: part.views.clone(),
                    size_mm: Some(match quantity {
                        QuantityEntry::Turn => {
                            extent[(axis + 1) % 3].hypot(extent[(axis + 2) % 3]) / 2.0
                        }
                        _ => extent[axis],
                    }),
                    about: None,
                    looks: None,
                };
                self.add(subject, reading);
            }
        }
    }

    fn add_view(&mut self, view: &ViewEntry, space: Option<&SpaceEntry>, limits: &Limits) {
        let in_space = space.filter(|space| {
            let mut photos = space.views.iter();
            photos.any(|photo| photo.name == view.name && photo.error.is_none())
        });
        let is_told_in_space = |region: &&RegionEntry| {
            let mut parts = in_space.iter().flat_map(|space| &space.parts);
            parts.any(|part| part.name == region.name)
        };
        for region in view.regions.iter().filter(|r| !is_told_in_space(r)) {
            self.add_region(view, region);
        }
        for axis in view.print.iter().flat_map(|print| &print.axes) {
            self.add_print(view, axis, limits);
        }
    }

    /// The print as a whole, along one axis.
    fn add_print(&mut self, view: &ViewEntry, axis: &PrintAxisEntry, limits: &Limits) {
        let Some(error) = axis.larger_percent.and_then(measured) else {
            return;
        };
        let of_view = || Along::View(view.name.clone());
        let (quantity, along) = match direction(&axis.axis) {
            Some((axis, _)) => (QuantityEntry::Size, Along::Axis(axis)),
            None if axis.axis == "width" => (QuantityEntry::Width, of_view()),
            None => (QuantityEntry::Height, of_view()),
        };
        let subject = Subject {
            part: WHOLE_PRINT.to_owned(),
            quantity,
            along,
        };
        let reading = Reading {
            error,
            tolerance: limits.proportion_percent,
            views: vec![view.name.clone()],
            size_mm: axis.extent_mm,
            about: None,
            looks: None,
        };
        self.add(subject, reading);
    }

    fn add_region(&mut self, view: &ViewEntry, region: &RegionEntry) {
        let seen = Seen::new(view);
        let limits = &region.tolerance;
        let size = |axis: usize| region.size_model_mm.and_then(|size| size[axis]);
        let reach = || Some(size(0)?.hypot(size(1)?) / 2.0);
        let offset = &region.offset_model_mm;
        let sizes = [region.width_percent, region.height_percent];
        let shapes = [
            (sizes[0], limits.proportion_percent, size(0)),
            (sizes[1], limits.proportion_percent, size(1)),
            (region.rotation_deg, limits.angle_deg, reach()),
            (offset.x, limits.offset_mm, None),
            (offset.y, limits.offset_mm, None),
        ];
        for (k, (error, tolerance, size_mm)) in shapes.into_iter().enumerate() {
            // Turned and scaled about its pivot, the part needs not be moved.
            let goes_away = k > 2 && region.pivot.is_some();
            let Some(error) = error.and_then(measured).filter(|_| !goes_away) else {
                continue;
            };
            let (quantity, along, sign) = seen.subject(k);
            let about = region.pivot.as_ref().map(|pivot| pivot.landmark.clone());
            let subject = Subject {
                part: region.name.clone(),
                quantity,
                along,
            };
            self.add(
                subject,
                Reading {
                    error: error.times(sign),
                    tolerance,
                    views: vec![view.name.clone()],
                    size_mm,
                    about,
                    looks: looks(k, error.value()),
                },
            );
        }
    }
}

/// Which way a change goes in the view, of the five numbers of a region.
fn looks(k: usize, error: f64) -> Option<&'static str> {
    let [less, more] = match k {
        2 => ["clockwise", "anticlockwise"],
        3 => ["right", "left"],
        4 => ["down", "up"],
        _ => return None,
    };
    Some(if error > 0.0 { more } else { less })
}

/// How a view sees the axes of the model.
struct Seen<'a> {
    name: &'a str,
    /// The axes to the right and down, and whether each runs against it.
    axes: Option<[(usize, bool); 2]>,
}

impl<'a> Seen<'a> {
    fn new(view: &'a ViewEntry) -> Self {
        let axes = view.axes.as_ref().and_then(|axes| {
            let [right, down] = [direction(&axes.right)?, direction(&axes.down)?];
            (right.0 != down.0).then_some([right, down])
        });
        Self {
            name: &view.name,
            axes,
        }
    }

    /// What the k-th of a region's five numbers is of, and the sign that takes it to the axis of the model.
    fn subject(&self, k: usize) -> (QuantityEntry, Along, f64) {
        use QuantityEntry::{Height, Place, PlaceDown, PlaceRight, Size, Turn, Width};
        let Some([right, down]) = self.axes else {
            let quantity = [Width, Height, Turn, PlaceRight, PlaceDown][k];
            return (quantity, Along::View(self.name.to_owned()), 1.0);
        };
        let sign = |is_against: bool| if is_against { -1.0 } else { 1.0 };
        match k {
            0 => (Size, Along::Axis(right.0), 1.0),
            1 => (Size, Along::Axis(down.0), 1.0),
            3 => (Place, Along::Axis(right.0), sign(right.1)),
            4 => (Place, Along::Axis(down.0), sign(down.1)),
            // Clockwise takes what lies to the right down: by the right hand about right x down.
            _ => {
                let is_cyclic = (right.0 + 1) % 3 == down.0;
                let turn = sign(right.1) * sign(down.1) * sign(!is_cyclic);
                (Turn, Along::Axis(3 - right.0 - down.0), turn)
            }
        }
    }
}

/// The axis of "-z", and whether it runs against it; `None` where it is none.
fn direction(word: &str) -> Option<(usize, bool)> {
    let axis = word.trim_start_matches('-');
    let axis = AXES.iter().position(|name| *name == axis)?;
    Some((axis, word.starts_with('-')))
}

/// A report of an earlier run may hold anything.
fn measured(figure: Figure) -> Option<Measured> {
    Measured::new(figure.value, figure.low, figure.high)
}

/// The mean of several readings by their weights, wider where they scatter more than they say; `None` where two of them
/// contradict each other.
fn combined(readings: &[Reading]) -> Option<Measured> {
    let [first, others @ ..] = readings else {
        return None;
    };
    if others.is_empty() {
        return Some(first.error);
    }
    // Of a half width of 95 % to that which one pair in a thousand exceeds.
    let beyond = normal_quantile(1.0 - REGIONS.doubt_level.get() / 2.0) / normal_quantile(0.975);
    let half = |r: &Reading| r.error.half_width().max(f64::MIN_POSITIVE.sqrt());
    for (i, a) in readings.iter().enumerate() {
        for b in &readings[i + 1..] {
            let apart = (a.error.value() - b.error.value()).abs();
            if apart > beyond * half(a).hypot(half(b)) {
                return None;
            }
        }
    }
    let weights = readings.iter().map(|r| half(r).powi(-2));
    let all: f64 = weights.clone().sum();
    let mean = weights.zip(readings).map(|(w, r)| w * r.error.value());
    let mean = mean.sum::<f64>() / all;
    let scatter = readings.iter().map(|r| {
        let deviations = (r.error.value() - mean) / half(r) * normal_quantile(0.975);
        deviations * deviations
    });
    let birge = (scatter.sum::<f64>() / (readings.len() - 1) as f64).sqrt();
    Measured::plus_minus(mean, birge.max(1.0) / all.sqrt())
}

struct Writer {
    /// Whether there are views to be told apart.
    names_views: bool,
    smallest_visible: ModelMm,
}

impl Writer {
    /// `None` where the subject is in tolerance, or off by less than can be seen.
    fn change(&self, subject: &Subject, readings: &[Reading]) -> Option<ChangeEntry> {
        let first = readings.first()?;
        let tolerance = readings.iter().map(|r| r.tolerance);
        let tolerance = tolerance.fold(f64::INFINITY, f64::min);
        let views = readings.iter().flat_map(|r| r.views.iter().cloned());
        let axis = subject.along.axis().map(str::to_owned);
        let mut entry = ChangeEntry {
            part: subject.part.clone(),
            state: ChangeState::Contradicted,
            quantity: subject.quantity,
            axis,
            error: None,
            unit: subject.plain_unit().to_owned(),
            factor: None,
            model_mm: None,
            about: readings.iter().find_map(|r| r.about.clone()),
            times_tolerance: None,
            views: views.collect(),
            told_too_by: Vec::new(),
            text: String::new(),
        };
        let Some(error) = combined(readings) else {
            let most = readings.iter().map(|r| r.error.value().abs() / tolerance);
            entry.times_tolerance = finite(most.fold(0.0, f64::max));
            entry.about = None;
            entry.text = contradiction(subject, readings);
            return Some(entry);
        };
        entry.error = Some(figure(error));
        let times = ranking::times_tolerance(Some(error), tolerance);
        entry.times_tolerance = finite(times);
        let sizes = readings.iter().filter_map(|r| r.size_mm);
        let size_mm = sizes.clone().sum::<f64>() / sizes.count() as f64;
        let size_mm = size_mm.is_finite().then_some(size_mm);
        let factor = measured_factor_of(error).filter(|_| subject.is_size());
        entry.factor = factor.map(figure);
        let removed = factor.and_then(|factor| {
            let size = size_mm?;
            let half = size * factor.half_width();
            Measured::plus_minus(size * (1.0 - factor.value()).abs(), half)
        });
        entry.model_mm = removed.map(figure);
        let moves = match subject.quantity {
            QuantityEntry::Turn => size_mm.map(|reach| reach * error.value().to_radians()),
            _ if subject.is_size() => removed.map(|m| m.value()),
            _ => Some(error.value()),
        };
        let verdict = verdict_of(error, tolerance);
        if calls_for_change(error, verdict) {
            if !is_visible_beside(self.smallest_visible, moves) {
                return None;
            }
            entry.state = ChangeState::Change;
            let sole = (readings.len() == 1).then_some(first);
            entry.text = self.asks(subject, sole, error, (factor, removed), &entry.about);
            return Some(entry);
        }
        (verdict == crate::measurement::Verdict::Undecided).then(|| {
            entry.state = ChangeState::Undecided;
            entry.about = None;
            let error = plus_minus(error, Sign::Always, subject.unit());
            entry.text = format!("{}: {} {error}", subject.part, subject.what());
            entry
        })
    }

    /// The sentence; `sole` is the reading where there is one alone.
    fn asks(
        &self,
        subject: &Subject,
        sole: Option<&Reading>,
        error: Measured,
        (factor, removed): (Option<Measured>, Option<Measured>),
        about: &Option<String>,
    ) -> String {
        let part = &subject.part;
        let about = about.as_ref().map_or(String::new(), |landmark| {
            format!(", about its \"{landmark}\"")
        });
        let view = sole.and_then(|r| r.views.first());
        let in_view = match view {
            Some(view) if self.names_views => format!(" in {view}"),
            _ => String::new(),
        };
        if let Some(factor) = factor {
            let mm = removed.map_or(String::new(), |mm| {
                format!("; {} on the model", plus_minus(mm, Sign::Minus, " mm"))
            });
            let by = plus_minus(factor, Sign::Minus, "");
            let percent = decimals(100.0 * (1.0 - factor.value()).abs(), 1);
            let (word, what) = subject.size_words(error.value() > 0.0);
            return format!("make the {part} {percent} % {word} (scale {what} by {by}{mm}){about}");
        }
        let amount = Measured::plus_minus(error.value().abs(), error.half_width());
        let amount = amount.map_or(String::new(), |m| {
            plus_minus(m, Sign::Minus, subject.unit())
        });
        let looks = sole.and_then(|r| r.looks);
        let is_turn = subject.quantity == QuantityEntry::Turn;
        match subject.along {
            Along::Axis(axis) | Along::Own(axis) if is_turn => {
                let [mut from, mut to] = TURNS[axis];
                if error.value() > 0.0 {
                    (from, to) = (to, from);
                }
                let looks = looks.map_or(String::new(), |looks| format!(" ({looks}{in_view})"));
                let axis = subject.along.axis().unwrap_or_default();
                format!(
                    "turn the {part} {amount} about {axis}, from {from} towards {to}{looks}{about}"
                )
            }
            Along::Axis(axis) | Along::Own(axis) => {
                let own = match subject.along {
                    Along::Own(_) => "its own ",
                    _ => "",
                };
                let sign = if error.value() > 0.0 { "−" } else { "+" };
                let looks = looks.map_or(String::new(), |looks| format!(" ({looks}{in_view})"));
                format!(
                    "move the {part} {amount} towards {own}{sign}{}{looks}",
                    AXES[axis]
                )
            }
            Along::View(_) => {
                let verb = if is_turn { "turn" } else { "move" };
                let looks = looks.unwrap_or_default();
                format!("{verb} the {part} {amount} {looks}{about}")
            }
        }
    }

    /// The spans and angles of a view that no change of a part takes away.
    fn lines(&self, view: &ViewEntry) -> Vec<ChangeEntry> {
        let spans = view.spans.iter().filter(|s| s.goes_with.is_empty());
        let spans = spans.filter_map(|s| {
            let line = Line {
                view: &view.name,
                name: &s.name,
                error: measured(s.error_percent?)?,
                correction: s.correction.as_deref(),
                verdict: s.verdict,
                times_tolerance: s.times_tolerance,
            };
            let mut entry = self.line(&line, QuantityEntry::Length)?;
            entry.factor = measured_factor_of(line.error).map(figure);
            entry.model_mm = s.error_model_mm.and_then(measured).and_then(|mm| {
                Some(figure(Measured::plus_minus(
                    mm.value().abs(),
                    mm.half_width(),
                )?))
            });
            Some(entry)
        });
        let angles = view.angles.iter().filter(|a| a.goes_with.is_empty());
        let angles = angles.filter_map(|a| {
            let line = Line {
                view: &view.name,
                name: &a.name,
                error: measured(a.error_deg?)?,
                correction: a.correction.as_deref(),
                verdict: a.verdict,
                times_tolerance: a.times_tolerance,
            };
            self.line(&line, QuantityEntry::Angle)
        });
        spans.chain(angles).collect()
    }

    fn line(&self, line: &Line<'_>, quantity: QuantityEntry) -> Option<ChangeEntry> {
        let subject = Subject {
            part: line.name.to_owned(),
            quantity,
            along: Along::View(line.view.to_owned()),
        };
        let state = match line.correction {
            Some(_) => ChangeState::Change,
            None if line.verdict == Verdict::Undecided => ChangeState::Undecided,
            None => return None,
        };
        let text = match line.correction {
            Some(correction) => correction.to_owned(),
            None => {
                let error = plus_minus(line.error, Sign::Always, subject.unit());
                format!("{}: {} {error}", line.name, subject.what())
            }
        };
        Some(ChangeEntry {
            part: line.name.to_owned(),
            state,
            quantity,
            axis: None,
            error: Some(figure(line.error)),
            unit: subject.plain_unit().to_owned(),
            factor: None,
            model_mm: None,
            about: None,
            times_tolerance: line.times_tolerance,
            views: vec![line.view.to_owned()],
            told_too_by: Vec::new(),
            text,
        })
    }
}

/// A span or an angle.
struct Line<'a> {
    view: &'a str,
    name: &'a str,
    error: Measured,
    correction: Option<&'a str>,
    verdict: Verdict,
    times_tolerance: Option<f64>,
}

/// "lantern, size along x: side says +4.0 ±0.8 %, front says ...".
fn contradiction(subject: &Subject, readings: &[Reading]) -> String {
    let said: Vec<String> = readings
        .iter()
        .map(|r| {
            let error = plus_minus(r.error, Sign::Always, subject.unit());
            format!("{} says {error}", r.views.join(" and "))
        })
        .collect();
    format!(
        "{}: {}: {}: they contradict each other, so change nothing of it yet; look at the marks of the part and at the \
         datum of these views",
        subject.part,
        subject.what(),
        said.join(", ")
    )
}

impl Subject {
    fn is_size(&self) -> bool {
        use QuantityEntry::{Height, Size, Width};
        matches!(self.quantity, Size | Width | Height)
    }

    fn unit(&self) -> &'static str {
        use QuantityEntry::{
            Angle, Height, Length, Place, PlaceDown, PlaceRight, Size, Turn, Width,
        };
        match self.quantity {
            Size | Width | Height | Length => " %",
            Turn | Angle => "°",
            Place | PlaceRight | PlaceDown => " mm",
        }
    }

    /// As it stands in a key.
    fn plain_unit(&self) -> &'static str {
        match self.unit() {
            "°" => "deg",
            unit => unit.trim_start(),
        }
    }

    /// "size along x", "height", "place to the right".
    fn what(&self) -> String {
        use QuantityEntry::{
            Angle, Height, Length, Place, PlaceDown, PlaceRight, Size, Turn, Width,
        };
        let axis = self.along.axis().unwrap_or_default();
        let what = match self.quantity {
            Size => "size along ",
            Width => "width",
            Height => "height",
            Turn if axis.is_empty() => "turn",
            Turn => "turn about ",
            Place => "place along ",
            PlaceRight => "place to the right",
            PlaceDown => "place down",
            Length => "length",
            Angle => "angle",
        };
        format!("{what}{axis}")
    }

    /// What the part becomes, and what is to be scaled.
    fn size_words(&self, is_too_large: bool) -> (String, String) {
        let word = |[larger, smaller]: [&'static str; 2]| match is_too_large {
            true => smaller,
            false => larger,
        };
        match self.along {
            Along::Axis(_) | Along::Own(_) => (
                format!(
                    "{} along {}",
                    word(["larger", "smaller"]),
                    self.along.axis().unwrap_or_default()
                ),
                "it".to_owned(),
            ),
            Along::View(_) if self.quantity == QuantityEntry::Height => (
                word(["higher", "lower"]).to_owned(),
                "its height".to_owned(),
            ),
            Along::View(_) => (
                word(["wider", "narrower"]).to_owned(),
                "its width".to_owned(),
            ),
        }
    }
}

/// Names the spans and angles of a view with the changes that take their errors away.
fn told_too(changes: &mut [ChangeEntry], view: &ViewEntry) {
    let spans = view.spans.iter().map(|s| ("span", &s.name, &s.goes_with));
    let angles = view.angles.iter().map(|a| ("angle", &a.name, &a.goes_with));
    for (kind, name, goes_with) in spans.chain(angles) {
        let is_of_it = |c: &&mut ChangeEntry| {
            c.state == ChangeState::Change
                && goes_with.contains(&c.part)
                && c.views.contains(&view.name)
        };
        for change in changes.iter_mut().filter(is_of_it) {
            change.told_too_by.push(format!("{kind} {name}"));
        }
    }
}

/// Parts that are to be changed first, the worst first; of a part, what is to be changed before what is not told.
fn sorted(mut changes: Vec<ChangeEntry>) -> Vec<ChangeEntry> {
    let times = |c: &ChangeEntry| c.times_tolerance.unwrap_or(0.0);
    let mut parts: Vec<(String, ChangeState, f64)> = Vec::new();
    let mut places: HashMap<&str, usize> = HashMap::new();
    for c in &changes {
        let next = parts.len();
        let place = *places.entry(&c.part).or_insert(next);
        if place == next {
            parts.push((c.part.clone(), c.state, times(c)));
        }
        let (_, state, most) = &mut parts[place];
        if c.state == *state {
            *most = most.max(times(c));
        } else if c.state < *state {
            (*state, *most) = (c.state, times(c));
        }
    }
    parts.sort_by(|a, b| a.1.cmp(&b.1).then(b.2.total_cmp(&a.2)));
    let ranks: HashMap<&str, usize> = (parts.iter().enumerate())
        .map(|(rank, (part, ..))| (part.as_str(), rank))
        .collect();
    changes.sort_by_cached_key(|c| (ranks.get(c.part.as_str()).copied(), c.state));
    changes
}

#[cfg(test)]
mod tests {
    use super::*;

    fn reading(view: &str, value: f64, half: f64) -> Reading {
        Reading {
            error: Measured::plus_minus(value, half).expect("finite"),
            tolerance: 2.0,
            views: vec![view.to_owned()],
            size_mm: Some(20.0),
            about: None,
            looks: None,
        }
    }

    fn size_along_x() -> Subject {
        Subject {
            part: "lantern".to_owned(),
            quantity: QuantityEntry::Size,
            along: Along::Axis(0),
        }
    }

    fn change(readings: &[Reading]) -> Option<ChangeEntry> {
        let writer = Writer {
            names_views: true,
            smallest_visible: ModelMm(0.05),
        };
        writer.change(&size_along_x(), readings)
    }

    /// Worked by hand: weights 1 / 0.36 and 1 / 0.64, so 4.0 and 5.0 meet at 4.36 with a half width of 0.48.
    #[test]
    fn two_views_that_see_one_size_tell_one_change() {
        let asked = change(&[reading("side", 4.0, 0.6), reading("front", 5.0, 0.8)]);
        let asked = asked.expect("out of tolerance");
        assert_eq!(asked.state, ChangeState::Change);
        let error = asked.error.expect("a figure");
        assert!((error.value - 4.36).abs() < 1e-9, "{error:?}");
        // The two scatter by 1.96 deviations of their difference: Birge's ratio widens by that.
        assert!(
            (error.high - error.value - 0.48 * 1.96).abs() < 1e-3,
            "{error:?}"
        );
        assert_eq!(asked.views, ["side", "front"]);
        assert_eq!(
            asked.text,
            "make the lantern 4.2 % smaller along x (scale it by 0.958 ±0.009; 0.84 ±0.17 mm on the model)"
        );
    }

    #[test]
    fn two_views_that_cannot_both_be_right_are_said_to_contradict() {
        let said = change(&[reading("side", 4.0, 0.6), reading("front", 0.2, 0.8)]);
        let said = said.expect("a contradiction");
        assert_eq!(said.state, ChangeState::Contradicted);
        assert_eq!(said.error, None);
        assert!(
            said.text.starts_with("lantern: size along x: side says +4.0 ±0.6 %, front says +0.2 ±0.8 %: they contradict"),
            "{}",
            said.text
        );
    }

    #[test]
    fn what_is_in_tolerance_is_not_listed_and_what_may_be_is_undecided() {
        assert!(change(&[reading("side", 0.3, 0.6)]).is_none());
        let undecided = change(&[reading("side", 1.2, 1.9)]).expect("undecided");
        assert_eq!(undecided.state, ChangeState::Undecided);
        assert_eq!(undecided.text, "lantern: size along x +1.2 ±1.9 %");
        // Two views together decide what neither does alone.
        let both = [reading("side", 1.2, 1.4), reading("front", 0.6, 1.4)];
        assert!(change(&both).is_none());
    }

    /// Right x, down -z looks along y: clockwise takes x to -z, which by the right hand about y is positive.
    #[test]
    fn turns_and_places_go_by_the_axes_of_the_model() {
        let seen = |right, down| Seen {
            name: "side",
            axes: Some([right, down]),
        };
        let side = seen((0, false), (2, true));
        assert_eq!(side.subject(0), (QuantityEntry::Size, Along::Axis(0), 1.0));
        assert_eq!(side.subject(1), (QuantityEntry::Size, Along::Axis(2), 1.0));
        assert_eq!(side.subject(2), (QuantityEntry::Turn, Along::Axis(1), 1.0));
        assert_eq!(
            side.subject(4),
            (QuantityEntry::Place, Along::Axis(2), -1.0)
        );
        // From above, right x, down -y: clockwise takes x to -y, against the right hand about z.
        let above = seen((0, false), (1, true));
        assert_eq!(
            above.subject(2),
            (QuantityEntry::Turn, Along::Axis(2), -1.0)
        );
        // Seen from behind, the same turn about y is anticlockwise.
        let behind = seen((0, true), (2, true));
        assert_eq!(
            behind.subject(2),
            (QuantityEntry::Turn, Along::Axis(1), -1.0)
        );
    }

    #[test]
    fn the_part_that_is_worst_comes_first_and_what_is_to_be_changed_before_what_is_not_told() {
        let entry = |part: &str, state, times: f64| ChangeEntry {
            part: part.to_owned(),
            state,
            times_tolerance: Some(times),
            ..change(&[reading("side", 4.0, 0.6)]).expect("out")
        };
        let all = vec![
            entry("lantern", ChangeState::Undecided, 9.0),
            entry("lantern", ChangeState::Change, 2.0),
            entry("wheel", ChangeState::Contradicted, 7.0),
            entry("tank", ChangeState::Change, 3.0),
        ];
        let order = sorted(all);
        let order: Vec<_> = order.iter().map(|c| (c.part.as_str(), c.state)).collect();
        assert_eq!(
            order,
            [
                ("tank", ChangeState::Change),
                ("lantern", ChangeState::Change),
                ("lantern", ChangeState::Undecided),
                ("wheel", ChangeState::Contradicted),
            ]
        );
    }
}
