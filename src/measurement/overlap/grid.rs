//! The rasters that edges are compared on: both images on one working grid, with their edges.
use super::settings::OVERLAP;
use crate::{
    edges::{self, Window},
    frame::{FromReference, IntoReference, Point, Projective, RenderPx, WorkPx},
    images::{Picture, ViewImages},
    job::{Region, View},
    kernels::{
        Plane, blur,
        canny::{self, Edges},
        distance, gray, reach, resize, warp,
    },
    measurement::{Silhouettes, WorkImages, patches},
    meshes::{MeshEdges, VisibleLine},
    registration::Registration,
    stop::{self, Stopped},
};
use image::RgbImage;

/// Longest side of the working grid: photographs hold no detail beyond it, and a landmark is not marked finer.
const LONGEST_SIDE: u32 = 2400;

/// The working grid with all that is measured on it.
#[derive(Clone, Debug)]
pub(crate) struct Work {
    pub(crate) images: WorkImages,
    /// The registered reference at the render's own size, where that is larger than the working grid.
    pub(crate) native_reference: Option<RgbImage>,
    /// Render pixels per working pixel.
    pub(crate) render_px_per_work_px: f64,
    /// Edge pixels by direction (see [`canny::Edges::direction_bits`]).
    pub(crate) render_bits: Plane<u8>,
    pub(crate) reference_bits: Plane<u8>,
    /// Edge tolerance, working pixels.
    pub(crate) tolerance: f64,
}

/// What of the reference edges are taken from.
#[derive(Clone, Debug, Default)]
pub(crate) struct EdgeSource {
    /// Its picture without a screen's patterns; `None`: the reference itself.
    pub(crate) picture: Option<RgbImage>,
    /// 0 where nothing is an edge of the subject, 255 elsewhere, reference pixels; `None`: everything may be one.
    pub(crate) usable: Option<Plane<u8>>,
}

/// The render on the working grid, before it is known where exactly the reference lies.
pub(crate) struct Prepared {
    grid: Grid,
    native: (u32, u32),
    /// The render over plain grey, on the working grid.
    pub(crate) render: RgbImage,
    /// The further picture of its view, likewise.
    shape: Option<RgbImage>,
    render_mask: Option<Plane<u8>>,
    reference: Picture,
    reference_mask: Option<Plane<u8>>,
    edge_source: EdgeSource,
}

impl Prepared {
    /// Takes the images, so that they can be dropped as soon as they are not needed.
    pub(crate) fn new(images: ViewImages, edge_source: EdgeSource) -> Self {
        let ViewImages {
            render,
            reference,
            shape,
            render_mask,
            reference_mask,
            shots: _,
        } = images;
        let native = render.rgb.dimensions();
        let grid = Grid::for_render(native);
        let plain = on_plain_ground(render.rgb, render.alpha.as_ref());
        let (render, _) = grid.reduce(plain);
        let shape = shape.map(|shape| {
            let plain = on_plain_ground(shape.rgb, shape.alpha.as_ref());
            grid.reduce(plain).0
        });
        Self {
            grid,
            native,
            render,
            shape,
            render_mask,
            reference,
            reference_mask,
            edge_source,
        }
    }

    /// The part of the working grid that holds these outlines, `margin` working pixels wider: both images there, the
    /// reference as `render_from_reference` has it. `None` where the outlines lie outside of the render.
    pub(crate) fn window(
        &self,
        regions: &[Region],
        margin: f64,
        render_from_reference: &FromReference<RenderPx>,
    ) -> Option<Window> {
        let [left, top, width, height] = self.grid.around(regions, margin)?;
        let shift = Projective::similarity(1.0, 0.0, [f64::from(left), f64::from(top)]);
        let render_from_window = self.grid.render_from_work.after(&shift);
        let reference_from_window = render_from_reference.inverse().after(&render_from_window);
        let source = self.edge_source.picture.as_ref();
        let source = source.unwrap_or(&self.reference.rgb);
        let usable = self.edge_source.usable.as_ref();
        let cut = |picture: &RgbImage| {
            image::imageops::crop_imm(picture, left, top, width, height).to_image()
        };
        Some(Window {
            render: cut(&self.render),
            shape: self.shape.as_ref().map(cut),
            reference: warp::warp_rgb(source, (width, height), &reference_from_window),
            usable: usable.map(|usable| {
                let size = (width as usize, height as usize);
                warp::warp_mask(usable, size, &reference_from_window)
            }),
            render_from_window,
        })
    }

    /// Lays the reference over the render and finds the edges of both; those of the render are the mesh's where they are known.
    ///
    /// # Errors
    /// [`Stopped`].
    pub(crate) fn finish(
        self,
        view: &View,
        registration: &Registration,
        mesh: Option<&MeshEdges>,
    ) -> Result<Work, Stopped> {
        let patches = patches::of_marks(
            (view, registration),
            (&self.render, &self.grid.render_from_work),
            &self.reference.rgb,
        );
        let reference_from_render = registration.render_from_reference.inverse();
        let reference_size = self.reference.rgb.dimensions();
        let registered = warp::warp_rgb(&self.reference.rgb, self.native, &reference_from_render);
        drop(self.reference);
        let grid = self.grid;
        let source = self.edge_source.picture.map(|picture| {
            let registered = warp::warp_rgb(&picture, self.native, &reference_from_render);
            grid.reduce(registered).0
        });
        let reference_from_work = reference_from_render.after(&grid.render_from_work);
        let tolerance = edge_tolerance_px(self.native) / grid.factor;
        let masks = [&self.render_mask, &self.reference_mask].map(Option::as_ref);
        let [render_mask, reference_mask] = masks;
        let mut common = common_area(
            &grid,
            &reference_from_work,
            reference_size,
            render_mask,
            reference_mask,
            tolerance,
        );
        if let Some(usable) = &self.edge_source.usable {
            let size = (grid.width as usize, grid.height as usize);
            let usable = warp::warp_mask(usable, size, &reference_from_work);
            keep_inside(&mut common, &usable);
        }
        let shown_by = (&grid, &reference_from_work);
        let silhouettes = silhouettes(shown_by, reference_size, render_mask, reference_mask);
        stop::check()?;
        let (reference_work, native_reference) = grid.reduce(registered);
        let sigma = edge_sigma(registration, grid.factor);
        let (mut render_bits, mut reference_bits) = rayon::join(
            || match mesh {
                Some(mesh) => grid.bits_of(&mesh.lines),
                None => edges(&self.render, sigma).direction_bits,
            },
            || edges(source.as_ref().unwrap_or(&reference_work), sigma).direction_bits,
        );
        keep_inside(&mut render_bits, &common);
        keep_inside(&mut reference_bits, &common);
        let (distance_to_render_edges, distance_to_reference_edges) = rayon::join(
            || distance::distance(&render_bits),
            || distance::distance(&reference_bits),
        );
        Ok(Work {
            images: WorkImages {
                render_from_work: grid.render_from_work,
                render: self.render,
                reference: reference_work,
                common,
                silhouettes,
                likeness: None,
                render_edges: as_mask(&render_bits),
                reference_edges: as_mask(&reference_bits),
                distance_to_render_edges,
                distance_to_reference_edges,
                patches,
            },
            native_reference,
            render_px_per_work_px: grid.factor,
            render_bits,
            reference_bits,
            tolerance,
        })
    }
}

/// How many pixels a view is worked on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct WorkingPixels {
    /// Of the working grid.
    pub grid: u64,
    /// Of its part around the regions, where edges are fitted.
    pub window: u64,
    /// Whether the grid is coarser than the render.
    pub is_reduced: bool,
}

/// How many pixels a view with a render of this width and height will be worked on.
pub fn working_pixels(view: &View, render: (u32, u32)) -> WorkingPixels {
    let grid = Grid::for_render(render);
    let window = grid.around(&view.regions, edges::MARGIN);
    WorkingPixels {
        grid: u64::from(grid.width) * u64::from(grid.height),
        window: window.map_or(0, |[_, _, width, height]| {
            u64::from(width) * u64::from(height)
        }),
        is_reduced: (grid.width, grid.height) != render,
    }
}

/// Render pixels per working pixel of a render of this width and height.
pub(crate) fn render_px_per_work_px(render: (u32, u32)) -> f64 {
    Grid::for_render(render).factor
}

/// How far an edge may lie from its partner, render pixels: one six-hundredth of the diagonal, at least two pixels.
pub(crate) fn edge_tolerance_px((width, height): (u32, u32)) -> f64 {
    (f64::from(width).hypot(f64::from(height)) / 600.0).max(2.0)
}

struct Grid {
    width: u32,
    height: u32,
    /// Render pixels per working pixel.
    factor: f64,
    render_from_work: Projective<RenderPx, WorkPx>,
}

impl Grid {
    fn for_render((width, height): (u32, u32)) -> Self {
        let longest = width.max(height);
        if longest <= LONGEST_SIDE {
            return Self {
                width,
                height,
                factor: 1.0,
                render_from_work: Projective::identity(),
            };
        }
        let factor = f64::from(longest) / f64::from(LONGEST_SIDE);
        let of = |n: u32| ((f64::from(n) / factor).round() as u32).max(1);
        let (w, h) = (of(width), of(height));
        // The shorter side is rounded to whole pixels, so both directions have a factor of their own.
        let (fx, fy) = (
            f64::from(width) / f64::from(w),
            f64::from(height) / f64::from(h),
        );
        let matrix = nalgebra::Matrix3::new(fx, 0.0, 0.0, 0.0, fy, 0.0, 0.0, 0.0, 1.0);
        Self {
            width: w,
            height: h,
            factor,
            render_from_work: Projective::from_matrix(matrix).expect("factors are above 0"),
        }
    }

    /// Left, top, width and height of the part that holds these outlines, `margin` working pixels wider; `None` where it is
    /// empty.
    fn around(&self, regions: &[Region], margin: f64) -> Option<[u32; 4]> {
        let work_from_render = self.render_from_work.inverse();
        let corners = || {
            regions
                .iter()
                .flat_map(|r| &r.outline)
                .map(|p| work_from_render.apply(*p))
        };
        let range = |of: fn(Point<WorkPx>) -> f64, side: u32| {
            let low = corners().map(of).fold(f64::INFINITY, f64::min) - margin;
            let high = corners().map(of).fold(f64::NEG_INFINITY, f64::max) + margin;
            let (low, high) = (low.floor().max(0.0), high.ceil().min(f64::from(side)));
            (high > low).then_some((low as u32, (high - low) as u32))
        };
        let (left, width) = range(|p| p.x, self.width)?;
        let (top, height) = range(|p| p.y, self.height)?;
        Some([left, top, width, height])
    }

    /// Lines as edge pixels, with the bit of their direction (see [`canny::Edges::direction_bits`]).
    fn bits_of(&self, lines: &[VisibleLine]) -> Plane<u8> {
        /// Pixels from one place on a line to the next.
        const STEP: f64 = 0.5;
        let work_from_render = self.render_from_work.inverse();
        let (width, height) = (self.width as usize, self.height as usize);
        let mut bits = Plane::<u8>::zeros((height, width));
        let ends = lines.iter().flat_map(|line| line.points.windows(2));
        for ends in ends {
            let [a, b] = [ends[0], ends[1]].map(|p| work_from_render.apply(p));
            let way = [b.x - a.x, b.y - a.y];
            let count = (way[0].hypot(way[1]) / STEP).ceil().max(1.0);
            // The gradient lies across the line.
            let turns = way[0].atan2(-way[1]).to_degrees() / 22.5;
            let bit = 1 << (turns.round() as i64).rem_euclid(8);
            for k in 0..=count as usize {
                let share = k as f64 / count;
                let (x, y) = (a.x + share * way[0], a.y + share * way[1]);
                if x >= 0.0 && y >= 0.0 && x < width as f64 && y < height as f64 {
                    // One bit a pixel, as edges of a picture have.
                    bits[[y as usize, x as usize]] = bit;
                }
            }
        }
        bits
    }

    /// The image on the grid, and the image itself where it is larger.
    fn reduce(&self, image: RgbImage) -> (RgbImage, Option<RgbImage>) {
        if image.dimensions() == (self.width, self.height) {
            return (image, None);
        }
        (
            resize::reduce_rgb(&image, self.width, self.height),
            Some(image),
        )
    }
}

/// Where both images have something to say, 255, else 0. A silhouette is widened, so that its own edge and a part that
/// lies a little beside it still count.
fn common_area(
    grid: &Grid,
    reference_from_work: &IntoReference<WorkPx>,
    reference_size: (u32, u32),
    render_mask: Option<&Plane<u8>>,
    reference_mask: Option<&Plane<u8>>,
    tolerance: f64,
) -> Plane<u8> {
    let size = (grid.width as usize, grid.height as usize);
    let reference_size = (reference_size.0 as usize, reference_size.1 as usize);
    let mut common = warp::coverage(reference_size, size, reference_from_work);
    let margin = 4.0 * tolerance;
    if let Some(mask) = render_mask {
        let mask = warp::warp_mask(mask, size, &grid.render_from_work.rows());
        keep_inside(&mut common, &reach::reach(&mask, margin));
    }
    if let Some(mask) = reference_mask {
        let mask = warp::warp_mask(mask, size, reference_from_work);
        keep_inside(&mut common, &reach::reach(&mask, margin));
    }
    common
}

/// Both silhouettes on the working grid, where both images have one.
fn silhouettes(
    (grid, reference_from_work): (&Grid, &IntoReference<WorkPx>),
    reference_size: (u32, u32),
    render_mask: Option<&Plane<u8>>,
    reference_mask: Option<&Plane<u8>>,
) -> Option<Silhouettes> {
    let size = (grid.width as usize, grid.height as usize);
    let reference_size = (reference_size.0 as usize, reference_size.1 as usize);
    Some(Silhouettes {
        render: warp::warp_mask(render_mask?, size, &grid.render_from_work.rows()),
        reference: warp::warp_mask(reference_mask?, size, reference_from_work),
        covered: warp::coverage(reference_size, size, reference_from_work),
    })
}

fn keep_inside(plane: &mut Plane<u8>, inside: &Plane<u8>) {
    ndarray::Zip::from(plane)
        .and(inside)
        .for_each(|p, &i| *p &= if i == 0 { 0 } else { 255 });
}

fn as_mask(bits: &Plane<u8>) -> Plane<u8> {
    bits.mapv(|b| if b == 0 { 0 } else { 255 })
}

/// The render over plain grey, dark under a light model and light under a dark one, so that its silhouette is an edge.
fn on_plain_ground(mut rgb: RgbImage, alpha: Option<&Plane<u8>>) -> RgbImage {
    let Some(alpha) = alpha else { return rgb };
    let (mut sum, mut weight) = (0_u64, 1_u64);
    for (pixel, &a) in rgb.pixels().zip(alpha) {
        sum += u64::from(a) * (u64::from(pixel[0]) + u64::from(pixel[1]) + u64::from(pixel[2]));
        weight += 3 * u64::from(a);
    }
    let ground: u16 = if sum / weight > 127 { 40 } else { 215 };
    for (pixel, &a) in rgb.pixels_mut().zip(alpha) {
        let a = u16::from(a);
        for c in &mut pixel.0 {
            *c = ((u16::from(*c) * a + ground * (255 - a) + 127) / 255) as u8;
        }
    }
    rgb
}

/// Blur before edges are sought, working pixels: the same for both images, as much as the coarser of them asks for.
fn edge_sigma(registration: &Registration, factor: f64) -> f64 {
    let enlargement = registration.scale.value() / factor;
    (OVERLAP.blur_per_enlargement.get() * enlargement)
        .clamp(OVERLAP.least_blur.get(), OVERLAP.most_blur.get())
}

#[cfg(feature = "service")]
/// Where a render by itself has edges, 255, and 0 elsewhere, on the working grid of its size.
pub(crate) fn render_edges(render: &RgbImage) -> Plane<u8> {
    let grid = Grid::for_render(render.dimensions());
    let reduced = grid.reduce(render.clone()).0;
    as_mask(&edges(&reduced, OVERLAP.least_blur.get()).direction_bits)
}

fn edges(image: &RgbImage, sigma: f64) -> Edges {
    let blurred = blur::gaussian(&gray::luma(image), sigma);
    let (low, high) = thresholds(&canny::gradients_histogram(&blurred));
    canny::canny(&blurred, low, high)
}

/// Thresholds on the Sobel magnitude: well above the noise, which the median tells, and a part of the strongest edges,
/// so that a dim photograph has edges too.
fn thresholds(histogram: &[u64; 2048]) -> (f64, f64) {
    const LIMITS: (f64, f64) = (20.0, 250.0);
    // The magnitude of pure noise is Rayleigh distributed: its median is 1.177 standard deviations.
    let noise = quantile(histogram, 0.5) / 1.177;
    let strongest = quantile(histogram, 0.99);
    let high = (OVERLAP.above_noise.get() * noise)
        .max(OVERLAP.part_of_strongest.get() * strongest)
        .clamp(LIMITS.0, LIMITS.1);
    (0.4 * high, high)
}

fn quantile(histogram: &[u64; 2048], part: f64) -> f64 {
    let total: u64 = histogram.iter().sum();
    let wanted = (part * total as f64) as u64;
    let mut seen = 0;
    histogram
        .iter()
        .position(|n| {
            seen += n;
            seen > wanted
        })
        .unwrap_or(0) as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_large_render_is_reduced_to_the_longest_side() {
        let grid = Grid::for_render((6000, 4001));
        assert_eq!((grid.width, grid.height), (2400, 1600));
        let corner = grid.render_from_work.apply(Point::new(2400.0, 1600.0));
        assert!(corner.distance(Point::new(6000.0, 4001.0)) < 1e-9);
    }

    #[test]
    fn a_small_render_is_its_own_grid() {
        let grid = Grid::for_render((800, 600));
        assert_eq!((grid.width, grid.height, grid.factor), (800, 600, 1.0));
    }

    #[test]
    fn a_light_model_gets_a_dark_ground() {
        let light = RgbImage::from_pixel(2, 1, image::Rgb([250, 250, 250]));
        let alpha = ndarray::arr2(&[[255_u8, 0]]);
        let plain = on_plain_ground(light, Some(&alpha));
        assert_eq!(
            (plain.get_pixel(0, 0)[0], plain.get_pixel(1, 0)[0]),
            (250, 40)
        );
    }

    #[test]
    fn thresholds_rise_with_the_noise() {
        let mut quiet = [0_u64; 2048];
        quiet[1] = 990;
        quiet[200] = 10;
        let mut noisy = quiet;
        noisy.swap(1, 30);
        assert!(thresholds(&noisy).1 > thresholds(&quiet).1);
    }
}
