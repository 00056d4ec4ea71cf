//! Takes pure tones out of a picture, tile by tile, and leaves everything else where it is.
//!
//! # Source
//! Overlapping windowed tiles that are added up again: J. B. Allen, "Short term spectral analysis, synthesis, and
//! modification by discrete Fourier transform" (1977). The factors are real and the same for a frequency and its opposite,
//! so that no phase changes and no edge moves.
use super::spectrum::{Fourier, Tile, root_hann};
use crate::stop;
use image::RgbImage;
use rayon::prelude::*;

/// Side of a tile, pixels; tiles overlap by half.
const SIDE: usize = 128;
const STEP: usize = SIDE / 2;
/// Bins around a tone that are taken away fully, and from where on nothing is: the window smears a tone over the first.
const WHOLLY: f64 = 1.6;
const NOT_AT_ALL: f64 = 3.0;
/// How far from where it is expected a tone is looked for, bins, and how far it has to stand out of the median around it.
const LOOK: i32 = 2;
const LEAST_ABOVE_MEDIAN: f32 = 8.0;

/// The picture without its tones.
///
/// `tones_at` gives their frequencies (cycles a pixel in x and y) at a place (pixels): nothing is done where it gives none,
/// and where no tone stands out near them.
pub fn notched(
    picture: &RgbImage,
    tones_at: impl Fn([f64; 2]) -> Vec<[f64; 2]> + Sync,
) -> RgbImage {
    let (width, height) = (picture.width() as usize, picture.height() as usize);
    let (fourier, window) = (Fourier::new(SIDE), root_hann(SIDE));
    let mut out = picture.clone();
    let pixels: &mut [u8] = &mut out;
    // What is taken away, of two rows of tiles at a time; the upper half of the band is finished after each row.
    let mut band = vec![0.0_f32; SIDE * width * 3];
    for row in 0..height.div_ceil(STEP) + 1 {
        if stop::is_asked() {
            break;
        }
        let top = (row * STEP) as isize - STEP as isize;
        let found: Vec<(isize, Vec<f32>)> = (0..width.div_ceil(STEP) + 1)
            .into_par_iter()
            .filter_map(|column| {
                let left = (column * STEP) as isize - STEP as isize;
                let middle = [left, top].map(|v| (v + STEP as isize) as f64);
                let tones = tones_at(middle);
                (!tones.is_empty())
                    .then(|| tones_of_tile(picture, [left, top], &tones, &fourier, &window))
                    .flatten()
                    .map(|tile| (left, tile))
            })
            .collect();
        for (left, tile) in &found {
            add(tile, *left, &mut band, width);
        }
        take_away(&band[..STEP * width * 3], top, pixels, width, height);
        band.copy_within(STEP * width * 3.., 0);
        band[STEP * width * 3..].fill(0.0);
    }
    out
}

/// The tones of a tile, windowed twice, three values a pixel; `None` where none stands out.
fn tones_of_tile(
    picture: &RgbImage,
    corner: [isize; 2],
    tones: &[[f64; 2]],
    fourier: &Fourier,
    window: &[f32],
) -> Option<Vec<f32>> {
    let mut both = [Tile::zeros(SIDE), Tile::zeros(SIDE)];
    load(picture, corner, window, &mut both);
    for tile in &mut both {
        fourier.forward(tile);
    }
    let mut factors = vec![0.0_f32; SIDE * SIDE];
    let mut is_any = false;
    for tone in tones {
        if let Some(bin) = place_of(&both, *tone) {
            is_any = true;
            around(bin, &mut factors);
            around(bin.map(|b| -b), &mut factors);
        }
    }
    if !is_any {
        return None;
    }
    for tile in &mut both {
        for (k, factor) in factors.iter().enumerate() {
            tile.real[k] *= factor;
            tile.imaginary[k] *= factor;
        }
        fourier.inverse(tile);
    }
    let mut out = Vec::with_capacity(SIDE * SIDE * 3);
    for y in 0..SIDE {
        for x in 0..SIDE {
            let (k, w) = (y * SIDE + x, window[y] * window[x]);
            out.extend([both[0].real[k], both[0].imaginary[k], both[1].real[k]].map(|v| v * w));
        }
    }
    Some(out)
}

/// Red and green as one complex tile, blue as another: real factors keep the parts apart. Beyond the border the picture
/// is mirrored; each channel's mean is taken off, so that it does not leak into the tones.
fn load(picture: &RgbImage, corner: [isize; 2], window: &[f32], tiles: &mut [Tile; 2]) {
    let (width, height) = (picture.width() as usize, picture.height() as usize);
    let mut sums = [0.0_f64; 3];
    for y in 0..SIDE {
        let row = mirrored(corner[1] + y as isize, height);
        for x in 0..SIDE {
            let column = mirrored(corner[0] + x as isize, width);
            let k = y * SIDE + x;
            let at = (row * width + column) * 3;
            let pixel = &picture.as_raw()[at..at + 3];
            let [r, g, b] = [pixel[0], pixel[1], pixel[2]].map(f32::from);
            tiles[0].real[k] = r;
            tiles[0].imaginary[k] = g;
            tiles[1].real[k] = b;
            for (sum, v) in sums.iter_mut().zip([r, g, b]) {
                *sum += f64::from(v);
            }
        }
    }
    let [r, g, b] = sums.map(|sum| (sum / (SIDE * SIDE) as f64) as f32);
    for y in 0..SIDE {
        for x in 0..SIDE {
            let (k, w) = (y * SIDE + x, window[y] * window[x]);
            tiles[0].real[k] = (tiles[0].real[k] - r) * w;
            tiles[0].imaginary[k] = (tiles[0].imaginary[k] - g) * w;
            tiles[1].real[k] = (tiles[1].real[k] - b) * w;
        }
    }
}

/// The pixel that stands for `i` in a line mirrored about its ends.
fn mirrored(i: isize, length: usize) -> usize {
    let period = 2 * length as isize;
    let i = i.rem_euclid(period);
    if i < length as isize {
        i as usize
    } else {
        (period - 1 - i) as usize
    }
}

/// The bin of the strongest power near a frequency, where it stands out.
fn place_of(tiles: &[Tile; 2], frequency: [f64; 2]) -> Option<[i32; 2]> {
    let index = |u: i32, v: i32| {
        let n = SIDE as i32;
        v.rem_euclid(n) as usize * SIDE + u.rem_euclid(n) as usize
    };
    let power = |u: i32, v: i32| -> f32 {
        let of = |k: usize| -> f32 {
            tiles
                .iter()
                .map(|t| t.real[k] * t.real[k] + t.imaginary[k] * t.imaginary[k])
                .sum()
        };
        of(index(u, v)) + of(index(-u, -v))
    };
    let [cu, cv] = frequency.map(|f| (f * SIDE as f64).round() as i32);
    let near =
        |reach: i32| (-reach..=reach).flat_map(move |dv| (-reach..=reach).map(move |du| (du, dv)));
    let (du, dv) = near(LOOK)
        .max_by(|a, b| power(cu + a.0, cv + a.1).total_cmp(&power(cu + b.0, cv + b.1)))?;
    let [u, v] = [cu + du, cv + dv];
    let mut ring: Vec<f32> = near(6)
        .filter(|(du, dv)| (9..=36).contains(&(du * du + dv * dv)))
        .map(|(du, dv)| power(u + du, v + dv))
        .collect();
    let middle = ring.len() / 2;
    let (_, median, _) = ring.select_nth_unstable_by(middle, f32::total_cmp);
    // The mean and what is near it are no tone.
    let is_tone = libm::hypot(f64::from(u), f64::from(v)) > NOT_AT_ALL;
    (is_tone && power(u, v) > LEAST_ABOVE_MEDIAN * *median).then_some([u, v])
}

/// Raises the factors around a bin.
fn around([u, v]: [i32; 2], factors: &mut [f32]) {
    let (n, reach) = (SIDE as i32, NOT_AT_ALL.ceil() as i32);
    for dv in -reach..=reach {
        for du in -reach..=reach {
            let off = libm::hypot(f64::from(du), f64::from(dv));
            let part = ((NOT_AT_ALL - off) / (NOT_AT_ALL - WHOLLY)).clamp(0.0, 1.0);
            let factor = 0.5 - 0.5 * libm::cos(std::f64::consts::PI * part);
            let k = (v + dv).rem_euclid(n) as usize * SIDE + (u + du).rem_euclid(n) as usize;
            factors[k] = factors[k].max(factor as f32);
        }
    }
}

fn add(tile: &[f32], left: isize, band: &mut [f32], width: usize) {
    for (y, row) in tile.chunks_exact(SIDE * 3).enumerate() {
        let first = (-left).max(0) as usize;
        let last = SIDE.min((width as isize - left).max(0) as usize);
        if first >= last {
            continue;
        }
        let from = (y * width + (left + first as isize) as usize) * 3;
        let line = &mut band[from..from + (last - first) * 3];
        for (sum, v) in line.iter_mut().zip(&row[first * 3..last * 3]) {
            *sum += v;
        }
    }
}

fn take_away(band: &[f32], top: isize, pixels: &mut [u8], width: usize, height: usize) {
    for (y, row) in band.chunks_exact((width * 3).max(1)).enumerate() {
        let at = top + y as isize;
        if at < 0 || at >= height as isize {
            continue;
        }
        let from = at as usize * width * 3;
        for (p, v) in pixels[from..from + width * 3].iter_mut().zip(row) {
            *p = (f32::from(*p) - v + 0.5).clamp(0.0, 255.0) as u8;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    const BEAT: [f64; 2] = [0.06, 0.031];

    /// A slanted soft edge under a beat of this amplitude.
    fn edge(amplitude: f64) -> RgbImage {
        RgbImage::from_fn(400, 300, |x, y| {
            let (x, y) = (f64::from(x), f64::from(y));
            let step = 1.0 / (1.0 + (-(x - 203.3 - 0.05 * y) / 1.5).exp());
            let beat = amplitude * (TAU * (BEAT[0] * x + BEAT[1] * y)).cos();
            image::Rgb([60.0, 80.0, 100.0].map(|v| (v + 90.0 * step + beat).round() as u8))
        })
    }

    #[test]
    fn a_beat_goes_and_the_picture_stays() {
        let (clean, beaten) = (edge(0.0), edge(12.0));
        let cleaned = notched(&beaten, |_| vec![BEAT]);
        let off = |picture: &RgbImage| -> f64 {
            let mut worst = 0.0;
            for (x, y, p) in picture.enumerate_pixels() {
                let is_inside = (16..384).contains(&x) && (16..284).contains(&y);
                if is_inside && x.abs_diff(210) > 40 {
                    worst = f64::max(worst, f64::from(p[1].abs_diff(clean.get_pixel(x, y)[1])));
                }
            }
            worst
        };
        assert!(off(&beaten) > 11.0);
        assert!(off(&cleaned) <= 3.0, "{}", off(&cleaned));
    }

    #[test]
    fn without_tones_no_byte_changes() {
        let picture = edge(0.0);
        assert_eq!(notched(&picture, |_| Vec::new()), picture);
        // Nothing stands out at the frequency asked for.
        assert_eq!(notched(&picture, |_| vec![[0.2, 0.13]]), picture);
    }

    #[test]
    fn small_pictures_pass() {
        for (width, height) in [(1, 1), (1, 90), (70, 3)] {
            let picture = RgbImage::from_fn(width, height, |x, y| {
                image::Rgb([(x * 7 + y * 3) as u8, 9, (x % 5 * 40) as u8])
            });
            assert_eq!(
                notched(&picture, |_| vec![[0.1, 0.1]]).dimensions(),
                (width, height)
            );
        }
    }
}
