//! Corners of an image: where straight edges of different directions meet, to a fraction of a pixel.
//!
//! Directions of the gradient, each weighed by how clear it is and not by how strong, make a matrix of second moments around
//! each pixel; where its smaller eigenvalue is largest, edges of several directions meet. From there on the point is looked
//! for that the edges around pass, those that pass at a distance counting less and less. What most edges do not pass is no
//! corner.
//!
//! # Source
//! W. Foerstner and E. Guelch, "A fast operator for detection and precise location of distinct points, corners and centres of
//! circular features" (1987); the weights are ours.
use super::settings::PROPOSAL;
use crate::kernels::{
    Plane, blur,
    gradient::{self, Gradient, UNIT},
    sample,
};
use image::{RgbImage, imageops};
use nalgebra::{Matrix2, Vector2};
use rayon::prelude::*;

/// Pixels from a peak to its side that no other is in.
const PEAK_REACH: usize = 4;
/// Peaks that are looked at more closely, the clearest first.
const MOST_PEAKS: usize = 1500;

/// A corner.
#[derive(Clone, Copy, Debug)]
pub(super) struct Corner {
    pub(super) at: [f64; 2],
    /// How clear its edges are, 0 to 1.
    pub(super) clearness: f64,
}

/// Places where edges of several directions meet, the clearest first: pixels of `image`.
pub(super) fn peaks(image: &RgbImage) -> Vec<([f64; 2], f64)> {
    let (gradient, magnitude) = gradient::strongest_channel(image, PROPOSAL.blur.get());
    let clearness = smaller_moment(&gradient, &magnitude);
    let (height, width) = clearness.dim();
    let least = PROPOSAL.least_clearness.get() as f32;
    let reach = PEAK_REACH;
    let is_peak = |y: usize, x: usize| {
        let here = clearness[[y, x]];
        here >= least
            && (y - reach..=y + reach).all(|v| {
                (x - reach..=x + reach).all(|u| {
                    let there = clearness[[v, u]];
                    // Of equal ones the first.
                    there < here || (there == here && (v, u) >= (y, x))
                })
            })
    };
    let mut peaks: Vec<([f64; 2], f64)> = (reach..height.saturating_sub(reach))
        .into_par_iter()
        .flat_map_iter(|y| {
            let (is_peak, clearness) = (&is_peak, &clearness);
            (reach..width.saturating_sub(reach))
                .filter(move |x| is_peak(y, *x))
                .map(move |x| {
                    let at = [x as f64 + 0.5, y as f64 + 0.5];
                    (at, f64::from(clearness[[y, x]]))
                })
        })
        .collect();
    peaks.sort_by(|a, b| b.1.total_cmp(&a.1));
    peaks.truncate(MOST_PEAKS);
    peaks
}

/// The smaller eigenvalue of the moments of the gradient's directions in a window: 0 to 0.5.
fn smaller_moment(gradient: &Gradient, magnitude: &Plane<f32>) -> Plane<f32> {
    let clear = PROPOSAL.clear_gradient.get() as f32;
    let moment = |of: &(dyn Fn(f32, f32) -> f32 + Sync)| {
        let plain = ndarray::Zip::from(&gradient.x)
            .and(&gradient.y)
            .and(magnitude)
            .par_map_collect(|&x, &y, &m| {
                // Direction times clearness: components over the magnitude and what makes it half clear.
                let by = UNIT / (m + clear);
                of(f32::from(x) * by, f32::from(y) * by)
            });
        blur::gaussian_f32(&plain, PROPOSAL.window.get())
    };
    let mut smaller = moment(&|x, _| x * x);
    let yy = moment(&|_, y| y * y);
    let xy = moment(&|x, y| x * y);
    ndarray::Zip::from(&mut smaller)
        .and(&yy)
        .and(&xy)
        .par_for_each(|xx, &yy, &xy| {
            let half = (*xx + yy) / 2.0;
            let apart = (*xx - yy) / 2.0;
            *xx = (half - (apart * apart + xy * xy).sqrt()).max(0.0);
        });
    smaller
}

/// A pixel with a clear gradient.
struct OnEdge {
    place: Vector2<f64>,
    normal: Vector2<f64>,
    weight: f64,
}

/// The corner near `start`, pixels; `None` where edges that pass one point are not what is seen there. Among many details its
/// edges are followed less far.
pub(super) fn corner_at(image: &RgbImage, start: [f64; 2]) -> Option<Corner> {
    let edges = edges_around(image, start)?;
    let start = Vector2::from(start);
    let far = PROPOSAL.corner_reach.get();
    [far, far / 1.6]
        .into_iter()
        .find_map(|reach| settled(&edges, start, reach))
}

/// The point that edges up to `reach` from it pass.
fn settled(edges: &[OnEdge], start: Vector2<f64>, reach: f64) -> Option<Corner> {
    let mut at = start;
    let mut moments = Matrix2::zeros();
    for round in 0..12 {
        let (mut right, mut normal) = (Vector2::zeros(), Matrix2::zeros());
        for edge in edges {
            let weight = edge.weight * annulus(edge.place - at, reach) * passing(edge, at, round);
            let n = edge.normal;
            normal += n * n.transpose() * weight;
            right += n * (n.dot(&edge.place) * weight);
        }
        moments = normal;
        let next = normal.try_inverse()? * right;
        let step = (next - at).norm();
        at = next;
        if (at - start).norm() > PEAK_REACH as f64 {
            return None;
        }
        if step < 0.01 && round > 3 {
            break;
        }
    }
    let (mut all, mut through) = (0.0, 0.0);
    for edge in edges {
        let weight = edge.weight * annulus(edge.place - at, reach);
        all += weight;
        let off = edge.normal.dot(&(edge.place - at)).abs();
        if off < 2.0 * PROPOSAL.off_edge.get() {
            through += weight;
        }
    }
    let eigen = moments.symmetric_eigenvalues();
    let is_crossing = eigen.min() > PROPOSAL.least_crossing.get() * eigen.max();
    let is_corner = through > PROPOSAL.straight_share.get() * all && is_crossing;
    is_corner.then_some(Corner {
        at: at.into(),
        clearness: eigen.min(),
    })
}

/// How much of what lies so far off a corner counts: 1 along its edges, 0 in the rounded middle and beyond its reach.
fn annulus(off: Vector2<f64>, reach: f64) -> f64 {
    let distance = off.norm();
    let inner = (distance - PROPOSAL.corner_core.get() + 0.5).clamp(0.0, 1.0);
    inner * (reach - distance).clamp(0.0, 1.0)
}

/// How much an edge counts that passes a point at its distance; in the first rounds all do.
fn passing(edge: &OnEdge, at: Vector2<f64>, round: usize) -> f64 {
    let half = PROPOSAL.off_edge.get() * if round < 3 { 3.0 } else { 1.0 };
    let off = edge.normal.dot(&(edge.place - at)) / half;
    1.0 / (1.0 + off * off)
}

fn edges_around(image: &RgbImage, start: [f64; 2]) -> Option<Vec<OnEdge>> {
    let reach = PROPOSAL.corner_reach.get() + PEAK_REACH as f64 + 4.0;
    let from = |v: f64| (v - reach).floor().max(0.0);
    let to = |v: f64, most: u32| (v + reach).ceil().min(f64::from(most));
    let (left, top) = (from(start[0]), from(start[1]));
    let (right, bottom) = (to(start[0], image.width()), to(start[1], image.height()));
    if !(right - left >= 5.0 && bottom - top >= 5.0) {
        return None;
    }
    let size = [right - left, bottom - top].map(|v| v as u32);
    let window = imageops::crop_imm(image, left as u32, top as u32, size[0], size[1]).to_image();
    let (gradient, magnitude) = gradient::strongest_channel(&window, PROPOSAL.blur.get());
    let clear = PROPOSAL.clear_gradient.get();
    let edges = magnitude.indexed_iter().filter_map(|((y, x), m)| {
        let m = f64::from(*m);
        if m <= 1.0 {
            return None;
        }
        let along = |v: i16| f64::from(f32::from(v) * UNIT) / m;
        let normal = Vector2::new(along(gradient.x[[y, x]]), along(gradient.y[[y, x]]));
        let within = Vector2::new(x as f64 + 0.5, y as f64 + 0.5);
        let share = m / (m + clear);
        Some(OnEdge {
            place: within + Vector2::new(left, top),
            normal,
            weight: share * share * on_ridge(&magnitude, within, normal, m),
        })
    });
    Some(edges.collect())
}

/// 1 where the gradient `m` is as strong as any across its edge; the flanks of an edge, which do not lie on it, count little.
fn on_ridge(magnitude: &Plane<f32>, place: Vector2<f64>, normal: Vector2<f64>, m: f64) -> f64 {
    let beside = [-2.0, -1.0, 1.0, 2.0].map(|t| {
        let at = place + normal * t;
        sample::bilinear(magnitude, at.x, at.y).map_or(0.0, f64::from)
    });
    let strongest = beside.into_iter().fold(m, f64::max);
    (m / strongest).powi(4)
}

#[cfg(test)]
mod tests {
    use super::*;
    use image::Rgb;

    /// A light polygon on a dark ground, each pixel by sixteen samples a side.
    fn drawn(corners: &[[f64; 2]]) -> RgbImage {
        let holds = |x: f64, y: f64| {
            let crosses = |k: usize| {
                let ([ax, ay], [bx, by]) = (corners[k], corners[(k + 1) % corners.len()]);
                (ay > y) != (by > y) && x < ax + (y - ay) / (by - ay) * (bx - ax)
            };
            (0..corners.len()).filter(|k| crosses(*k)).count() % 2 == 1
        };
        RgbImage::from_fn(160, 140, |px, py| {
            let inside = (0..256)
                .filter(|k| {
                    let [u, v] = [k % 16, k / 16].map(|v| (f64::from(v) + 0.5) / 16.0);
                    holds(f64::from(px) + u, f64::from(py) + v)
                })
                .count();
            Rgb([(50.0 + 130.0 * inside as f64 / 256.0).round() as u8; 3])
        })
    }

    #[test]
    fn the_corners_of_a_polygon_are_found_to_a_fifth_of_a_pixel() {
        let polygon = [
            [30.3, 24.6],
            [121.7, 33.2],
            [130.4, 101.9],
            [84.2, 76.5],
            [41.8, 118.7],
        ];
        let picture = drawn(&polygon);
        let found: Vec<Corner> = peaks(&picture)
            .into_iter()
            .filter_map(|(at, _)| corner_at(&picture, at))
            .collect();
        assert_eq!(found.len(), polygon.len(), "{found:?}");
        for corner in polygon {
            let off = |c: &Corner| (c.at[0] - corner[0]).hypot(c.at[1] - corner[1]);
            let nearest = found.iter().map(off).fold(f64::INFINITY, f64::min);
            // At 52 degrees both edges share most of the window.
            let most = if corner == polygon[4] { 0.35 } else { 0.2 };
            assert!(nearest < most, "{corner:?}: {nearest}");
        }
    }

    #[test]
    fn a_disc_and_a_straight_edge_have_no_corner() {
        let disc = RgbImage::from_fn(120, 120, |x, y| {
            let (dx, dy) = (f64::from(x) + 0.5 - 60.0, f64::from(y) + 0.5 - 60.0);
            let share = (14.0 - dx.hypot(dy)).clamp(0.0, 1.0);
            Rgb([(60.0 + 120.0 * share) as u8; 3])
        });
        let edge = RgbImage::from_fn(120, 120, |x, _| Rgb([if x < 60 { 40 } else { 200 }; 3]));
        for picture in [disc, edge] {
            let found = peaks(&picture);
            let corners = found.iter().filter_map(|(at, _)| corner_at(&picture, *at));
            assert_eq!(corners.count(), 0);
        }
    }
}
