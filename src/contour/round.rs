//! The centre of a round thing (a bolt, a wheel, a lamp) that a mark is set in: that of the ellipse it shows.
//!
//! From the mark, rays go out in all directions; along each the brightness steps are looked for. A ring of steps of one sign
//! is made an ellipse, looked for again near that ellipse, and so on until it is at rest. The ring that most rays meet is
//! the outline; of rings that as many meet (a washer around a bolt), the clearer one.
//!
//! Seen at a slant, the middle of the ellipse lies beside the picture of the round's centre, by less than a tenth of its
//! size over its distance; both images share most of that.
//!
//! # Source
//! A. Fitzgibbon, M. Pilu and R. Fisher, "Direct least square fitting of ellipses" (1999), in the form of R. Halir and
//! J. Flusser, "Numerically stable direct least squares fitting of ellipses" (1998).
use super::settings::CONTOUR;
use crate::kernels::gradient;
use image::{RgbImage, imageops};
use nalgebra::{Matrix3, Vector2, Vector3};

const RAYS: usize = 64;
/// Samples along a ray, a quarter of a pixel apart.
const STEP: f64 = 0.25;
const ROUNDS: usize = 12;

/// An ellipse around a mark, pixels of its image.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Round {
    /// Its middle.
    pub centre: [f64; 2],
    /// Half of its longer and of its shorter axis.
    pub half_axes: [f64; 2],
    /// Share of the rays from the mark that meet it, 0 to 1.
    pub seen: f64,
}

/// A step of brightness along a ray.
#[derive(Clone, Copy, Debug)]
struct Step {
    radius: f64,
    /// Grey levels per px; above 0 where it gets lighter outwards.
    rise: f64,
}

/// The round thing around `mark`, pixels; `None` where the picture shows none there: no ring of steps that most of the rays meet, or
/// one whose middle is far from the mark.
pub fn round_at(image: &RgbImage, mark: [f64; 2]) -> Option<Round> {
    let rays = Rays::from(image, mark)?;
    let most = CONTOUR.most_radius.get();
    let starts = (0..).map(|k| 2.0 * 1.25_f64.powi(k));
    let starts: Vec<f64> = starts.take_while(|r| *r < most).collect();
    let rings = starts
        .iter()
        .flat_map(|radius| [1.0, -1.0].map(|sign| rays.ring(*radius, sign)));
    let (ring, _) = rings
        .flatten()
        .map(|ring| (ring, ring.seen + 1e-4 * ring.rise))
        .reduce(|best, next| if next.1 > best.1 { next } else { best })?;
    let Ellipse {
        centre, half_axes, ..
    } = ring.ellipse;
    Some(Round {
        centre: [mark[0] + centre.x, mark[1] + centre.y],
        half_axes,
        seen: ring.seen,
    })
}

/// The steps along rays from a mark, places relative to it.
struct Rays {
    directions: Vec<Vector2<f64>>,
    steps: Vec<Vec<Step>>,
}

impl Rays {
    fn from(image: &RgbImage, mark: [f64; 2]) -> Option<Self> {
        let reach = CONTOUR.most_radius.get() * 1.5;
        let from = |v: f64| (v - reach - 4.0).floor().max(0.0);
        let to = |v: f64, most: u32| (v + reach + 4.0).ceil().min(f64::from(most));
        let (left, top) = (from(mark[0]), from(mark[1]));
        let (right, bottom) = (to(mark[0], image.width()), to(mark[1], image.height()));
        // Also where the mark lies far outside, or nowhere.
        if !(right - left >= 3.0 && bottom - top >= 3.0) {
            return None;
        }
        let size = [right - left, bottom - top].map(|v| v as u32);
        let window =
            imageops::crop_imm(image, left as u32, top as u32, size[0], size[1]).to_image();
        let (gradient, _) = gradient::strongest_channel(&window, CONTOUR.blur.get());
        let at = |p: Vector2<f64>| -> Option<Vector2<f64>> {
            let (x, y) = ((p.x - left).floor(), (p.y - top).floor());
            let is_inside = x >= 0.0 && y >= 0.0 && x < right - left && y < bottom - top;
            let index = is_inside.then_some([y as usize, x as usize])?;
            let grey = |v: i16| f64::from(f32::from(v) * gradient::UNIT);
            Some(Vector2::new(
                grey(gradient.x[index]),
                grey(gradient.y[index]),
            ))
        };
        let middle = Vector2::from(mark);
        let directions: Vec<Vector2<f64>> = (0..RAYS)
            .map(|k| {
                let (s, c) = (std::f64::consts::TAU * k as f64 / RAYS as f64).sin_cos();
                Vector2::new(c, s)
            })
            .collect();
        let steps = directions
            .iter()
            .map(|d| steps_along(|r| at(middle + d * r).map(|g| g.dot(d)), reach))
            .collect();
        Some(Self { directions, steps })
    }

    /// The ring of steps of one sign that begins near a circle; `None` where it comes to no ellipse around the mark.
    fn ring(&self, radius: f64, sign: f64) -> Option<Ring> {
        let mut ellipse = Ellipse::circle(radius);
        // At first a quarter of the radius to both sides: from there on what noise and a wrong start leave.
        let mut reach = (0.25 * radius).max(1.5);
        let mut met = Vec::new();
        for round in 1..=ROUNDS {
            met = self.near(&ellipse, sign, reach);
            // A circle meets only a part of a slanted ring.
            let share = if round == ROUNDS { 1.0 } else { 0.5 };
            if (met.len() as f64) < share * CONTOUR.least_seen.get() * RAYS as f64 {
                return None;
            }
            let places: Vec<Vector2<f64>> = met.iter().map(|(p, _)| *p).collect();
            ellipse = Ellipse::through(&places)?;
            reach = (0.75 * reach).max(CONTOUR.ring_reach.get());
        }
        let [long, short] = ellipse.half_axes;
        let is_round = long < 1.5 * CONTOUR.most_radius.get()
            && short > CONTOUR.least_flatness.get() * long
            && ellipse.centre.norm() < 0.5 * short + 1.0;
        is_round.then(|| Ring {
            ellipse,
            seen: met.len() as f64 / RAYS as f64,
            rise: met.iter().map(|(_, rise)| rise).sum::<f64>() / met.len() as f64,
        })
    }

    /// The nearest step of this sign on each ray within `reach` of an ellipse, and how clear it is.
    fn near(&self, ellipse: &Ellipse, sign: f64, reach: f64) -> Vec<(Vector2<f64>, f64)> {
        let rays = self.directions.iter().zip(&self.steps);
        rays.filter_map(|(direction, steps)| {
            let expected = ellipse.radius_along(*direction)?;
            let distance = |s: &Step| (s.radius - expected).abs();
            let nearest = steps
                .iter()
                .filter(|s| s.rise * sign > 0.0 && distance(s) < reach)
                .min_by(|a, b| distance(a).total_cmp(&distance(b)))?;
            Some((direction * nearest.radius, nearest.rise.abs()))
        })
        .collect()
    }
}

/// Where the rise along a ray is largest or smallest among its neighbours, between the samples by a parabola.
fn steps_along(rise: impl Fn(f64) -> Option<f64>, reach: f64) -> Vec<Step> {
    let samples: Vec<f64> = (0..)
        .map(|k| STEP * f64::from(k))
        .take_while(|r| *r < reach)
        .map_while(rise)
        .collect();
    // Pixels have one value over a pixel: four samples and their neighbours make it smooth again.
    let smooth: Vec<f64> = samples
        .windows(9)
        .map(|w| w.iter().sum::<f64>() / 9.0)
        .collect();
    let peaks = smooth.windows(3).enumerate().filter_map(|(k, w)| {
        let is_peak = w[1].abs() > w[0].abs() && w[1].abs() >= w[2].abs();
        let is_clear = w[1].abs() > CONTOUR.clear_step.get();
        let bend = w[0] - 2.0 * w[1] + w[2];
        (is_peak && is_clear && bend != 0.0).then(|| Step {
            radius: STEP * (k as f64 + 5.0 + 0.5 * (w[0] - w[2]) / bend),
            rise: w[1],
        })
    });
    peaks.collect()
}

#[derive(Clone, Copy, Debug)]
struct Ring {
    ellipse: Ellipse,
    seen: f64,
    rise: f64,
}

/// An ellipse as `(p - centre)' shape (p - centre) = 1`.
#[derive(Clone, Copy, Debug)]
struct Ellipse {
    centre: Vector2<f64>,
    shape: nalgebra::Matrix2<f64>,
    half_axes: [f64; 2],
}

impl Ellipse {
    fn circle(radius: f64) -> Self {
        Self {
            centre: Vector2::zeros(),
            shape: nalgebra::Matrix2::identity() / (radius * radius),
            half_axes: [radius; 2],
        }
    }

    /// How far it lies along a ray from the origin; `None` where the origin is outside.
    fn radius_along(&self, d: Vector2<f64>) -> Option<f64> {
        let (a, b) = (d.dot(&(self.shape * d)), d.dot(&(self.shape * self.centre)));
        let c = self.centre.dot(&(self.shape * self.centre)) - 1.0;
        (c < 0.0 && a > 0.0).then(|| (b + (b * b - a * c).sqrt()) / a)
    }

    /// The ellipse with the least algebraic error (Halir and Flusser 1998, sections 3 and 4), places divided by their size.
    fn through(places: &[Vector2<f64>]) -> Option<Self> {
        let size = places.iter().map(|p| p.norm()).fold(1e-9, f64::max);
        let (mut s1, mut s2, mut s3) = (Matrix3::zeros(), Matrix3::zeros(), Matrix3::zeros());
        for p in places {
            let p = p / size;
            let quadratic = Vector3::new(p.x * p.x, p.x * p.y, p.y * p.y);
            let linear = Vector3::new(p.x, p.y, 1.0);
            s1 += quadratic * quadratic.transpose();
            s2 += quadratic * linear.transpose();
            s3 += linear * linear.transpose();
        }
        let t = -s3.try_inverse()? * s2.transpose();
        let m = s1 + s2 * t;
        // The inverse of the constraint 4 a c - b^2 = 1.
        let reduced = Matrix3::from_rows(&[m.row(2) / 2.0, -m.row(1), m.row(0) / 2.0]);
        let found = reduced
            .complex_eigenvalues()
            .iter()
            .filter(|v| v.im.abs() < 1e-9 * (1.0 + v.re.abs()))
            .filter_map(|v| eigenvector(&reduced, v.re))
            .find(|a| 4.0 * a[0] * a[2] - a[1] * a[1] > 0.0)?;
        let linear = t * found;
        let quadratic = nalgebra::Matrix2::new(found[0], found[1] / 2.0, found[1] / 2.0, found[2]);
        let centre = -quadratic.try_inverse()? * Vector2::new(linear[0], linear[1]) / 2.0;
        let at_centre = centre.dot(&(quadratic * centre)) - linear[2];
        let shape = quadratic / (at_centre * size * size);
        let axes = shape.symmetric_eigen().eigenvalues.map(|v| 1.0 / v.sqrt());
        let half_axes = [axes.max(), axes.min()];
        (half_axes.iter().all(|a| a.is_finite())).then(|| Self {
            centre: centre * size,
            shape,
            half_axes,
        })
    }
}

/// A vector that the matrix takes to `value` times itself: across two of the rows of what is then singular.
fn eigenvector(matrix: &Matrix3<f64>, value: f64) -> Option<Vector3<f64>> {
    let singular = matrix - Matrix3::identity() * value;
    let rows = [0, 1, 2].map(|k| singular.row(k).transpose());
    let across = [(0, 1), (0, 2), (1, 2)].map(|(i, j)| rows[i].cross(&rows[j]));
    let longest = across
        .into_iter()
        .reduce(|a, b| if b.norm() > a.norm() { b } else { a })?;
    longest.try_normalize(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use image::Rgb;

    /// A light ellipse with a dark spot in it on darker ground, and what else is drawn.
    fn wheel(centre: [f64; 2], axes: [f64; 2], turn: f64) -> RgbImage {
        RgbImage::from_fn(160, 160, |x, y| {
            // Nine places in the pixel: an edge that cameras see.
            let mut sum = 0.0;
            for (i, j) in (0..9).map(|k| (k % 3, k / 3)) {
                let at = |v: u32, k: i32| f64::from(v) + (f64::from(k) + 0.5) / 3.0;
                let (dx, dy) = (at(x, i) - centre[0], at(y, j) - centre[1]);
                let (s, c) = turn.sin_cos();
                let r = ((c * dx + s * dy) / axes[0]).hypot((c * dy - s * dx) / axes[1]);
                let spoke = dx.abs() < 2.0 && dy > 0.0;
                sum += match r {
                    r if r > 1.0 => 70.0,
                    _ if spoke => 100.0,
                    r if r < 0.2 => 90.0,
                    _ => 180.0,
                };
            }
            Rgb([(sum / 9.0_f64).round() as u8; 3])
        })
    }

    #[test]
    fn the_middle_of_a_slanted_wheel_is_found_from_a_rough_click() {
        for (centre, axes, turn) in [
            ([80.3, 78.6], [24.0, 24.0], 0.0),
            ([82.1, 80.4], [26.0, 17.0], 0.5),
            ([79.8, 81.2], [6.0, 5.0], -1.1),
        ] {
            let picture = wheel(centre, axes, turn);
            for off in [[0.0, 0.0], [1.5, -1.0], [-2.0, 1.0]] {
                let mark = [centre[0] + off[0], centre[1] + off[1]];
                let found = round_at(&picture, mark);
                let found = found.unwrap_or_else(|| panic!("round: {centre:?} {axes:?} {off:?}"));
                let error = (found.centre[0] - centre[0]).hypot(found.centre[1] - centre[1]);
                assert!(
                    error < if axes[0] < 10.0 { 0.3 } else { 0.15 },
                    "{found:?} for {centre:?} {axes:?}"
                );
                assert!((found.half_axes[0] - axes[0]).abs() < 0.6, "{found:?}");
            }
        }
    }

    #[test]
    fn corners_edges_noise_and_plain_ground_are_not_round() {
        let corner = RgbImage::from_fn(120, 120, |x, y| {
            Rgb([if x > 60 && y > 60 { 200 } else { 60 }; 3])
        });
        let edge = RgbImage::from_fn(120, 120, |x, _| Rgb([if x > 63 { 200 } else { 60 }; 3]));
        let noise = RgbImage::from_fn(120, 120, |x, y| {
            let mixed = (x + 120 * y).wrapping_mul(2_654_435_761);
            Rgb([90 + ((mixed ^ (mixed >> 15)) % 64) as u8; 3])
        });
        let plain = RgbImage::from_pixel(120, 120, Rgb([90; 3]));
        for (name, picture) in [
            ("corner", corner),
            ("edge", edge),
            ("noise", noise),
            ("plain", plain),
        ] {
            let found = round_at(&picture, [60.0, 60.0]);
            assert!(found.is_none(), "{name}: {found:?}");
        }
    }

    #[test]
    fn places_outside_and_tiny_pictures_say_nothing() {
        let picture = wheel([80.0, 80.0], [20.0, 20.0], 0.0);
        for at in [[-500.0, 3.0], [1e12, 1e12], [f64::NAN, 3.0]] {
            assert!(round_at(&picture, at).is_none(), "{at:?}");
        }
        assert!(round_at(&RgbImage::new(2, 2), [1.0, 1.0]).is_none());
    }
}
