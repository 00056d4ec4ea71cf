//! Pictures as they are put on paper: cut out, and no finer than a print can show.
use super::{
    Error,
    colours::INK,
    png,
    raster::Keyed,
    reduce::{cut, fitted},
    scene::{Box2, Scene, Stroke},
    text::{self, Font},
};
use image::RgbImage;
use std::{borrow::Cow, sync::Arc};

/// Embedded pictures have no more pixels than this per inch of paper.
const MOST_DOTS: f64 = 300.0;
/// Those that have fewer are enlarged, each pixel to a square: what a viewer would smooth over is not in the picture.
const LEAST_DOTS: f64 = 150.0;
/// Largest factor by which pixels are enlarged for print.
const MOST_FACTOR: f64 = 16.0;

/// The part of a picture that is printed `width_mm` wide.
pub(crate) fn for_print(source: &RgbImage, crop: [u32; 4], width_mm: f64) -> Cow<'_, RgbImage> {
    let dots = |per_inch: f64| width_mm / 25.4 * per_inch;
    let most = dots(MOST_DOTS).ceil().max(1.0) as u32;
    let factor = (dots(LEAST_DOTS) / f64::from(crop[2].max(1))).ceil();
    let factor = factor.clamp(1.0, MOST_FACTOR) as u32;
    match cut(source, crop) {
        Cow::Borrowed(whole) => fitted(whole, factor, most),
        Cow::Owned(part) => Cow::Owned(fitted(&part, factor, most).into_owned()),
    }
}

/// What a picture shows, which says how finely it is kept.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Content {
    Photo,
    /// With coloured lines.
    Lines,
}

/// A picture as it is embedded in a document.
pub(crate) fn embedded(
    key: impl Into<Cow<'static, str>>,
    picture: &RgbImage,
    content: Content,
) -> Result<Keyed, Error> {
    let jpeg = match content {
        Content::Photo => png::encode_photo(picture),
        Content::Lines => png::encode_jpeg(picture),
    }?;
    Ok((key.into(), Arc::new(jpeg)))
}

/// Height of a caption over a picture.
pub(crate) const CAPTION: f64 = 5.0;

/// A picture at its place, framed, with a caption over it that has `room` to its right.
pub(crate) fn draw(
    scene: &mut Scene,
    place: Box2,
    (caption, room): (&str, f64),
    key: impl Into<Cow<'static, str>>,
) {
    let caption = text::shorten(caption, Font::Bold, 2.8, place.width + room);
    scene.text([place.x, place.y - 1.5], 2.8, Font::Bold, caption);
    scene.picture(key, place);
    scene.rectangle(place, Some(Stroke::solid(INK, 0.2)), None);
}
