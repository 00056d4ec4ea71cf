//! Corners of a bezel, the surround of a screen, refined by the edges that were found across its sides.
//!
//! A line of the picture that runs along its border looks like a border. So all lines near a side are compared: those of the
//! bezel have the same brighter side on all four sides, and nearly the same colour outside. Where two lines are alike, or a
//! side's line is unlike the others', the marks are kept.
//!
//! # Source
//! Robust line: M. Fischler and R. Bolles, "Random sample consensus", Comm. ACM 24 (1981), here over a fixed selection of
//! pairs; total least squares by the principal axis; propagation to the corners by JCGM 100:2008, eq. 13.
mod edges;
pub(crate) mod settings;

pub use edges::look_for_bezel;

use super::bends::line_through;
use crate::frame::{Lens, Point, ReferencePx, UndistortedPx};
use nalgebra::{DMatrix, Matrix2, Vector2, Vector3};
use settings::BEZEL;
use std::fmt;

/// Parts of a side that each must have some, and their share: a line that touches a bent side is not that side.
const PARTS: usize = 6;
/// Most lines of a side that are compared.
const MOST_LINES: usize = 4;

/// An edge found across a side.
#[derive(Clone, Copy, Debug)]
pub struct EdgeAcross {
    /// Where.
    pub place: Point<ReferencePx>,
    /// Grey levels by which each channel rises to the outside of the bezel.
    pub rise: [f64; 3],
    /// Grey levels of each channel just outside.
    pub outside: [f64; 3],
    /// Distance from the marked side, px.
    pub offset: f64,
}

/// What lies across the four sides of a marked bezel: top, right, bottom, left.
#[derive(Clone, Debug)]
pub struct BezelLook {
    /// For each side, for each station along it: the edges found there.
    pub sides: [Vec<Vec<EdgeAcross>>; 4],
    /// How far to either side was looked, px.
    pub reach: f64,
}

/// What became of the marked corners.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum BezelFinding {
    /// They were moved onto the bezel.
    Refined {
        /// How far each was moved, px.
        moves: [f64; 4],
        /// Half the 95 % interval of each one's place in its worse direction, px, from the fits of the lines.
        within: [f64; 4],
    },
    /// The marks were kept.
    Kept {
        /// The side that the bezel was not found on: 0 top, 1 right, 2 bottom, 3 left.
        side: usize,
        /// Why not.
        reason: KeptReason,
    },
}

/// Why marked corners were not moved onto a bezel.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum KeptReason {
    /// No straight edge lies near the side.
    NoEdge,
    /// Two straight edges may as well be the bezel's.
    Alike {
        /// How far apart they are, px.
        apart: f64,
    },
    /// What lies outside of the edge is unlike what lies outside of the other sides.
    Unlike,
}

impl EdgeAcross {
    /// Whether the colour changes in the same sense as at another edge.
    fn is_like(&self, other: &Self) -> bool {
        let product = self.rise.iter().zip(&other.rise).map(|(a, b)| a * b);
        product.sum::<f64>() > 0.0
    }
}

impl fmt::Display for BezelFinding {
    /// One line without an end: which corners moved how far, or why none did.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Refined { moves, within } => {
                let [a, b, c, d] = moves;
                let widest = within.iter().copied().fold(0.0, f64::max);
                write!(
                    f,
                    "corners: moved onto the bezel by {a:.2}, {b:.2}, {c:.2} and {d:.2} px (top left, then clockwise), \
                     each known within {widest:.2} px there (95 %)"
                )
            }
            Self::Kept { side, reason } => {
                let side = ["top", "right", "bottom", "left"][*side % 4];
                f.write_str("corners: kept as marked, ")?;
                match reason {
                    KeptReason::NoEdge => {
                        write!(f, "no straight edge was found near the {side} side")
                    }
                    KeptReason::Alike { apart } => write!(
                        f,
                        "two straight edges {apart:.1} px apart near the {side} side are alike; mark the corners closer \
                         to the one that is meant"
                    ),
                    KeptReason::Unlike => write!(
                        f,
                        "what lies outside of the edge near the {side} side is unlike what lies outside of the other \
                         sides: it may be a line within the picture"
                    ),
                }
            }
        }
    }
}

/// Refined corners: `corners + root * numbers`, the numbers being independent with a deviation of 1.
#[derive(Clone, Debug)]
pub(super) struct SharpCorners {
    pub(super) corners: [Point<ReferencePx>; 4],
    pub(super) root: DMatrix<f64>,
}

impl SharpCorners {
    /// Half the 95 % interval of each corner's place in its worse direction, px.
    pub(super) fn half_widths(&self) -> [f64; 4] {
        [0, 1, 2, 3].map(|k| {
            let rows = self.root.rows(2 * k, 2);
            let covariance: Matrix2<f64> = Matrix2::from_fn(|r, c| rows.row(r).dot(&rows.row(c)));
            1.96 * covariance.symmetric_eigenvalues().max().max(0.0).sqrt()
        })
    }
}

/// A side of the bezel without the lens' distortion.
#[derive(Clone, Copy, Debug)]
struct Side {
    centre: Vector2<f64>,
    normal: Vector2<f64>,
    /// Standard deviations of its distance at the centre, and of its angle.
    shift: f64,
    turn: f64,
}

/// Edges in line near a side.
#[derive(Clone, Debug)]
struct Line {
    /// Where, without the lens.
    places: Vec<Vector2<f64>>,
    /// How much speaks for it.
    evidence: f64,
    /// Means of the edges' offset from the marked side and of their rise.
    offset: f64,
    rise: Vector3<f64>,
    /// Mean colour outside, of the third at its beginning and of the one at its end.
    outside: [Vector3<f64>; 2],
}

impl Line {
    fn is_brighter_outside(&self) -> bool {
        self.rise.sum() > 0.0
    }
}

type Kept = (usize, KeptReason);

/// The corners where the sides' lines meet; otherwise the side that was not found, and why.
pub(super) fn refine(
    look: &BezelLook,
    marked: &[Point<ReferencePx>; 4],
    lens: &Lens,
) -> Result<SharpCorners, Kept> {
    let candidates = [0, 1, 2, 3].map(|k| lines(&look.sides[k], look.reach, lens));
    let chosen = chosen(&candidates)?;
    let mut sides = Vec::with_capacity(4);
    for (k, line) in chosen.iter().enumerate() {
        sides.push(side(line).ok_or((k, KeptReason::NoEdge))?);
    }
    meeting(&sides, look.reach, marked, lens).map_err(|k| (k, KeptReason::NoEdge))
}

/// One line a side, of the same sense and the same outside all around.
fn chosen(candidates: &[Vec<Line>; 4]) -> Result<[&Line; 4], Kept> {
    let darker = of_sense(candidates, false);
    let brighter = of_sense(candidates, true);
    let evidence = |lines: &[&Line; 4]| lines.iter().map(|l| l.evidence).sum::<f64>();
    let lines = match (darker, brighter) {
        (Ok(a), Ok(b)) => {
            let (first, second) = if evidence(&a) < evidence(&b) {
                (b, a)
            } else {
                (a, b)
            };
            if evidence(&second) >= BEZEL.alike.get() * evidence(&first) {
                // A bezel that is a line has two edges: say it where they are most alike.
                let ratio = |k: usize| second[k].evidence / first[k].evidence;
                let k = (1..4).fold(0, |k, j| if ratio(j) > ratio(k) { j } else { k });
                return Err((
                    k,
                    KeptReason::Alike {
                        apart: apart(first[k], second[k]),
                    },
                ));
            }
            first
        }
        // Rivals of one sense may be the bezel, too.
        (Ok(_), Err(kept)) | (Err(kept), Ok(_)) if kept.1 != KeptReason::NoEdge => {
            return Err(kept);
        }
        (Ok(lines), Err(_)) | (Err(_), Ok(lines)) => lines,
        (Err(a), Err(b)) => return Err(if a.1 == KeptReason::NoEdge { b } else { a }),
    };
    for k in 0..4 {
        let [before, line, after] = [(k + 3) % 4, k, (k + 1) % 4].map(|j| lines[j]);
        // Compared where both meet: light changes along a bezel, and does not jump at its corners.
        let steps = [
            before.outside[1] - line.outside[0],
            after.outside[0] - line.outside[1],
        ];
        if steps
            .iter()
            .all(|step| step.norm() > BEZEL.most_unlike.get() * line.rise.norm())
        {
            return Err((k, KeptReason::Unlike));
        }
    }
    Ok(lines)
}

/// The best line of this sense on each side, where it is well ahead of the second. A side without any is told before
/// rivals are: then all of them belong to something else.
fn of_sense(candidates: &[Vec<Line>; 4], is_brighter: bool) -> Result<[&Line; 4], Kept> {
    let mut first = Vec::with_capacity(4);
    let mut rival = None;
    for (k, lines) in candidates.iter().enumerate() {
        // The one with the most evidence comes first.
        let mut of_sense = lines
            .iter()
            .filter(|l| l.is_brighter_outside() == is_brighter);
        let best = of_sense.next().ok_or((k, KeptReason::NoEdge))?;
        first.push(best);
        if let Some(second) = of_sense
            .next()
            .filter(|l| l.evidence >= BEZEL.alike.get() * best.evidence)
        {
            let apart = apart(best, second);
            rival.get_or_insert((k, KeptReason::Alike { apart }));
        }
    }
    match rival {
        Some(kept) => Err(kept),
        None => Ok(first.try_into().expect("one for each of four sides")),
    }
}

fn apart(a: &Line, b: &Line) -> f64 {
    (a.offset - b.offset).abs()
}

/// Where neighbouring sides meet; otherwise the side after the corner that is no corner.
fn meeting(
    sides: &[Side],
    reach: f64,
    marked: &[Point<ReferencePx>; 4],
    lens: &Lens,
) -> Result<SharpCorners, usize> {
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
        let is_near = sharp.distance(*corner) <= 1.5 * reach;
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

/// The line through the places, and how well it is known.
fn side(line: &Line) -> Option<Side> {
    let (centre, normal) = line_through(&line.places)?;
    let along = Vector2::new(-normal.y, normal.x);
    let square_along = |axis: &Vector2<f64>| -> f64 {
        let parts = line.places.iter().map(|p| (p - centre).dot(axis).powi(2));
        parts.sum()
    };
    let count = line.places.len() as f64;
    let scatter = square_along(&normal) / (count - 2.0) * BEZEL.stations_per_observation.get();
    Some(Side {
        centre,
        normal,
        shift: (scatter / count + BEZEL.edge_deviation.get() * BEZEL.edge_deviation.get()).sqrt(),
        turn: (scatter / square_along(&along)).sqrt(),
    })
}

/// An edge of a station without the lens.
#[derive(Clone, Copy, Debug)]
struct Placed {
    station: usize,
    at: Vector2<f64>,
    edge: EdgeAcross,
}

/// The lines near a side that enough stations have an edge on, the one with the most evidence first.
fn lines(stations: &[Vec<EdgeAcross>], reach: f64, lens: &Lens) -> Vec<Line> {
    let placed = |station: usize, edge: &EdgeAcross| Placed {
        station,
        at: Vector2::from(lens.undistort(edge.place).xy()),
        edge: *edge,
    };
    let mut left: Vec<Vec<Placed>> = stations
        .iter()
        .enumerate()
        .map(|(station, edges)| edges.iter().map(|e| placed(station, e)).collect())
        .collect();
    let mut found = Vec::new();
    for _ in 0..MOST_LINES {
        let Some(on_line) = best(&left, reach).filter(|l| is_whole(l, stations.len())) else {
            break;
        };
        // The same line is not to be its own rival, a little aside.
        for edge in &on_line {
            left[edge.station].retain(|e| {
                let is_aside = (e.edge.offset - edge.edge.offset).abs() >= 2.0 * BEZEL.near.get();
                is_aside || !e.edge.is_like(&edge.edge)
            });
        }
        let line = line(&on_line, reach);
        if !is_faint(&line, stations) && has_one_outside(&on_line, &line) {
            found.push(line);
        }
    }
    found.sort_by(|a, b| b.evidence.total_cmp(&a.evidence));
    found
}

/// Whether it is the same that lies outside along nearly all of a line: edges of several things may be in line.
fn has_one_outside(on_line: &[Placed], line: &Line) -> bool {
    let level = |axis: usize| {
        let mut all: Vec<f64> = on_line.iter().map(|p| p.edge.outside[axis]).collect();
        all.sort_by(f64::total_cmp);
        all[all.len() / 2]
    };
    let usual = Vector3::new(level(0), level(1), level(2));
    let unlike = on_line.iter().filter(|p| {
        let step = (Vector3::from(p.edge.outside) - usual).norm();
        step > BEZEL.most_unlike.get() * line.rise.norm()
    });
    4 * unlike.count() <= on_line.len()
}

/// Whether most stations have an edge that is far stronger.
fn is_faint(line: &Line, stations: &[Vec<EdgeAcross>]) -> bool {
    let strength = |e: &EdgeAcross| Vector3::from(e.rise).norm();
    let stronger = stations.iter().filter(|edges| {
        let strongest = edges.iter().map(strength).fold(0.0, f64::max);
        strongest > BEZEL.faint.get() * line.rise.norm()
    });
    2 * stronger.count() > stations.len()
}

/// Whether a line has enough of all stations, and some of each part of the side.
fn is_whole(on_line: &[Placed], stations: usize) -> bool {
    let count = |part: usize| {
        let is_in = |p: &&Placed| PARTS * p.station / stations == part;
        on_line.iter().filter(is_in).count() as f64
    };
    let all = stations as f64;
    on_line.len() as f64 >= (BEZEL.least_share.get() * all).max(6.0)
        && (0..PARTS)
            .all(|part| count(part) >= BEZEL.least_share_of_part.get() * all / PARTS as f64)
}

fn line(on_line: &[Placed], reach: f64) -> Line {
    let count = on_line.len() as f64;
    let mean = |part: &[Placed], of: fn(&EdgeAcross) -> [f64; 3]| {
        let sum: Vector3<f64> = part.iter().map(|p| Vector3::from(of(&p.edge))).sum();
        sum / part.len() as f64
    };
    let third = on_line.len().div_ceil(3);
    let ends = [&on_line[..third], &on_line[on_line.len() - third..]];
    Line {
        places: on_line.iter().map(|p| p.at).collect(),
        evidence: on_line.iter().map(|p| evidence(&p.edge, reach)).sum(),
        offset: on_line.iter().map(|p| p.edge.offset).sum::<f64>() / count,
        rise: mean(on_line, |e| e.rise),
        outside: ends.map(|end| mean(end, |e| e.outside)),
    }
}

/// What one edge says for its line: more where it is strong, and where it is near the marked side, for a click lies nearer to
/// its side than to the next line beside it, such as a bezel's outer edge.
fn evidence(edge: &EdgeAcross, reach: f64) -> f64 {
    Vector3::from(edge.rise).norm().sqrt() * (-2.0 * (edge.offset / reach).powi(2)).exp()
}

/// The edges in line with the most evidence.
fn best(places: &[Vec<Placed>], reach: f64) -> Option<Vec<Placed>> {
    let n = places.len();
    let mut best: Option<(f64, Vec<Placed>)> = None;
    // Pairs of stations at least a third of the side apart.
    for i in 0..n / 2 {
        for j in (i + n / 3..n).step_by(3) {
            for a in &places[i] {
                for b in places[j].iter().filter(|b| b.edge.is_like(&a.edge)) {
                    let (score, found) = support(places, a, b.at, reach);
                    if best.as_ref().is_none_or(|(most, _)| score > *most) {
                        best = Some((score, found));
                    }
                }
            }
        }
    }
    best.map(|(_, found)| found)
}

/// The stations' edges on the line through two of them, one a station, and how much they speak for it.
fn support(
    places: &[Vec<Placed>],
    first: &Placed,
    second: Vector2<f64>,
    reach: f64,
) -> (f64, Vec<Placed>) {
    let along = second - first.at;
    let normal = Vector2::new(-along.y, along.x) / along.norm();
    let (mut score, mut found) = (0.0, Vec::with_capacity(places.len()));
    for edges in places {
        let on_line = edges
            .iter()
            .filter(|e| e.edge.is_like(&first.edge))
            .map(|e| ((e.at - first.at).dot(&normal).abs(), e))
            .filter(|(off, _)| *off < BEZEL.near.get())
            .min_by(|a, b| a.0.total_cmp(&b.0));
        if let Some((_, placed)) = on_line {
            found.push(*placed);
            score += evidence(&placed.edge, reach);
        }
    }
    (score, found)
}
