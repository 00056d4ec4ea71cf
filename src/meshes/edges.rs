//! The edges of a model's facets, and which of them are features whatever they are seen from.
use super::{
    groups::{join, root},
    model::{Model, cross, dot, length, minus},
};
use rayon::prelude::*;

/// Two facets that meet at a greater angle make an edge, unless something else is stated, degrees: a judgement between the facets of
/// a fine cylinder (5 to 15 degrees) and the chamfers of CAD (30 and more).
pub const CREASE_DEG: f64 = 25.0;

/// What an edge is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum EdgeKind {
    /// Only one facet, or more than two, meet there.
    Border,
    /// Two facets meet at more than the angle of a crease.
    Crease,
    /// Two facets meet there smoothly: seen only where one of them faces the viewer and the other does not.
    Smooth,
}

/// An edge.
#[derive(Clone, Copy, Debug)]
pub(super) struct Edge {
    /// Indices of vertices, the lesser first.
    pub(super) ends: [u32; 2],
    /// The facets on both sides; the same one twice at the border.
    pub(super) facets: [u32; 2],
    /// Whether both facets turn the same way round, as those of a sound mesh do.
    pub(super) turn_alike: bool,
    pub(super) kind: EdgeKind,
}

/// All edges of a model, each once.
#[derive(Clone, Debug)]
pub struct Edges {
    pub(super) all: Vec<Edge>,
    /// Of length 1, facet by facet.
    pub(super) normals: Vec<[f64; 3]>,
    /// Facet by facet: 1 where its normal points out of a closed surface, -1 where it points into it, 0 where the surface is not
    /// closed or its facets turn both ways round.
    pub(super) outward: Vec<i8>,
}

impl Edges {
    /// Finds the edges; facets that meet at more than `crease_deg` make a crease.
    ///
    /// The work grows with the facets and the logarithm of their number.
    pub fn of(model: &Model, crease_deg: f64) -> Self {
        let vertices = model.vertices();
        let normal = |corners: &[u32; 3]| {
            let [a, b, c] = corners.map(|i| vertices[i as usize]);
            let normal = cross(minus(b, a), minus(c, a));
            normal.map(|v| v / length(normal))
        };
        let normals: Vec<[f64; 3]> = model.facets().par_iter().map(normal).collect();
        let sides = sides(model.facets());
        let least_cosine = libm::cos(crease_deg.to_radians());
        let groups: Vec<&[Side]> = sides.chunk_by(|a, b| a.ends == b.ends).collect();
        let all: Vec<Edge> = groups
            .par_iter()
            .map(|group| edge(group, &normals, least_cosine))
            .collect();
        let outward = outward(model, &all);
        Self {
            all,
            normals,
            outward,
        }
    }

    /// How many edges are borders or creases.
    pub fn features(&self) -> usize {
        self.all
            .iter()
            .filter(|edge| edge.kind != EdgeKind::Smooth)
            .count()
    }
}

/// An edge as one facet has it; sorted, those of one edge follow each other.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct Side {
    /// Both vertices, the lesser in the upper half.
    ends: u64,
    /// The facet, doubled; one more where it goes from the greater to the lesser vertex.
    facet_and_way: u32,
}

fn sides(facets: &[[u32; 3]]) -> Vec<Side> {
    let of_facet = |(facet, &[a, b, c]): (usize, &[u32; 3])| {
        [(a, b), (b, c), (c, a)].map(|(from, to)| Side {
            ends: u64::from(from.min(to)) << 32 | u64::from(from.max(to)),
            facet_and_way: (facet as u32) << 1 | u32::from(from > to),
        })
    };
    let mut sides: Vec<Side> = facets.iter().enumerate().flat_map(of_facet).collect();
    sides.par_sort_unstable();
    sides
}

/// The edge of sides with the same ends.
fn edge(group: &[Side], normals: &[[f64; 3]], least_cosine: f64) -> Edge {
    let facet = |side: &Side| side.facet_and_way >> 1;
    let first = &group[0];
    let second = group.get(1).unwrap_or(first);
    let turn_alike = group.len() < 2 || (first.facet_and_way ^ second.facet_and_way) & 1 == 1;
    let facets = [facet(first), facet(second)];
    let [a, b] = facets.map(|facet| normals[facet as usize]);
    let cosine = dot(a, b) * if turn_alike { 1.0 } else { -1.0 };
    Edge {
        ends: [(first.ends >> 32) as u32, first.ends as u32],
        facets,
        turn_alike,
        kind: match group.len() {
            2 if cosine < least_cosine => EdgeKind::Crease,
            2 => EdgeKind::Smooth,
            _ => EdgeKind::Border,
        },
    }
}

/// Which way the normals of closed surfaces point: the sign of the volume that they enclose.
fn outward(model: &Model, edges: &[Edge]) -> Vec<i8> {
    let facets = model.facets();
    let mut surface: Vec<u32> = (0..facets.len() as u32).collect();
    for edge in edges {
        join(&mut surface, edge.facets[0], edge.facets[1]);
    }
    let surface: Vec<u32> = (0..facets.len() as u32)
        .map(|facet| root(&mut surface, facet))
        .collect();
    let mut is_closed = vec![true; facets.len()];
    for edge in edges {
        let is_sound = edge.kind != EdgeKind::Border && edge.turn_alike;
        is_closed[surface[edge.facets[0] as usize] as usize] &= is_sound;
    }
    let mut volumes = vec![0.0; facets.len()];
    let vertices = model.vertices();
    for (corners, surface) in facets.iter().zip(&surface) {
        // From a corner of the surface itself: far from the origin the volumes of all facets would be large and nearly cancel.
        let origin = vertices[facets[*surface as usize][0] as usize];
        let [a, b, c] = corners.map(|i| minus(vertices[i as usize], origin));
        volumes[*surface as usize] += dot(a, cross(b, c));
    }
    let sign = |surface: &u32| {
        let volume: f64 = volumes[*surface as usize];
        match is_closed[*surface as usize] {
            true if volume > 0.0 => 1,
            true if volume < 0.0 => -1,
            _ => 0,
        }
    };
    surface.iter().map(sign).collect()
}
