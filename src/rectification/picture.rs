//! The rectified picture itself, for people to look at and to go on with.
use super::{Error, Rectification, size};
use crate::{
    frame::{FromReference, Point, Projective, RectifiedPx},
    kernels::warp,
};
use image::RgbImage;

/// How far the rectified picture may reach beyond the size of the original, as a factor: near a plane's horizon the
/// rest would be as large as one likes.
const MOST_GROWTH: f64 = 1.5;
/// Places along each side of the original whose images bound the rectified picture.
const PLACES: usize = 64;

/// The picture rectified: its rectangle where it has one, else all of it, in one resampling.
///
/// # Errors
/// [`Error::TooLarge`] where it would be far larger than what the picture can fill.
pub fn rectified_picture(
    picture: &RgbImage,
    rectification: &Rectification,
) -> Result<RgbImage, Error> {
    let Shown {
        size,
        rectified_from_shown,
    } = shown(picture.dimensions(), rectification)?;
    let map = rectification.rectified_from_reference();
    let reference_from_shown = map.inverse().after(&rectified_from_shown);
    Ok(warp::warp_finely(picture, size, &reference_from_shown))
}

/// What is shown of a rectified plane.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Shown {
    /// Width and height, pixels.
    pub(crate) size: (u32, u32),
    /// Where its pixels lie.
    pub(crate) rectified_from_shown: Projective<RectifiedPx, RectifiedPx>,
}

/// Width and height of the rectified picture of one of this width and height, and where its pixels lie.
///
/// # Errors
/// As [`rectified_picture`].
pub(crate) fn shown(picture: (u32, u32), rectification: &Rectification) -> Result<Shown, Error> {
    let [left, top, width, height] = extent(rectification, picture);
    size::check([width, height], picture, None)?;
    let size = whole([width, height]);
    // The rectangle's sides are no whole numbers: each direction is stretched by less than a pixel, so that its corners
    // are the picture's.
    let shown = nalgebra::Matrix3::new(
        width / f64::from(size[0]),
        0.0,
        left,
        0.0,
        height / f64::from(size[1]),
        top,
        0.0,
        0.0,
        1.0,
    );
    let rectified_from_shown = Projective::<RectifiedPx, RectifiedPx>::from_matrix(shown)
        .expect("width and height are above 0");
    Ok(Shown {
        size: (size[0], size[1]),
        rectified_from_shown,
    })
}

/// Width and height that [`rectified_picture`] makes of a picture of this width and height, pixels.
pub fn rectified_size(picture: (u32, u32), rectification: &Rectification) -> [u32; 2] {
    let [_, _, width, height] = extent(rectification, picture);
    whole([width, height])
}

fn whole(size: [f64; 2]) -> [u32; 2] {
    size.map(|side| side.round().max(1.0) as u32)
}

/// Left, top, width and height of what is shown, rectified pixels.
fn extent(rectification: &Rectification, picture: (u32, u32)) -> [f64; 4] {
    match rectification.figures().rectangle {
        Some(rectangle) => [0.0, 0.0, rectangle.width, rectangle.height],
        None => bounds(&rectification.rectified_from_reference(), picture),
    }
}

/// Places along the border of a picture of this width and height, whose images bound it.
pub(crate) fn border((width, height): (u32, u32)) -> impl Iterator<Item = [f64; 2]> {
    let (width, height) = (f64::from(width), f64::from(height));
    (0..=PLACES).flat_map(move |k| {
        let t = k as f64 / PLACES as f64;
        [
            [t * width, 0.0],
            [t * width, height],
            [0.0, t * height],
            [width, t * height],
        ]
    })
}

/// Left, top, width and height of the rectified picture's box.
fn bounds(map: &FromReference<RectifiedPx>, picture: (u32, u32)) -> [f64; 4] {
    let (width, height) = (f64::from(picture.0), f64::from(picture.1));
    let middle = map.apply(Point::new(width / 2.0, height / 2.0));
    let reach = MOST_GROWTH * width.max(height) / 2.0;
    let limited = |v: f64, middle: f64| v.clamp(middle - reach, middle + reach);
    let mut low = [middle.x, middle.y];
    let mut high = low;
    for [x, y] in border(picture) {
        let p = Point::new(x, y);
        // Behind the horizon a point comes out turned over, on the other side: the limit holds there.
        let place = map.apply(p);
        for (k, (v, m)) in [(place.x, middle.x), (place.y, middle.y)]
            .into_iter()
            .enumerate()
        {
            if v.is_finite() {
                low[k] = f64::min(low[k], limited(v, m));
                high[k] = f64::max(high[k], limited(v, m));
            }
        }
    }
    [
        low[0],
        low[1],
        (high[0] - low[0]).max(1.0),
        (high[1] - low[1]).max(1.0),
    ]
}
