//! The figures themselves, each with its derivatives by places.
use super::{
    basis::{Basis, Untold},
    error::AloneError,
    found::Proportion,
};
use crate::{
    job::{LandmarkUse, View},
    printable::{listed, shortened},
    statistics::{Measured, t_quantile},
};
use nalgebra::Vector2;
use std::f64::consts::PI;

/// A figure and its derivatives by places; `extra` is a standard deviation that comes in addition.
struct Figure {
    value: f64,
    by: Vec<(usize, Vector2<f64>)>,
    extra: f64,
}

impl Figure {
    fn measured(&self, basis: &dyn Basis) -> Option<Measured> {
        let extra = match self.extra {
            0.0 => 0.0,
            extra => extra * t_quantile(0.975, basis.freedom()),
        };
        let half = basis.half_width(&self.by).hypot(extra);
        Measured::plus_minus(self.value, half)
    }

    /// This figure plus `factor` times another.
    fn plus(mut self, factor: f64, other: &Self) -> Self {
        self.value += factor * other.value;
        self.extra = self.extra.hypot(factor * other.extra);
        for (i, d) in &other.by {
            self.add(*i, d * factor);
        }
        self
    }

    /// One entry a landmark: what hangs on one place twice counts with the sum.
    fn add(&mut self, landmark: usize, d: Vector2<f64>) {
        match self.by.iter_mut().find(|(i, _)| *i == landmark) {
            Some((_, sum)) => *sum += d,
            None => self.by.push((landmark, d)),
        }
    }
}

/// The landmark from which places are counted: the one that the job names, else the first datum landmark that has a place.
pub(super) fn origin(view: &View, basis: &dyn Basis) -> Option<usize> {
    let is_datum = |i: &usize| view.landmarks[*i].usage == LandmarkUse::Datum;
    let mut datum = (0..view.landmarks.len()).filter(is_datum);
    view.origin
        .or_else(|| datum.find(|&i| basis.place(i).is_ok()))
}

/// How far each landmark lies to the right of the origin and below it.
pub(super) fn places(
    view: &View,
    basis: &dyn Basis,
    origin: Option<usize>,
) -> Vec<Result<[Measured; 2], Untold>> {
    let of = |landmark: usize| {
        let origin = origin.ok_or(Untold::NoOrigin)?;
        let (from, to) = (basis.place(origin)?, basis.place(landmark)?);
        if !basis.has_scale() {
            return Err(Untold::NoScale);
        }
        let along = |axis: usize| {
            let mut unit = Vector2::zeros();
            unit[axis] = 1.0;
            let mut figure = Figure {
                value: (to - from)[axis],
                by: vec![(landmark, unit)],
                extra: 0.0,
            };
            figure.add(origin, -unit);
            figure.measured(basis).ok_or(Untold::BeyondHorizon)
        };
        Ok([along(0)?, along(1)?])
    };
    (0..view.landmarks.len()).map(of).collect()
}

fn length(basis: &dyn Basis, [from, to]: [usize; 2]) -> Result<Figure, Untold> {
    let d = basis.place(to)? - basis.place(from)?;
    let (depth, of_depth) = basis.depth_between([from, to]);
    let value = d.norm().hypot(depth);
    if value.is_nan() || value <= 0.0 {
        return Err(Untold::MarksCoincide);
    }
    let along = d / value;
    Ok(Figure {
        value,
        by: vec![(to, along), (from, -along)],
        extra: of_depth * depth / value,
    })
}

/// Direction from one place to another: radians, clockwise from the axis to the right.
fn direction(basis: &dyn Basis, [from, to]: [usize; 2]) -> Result<Figure, Untold> {
    let d = basis.place(to)? - basis.place(from)?;
    let square = d.norm_squared();
    if square.is_nan() || square <= 0.0 {
        return Err(Untold::MarksCoincide);
    }
    let turning = Vector2::new(-d.y, d.x) / square;
    Ok(Figure {
        value: d.y.atan2(d.x),
        by: vec![(to, turning), (from, -turning)],
        extra: 0.0,
    })
}

/// The length of each span.
pub(super) fn spans(view: &View, basis: &dyn Basis) -> Vec<Result<Measured, Untold>> {
    let of = |span: &crate::job::Span| {
        let length = length(basis, [span.from, span.to])?;
        if !basis.has_scale() {
            return Err(Untold::NoScale);
        }
        length.measured(basis).ok_or(Untold::BeyondHorizon)
    };
    view.spans.iter().map(of).collect()
}

/// Each angle in degrees, clockwise, above -180 and up to 180.
pub(super) fn angles(view: &View, basis: &dyn Basis) -> Vec<Result<Measured, Untold>> {
    let of = |angle: &crate::job::Angle| {
        let own = direction(basis, [angle.from, angle.to])?;
        let mut figure = match angle.against {
            Some(against) => own.plus(-1.0, &direction(basis, against)?),
            None => own,
        };
        let turned = figure.value.rem_euclid(2.0 * PI);
        figure.value = if turned > PI {
            turned - 2.0 * PI
        } else {
            turned
        };
        let measured = figure.measured(basis).ok_or(Untold::BeyondHorizon)?;
        Ok(measured.times(180.0 / PI))
    };
    view.angles.iter().map(of).collect()
}

/// The span of the name that proportions are asked against.
pub(super) fn span_to_hold_against(
    view: &View,
    name: Option<&str>,
) -> Result<Option<usize>, AloneError> {
    let Some(name) = name else { return Ok(None) };
    let found = view.spans.iter().position(|span| span.name == name);
    found.map(Some).ok_or_else(|| AloneError::UnknownSpan {
        name: shortened(name),
        known: match view.spans.is_empty() {
            true => "it has none".to_owned(),
            false => format!(
                "it has {}",
                listed(view.spans.iter().map(|span| span.name.as_str()))
            ),
        },
    })
}

/// Each span over the one that they are held against, the longest where none is named.
pub(super) fn proportions(
    view: &View,
    basis: &dyn Basis,
    against: Option<usize>,
) -> Vec<Proportion> {
    let lengths: Vec<Result<Figure, Untold>> = (view.spans.iter())
        .map(|span| length(basis, [span.from, span.to]))
        .collect();
    let value = |k: &usize| lengths[*k].as_ref().map_or(0.0, |figure| figure.value);
    let longest = || (0..lengths.len()).max_by(|a, b| value(a).total_cmp(&value(b)));
    let Some(to) = against.or_else(longest) else {
        return Vec::new();
    };
    let ratio = |of: usize| match (&lengths[of], &lengths[to]) {
        (Ok(own), Ok(whole)) => {
            let share = Figure {
                value: 0.0,
                by: Vec::new(),
                extra: 0.0,
            };
            let share = share.plus(1.0 / whole.value, own);
            let mut share = share.plus(-own.value / whole.value.powi(2), whole);
            share.value = own.value / whole.value;
            share.measured(basis).ok_or(Untold::BeyondHorizon)
        }
        (Err(why), _) | (_, Err(why)) => Err(*why),
    };
    let others = (0..lengths.len()).filter(|&of| of != to);
    others
        .map(|of| Proportion {
            of,
            to,
            ratio: ratio(of),
        })
        .collect()
}
