//! Makes a roughly set pair of marks sharper by correlating both images around it.
//!
//! It helps clicks that are 1.5 to 3 px off and harms careful ones (below 1 px): both pictures show the same corner
//! with different light, and the correlation follows the light. So it is offered, never done unasked.
//!
//! # Source
//! Normalised cross-correlation: J. P. Lewis, "Fast template matching", Vision Interface (1995), eq. 2; the peak
//! between the samples by a quadratic surface through the nine values around it (common practice, no source).
use crate::{
    frame::{FromReference, Point, ReferencePx, RenderPx},
    kernels::{Plane, blur, sample},
};
use image::RgbImage;
use nalgebra::{Matrix2, Vector2};

/// Samples from the middle of the compared patch to its side.
const PATCH: i32 = 15;
/// Farthest move that is looked at, samples.
const SEARCH: i32 = 7;
/// Least correlation of an offer.
pub const LEAST_CORRELATION: f64 = 0.6;
/// The correlation must fall by so much three samples off the peak in every direction: along a straight edge it does
/// not.
const LEAST_FALL: f64 = 0.02;
/// Standard deviation of grey levels below which a patch shows nothing.
const LEAST_CONTRAST: f64 = 2.0;

/// A sharper place for the reference mark of a pair; the render mark stays.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Refined {
    /// The offered mark.
    pub reference: Point<ReferencePx>,
    /// How far it lies from the present one, reference pixels.
    pub moved_px: f64,
    /// Normalised cross-correlation there, [`LEAST_CORRELATION`] to 1.
    pub correlation: f64,
}

/// Why a pair is not made sharper.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum RefineError {
    /// The patch reaches beyond an image.
    #[error(
        "the mark lies too near the border of the {image}: {needed:.0} px around it are compared"
    )]
    NearBorder {
        /// "render" or "reference".
        image: &'static str,
        /// Pixels of that image.
        needed: f64,
    },
    /// Nothing to correlate.
    #[error("the {image} shows nothing but one grey around the mark; there is nothing to compare")]
    Flat {
        /// "render" or "reference".
        image: &'static str,
    },
    /// The images look too different.
    #[error(
        "the images look too different around the marks: correlation {correlation:.2}, at least 0.60 is needed; keep the marks as they are"
    )]
    Unlike {
        /// The best correlation found.
        correlation: f64,
    },
    /// The best place is at the end of the search, or the images agree all along an edge.
    #[error(
        "the correlation has no clear peak near the mark (it runs along an edge or away); keep the marks as they are, or mark a corner"
    )]
    NoPeak,
    /// The map does not reach there.
    #[error("the registration has no use at this mark; it lies at the horizon of the map")]
    Horizon,
}

impl RefineError {
    /// Stable code for scripts.
    pub fn code(&self) -> &'static str {
        match self {
            Self::NearBorder { .. } => "near-border",
            Self::Flat { .. } => "flat",
            Self::Unlike { .. } => "unlike",
            Self::NoPeak => "no-peak",
            Self::Horizon => "horizon",
        }
    }
}

/// Looks for the place of the reference that is most like the render around `render_mark`, near `reference_mark`.
///
/// Patches of 31 x 31 samples, a sample being a pixel of the coarser image, are compared at moves of up to 7 samples;
/// the map gives the scale and turn between the images.
///
/// # Errors
/// Where no better place can be offered; see [`RefineError`].
pub fn refine(
    render: &RgbImage,
    reference: &RgbImage,
    render_from_reference: &FromReference<RenderPx>,
    render_mark: Point<RenderPx>,
    reference_mark: Point<ReferencePx>,
) -> Result<Refined, RefineError> {
    let search = Search {
        half: PATCH,
        reach: SEARCH,
        pixels_a_sample: 1.0,
    };
    let jacobian = render_from_reference.jacobian(reference_mark);
    let marks = (render_mark, reference_mark);
    let alike = most_alike([render, reference], jacobian, marks, search)?;
    let within = alike.within.ok_or(RefineError::NoPeak)?;
    let shift = alike.moved + within;
    Ok(Refined {
        reference: Point::new(reference_mark.x + shift.x, reference_mark.y + shift.y),
        moved_px: shift.norm(),
        correlation: alike.correlation,
    })
}

/// How far and how finely the likeness of two images is looked at.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Search {
    /// Samples from the middle of the compared patch to its side.
    pub(crate) half: i32,
    /// Farthest move that is looked at, samples.
    pub(crate) reach: i32,
    /// Pixels of the coarser image from sample to sample.
    pub(crate) pixels_a_sample: f64,
}

/// Where the reference is most like the render.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Alike {
    /// From the mark to the most alike sample, reference px.
    pub(crate) moved: Vector2<f64>,
    /// From there to the top between the samples; `None` where there is no clear one.
    pub(crate) within: Option<Vector2<f64>>,
    /// The correlation at the most alike sample, 0.6 to 1.
    pub(crate) correlation: f64,
    /// The best correlation on another hill; -1 where there is none.
    pub(crate) next: f64,
    /// How narrow the hill is: where it falls by half the square of a move in its units, reference px squared.
    pub(crate) narrowness: Option<Matrix2<f64>>,
}

/// Compares the render around its mark with the reference around its own; `render_by_reference` takes a small move in the
/// reference to the render.
pub(crate) fn most_alike(
    [render, reference]: [&RgbImage; 2],
    render_by_reference: Matrix2<f64>,
    (render_mark, reference_mark): (Point<RenderPx>, Point<ReferencePx>),
    search: Search,
) -> Result<Alike, RefineError> {
    let back = (render_by_reference.try_inverse()).ok_or(RefineError::Horizon)?;
    let render_px_per_reference_px = render_by_reference.determinant().abs().sqrt();
    if !(1e-3..1e3).contains(&render_px_per_reference_px) {
        return Err(RefineError::Horizon);
    }
    // A sample is a pixel of the coarser image: the finer one has nothing to be compared with in between.
    let step = render_px_per_reference_px.max(1.0) * search.pixels_a_sample;
    let in_render = Matrix2::identity() * step;
    let in_reference = back * step;
    let template = Patch::around(render, render_mark.xy(), in_render, search.half, "render")?;
    let field = Patch::around(
        reference,
        reference_mark.xy(),
        in_reference,
        search.half + search.reach,
        "reference",
    )?;
    let surface = Surface::of(&template, &field);
    let (column, row) = surface.peak();
    let correlation = surface.at(column, row);
    if correlation < LEAST_CORRELATION {
        return Err(RefineError::Unlike { correlation });
    }
    let hill = surface.hill(column, row);
    Ok(Alike {
        moved: in_reference * Vector2::new(f64::from(column), f64::from(row)),
        within: hill.map(|(within, _)| in_reference * within),
        correlation,
        next: surface.next_hill(column, row),
        narrowness: hill.and_then(|(_, hessian)| {
            let spread = (-hessian).try_inverse()?;
            Some(in_reference * spread * in_reference.transpose())
        }),
    })
}

/// Grey samples around a mark.
struct Patch {
    half: i32,
    grey: Vec<f64>,
}

impl Patch {
    /// Samples at `mark + by_sample * (column, row)`, columns and rows from `-half` to `half`.
    fn around(
        image: &RgbImage,
        mark: [f64; 2],
        by_sample: Matrix2<f64>,
        half: i32,
        name: &'static str,
    ) -> Result<Self, RefineError> {
        let pixels_a_sample = by_sample.determinant().abs().sqrt();
        // Half a sample of blur keeps what is finer than the samples from beating with them.
        let sigma = (0.5 * pixels_a_sample).max(0.7);
        let reach = f64::from(half) * by_sample.abs().row_sum().max().max(pixels_a_sample) * 1.5;
        let margin = (reach + 4.0 * sigma).ceil();
        let near_border = || RefineError::NearBorder {
            image: name,
            needed: f64::from(half) * pixels_a_sample,
        };
        let (left, top) = ((mark[0] - margin).max(0.0), (mark[1] - margin).max(0.0));
        let right = (mark[0] + margin).min(f64::from(image.width()));
        let bottom = (mark[1] + margin).min(f64::from(image.height()));
        if right - left < 2.0 || bottom - top < 2.0 {
            return Err(near_border());
        }
        let (left, top) = (left.floor(), top.floor());
        let size = ((bottom - top) as usize, (right - left) as usize);
        let window = Plane::from_shape_fn(size, |(y, x)| {
            let [r, g, b] = image
                .get_pixel(left as u32 + x as u32, top as u32 + y as u32)
                .0;
            0.299 * f32::from(r) + 0.587 * f32::from(g) + 0.114 * f32::from(b)
        });
        let window = blur::gaussian_f32(&window, sigma);
        let mut grey = Vec::with_capacity((2 * half + 1).pow(2) as usize);
        for row in -half..=half {
            for column in -half..=half {
                let at = by_sample * Vector2::new(f64::from(column), f64::from(row));
                let (x, y) = (mark[0] + at.x - left, mark[1] + at.y - top);
                let value = sample::bilinear(&window, x, y).ok_or_else(near_border)?;
                grey.push(f64::from(value));
            }
        }
        let patch = Self { half, grey };
        if patch.deviation() < LEAST_CONTRAST {
            return Err(RefineError::Flat { image: name });
        }
        Ok(patch)
    }

    fn deviation(&self) -> f64 {
        let n = self.grey.len() as f64;
        let mean = self.grey.iter().sum::<f64>() / n;
        let square: f64 = self.grey.iter().map(|v| (v - mean).powi(2)).sum();
        (square / n).sqrt()
    }

    fn at(&self, column: i32, row: i32) -> f64 {
        let side = 2 * self.half + 1;
        self.grey[((row + self.half) * side + column + self.half) as usize]
    }
}

/// The correlation at every move.
struct Surface {
    reach: i32,
    values: Vec<f64>,
}

impl Surface {
    fn of(template: &Patch, field: &Patch) -> Self {
        let reach = field.half - template.half;
        let mut values = Vec::with_capacity((2 * reach + 1).pow(2) as usize);
        for row in -reach..=reach {
            for column in -reach..=reach {
                values.push(correlation(template, field, column, row));
            }
        }
        Self { reach, values }
    }

    fn at(&self, column: i32, row: i32) -> f64 {
        let side = 2 * self.reach + 1;
        self.values[((row + self.reach) * side + column + self.reach) as usize]
    }

    fn moves(&self) -> impl Iterator<Item = (i32, i32)> {
        let reach = self.reach;
        (-reach..=reach).flat_map(move |row| (-reach..=reach).map(move |c| (c, row)))
    }

    fn peak(&self) -> (i32, i32) {
        self.moves()
            .reduce(|best, next| {
                if self.at(next.0, next.1) > self.at(best.0, best.1) {
                    next
                } else {
                    best
                }
            })
            .expect("there are moves")
    }

    /// Where between the samples the peak lies, and how the surface bends there; `None` where it is none.
    fn hill(&self, column: i32, row: i32) -> Option<(Vector2<f64>, Matrix2<f64>)> {
        if column.abs() == self.reach || row.abs() == self.reach {
            return None;
        }
        let top = self.at(column, row);
        let ring = (-3..=3).flat_map(|k| [(k, -3), (k, 3), (-3, k), (3, k)]);
        let is_ridge = ring
            .map(|(c, r)| (column + c, row + r))
            .filter(|(c, r)| c.abs() <= self.reach && r.abs() <= self.reach)
            .any(|(c, r)| self.at(c, r) > top - LEAST_FALL);
        if is_ridge {
            return None;
        }
        let v = |c: i32, r: i32| self.at(column + c, row + r);
        let gradient = Vector2::new((v(1, 0) - v(-1, 0)) / 2.0, (v(0, 1) - v(0, -1)) / 2.0);
        let mixed = (v(1, 1) - v(-1, 1) - v(1, -1) + v(-1, -1)) / 4.0;
        let hessian = Matrix2::new(
            v(1, 0) - 2.0 * top + v(-1, 0),
            mixed,
            mixed,
            v(0, 1) - 2.0 * top + v(0, -1),
        );
        let within = -hessian.try_inverse()? * gradient;
        // Beyond one sample the surface is no hill with its top here.
        (within.amax() <= 1.0).then_some((within, hessian))
    }

    /// The best correlation that is a hill of its own beside the peak; -1 where there is none.
    fn next_hill(&self, column: i32, row: i32) -> f64 {
        let is_top = |(c, r): &(i32, i32)| {
            let here = self.at(*c, *r);
            let around = (-1..=1).flat_map(|v| (-1..=1).map(move |u| (c + u, r + v)));
            around
                .filter(|(u, v)| u.abs() <= self.reach && v.abs() <= self.reach)
                .all(|(u, v)| self.at(u, v) <= here)
        };
        let beside = |(c, r): &(i32, i32)| (c - column).abs().max((r - row).abs()) > 2;
        let hills = self.moves().filter(beside).filter(is_top);
        hills.map(|(c, r)| self.at(c, r)).fold(-1.0, f64::max)
    }
}

/// The normalised cross-correlation of the template with the field at a move; 0 where the field is flat.
fn correlation(template: &Patch, field: &Patch, column: i32, row: i32) -> f64 {
    let mut sums = [0.0; 5];
    for r in -template.half..=template.half {
        for c in -template.half..=template.half {
            let (a, b) = (template.at(c, r), field.at(c + column, r + row));
            for (sum, term) in sums.iter_mut().zip([a, b, a * a, b * b, a * b]) {
                *sum += term;
            }
        }
    }
    let n = template.grey.len() as f64;
    let [a, b, aa, bb, ab] = sums;
    let (in_a, in_b) = (aa - a * a / n, bb - b * b / n);
    if in_a <= 0.0 || in_b <= 0.0 {
        return 0.0;
    }
    (ab - a * b / n) / (in_a * in_b).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;
    use image::Rgb;

    /// A smooth blob pattern whose reference shows the render's point (x, y) at (x, y) + `shift`.
    fn picture(shift: [f64; 2], invert: bool) -> RgbImage {
        RgbImage::from_fn(120, 120, |px, py| {
            let (x, y) = (
                f64::from(px) + 0.5 - shift[0],
                f64::from(py) + 0.5 - shift[1],
            );
            let wave = (x * 0.23).sin() + (y * 0.19 + 0.5 * (x * 0.11).cos()).sin();
            let value = 128.0 + 50.0 * if invert { (y * 0.37).cos() } else { wave };
            Rgb([value as u8; 3])
        })
    }

    fn identity() -> FromReference<RenderPx> {
        FromReference::identity()
    }

    fn refined(reference: &RgbImage, mark: [f64; 2]) -> Result<Refined, RefineError> {
        let render = picture([0.0, 0.0], false);
        refine(
            &render,
            reference,
            &identity(),
            Point::new(60.0, 60.0),
            Point::new(mark[0], mark[1]),
        )
    }

    #[test]
    fn a_rough_click_finds_the_true_place() {
        let found = refined(&picture([1.3, -0.7], false), [63.0, 57.5]).expect("alike");
        // A quadratic surface misses a smooth peak by a few hundredths of a sample (common practice, no source).
        assert!((found.reference.x - 61.3).abs() < 0.1, "{found:?}");
        assert!((found.reference.y - 59.3).abs() < 0.1, "{found:?}");
        assert!(found.correlation > 0.99);
        assert!((found.moved_px - 1.7f64.hypot(1.8)).abs() < 0.15);
    }

    #[test]
    fn what_looks_different_is_refused() {
        let error = refined(&picture([0.0, 0.0], true), [60.0, 60.0]).expect_err("unlike");
        assert!(matches!(error, RefineError::Unlike { .. }), "{error:?}");
        assert!(error.to_string().contains("at least 0.60"));
    }

    #[test]
    fn a_straight_edge_has_no_peak() {
        let edge = RgbImage::from_fn(120, 120, |x, _| Rgb([if x < 60 { 40 } else { 200 }; 3]));
        let result = refine(
            &edge,
            &edge,
            &identity(),
            Point::new(60.0, 60.0),
            Point::new(61.0, 60.0),
        );
        assert_eq!(result, Err(RefineError::NoPeak));
    }

    #[test]
    fn borders_and_plain_grey_are_refused() {
        let grey = RgbImage::from_pixel(120, 120, Rgb([90; 3]));
        assert!(matches!(
            refined(&grey, [60.0, 60.0]),
            Err(RefineError::Flat { image: "reference" })
        ));
        assert!(matches!(
            refined(&picture([0.0, 0.0], false), [5.0, 60.0]),
            Err(RefineError::NearBorder { .. })
        ));
        assert!(matches!(
            refined(&picture([0.0, 0.0], false), [500.0, -60.0]),
            Err(RefineError::NearBorder { .. })
        ));
    }
}
