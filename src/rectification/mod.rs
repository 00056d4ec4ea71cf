//! Rectification: from what is known of a plane, and of lines, in the reference to the map that shows the plane from its
//! front, as a function of numbers that are observed with noise.
//!
//! A [`Rectification`] is made before the registration and handed to it. Its numbers become unknowns of the adjustment,
//! observed beforehand, so that what the rectification is unsure of goes on into every figure: the marked corners, the
//! aspect that only the view tells, the lens.
#![doc = include_str!("METHOD.md")]
mod bends;
mod bezel;
mod doubts;
mod error;
mod figure;
mod fit;
mod picture;
mod rectangle;
pub(crate) mod settings;
pub(crate) mod size;
mod vanishing;

pub use bezel::{BezelFinding, BezelLook, EdgeAcross, KeptReason, look_for_bezel};
pub use doubts::doubts;
pub use error::{Error, FarMark};
#[cfg(feature = "draw")]
pub(crate) use picture::{border, shown};
pub use picture::{rectified_picture, rectified_size};
pub use rectangle::RectifiedRectangle;

use crate::{
    frame::{FromReference, Lens, Point, Projective, RectifiedPx, ReferencePx, UndistortedPx},
    job::{KnownPlane, PlaneLines, PlanePoint, Rectangle, Rectify, View},
    statistics::Measured,
};
use fit::Fit;
use nalgebra::{DMatrix, DVector};
use rectangle::{Seen, area_side, seen};
use settings::RECTIFICATION;
use vanishing::{LinesFit, Rays};

/// Standard deviation of a mark in a reference per coordinate where nothing states it, reference px.
pub fn mark_sigma_px() -> f64 {
    RECTIFICATION.reference_mark_deviation.get()
}

/// Step of difference quotients, px of a corner: far above rounding, far below any curvature.
const CORNER_STEP: f64 = 0.05;
/// The same in standard deviations of a number that is not a corner.
const STEP_PER_DEVIATION: f64 = 0.05;

/// A number that the rectification depends on, as observed.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Observed {
    pub(crate) value: f64,
    /// Standard deviation, before the variance factor of the marks where `is_of_marks`.
    pub(crate) deviation: f64,
    /// Step of its difference quotient.
    pub(crate) step: f64,
    /// Whether its noise is that of marks in the reference.
    pub(crate) is_of_marks: bool,
}

/// How to rectify a reference, and how unsure that is.
#[derive(Clone, Debug)]
pub struct Rectification {
    observed: Vec<Observed>,
    /// Where the fit left correlated parameters: they are `at + root * numbers`.
    spread: Option<Spread>,
    form: Form,
    has_lens: bool,
    picture: (u32, u32),
    figures: RectificationFigures,
}

#[derive(Clone, Debug)]
struct Spread {
    at: DVector<f64>,
    root: DMatrix<f64>,
}

/// What the parameters are; the lens' coefficient and the place of the camera's axis follow them where they are needed.
#[derive(Clone, Copy, Debug)]
enum Form {
    /// Four marked corners of a rectangle; `aspect` is `None` where the view has to tell it.
    Rectangle { side: f64, aspect: Option<f64> },
    /// The corners of the box around a figure, the lens taken off.
    Figure {
        rectangle: RectifiedRectangle,
        /// Full-size millimetres that the box is wide.
        width_mm: f64,
    },
    /// Vanishing points.
    Lines {
        rays: Rays,
        vanishing: [vanishing::Vanishing; 2],
    },
    /// No plane is known.
    Lens,
}

impl Form {
    fn parameters(&self) -> usize {
        match self {
            Self::Rectangle { .. } | Self::Figure { .. } => 8,
            Self::Lines { .. } => 4,
            Self::Lens => 0,
        }
    }

    fn needs_axis(&self) -> bool {
        matches!(
            self,
            Self::Rectangle { aspect: None, .. } | Self::Lines { .. }
        )
    }
}

/// What the rectification found by itself, before any landmark is looked at.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct RectificationFigures {
    /// Width over height of the rectangle, where the view had to tell it.
    pub aspect: Option<Measured>,
    /// Coefficient of the lens (see [`Lens::coefficient`]), where straight lines tell it.
    pub lens: Option<Measured>,
    /// Root mean square of what the figure's points, lines and straight lines leave, px; `None` where nothing is redundant.
    pub rms_px: Option<f64>,
    /// Size of the rectified rectangle, rectified pixels; `None` where there is none.
    pub rectangle: Option<RectifiedRectangle>,
    /// What became of the marked corners, where they were to be refined by the edges of the bezel.
    pub bezel: Option<BezelFinding>,
}

/// How the reference of a view, `reference_size` (width, height) pixels large, is rectified; `None` where it is not.
/// `bezel` is what was found across the sides of its rectangle, where the job asks for that.
///
/// # Errors
/// Where what the job states does not tell what is asked of it.
pub fn of_view(
    view: &View,
    reference_size: (u32, u32),
    bezel: Option<&BezelLook>,
) -> Result<Option<Rectification>, Error> {
    let stated = view.reference.mark_sigma_px;
    match &view.reference.rectify {
        None => Ok(None),
        Some(rectify) => Rectification::new(rectify, reference_size, stated, bezel).map(Some),
    }
}

impl Rectification {
    /// Prepares the rectification of a picture of `picture` (width, height) pixels whose marks have the standard deviation
    /// `mark_sigma_px` a coordinate; where that is not stated, it is estimated from what points and lines leave, with what is
    /// believed of clicks ([`mark_sigma_px`](mark_sigma_px())) as observations more. `look` is what was found across the sides of the rectangle, where its corners are to be
    /// refined.
    ///
    /// # Errors
    /// Where the view, the points or the lines do not tell what is asked of them.
    pub fn new(
        rectify: &Rectify,
        picture: (u32, u32),
        mark_sigma_px: Option<f64>,
        look: Option<&BezelLook>,
    ) -> Result<Self, Error> {
        let sigma = MarkSigma::new(mark_sigma_px);
        let lines = &rectify.straight_lines;
        let mut found = match &rectify.plane {
            KnownPlane::Rectangle(rectangle) => Self::by_corners(rectangle, lines, picture, sigma)
                .map(|made| match look {
                    Some(look) => made.refined(look, &rectangle.corners),
                    None => made,
                }),
            KnownPlane::Figure(points) => Self::by_figure(points, lines, picture, sigma),
            KnownPlane::Lines(plane) => Self::by_lines(plane, lines, picture, sigma),
            KnownPlane::Unknown => Self::by_straight_lines(lines, picture, sigma),
        }?;
        found.figures.aspect = found.aspect()?;
        if let Form::Rectangle { side, aspect } = found.form {
            // Known only now where the view tells the aspect: the corners may have been refined.
            let aspect = aspect.or(found.figures.aspect.map(|a| a.value()));
            found.figures.rectangle = aspect.map(|a| RectifiedRectangle::of_area(side, a));
        }
        if let Some(rectangle) = found.figures.rectangle {
            size::check([rectangle.width, rectangle.height], picture, Some(rectify))?;
        }
        found.figures.lens = found.lens_figure()?;
        if found.map(&found.values()).is_none() {
            return Err(Error::NotAPlane);
        }
        Ok(found)
    }

    fn by_corners(
        rectangle: &Rectangle,
        lines: &[Vec<Point<ReferencePx>>],
        picture: (u32, u32),
        sigma: MarkSigma,
    ) -> Result<Self, Error> {
        let side = area_side(&rectangle.corners);
        let mut made = Self::by_straight_lines(lines, picture, sigma)?;
        let corners = rectangle.corners.iter().flat_map(|c| c.xy());
        let corners = corners.map(|value| Observed {
            value,
            deviation: sigma.px,
            step: CORNER_STEP,
            is_of_marks: true,
        });
        made.observed = corners.chain(made.observed).collect();
        made.form = Form::Rectangle {
            side,
            aspect: rectangle.aspect,
        };
        made.add_axis();
        Ok(made)
    }

    /// The same with its corners moved onto the bezel, where that is found on all sides.
    fn refined(mut self, look: &BezelLook, marked: &[Point<ReferencePx>; 4]) -> Self {
        let lens = self.lens(&self.parameters(&self.values()));
        let sharp = match bezel::refine(look, marked, &lens.unwrap_or(Lens::none())) {
            Ok(sharp) => sharp,
            Err((side, reason)) => {
                self.figures.bezel = Some(BezelFinding::Kept { side, reason });
                return self;
            }
        };
        self.figures.bezel = Some(BezelFinding::Refined {
            moves: [0, 1, 2, 3].map(|k| sharp.corners[k].distance(marked[k])),
            within: sharp.half_widths(),
        });
        for observed in &mut self.observed[..8] {
            *observed = Observed {
                is_of_marks: false,
                ..Observed::number(0.0, 1.0)
            };
        }
        let corners = sharp.corners.iter().flat_map(|c| c.xy());
        self.spread = Some(Spread {
            at: DVector::from_iterator(8, corners),
            root: sharp.root,
        });
        self
    }

    /// The lens alone, or nothing at all.
    fn by_straight_lines(
        lines: &[Vec<Point<ReferencePx>>],
        picture: (u32, u32),
        sigma: MarkSigma,
    ) -> Result<Self, Error> {
        let mut made = Self {
            observed: Vec::new(),
            spread: None,
            form: Form::Lens,
            has_lens: !lines.is_empty(),
            picture,
            figures: RectificationFigures::default(),
        };
        if made.has_lens {
            let lens = bends::lens_of(lines, picture)?;
            let freedom = bends::freedom(lines).saturating_sub(1);
            made.figures.rms_px = rms(lens.square, freedom);
            let deviation = lens.deviation * sigma.after(lens.square, freedom);
            made.observed.push(Observed {
                is_of_marks: sigma.is_common(freedom),
                ..Observed::number(lens.coefficient, deviation)
            });
        }
        Ok(made)
    }

    fn by_figure(
        points: &[PlanePoint],
        lines: &[Vec<Point<ReferencePx>>],
        picture: (u32, u32),
        sigma: MarkSigma,
    ) -> Result<Self, Error> {
        let found = figure::fit(points, lines, picture)?;
        let form = Form::Figure {
            rectangle: found.rectangle,
            width_mm: found.width_mm,
        };
        let mut made = Self::of_fit(
            form,
            &found.fit,
            found.freedom,
            !lines.is_empty(),
            picture,
            sigma,
        )?;
        made.figures.rectangle = Some(found.rectangle);
        Ok(made)
    }

    fn by_lines(
        plane: &PlaneLines,
        lines: &[Vec<Point<ReferencePx>>],
        picture: (u32, u32),
        sigma: MarkSigma,
    ) -> Result<Self, Error> {
        let LinesFit {
            rays,
            vanishing,
            fit,
            freedom,
        } = vanishing::fit(plane, lines, picture)?;
        let form = Form::Lines { rays, vanishing };
        Self::of_fit(form, &fit, freedom, !lines.is_empty(), picture, sigma)
    }

    /// From a fit with correlated unknowns: they are expressed by independent numbers with a deviation of 1 each.
    fn of_fit(
        form: Form,
        fit: &Fit,
        freedom: usize,
        has_lens: bool,
        picture: (u32, u32),
        sigma: MarkSigma,
    ) -> Result<Self, Error> {
        let n = fit.at.len();
        let factor = sigma.after(fit.square, freedom);
        let root = fit
            .covariance
            .clone()
            .cholesky()
            .ok_or(Error::NotAPlane)?
            .l()
            * factor;
        let mut made = Self {
            observed: vec![
                Observed {
                    is_of_marks: sigma.is_common(freedom),
                    ..Observed::number(0.0, 1.0)
                };
                n
            ],
            spread: Some(Spread {
                at: fit.at.clone(),
                root,
            }),
            form,
            has_lens,
            picture,
            figures: RectificationFigures {
                rms_px: rms(fit.square, freedom),
                ..RectificationFigures::default()
            },
        };
        made.add_axis();
        Ok(made)
    }

    /// Where the camera's axis meets the picture, as further numbers, where the form needs it.
    fn add_axis(&mut self) {
        if !self.form.needs_axis() {
            return;
        }
        let (width, height) = (f64::from(self.picture.0), f64::from(self.picture.1));
        let deviation = RECTIFICATION.axis_deviation.get() * width.hypot(height);
        for middle in [width / 2.0, height / 2.0] {
            self.observed.push(Observed {
                is_of_marks: false,
                ..Observed::number(middle, deviation)
            });
        }
    }

    /// A rectification, or none, with a lens of which nothing is known but that pictures are seldom bent much: its coefficient
    /// is one more number, observed at 0. `picture` is the reference's width and height in pixels.
    pub(crate) fn with_unknown_lens(known: &Option<Self>, picture: (u32, u32)) -> Self {
        let mut made = known.clone().unwrap_or_else(|| Self {
            observed: Vec::new(),
            spread: None,
            form: Form::Lens,
            has_lens: false,
            picture,
            figures: RectificationFigures::default(),
        });
        let deviation = RECTIFICATION.unknown_lens.get();
        let lens = Observed {
            is_of_marks: false,
            ..Observed::number(0.0, deviation)
        };
        made.observed.insert(made.form.parameters(), lens);
        made.has_lens = true;
        made
    }

    /// Keeps what the landmarks told of a lens of which nothing was known, for the figures alone: it stays observed as it was.
    pub(crate) fn tell_lens(&mut self, coefficient: Measured) {
        self.figures.lens = Some(coefficient);
    }

    /// Which of the numbers is the lens' coefficient itself; `None` where there is no lens, or a fit has tied it to others.
    pub(crate) fn lens_number(&self) -> Option<usize> {
        let at = self.form.parameters();
        let is_tied = self.spread.as_ref().is_some_and(|s| at < s.at.len());
        (self.has_lens && !is_tied).then_some(at)
    }

    /// Whether a lens' coefficient with this standard deviation is known well enough to be used.
    pub(crate) fn is_told(deviation: f64) -> bool {
        deviation <= RECTIFICATION.most_bend_deviation.get()
    }

    /// The numbers as observed.
    pub(crate) fn observed(&self) -> &[Observed] {
        &self.observed
    }

    /// The observed values.
    pub(crate) fn values(&self) -> Vec<f64> {
        self.observed.iter().map(|o| o.value).collect()
    }

    /// Whether a projective registration does not take up all that the numbers could change.
    pub(crate) fn has_lens(&self) -> bool {
        self.has_lens
    }

    /// What was found before any landmark is looked at.
    pub fn figures(&self) -> &RectificationFigures {
        &self.figures
    }

    /// Pixels of the rectified picture for a full-size millimetre, where it is rectified by points of a known figure.
    pub(crate) fn px_per_full_size_mm(&self) -> Option<f64> {
        match self.form {
            Form::Figure {
                rectangle,
                width_mm,
            } => Some(rectangle.width / width_mm),
            Form::Rectangle { .. } | Form::Lines { .. } | Form::Lens => None,
        }
    }

    /// The rectification as observed.
    pub fn rectified_from_reference(&self) -> FromReference<RectifiedPx> {
        self.map(&self.values())
            .expect("a rectification is only made where its observed numbers give a map")
    }

    fn parameters(&self, numbers: &[f64]) -> DVector<f64> {
        let numbers = DVector::from_column_slice(numbers);
        let Some(spread) = &self.spread else {
            return numbers;
        };
        let n = spread.at.len();
        let mut all = numbers.clone();
        let fitted = &spread.at + &spread.root * numbers.rows(0, n);
        all.rows_mut(0, n).copy_from(&fitted);
        all
    }

    fn lens(&self, parameters: &DVector<f64>) -> Option<Lens> {
        if self.has_lens {
            Lens::of_picture(parameters[self.form.parameters()], self.picture)
        } else {
            Some(Lens::none())
        }
    }

    fn axis(&self, parameters: &DVector<f64>) -> [f64; 2] {
        let at = self.form.parameters() + usize::from(self.has_lens);
        [parameters[at], parameters[at + 1]]
    }

    /// The map for these numbers; `None` where they make no view of a plane.
    pub(crate) fn map(&self, numbers: &[f64]) -> Option<FromReference<RectifiedPx>> {
        let p = self.parameters(numbers);
        let lens = self.lens(&p)?;
        let map = match &self.form {
            Form::Rectangle { side, aspect } => {
                let corners = self.corners(&p, &lens)?;
                let aspect = match aspect {
                    Some(aspect) => *aspect,
                    None => {
                        let [x, y] = self.axis(&p);
                        seen(&corners, Point::new(x, y))?.aspect
                    }
                };
                RectifiedRectangle::of_area(*side, aspect).map_for(&corners)?
            }
            Form::Figure { rectangle, .. } => {
                rectangle.map_for(&figure::corners_of(p.as_slice()))?
            }
            Form::Lines { rays, vanishing } => {
                let p4 = p.as_slice();
                let points = [vanishing[0].at(&p4[..2]), vanishing[1].at(&p4[2..4])];
                vanishing::rectified(rays, points, self.axis(&p))?
            }
            Form::Lens => Projective::identity(),
        };
        Some(FromReference::new(lens, map))
    }

    /// The marked corners without the lens.
    fn corners(&self, p: &DVector<f64>, lens: &Lens) -> Option<[Point<UndistortedPx>; 4]> {
        let corners: [Point<UndistortedPx>; 4] =
            std::array::from_fn(|k| lens.undistort(Point::new(p[2 * k], p[2 * k + 1])));
        let is_finite = |p: &Point<UndistortedPx>| p.x.is_finite() && p.y.is_finite();
        corners.iter().all(is_finite).then_some(corners)
    }

    /// What the view alone tells: of the rectangle, or of a square in the middle of the picture.
    fn seen(&self, numbers: &[f64]) -> Option<Seen> {
        let p = self.parameters(numbers);
        if let Form::Lines { rays, vanishing } = &self.form {
            let numbers = p.as_slice();
            let points = [
                vanishing[0].at(&numbers[..2]),
                vanishing[1].at(&numbers[2..4]),
            ];
            return vanishing::seen(rays, points, self.axis(&p));
        }
        let [x, y] = self.axis(&p);
        seen(&self.corners(&p, &self.lens(&p)?)?, Point::new(x, y))
    }

    /// The aspect with its interval where the view has to tell it.
    fn aspect(&self) -> Result<Option<Measured>, Error> {
        if !self.form.needs_axis() {
            return Ok(None);
        }
        let frontal = |plus_minus_percent| Error::TooFrontal { plus_minus_percent };
        let values = self.values();
        let found = self.seen(&values).ok_or(frontal(None))?;
        // Variances of the logarithms of aspect and focal length.
        let mut variances = [0.0; 2];
        for (k, observed) in self.observed.iter().enumerate() {
            let moved = |by: f64| {
                let mut values = values.clone();
                values[k] += by;
                self.seen(&values)
                    .map(|seen| [seen.aspect.ln(), seen.focal.ln()])
            };
            let (Some(up), Some(down)) = (moved(observed.step), moved(-observed.step)) else {
                return Err(frontal(None));
            };
            for (variance, (up, down)) in variances.iter_mut().zip(up.into_iter().zip(down)) {
                *variance += ((up - down) / (2.0 * observed.step) * observed.deviation).powi(2);
            }
        }
        let [deviation, of_focal] = variances.map(f64::sqrt);
        let is_told = deviation <= RECTIFICATION.most_aspect_deviation.get()
            && of_focal <= RECTIFICATION.most_focal_deviation.get();
        if !is_told {
            let plus_minus = 100.0 * 1.96 * deviation;
            let is_wide =
                deviation > RECTIFICATION.most_aspect_deviation.get() && plus_minus.is_finite();
            return Err(frontal(is_wide.then_some(plus_minus)));
        }
        let is_rectangle = matches!(self.form, Form::Rectangle { .. });
        let measured =
            Measured::from_deviation(found.aspect, found.aspect * deviation, f64::INFINITY);
        Ok(measured.filter(|_| is_rectangle))
    }

    /// The lens' coefficient with its interval.
    fn lens_figure(&self) -> Result<Option<Measured>, Error> {
        let at = self.form.parameters();
        if !self.has_lens {
            return Ok(None);
        }
        let value = self.parameters(&self.values())[at];
        let deviation = match &self.spread {
            Some(spread) if at < spread.at.len() => spread.root.row(at).norm(),
            _ => self.observed[at].deviation,
        };
        if !Self::is_told(deviation) {
            return Err(Error::LensUnclear);
        }
        Ok(Measured::from_deviation(value, deviation, f64::INFINITY))
    }
}

impl Observed {
    fn number(value: f64, deviation: f64) -> Self {
        Self {
            value,
            deviation,
            step: STEP_PER_DEVIATION * deviation,
            is_of_marks: true,
        }
    }
}

fn rms(square: f64, freedom: usize) -> Option<f64> {
    (freedom > 0).then(|| (square / freedom as f64).sqrt())
}

/// The standard deviation of the marks that rectify, per coordinate.
#[derive(Clone, Copy)]
struct MarkSigma {
    /// Stated, or believed of clicks, px.
    px: f64,
    is_stated: bool,
}

impl MarkSigma {
    fn new(stated: Option<f64>) -> Self {
        Self {
            px: stated.unwrap_or_else(mark_sigma_px),
            is_stated: stated.is_some(),
        }
    }

    /// The same once `square` is known, the sum of the squares that a fit with `freedom` observations to spare leaves, px^2.
    ///
    /// A stated deviation grows by what scatters beyond it: what is marked may not be quite straight or plane. One that is
    /// not stated is estimated.
    fn after(self, square: f64, freedom: usize) -> f64 {
        if self.is_stated {
            return rms(square, freedom).map_or(self.px, |rms| rms.max(self.px));
        }
        let (prior, freedom) = (RECTIFICATION.prior_freedom.get(), freedom as f64);
        ((square + prior * self.px * self.px) / (freedom + prior)).sqrt()
    }

    /// Whether the noise that remains is that of the landmarks, as they tell it, and not one that the fit tells itself.
    fn is_common(self, freedom: usize) -> bool {
        self.is_stated || freedom == 0
    }
}

#[cfg(test)]
mod tests;
