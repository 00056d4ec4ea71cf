//! What an image shows at a mark: a corner, one smooth outline along which the mark is badly known, or a round thing.
//!
//! The directions of the gradient around the mark, each weighed by how clear it is and not by how strong, make a matrix of
//! second moments. Its smaller eigenvalue over its larger one is 0 on a straight edge, and near 1 where edges of all
//! directions meet.
//!
//! # Source
//! W. Foerstner and E. Guelch, "A fast operator for detection and precise location of distinct points, corners and centres
//! of circular features" (1987): the matrix and its roundness; the weights are ours.
mod round;
pub(crate) mod settings;

pub use round::{Round, round_at};

use crate::{
    frame::{Point, RenderPx},
    job::{MarkOn, View},
    kernels::gradient,
};
use image::{RgbImage, imageops};
use nalgebra::{Matrix2, Vector2};
use rayon::prelude::*;
use settings::CONTOUR;
use std::borrow::Cow;

/// The view with what its marks are set on, as far as the render tells: the tangent of each outline, and marks that say
/// nothing of themselves but lie on one smooth outline as marks on it.
pub fn seen<'a>(view: &'a View, render: &RgbImage) -> Cow<'a, View> {
    let found = view
        .landmarks
        .par_iter()
        .enumerate()
        .filter_map(|(i, landmark)| {
            let least_round = match landmark.on {
                Some(MarkOn::Corner | MarkOn::Centre | MarkOn::Outline(Some(_))) => return None,
                Some(MarkOn::Outline(None)) => CONTOUR.stated_roundness.get(),
                None => CONTOUR.smooth_roundness.get(),
            };
            let around = around(render, landmark.render)?;
            (around.roundness < least_round).then_some((i, around.tangent))
        });
    let found: Vec<_> = found.collect();
    if found.is_empty() {
        return Cow::Borrowed(view);
    }
    let mut seen = view.clone();
    for (i, tangent) in found {
        seen.landmarks[i].on = Some(MarkOn::Outline(Some(tangent.into())));
    }
    Cow::Owned(seen)
}

/// The edges around a mark.
#[derive(Clone, Copy, Debug)]
struct Around {
    /// Smaller over larger second moment of the gradient's directions, 0 to 1.
    roundness: f64,
    /// Unit direction along the edges.
    tangent: Vector2<f64>,
}

/// `None` where too little is to be seen.
fn around(render: &RgbImage, mark: Point<RenderPx>) -> Option<Around> {
    let radius = CONTOUR.radius.get();
    // A pixel beyond on each side for the gradient, and what the blur reaches.
    let reach = radius.ceil() + 4.0;
    let from = |v: f64| (v - reach).floor().max(0.0);
    let to = |v: f64, most: u32| (v + reach).ceil().min(f64::from(most));
    let (left, top) = (from(mark.x), from(mark.y));
    let (right, bottom) = (to(mark.x, render.width()), to(mark.y, render.height()));
    // Also where the mark lies far outside, or nowhere.
    if !(right - left >= 3.0 && bottom - top >= 3.0) {
        return None;
    }
    let window = imageops::crop_imm(
        render,
        left as u32,
        top as u32,
        (right - left) as u32,
        (bottom - top) as u32,
    )
    .to_image();
    let (gradient, magnitude) = gradient::strongest_channel(&window, CONTOUR.blur.get());
    let centre = Vector2::new(mark.x - left, mark.y - top);
    let mut moments = Matrix2::zeros();
    let mut pixels = 0.0;
    for ((y, x), m) in magnitude.indexed_iter() {
        let place = Vector2::new(x as f64 + 0.5, y as f64 + 0.5);
        if (place - centre).norm_squared() > radius * radius {
            continue;
        }
        pixels += 1.0;
        let m = f64::from(*m);
        let clear = m / (m + CONTOUR.clear_gradient.get());
        let along = |v: i16| f64::from(f32::from(v) * gradient::UNIT) / m.max(1e-6);
        let direction = Vector2::new(along(gradient.x[[y, x]]), along(gradient.y[[y, x]]));
        moments += direction * direction.transpose() * (clear * clear);
    }
    let eigen = moments.symmetric_eigen();
    let larger = usize::from(eigen.eigenvalues[1] > eigen.eigenvalues[0]);
    let (most, least) = (eigen.eigenvalues[larger], eigen.eigenvalues[1 - larger]);
    if most < CONTOUR.least_share.get() * pixels {
        return None;
    }
    Some(Around {
        roundness: (least / most).max(0.0),
        tangent: eigen.eigenvectors.column(1 - larger).into_owned(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use image::Rgb;

    /// A picture of 60 by 60 px that is light inside of a shape: a share of 0 to 1 at each pixel's centre.
    fn picture(inside: impl Fn(f64, f64) -> f64) -> RgbImage {
        RgbImage::from_fn(60, 60, |x, y| {
            let share = inside(f64::from(x) + 0.5, f64::from(y) + 0.5).clamp(0.0, 1.0);
            Rgb([(60.0 + 120.0 * share).round() as u8; 3])
        })
    }

    fn roundness_at(picture: &RgbImage, at: [f64; 2]) -> f64 {
        around(picture, Point::new(at[0], at[1]))
            .expect("edges")
            .roundness
    }

    fn is_smooth(roundness: f64) -> bool {
        roundness < CONTOUR.smooth_roundness.get()
    }

    #[test]
    fn the_top_of_a_large_disc_is_smooth_and_level() {
        let disc = picture(|x, y| 40.0 - (x - 30.0).hypot(y - 55.0) + 0.5);
        let top = around(&disc, Point::new(30.0, 15.0)).expect("an edge");
        assert!(is_smooth(top.roundness), "{}", top.roundness);
        assert!(top.tangent.x.abs() > 0.999, "{}", top.tangent);
    }

    #[test]
    fn a_corner_a_bolt_and_a_joint_of_lines_are_not_smooth() {
        let corner = picture(|x, y| (x - 30.0).min(y - 30.0) + 0.5);
        assert!(!is_smooth(roundness_at(&corner, [30.0, 30.0])));
        let bolt = picture(|x, y| 3.5 - (x - 30.0).hypot(y - 30.0));
        assert!(!is_smooth(roundness_at(&bolt, [30.0, 30.0])));
        // A faint seam that meets a strong edge.
        let joint = picture(|x, y| {
            let seam = if x < 30.0 { 0.0 } else { 0.2 };
            (y - 30.0 + 0.5).clamp(0.0, 1.0) * (0.8 + seam)
        });
        assert!(!is_smooth(roundness_at(&joint, [30.0, 30.0])));
    }

    #[test]
    fn brightness_does_not_matter() {
        let disc = |light: f64| {
            picture(move |x, y| light * (40.5 - (x - 30.0).hypot(y - 55.0)).clamp(0.0, 1.0))
        };
        let [dim, bright] = [0.5, 1.0].map(|light| roundness_at(&disc(light), [30.0, 15.0]));
        assert!(is_smooth(dim) && is_smooth(bright), "{dim} {bright}");
    }

    #[test]
    fn plain_ground_and_places_outside_say_nothing() {
        let plain = picture(|_, _| 0.5);
        for at in [
            [30.0, 30.0],
            [0.0, 0.0],
            [-500.0, 30.0],
            [1e12, 1e12],
            [f64::NAN, 3.0],
        ] {
            assert!(around(&plain, Point::new(at[0], at[1])).is_none(), "{at:?}");
        }
        let tiny = RgbImage::new(2, 2);
        assert!(around(&tiny, Point::new(1.0, 1.0)).is_none());
    }
}
