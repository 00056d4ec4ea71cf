//! Letterbox bars: dark bands at two opposite sides of a picture, left over where its aspect is not the screen's.
//!
//! They are claimed only where they are dark and even over the whole width, end on a straight sharp line, and are of the
//! same size at both sides: a dark scene is none of this.
use crate::kernels::Plane;
use rayon::prelude::*;

/// Pieces that a side is cut into; each has its own border.
const PIECES: usize = 32;
/// Part of the picture at either end of a side that is left out, and of the depth: corners are not marked exactly.
const LEFT_OUT: f64 = 0.04;
const OUTERMOST: f64 = 0.008;
/// Least and most size of a bar, and the most that both differ by; parts of the picture.
const SIZES: [f64; 2] = [0.025, 0.38];
const MOST_DIFFERENCE: f64 = 0.03;
/// Brightest bar, the most that it differs along its length (a screen's glow), and within a piece; grey levels.
const BRIGHTEST: f64 = 70.0;
const MOST_ALONG: f64 = 35.0;
const MOST_WITHIN: f64 = 7.0;
/// Least rise at the border that counts, and the part of the rise within twelve pixels that three of them have.
const LEAST_RISE: f64 = 10.0;
const LEAST_SHARP: f64 = 0.6;
/// How far from the line a border may be, pixels; steepest line, parts of the depth over the whole side.
const OFF_LINE: f64 = 1.5;
const STEEPEST: f64 = 0.004;
/// Least part of the pieces that show the border, and most that contradict it.
const LEAST_PIECES: f64 = 0.5;
const MOST_AGAINST: f64 = 0.04;

/// At which sides the bars lie.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Sides {
    TopAndBottom,
    LeftAndRight,
}

/// A pair of bars; lengths in pixels of the picture that was looked at.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Bars {
    pub(crate) sides: Sides,
    /// Depth of the bar at the top or the left, at the two ends of its border, and of the one opposite to it.
    pub(crate) first: [f64; 2],
    pub(crate) second: [f64; 2],
}

impl Bars {
    /// Mean depths of both.
    pub(crate) fn depths(&self) -> [f64; 2] {
        [self.first, self.second].map(|[a, b]| (a + b) / 2.0)
    }
}

/// The bars of a picture that fills its frame; `None` where there are none.
pub(crate) fn find(luma: &Plane<u8>) -> Option<Bars> {
    let pair = |luma: &Plane<u8>, sides| {
        let depth = luma.nrows() as f64;
        let upside_down = luma.slice(ndarray::s![..;-1, ..]).to_owned();
        let (first, second) = (one(luma)?, one(&upside_down)?);
        let bars = Bars {
            sides,
            first,
            second,
        };
        let [a, b] = bars.depths();
        ((a - b).abs() <= MOST_DIFFERENCE * depth).then_some(bars)
    };
    pair(luma, Sides::TopAndBottom).or_else(|| {
        let turned = luma.t().as_standard_layout().to_owned();
        pair(&turned, Sides::LeftAndRight)
    })
}

/// Depth of the bar at the top, at both ends of its border.
fn one(luma: &Plane<u8>) -> Option<[f64; 2]> {
    let (height, width) = luma.dim();
    let (most, start) = ((SIZES[1] * height as f64) as usize, outermost(height));
    if width < 4 * PIECES || most < start + 20 {
        return None;
    }
    let left = (LEFT_OUT * width as f64) as usize;
    let piece = (width - 2 * left) / PIECES;
    let middles: Vec<f64> = (0..PIECES)
        .map(|k| (left + k * piece) as f64 + piece as f64 / 2.0)
        .collect();
    let profiles: Vec<Vec<f64>> = (0..PIECES)
        .into_par_iter()
        .map(|k| {
            let from = left + k * piece;
            (0..most + 16)
                .map(|y| {
                    let row = luma.slice(ndarray::s![y.min(height - 1), from..from + piece]);
                    row.iter().map(|v| f64::from(*v)).sum::<f64>() / piece as f64
                })
                .collect()
        })
        .collect();
    let levels: Vec<f64> = profiles.iter().map(|p| level(p, start, height)).collect();
    let brightest = levels.iter().copied().fold(0.0, f64::max);
    let darkest = levels.iter().copied().fold(f64::INFINITY, f64::min);
    if brightest > BRIGHTEST || brightest - darkest > MOST_ALONG {
        return None;
    }
    let ends: Vec<Option<End>> = profiles
        .iter()
        .zip(&levels)
        .map(|(profile, level)| end(profile, *level, start, most))
        .collect();
    border(&middles, &ends, (width as f64, height as f64))
}

fn outermost(height: usize) -> usize {
    ((OUTERMOST * height as f64).ceil() as usize).max(2)
}

/// Median grey of the bar's first rows.
fn level(profile: &[f64], start: usize, height: usize) -> f64 {
    let rows = ((0.6 * SIZES[0] * height as f64) as usize).max(3);
    let mut first: Vec<f64> = profile[start..start + rows].to_vec();
    first.sort_by(f64::total_cmp);
    first[rows / 2]
}

/// Where the dark of a piece ends.
struct End {
    depth: f64,
    is_sharp: bool,
}

/// The first place where the profile leaves the bar's level, half-way up its rise; `None` where it does not.
fn end(profile: &[f64], level: f64, start: usize, most: usize) -> Option<End> {
    let first = (start..most).find(|&y| profile[y] - level > MOST_WITHIN)?;
    let top = profile[first..first + 4]
        .iter()
        .copied()
        .fold(0.0, f64::max);
    let farther = profile[first..first + 13]
        .iter()
        .copied()
        .fold(0.0, f64::max);
    let half = level + (top - level) / 2.0;
    let at = (first.saturating_sub(3)..first + 4).find(|&y| profile[y] >= half)?;
    let before = profile[at.saturating_sub(1)];
    let part = if profile[at] > before && before < half {
        (half - before) / (profile[at] - before)
    } else {
        1.0
    };
    let rise = top - level;
    Some(End {
        // Pixel centres lie at halves.
        depth: at as f64 - 0.5 + part,
        is_sharp: rise >= LEAST_RISE && rise >= LEAST_SHARP * (farther - level),
    })
}

/// The straight line through the ends of the pieces, at both ends of the side.
fn border(middles: &[f64], ends: &[Option<End>], (width, height): (f64, f64)) -> Option<[f64; 2]> {
    let sharp: Vec<[f64; 2]> = middles
        .iter()
        .zip(ends)
        .filter_map(|(x, e)| e.as_ref().filter(|e| e.is_sharp).map(|e| [*x, e.depth]))
        .collect();
    let least = (LEAST_PIECES * PIECES as f64).ceil() as usize;
    if sharp.len() < least {
        return None;
    }
    let mut slopes = Vec::new();
    for (i, a) in sharp.iter().enumerate() {
        slopes.extend(sharp[i + 1..].iter().map(|b| (b[1] - a[1]) / (b[0] - a[0])));
    }
    // The median of the slopes between all pairs, then of the heights (Theil 1950, Sen 1968).
    let slope = median(slopes);
    let height_at_0 = median(sharp.iter().map(|p| p[1] - slope * p[0]).collect());
    let line = |x: f64| height_at_0 + slope * x;
    let on_line: Vec<&[f64; 2]> = sharp
        .iter()
        .filter(|p| (p[1] - line(p[0])).abs() <= OFF_LINE)
        .collect();
    let against = middles.iter().zip(ends).filter(|(x, e)| {
        e.as_ref()
            .is_some_and(|e| e.depth < line(**x) - 2.0 * OFF_LINE)
    });
    let is_border = on_line.len() >= least
        && against.count() as f64 <= MOST_AGAINST * PIECES as f64
        && (slope * width).abs() <= STEEPEST * height;
    let mean = on_line.iter().map(|p| p[1] - line(p[0])).sum::<f64>() / on_line.len().max(1) as f64;
    let both = [line(0.0) + mean, line(width) + mean];
    let sizes = SIZES.map(|s| s * height);
    (is_border && both.iter().all(|d| (sizes[0]..=sizes[1]).contains(d))).then_some(both)
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied().unwrap_or(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::kernels::{blur, test_planes::Random};

    /// A scene between bars of these depths, noisy.
    fn scene(size: (usize, usize), top: usize, bottom: usize) -> Plane<u8> {
        let mut random = Random(17);
        let plane = Plane::from_shape_fn((size.1, size.0), |(y, x)| {
            let is_bar = y < top || y >= size.1 - bottom;
            let grey = 90.0 + 50.0 * (x as f64 / 37.0).sin() * (y as f64 / 23.0).cos();
            if is_bar { 14 } else { grey as u8 }
        });
        let mut soft = blur::gaussian(&plane, 0.8);
        soft.mapv_inplace(|v| (u32::from(v) + random.below(9)).saturating_sub(4) as u8);
        soft
    }

    #[test]
    fn bars_are_found_to_the_pixel() {
        let bars = find(&scene((800, 450), 57, 56)).expect("bars");
        assert_eq!(bars.sides, Sides::TopAndBottom);
        let [top, bottom] = bars.depths();
        assert!(
            (top - 57.0).abs() < 0.5 && (bottom - 56.0).abs() < 0.5,
            "{bars:?}"
        );
        let turned = scene((450, 800), 90, 90)
            .t()
            .as_standard_layout()
            .to_owned();
        let bars = find(&turned).expect("bars");
        assert_eq!(bars.sides, Sides::LeftAndRight);
        assert!(
            bars.depths().iter().all(|d| (d - 90.0).abs() < 0.5),
            "{bars:?}"
        );
    }

    #[test]
    fn no_bars_and_bars_of_different_sizes_are_not_claimed() {
        assert_eq!(find(&scene((800, 450), 0, 0)), None);
        assert_eq!(find(&scene((800, 450), 57, 0)), None);
        assert_eq!(find(&scene((800, 450), 57, 20)), None);
    }

    #[test]
    fn a_dark_scene_has_no_bars() {
        // It fades into the dark at the top and the bottom.
        let night = Plane::from_shape_fn((450, 800), |(y, x)| {
            let off = (y as f64 - 225.0).abs() / 225.0;
            (12.0 + 100.0 * (1.0 - off).max(0.0).powi(2) + 20.0 * (x as f64 / 60.0).sin().max(0.0))
                as u8
        });
        assert_eq!(find(&night), None);
        // A dark ground with things that reach into the dark to different depths.
        let ragged = Plane::from_shape_fn((450, 800), |(y, x)| {
            let depth = 50 + (x / 40) * 13 % 47;
            if y < depth || y > 450 - depth {
                10
            } else {
                110
            }
        });
        assert_eq!(find(&ragged), None);
        assert_eq!(find(&Plane::from_elem((450, 800), 9)), None);
    }

    #[test]
    fn small_planes_pass() {
        for size in [(1, 1), (1, 300), (300, 1), (40, 40)] {
            assert_eq!(find(&Plane::zeros(size)), None);
        }
    }
}
