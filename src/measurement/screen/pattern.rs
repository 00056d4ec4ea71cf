//! The grid of a screen's pixels, and the moire that it makes with the camera's: found in the spectrum.
//!
//! Tiles spread over the picture have their pure tones (`kernels::spectrum`). A tone that nearly every tile has, at a
//! frequency that changes with the place no more than a view at an angle changes it, covers the whole screen; rows of
//! slats or rivets of the subject cover a part. Coarse tones with overtones are left alone as well: a beat has none, a row
//! of things has.
//!
//! # Source
//! Spectra of short overlapping pieces: P. D. Welch, "The use of fast Fourier transform for the estimation of power
//! spectra" (1967); here the tiles are compared, not averaged, for the view bends the frequency from tile to tile.
use crate::{
    kernels::spectrum::{self, Fourier, Tile, Tone},
    stop,
};
use image::RgbImage;
use nalgebra::{Matrix3, Vector2, Vector3};
use rayon::prelude::*;
use std::f64::consts::TAU;

/// Side of a tile, pixels, and the least step from one to the next.
const SIDE: u32 = 128;
const LEAST_STEP: u32 = 96;
/// Most tiles along a side of the picture.
const MOST_ALONG: u32 = 10;
/// Fewer tiles than this tell nothing of the whole.
const LEAST_TILES: usize = 6;
/// Mean grey of a tile that can show a pattern at all: on black and on white there is none.
const SHOWS_A_PATTERN: [f64; 2] = [24.0, 240.0];
/// Patterns of one picture, at most; and the least amplitude of one that is worth removing, grey levels.
const MOST_PATTERNS: usize = 6;
const LEAST_AMPLITUDE: f64 = 1.0;
/// How often the frequency is fitted and its tones are gathered anew.
const FITS: usize = 5;
/// How far from a seed's frequency others may be, in parts of it and in bins; how far from the fitted model, in bins.
const NEAR_SEED: f64 = 0.1;
const BINS_FROM_SEED: f64 = 1.0;
const BINS_FROM_MODEL: f64 = 1.5;
const BIN: f64 = 1.0 / SIDE as f64;
/// JPEG's blocks of eight pixels repeat at these frequencies exactly: they are no screen.
const NEAR_BLOCKS: f64 = 0.0025;
/// A pattern with a longer period than this is a beat, not a grid, and tested for overtones.
pub(crate) const LONGEST_GRID: f64 = 8.0;
/// Least part of the amplitude at twice or three times the frequency that is an overtone, and the part of the tiles.
const OVERTONE: f64 = 0.1;
const TILES_WITH_OVERTONES: f64 = 0.4;
/// So many overtones of a row of things are known for its own.
const MOST_OVERTONES: u32 = 8;

/// A pattern over the whole picture.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Pattern {
    /// Frequency along x and y, cycles a pixel, as a linear function of the place: at the middle, by x, by y.
    model: [Vector2<f64>; 3],
    /// What the place is measured from and in.
    middle: [f64; 2],
    unit: f64,
    /// Median, and the range without a tenth at either end, over the tiles; pixels.
    pub(crate) period: f64,
    pub(crate) period_range: [f64; 2],
    /// Direction in which it repeats, degrees clockwise from the x axis, -90 to 90.
    pub(crate) direction_deg: f64,
    /// Part of the tiles that show it.
    pub(crate) share: f64,
    /// Median over the tiles, grey levels.
    pub(crate) amplitude: f64,
    /// Left, top and frequency in each tile that shows it.
    seen: Vec<([u32; 2], Vector2<f64>)>,
}

impl Pattern {
    /// Its frequency at a place, cycles a pixel.
    pub(crate) fn frequency_at(&self, x: f64, y: f64) -> [f64; 2] {
        at(&self.model, self.normal(x, y)).into()
    }

    fn normal(&self, x: f64, y: f64) -> Vector2<f64> {
        Vector2::new(x - self.middle[0], y - self.middle[1]) / self.unit
    }

    /// Median amplitude of the pattern's frequencies in a picture, over the tiles that showed it; grey levels.
    pub(crate) fn amplitude_in(&self, picture: &RgbImage) -> f64 {
        let window = spectrum::hann(SIDE as usize);
        let seen = self.seen.par_iter();
        median(
            seen.map(|(corner, f)| amplitude_at(&luma_of(picture, *corner), &window, *f))
                .collect(),
        )
    }

    /// Whether another pattern is this one or an overtone of it.
    fn has(&self, other: &Self) -> bool {
        (1..=MOST_OVERTONES).any(|k| {
            let over = self.model[0] * f64::from(k);
            (aligned(other.model[0], over) - over).norm() <= BINS_FROM_MODEL * BIN
        })
    }

    /// Whether its period is that of a screen's pixels, not of a beat.
    pub(crate) fn is_grid(&self) -> bool {
        self.period <= LONGEST_GRID
    }
}

/// The patterns that cover `least_share` of what an outline (pixels of the picture) holds, strongest first.
pub(crate) fn find(picture: &RgbImage, outline: &[[f64; 2]], least_share: f64) -> Vec<Pattern> {
    let corners = tiles(picture, outline);
    let (fourier, window) = (Fourier::new(SIDE as usize), spectrum::hann(SIDE as usize));
    let tiles: Vec<([u32; 2], Vec<Tone>)> = corners
        .into_par_iter()
        .filter_map(|corner| {
            stop::check().ok()?;
            let values = luma_of(picture, corner);
            let mean = values.iter().map(|v| f64::from(*v)).sum::<f64>() / values.len() as f64;
            if !(SHOWS_A_PATTERN[0]..=SHOWS_A_PATTERN[1]).contains(&mean) {
                return None;
            }
            let mut tile = Tile::zeros(SIDE as usize);
            tile.real = values;
            let mut tones = spectrum::tones(&fourier, &window, tile);
            tones.retain(|t| !is_of_blocks(t.frequency));
            Some((corner, tones))
        })
        .collect();
    if tiles.len() < LEAST_TILES {
        return Vec::new();
    }
    let mut search = Search::new(picture, &tiles);
    let mut found = Vec::new();
    while found.len() < MOST_PATTERNS {
        let Some(pattern) = search.next(least_share) else {
            break;
        };
        found.push(pattern);
    }
    let rows: Vec<Pattern> = found
        .iter()
        .filter(|p| !p.is_grid() && has_overtones(p, &tiles))
        .cloned()
        .collect();
    found.retain(|p| p.amplitude >= LEAST_AMPLITUDE && !rows.iter().any(|row| row.has(p)));
    found.sort_by(|a, b| b.amplitude.total_cmp(&a.amplitude));
    found
}

/// Top left corners of tiles that lie inside the outline, spread evenly over it.
fn tiles(picture: &RgbImage, outline: &[[f64; 2]]) -> Vec<[u32; 2]> {
    let places = |k: usize, side: u32| -> Vec<u32> {
        let low = outline.iter().map(|p| p[k]).fold(f64::INFINITY, f64::min);
        let high = outline
            .iter()
            .map(|p| p[k])
            .fold(f64::NEG_INFINITY, f64::max);
        let low = low.max(0.0).ceil() as u32;
        let high = high.min(f64::from(side)).max(0.0) as u32;
        let Some(room) = high.checked_sub(low + SIDE) else {
            return Vec::new();
        };
        let steps = (room / LEAST_STEP).min(MOST_ALONG - 1);
        (0..=steps)
            .map(|i| low + (u64::from(room) * u64::from(i) / u64::from(steps.max(1))) as u32)
            .collect()
    };
    let (width, height) = picture.dimensions();
    let (across, down) = (places(0, width), places(1, height));
    let side = f64::from(SIDE);
    down.iter()
        .flat_map(|y| across.iter().map(|x| [*x, *y]))
        .filter(|corner| {
            let [x, y] = corner.map(f64::from);
            [[x, y], [x + side, y], [x, y + side], [x + side, y + side]]
                .iter()
                .all(|p| is_inside(outline, *p))
        })
        .collect()
}

/// Whether a point lies inside an outline, or within a thousandth of a pixel of it.
fn is_inside(outline: &[[f64; 2]], [x, y]: [f64; 2]) -> bool {
    let next = outline.iter().cycle().skip(1);
    let mut inside = false;
    for (a, b) in outline.iter().zip(next) {
        let (dx, dy) = (b[0] - a[0], b[1] - a[1]);
        let t = ((x - a[0]) * dx + (y - a[1]) * dy) / (dx * dx + dy * dy).max(1e-12);
        let t = t.clamp(0.0, 1.0);
        if (a[0] + t * dx - x).hypot(a[1] + t * dy - y) < 1e-3 {
            return true;
        }
        if (a[1] <= y) != (b[1] <= y) && a[0] + (y - a[1]) / dy * dx > x {
            inside = !inside;
        }
    }
    inside
}

/// Luma (ITU-R BT.601) of a tile, not rounded.
fn luma_of(picture: &RgbImage, [left, top]: [u32; 2]) -> Vec<f32> {
    let (side, width) = (SIDE as usize, picture.width() as usize);
    let mut values = Vec::with_capacity(side * side);
    for y in 0..side {
        let from = ((top as usize + y) * width + left as usize) * 3;
        let row = &picture.as_raw()[from..from + 3 * side];
        values.extend(row.chunks_exact(3).map(|p| {
            let [r, g, b] = [p[0], p[1], p[2]].map(f32::from);
            0.299 * r + 0.587 * g + 0.114 * b
        }));
    }
    values
}

fn is_of_blocks(frequency: [f64; 2]) -> bool {
    frequency
        .iter()
        .all(|f| (f * 8.0 - (f * 8.0).round()).abs() < 8.0 * NEAR_BLOCKS)
}

/// The one of both signs of a frequency that is nearer to another: they mean the same.
fn aligned(frequency: Vector2<f64>, to: Vector2<f64>) -> Vector2<f64> {
    if (frequency - to).norm_squared() <= (frequency + to).norm_squared() {
        frequency
    } else {
        -frequency
    }
}

fn at(model: &[Vector2<f64>; 3], place: Vector2<f64>) -> Vector2<f64> {
    model[0] + model[1] * place.x + model[2] * place.y
}

/// Looks for frequencies that many tiles have in common; each tone is taken once.
struct Search<'a> {
    tiles: &'a [([u32; 2], Vec<Tone>)],
    places: Vec<Vector2<f64>>,
    middle: [f64; 2],
    unit: f64,
    taken: Vec<Vec<bool>>,
}

/// A tone of a tile: index of the tile, index of the tone, frequency with the right sign.
type Member = (usize, usize, Vector2<f64>);

impl<'a> Search<'a> {
    fn new(picture: &RgbImage, tiles: &'a [([u32; 2], Vec<Tone>)]) -> Self {
        let middle = [picture.width(), picture.height()].map(|v| f64::from(v) / 2.0);
        let unit = middle[0].max(middle[1]);
        let half = f64::from(SIDE) / 2.0;
        let place = |[x, y]: [u32; 2]| {
            Vector2::new(
                f64::from(x) + half - middle[0],
                f64::from(y) + half - middle[1],
            ) / unit
        };
        Self {
            places: tiles.iter().map(|(corner, _)| place(*corner)).collect(),
            taken: tiles.iter().map(|(_, t)| vec![false; t.len()]).collect(),
            tiles,
            middle,
            unit,
        }
    }

    /// The frequency that most tiles share, as long as the share is large enough.
    fn next(&mut self, least_share: f64) -> Option<Pattern> {
        let mut best: Vec<Member> = Vec::new();
        for (i, (_, tones)) in self.tiles.iter().enumerate() {
            for (k, tone) in tones.iter().enumerate() {
                if self.taken[i][k] {
                    continue;
                }
                let seed = Vector2::from(tone.frequency);
                let reach = NEAR_SEED * seed.norm() + BINS_FROM_SEED * BIN;
                let members = self.members(&[seed, Vector2::zeros(), Vector2::zeros()], reach);
                if members.len() > best.len() {
                    best = members;
                }
            }
        }
        let mut model = [Vector2::zeros(); 3];
        // The seed's neighbourhood may be a part of the picture: the fit goes on from it to the rest.
        for _ in 0..FITS {
            if best.len() < LEAST_TILES {
                return None;
            }
            model = self.fitted(&best)?;
            best = self.members(&model, BINS_FROM_MODEL * BIN);
        }
        if (best.len() as f64) < least_share * self.tiles.len() as f64 {
            return None;
        }
        for (i, k, _) in &best {
            self.taken[*i][*k] = true;
        }
        Some(self.pattern(model, &best))
    }

    /// For each tile its nearest free tone within `reach` of the model.
    fn members(&self, model: &[Vector2<f64>; 3], reach: f64) -> Vec<Member> {
        let nearest = |i: usize| {
            let expected = at(model, self.places[i]);
            let tones = self.tiles[i].1.iter().enumerate();
            tones
                .filter(|(k, _)| !self.taken[i][*k])
                .map(|(k, t)| (i, k, aligned(t.frequency.into(), expected)))
                .map(|m| ((m.2 - expected).norm(), m))
                .filter(|(off, _)| *off <= reach)
                .min_by(|a, b| a.0.total_cmp(&b.0))
                .map(|(_, m)| m)
        };
        (0..self.tiles.len()).filter_map(nearest).collect()
    }

    /// The linear function of the place that fits the members' frequencies.
    fn fitted(&self, members: &[Member]) -> Option<[Vector2<f64>; 3]> {
        let mut normal = Matrix3::identity() * 1e-6;
        let mut right = [Vector3::zeros(); 2];
        for (i, _, f) in members {
            let row = Vector3::new(1.0, self.places[*i].x, self.places[*i].y);
            normal += row * row.transpose();
            right[0] += row * f.x;
            right[1] += row * f.y;
        }
        let root = normal.cholesky()?;
        let (x, y) = (root.solve(&right[0]), root.solve(&right[1]));
        Some([0, 1, 2].map(|k| Vector2::new(x[k], y[k])))
    }

    fn pattern(&self, model: [Vector2<f64>; 3], members: &[Member]) -> Pattern {
        let periods: Vec<f64> = members.iter().map(|(_, _, f)| 1.0 / f.norm()).collect();
        let mut sorted = periods.clone();
        sorted.sort_by(f64::total_cmp);
        // A tenth at either end may be tones of the picture that lie near the model by chance.
        let range = [0.1, 0.9].map(|part| sorted[(part * (sorted.len() - 1) as f64) as usize]);
        let amplitudes = members
            .iter()
            .map(|(i, k, _)| self.tiles[*i].1[*k].amplitude);
        let degrees = model[0].y.atan2(model[0].x).to_degrees();
        Pattern {
            model,
            middle: self.middle,
            unit: self.unit,
            period: median(periods),
            period_range: range,
            direction_deg: degrees - 180.0 * (degrees / 180.0).round(),
            share: members.len() as f64 / self.tiles.len() as f64,
            amplitude: median(amplitudes.collect()),
            seen: members
                .iter()
                .map(|(i, _, f)| (self.tiles[*i].0, *f))
                .collect(),
        }
    }
}

/// Whether many tiles have a tone at two or three times the pattern's frequency: then it is no beat.
fn has_overtones(pattern: &Pattern, tiles: &[([u32; 2], Vec<Tone>)]) -> bool {
    let has = |(corner, f): &&([u32; 2], Vector2<f64>)| {
        let tones = tiles.iter().find(|(c, _)| c == corner);
        tones.is_some_and(|(_, tones)| {
            tones.iter().any(|t| {
                [2.0, 3.0].iter().any(|factor| {
                    let over = f * *factor;
                    let off = aligned(t.frequency.into(), over) - over;
                    off.norm() <= BINS_FROM_MODEL * BIN
                        && t.amplitude >= OVERTONE * pattern.amplitude
                })
            })
        })
    };
    let count = pattern.seen.iter().filter(has).count();
    count as f64 >= TILES_WITH_OVERTONES * pattern.seen.len() as f64
}

/// Amplitude of one frequency in a tile: its transform there over half of the window's sum.
fn amplitude_at(values: &[f32], window: &[f32], frequency: Vector2<f64>) -> f64 {
    let side = SIDE as usize;
    let turn = |f: f64, k: usize| (TAU * f * k as f64).sin_cos();
    let across: Vec<(f64, f64)> = (0..side).map(|x| turn(frequency.x, x)).collect();
    let mean = values.iter().map(|v| f64::from(*v)).sum::<f64>() / values.len() as f64;
    let (mut real, mut imaginary) = (0.0, 0.0);
    for (y, row) in values.chunks_exact(side).enumerate() {
        let (mut a, mut b) = (0.0, 0.0);
        for (x, v) in row.iter().enumerate() {
            let v = (f64::from(*v) - mean) * f64::from(window[x]);
            a += v * across[x].1;
            b -= v * across[x].0;
        }
        let (sin, cos) = turn(frequency.y, y);
        let w = f64::from(window[y]);
        real += w * (a * cos + b * sin);
        imaginary += w * (b * cos - a * sin);
    }
    let sum: f64 = window.iter().map(|w| f64::from(*w)).sum();
    2.0 * real.hypot(imaginary) / (sum * sum)
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied().unwrap_or(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::kernels::test_planes::Random;

    const SIZE: (u32, u32) = (900, 700);

    fn whole() -> [[f64; 2]; 4] {
        let (width, height) = (f64::from(SIZE.0), f64::from(SIZE.1));
        [[0.0, 0.0], [width, 0.0], [width, height], [0.0, height]]
    }

    /// A scene of boxes with noise; `light` is what it is multiplied by.
    fn scene(light: impl Fn(f64, f64) -> f64) -> RgbImage {
        let mut random = Random(5);
        RgbImage::from_fn(SIZE.0, SIZE.1, |x, y| {
            let ground = match (x / 130 + y / 90) % 4 {
                0 => 60.0,
                1 => 150.0,
                2 => 100.0,
                _ => 190.0,
            };
            let noise = f64::from(random.below(13)) - 6.0;
            let value = ground * light(f64::from(x), f64::from(y)) + noise;
            image::Rgb([value.clamp(0.0, 255.0).round() as u8; 3])
        })
    }

    /// A tone whose period grows from the left to the right by a tenth, as a view at an angle makes it.
    fn bent(x: f64, y: f64, period: f64, angle: f64) -> f64 {
        let along = x * angle.cos() + y * angle.sin();
        (TAU * (along - 0.05 * x * x / f64::from(SIZE.0)) / period).cos()
    }

    #[test]
    fn a_grid_is_found_at_its_period_in_both_directions() {
        let picture = scene(|x, y| {
            (1.0 + 0.25 * bent(x, y, 4.1, 0.03)) * (1.0 + 0.2 * bent(y, x, 4.4, 0.02))
        });
        let found = find(&picture, &whole(), 0.75);
        assert!(found.len() >= 2, "{found:?}");
        // In the middle the phase grows by 1 - 2 * 0.05 / 2 of what it does without the bend.
        for (pattern, period, direction) in
            [(&found[0], 4.1 / 0.95, 2.0), (&found[1], 4.4 / 0.95, 90.0)]
        {
            let off = (pattern.period - period).abs() / period;
            assert!(off < 0.01, "{period}: {pattern:?}");
            let turned = (pattern.direction_deg - direction) / 180.0;
            assert!((turned - turned.round()).abs() * 180.0 < 3.0, "{pattern:?}");
            assert!(pattern.share > 0.9 && pattern.is_grid(), "{pattern:?}");
        }
    }

    #[test]
    fn a_beat_is_found_and_slats_over_all_of_the_picture_are_not() {
        let beat = scene(|x, y| 1.0 + 0.1 * bent(x, y, 17.0, 0.5));
        let found = find(&beat, &whole(), 0.75);
        let off = (found[0].period - 17.0 / 0.95).abs() / 17.0;
        // The direction changes with the bend as well: a hundredth and a half.
        assert!(off < 0.025 && !found[0].is_grid(), "{found:?}");
        let slats = scene(|x, _| if x.rem_euclid(17.3) < 5.0 { 0.7 } else { 1.0 });
        assert_eq!(find(&slats, &whole(), 0.75), Vec::new());
    }

    #[test]
    fn slats_over_a_part_and_a_scene_alone_are_no_pattern() {
        let slats = scene(|x, y| {
            let is_slat = y.rem_euclid(7.3) < 3.0 && (300.0..780.0).contains(&x);
            if is_slat { 0.6 } else { 1.0 }
        });
        assert_eq!(find(&slats, &whole(), 0.75), Vec::new());
        assert_eq!(find(&scene(|_, _| 1.0), &whole(), 0.25), Vec::new());
    }

    #[test]
    fn blocks_of_a_compressed_picture_are_no_pattern() {
        let blocks = scene(|x, _| if x.rem_euclid(8.0) < 1.0 { 0.9 } else { 1.0 });
        assert_eq!(find(&blocks, &whole(), 0.75), Vec::new());
    }

    #[test]
    fn a_picture_too_small_for_tiles_has_none() {
        let small = RgbImage::from_pixel(100, 90, image::Rgb([90; 3]));
        assert_eq!(
            find(
                &small,
                &[[0.0, 0.0], [100.0, 0.0], [100.0, 90.0], [0.0, 90.0]],
                0.25
            ),
            Vec::new()
        );
    }
}
