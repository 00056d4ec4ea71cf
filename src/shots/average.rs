//! The mean of shots, taken one after the other.
use super::{
    align::{Places, Unaligned, align},
    noise::Noise,
    settings::SHOTS,
};
use crate::kernels::{Plane, warp};
use image::RgbImage;
use rayon::prelude::*;

/// Bytes that the mean takes for each pixel of the first shot, itself not counted.
pub const BYTES_A_PIXEL: u64 = 13;
/// Bytes that laying one over the other takes for each pixel of either picture, themselves not counted.
pub const BYTES_TO_ALIGN: u64 = 8;
/// About so many pixels are followed through all shots.
const SAMPLES: f64 = 40_000.0;
/// Rounds in which the light of a shot is fitted to values that lie near.
const ROUNDS: usize = 4;
/// Deviations within which values are near.
const NEAR: f64 = 3.0;
/// Shots that a sum of 16 bits holds.
const MOST_SHOTS: u8 = u8::MAX;

/// The mean of the first shot and of those that were added since.
#[derive(Debug)]
pub struct Average {
    first: RgbImage,
    places: Places,
    sums: Option<Sums>,
    samples: Samples,
}

/// For each value of the first shot, of those that show it.
#[derive(Debug)]
struct Sums {
    all: Vec<u16>,
    least: Vec<u8>,
    most: Vec<u8>,
    /// For each pixel, how many do.
    count: Vec<u8>,
}

/// Pixels that are followed through all shots.
#[derive(Debug)]
struct Samples {
    /// Places of the pixels in a row of all.
    at: Vec<usize>,
    colours: Vec<[u8; 3]>,
    /// Of each shot, not a number where it shows nothing.
    lumas: Vec<Vec<f32>>,
}

impl Average {
    /// Begins with the shot that all others are laid over.
    pub fn new(first: RgbImage) -> Self {
        Self {
            places: Places::of(&first),
            samples: Samples::of(&first),
            sums: None,
            first,
        }
    }

    /// How many shots it is the mean of.
    pub fn shots(&self) -> usize {
        self.samples.lumas.len()
    }

    /// Lays a shot over the first one and adds it.
    ///
    /// # Errors
    /// Why it was left out; nothing has changed then.
    pub fn add(&mut self, shot: RgbImage) -> Result<(), Unaligned> {
        assert!(self.shots() < usize::from(MOST_SHOTS), "the sums are full");
        let rows = align(&self.first, &self.places, &shot)?.rows();
        let [from, to] = [&shot, &self.first].map(RgbImage::dimensions);
        let as_usize = |(width, height): (u32, u32)| (width as usize, height as usize);
        let covered = warp::coverage(as_usize(from), as_usize(to), &rows);
        let share = share(&covered);
        if share < SHOTS.least_covered.get() {
            return Err(Unaligned::CoversLittle {
                percent: 100.0 * share,
            });
        }
        let mut laid = warp::warp_rgb(&shot, to, &rows);
        drop(shot);
        let covered = covered.as_slice().expect("a kernel's planes are whole");
        let light = self.samples.light_of(&laid, covered)?;
        light.put_on(&mut laid);
        self.samples.take(&laid, covered)?;
        let first = &self.first;
        let sums = self.sums.get_or_insert_with(|| Sums::of(first));
        sums.add(&laid, covered);
        Ok(())
    }

    /// The mean, of each value without the brightest or the darkest where that stands apart from the others; and the noise, where it
    /// can be told.
    pub fn finish(self) -> (RgbImage, Option<Noise>) {
        let noise = Noise::of(&self.samples.lumas);
        let mut picture = self.first;
        if let Some(sums) = &self.sums {
            // That of one shot as it was added.
            let one = noise.map_or(0.0, |noise| {
                noise.all * (self.samples.lumas.len() as f64).sqrt()
            });
            sums.mean(&mut picture, one.max(SHOTS.least_noise.get()));
        }
        (picture, noise)
    }
}

fn share(covered: &Plane<u8>) -> f64 {
    let count = covered.iter().filter(|value| **value > 0).count();
    count as f64 / covered.len().max(1) as f64
}

impl Sums {
    fn of(first: &RgbImage) -> Self {
        let values: &[u8] = first;
        Self {
            all: values.iter().map(|value| u16::from(*value)).collect(),
            least: values.to_vec(),
            most: values.to_vec(),
            count: vec![1; values.len() / 3],
        }
    }

    fn add(&mut self, laid: &RgbImage, covered: &[u8]) {
        const PIXELS: usize = 1 << 15;
        let values: &[u8] = laid;
        (self.all.par_chunks_mut(3 * PIXELS))
            .zip(self.least.par_chunks_mut(3 * PIXELS))
            .zip(self.most.par_chunks_mut(3 * PIXELS))
            .zip(self.count.par_chunks_mut(PIXELS))
            .zip(values.par_chunks(3 * PIXELS))
            .zip(covered.par_chunks(PIXELS))
            .for_each(|(((((all, least), most), count), values), covered)| {
                for (k, count) in count.iter_mut().enumerate() {
                    if covered[k] == 0 {
                        continue;
                    }
                    *count += 1;
                    for i in 3 * k..3 * k + 3 {
                        all[i] += u16::from(values[i]);
                        least[i] = least[i].min(values[i]);
                        most[i] = most[i].max(values[i]);
                    }
                }
            });
    }

    /// Puts the mean into the picture; `noise` is that of one shot.
    fn mean(&self, picture: &mut RgbImage, noise: f64) {
        let values: &mut [u8] = picture;
        let outlying = SHOTS.outlying.get() * noise;
        values.par_iter_mut().enumerate().for_each(|(i, value)| {
            let n = f64::from(self.count[i / 3]);
            let [all, least, most] = [
                f64::from(self.all[i]),
                f64::from(self.least[i]),
                f64::from(self.most[i]),
            ];
            let (mut sum, mut of) = (all, n);
            if n >= 3.0 {
                // What lies between stands for all: it knows neither of both.
                let middle = (all - least - most) / (n - 2.0);
                let limit = outlying * (1.0 + 1.0 / (n - 2.0)).sqrt();
                for apart in [least, most] {
                    if (apart - middle).abs() > limit {
                        (sum, of) = (sum - apart, of - 1.0);
                    }
                }
            }
            *value = (sum / of).round() as u8;
        });
    }
}

impl Samples {
    fn of(first: &RgbImage) -> Self {
        let (width, height) = (first.width() as usize, first.height() as usize);
        let step = ((width * height) as f64 / SAMPLES).sqrt().ceil().max(1.0) as usize;
        let at: Vec<usize> = (step / 2..height)
            .step_by(step)
            .flat_map(|y| (step / 2..width).step_by(step).map(move |x| y * width + x))
            .collect();
        let colours: Vec<[u8; 3]> = at.iter().map(|at| colour(first, *at)).collect();
        let lumas = vec![colours.iter().map(|colour| grey(*colour)).collect()];
        Self { at, colours, lumas }
    }

    /// Follows the pixels through a shot that was laid over the first one.
    ///
    /// # Errors
    /// Where it is, to the value, a shot that was there before.
    fn take(&mut self, laid: &RgbImage, covered: &[u8]) -> Result<(), Unaligned> {
        let values = self.at.iter().map(|at| match covered[*at] {
            0 => f32::NAN,
            _ => grey(colour(laid, *at)),
        });
        let values: Vec<f32> = values.collect();
        let is_same = |other: &Vec<f32>| {
            // The border of a shot laid over itself is not covered.
            let mut shown = other.iter().zip(&values).filter(|(_, new)| !new.is_nan());
            shown.all(|(old, new)| old == new)
        };
        if self.lumas.iter().any(is_same) {
            return Err(Unaligned::Same);
        }
        self.lumas.push(values);
        Ok(())
    }

    /// What makes the light of a shot that of the first one.
    fn light_of(&self, laid: &RgbImage, covered: &[u8]) -> Result<Light, Unaligned> {
        let mut channels = [[1.0, 0.0]; 3];
        for (c, channel) in channels.iter_mut().enumerate() {
            let pairs: Vec<[f64; 2]> = (self.at.iter().zip(&self.colours))
                .filter(|(at, _)| covered[**at] > 0)
                .map(|(at, first)| [colour(laid, *at)[c], first[c]])
                .filter(|pair| pair.iter().all(|value| (4..=251).contains(value)))
                .map(|pair| pair.map(f64::from))
                .collect();
            if let Some(found) = line(&pairs) {
                *channel = found;
            }
        }
        let most = SHOTS.most_gain.get();
        let is_far = |gain: &f64| !(1.0 / most..=most).contains(gain);
        match channels.iter().map(|[gain, _]| *gain).find(is_far) {
            Some(gain) => Err(Unaligned::OtherLight { gain }),
            None => Ok(Light { channels }),
        }
    }
}

fn colour(picture: &RgbImage, at: usize) -> [u8; 3] {
    let values: &[u8] = picture;
    [0, 1, 2].map(|c| values[3 * at + c])
}

fn grey([r, g, b]: [u8; 3]) -> f32 {
    0.299 * f32::from(r) + 0.587 * f32::from(g) + 0.114 * f32::from(b)
}

/// Gain and offset of each channel.
#[derive(Debug)]
struct Light {
    channels: [[f64; 2]; 3],
}

impl Light {
    fn put_on(&self, picture: &mut RgbImage) {
        let tables = self.channels.map(|[gain, offset]| {
            std::array::from_fn::<u8, 256, _>(|value| {
                (gain * value as f64 + offset).round().clamp(0.0, 255.0) as u8
            })
        });
        let values: &mut [u8] = picture;
        values
            .par_chunks_mut(3)
            .with_min_len(1 << 14)
            .for_each(|colour| {
                for (value, table) in colour.iter_mut().zip(&tables) {
                    *value = table[usize::from(*value)];
                }
            });
    }
}

/// Gain and offset that take the first of each pair to the second, both with noise of one size (reduced major axis), by pairs that
/// lie near the line; `None` where they tell none.
fn line(pairs: &[[f64; 2]]) -> Option<[f64; 2]> {
    let mut near: Vec<&[f64; 2]> = pairs.iter().collect();
    let mut found = None;
    for _ in 0..ROUNDS {
        let n = near.len() as f64;
        let mean = |k: usize| near.iter().map(|pair| pair[k]).sum::<f64>() / n;
        let [x, y] = [mean(0), mean(1)];
        let square =
            |k: usize, mean: f64| near.iter().map(|p| (p[k] - mean).powi(2)).sum::<f64>() / n;
        let (xx, yy) = (square(0, x), square(1, y));
        // A picture of one grey has no gain to tell.
        if near.len() < 100 || xx < 25.0 || yy < 25.0 {
            break;
        }
        let gain = (yy / xx).sqrt();
        found = Some([gain, y - gain * x]);
        let off = |pair: &&[f64; 2]| (pair[1] - y - gain * (pair[0] - x)).abs();
        let mut sorted: Vec<f64> = near.iter().map(off).collect();
        sorted.sort_by(f64::total_cmp);
        let limit = NEAR * 1.4826 * sorted[sorted.len() / 2].max(0.5);
        near.retain(|pair| off(pair) <= limit);
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_is_found_in_spite_of_noise_and_of_values_that_stand_apart() {
        let mut noise = crate::statistics::trials::Noise(3);
        let pairs: Vec<[f64; 2]> = (0..4000)
            .map(|k| {
                let x = f64::from(k % 200) + 20.0;
                let y = if k % 17 == 0 { 250.0 } else { 0.8 * x + 12.0 };
                [x + 4.0 * noise.normal(), y + 4.0 * noise.normal()]
            })
            .collect();
        let [gain, offset] = line(&pairs).expect("a line");
        assert!((gain - 0.8).abs() < 0.01, "{gain}");
        assert!((offset - 12.0).abs() < 1.5, "{offset}");
        assert!(line(&[[7.0, 9.0]; 500]).is_none(), "one grey");
    }
}
