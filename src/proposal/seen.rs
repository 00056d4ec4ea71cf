//! What of an image can be marked well: its corners and its round things. Found once an image.
use super::{
    corners::{self, Corner},
    outermost::EdgePoints,
    settings::PROPOSAL,
};
use crate::{contour, kernels::resize};
use image::RgbImage;
use rayon::prelude::*;

/// Longer side of the picture in which places are looked for; each is then settled on the full picture.
const LONGEST: u32 = 1600;
/// Most corners and most round things that are kept.
const MOST_CORNERS: usize = 800;
const MOST_ROUNDS: usize = 200;
/// Peaks that are tried as the middle of a round thing.
const MOST_TRIED: usize = 250;
/// Two finds nearer than this are one, px.
const SAME: f64 = 3.0;

/// Something round.
#[derive(Clone, Copy, Debug)]
pub(super) struct RoundThing {
    pub(super) centre: [f64; 2],
    pub(super) radius: f64,
}

/// What of an image can be marked well.
#[derive(Clone, Debug)]
pub struct Seen {
    pub(super) corners: Vec<Corner>,
    pub(super) rounds: Vec<RoundThing>,
    pub(super) edges: EdgePoints,
}

impl Seen {
    /// Pixels of the picture in which places are looked for, for an image of this size.
    pub fn most_pixels((width, height): (u32, u32)) -> u64 {
        let all = u64::from(width) * u64::from(height);
        all.min(u64::from(LONGEST) * u64::from(LONGEST))
    }

    /// Looks for it; some 60 bytes are needed meanwhile for each of [`Self::most_pixels`].
    pub fn of(image: &RgbImage) -> Self {
        let (small, by) = reduced(image);
        let small = small.as_ref().unwrap_or(image);
        let peaks: Vec<([f64; 2], f64)> = corners::peaks(small)
            .into_iter()
            .map(|([x, y], clearness)| ([x * by[0], y * by[1]], clearness))
            .collect();
        let corners: Vec<Option<Corner>> = peaks
            .par_iter()
            .map(|(at, _)| corners::corner_at(image, *at))
            .collect();
        let tried: Vec<[f64; 2]> = (peaks.iter().zip(&corners))
            .filter(|(_, corner)| corner.is_none())
            .map(|((at, _), _)| *at)
            .take(MOST_TRIED)
            .collect();
        let rounds: Vec<Option<RoundThing>> =
            tried.par_iter().map(|at| round_near(image, *at)).collect();
        let mut corners = apart(corners.into_iter().flatten(), |c| c.at);
        corners.truncate(MOST_CORNERS);
        let mut rounds = apart(rounds.into_iter().flatten(), |r| r.centre);
        rounds.truncate(MOST_ROUNDS);
        Self {
            corners,
            rounds,
            edges: EdgePoints::of(small, by),
        }
    }
}

/// The picture at the size in which places are looked for, where it is larger, and its pixels a pixel of that.
fn reduced(image: &RgbImage) -> (Option<RgbImage>, [f64; 2]) {
    let (width, height) = image.dimensions();
    let longest = width.max(height);
    if longest <= LONGEST {
        return (None, [1.0; 2]);
    }
    let reduced = |v: u32| {
        let v = u64::from(v) * u64::from(LONGEST) / u64::from(longest);
        u32::try_from(v).unwrap_or(LONGEST).max(1)
    };
    let small = resize::reduce_rgb(image, reduced(width), reduced(height));
    let by = [
        f64::from(width) / f64::from(small.width()),
        f64::from(height) / f64::from(small.height()),
    ];
    (Some(small), by)
}

fn round_near(image: &RgbImage, at: [f64; 2]) -> Option<RoundThing> {
    let found = contour::round_at(image, at)?;
    let [long, short] = found.half_axes;
    (found.seen >= PROPOSAL.least_seen.get()).then_some(RoundThing {
        centre: found.centre,
        radius: (long * short).sqrt(),
    })
}

/// Those that no earlier one is as good as the same as.
fn apart<T: Copy>(all: impl Iterator<Item = T>, at: fn(&T) -> [f64; 2]) -> Vec<T> {
    let mut kept: Vec<T> = Vec::new();
    for one in all {
        let [x, y] = at(&one);
        let is_new = kept.iter().all(|other| {
            let [u, v] = at(other);
            (x - u).hypot(y - v) > SAME
        });
        if is_new {
            kept.push(one);
        }
    }
    kept
}
