//! Glare: patches where a lamp or a window is mirrored in the screen, white and with a soft border.
//!
//! A white ground or a white part is white too, but ends at once; glare fades out over many pixels.
use crate::kernels::{Plane, gray, reach, resize};
use image::RgbImage;

/// Longest side of the picture that is looked at, pixels.
const LONGEST_SIDE: u32 = 1000;
/// Luma from which on a pixel is clipped, nearly.
const CLIPPED: u8 = 247;
/// Least and most part of the picture that a patch of glare covers: below it is a highlight of the subject, above a ground.
const PARTS: [f64; 2] = [0.001, 0.25];
/// Rings around a patch, pixels of the reduced picture, whose medians tell how it fades.
const RINGS: [usize; 3] = [1, 6, 16];
/// Least fall from the first ring to the last, grey levels, and the most part of it that lies before the second.
const LEAST_FALL: f64 = 30.0;
const MOST_AT_ONCE: f64 = 0.6;
/// How much wider than the clipped patch the mask is, pixels of the reduced picture: its border is the false edge.
const MARGIN: f64 = 10.0;

/// Patches of glare in a picture.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Glare {
    /// 0 in and near a patch, 255 elsewhere; pixels of the reduced picture.
    pub(crate) usable: Plane<u8>,
    /// Their number.
    pub(crate) patches: usize,
    /// Part of the picture that is masked.
    pub(crate) share: f64,
}

/// The patches of glare; `None` where there are none. In `picture` no pixel grid is left: it would make borders ragged.
pub(crate) fn find(picture: &RgbImage) -> Option<Glare> {
    let luma = reduced(picture);
    let mut labels = Plane::<u32>::zeros(luma.dim());
    let patches = patches(&luma, &mut labels);
    let of_glare: Vec<u32> = patches
        .iter()
        .filter(|p| is_glare(&luma, &labels, p))
        .map(|p| p.label)
        .collect();
    if of_glare.is_empty() {
        return None;
    }
    let core = labels.mapv(|l| if of_glare.contains(&l) { 255 } else { 0 });
    let usable = reach::reach(&core, MARGIN).mapv(|v| if v == 0 { 255 } else { 0 });
    let masked = usable.iter().filter(|v| **v == 0).count();
    Some(Glare {
        patches: of_glare.len(),
        share: masked as f64 / usable.len() as f64,
        usable,
    })
}

/// The luma, reduced.
fn reduced(picture: &RgbImage) -> Plane<u8> {
    let luma = gray::luma(picture);
    let (width, height) = picture.dimensions();
    let longest = width.max(height);
    if longest <= LONGEST_SIDE {
        return luma;
    }
    let side = |n: u32| {
        let side = u64::from(n) * u64::from(LONGEST_SIDE) / u64::from(longest);
        (side as usize).max(1)
    };
    resize::reduce_plane(&luma, side(width), side(height))
}

/// A connected patch of clipped pixels.
struct Patch {
    label: u32,
    /// (row, column).
    pixels: Vec<(usize, usize)>,
}

/// Patches of the right size; `labels` has the label of every clipped pixel, 0 elsewhere.
fn patches(luma: &Plane<u8>, labels: &mut Plane<u32>) -> Vec<Patch> {
    let limits = PARTS.map(|part| (part * luma.len() as f64) as usize);
    let mut found = Vec::new();
    let mut label = 0;
    for ((y, x), value) in luma.indexed_iter() {
        if *value < CLIPPED || labels[[y, x]] != 0 {
            continue;
        }
        label += 1;
        labels[[y, x]] = label;
        let mut pixels = vec![(y, x)];
        let mut next = 0;
        while let Some(&at) = pixels.get(next) {
            next += 1;
            for (y, x) in neighbours(at, luma.dim()) {
                if luma[[y, x]] >= CLIPPED && labels[[y, x]] == 0 {
                    labels[[y, x]] = label;
                    pixels.push((y, x));
                }
            }
        }
        if (limits[0].max(1)..=limits[1]).contains(&pixels.len()) {
            found.push(Patch { label, pixels });
        }
    }
    found
}

fn neighbours(
    (y, x): (usize, usize),
    (height, width): (usize, usize),
) -> impl Iterator<Item = (usize, usize)> {
    let up = y.checked_sub(1).map(|y| (y, x));
    let left = x.checked_sub(1).map(|x| (y, x));
    let down = (y + 1 < height).then_some((y + 1, x));
    let right = (x + 1 < width).then_some((y, x + 1));
    [up, left, down, right].into_iter().flatten()
}

/// Whether the light fades around the patch: the median luma of rings around it.
fn is_glare(luma: &Plane<u8>, labels: &Plane<u32>, patch: &Patch) -> bool {
    let mut front = patch.pixels.clone();
    let mut seen: std::collections::HashSet<(usize, usize)> = front.iter().copied().collect();
    let mut medians = Vec::new();
    for ring in 1..=RINGS[2] {
        let mut next = Vec::new();
        for at in &front {
            for place in neighbours(*at, luma.dim()) {
                if labels[[place.0, place.1]] != patch.label && seen.insert(place) {
                    next.push(place);
                }
            }
        }
        if next.is_empty() {
            return false;
        }
        if RINGS.contains(&ring) {
            let mut values: Vec<u8> = next.iter().map(|(y, x)| luma[[*y, *x]]).collect();
            values.sort_unstable();
            medians.push(f64::from(values[values.len() / 2]));
        }
        front = next;
    }
    let (fall, at_once) = (medians[0] - medians[2], medians[0] - medians[1]);
    let from_clipped = f64::from(CLIPPED) - medians[0];
    fall >= LEAST_FALL && at_once <= MOST_AT_ONCE * fall && from_clipped <= MOST_AT_ONCE * fall
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A lamp mirrored at (150, 100) in a dark picture with a light box, the lamp as bright as this.
    fn picture(lamp: f64) -> RgbImage {
        RgbImage::from_fn(400, 300, |x, y| {
            let (dx, dy) = (f64::from(x) - 150.0, f64::from(y) - 100.0);
            let ground = if (250..330).contains(&x) && (60..220).contains(&y) {
                170.0
            } else {
                70.0
            };
            let light = lamp * (-(dx * dx + dy * dy) / (2.0 * 30.0 * 30.0)).exp();
            image::Rgb([(ground + light).min(255.0) as u8; 3])
        })
    }

    #[test]
    fn a_mirrored_lamp_is_masked_with_its_border() {
        let glare = find(&picture(400.0)).expect("a lamp");
        assert_eq!(glare.patches, 1);
        // Clipped where 70 + 400 exp(-r^2 / 1800) is 247: r = 38 px; ten more are masked.
        for (x, masked) in [(150, true), (194, true), (206, false), (260, false)] {
            assert_eq!(glare.usable[[100, x]] == 0, masked, "{x}");
        }
        let area = std::f64::consts::PI * 48.0 * 48.0 / (400.0 * 300.0);
        assert!((glare.share - area).abs() < 0.1 * area, "{}", glare.share);
    }

    #[test]
    fn a_light_that_does_not_clip_is_none() {
        assert_eq!(find(&picture(150.0)), None);
    }

    #[test]
    fn white_parts_and_a_white_ground_are_no_glare() {
        let white = RgbImage::from_fn(400, 300, |x, y| {
            let is_part = (100..180).contains(&x) && (80..200).contains(&y);
            image::Rgb([if is_part { 255 } else { 90 }; 3])
        });
        assert_eq!(find(&white), None);
        let ground = RgbImage::from_fn(400, 300, |x, y| {
            let is_part = (100..380).contains(&x) && (10..290).contains(&y);
            image::Rgb([if is_part { 90 } else { 255 }; 3])
        });
        assert_eq!(find(&ground), None);
    }
}
