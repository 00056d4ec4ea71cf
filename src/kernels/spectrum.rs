//! The Fourier transform of a square tile, and the pure tones that stand out of it.
//!
//! A crate would do, but `rustfft` sums in another order on another processor, and its plain planner, which does not, takes
//! 2.2 times as long as this (`tests/bench/MEASURED.md`); here the bytes are the same on all.
//!
//! # Source
//! J. W. Cooley and J. W. Tukey, "An algorithm for the machine calculation of complex Fourier series" (1965), decimation
//! in time; windows, their gain and their noise bandwidth: F. J. Harris, "On the use of windows for harmonic analysis with
//! the discrete Fourier transform" (1978).
use super::wide::built_twice;
use std::f64::consts::{PI, TAU};

/// A square tile of complex numbers, row by row.
#[derive(Clone, Debug)]
pub struct Tile {
    /// Real parts.
    pub real: Vec<f32>,
    /// Imaginary parts.
    pub imaginary: Vec<f32>,
}

impl Tile {
    /// All zero, `side` squared numbers.
    pub fn zeros(side: usize) -> Self {
        Self {
            real: vec![0.0; side * side],
            imaginary: vec![0.0; side * side],
        }
    }
}

/// Transforms tiles of one size.
#[derive(Clone, Debug)]
pub struct Fourier {
    side: usize,
    /// `exp(-2 pi i k / side)` for the first half of the circle.
    turns: Vec<[f32; 2]>,
}

impl Fourier {
    /// For tiles of `side` squared numbers.
    ///
    /// # Panics
    /// Where `side` is no power of two.
    pub fn new(side: usize) -> Self {
        assert!(side.is_power_of_two(), "tiles have a power of two");
        let turn = |k: usize| {
            let angle = TAU * k as f64 / side as f64;
            [libm::cos(angle) as f32, -libm::sin(angle) as f32]
        };
        Self {
            side,
            turns: (0..side / 2).map(turn).collect(),
        }
    }

    /// `F(u, v) = sum f(x, y) exp(-2 pi i (u x + v y) / side)`, in place; row `v`, column `u`.
    pub fn forward(&self, tile: &mut Tile) {
        for _ in 0..2 {
            self.down(tile);
            transpose(&mut tile.real, self.side);
            transpose(&mut tile.imaginary, self.side);
        }
    }

    /// Takes [`Fourier::forward`] back, in place.
    pub fn inverse(&self, tile: &mut Tile) {
        // The transform of the tile with both parts exchanged is the inverse with both parts exchanged.
        std::mem::swap(&mut tile.real, &mut tile.imaginary);
        self.forward(tile);
        std::mem::swap(&mut tile.real, &mut tile.imaginary);
        let norm = 1.0 / (self.side * self.side) as f32;
        for v in tile.real.iter_mut().chain(&mut tile.imaginary) {
            *v *= norm;
        }
    }

    /// Transforms every column; rows are worked on as a whole.
    fn down(&self, tile: &mut Tile) {
        let n = self.side;
        let bits = n.trailing_zeros();
        for row in 0..n {
            let other = row.reverse_bits() >> (usize::BITS - bits.max(1));
            if row < other && bits > 0 {
                for x in 0..n {
                    tile.real.swap(row * n + x, other * n + x);
                    tile.imaginary.swap(row * n + x, other * n + x);
                }
            }
        }
        let mut half = 1;
        while half < n {
            for start in (0..n).step_by(2 * half) {
                for k in 0..half {
                    let (upper, lower) = ((start + k) * n, (start + k + half) * n);
                    let (real_above, real_below) = tile.real.split_at_mut(lower);
                    let (above, below) = tile.imaginary.split_at_mut(lower);
                    butterfly(
                        self.turns[k * (n / 2 / half)],
                        &mut real_above[upper..upper + n],
                        &mut above[upper..upper + n],
                        &mut real_below[..n],
                        &mut below[..n],
                    );
                }
            }
            half *= 2;
        }
    }
}

built_twice! {
    fn butterfly(turn: [f32; 2], ar: &mut [f32], ai: &mut [f32], br: &mut [f32], bi: &mut [f32]) {
        let n = ar.len();
        let (ai, br, bi) = (&mut ai[..n], &mut br[..n], &mut bi[..n]);
        for x in 0..n {
            let real = br[x] * turn[0] - bi[x] * turn[1];
            let imaginary = br[x] * turn[1] + bi[x] * turn[0];
            br[x] = ar[x] - real;
            bi[x] = ai[x] - imaginary;
            ar[x] += real;
            ai[x] += imaginary;
        }
    }
}

fn transpose(values: &mut [f32], n: usize) {
    for y in 0..n {
        for x in y + 1..n {
            values.swap(y * n + x, x * n + y);
        }
    }
}

/// The cosine bell of `side` samples that begins and ends half a sample beyond them (Hann's window); two that overlap by
/// half sum to 1.
pub fn hann(side: usize) -> Vec<f32> {
    let bell = |k: usize| 0.5 - 0.5 * libm::cos(TAU * (k as f64 + 0.5) / side as f64);
    (0..side).map(|k| bell(k) as f32).collect()
}

/// The root of [`hann`]: as it is put on before a transform and once more after its inverse.
pub fn root_hann(side: usize) -> Vec<f32> {
    let bell = |k: usize| libm::sin(PI * (k as f64 + 0.5) / side as f64);
    (0..side).map(|k| bell(k) as f32).collect()
}

/// A pure tone in a tile: `amplitude cos(2 pi (f x + ...))`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tone {
    /// Cycles per pixel along x and along y; of both directions that say the same the one with y above 0 (or y 0 and x
    /// above 0).
    pub frequency: [f64; 2],
    /// Half of the difference between its crests and its troughs.
    pub amplitude: f64,
}

/// Shortest and longest period of a tone that is looked for, pixels.
pub const PERIODS: [f64; 2] = [2.05, 32.0];
/// Least amplitude of a tone, grey levels: below it is the rounding of the pixels.
const LEAST_AMPLITUDE: f64 = 0.1;
/// Most tones of one tile, the strongest first.
pub const MOST_TONES: usize = 8;
/// How many times the median of the power around it a tone has at least. Of the 8,000 bins of pure noise the strongest has
/// ln 8000 / ln 2 = 13 times the median, and one tile in a thousand 23 times.
const LEAST_ABOVE_MEDIAN: f32 = 40.0;
/// How many times the power of any bin three to six farther from the middle: an edge makes a ridge that runs outwards, a
/// tone a point.
const LEAST_ABOVE_RIDGE: f32 = 16.0;

/// The pure tones of a square tile of real numbers (grey levels), strongest first; `window` is put on its rows and columns.
///
/// `tile` is used up, its imaginary parts are ignored. A tone is a local maximum of the power spectrum that stands out of the
/// median around it and out of the ridge that an edge makes; its frequency comes from a parabola through the logarithms of
/// three bins each way, its amplitude from the power of the five bins by five that Hann's window smears a tone over.
pub fn tones(fourier: &Fourier, window: &[f32], mut tile: Tile) -> Vec<Tone> {
    let n = fourier.side;
    let mean = tile.real.iter().map(|v| f64::from(*v)).sum::<f64>() / (n * n) as f64;
    for y in 0..n {
        for x in 0..n {
            let v = &mut tile.real[y * n + x];
            *v = (*v - mean as f32) * window[y] * window[x];
        }
    }
    tile.imaginary.fill(0.0);
    fourier.forward(&mut tile);
    let power: Vec<f32> = tile
        .real
        .iter()
        .zip(&tile.imaginary)
        .map(|(a, b)| a * a + b * b)
        .collect();
    let spectrum = Spectrum { side: n, power };
    let gain: f64 = window.iter().map(|w| f64::from(w * w)).sum();
    let mut found: Vec<Tone> = spectrum
        .maxima()
        .into_iter()
        .map(|[u, v]| Tone {
            frequency: spectrum.between(u, v),
            amplitude: spectrum.amplitude(u, v, gain),
        })
        .collect();
    found.retain(|tone| tone.amplitude >= LEAST_AMPLITUDE);
    found.sort_by(|a, b| b.amplitude.total_cmp(&a.amplitude));
    found.truncate(MOST_TONES);
    found
}

/// A power spectrum; bins are counted from the middle, negative ones included.
struct Spectrum {
    side: usize,
    power: Vec<f32>,
}

impl Spectrum {
    fn at(&self, u: i32, v: i32) -> f32 {
        let n = self.side as i32;
        let (u, v) = (u.rem_euclid(n) as usize, v.rem_euclid(n) as usize);
        self.power[v * self.side + u]
    }

    /// Bins of the upper half that stand out.
    fn maxima(&self) -> Vec<[i32; 2]> {
        let n = self.side as i32;
        let [shortest, longest] = PERIODS.map(|p| self.side as f64 / p);
        let mut found = Vec::new();
        for v in 0..n / 2 {
            for u in -n / 2 + 1..n / 2 {
                let radius = libm::hypot(f64::from(u), f64::from(v));
                let is_upper = v > 0 || u > 0;
                if !is_upper || radius > shortest || radius < longest {
                    continue;
                }
                if self.is_local_maximum(u, v) && self.stands_out(u, v) {
                    found.push([u, v]);
                }
            }
        }
        found
    }

    fn is_local_maximum(&self, u: i32, v: i32) -> bool {
        let here = self.at(u, v);
        (-1..=1).all(|dv| (-1..=1).all(|du| self.at(u + du, v + dv) <= here))
    }

    fn stands_out(&self, u: i32, v: i32) -> bool {
        let here = self.at(u, v);
        let length = libm::hypot(f64::from(u), f64::from(v));
        // Outwards alone: inwards lies what is large in the picture, which outweighs everything.
        let ridge = [3.0, 4.0, 5.0, 6.0]
            .map(|steps| {
                let outwards = 1.0 + steps / length;
                let [u, v] = [u, v].map(|b| (f64::from(b) * outwards).round() as i32);
                self.at(u, v)
            })
            .into_iter()
            .fold(0.0, f32::max);
        if here < LEAST_ABOVE_RIDGE * ridge {
            return false;
        }
        let mut ring: Vec<f32> = (-6..=6_i32)
            .flat_map(|dv| (-6..=6_i32).map(move |du| (du, dv)))
            .filter(|(du, dv)| (9..=36).contains(&(du * du + dv * dv)))
            .map(|(du, dv)| self.at(u + du, v + dv))
            .collect();
        let middle = ring.len() / 2;
        let (_, median, _) = ring.select_nth_unstable_by(middle, f32::total_cmp);
        here > LEAST_ABOVE_MEDIAN * *median
    }

    /// The frequency of the maximum at a bin, between the bins.
    fn between(&self, u: i32, v: i32) -> [f64; 2] {
        let log =
            |du: i32, dv: i32| libm::log(f64::from(self.at(u + du, v + dv).max(f32::MIN_POSITIVE)));
        let peak = |a: f64, b: f64, c: f64| {
            let curvature = a - 2.0 * b + c;
            if curvature < 0.0 {
                (0.5 * (a - c) / curvature).clamp(-0.5, 0.5)
            } else {
                0.0
            }
        };
        let here = log(0, 0);
        [
            (f64::from(u) + peak(log(-1, 0), here, log(1, 0))) / self.side as f64,
            (f64::from(v) + peak(log(0, -1), here, log(0, 1))) / self.side as f64,
        ]
    }

    /// A tone of amplitude `a` has the power `(a / 2)^2` times the sum of the squared window (Parseval), here and at the
    /// opposite bin.
    fn amplitude(&self, u: i32, v: i32, gain: f64) -> f64 {
        let sum: f64 = (-2..=2)
            .flat_map(|dv| (-2..=2).map(move |du| (du, dv)))
            .map(|(du, dv)| f64::from(self.at(u + du, v + dv)))
            .sum();
        let bins = (self.side * self.side) as f64;
        2.0 * (sum / (bins * gain * gain)).sqrt()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::kernels::test_planes::Random;

    fn random_tile(side: usize, seed: u64) -> Tile {
        let mut random = Random(seed);
        let mut number = || random.below(1000) as f32 / 500.0 - 1.0;
        Tile {
            real: (0..side * side).map(|_| number()).collect(),
            imaginary: (0..side * side).map(|_| number()).collect(),
        }
    }

    fn slow(tile: &Tile, side: usize) -> Vec<[f64; 2]> {
        let mut out = Vec::new();
        for v in 0..side {
            for u in 0..side {
                let mut sum = [0.0; 2];
                for y in 0..side {
                    for x in 0..side {
                        let (sin, cos) = (-TAU * (u * x + v * y) as f64 / side as f64).sin_cos();
                        let (a, b) = (
                            f64::from(tile.real[y * side + x]),
                            f64::from(tile.imaginary[y * side + x]),
                        );
                        sum[0] += a * cos - b * sin;
                        sum[1] += a * sin + b * cos;
                    }
                }
                out.push(sum);
            }
        }
        out
    }

    #[test]
    fn it_equals_the_sum_written_out() {
        for side in [1, 2, 8, 16] {
            let tile = random_tile(side, 5);
            let mut fast = tile.clone();
            Fourier::new(side).forward(&mut fast);
            for (k, exact) in slow(&tile, side).iter().enumerate() {
                let off = (f64::from(fast.real[k]) - exact[0])
                    .hypot(f64::from(fast.imaginary[k]) - exact[1]);
                // Eight roundings of numbers of about ten in f32.
                assert!(off < 2e-5, "{side}, {k}: off by {off}");
            }
        }
    }

    #[test]
    fn the_inverse_takes_it_back() {
        let tile = random_tile(64, 9);
        let mut there = tile.clone();
        let fourier = Fourier::new(64);
        fourier.forward(&mut there);
        fourier.inverse(&mut there);
        for (a, b) in there.real.iter().zip(&tile.real) {
            assert!((a - b).abs() < 1e-5);
        }
    }

    /// Values of another library: numpy 2.2.6 and scipy 1.17.1,
    /// `i = np.arange(128); t = ((i[None,:]*i[None,:]*3 + 5*i[:,None]*i[None,:] + 7*i[:,None]) % 251).astype(float)`,
    /// `scipy.fft.fft2(t)[v, u]`.
    #[test]
    fn it_gives_the_values_of_another_library() {
        let mut tile = Tile::zeros(128);
        for y in 0..128 {
            for x in 0..128 {
                tile.real[y * 128 + x] = ((x * x * 3 + 5 * y * x + 7 * y) % 251) as f32;
            }
        }
        Fourier::new(128).forward(&mut tile);
        for ((u, v), real, imaginary) in OF_SCIPY {
            let found = [tile.real[v * 128 + u], tile.imaginary[v * 128 + u]].map(f64::from);
            // The largest value is 2e6; f32 has seven digits of what is summed.
            assert!(
                (found[0] - real).abs() < 0.5 && (found[1] - imaginary).abs() < 0.5,
                "({u}, {v}): {found:?} for {real}, {imaginary}"
            );
        }
    }

    const OF_SCIPY: [((usize, usize), f64, f64); 7] = [
        ((0, 0), 2036891.000, 0.0),
        ((3, 0), -549.187, 2413.723),
        ((0, 5), -3394.002, 14496.433),
        ((31, 2), 1636.157, -9435.794),
        ((64, 64), 4667.000, 0.0),
        ((127, 17), 4731.890, -1872.815),
        ((50, 101), -29.096, 4542.287),
    ];

    fn of_tones(parts: &[([f64; 2], f64)], ground: impl Fn(usize, usize) -> f64) -> Vec<Tone> {
        let mut tile = Tile::zeros(128);
        for y in 0..128 {
            for x in 0..128 {
                let mut value = ground(x, y);
                for ([fx, fy], amplitude) in parts {
                    value += amplitude * (TAU * (fx * x as f64 + fy * y as f64) + 0.7).cos();
                }
                tile.real[y * 128 + x] = value as f32;
            }
        }
        tones(&Fourier::new(128), &hann(128), tile)
    }

    /// Whole numbers below `limit`, one a pixel.
    fn noise(seed: u64, limit: u32) -> Vec<f64> {
        let mut random = Random(seed);
        let numbers = (0..128 * 128).map(|_| f64::from(random.below(limit)));
        numbers.collect()
    }

    #[test]
    fn a_tone_is_found_at_its_period_within_a_hundredth() {
        for (period, angle, amplitude) in [
            (4.1, 0.02_f64, 6.0),
            (2.3, 1.5, 2.0),
            (7.7, -0.8, 9.0),
            (30.0, 0.4, 5.0),
        ] {
            let frequency = [angle.cos() / period, angle.sin() / period];
            let noise = noise(5, 4);
            let found = of_tones(&[(frequency, amplitude)], |x, y| noise[y * 128 + x]);
            let tone = found.first().expect("one tone");
            let [fx, fy] = tone.frequency;
            let off = (1.0 / fx.hypot(fy) - period).abs() / period;
            assert!(off < 0.01, "{period}: {tone:?}");
            assert!(
                (tone.amplitude - amplitude).abs() < 0.05 * amplitude,
                "{tone:?}"
            );
        }
    }

    #[test]
    fn edges_and_noise_are_no_tones() {
        let noise = noise(3, 60);
        assert!(of_tones(&[], |x, y| noise[y * 128 + x]).is_empty());
        let bars = |x: usize, _: usize| if (40..57).contains(&x) { 200.0 } else { 50.0 };
        let found = of_tones(&[], bars);
        assert!(found.is_empty(), "{found:?}");
        let slanted = |x: usize, y: usize| {
            let off = x as f64 + 0.31 * y as f64 - 80.0;
            60.0 + 120.0 / (1.0 + (-off / 0.7).exp())
        };
        let found = of_tones(&[], slanted);
        assert!(found.is_empty(), "{found:?}");
    }
}
