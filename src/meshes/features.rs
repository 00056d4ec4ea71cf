//! Places of a model that a mark can be set on exactly: corners, the edges between them, and the middles of round ones.
use super::{
    edges::{Edge, EdgeKind, Edges},
    model::{Model, dot, length, minus},
    rounds::{self, Between, Round},
    sight::{Hit, Sight},
};
use rayon::prelude::*;

/// Corners, and as many edges, near a pixel that are looked at more closely: those beyond are farther away than these.
const MOST_NEAR: usize = 64;

/// The corners and feature edges of a model.
#[derive(Clone, Debug)]
pub struct Features {
    /// Vertices at which a feature edge ends, turns or meets others, each with a facet of its part.
    corners: Vec<[u32; 2]>,
    /// Borders and creases.
    edges: Vec<FeatureEdge>,
    /// Closed feature edges that are round.
    rounds: Vec<Round>,
}

#[derive(Clone, Copy, Debug)]
struct FeatureEdge {
    ends: [u32; 2],
    /// A facet beside it.
    facet: u32,
}

/// What a place on a model is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FeatureKind {
    /// A corner.
    Corner,
    /// The middle of a round border or crease.
    Middle,
    /// On a border or a crease.
    Edge,
    /// Anywhere on the surface.
    Surface,
}

/// A place on a model that was pointed at.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Found {
    /// Model millimetres.
    pub place: [f64; 3],
    /// Index of its part.
    pub part: usize,
    /// What it is.
    pub kind: FeatureKind,
}

/// A corner or an edge near a pixel.
struct Near {
    distance: f64,
    place: [f64; 3],
    pixel: [f64; 2],
    part: usize,
}

impl Features {
    /// Finds them. Two feature edges that meet at a turn of less than `crease_deg` are one that goes on.
    pub fn of(model: &Model, edges: &Edges, crease_deg: f64) -> Self {
        let is_feature = |edge: &&Edge| edge.kind != EdgeKind::Smooth;
        let edges: Vec<FeatureEdge> = (edges.all.iter().filter(is_feature))
            .map(|edge| FeatureEdge {
                ends: edge.ends,
                facet: edge.facets[0],
            })
            .collect();
        let both = |edge: &FeatureEdge| {
            let [a, b] = edge.ends;
            [[a, b, edge.facet], [b, a, edge.facet]]
        };
        let mut ends: Vec<[u32; 3]> = edges.iter().flat_map(both).collect();
        ends.par_sort_unstable();
        let least_cosine = libm::cos(crease_deg.to_radians());
        let at_vertices = ends.chunk_by(|a, b| a[0] == b[0]);
        let is_corner = |others: &&[[u32; 3]]| match others {
            [[vertex, a, _], [_, b, _]] => !goes_on(model, [*a, *vertex, *b], least_cosine),
            _ => true,
        };
        let (corners, between): (Vec<_>, Vec<_>) = at_vertices.partition(is_corner);
        let neighbours = |others: &[[u32; 3]]| match others {
            [[vertex, a, facet], [_, b, _]] => Some([*vertex, *a, *b, *facet]),
            _ => None,
        };
        let between: Vec<Between> = between.into_iter().filter_map(neighbours).collect();
        Self {
            corners: (corners.iter())
                .map(|others| [others[0][0], others[0][2]])
                .collect(),
            edges,
            rounds: rounds::of_lines(model, &between),
        }
    }

    /// The place that a pixel of a camera's picture means: the nearest corner that is seen within `reach` = [of corners, of edges]
    /// pixels, else the middle of a round or a place of an edge, whichever is nearer, else what the pixel shows; `None` where there is
    /// none of these.
    pub fn at(
        &self,
        model: &Model,
        sight: &Sight<'_>,
        (pixel, reach): ([f64; 2], [f64; 2]),
    ) -> Option<Found> {
        let corners = self.corners_near(model, sight, (pixel, reach[0]));
        let middles = self.middles_near(model, sight, (pixel, reach[0]));
        let edges = self.edges_near(model, sight, (pixel, reach[1]));
        let near = || corners.iter().chain(&middles).chain(&edges);
        let pixels: Vec<[f64; 2]> = near().map(|near| near.pixel).chain([pixel]).collect();
        let places: Vec<[f64; 3]> = near().map(|near| near.place).collect();
        let mut hits = sight.hits(&pixels);
        let under = hits.pop().flatten();
        let seen = sight.at_hits(&places, &hits);
        let (of_corners, seen) = seen.split_at(corners.len());
        let (of_middles, of_edges) = seen.split_at(middles.len());
        let clicked = under.map(|hit: Hit| model.part_of(hit.facet));
        let found = |near: &Near, kind| Found {
            place: near.place,
            part: near.part,
            kind,
        };
        let corner = nearest(&corners, of_corners, clicked);
        let corner = corner.map(|near| found(near, FeatureKind::Corner));
        let middle_or_edge = || {
            let middle = nearest(&middles, of_middles, clicked);
            let edge = nearest(&edges, of_edges, clicked);
            match (middle, edge) {
                (Some(middle), Some(edge)) if edge.distance < middle.distance => {
                    Some(found(edge, FeatureKind::Edge))
                }
                (Some(middle), _) => Some(found(middle, FeatureKind::Middle)),
                (None, edge) => edge.map(|edge| found(edge, FeatureKind::Edge)),
            }
        };
        let surface = || {
            under.map(|hit| Found {
                place: hit.place,
                part: model.part_of(hit.facet),
                kind: FeatureKind::Surface,
            })
        };
        corner.or_else(middle_or_edge).or_else(surface)
    }

    fn corners_near(
        &self,
        model: &Model,
        sight: &Sight<'_>,
        (pixel, reach): ([f64; 2], f64),
    ) -> Vec<Near> {
        let near = self.corners.par_iter().filter_map(|&[vertex, facet]| {
            let own = sight.pixel(vertex)?;
            let distance = (own[0] - pixel[0]).hypot(own[1] - pixel[1]);
            (distance <= reach).then(|| Near {
                distance,
                place: model.vertices()[vertex as usize],
                pixel: own,
                part: model.part_of(facet as usize),
            })
        });
        nearest_first(near.collect())
    }

    fn middles_near(
        &self,
        model: &Model,
        sight: &Sight<'_>,
        (pixel, reach): ([f64; 2], f64),
    ) -> Vec<Near> {
        let near = self.rounds.iter().filter_map(|round| {
            let own = sight.pixel_of(round.middle)?;
            let distance = (own[0] - pixel[0]).hypot(own[1] - pixel[1]);
            (distance <= reach).then(|| Near {
                distance,
                place: round.middle,
                pixel: own,
                part: model.part_of(round.facet as usize),
            })
        });
        nearest_first(near.collect())
    }

    fn edges_near(
        &self,
        model: &Model,
        sight: &Sight<'_>,
        (pixel, reach): ([f64; 2], f64),
    ) -> Vec<Near> {
        let near = self
            .edges
            .par_iter()
            .filter_map(|&FeatureEdge { ends, facet }| {
                let [a, b] = [sight.pixel(ends[0])?, sight.pixel(ends[1])?];
                let way = [b[0] - a[0], b[1] - a[1]];
                let square = way[0] * way[0] + way[1] * way[1];
                let along = (pixel[0] - a[0]) * way[0] + (pixel[1] - a[1]) * way[1];
                let share = if square > 0.0 {
                    (along / square).clamp(0.0, 1.0)
                } else {
                    0.0
                };
                let own = [a[0] + share * way[0], a[1] + share * way[1]];
                let distance = (own[0] - pixel[0]).hypot(own[1] - pixel[1]);
                (distance <= reach).then(|| {
                    let share = sight.share_in_space(ends, share);
                    let [from, to] = ends.map(|vertex| model.vertices()[vertex as usize]);
                    Near {
                        distance,
                        place: std::array::from_fn(|k| from[k] + share * (to[k] - from[k])),
                        pixel: own,
                        part: model.part_of(facet as usize),
                    }
                })
            });
        nearest_first(near.collect())
    }

    /// The corners, model millimetres.
    pub fn corners<'a>(&'a self, model: &'a Model) -> impl Iterator<Item = [f64; 3]> + 'a {
        self.corners
            .iter()
            .map(|[vertex, _]| model.vertices()[*vertex as usize])
    }
}

/// Whether an edge from `a` over `vertex` to `b` goes on without a corner.
fn goes_on(model: &Model, [a, vertex, b]: [u32; 3], least_cosine: f64) -> bool {
    let [a, vertex, b] = [a, vertex, b].map(|i| model.vertices()[i as usize]);
    let (to, on) = (minus(vertex, a), minus(b, vertex));
    dot(to, on) >= least_cosine * length(to) * length(on)
}

/// The nearest ones; what is collected in parallel comes in the order of the mesh, and stays in it where it is equally near.
fn nearest_first(mut all: Vec<Near>) -> Vec<Near> {
    all.sort_by(|a, b| a.distance.total_cmp(&b.distance));
    all.truncate(MOST_NEAR);
    all
}

/// The nearest one that is seen; of several at one place that of the part that was clicked.
fn nearest<'a>(all: &'a [Near], seen: &[bool], clicked: Option<usize>) -> Option<&'a Near> {
    /// Two places that a picture shows nearer to each other than this are one, pixels.
    const SAME: f64 = 1e-6;
    let mut visible = all.iter().zip(seen).filter(|(_, seen)| **seen);
    let (first, _) = visible.next()?;
    let is_same = |near: &&Near| near.distance <= first.distance + SAME;
    let others = visible.map(|(near, _)| near).take_while(is_same);
    let chosen = std::iter::once(first).chain(others);
    let chosen = chosen.clone().find(|near| Some(near.part) == clicked);
    Some(chosen.unwrap_or(first))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::meshes::{
        edges::CREASE_DEG, format::Format, limits::Limits, projection::Projection, soup::Soup,
    };

    /// A post of `sides` sides, 20 mm across, from z = 0 to z = 30, and a box before its foot.
    fn model(sides: u32) -> Model {
        let mut soup = Soup::new(Format::Obj, Limits::default());
        soup.begin("post").expect("room");
        let place = |k: u32, z: f64| {
            let turn = std::f64::consts::TAU * f64::from(k) / f64::from(sides);
            [10.0 * turn.cos(), 10.0 * turn.sin(), z]
        };
        for z in [0.0, 30.0] {
            for k in 0..sides {
                soup.vertex(place(k, z), String::new).expect("room");
            }
            soup.vertex([0.0, 0.0, z], String::new).expect("room");
        }
        let top = sides + 1;
        for k in 0..sides {
            let next = (k + 1) % sides;
            for facet in [
                [k, next, top + next],
                [k, top + next, top + k],
                [sides, next, k],
                [top + sides, top + k, top + next],
            ] {
                soup.facet(facet).expect("room");
            }
        }
        soup.begin("box").expect("room");
        soup.add_box([[20.0, 30.0], [-8.0, 8.0], [0.0, 8.0]]);
        Model::of_soup(soup, 1.0).expect("a model")
    }

    /// Along -x, parallel: ten pixels a millimetre, y to the right, z up; (0, 0, 0) at (500, 400).
    const SIDE: [[f64; 4]; 3] = [
        [0.0, 10.0, 0.0, 500.0],
        [0.0, 0.0, -10.0, 400.0],
        [0.0, 0.0, 0.0, 1.0],
    ];

    fn at(model: &Model, pixel: [f64; 2]) -> Option<Found> {
        from(SIDE, model, pixel)
    }

    fn from(camera: [[f64; 4]; 3], model: &Model, pixel: [f64; 2]) -> Option<Found> {
        let edges = Edges::of(model, CREASE_DEG);
        let features = Features::of(model, &edges, CREASE_DEG);
        let projection = Projection::new(camera, model).expect("a camera");
        let sight = Sight::new(model, &projection);
        features.at(model, &sight, (pixel, [12.0, 8.0]))
    }

    #[test]
    fn the_rim_of_a_round_post_has_no_corners_and_that_of_a_square_one_has() {
        let corners = |sides: u32| {
            let model = model(sides);
            let edges = Edges::of(&model, CREASE_DEG);
            let features = Features::of(&model, &edges, CREASE_DEG);
            features.corners(&model).count()
        };
        assert_eq!(corners(48), 8, "those of the box alone");
        assert_eq!(corners(4), 8 + 8);
    }

    #[test]
    fn a_click_beside_a_corner_means_the_corner_then_the_edge_then_the_surface() {
        let model = model(48);
        let found = |y: f64, z: f64| at(&model, [500.0 + 10.0 * y, 400.0 - 10.0 * z]);
        let corner = found(7.5, 7.4).expect("the box");
        assert_eq!((corner.kind, corner.part), (FeatureKind::Corner, 1));
        assert_eq!(corner.place, [30.0, 8.0, 8.0]);
        // Beside the model, still in reach of its corner.
        assert_eq!(found(8.5, 8.5).map(|f| f.place), Some([30.0, 8.0, 8.0]));
        let edge = found(3.0, 7.5).expect("the box");
        assert_eq!(edge.kind, FeatureKind::Edge);
        assert!(
            (edge.place[1] - 3.0).abs() < 1e-9 && edge.place[2] == 8.0,
            "{edge:?}"
        );
        let surface = found(3.0, 4.0).expect("the box");
        assert_eq!(surface.kind, FeatureKind::Surface);
        assert!((surface.place[0] - 30.0).abs() < 1e-9 && (surface.place[2] - 4.0).abs() < 1e-9);
        assert_eq!(found(20.0, 20.0), None);
    }

    #[test]
    fn a_click_in_a_round_means_its_middle_unless_the_rim_is_nearer() {
        // From above: x to the right, y up.
        const ABOVE: [[f64; 4]; 3] = [
            [1.8, 0.0, 0.0, 500.0],
            [0.0, -1.8, 0.0, 400.0],
            [0.0, 0.0, 0.0, 1.0],
        ];
        let model = model(48);
        let found = |x: f64, y: f64| {
            let found = from(ABOVE, &model, [500.0 + 1.8 * x, 400.0 - 1.8 * y]).expect("the post");
            (found.kind, found.place.map(|v| (v * 1e6).round() / 1e6))
        };
        assert_eq!(found(3.0, 2.0), (FeatureKind::Middle, [0.0, 0.0, 30.0]));
        assert_eq!(found(-6.2, 0.0).0, FeatureKind::Edge, "3.8 mm from the rim");
        // The middle of the foot lies behind the top, a square has none.
        let square = self::model(4);
        let found = from(ABOVE, &square, [500.0, 400.0]).expect("the post");
        assert_eq!(found.kind, FeatureKind::Surface);
    }

    #[test]
    fn what_is_hidden_is_not_meant() {
        let model = model(48);
        // The foot of the post lies behind the box, and so does the box's own rear corner.
        let found = at(&model, [500.0 + 10.0, 400.0 - 60.0]).expect("the box");
        assert_eq!((found.kind, found.part), (FeatureKind::Surface, 1));
        let corner = at(&model, [500.0 - 80.0, 400.0]).expect("the box");
        assert_eq!(corner.place, [30.0, -8.0, 0.0], "not that at x = 20");
    }

    #[test]
    fn of_two_parts_that_meet_the_clicked_one_is_meant() {
        let mut soup = Soup::new(Format::Obj, Limits::default());
        for (name, z) in [("lower", 0.0), ("upper", 10.0)] {
            soup.begin(name).expect("room");
            let first = if z == 0.0 { 0 } else { 4 };
            for [y, up] in [[0.0, 0.0], [10.0, 0.0], [10.0, 10.0], [0.0, 10.0]] {
                soup.vertex([0.0, y, z + up], String::new).expect("room");
            }
            soup.facet([first, first + 1, first + 2]).expect("room");
            soup.facet([first, first + 2, first + 3]).expect("room");
        }
        let model = Model::of_soup(soup, 1.0).expect("a model");
        let part = |z: f64| at(&model, [500.0 + 99.0, 400.0 - 10.0 * z]).map(|f| (f.kind, f.part));
        assert_eq!(part(9.5), Some((FeatureKind::Corner, 0)));
        assert_eq!(part(10.5), Some((FeatureKind::Corner, 1)));
    }
}
