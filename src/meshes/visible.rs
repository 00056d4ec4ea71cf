//! The visible parts of a model's edges from a camera: borders, creases, and the smooth edges at which the surface turns away.
//!
//! # Source
//! A. Appel, The notion of quantitative invisibility and the machine rendering of solids, ACM National Conference, 1967 (what is drawn);
//! places on edges are compared with a depth buffer.
use super::{
    edges::{Edge, EdgeKind, Edges},
    model::{Model, length, minus},
    projection::{Seen, cut, is_in_front},
    screen::{SAMPLES, Screen},
};
use crate::stop;
use rayon::prelude::*;

/// Pixels from one place on an edge that is looked at to the next.
const STEP: f64 = 0.5;
/// What lies less than this behind the surface, in parts of the model's depth, is on it: a judgement; rounding of the buffer is far less.
const BEHIND: f64 = 5e-4;
/// The same over a pixel of a steep facet at most.
const STEEPEST: f64 = 0.02;
/// Hidden pieces of a visible edge and visible pieces of a hidden one that are shorter than this, pixels, come from the raster.
const SHORTEST: f64 = 1.0;

/// An edge that is seen from its end or nearly so has no length to draw, pixels.
const SHORTEST_EDGE: f64 = 1e-6;

/// A visible piece of an edge.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Piece {
    /// Both ends, pixels.
    pub(super) ends: [[f64; 2]; 2],
    /// The vertices of the edge where the piece reaches them.
    pub(super) vertices: [Option<u32>; 2],
    pub(super) kind: EdgeKind,
    /// One of the edge's facets.
    pub(super) facet: u32,
    pub(super) space: InSpace,
}

/// A piece of an edge in space.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct InSpace {
    /// Both ends, model millimetres.
    ends: [[f64; 3]; 2],
    /// Their distances along the sight, in parts of that of the model's middle.
    ahead: [f64; 2],
}

impl InSpace {
    /// The place that the picture has at this share of the way between both ends.
    pub(super) fn at(&self, share: f64) -> [f64; 3] {
        let share = self.share(share);
        let [a, b] = self.ends;
        std::array::from_fn(|k| a[k] + share * (b[k] - a[k]))
    }

    /// From the first end to the other, of length 1.
    pub(super) fn direction(&self) -> [f64; 3] {
        let [a, b] = self.ends;
        let way = minus(b, a);
        way.map(|v| v / length(way).max(f64::MIN_POSITIVE))
    }

    /// What is halfway in the picture is nearer to the farther end in space.
    fn share(&self, share: f64) -> f64 {
        let [a, b] = self.ahead;
        share * a / ((1.0 - share) * b + share * a)
    }

    /// The piece between two shares of the way in the picture.
    fn between(&self, shares: [f64; 2]) -> Self {
        let [a, b] = self.ahead;
        Self {
            ends: shares.map(|share| self.at(share)),
            ahead: shares.map(|share| a + self.share(share) * (b - a)),
        }
    }
}

/// The visible pieces of all edges, in the order of the edges.
pub(super) fn pieces(model: &Model, edges: &Edges, screen: &Screen) -> Vec<Piece> {
    let size = [screen.buffer.width(), screen.buffer.height()].map(|n| (n / SAMPLES) as f64);
    let facing: Vec<f64> = model
        .facets()
        .par_iter()
        .map(|c| facing(c.map(|i| screen.seen[i as usize])))
        .collect();
    // A camera within a closed surface sees its inner side.
    let is_outside = screen.seen.par_iter().all(|seen| is_in_front(*seen));
    let is_drawn = |edge: &&Edge| {
        let [a, b] = edge.facets.map(|facet| facing[facet as usize]);
        let outward = f64::from(edges.outward[edge.facets[0] as usize]);
        // Of a closed surface nothing is seen that turns away; the buffer cannot tell where it lies behind the outline.
        if is_outside
            && outward != 0.0
            && a * outward >= 0.0
            && b * outward >= 0.0
            && (a != 0.0 || b != 0.0)
        {
            return false;
        }
        let b = if edge.turn_alike { b } else { -b };
        edge.kind != EdgeKind::Smooth || (a * b <= 0.0 && (a != 0.0 || b != 0.0))
    };
    let of_edge = |edge: &Edge| {
        let mut found = Vec::new();
        if !stop::is_asked() {
            let places = edge.ends.map(|vertex| model.vertices()[vertex as usize]);
            of_edge((edge, places), screen, size, &mut found);
        }
        found
    };
    edges
        .all
        .par_iter()
        .filter(is_drawn)
        .flat_map_iter(of_edge)
        .collect()
}

/// Below 0 where the side that a facet's corners go round counter-clockwise is turned to the camera, above where it is turned away, 0
/// edge-on: the sign of the volume that its corners
/// have with the camera's centre, also where that is infinitely far.
fn facing(corners: [Seen; 3]) -> f64 {
    let [a, b, c] = corners.map(|[x, y, w, _]| [x, y, w]);
    // From the first corner on: near 0 the large numbers of a far camera would drown the sign.
    let (b, c) = (
        [0, 1, 2].map(|k| b[k] * a[2] - a[k] * b[2]),
        [0, 1, 2].map(|k| c[k] * a[2] - a[k] * c[2]),
    );
    let area = b[0] * c[1] - b[1] * c[0];
    let size = b[0].hypot(b[1]) * c[0].hypot(c[1]);
    if area.abs() <= 1e-9 * size {
        0.0
    } else {
        area * a[2].signum()
    }
}

fn of_edge(
    (edge, places): (&Edge, [[f64; 3]; 2]),
    screen: &Screen,
    size: [f64; 2],
    found: &mut Vec<Piece>,
) {
    let ends = edge.ends.map(|vertex| screen.seen[vertex as usize]);
    let (seen, is_whole) = match ends.map(is_in_front) {
        [true, true] => (ends, [true, true]),
        [true, false] => ([ends[0], cut(ends[0], ends[1])], [true, false]),
        [false, true] => ([cut(ends[1], ends[0]), ends[1]], [false, true]),
        [false, false] => return,
    };
    // Of an edge that was cut off: where on the way between its vertices the ends lie now.
    let ahead = ends.map(|end| end[2]);
    let whole = |at: f64| -> [f64; 3] {
        let share = if ahead[0] == ahead[1] {
            0.0
        } else {
            (at - ahead[0]) / (ahead[1] - ahead[0])
        };
        std::array::from_fn(|k| places[0][k] + share * (places[1][k] - places[0][k]))
    };
    let space = InSpace {
        ends: [0, 1].map(|k| {
            if is_whole[k] {
                places[k]
            } else {
                whole(seen[k][2])
            }
        }),
        ahead: seen.map(|end| end[2]),
    };
    let [a, b] = seen.map(|end| screen.place(end));
    let Some([from, to]) = within(a, b, size) else {
        return;
    };
    let between =
        |share: f64| -> [f64; 3] { std::array::from_fn(|k| a[k] + share * (b[k] - a[k])) };
    let length = (b[0] - a[0]).hypot(b[1] - a[1]) * (to - from);
    if length < SHORTEST_EDGE {
        return;
    }
    let count = (length / STEP).ceil().max(1.0) as usize;
    let step = (to - from) / count as f64;
    let slopes = edge
        .facets
        .map(|facet| f64::from(screen.slopes[facet as usize]));
    let behind = BEHIND + (slopes[0].min(slopes[1]) * STEP).min(STEEPEST);
    let is_visible = |i: usize| {
        let [x, y, depth] = between(from + (i as f64 + 0.5) * step);
        let farthest = screen
            .buffer
            .farthest_around(x * SAMPLES as f64, y * SAMPLES as f64);
        farthest.is_some_and(|farthest| f64::from(farthest) >= depth - behind)
    };
    let mut is_seen: Vec<bool> = (0..count).map(is_visible).collect();
    let shortest = (SHORTEST * count as f64 / length.max(STEP)).round() as usize;
    without_short_runs(&mut is_seen, shortest, false);
    without_short_runs(&mut is_seen, shortest, true);
    let mut start = 0;
    for run in is_seen.chunk_by(|a, b| a == b) {
        let end = start + run.len();
        if run[0] {
            let shares = [start, end].map(|i| from + i as f64 * step);
            let reaches = [
                start == 0 && from == 0.0 && is_whole[0],
                end == count && to == 1.0 && is_whole[1],
            ];
            found.push(Piece {
                ends: shares.map(|share| [between(share)[0], between(share)[1]]),
                vertices: [0, 1].map(|k| reaches[k].then_some(edge.ends[k])),
                kind: edge.kind,
                facet: edge.facets[0],
                space: space.between(shares),
            });
        }
        start = end;
    }
}

/// Turns runs of `value` that are shorter than `shortest` and not all there is.
fn without_short_runs(seen: &mut [bool], shortest: usize, value: bool) {
    let count = seen.len();
    for run in seen.chunk_by_mut(|a, b| a == b) {
        if run[0] == value && run.len() < shortest && run.len() < count {
            run.fill(!value);
        }
    }
}

/// The shares of the way from `a` to `b` between which it lies within the picture (Liang and Barsky 1984).
fn within(a: [f64; 3], b: [f64; 3], size: [f64; 2]) -> Option<[f64; 2]> {
    let (mut from, mut to) = (0.0_f64, 1.0_f64);
    for k in 0..2 {
        let way = b[k] - a[k];
        if way == 0.0 {
            if a[k] < 0.0 || a[k] > size[k] {
                return None;
            }
            continue;
        }
        let (one, other) = (-a[k] / way, (size[k] - a[k]) / way);
        from = from.max(one.min(other));
        to = to.min(one.max(other));
    }
    (from < to).then_some([from, to])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_is_cut_to_the_picture() {
        let cut =
            |a: [f64; 2], b: [f64; 2]| within([a[0], a[1], 0.0], [b[0], b[1], 0.0], [10.0, 20.0]);
        assert_eq!(cut([1.0, 1.0], [9.0, 19.0]), Some([0.0, 1.0]));
        assert_eq!(cut([-10.0, 5.0], [10.0, 5.0]), Some([0.5, 1.0]));
        assert_eq!(cut([5.0, 40.0], [5.0, -40.0]), Some([0.25, 0.5]));
        assert_eq!(cut([-1.0, 5.0], [-1.0, 6.0]), None);
        assert_eq!(cut([-5.0, 10.0], [5.0, -10.0]), None);
    }

    #[test]
    fn short_runs_go_and_whole_edges_stay() {
        let mut seen = [true, true, false, true, true, true, false, false, true];
        without_short_runs(&mut seen, 2, false);
        assert_eq!(
            seen,
            [true, true, true, true, true, true, false, false, true]
        );
        without_short_runs(&mut seen, 2, true);
        assert_eq!(
            seen,
            [true, true, true, true, true, true, false, false, false]
        );
        let mut one = [true];
        without_short_runs(&mut one, 2, true);
        assert_eq!(one, [true]);
    }
}
