//! What changed between two versions of an image in the whole: moved, cropped, scaled, turned a little.
//!
//! Clear places all over the old image are looked for everywhere in the new one, both made small; the similarity that most of
//! them agree to is fitted to these, then to their places on the full image, and made affine or projective where that leaves much
//! less.
//!
//! # Source
//! Clear places: J. Shi and C. Tomasi, "Good features to track" (1994), the smaller eigenvalue. Agreement: M. Fischler and R. Bolles,
//! "Random sample consensus" (1981), here over all pairs.
use super::{levels::Levels, settings::CARRY, track};
use crate::{frame::fit, kernels::Plane};
use nalgebra::{Matrix2, Matrix3, Vector2};
use rayon::prelude::*;

/// Longest side of the small images.
const SMALL: usize = 160;
/// Cells of this many samples hold one clear place each, and so many places are looked for at most.
const CELL: usize = 8;
const MOST_PLACES: usize = 100;
/// Samples from the middle of a small patch to its side, and how far it is looked for.
const HALF: usize = 5;
const REACH: isize = 64;
/// Least likeness of two small patches.
const LEAST_LIKENESS: f32 = 0.7;
/// How near a place has to lie to where the similarity takes it, samples.
const NEAR: f64 = 2.0;
/// Fewer places than this agree by chance.
const LEAST_AGREEING: usize = 8;

type Pair = (Vector2<f64>, Vector2<f64>);

/// The map from pixels of `old` to those of `new`; `None` where too little of the old image is found in the new one.
pub(super) fn between(old: &Levels, new: &Levels) -> Option<Matrix3<f64>> {
    let small = Small::of(old);
    let places = clear_places(&small.plane);
    let [old_size, new_size] = [old.size(), new.size()];
    let mut scales = vec![1.0, new_size[0] / old_size[0], new_size[1] / old_size[1]];
    scales.sort_by(f64::total_cmp);
    scales.dedup_by(|a, b| (*a / *b - 1.0).abs() < 0.01);
    let agreed = scales
        .into_iter()
        .filter_map(|scale| agreement(&small.found_in(&Small::scaled(new, scale, &small), &places)))
        .max_by_key(Vec::len)?;
    // From small samples to pixels of both images.
    let pairs: Vec<Pair> = agreed;
    let first = fitted(fit::similarity, &pairs)?;
    Some(refined(old, new, first))
}

/// A small plane, and pixels of its image a sample.
struct Small {
    plane: Plane<f32>,
    pixels: f64,
}

impl Small {
    fn of(levels: &Levels) -> Self {
        let level = (0..levels.count())
            .find(|k| levels.plane(*k).dim().0.max(levels.plane(*k).dim().1) <= SMALL)
            .unwrap_or(levels.count() - 1);
        Self {
            plane: levels.plane(level).clone(),
            pixels: f64::from(1_u32 << level),
        }
    }

    /// Another image with samples that show as much of it as those of `like` where it is `scale` times as large.
    fn scaled(levels: &Levels, scale: f64, like: &Self) -> Self {
        let pixels = like.pixels * scale;
        let level = pixels.max(1.0).log2().floor() as usize;
        let [width, height] = levels
            .size()
            .map(|v| (v / pixels).floor().max(1.0) as usize);
        let plane = Plane::from_shape_fn((height, width), |(y, x)| {
            let place = Vector2::new(x as f64 + 0.5, y as f64 + 0.5) * pixels;
            levels.value(level, place).unwrap_or(0.0) as f32
        });
        Self { plane, pixels }
    }

    /// Each of the places with the most alike one in another image, in pixels of both.
    fn found_in(&self, other: &Self, places: &[[usize; 2]]) -> Vec<Pair> {
        places
            .par_iter()
            .filter_map(|&[x, y]| {
                let patch = normalised(&self.plane, x, y)?;
                let range = |at: usize, size: usize| {
                    let from = (at as isize - REACH).max(HALF as isize);
                    let to = (at as isize + REACH).min(size as isize - HALF as isize - 1);
                    from..=to
                };
                let (height, width) = other.plane.dim();
                let alike = range(y, height)
                    .flat_map(|v| range(x, width).map(move |u| [u as usize, v as usize]))
                    .filter_map(|[u, v]| {
                        let there = normalised(&other.plane, u, v)?;
                        let likeness: f32 = patch.iter().zip(&there).map(|(a, b)| a * b).sum();
                        Some(([u, v], likeness))
                    })
                    .reduce(|best, next| if next.1 > best.1 { next } else { best })?;
                let middle = |[x, y]: [usize; 2]| Vector2::new(x as f64 + 0.5, y as f64 + 0.5);
                (alike.1 > LEAST_LIKENESS)
                    .then(|| (middle([x, y]) * self.pixels, middle(alike.0) * other.pixels))
            })
            .collect()
    }
}

/// The samples around a place less their mean, divided by the root of their sum of squares; `None` where they are one grey.
fn normalised(plane: &Plane<f32>, x: usize, y: usize) -> Option<[f32; (2 * HALF + 1).pow(2)]> {
    const SIDE: usize = 2 * HALF + 1;
    let mut all = [0.0; SIDE * SIDE];
    for (r, row) in all.chunks_exact_mut(SIDE).enumerate() {
        for (c, value) in row.iter_mut().enumerate() {
            *value = plane[[y + r - HALF, x + c - HALF]];
        }
    }
    let mean = all.iter().sum::<f32>() / all.len() as f32;
    all.iter_mut().for_each(|v| *v -= mean);
    let square = all.iter().map(|v| v * v).sum::<f32>();
    let least = CARRY.least_contrast.get().powi(2) as f32 * all.len() as f32;
    (square > least).then(|| {
        let root = square.sqrt();
        all.map(|v| v / root)
    })
}

/// The clearest place of each cell, the clearest of all first.
fn clear_places(plane: &Plane<f32>) -> Vec<[usize; 2]> {
    let (height, width) = plane.dim();
    let margin = HALF + 2;
    let slope = |x: usize, y: usize| {
        Vector2::new(
            f64::from(plane[[y, x + 1]] - plane[[y, x - 1]]),
            f64::from(plane[[y + 1, x]] - plane[[y - 1, x]]),
        )
    };
    let clearness = |x: usize, y: usize| {
        let mut moments = Matrix2::zeros();
        for v in y - 2..=y + 2 {
            for u in x - 2..=x + 2 {
                let g = slope(u, v);
                moments += g * g.transpose();
            }
        }
        moments.symmetric_eigenvalues().min()
    };
    let mut best: Vec<(f64, [usize; 2])> = Vec::new();
    for top in (margin..height.saturating_sub(margin)).step_by(CELL) {
        for left in (margin..width.saturating_sub(margin)).step_by(CELL) {
            let rows = top..(top + CELL).min(height - margin);
            let all =
                rows.flat_map(|y| (left..(left + CELL).min(width - margin)).map(move |x| [x, y]));
            let clearest = all
                .map(|[x, y]| (clearness(x, y), [x, y]))
                .reduce(|a, b| if b.0 > a.0 { b } else { a });
            best.extend(clearest.filter(|(clear, _)| *clear > 25.0));
        }
    }
    best.sort_by(|a, b| b.0.total_cmp(&a.0));
    best.truncate(MOST_PLACES);
    best.into_iter().map(|(_, place)| place).collect()
}

/// The pairs that agree to one similarity, as many as do to any; `None` where these may do by chance.
fn agreement(pairs: &[Pair]) -> Option<Vec<Pair>> {
    let extent = pairs.iter().map(|p| p.0.amax()).fold(0.0, f64::max);
    let near = NEAR * extent / SMALL as f64;
    let agreeing = |map: &Matrix3<f64>| -> Vec<usize> {
        let off =
            |(from, to): &Pair| track::at(map, *from).map_or(f64::MAX, |(p, _)| (p - to).norm());
        (0..pairs.len())
            .filter(|&k| off(&pairs[k]) < near)
            .collect()
    };
    let all = (0..pairs.len()).flat_map(|i| (i + 1..pairs.len()).map(move |j| [i, j]));
    let far_apart = |[i, j]: &[usize; 2]| (pairs[*i].0 - pairs[*j].0).norm() > extent / 8.0;
    let all: Vec<[usize; 2]> = all.filter(far_apart).collect();
    let best = all
        .par_iter()
        .filter_map(|[i, j]| {
            let map = fitted(fit::similarity, &[pairs[*i], pairs[*j]])?;
            let scale = map.fixed_view::<2, 2>(0, 0).determinant().abs().sqrt();
            ((0.2..5.0).contains(&scale)).then(|| agreeing(&map))
        })
        .map(|found| (found.len(), std::cmp::Reverse(found.clone()), found))
        .max()?
        .2;
    let enough = best.len() >= LEAST_AGREEING && 4 * best.len() >= pairs.len();
    enough.then(|| best.into_iter().map(|k| pairs[k]).collect())
}

type Fit = fn(&[[f64; 2]], &[[f64; 2]]) -> Option<Matrix3<f64>>;

fn fitted(fit: Fit, pairs: &[Pair]) -> Option<Matrix3<f64>> {
    let (from, to): (Vec<[f64; 2]>, Vec<[f64; 2]>) = pairs
        .iter()
        .map(|(a, b)| (<[f64; 2]>::from(*a), <[f64; 2]>::from(*b)))
        .unzip();
    fit(&from, &to)
}

/// The map by places carried over on the full image; `first` where too few are.
fn refined(old: &Levels, new: &Levels, first: Matrix3<f64>) -> Matrix3<f64> {
    // Clear places of a level with about as many samples as a screen has: corners and not whole parts.
    let level = (0..old.count())
        .find(|k| old.plane(*k).dim().1 <= 4 * SMALL)
        .unwrap_or(0);
    let pixels = f64::from(1_u32 << level);
    let places = clear_places(old.plane(level));
    let least = CARRY.least_likeness.get();
    let pairs: Vec<Pair> = places
        .par_iter()
        .filter_map(|&[x, y]| {
            let place = Vector2::new(x as f64 + 0.5, y as f64 + 0.5) * pixels;
            let carried = track::carry([old, new], place.into(), &first, (false, least)).ok()?;
            Some((place, Vector2::from(carried.place)))
        })
        .collect();
    let mut best = (first, spread(&first, &pairs));
    for (fit, least, gain) in [
        (fit::similarity as Fit, 8, 1.0),
        (fit::affine as Fit, 12, 0.8),
        (fit::projective as Fit, 16, 0.8),
    ] {
        let Some(map) = robustly(fit, &pairs, &best.0).filter(|_| pairs.len() >= least) else {
            continue;
        };
        let left = spread(&map, &pairs);
        if left < gain * best.1 {
            best = (map, left);
        }
    }
    best.0
}

/// A fit to those that lie near, three times over: near is three times the median, and a pixel at least.
fn robustly(fit: Fit, pairs: &[Pair], start: &Matrix3<f64>) -> Option<Matrix3<f64>> {
    let mut map = *start;
    for _ in 0..3 {
        let limit = (3.0 * spread(&map, pairs)).max(1.0);
        let near: Vec<Pair> = pairs
            .iter()
            .filter(|p| off(&map, p) < limit)
            .copied()
            .collect();
        map = fitted(fit, &near)?;
    }
    Some(map)
}

fn off(map: &Matrix3<f64>, (from, to): &Pair) -> f64 {
    track::at(map, *from).map_or(f64::MAX, |(p, _)| (p - to).norm())
}

/// The median distance.
fn spread(map: &Matrix3<f64>, pairs: &[Pair]) -> f64 {
    let mut all: Vec<f64> = pairs.iter().map(|p| off(map, p)).collect();
    all.sort_by(f64::total_cmp);
    all.get(all.len() / 2).copied().unwrap_or(f64::MAX)
}
