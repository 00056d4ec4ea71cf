//! Visible pieces of edges, put together to lines that go on from edge to edge.
use super::{edges::EdgeKind, model::Model, visible::Piece};
use crate::frame::{Point, RenderPx};
use std::collections::BTreeMap;

/// A visible line of a drawn model.
#[derive(Clone, Debug, PartialEq)]
pub struct VisibleLine {
    /// Index of the part whose edges it follows.
    pub part: usize,
    /// What they are; [`EdgeKind::Smooth`] is the outline of a rounded surface.
    pub kind: EdgeKind,
    /// Two places or more, in order; the first and the last are the same where it is closed.
    pub points: Vec<Point<RenderPx>>,
}

/// Puts pieces together: those of one part and kind that meet at a vertex where no third one does.
pub(super) fn joined(model: &Model, pieces: &[Piece]) -> Vec<VisibleLine> {
    let mut at_vertex: BTreeMap<(u32, EdgeKind), Vec<usize>> = BTreeMap::new();
    for (index, piece) in pieces.iter().enumerate() {
        for vertex in piece.vertices.into_iter().flatten() {
            at_vertex
                .entry((vertex, piece.kind))
                .or_default()
                .push(index);
        }
    }
    let next = |index: usize, end: usize| {
        let piece = &pieces[index];
        match at_vertex.get(&(piece.vertices[end]?, piece.kind))?[..] {
            [a, b] => Some(if a == index { b } else { a }).filter(|other| *other != index),
            _ => None,
        }
    };
    let mut is_taken = vec![false; pieces.len()];
    let mut lines = Vec::new();
    for first in 0..pieces.len() {
        if is_taken[first] {
            continue;
        }
        is_taken[first] = true;
        let mut sides = [Vec::new(), Vec::new()];
        for (end, side) in sides.iter_mut().enumerate() {
            let (mut index, mut end) = (first, end);
            side.push(pieces[index].ends[end]);
            while let Some(other) = next(index, end).filter(|other| !is_taken[*other]) {
                is_taken[other] = true;
                let shared = pieces[index].vertices[end];
                end = usize::from(pieces[other].vertices[0] == shared);
                index = other;
                side.push(pieces[index].ends[end]);
            }
        }
        let [back, forth] = sides;
        let points = back
            .into_iter()
            .rev()
            .chain(forth)
            .map(|[x, y]| Point::new(x, y));
        lines.push(VisibleLine {
            part: model.part_of(pieces[first].facet as usize),
            kind: pieces[first].kind,
            points: points.collect(),
        });
    }
    lines
}
