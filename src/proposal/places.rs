//! The places of a render that come into question for a view: what is seen there, and on which part it lies.
use super::{asked::Asked, names::Sort, seen::Seen, settings::PROPOSAL};
use crate::{
    edges,
    job::{MarkOn, Region, View},
};
use nalgebra::Vector2;
use rayon::prelude::*;

/// Larger round things than this are no bolts, render px.
const LARGEST_BOLT: f64 = 10.0;
/// The deviation of a mark that distances are measured by where the job states none, render px.
const USUAL_DEVIATION: f64 = 0.75;

/// A place that might be marked.
#[derive(Clone, Copy, Debug)]
pub(super) struct Place {
    pub(super) at: [f64; 2],
    pub(super) on: MarkOn,
    pub(super) sort: Sort,
    /// The smallest region around it.
    pub(super) part: Option<usize>,
    /// How clear it is, 0 to 1.
    pub(super) clearness: f64,
}

/// All of them.
pub(super) struct Places {
    pub(super) all: Vec<Place>,
    /// None nearer than this to another that is proposed, render px.
    pub(super) near: f64,
}

impl Places {
    pub(super) fn of(asked: &Asked<'_>) -> Self {
        let view = asked.view;
        let deviation = view.render.mark_sigma_px.unwrap_or(USUAL_DEVIATION);
        let near = PROPOSAL.near.get() * deviation.max(USUAL_DEVIATION);
        let marked: Vec<[f64; 2]> = (view.landmarks.iter().map(|l| l.render.xy()))
            .chain(asked.passed_over.iter().copied())
            .collect();
        let by_size = smallest_first(view);
        let part_of = |at: [f64; 2]| {
            let place = Vector2::from(at);
            let mut regions = by_size.iter();
            regions
                .find(|j| edges::holds(&view.regions[**j], place))
                .copied()
        };
        let seen = corners(asked.seen).chain(rounds(asked.seen));
        let all = seen
            .map(|place| Place {
                part: part_of(place.at),
                ..place
            })
            .chain(outermost(asked, &by_size))
            .filter(|place| is_clear_of(place.at, &marked, near))
            .collect();
        Self { all, near }
    }
}

fn rounds(seen: &Seen) -> impl Iterator<Item = Place> {
    seen.rounds.iter().map(|round| Place {
        at: round.centre,
        on: MarkOn::Centre,
        sort: match round.radius > LARGEST_BOLT {
            true => Sort::Round,
            false => Sort::Bolt,
        },
        part: None,
        clearness: 1.0,
    })
}

fn corners(seen: &Seen) -> impl Iterator<Item = Place> {
    seen.corners.iter().map(|corner| Place {
        at: corner.at,
        on: MarkOn::Corner,
        sort: Sort::Place,
        part: None,
        clearness: corner.clearness,
    })
}

/// Those of each part; `by_size` has the regions' indices, the smallest first.
fn outermost(asked: &Asked<'_>, by_size: &[usize]) -> Vec<Place> {
    let regions = &asked.view.regions;
    let of_part = |k: usize| {
        let smaller: Vec<&Region> = by_size[..k].iter().map(|j| &regions[*j]).collect();
        let found = asked.seen.edges.outermost(&regions[by_size[k]], &smaller);
        found.into_iter().map(move |outermost| Place {
            at: outermost.at,
            on: MarkOn::Outline(Some(outermost.tangent)),
            sort: Sort::Outermost(outermost.way.name()),
            part: Some(by_size[k]),
            clearness: 0.5,
        })
    };
    (0..by_size.len())
        .into_par_iter()
        .flat_map_iter(of_part)
        .collect()
}

/// Whether none of the marks is nearer than that.
pub(super) fn is_clear_of([x, y]: [f64; 2], marks: &[[f64; 2]], near: f64) -> bool {
    marks.iter().all(|[u, v]| (x - u).hypot(y - v) >= near)
}

/// The regions' indices by the area of their outlines.
fn smallest_first(view: &View) -> Vec<usize> {
    let area = |j: &usize| {
        let outline = &view.regions[*j].outline;
        let corners = outline.iter().zip(outline.iter().cycle().skip(1));
        let twice: f64 = corners.map(|(a, b)| a.x * b.y - a.y * b.x).sum();
        twice.abs()
    };
    let mut all: Vec<usize> = (0..view.regions.len()).collect();
    all.sort_by(|a, b| area(a).total_cmp(&area(b)));
    all
}
