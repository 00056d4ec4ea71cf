//! Filters found patterns out of a picture without moving an edge.
//!
//! A screen shows nothing finer than its pixels, so of a grid the whole band from its frequency on is taken away, by a
//! Gaussian that leaves 2 per cent there: that takes what the picture makes of the grid at its edges as well, which lies
//! around the grid's frequency. A coarser beat lies among the picture's own frequencies: there the tone alone is taken out
//! (`kernels::notch`). Both weigh a place and its mirror image alike: no phase changes.
use super::pattern::Pattern;
use crate::{
    kernels::{Plane, blur, notch},
    stop,
};
use image::RgbImage;
use rayon::prelude::*;

/// Standard deviation of the Gaussian over the grid's longest period: `exp(-2 (pi 0.45)^2)` is 0.018.
const SIGMA_PER_PERIOD: f64 = 0.45;

/// A pattern that was filtered out.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FoundPattern {
    /// Median of its period over the picture, reference pixels.
    pub period_px: f64,
    /// Shortest and longest period: a view at an angle bends it.
    pub period_range_px: [f64; 2],
    /// Direction in which it repeats, degrees, clockwise from the reference's x axis.
    pub direction_deg: f64,
    /// Half of the difference between its crests and troughs, grey levels.
    pub amplitude: f64,
    /// How much of the amplitude was taken away, per cent.
    pub taken_percent: f64,
    /// Part of the screen that shows it, per cent.
    pub share_percent: f64,
    /// How it was taken away.
    pub removal: Removal,
}

/// How a pattern is taken away.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Removal {
    /// All that is as fine as the pattern, by a Gaussian of this standard deviation, reference pixels.
    LowPass {
        /// The standard deviation.
        sigma_px: f64,
    },
    /// The tone alone.
    Notch,
}

/// A picture without its patterns.
pub(crate) struct Descreened {
    pub(crate) picture: RgbImage,
    pub(crate) patterns: Vec<FoundPattern>,
}

/// The picture without these patterns; `None` where there are none.
pub(crate) fn without(picture: &RgbImage, patterns: Vec<Pattern>) -> Option<Descreened> {
    if patterns.is_empty() {
        return None;
    }
    let (grids, beats): (Vec<Pattern>, Vec<Pattern>) =
        patterns.into_iter().partition(Pattern::is_grid);
    let longest = grids.iter().map(|g| g.period_range[1]).fold(0.0, f64::max);
    let sigma_px = SIGMA_PER_PERIOD * longest;
    let mut cleaned = if grids.is_empty() {
        picture.clone()
    } else {
        blurred(picture, sigma_px)
    };
    if !beats.is_empty() {
        cleaned = notch::notched(&cleaned, |[x, y]| {
            beats.iter().map(|b| b.frequency_at(x, y)).collect()
        });
    }
    let found = |pattern: &Pattern, removal| {
        let [before, after] = [picture, &cleaned].map(|p| pattern.amplitude_in(p));
        FoundPattern {
            period_px: pattern.period,
            period_range_px: pattern.period_range,
            direction_deg: pattern.direction_deg,
            amplitude: pattern.amplitude,
            taken_percent: 100.0 * (1.0 - after / before.max(f64::MIN_POSITIVE)).clamp(0.0, 1.0),
            share_percent: 100.0 * pattern.share,
            removal,
        }
    };
    let by_blur = grids
        .iter()
        .map(|g| found(g, Removal::LowPass { sigma_px }));
    let patterns = by_blur
        .chain(beats.iter().map(|b| found(b, Removal::Notch)))
        .collect();
    Some(Descreened {
        picture: cleaned,
        patterns,
    })
}

/// Every channel blurred.
fn blurred(picture: &RgbImage, sigma: f64) -> RgbImage {
    let (width, height) = (picture.width() as usize, picture.height() as usize);
    let mut out = picture.clone();
    for channel in 0..3 {
        if stop::is_asked() {
            break;
        }
        let values: Vec<u8> = picture
            .as_raw()
            .par_chunks_exact(3)
            .map(|p| p[channel])
            .collect();
        let plane = Plane::from_shape_vec((height, width), values).expect("one value a pixel");
        let plane = blur::gaussian(&plane, sigma);
        let values = plane.as_slice().expect("rows are contiguous");
        let bytes: &mut [u8] = &mut out;
        bytes
            .par_chunks_exact_mut(3)
            .zip(values.par_iter())
            .with_min_len(1 << 14)
            .for_each(|(pixel, value)| pixel[channel] = *value);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measurement::screen::pattern;
    use std::f64::consts::TAU;

    const SIZE: (u32, u32) = (700, 520);
    const WHOLE: [[f64; 2]; 4] = [[0.0, 0.0], [700.0, 0.0], [700.0, 520.0], [0.0, 520.0]];

    /// An edge that leans to the right by a tenth, at x = 350.3 on the first row, seen through a soft lens, under a
    /// pattern of this period and relative strength.
    fn edge(period: f64, strength: f64) -> RgbImage {
        RgbImage::from_fn(SIZE.0, SIZE.1, |x, y| {
            let (x, y) = (f64::from(x) + 0.5, f64::from(y) + 0.5);
            let step = 1.0 / (1.0 + (-(x - 350.3 - 0.1 * y) / 1.2).exp());
            let tone = strength * (TAU * (x + 0.05 * y) / period).cos();
            image::Rgb([((80.0 + 90.0 * step) * (1.0 + tone)).round() as u8; 3])
        })
    }

    /// Where the edge lies on the first row: for each row where it crosses half of its rise, as the mean over a hundred
    /// pixels tells it, less its lean.
    fn place(picture: &RgbImage) -> f64 {
        let rows = 60..460_u32;
        let count = f64::from(rows.end - rows.start);
        let of_row = |y: u32| {
            let lean = 0.1 * (f64::from(y) + 0.5);
            let from = (350.3 + lean - 50.0) as u32;
            let sum: f64 = (from..from + 100)
                .map(|x| f64::from(picture.get_pixel(x, y)[1]))
                .sum();
            // 80 left of the edge, 170 right of it.
            f64::from(from) + (100.0 * 170.0 - sum) / 90.0 - lean
        };
        rows.map(of_row).sum::<f64>() / count
    }

    #[test]
    fn a_grid_goes_and_no_edge_moves() {
        let (clean, gridded) = (edge(4.3, 0.0), edge(4.3, 0.3));
        let patterns = pattern::find(&gridded, &WHOLE, 0.75);
        let done = without(&gridded, patterns).expect("a grid");
        let found = done.patterns[0];
        assert!(
            matches!(found.removal, Removal::LowPass { .. }),
            "{found:?}"
        );
        assert!(found.taken_percent > 95.0, "{found:?}");
        assert!((place(&clean) - 350.3).abs() < 0.02, "{}", place(&clean));
        assert!(
            (place(&done.picture) - place(&clean)).abs() < 0.02,
            "{}",
            place(&done.picture)
        );
    }

    #[test]
    fn a_beat_goes_and_no_edge_moves() {
        let (clean, beaten) = (edge(15.0, 0.0), edge(15.0, 0.08));
        let patterns = pattern::find(&beaten, &WHOLE, 0.75);
        let done = without(&beaten, patterns).expect("a beat");
        let found = done.patterns[0];
        assert!(
            found.removal == Removal::Notch && found.taken_percent > 85.0,
            "{found:?}"
        );
        assert!(
            (place(&done.picture) - place(&clean)).abs() < 0.02,
            "{}",
            place(&done.picture)
        );
    }

    #[test]
    fn without_patterns_there_is_no_other_picture() {
        let clean = edge(4.3, 0.0);
        assert!(without(&clean, pattern::find(&clean, &WHOLE, 0.75)).is_none());
    }
}
