//! Corners of a frame, such as a screen's bezel, sharpened by the edges that were found across its sides.
//!
//! # Source
//! Robust line: M. Fischler and R. Bolles, "Random sample consensus", Comm. ACM 24 (1981), here over a fixed selection of
//! pairs; total least squares by the principal axis; propagation to the corners by JCGM 100:2008, eq. 13.
use super::bends::line_through;
use crate::frame::{Lens, Point, ReferencePx, UndistortedPx};
use nalgebra::{DMatrix, Matrix2, Vector2};
use std::fmt;

/// How far a station's edge may lie from the line, px.
const NEAR: f64 = 1.2;
/// Share of the stations of a side that must have their edge on the line.
const LEAST_SHARE: f64 = 0.5;
/// Stations that say something new each: neighbours see the same noise.
const STATIONS_PER_OBSERVATION: f64 = 2.0;
/// What a frame's edge is off the rectangle that it stands for, as a standard deviation, px: it has a width, and bright
/// pictures swell. A judgement, no source.
const EDGE_DEVIATION: f64 = 0.25;

/// An edge found across a side.
#[derive(Clone, Copy, Debug)]
pub struct EdgeAcross {
    /// Where.
    pub place: Point<ReferencePx>,
    /// Grey levels by which each channel rises to the outside of the frame.
    pub rise: [f64; 3],
    /// Distance from the marked side, px.
    pub offset: f64,
}

/// What lies across the four sides of a marked frame: top, right, bottom, left.
#[derive(Clone, Debug)]
pub struct FrameLook {
    /// For each side, for each station along it: the edges found there.
    pub sides: [Vec<Vec<EdgeAcross>>; 4],
    /// How far to either side was looked, px.
    pub reach: f64,
}

/// What became of the marked corners.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum FrameFinding {
    /// They were moved onto the frame, by so many pixels each.
    Sharpened([f64; 4]),
    /// The frame was not found on this side (counted from the top, clockwise): the marks were kept.
    Kept {
        /// 0 top, 1 right, 2 bottom, 3 left.
        side: usize,
    },
}

impl EdgeAcross {
    /// Whether the colour changes in the same sense as at another edge.
    fn is_like(&self, other: &Self) -> bool {
        let product = self.rise.iter().zip(&other.rise).map(|(a, b)| a * b);
        product.sum::<f64>() > 0.0
    }
}

impl fmt::Display for FrameFinding {
    /// One line without an end: which corners moved how far, or why none did.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Sharpened([a, b, c, d]) => write!(
                f,
                "corners: moved onto the frame by {a:.2}, {b:.2}, {c:.2} and {d:.2} px (top left, then clockwise)"
            ),
            Self::Kept { side } => write!(
                f,
                "corners: kept as marked, no straight edge was found near the {} side",
                ["top", "right", "bottom", "left"][*side % 4]
            ),
        }
    }
}

/// Sharpened corners: `corners + root * numbers`, the numbers being independent with a deviation of 1.
#[derive(Clone, Debug)]
pub(super) struct SharpCorners {
    pub(super) corners: [Point<ReferencePx>; 4],
    pub(super) root: DMatrix<f64>,
}

/// A side of the frame without the lens' distortion.
#[derive(Clone, Copy, Debug)]
struct Side {
    centre: Vector2<f64>,
    normal: Vector2<f64>,
    /// Standard deviations of its distance at the centre, and of its angle.
    shift: f64,
    turn: f64,
}

/// The corners where the sides' lines meet; otherwise the side that was not found.
pub(super) fn sharpen(
    look: &FrameLook,
    marked: &[Point<ReferencePx>; 4],
    lens: &Lens,
) -> Result<SharpCorners, usize> {
    let mut sides = Vec::with_capacity(4);
    for (k, stations) in look.sides.iter().enumerate() {
        sides.push(side(stations, look.reach, lens).ok_or(k)?);
    }
    let mut corners = *marked;
    let mut root = DMatrix::zeros(8, 8);
    for (k, corner) in corners.iter_mut().enumerate() {
        // The corner before side k: of the left and the top side, of the top and the right one, and so on.
        let (before, after) = ((k + 3) % 4, k);
        let lines = [sides[before], sides[after]];
        let normals = Matrix2::from_rows(&lines.map(|s| s.normal.transpose()));
        let inverse = normals.try_inverse().ok_or(k)?;
        let distances = Vector2::from(lines.map(|s| s.normal.dot(&s.centre)));
        let at = inverse * distances;
        let sharp = lens.distort(Point::<UndistortedPx>::new(at.x, at.y));
        // Sides that are found are near the marked ones everywhere, also where they meet. Not a number fails too.
        let is_near = sharp.distance(*corner) <= 2.0 * look.reach;
        if !is_near {
            return Err(k);
        }
        let back = lens.jacobian(sharp).try_inverse().ok_or(k)?;
        for (j, (side, line)) in [(before, lines[0]), (after, lines[1])].iter().enumerate() {
            let along = Vector2::new(-line.normal.y, line.normal.x).dot(&(at - line.centre));
            let by_distance: Vector2<f64> = back * inverse.column(j);
            for row in 0..2 {
                root[(2 * k + row, 2 * side)] = by_distance[row] * line.shift;
                root[(2 * k + row, 2 * side + 1)] = by_distance[row] * along * line.turn;
            }
        }
        *corner = sharp;
    }
    Ok(SharpCorners { corners, root })
}

/// The line on which most stations have an edge of the same sense, near the marked side rather than far.
fn side(stations: &[Vec<EdgeAcross>], reach: f64, lens: &Lens) -> Option<Side> {
    let places: Vec<Vec<(Vector2<f64>, EdgeAcross)>> = stations
        .iter()
        .map(|edges| {
            edges
                .iter()
                .map(|e| (Vector2::from(lens.undistort(e.place).xy()), *e))
                .collect()
        })
        .collect();
    let n = places.len();
    let mut best: Option<(f64, Vec<Vector2<f64>>)> = None;
    // Pairs of stations at least a third of the side apart.
    for i in 0..n / 2 {
        for j in (i + n / 3..n).step_by(3) {
            for a in &places[i] {
                for b in places[j].iter().filter(|b| b.1.is_like(&a.1)) {
                    let (score, found) = support(&places, a, b.0, reach);
                    if best.as_ref().is_none_or(|(most, _)| score > *most) {
                        best = Some((score, found));
                    }
                }
            }
        }
    }
    let (_, found) = best?;
    if (found.len() as f64) < LEAST_SHARE * n as f64 || found.len() < 6 {
        return None;
    }
    let (centre, normal) = line_through(&found)?;
    let along = Vector2::new(-normal.y, normal.x);
    let square: f64 = found
        .iter()
        .map(|p| (p - centre).dot(&normal).powi(2))
        .sum();
    let reach_square: f64 = found.iter().map(|p| (p - centre).dot(&along).powi(2)).sum();
    let count = found.len() as f64;
    let scatter = square / (count - 2.0) * STATIONS_PER_OBSERVATION;
    Some(Side {
        centre,
        normal,
        shift: (scatter / count + EDGE_DEVIATION * EDGE_DEVIATION).sqrt(),
        turn: (scatter / reach_square).sqrt(),
    })
}

/// The stations' edges on the line through two of them, one a station, and how much they speak for it.
fn support(
    places: &[Vec<(Vector2<f64>, EdgeAcross)>],
    first: &(Vector2<f64>, EdgeAcross),
    second: Vector2<f64>,
    reach: f64,
) -> (f64, Vec<Vector2<f64>>) {
    let along = second - first.0;
    let normal = Vector2::new(-along.y, along.x) / along.norm();
    let (mut score, mut found) = (0.0, Vec::with_capacity(places.len()));
    for edges in places {
        let on_line = edges
            .iter()
            .filter(|e| e.1.is_like(&first.1))
            .map(|e| ((e.0 - first.0).dot(&normal).abs(), e))
            .filter(|(off, _)| *off < NEAR)
            .min_by(|a, b| a.0.total_cmp(&b.0));
        if let Some((_, (place, edge))) = on_line {
            found.push(*place);
            // A click lies nearer to its side than to the next line beside it, such as a bezel's outer edge.
            score += (-2.0 * (edge.offset / reach).powi(2)).exp();
        }
    }
    (score, found)
}
