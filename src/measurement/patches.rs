//! What both images show at a mark, in one view: small pictures to look at beside each other.
use crate::{
    frame::{FromReference, Point, Projective, ReferencePx, RenderPx, WorkPx},
    job::View,
    kernels::warp,
    registration::{LandmarkFit, Registration},
};
use image::RgbImage;

/// Pixels of a patch along each side.
pub const PATCH_SIDE: u32 = 112;
/// Half of what a patch shows of the working grid, pixels: a judgement.
const RADIUS: f64 = 24.0;
/// Most marks of a view that patches are kept of: those that lie the most off.
pub const MOST_PATCHES: usize = 480;

/// What both images show at a mark.
#[derive(Clone, Debug)]
pub struct MarkPatches {
    /// Index of the landmark.
    pub landmark: usize,
    /// The render around its mark there, [`PATCH_SIDE`] pixels wide and high.
    pub render: RgbImage,
    /// The reference around its mark there, turned and scaled as the registration lays it over the render, so that both show the
    /// same where both marks lie at the same place; black outside of it.
    pub reference: RgbImage,
}

/// Both images around the marks of a landmark, each with its own mark in the middle of a picture of `side` x `side` pixels.
///
/// `render` shows the render, `render_from_picture` takes its pixels to those of the render. `reference` is the reference as it is on
/// disk. `width_px` is how much of the render is shown, render pixels. All is black where the registration takes the mark nowhere.
pub fn patches_at(
    (render, render_from_picture): (&RgbImage, &Projective<RenderPx, WorkPx>),
    (reference, render_from_reference): (&RgbImage, &FromReference<RenderPx>),
    (in_render, in_reference): (Point<RenderPx>, Point<ReferencePx>),
    (width_px, side): (f64, u32),
) -> [RgbImage; 2] {
    let black = || RgbImage::new(side, side);
    let around = |middle: Point<RenderPx>| render_from_patch(middle, width_px, side);
    let picture_from_render = render_from_picture.inverse();
    [
        around(in_render).map_or_else(black, |render_from_patch| {
            let map = picture_from_render.after(&render_from_patch);
            warp::warp_finely(render, (side, side), &map.rows())
        }),
        around(render_from_reference.apply(in_reference)).map_or_else(black, |render_from_patch| {
            let map = render_from_reference.inverse().after(&render_from_patch);
            warp::warp_finely(reference, (side, side), &map)
        }),
    ]
}

/// Takes the pixels of a patch around a place to those of the render; `None` where the place is nowhere.
fn render_from_patch(
    middle: Point<RenderPx>,
    width_px: f64,
    side: u32,
) -> Option<Projective<RenderPx, WorkPx>> {
    /// Farther away there is no picture.
    const FAR: f64 = 1e9;
    let [x, y] = middle.xy();
    let is_near = |v: f64| v.abs() < FAR;
    (is_near(x) && is_near(y)).then(|| {
        let shift = [x - width_px / 2.0, y - width_px / 2.0];
        Projective::similarity(width_px / f64::from(side), 0.0, shift)
    })
}

/// How much of the render a patch of a view shows, render pixels, where the working grid has so many of them a pixel.
pub(crate) fn patch_width(render_from_work: &Projective<RenderPx, WorkPx>) -> f64 {
    2.0 * RADIUS * render_from_work.rows()[0][0]
}

/// The patches of a view's marks: in the view's order, and of more than [`MOST_PATCHES`] those that lie the most off.
pub(crate) fn of_marks(
    (view, registration): (&View, &Registration),
    (render, render_from_work): (&RgbImage, &Projective<RenderPx, WorkPx>),
    reference: &RgbImage,
) -> Vec<MarkPatches> {
    let width_px = patch_width(render_from_work);
    let cut = |i: usize| {
        let landmark = &view.landmarks[i];
        let [render, reference] = patches_at(
            (render, render_from_work),
            (reference, &registration.render_from_reference),
            (landmark.render, landmark.reference),
            (width_px, PATCH_SIDE),
        );
        MarkPatches {
            landmark: i,
            render,
            reference,
        }
    };
    let mut kept: Vec<usize> = (0..view.landmarks.len()).collect();
    if kept.len() > MOST_PATCHES {
        let off = |i: usize| registration.landmarks.get(i).map_or(0.0, times_interval);
        kept.sort_by(|a, b| off(*b).total_cmp(&off(*a)));
        kept.truncate(MOST_PATCHES);
        kept.sort_unstable();
    }
    kept.into_iter().map(cut).collect()
}

#[cfg(feature = "draw")]
/// Bytes that the patches of a view take.
pub(crate) fn bytes_of_patches(view: &View) -> u64 {
    let pixels = u64::from(PATCH_SIDE) * u64::from(PATCH_SIDE);
    2 * 3 * pixels * view.landmarks.len().min(MOST_PATCHES) as u64
}

/// How far a mark lies off, in half widths of its 95 % interval; 0 where nothing tells.
pub(crate) fn times_interval(fit: &LandmarkFit) -> f64 {
    let times = fit.offset_px.map(|m| m.value() / m.half_width());
    let far = times[0].hypot(times[1]);
    if far.is_nan() { 0.0 } else { far }
}

#[cfg(test)]
mod tests {
    use super::*;
    use image::Rgb;

    /// Boxes of many greys: no two places look alike.
    fn grey(x: f64, y: f64) -> u8 {
        let cell = [(x / 11.0).floor(), (y / 9.0).floor()];
        let mixed = (cell[0] * 12.989 + cell[1] * 78.233).sin() * 43_758.545;
        (40.0 + 180.0 * (mixed - mixed.floor())) as u8
    }

    fn picture(size: [u32; 2], subject: impl Fn(f64, f64) -> (f64, f64)) -> RgbImage {
        RgbImage::from_fn(size[0], size[1], |x, y| {
            let (u, v) = subject(f64::from(x) + 0.5, f64::from(y) + 0.5);
            Rgb([grey(u, v); 3])
        })
    }

    /// How far two patches differ in the mean, grey levels.
    fn difference([a, b]: &[RgbImage; 2]) -> f64 {
        let sum: f64 = (a.as_raw().iter().zip(b.as_raw()))
            .map(|(a, b)| (f64::from(*a) - f64::from(*b)).abs())
            .sum();
        sum / a.as_raw().len() as f64
    }

    fn patches(in_render: [f64; 2], in_reference: [f64; 2]) -> [RgbImage; 2] {
        let render = picture([300, 240], |x, y| (x, y));
        // The reference is turned by 20 degrees and twice as large.
        let map = Projective::<RenderPx, ReferencePx>::similarity(0.5, 0.35, [60.0, -20.0]);
        let reference = picture([700, 600], |x, y| map.apply(Point::new(x, y)).xy().into());
        let [x, y] = in_render;
        let [u, v] = in_reference;
        let there = map.inverse().apply(Point::new(u, v));
        patches_at(
            (&render, &Projective::identity()),
            (&reference, &FromReference::from(map)),
            (Point::new(x, y), there),
            (48.0, 96),
        )
    }

    #[test]
    fn a_turned_and_larger_reference_shows_the_same_where_both_marks_are_right() {
        let right = difference(&patches([150.0, 120.0], [150.0, 120.0]));
        let wrong = difference(&patches([150.0, 120.0], [162.0, 111.0]));
        // Edges of the boxes are drawn a little softer in one of them.
        assert!(right < 12.0 && wrong > 40.0, "{right} {wrong}");
    }

    #[test]
    fn each_mark_is_in_the_middle_of_its_patch() {
        let mut render = RgbImage::new(60, 60);
        render.put_pixel(30, 20, Rgb([255; 3]));
        let [patch, _] = patches_at(
            (&render, &Projective::identity()),
            (&render, &FromReference::identity()),
            (Point::new(30.5, 20.5), Point::new(30.5, 20.5)),
            (10.0, 100),
        );
        let (mut x_sum, mut sum) = ([0.0; 2], 0.0);
        for (x, y, value) in patch.enumerate_pixels() {
            let weight = f64::from(value[0]);
            x_sum[0] += weight * (f64::from(x) + 0.5);
            x_sum[1] += weight * (f64::from(y) + 0.5);
            sum += weight;
        }
        // Of a bright pixel the middle is the mark: to rounding of grey levels.
        for v in x_sum {
            assert!((v / sum - 50.0).abs() < 0.1, "{x_sum:?} {sum}");
        }
    }

    #[test]
    fn marks_outside_and_nowhere_give_black() {
        for far in [[-900.0, 40.0], [f64::NAN, 3.0], [1e300, 0.0]] {
            let [render, reference] = patches(far, far);
            assert_eq!(render.dimensions(), (96, 96));
            assert!(render.as_raw().iter().all(|v| *v == 0), "{far:?}");
            assert!(reference.as_raw().iter().all(|v| *v == 0), "{far:?}");
        }
    }
}
