//! What a photograph of a screen has beside the picture on it: pixel grid and moire, glare, letterbox bars.
//!
//! They are dealt with before any edge is looked for: patterns are filtered out of the copy that edges are taken from,
//! glare and bars are masked. Nothing moves, and the pictures that are shown keep their pixels. Patterns are looked for in
//! the reference as it is on disk, before it is resampled: a resampled grid is folded onto other frequencies.
mod bars;
mod descreen;
mod glare;
mod pattern;

pub use descreen::{FoundPattern, Removal};

use self::bars::Sides;
use crate::{
    frame::{Point, Projective, RectifiedPx},
    images::ViewImages,
    job::{Descreen, Handling, KnownPlane, ReferenceKind, View},
    kernels::{Plane, fill, gray, resize, warp},
    measurement::overlap::grid::EdgeSource,
    registration::Registration,
    stop::{self, Stopped},
};
use image::RgbImage;
use nalgebra::Matrix3;

/// Longest side of the picture in which bars are looked for, pixels.
const LONGEST_SIDE: f64 = 1600.0;
/// How much wider than a bar its mask is, rectified pixels and part of the picture: the border itself is an edge too.
const BAR_MARGIN: f64 = 4.0;
const BAR_MARGIN_PART: f64 = 0.004;
/// How far beyond the picture the mask of a bar goes, parts of it: where the screen ends is no edge of the subject either.
const BEYOND: f64 = 0.02;
/// Places along a side of a bar: a lens bends it.
const PLACES: usize = 24;
/// Largest sides of the pictures that explain a step, pixels.
const DETAIL: [u32; 2] = [360, 270];
const OVERVIEW: u32 = 720;

/// What was found of a screen in the reference, and what was done about it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ScreenFindings {
    /// Patterns filtered out before edges were looked for, strongest first.
    pub patterns: Vec<FoundPattern>,
    /// Patches of glare that were masked.
    pub glare: Option<FoundGlare>,
    /// Letterbox bars that were masked.
    pub bars: Option<FoundBars>,
}

/// Patches of glare.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FoundGlare {
    /// Their number.
    pub patches: usize,
    /// Part of the reference that was masked for them, per cent.
    pub masked_percent: f64,
}

/// A pair of letterbox bars.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FoundBars {
    /// Whether they lie at the left and the right; else at the top and the bottom.
    pub are_upright: bool,
    /// Depths in the middle of the bar at the top (the left) and of the other one, reference pixels.
    pub depths_px: [f64; 2],
    /// Width over height of the picture between them.
    pub picture_aspect: f64,
    /// Width over height of the whole, bars included, where the job states it.
    pub stated_aspect: Option<f64>,
}

/// A step that acted, as pictures.
#[derive(Clone, Debug)]
pub struct Explained {
    /// Which step.
    pub step: Step,
    /// A part or a reduced copy of the reference.
    pub before: RgbImage,
    /// The same as edges are taken from it.
    pub after: RgbImage,
    /// 0 where nothing is taken for an edge, of the same size; `None` where nothing is masked.
    pub usable: Option<Plane<u8>>,
}

/// The steps that act on a reference before its edges are looked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Step {
    /// Patterns filtered out.
    Descreen,
    /// Glare masked.
    Glare,
    /// Letterbox bars masked.
    Letterbox,
}

/// The reference made ready for edges.
pub(crate) struct Treated {
    pub(crate) findings: ScreenFindings,
    pub(crate) source: EdgeSource,
    pub(crate) explained: Vec<Explained>,
}

/// Looks for what a screen leaves in the reference and deals with it.
///
/// # Errors
/// [`Stopped`].
pub(crate) fn treat(
    view: &View,
    images: &ViewImages,
    registration: &Registration,
) -> Result<Treated, Stopped> {
    let picture = &images.reference.rgb;
    let descreened = descreened(view, picture);
    stop::check()?;
    let cleaned = descreened.as_ref().map_or(picture, |done| &done.picture);
    let (glare, bars) = rayon::join(
        || glare(view, cleaned),
        || Shown::new(view, picture, registration).and_then(Barred::new),
    );
    stop::check()?;
    let mut treated = Treated {
        findings: ScreenFindings::default(),
        source: EdgeSource::default(),
        explained: Vec::new(),
    };
    if let Some(done) = descreened {
        treated
            .explained
            .push(detail(picture, &done.picture, &outline(view, picture)));
        treated.findings.patterns = done.patterns;
        treated.source.picture = Some(done.picture);
    }
    let mut masks = Vec::new();
    if let Some(glare) = glare {
        treated.findings.glare = Some(FoundGlare {
            patches: glare.patches,
            masked_percent: 100.0 * glare.share,
        });
        treated.explained.push(overview(picture, &glare.usable));
        masks.push(enlarged(&glare.usable, picture.dimensions()));
    }
    if let Some(barred) = bars {
        treated.findings.bars = Some(barred.found(view));
        treated.explained.push(barred.explained());
        masks.push(barred.usable(picture.dimensions()));
    }
    treated.source.usable = masks.into_iter().reduce(|mut a, b| {
        a.zip_mut_with(&b, |a, b| *a &= b);
        a
    });
    Ok(treated)
}

/// Part of the tiles that a pattern has to cover; `None` where none is to be looked for.
fn least_share(view: &View) -> Option<f64> {
    match view.reference.screen.descreen {
        Descreen::Off => None,
        Descreen::On => Some(0.25),
        Descreen::Auto => (view.reference.kind == ReferenceKind::Photo).then_some(0.75),
    }
}

fn descreened(view: &View, picture: &RgbImage) -> Option<descreen::Descreened> {
    let patterns = pattern::find(picture, &outline(view, picture), least_share(view)?);
    descreen::without(picture, patterns)
}

fn glare(view: &View, picture: &RgbImage) -> Option<glare::Glare> {
    let is_wanted = view.reference.screen.glare == Handling::Auto
        && view.reference.kind == ReferenceKind::Photo;
    is_wanted.then(|| glare::find(picture)).flatten()
}

/// The marked corners of the screen, else those of the picture.
fn outline(view: &View, picture: &RgbImage) -> [[f64; 2]; 4] {
    let plane = view.reference.rectify.as_ref().map(|s| &s.plane);
    if let Some(KnownPlane::Rectangle(rectangle)) = plane {
        return rectangle.corners.map(|corner| corner.xy());
    }
    let (width, height) = (f64::from(picture.width()), f64::from(picture.height()));
    [[0.0, 0.0], [width, 0.0], [width, height], [0.0, height]]
}

/// The picture on the screen, straight, or the reference as it is where nothing is rectified.
struct Shown<'a> {
    registration: &'a Registration,
    picture: RgbImage,
    /// Rectified pixels per pixel of `picture`, and the rectified size.
    factor: [f64; 2],
    size: [f64; 2],
}

impl<'a> Shown<'a> {
    /// `None` where bars are not to be looked for, or it is not known what of the reference the screen is.
    fn new(view: &View, picture: &RgbImage, registration: &'a Registration) -> Option<Self> {
        let is_wanted = view.reference.screen.letterbox == Handling::Auto
            && matches!(
                view.reference.kind,
                ReferenceKind::Photo | ReferenceKind::Screenshot
            );
        if !is_wanted {
            return None;
        }
        let size = match &registration.rectification {
            None => [picture.width(), picture.height()].map(f64::from),
            Some(figures) => {
                let rectangle = figures.rectangle.as_ref()?;
                [rectangle.width, rectangle.height]
            }
        };
        let reduction = (size[0].max(size[1]) / LONGEST_SIDE).max(1.0);
        let shown = size.map(|s| (s / reduction).round().max(1.0) as u32);
        let factor = [0, 1].map(|k| size[k] / f64::from(shown[k]));
        let picture = if registration.rectification.is_some() {
            let scale = Matrix3::new(factor[0], 0.0, 0.0, 0.0, factor[1], 0.0, 0.0, 0.0, 1.0);
            let rectified_from_shown = Projective::<RectifiedPx, RectifiedPx>::from_matrix(scale)?;
            let map = registration.rectified_from_reference.inverse();
            let map = map.after(&rectified_from_shown);
            warp::warp_rgb(picture, (shown[0], shown[1]), &map)
        } else {
            resize::reduce_rgb(picture, shown[0], shown[1])
        };
        Some(Self {
            registration,
            picture,
            factor,
            size,
        })
    }
}

/// A picture with letterbox bars.
struct Barred<'a> {
    shown: Shown<'a>,
    bars: bars::Bars,
}

impl<'a> Barred<'a> {
    fn new(shown: Shown<'a>) -> Option<Self> {
        let bars = bars::find(&gray::luma(&shown.picture))?;
        Some(Self { shown, bars })
    }

    fn is_upright(&self) -> bool {
        self.bars.sides == Sides::LeftAndRight
    }

    /// A place given by how far it lies along the bars and from the first side, rectified pixels.
    fn place(&self, along: f64, depth: f64) -> [f64; 2] {
        if self.is_upright() {
            [depth, along]
        } else {
            [along, depth]
        }
    }

    /// Rectified pixels across the bars per pixel of what was looked at, and the rectified sizes along and across.
    fn across(&self) -> (f64, f64, f64) {
        let k = if self.is_upright() { 0 } else { 1 };
        (
            self.shown.factor[k],
            self.shown.size[1 - k],
            self.shown.size[k],
        )
    }

    fn in_reference(&self, [x, y]: [f64; 2]) -> [f64; 2] {
        let map = self.shown.registration.rectified_from_reference.inverse();
        map.apply(Point::new(x, y)).xy()
    }

    fn found(&self, view: &View) -> FoundBars {
        let (factor, along, depth) = self.across();
        let depths = self.bars.depths().map(|d| d * factor);
        let length = |from: f64, to: f64| {
            let [a, b] = [from, to].map(|d| self.in_reference(self.place(along / 2.0, d)));
            (a[0] - b[0]).hypot(a[1] - b[1])
        };
        let inner = depth - depths[0] - depths[1];
        let plane = view.reference.rectify.as_ref().map(|s| &s.plane);
        FoundBars {
            are_upright: self.is_upright(),
            depths_px: [length(0.0, depths[0]), length(depth - depths[1], depth)],
            picture_aspect: if self.is_upright() {
                inner / along
            } else {
                along / inner
            },
            stated_aspect: match plane {
                Some(KnownPlane::Rectangle(rectangle)) => rectangle.aspect,
                _ => None,
            },
        }
    }

    /// Both bars with their margins, corners in rectified pixels.
    fn outlines(&self) -> [[[f64; 2]; 4]; 2] {
        let (factor, along, depth) = self.across();
        let margin = BAR_MARGIN.max(BAR_MARGIN_PART * depth);
        let beyond = BEYOND * depth;
        let [first, second] =
            [self.bars.first, self.bars.second].map(|ends| ends.map(|d| d * factor + margin));
        let (start, end) = (-beyond, along + beyond);
        [
            [
                self.place(start, -beyond),
                self.place(end, -beyond),
                self.place(end, first[1]),
                self.place(start, first[0]),
            ],
            [
                self.place(start, depth - second[0]),
                self.place(end, depth - second[1]),
                self.place(end, depth + beyond),
                self.place(start, depth + beyond),
            ],
        ]
    }

    /// 0 in the bars, 255 elsewhere; reference pixels.
    fn usable(&self, (width, height): (u32, u32)) -> Plane<u8> {
        let mut usable = Plane::from_elem((height as usize, width as usize), 255);
        for corners in self.outlines() {
            let outline: Vec<[f64; 2]> = (0..4)
                .flat_map(|k| {
                    let (a, b) = (corners[k], corners[(k + 1) % 4]);
                    (0..PLACES).map(move |i| {
                        let t = i as f64 / PLACES as f64;
                        [a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])]
                    })
                })
                .map(|place| self.in_reference(place))
                .collect();
            let bar = fill::fill_polygon(&outline, (width as usize, height as usize));
            usable.zip_mut_with(&bar, |u, b| *u &= !b);
        }
        usable
    }

    fn explained(&self) -> Explained {
        let picture = &self.shown.picture;
        let size = (picture.width() as usize, picture.height() as usize);
        let mut usable = Plane::from_elem((size.1, size.0), 255);
        let factor = self.shown.factor;
        for corners in self.outlines() {
            let outline = corners.map(|[x, y]| [x / factor[0], y / factor[1]]);
            let bar = fill::fill_polygon(&outline, size);
            usable.zip_mut_with(&bar, |u, b| *u &= !b);
        }
        Explained {
            step: Step::Letterbox,
            ..overview(picture, &usable)
        }
    }
}

/// A piece of the picture pixel by pixel, from the middle of the screen, before and after it was filtered.
fn detail(before: &RgbImage, after: &RgbImage, outline: &[[f64; 2]; 4]) -> Explained {
    let place = |k: usize, side: u32| {
        let middle = outline.iter().map(|p| p[k]).sum::<f64>() / 4.0;
        let size = DETAIL[k].min(side);
        let start = (middle - f64::from(size) / 2.0).clamp(0.0, f64::from(side - size));
        (start as u32, size)
    };
    let ((left, width), (top, height)) = (place(0, before.width()), place(1, before.height()));
    let cut = |picture| image::imageops::crop_imm(picture, left, top, width, height).to_image();
    Explained {
        step: Step::Descreen,
        before: cut(before),
        after: cut(after),
        usable: None,
    }
}

/// The whole picture, reduced, with what is masked in it.
fn overview(picture: &RgbImage, usable: &Plane<u8>) -> Explained {
    let longest = picture.width().max(picture.height());
    let reduction = (f64::from(longest) / f64::from(OVERVIEW)).max(1.0);
    let side = |n: u32| ((f64::from(n) / reduction).round() as u32).max(1);
    let (width, height) = (side(picture.width()), side(picture.height()));
    let small = resize::reduce_rgb(picture, width, height);
    Explained {
        step: Step::Glare,
        before: small.clone(),
        after: small,
        usable: Some(enlarged(usable, (width, height))),
    }
}

/// A mask at another size, the nearest pixel each.
fn enlarged(mask: &Plane<u8>, (width, height): (u32, u32)) -> Plane<u8> {
    let (rows, columns) = mask.dim();
    let nearest = |i: usize, from: usize, to: usize| ((2 * i + 1) * from / (2 * to)).min(from - 1);
    let (width, height) = (width as usize, height as usize);
    let column: Vec<usize> = (0..width).map(|x| nearest(x, columns, width)).collect();
    let mut out = Plane::zeros((height, width));
    for (y, mut row) in out.rows_mut().into_iter().enumerate() {
        let from = mask.row(nearest(y, rows, height));
        for (value, x) in row.iter_mut().zip(&column) {
            *value = from[*x];
        }
    }
    out
}
