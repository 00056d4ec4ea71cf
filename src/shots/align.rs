//! Where a shot shows what the first one shows: a projective map, by clear places all over the first one.
use super::settings::SHOTS;
use crate::{carry::Change, frame::fit, kernels::Plane, kernels::gray::luma};
use image::RgbImage;
use nalgebra::{Matrix2, Matrix3, SMatrix, SVector, Vector2, Vector3};
use rayon::prelude::*;

/// About so many cells hold a clear place each.
const CELLS: f64 = 1000.0;
/// Pixels of the smallest cell's side.
const SMALLEST_CELL: usize = 16;
/// Places that are tried along each side of a cell.
const TRIED: usize = 6;
/// Pixels from a place to the side of its surroundings, and between the two whose difference is the slope, on either side.
const HALF: usize = 7;
const STEP: usize = 2;
/// Pixels of the border that hold no place.
const MARGIN: usize = HALF + STEP + 3;
/// The picture is cut into so many parts each way when it is asked whether parts of it moved, and so many places tell of one.
const PARTS: usize = 5;
const FEWEST_IN_PART: u32 = 3;
/// So many of the clearest places are used, whatever noise there is.
const FEWEST_CLEAR: usize = 60;
/// Rounds of fitting to what lies near.
const ROUNDS: usize = 6;
/// Steps of the last fit, which begins near its end.
const STEPS: usize = 4;
/// Pixels within which places are always near, so that perfect ones do not leave each other out.
const ALWAYS_NEAR: f64 = 0.1;

/// Why a shot is not laid over the first one.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum Unaligned {
    /// The first shot is not found in it.
    #[error("it shows something else, or is too blurred: the first shot is not found in it")]
    NotFound,
    /// Few places of the first shot are found in it.
    #[error("too little of the first shot is found in it ({found} of {of} places)")]
    FewPlaces {
        /// Places found, and lying where the map takes them.
        found: usize,
        /// Clear places of the first shot.
        of: usize,
    },
    /// Things have quite another size.
    #[error(
        "it shows things {times:.1} times as large as the first shot; take all shots from the same place"
    )]
    OtherSize {
        /// How many times as large, below 1 smaller.
        times: f64,
    },
    /// No map takes the places to where they lie.
    #[error(
        "it does not lie over the first shot ({px:.1} px off): it was taken from elsewhere, or something moved"
    )]
    Apart {
        /// How far places, or parts of the picture, lie beside where the map takes them, pixels (root mean square).
        px: f64,
    },
    /// It shows too little of the first shot.
    #[error("it shows only {percent:.0} % of the first shot")]
    CoversLittle {
        /// How much, per cent.
        percent: f64,
    },
    /// Its edges are much softer.
    #[error("it is much more blurred than the first shot")]
    Blurred,
    /// It is much brighter or darker.
    #[error("it is much {} than the first shot", if *gain < 1.0 { "brighter" } else { "darker" })]
    OtherLight {
        /// By what its values would have to be multiplied.
        gain: f64,
    },
    /// The same picture was there before.
    #[error("it is the same picture as another shot, and tells nothing new")]
    Same,
}

/// The clear places of a picture, by which others are laid over it.
#[derive(Debug)]
pub(super) struct Places {
    all: Vec<[f64; 2]>,
    /// Squared slope in the direction in which each shows the least: what a place is moved by, by moire, falls with its root.
    clear: Vec<f64>,
    /// Squared slope around each, grey levels per pixel.
    slopes: Vec<f64>,
}

impl Places {
    pub(super) fn of(picture: &RgbImage) -> Self {
        let grey = luma(picture);
        let (height, width) = grey.dim();
        let side = ((width * height) as f64 / CELLS).sqrt() as usize;
        let side = side.max(SMALLEST_CELL);
        let starts = |length: usize| (MARGIN..length.saturating_sub(MARGIN)).step_by(side);
        let cells: Vec<[usize; 2]> = starts(height)
            .flat_map(|y| starts(width).map(move |x| [x, y]))
            .collect();
        let ends = [width, height].map(|length| length.saturating_sub(MARGIN));
        let mut found: Vec<_> = cells
            .par_iter()
            .filter_map(|cell| clearest(&grey, *cell, side, ends))
            .collect();
        let least = least_clear(found.iter().map(|(clear, _, _)| *clear).collect());
        found.retain(|(clear, _, _)| *clear >= least);
        Self {
            all: found.iter().map(|(_, place, _)| *place).collect(),
            clear: found.iter().map(|(clear, _, _)| *clear).collect(),
            slopes: found.iter().map(|(_, _, slope)| *slope).collect(),
        }
    }
}

/// How clear a place has to be, squared slope: clearer than noise makes any place. A straight edge is as clear as that along itself,
/// and moire moves what is looked for there along it.
fn least_clear(mut clear: Vec<f64>) -> f64 {
    clear.sort_by(|a, b| b.total_cmp(a));
    // A quarter of the cells holds nothing, or the picture is so full that the clearest tell enough.
    let noise = clear.get(3 * clear.len() / 4).copied().unwrap_or(0.0);
    let clearest = clear.get(FEWEST_CLEAR.min(clear.len().saturating_sub(1)));
    let of_noise = SHOTS.clear_of_noise.get() * noise;
    let least = SHOTS.least_slope.get().powi(2);
    least.max(of_noise.min(clearest.copied().unwrap_or(0.0)))
}

/// The place of a cell whose least slope is the greatest: that squared, the place, and the squared slope in all directions.
fn clearest(
    grey: &Plane<u8>,
    [left, top]: [usize; 2],
    side: usize,
    ends: [usize; 2],
) -> Option<(f64, [f64; 2], f64)> {
    let tried = |start: usize, end: usize| {
        (0..TRIED)
            .map(move |k| start + (2 * k + 1) * side / (2 * TRIED))
            .filter(move |at| *at < end)
    };
    tried(top, ends[1])
        .flat_map(|y| tried(left, ends[0]).map(move |x| [x, y]))
        .map(|[x, y]| {
            let moments = moments(grey, x, y);
            let place = [x as f64 + 0.5, y as f64 + 0.5];
            (
                moments.symmetric_eigenvalues().min(),
                place,
                moments.trace(),
            )
        })
        .reduce(|best, next| if next.0 > best.0 { next } else { best })
}

/// Mean products of the slopes around a pixel that lies [`MARGIN`] or more from the border.
fn moments(grey: &Plane<u8>, x: usize, y: usize) -> Matrix2<f64> {
    let mut sum = Matrix2::zeros();
    let value = |x: usize, y: usize| f64::from(grey[[y, x]]);
    for v in y - HALF..=y + HALF {
        for u in x - HALF..=x + HALF {
            let slope = Vector2::new(
                value(u + STEP, v) - value(u - STEP, v),
                value(u, v + STEP) - value(u, v - STEP),
            ) / (2 * STEP) as f64;
            sum += slope * slope.transpose();
        }
    }
    sum / (2 * HALF + 1).pow(2) as f64
}

/// A clear place by its number, and where it was found in a shot.
type Found = (usize, [f64; 2]);

/// A shot laid over the first one.
#[derive(Clone, Debug)]
pub(super) struct Alignment {
    /// Takes pixels of the first shot to those of this one.
    pub(super) map: Matrix3<f64>,
}

impl Alignment {
    /// Row by row.
    pub(super) fn rows(&self) -> [[f64; 3]; 3] {
        std::array::from_fn(|r| std::array::from_fn(|c| self.map[(r, c)]))
    }
}

/// Finds a shot's map from the first one.
pub(super) fn align(
    first: &RgbImage,
    places: &Places,
    shot: &RgbImage,
) -> Result<Alignment, Unaligned> {
    let change = Change::between(first, shot);
    if !change.is_told {
        return Err(Unaligned::NotFound);
    }
    let found: Vec<Found> = (places.all.par_iter().enumerate())
        .filter_map(|(k, place)| Some((k, change.carry(*place, false).ok()?.place)))
        .collect();
    let start = change.matrix();
    drop(change);
    let start = Matrix3::from_fn(|r, c| start[r][c]);
    let few = |found| Unaligned::FewPlaces {
        found,
        of: places.all.len(),
    };
    let (map, near) = fitted(places, &found, start).ok_or(few(found.len()))?;
    let times = scale(&map, first);
    if !(1.0 / SHOTS.most_scale.get()..=SHOTS.most_scale.get()).contains(&times) {
        return Err(Unaligned::OtherSize { times });
    }
    let share = |of: usize| near.len() as f64 / of.max(1) as f64;
    if near.len() < SHOTS.least_places.get() as usize
        || share(found.len()) < SHOTS.least_agreeing.get()
        || share(places.all.len()) < SHOTS.least_found.get()
    {
        return Err(few(near.len()));
    }
    let of_near: Vec<Found> = near.iter().map(|k| found[*k]).collect();
    // Less light makes slopes smaller too: that is no blur.
    let gain = contrast([first, shot], places, &of_near);
    if sharpness(shot, places, &of_near) < gain.powi(2) * SHOTS.least_sharpness.get() {
        return Err(Unaligned::Blurred);
    }
    let sum = |value: &dyn Fn(&Found) -> f64| -> f64 {
        let of = |k: &usize| places.clear[found[*k].0] * value(&found[*k]);
        near.iter().map(of).sum()
    };
    let px = (sum(&|pair| off(&map, places, pair).powi(2)) / sum(&|_| 1.0)).sqrt();
    if px > SHOTS.most_scatter.get() {
        return Err(Unaligned::Apart { px });
    }
    let px = apart(&map, places, near.iter().map(|k| &found[*k]), first);
    if px > SHOTS.most_apart.get() {
        return Err(Unaligned::Apart { px });
    }
    Ok(Alignment { map })
}

/// The map that most places agree to, and which of the found ones do.
fn fitted(
    places: &Places,
    found: &[Found],
    mut map: Matrix3<f64>,
) -> Option<(Matrix3<f64>, Vec<usize>)> {
    let near = |map: &Matrix3<f64>| -> Vec<usize> {
        let off: Vec<f64> = found.iter().map(|pair| off(map, places, pair)).collect();
        let mut sorted = off.clone();
        sorted.sort_by(f64::total_cmp);
        // Three times the median of lengths in a plane, 2.5 deviations of either coordinate.
        let median = sorted.get(sorted.len() / 2).copied().unwrap_or(0.0);
        let limit = (3.0 * median).max(ALWAYS_NEAR);
        (0..off.len()).filter(|k| off[*k] <= limit).collect()
    };
    for _ in 0..ROUNDS {
        let (from, to): (Vec<_>, Vec<_>) = near(&map)
            .into_iter()
            .map(|k| (places.all[found[k].0], found[k].1))
            .unzip();
        map = fit::projective(&from, &to)?;
    }
    let kept = near(&map);
    let pairs: Vec<_> = kept.iter().map(|k| found[*k]).collect();
    let map = weighted(places, &pairs, map)?;
    Some((map, kept))
}

/// The map that takes the places nearest to where they were found, each as surely as it is clear; `start` lies near it.
fn weighted(places: &Places, pairs: &[Found], start: Matrix3<f64>) -> Option<Matrix3<f64>> {
    // Lengths of about 1 keep the equations sound.
    let unit = places
        .all
        .iter()
        .flatten()
        .fold(1.0_f64, |most, v| most.max(*v));
    let (small, large) = (1.0 / unit, unit);
    let scaled = |by: f64| Matrix3::from_diagonal(&[by, by, 1.0].into());
    let mut map = scaled(small) * start * scaled(large);
    for _ in 0..STEPS {
        map /= map[(2, 2)];
        let mut normal = SMatrix::<f64, 8, 8>::zeros();
        let mut right = SVector::<f64, 8>::zeros();
        for (k, to) in pairs {
            let [x, y] = places.all[*k].map(|v| v * small);
            let p = map * Vector3::new(x, y, 1.0);
            let [u, v] = [p.x / p.z, p.y / p.z];
            let rows = [
                (
                    [x, y, 1.0, 0.0, 0.0, 0.0, -u * x, -u * y],
                    to[0] * small - u,
                ),
                (
                    [0.0, 0.0, 0.0, x, y, 1.0, -v * x, -v * y],
                    to[1] * small - v,
                ),
            ];
            for (row, off) in rows {
                let row = SVector::<f64, 8>::from(row) / p.z;
                normal += row * row.transpose() * places.clear[*k];
                right += row * off * places.clear[*k];
            }
        }
        let change = normal.cholesky()?.solve(&right);
        for (i, change) in change.iter().enumerate() {
            map[(i / 3, i % 3)] += change;
        }
    }
    Some(scaled(large) * map * scaled(small))
}

/// How far a place lies beside where the map takes it, pixels.
fn off(map: &Matrix3<f64>, places: &Places, (k, to): &Found) -> f64 {
    let [x, y] = places.all[*k];
    let [u, v] = mapped(map, x, y);
    (u - to[0]).hypot(v - to[1])
}

/// How far whole parts of the picture lie beside where the map takes them, pixels (root mean square): moire moves single places, to all
/// sides, and what the map cannot do moves many to one.
fn apart<'a>(
    map: &Matrix3<f64>,
    places: &Places,
    near: impl Iterator<Item = &'a Found>,
    first: &RgbImage,
) -> f64 {
    let size = [first.width(), first.height()].map(f64::from);
    let mut parts = [(Vector2::zeros(), 0.0, 0); PARTS * PARTS];
    for (k, to) in near {
        let at = places.all[*k];
        let [column, row] =
            [0, 1].map(|c| ((at[c] / size[c] * PARTS as f64) as usize).min(PARTS - 1));
        let part = &mut parts[row * PARTS + column];
        let clear = places.clear[*k];
        part.0 += (Vector2::from(mapped(map, at[0], at[1])) - Vector2::from(*to)) * clear;
        part.1 += clear;
        part.2 += 1;
    }
    let told = parts
        .iter()
        .filter(|(_, _, count)| *count >= FEWEST_IN_PART);
    let (sum, count) = told.fold((0.0, 0.0), |(sum, all), (moved, clear, _)| {
        (sum + (moved / *clear).norm_squared(), all + 1.0)
    });
    if count > 0.0 {
        (sum / count).sqrt()
    } else {
        0.0
    }
}

fn mapped(map: &Matrix3<f64>, x: f64, y: f64) -> [f64; 2] {
    let p = map * Vector3::new(x, y, 1.0);
    [p.x / p.z, p.y / p.z]
}

/// How many times as large things are as in the first shot, in its middle.
fn scale(map: &Matrix3<f64>, first: &RgbImage) -> f64 {
    let middle = [first.width(), first.height()].map(|length| f64::from(length) / 2.0);
    let at = |dx: f64, dy: f64| Vector2::from(mapped(map, middle[0] + dx, middle[1] + dy));
    let (x, y) = (at(1.0, 0.0) - at(-1.0, 0.0), at(0.0, 1.0) - at(0.0, -1.0));
    (x.perp(&y).abs() / 4.0).sqrt()
}

/// How many times as far apart the grey levels of all places are in the shot as in the first one: blur changes that little.
fn contrast([first, shot]: [&RgbImage; 2], places: &Places, near: &[Found]) -> f64 {
    let spread = |image: &RgbImage, at: &dyn Fn(&Found) -> [f64; 2]| {
        let values = near.iter().filter_map(|pair| {
            let [x, y] = at(pair);
            let pixel = image.get_pixel_checked(x as u32, y as u32)?;
            Some(f64::from(pixel[1]))
        });
        let (mut count, mut sum, mut squares) = (0.0, 0.0, 0.0);
        for value in values {
            (count, sum, squares) = (count + 1.0, sum + value, squares + value * value);
        }
        (squares / count - (sum / count).powi(2)).max(0.0).sqrt()
    };
    let before = spread(first, &|pair| places.all[pair.0]);
    let now = spread(shot, &|pair| pair.1);
    match before > 0.0 && now.is_finite() {
        true => now / before,
        false => 1.0,
    }
}

/// The middle one of the ratios of squared slopes, in the shot and in the first one.
fn sharpness(shot: &RgbImage, places: &Places, near: &[Found]) -> f64 {
    let grey = luma(shot);
    let (height, width) = grey.dim();
    let mut ratios: Vec<f64> = near
        .iter()
        .filter_map(|&(k, [x, y])| {
            let inside = |at: f64, length: usize| {
                let at = at as usize;
                (MARGIN..length.saturating_sub(MARGIN))
                    .contains(&at)
                    .then_some(at)
            };
            let (x, y) = (inside(x, width)?, inside(y, height)?);
            Some(moments(&grey, x, y).trace() / places.slopes[k])
        })
        .collect();
    ratios.sort_by(f64::total_cmp);
    // Where all places lie at the border nothing speaks against it.
    ratios.get(ratios.len() / 2).copied().unwrap_or(1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// So many values around one.
    fn around(value: f64, count: usize) -> impl Iterator<Item = f64> {
        (0..count).map(move |k| value * (0.9 + 0.2 * k as f64 / count as f64))
    }

    #[test]
    fn a_place_is_clearer_than_noise_makes_a_straight_edge() {
        // Plain ground, edges that noise and moire make clear along themselves, corners.
        let values = around(12.0, 700)
            .chain(around(15.0, 200))
            .chain(around(300.0, 100));
        let least = least_clear(values.collect());
        assert!((17.0..270.0).contains(&least), "{least}");
        // Without noise the slope alone counts.
        let values = around(0.1, 700).chain(around(300.0, 100));
        assert_eq!(least_clear(values.collect()), 4.0);
        // Where all is as clear, the clearest stay.
        let values: Vec<f64> = around(80.0, 1000).collect();
        let least = least_clear(values.clone());
        let kept = values.iter().filter(|v| **v >= least).count();
        assert!((FEWEST_CLEAR..=FEWEST_CLEAR + 1).contains(&kept), "{kept}");
        assert_eq!(least_clear(Vec::new()), 4.0);
    }
}
