//! How much of an edge of a given direction the reference has at a place, relative to what is usual around it.
//!
//! The gradient along the normal over all colour channels is divided by its local root mean square, so that an edge in a
//! dim corner counts as much as one in the light. Drawings have lines instead of edges between areas: there the second
//! derivative across the line is taken.
use super::{
    settings::EDGES,
    window::{FARTHEST, STEP},
};
use crate::{
    job::ReferenceKind,
    kernels::{
        Plane, blur, box_mean,
        gradient::{self, UNIT},
        gray,
    },
};
use image::RgbImage;
use nalgebra::Vector2;
use rayon::prelude::*;

/// Half the side of the box over which the root mean square is taken, working pixels.
const BOX_RADIUS: usize = 30;
/// Responses beyond this count as this.
const MOST: f32 = 3.0;
/// Steps of the stored numbers in one unit of response.
const STEPS: f32 = 40.0;

/// The response of a whole image, stored in eight bits a number.
#[derive(Clone, Debug)]
pub(crate) struct Response {
    width: usize,
    height: usize,
    /// Edges: x and y of three channels; lines: xx, xy, yy, then three zeros.
    values: Vec<[i8; 6]>,
    is_lines: bool,
}

impl Response {
    pub(crate) fn new(image: &RgbImage, kind: ReferenceKind) -> Self {
        match kind {
            ReferenceKind::Plan => Self::of_lines(image),
            ReferenceKind::Photo | ReferenceKind::Screenshot | ReferenceKind::Sketch => {
                Self::of_edges(image)
            }
        }
    }

    fn of_edges(image: &RgbImage) -> Self {
        let channels = [0, 1, 2].map(|c| gradient::of_channel(image, c, EDGES.response_blur.get()));
        let planes: [&[i16]; 6] = std::array::from_fn(|k| {
            let channel = &channels[k / 2];
            let plane = if k % 2 == 0 { &channel.x } else { &channel.y };
            plane.as_slice().expect("rows are contiguous")
        });
        let mut square = Plane::<f32>::zeros(channels[0].x.dim());
        let width = square.ncols();
        let rows = square.as_slice_mut().expect("rows are contiguous");
        rows.par_chunks_mut(width.max(1))
            .enumerate()
            .for_each(|(y, row)| {
                for plane in &planes {
                    for (sum, v) in row.iter_mut().zip(&plane[y * width..]) {
                        let v = f32::from(*v) * UNIT;
                        *sum += v * v;
                    }
                }
            });
        let mean = box_mean::box_mean(square, BOX_RADIUS);
        Self::normalised(
            &mean,
            (EDGES.gradient_floor.get() as f32, UNIT),
            &planes,
            false,
        )
    }

    fn of_lines(image: &RgbImage) -> Self {
        let gray = gray::luma(image).mapv(f32::from);
        let [xx, xy, yy] =
            second_derivatives(&blur::gaussian_f32(&gray, EDGES.response_blur.get()));
        let square = ndarray::Zip::from(&xx)
            .and(&yy)
            .par_map_collect(|x, y| (x.abs() + y.abs()).powi(2));
        let mean = box_mean::box_mean(square, BOX_RADIUS);
        let planes = [&xx, &xy, &yy].map(|p| p.as_slice().expect("rows are contiguous"));
        Self::normalised(&mean, (EDGES.ridge_floor.get() as f32, 1.0), &planes, true)
    }

    /// The planes over the root mean square plus `floor`; `unit` is what one step of a plane is worth.
    fn normalised<T: Copy + Into<f32> + Sync>(
        mean_square: &Plane<f32>,
        (floor, unit): (f32, f32),
        planes: &[&[T]],
        is_lines: bool,
    ) -> Self {
        let (height, width) = mean_square.dim();
        let mean_square = mean_square.as_slice().expect("rows are contiguous");
        let mut values = vec![[0_i8; 6]; width * height];
        values
            .par_chunks_mut(width.max(1))
            .enumerate()
            .for_each_init(
                || vec![0.0_f32; width],
                |scale, (y, row)| {
                    let at = y * width..(y + 1) * width;
                    for (scale, m) in scale.iter_mut().zip(&mean_square[at.clone()]) {
                        *scale = STEPS * unit / (m.max(0.0).sqrt() + floor);
                    }
                    for (k, plane) in planes.iter().enumerate() {
                        for ((out, v), scale) in row.iter_mut().zip(&plane[at.clone()]).zip(&*scale)
                        {
                            let v: f32 = (*v).into();
                            out[k] = rounded(v * scale);
                        }
                    }
                },
            );
        Self {
            width,
            height,
            values,
            is_lines,
        }
    }

    /// Takes the response away where `usable`, of the image's size, is 0.
    pub(crate) fn keep_where(&mut self, usable: &Plane<u8>) {
        for (value, usable) in self.values.iter_mut().zip(usable) {
            if *usable == 0 {
                *value = [0; 6];
            }
        }
    }

    /// The response at a place (working pixels, clamped to the image) across a direction, 0 to [`MOST`].
    pub(crate) fn at(&self, place: Vector2<f64>, normal: Vector2<f64>) -> f32 {
        let x = (place.x - 0.5).clamp(0.0, (self.width - 1) as f64);
        let y = (place.y - 0.5).clamp(0.0, (self.height - 1) as f64);
        let (x0, y0) = (x as usize, y as usize);
        let (fx, fy) = ((x - x0 as f64) as f32, (y - y0 as f64) as f32);
        let (x1, y1) = ((x0 + 1).min(self.width - 1), (y0 + 1).min(self.height - 1));
        let corner = |x: usize, y: usize| &self.values[y * self.width + x];
        let (a, b, c, d) = (
            corner(x0, y0),
            corner(x1, y0),
            corner(x0, y1),
            corner(x1, y1),
        );
        let (wa, wb, wc, wd) = (
            (1.0 - fx) * (1.0 - fy),
            fx * (1.0 - fy),
            (1.0 - fx) * fy,
            fx * fy,
        );
        let v: [f32; 6] = std::array::from_fn(|k| {
            wa * f32::from(a[k])
                + wb * f32::from(b[k])
                + wc * f32::from(c[k])
                + wd * f32::from(d[k])
        });
        let (nx, ny) = (normal.x as f32, normal.y as f32);
        let response = if self.is_lines {
            (v[0] * nx * nx + 2.0 * v[1] * nx * ny + v[2] * ny * ny).max(0.0)
        } else {
            let along = |k: usize| v[k] * nx + v[k + 1] * ny;
            (along(0).powi(2) + along(2).powi(2) + along(4).powi(2)).sqrt()
        };
        (response / STEPS).min(MOST)
    }

    /// Distance along the normal of the strongest response under a window of `sigma` working pixels, and that response; `None` where it is
    /// no peak.
    pub(super) fn strongest_along(
        &self,
        (at, normal): (Vector2<f64>, Vector2<f64>),
        sigma: f64,
    ) -> Option<(f64, f64)> {
        let reach = (3.0 * sigma).min(FARTHEST);
        let n = (2.0 * reach / STEP).round() as usize + 1;
        let place = |i: usize| -reach + STEP * i as f64;
        let mut profile = [0.0_f64; 2 * (FARTHEST / STEP) as usize + 1];
        let profile = &mut profile[..n];
        for (i, r) in profile.iter_mut().enumerate() {
            *r = f64::from(self.at(at + normal * place(i), normal));
        }
        let weighed = |i: usize| profile[i] * (-(place(i) / sigma).powi(2) / 2.0).exp();
        let best = (1..profile.len() - 1).max_by(|&a, &b| weighed(a).total_cmp(&weighed(b)))?;
        let (a, b, c) = (profile[best - 1], profile[best], profile[best + 1]);
        let curvature = a - 2.0 * b + c;
        if curvature >= -1e-9 {
            return None;
        }
        let between = (0.5 * (a - c) / curvature).clamp(-1.0, 1.0) * STEP;
        Some((place(best) + between, b))
    }
}

/// To the nearest whole number, halves away from zero, within plus or minus [`MOST`].
fn rounded(v: f32) -> i8 {
    let v = v.clamp(-MOST * STEPS, MOST * STEPS);
    (v + 0.5_f32.copysign(v)) as i8
}

/// Second derivatives xx, xy, yy; the outermost pixels are 0.
fn second_derivatives(plane: &Plane<f32>) -> [Plane<f32>; 3] {
    let (height, width) = plane.dim();
    let mut out = [(); 3].map(|()| Plane::<f32>::zeros((height, width)));
    for y in 1..height.saturating_sub(1) {
        for x in 1..width.saturating_sub(1) {
            let p = |dy: usize, dx: usize| plane[[y + dy - 1, x + dx - 1]];
            // The second differences are smoothed across, as Sobel's operator of second order is.
            let xx = |dy: usize| p(dy, 0) - 2.0 * p(dy, 1) + p(dy, 2);
            let yy = |dx: usize| p(0, dx) - 2.0 * p(1, dx) + p(2, dx);
            out[0][[y, x]] = (xx(0) + 2.0 * xx(1) + xx(2)) / 4.0;
            out[1][[y, x]] = (p(0, 0) - p(0, 2) - p(2, 0) + p(2, 2)) / 4.0;
            out[2][[y, x]] = (yy(0) + 2.0 * yy(1) + yy(2)) / 4.0;
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn picture(value: impl Fn(u32, u32) -> u8) -> RgbImage {
        RgbImage::from_fn(100, 80, |x, y| image::Rgb([value(x, y); 3]))
    }

    #[test]
    fn an_edge_answers_across_its_direction_only() {
        let response = Response::new(
            &picture(|x, _| if x < 50 { 40 } else { 90 }),
            ReferenceKind::Photo,
        );
        let (x, y) = (Vector2::new(1.0, 0.0), Vector2::new(0.0, 1.0));
        let place = Vector2::new(50.0, 40.0);
        assert!(response.at(place, x) > 1.5);
        assert!(response.at(place, y) < 0.1);
        assert!(response.at(Vector2::new(20.0, 40.0), x) < 0.1);
    }

    #[test]
    fn what_is_masked_answers_nowhere() {
        let mut response = Response::new(
            &picture(|x, _| if x < 50 { 40 } else { 90 }),
            ReferenceKind::Photo,
        );
        let x = Vector2::new(1.0, 0.0);
        let usable = Plane::from_shape_fn((80, 100), |(y, _)| if y < 40 { 0 } else { 255 });
        response.keep_where(&usable);
        assert_eq!(response.at(Vector2::new(50.0, 20.0), x), 0.0);
        assert!(response.at(Vector2::new(50.0, 60.0), x) > 1.5);
    }

    #[test]
    fn a_dim_edge_answers_like_a_bright_one() {
        let of = |step: u8| {
            let response = Response::new(
                &picture(|x, _| if x < 50 { 40 } else { 40 + step }),
                ReferenceKind::Photo,
            );
            response.at(Vector2::new(50.0, 40.0), Vector2::new(1.0, 0.0))
        };
        assert!(of(20) > 0.7 * of(150));
    }

    #[test]
    fn a_line_of_a_plan_answers_in_its_middle() {
        let response = Response::new(
            &picture(|x, _| if x == 50 { 20 } else { 240 }),
            ReferenceKind::Plan,
        );
        let x = Vector2::new(1.0, 0.0);
        let at = |place: f64| response.at(Vector2::new(place, 40.0), x);
        assert!(at(50.5) > 1.0 && at(50.5) > at(49.0) && at(50.5) > at(52.0));
    }
}
