//! What a reference is rectified by, checked: one statement about the plane, and lines that are straight in reality.
use super::{
    Error, KnownPlane, PlaneLines, PlanePoint, Rectangle, Rectify,
    aspect::{aspect, within_range},
    error::{FaultKind, Faults},
    every::every,
    raw::{Mark, RawLength, RawPlanePoint, RawRectify},
    shapes::{check_corners, point, spans_a_plane, turn},
    surroundings::Surroundings,
};
use crate::{
    frame::{Point, ReferencePx},
    units::{FullSizeMm, LengthError, length_from_number, parse_length},
};
use std::path::Path;

/// Fewest lines of one direction: two lines meet in its vanishing point.
const LEAST_LINES: usize = 2;
/// Fewest points of a known figure: four determine the map of a plane.
const LEAST_POINTS: usize = 4;
/// Shortest line, px: below it the direction is that of the clicks' noise.
const SHORTEST_LINE: f64 = 10.0;

/// What a picture is rectified by, stated outside of a job file; `file` is what messages name.
///
/// # Errors
/// [`Error::Faulty`] with all that is wrong.
pub fn stated_alone(raw: &RawRectify, file: &Path) -> Result<Rectify, Error> {
    let mut faults = Faults::default();
    let around = Surroundings::of_folder(file.parent().unwrap_or(file));
    rectify(raw, "", &around, &mut faults).ok_or_else(|| faults.into_error(file))
}

/// The checked statement; `None` where anything in it is wrong.
pub(super) fn rectify(
    raw: &RawRectify,
    at: &str,
    around: &Surroundings,
    faults: &mut Faults,
) -> Option<Rectify> {
    let straight_lines = every(raw.straight_lines.iter().enumerate().map(|(index, raw)| {
        faults.keep(
            &format!("{at}/straight_lines/{index}"),
            straight_line(raw, index),
        )
    }));
    let plane = plane(raw, at, around, faults);
    Some(Rectify {
        plane: plane?,
        straight_lines: straight_lines?,
    })
}

fn plane(
    raw: &RawRectify,
    at: &str,
    around: &Surroundings,
    faults: &mut Faults,
) -> Option<KnownPlane> {
    let has_lines = !raw.horizontal.is_empty() || !raw.vertical.is_empty();
    let stated: Vec<&'static str> = [
        ("corners", raw.corners.is_some()),
        ("points", !raw.points.is_empty()),
        ("horizontal and vertical", has_lines),
    ]
    .into_iter()
    .filter_map(|(key, is_stated)| is_stated.then_some(key))
    .collect();
    if let [first, second, ..] = stated[..] {
        faults.push(at, FaultKind::RectifyTwice { first, second });
        return None;
    }
    if raw.corners.is_none() {
        needs_corners(raw, at, faults)?;
    }
    match (&raw.corners, raw.points.is_empty(), has_lines) {
        (Some(corners), ..) => rectangle(raw, corners, at, faults).map(KnownPlane::Rectangle),
        (None, false, _) => {
            figure(&raw.points, &format!("{at}/points"), around, faults).map(KnownPlane::Figure)
        }
        (None, true, true) => lines(raw, at, faults).map(KnownPlane::Lines),
        (None, true, false) if raw.straight_lines.is_empty() => {
            faults.push(at, FaultKind::RectifyByNothing);
            None
        }
        (None, true, false) => Some(KnownPlane::Unknown),
    }
}

/// Faults what only a rectangle has.
fn needs_corners(raw: &RawRectify, at: &str, faults: &mut Faults) -> Option<()> {
    if raw.aspect.is_some() {
        faults.push(
            &format!("{at}/aspect"),
            FaultKind::NeedsCorners { key: "aspect" },
        );
        return None;
    }
    if raw.find_bezel {
        faults.push(
            &format!("{at}/find_bezel"),
            FaultKind::NeedsCorners { key: "find_bezel" },
        );
        return None;
    }
    Some(())
}

fn rectangle(
    raw: &RawRectify,
    corners: &[Mark; 4],
    at: &str,
    faults: &mut Faults,
) -> Option<Rectangle> {
    let corners = corners.map(point);
    let sound = faults.keep(&format!("{at}/corners"), check_corners(&corners));
    let aspect = match &raw.aspect {
        Some(raw) => Some(faults.keep(&format!("{at}/aspect"), aspect(raw))?),
        None => None,
    };
    sound?;
    Some(Rectangle {
        corners,
        aspect,
        find_bezel: raw.find_bezel,
    })
}

fn figure(
    raw: &[RawPlanePoint],
    at: &str,
    around: &Surroundings,
    faults: &mut Faults,
) -> Option<Vec<PlanePoint>> {
    let points = every(raw.iter().enumerate().map(|(index, raw)| {
        let mut length = |k: usize| {
            let pointer = format!("{at}/{index}/at/{k}");
            faults.keep(&pointer, coordinate(&raw.at[k], around))
        };
        let (x, y) = (length(0), length(1));
        Some(PlanePoint {
            reference: point(raw.reference),
            at: [FullSizeMm(x?), FullSizeMm(y?)],
        })
    }))?;
    faults.keep(at, check_figure(&points)).map(|()| points)
}

fn check_figure(points: &[PlanePoint]) -> Result<(), FaultKind> {
    if points.len() < LEAST_POINTS {
        let found = points.len();
        return Err(FaultKind::PlanePointsTooFew { found });
    }
    let marks: Vec<Point<ReferencePx>> = points.iter().map(|p| p.reference).collect();
    // The figure's own plane has no frame of its own: it is only looked at here.
    let places: Vec<Point<ReferencePx>> = points
        .iter()
        .map(|p| Point::new(p.at[0].0, p.at[1].0))
        .collect();
    for (points, key) in [(&marks, "reference"), (&places, "at")] {
        if !spans_a_plane(points) {
            return Err(FaultKind::PlanePointsInLine { key });
        }
    }
    let range = |of: fn(&Point<ReferencePx>) -> f64| {
        let values = places.iter().map(of);
        values.clone().fold(f64::NEG_INFINITY, f64::max) - values.fold(f64::INFINITY, f64::min)
    };
    let box_aspect = range(|p| p.x) / range(|p| p.y);
    within_range(box_aspect, || {
        format!("{box_aspect:.3} by the \"at\" of the points")
    })?;
    match wide_triangle(&marks) {
        Some([i, j, k])
            if turn(marks[i], marks[j], marks[k]) * turn(places[i], places[j], places[k]) < 0.0 =>
        {
            Err(FaultKind::PlanePointsMirrored)
        }
        _ => Ok(()),
    }
}

/// Indices of the first point, of the one farthest from it, and of the one farthest from the line through both.
fn wide_triangle(points: &[Point<ReferencePx>]) -> Option<[usize; 3]> {
    let far = (1..points.len()).max_by(|&a, &b| {
        let reach = |i: usize| points[0].distance(points[i]);
        reach(a).total_cmp(&reach(b))
    })?;
    let across = (0..points.len()).max_by(|&a, &b| {
        let area = |i: usize| turn(points[0], points[far], points[i]).abs();
        area(a).total_cmp(&area(b))
    })?;
    Some([0, far, across])
}

/// Millimetres of a coordinate: a length that may be 0 or below.
fn coordinate(raw: &RawLength, around: &Surroundings) -> Result<f64, LengthError> {
    match raw {
        RawLength::Number(0.0) => Ok(0.0),
        RawLength::Number(number) => {
            length_from_number(number.abs(), around.unit).map(|mm| mm.copysign(*number))
        }
        RawLength::Text(text) => {
            let text = text.trim();
            let (sign, size) = match text.strip_prefix(['-', '\u{2212}']) {
                Some(size) => (-1.0, size),
                None => (1.0, text),
            };
            match parse_length(size) {
                // Lengths must be above 0; coordinates need not.
                Err(LengthError::OutOfRange { .. })
                    if !size.contains(|c| ('1'..='9').contains(&c)) =>
                {
                    Ok(0.0)
                }
                length => length.map(|mm| sign * mm),
            }
        }
    }
}

fn lines(raw: &RawRectify, at: &str, faults: &mut Faults) -> Option<PlaneLines> {
    let mut direction = |key: &'static str, raw: &[[Mark; 2]]| {
        let at = format!("{at}/{key}");
        if raw.len() < LEAST_LINES {
            let found = raw.len();
            faults.push(&at, FaultKind::PlaneLinesTooFew { key, found });
            return None;
        }
        every(raw.iter().enumerate().map(|(index, ends)| {
            let ends: [Point<ReferencePx>; 2] = ends.map(point);
            let length = ends[0].distance(ends[1]);
            if length < SHORTEST_LINE {
                faults.push(
                    &format!("{at}/{index}"),
                    FaultKind::LineTooShort { found: length },
                );
                return None;
            }
            Some(ends)
        }))
    };
    let horizontal = direction("horizontal", &raw.horizontal);
    let vertical = direction("vertical", &raw.vertical);
    Some(PlaneLines {
        horizontal: horizontal?,
        vertical: vertical?,
    })
}

/// Three or more different points that reach far enough.
fn straight_line(raw: &[Mark], index: usize) -> Result<Vec<Point<ReferencePx>>, FaultKind> {
    let points: Vec<Point<ReferencePx>> = raw.iter().copied().map(point).collect();
    let mut different: Vec<Point<ReferencePx>> = Vec::new();
    for p in &points {
        if !different.contains(p) {
            different.push(*p);
        }
    }
    if different.len() < 3 {
        let found = different.len();
        return Err(FaultKind::StraightLineTooFew { index, found });
    }
    let found = different
        .iter()
        .map(|p| p.distance(different[0]))
        .fold(0.0, f64::max);
    if found < SHORTEST_LINE {
        return Err(FaultKind::LineTooShort { found });
    }
    Ok(different)
}
