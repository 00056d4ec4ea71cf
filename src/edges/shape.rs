//! Which edges of a render are the shape's: those that a further picture of the same view has too.
use super::{
    points::{EdgePoint, maxima},
    settings::EDGES,
};
use crate::kernels::Plane;
use image::RgbImage;
use rayon::prelude::*;

/// The edges of a further picture of a render's view.
pub(super) struct Shape {
    points: Vec<EdgePoint>,
    /// For each pixel, one more than the index of the point in it; 0 where there is none.
    at: Plane<u32>,
}

impl Shape {
    /// `picture` has the render's size; its edges are looked for where `owners` is not 0, and a little around.
    pub(super) fn new(picture: &RgbImage, owners: &Plane<u16>) -> Self {
        let points = maxima(picture, owners);
        let mut at = Plane::zeros(owners.dim());
        for (k, point) in points.iter().enumerate() {
            let pixel = [point.place.y as usize, point.place.x as usize];
            if let (Some(cell), Ok(index)) = (at.get_mut(pixel), u32::try_from(k + 1)) {
                *cell = index;
            }
        }
        Self { points, at }
    }

    /// Keeps the points that the picture has too. Where it has too few of them to be of the same view, all of them, and says how
    /// many it has, in per cent.
    pub(super) fn keep(&self, points: &mut Vec<EdgePoint>) -> Option<f64> {
        if points.is_empty() {
            return None;
        }
        let is_shown: Vec<bool> = points.par_iter().map(|point| self.shows(point)).collect();
        let count = is_shown.iter().filter(|is_shown| **is_shown).count();
        let share = count as f64 / points.len() as f64;
        if share < EDGES.least_shape.get() {
            return Some(100.0 * share);
        }
        let mut is_shown = is_shown.into_iter();
        points.retain(|_| is_shown.next().unwrap_or(false));
        None
    }

    /// Whether the picture has an edge of that direction near the point.
    fn shows(&self, point: &EdgePoint) -> bool {
        let reach = EDGES.shape_reach.get();
        let least = EDGES.shape_direction.get().to_radians().cos();
        let range = |v: f64, side: usize| {
            let end = ((v + reach).max(0.0) as usize + 1).min(side);
            ((v - reach).max(0.0) as usize).min(end)..end
        };
        let (height, width) = self.at.dim();
        let rows = range(point.place.y, height);
        let mut pixels =
            rows.flat_map(|y| range(point.place.x, width).map(move |x| self.at[[y, x]]));
        pixels.any(|index| {
            // An index of 0 wraps to one that no point has.
            let other = self.points.get((index as usize).wrapping_sub(1));
            other.is_some_and(|other| {
                (other.place - point.place).norm() <= reach
                    && other.normal.dot(&point.normal).abs() >= least
            })
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use image::Rgb;

    const SIZE: (u32, u32) = (60, 40);

    /// A picture with a step at this column, or at this row.
    fn stepped(at: u32, is_column: bool) -> RgbImage {
        RgbImage::from_fn(SIZE.0, SIZE.1, |x, y| {
            let place = if is_column { x } else { y };
            Rgb([if place < at { 40 } else { 200 }; 3])
        })
    }

    fn everywhere() -> Plane<u16> {
        Plane::from_elem((SIZE.1 as usize, SIZE.0 as usize), 1)
    }

    /// How many points of the render are left, of how many, and what is said of the picture.
    fn left(render: &RgbImage, picture: &RgbImage) -> (usize, usize, Option<f64>) {
        let mut points = maxima(render, &everywhere());
        let before = points.len();
        let unlike = Shape::new(picture, &everywhere()).keep(&mut points);
        (points.len(), before, unlike)
    }

    #[test]
    fn points_stay_where_the_picture_has_an_edge_too() {
        // Steps at columns 20 and 40; the picture has the first alone, a pixel beside.
        let render = RgbImage::from_fn(SIZE.0, SIZE.1, |x, _| {
            Rgb([if (20..40).contains(&x) { 200 } else { 40 }; 3])
        });
        let (kept, before, unlike) = left(&render, &stepped(21, true));
        assert!(before > 0 && 2 * kept == before, "{kept} of {before}");
        assert_eq!(unlike, None);
    }

    #[test]
    fn an_edge_farther_off_or_of_another_direction_is_another_one() {
        for picture in [stepped(23, true), stepped(20, false)] {
            let (kept, before, unlike) = left(&stepped(20, true), &picture);
            assert_eq!(kept, before, "none fits, so all count");
            assert!(unlike.is_some_and(|percent| percent < 5.0), "{unlike:?}");
        }
    }

    #[test]
    fn a_render_without_edges_says_nothing_of_the_picture() {
        let plain = RgbImage::from_pixel(SIZE.0, SIZE.1, Rgb([90; 3]));
        assert_eq!(left(&plain, &stepped(20, true)), (0, 0, None));
        let (kept, before, unlike) = left(&stepped(20, true), &plain);
        assert_eq!((kept, unlike), (before, Some(0.0)));
    }
}
