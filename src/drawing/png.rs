//! Pictures to PNG, animated PNG and JPEG bytes.
#[cfg(feature = "service")]
use super::colours::RENDER;
use super::{Error, reduce};
use crate::{kernels::Plane, stop};
use image::RgbImage;
use std::borrow::Cow;

/// An opaque picture as PNG, quickly rather than small.
///
/// # Errors
/// [`Error::Png`] where the picture has no pixels or is larger than the format allows.
pub fn encode_png(picture: &RgbImage) -> Result<Vec<u8>, Error> {
    encode(picture, None)
}

/// A picture of any size as PNG, unless the run is asked to stop.
///
/// # Errors
/// As [`encode_png`], and [`Error::Stopped`].
pub fn encode_large_png(picture: RgbImage) -> Result<Vec<u8>, Error> {
    stop::wait_for(move || encode_png(&picture))?
}

/// The same with the size at which it is meant to be printed.
pub(crate) fn encode_png_at(picture: &RgbImage, dots_per_inch: f64) -> Result<Vec<u8>, Error> {
    encode(picture, Some((dots_per_inch / 0.0254).round() as u32))
}

/// The same with how much of each pixel is there, 0 to 255.
pub(crate) fn encode_cut_out(picture: &RgbImage, opacity: &Plane<u8>) -> Result<Vec<u8>, Error> {
    let pixels = picture.pixels().zip(opacity);
    let rgba: Vec<u8> = pixels
        .flat_map(|(image::Rgb([r, g, b]), a)| [*r, *g, *b, *a])
        .collect();
    let mut bytes = Vec::with_capacity(rgba.len() / 4);
    let mut encoder = encoder(&mut bytes, picture);
    encoder.set_color(png::ColorType::Rgba);
    let mut writer = encoder.write_header()?;
    writer.write_image_data(&rgba)?;
    writer.finish()?;
    Ok(bytes)
}

#[cfg(feature = "service")]
/// Lines of the render's colour, clear beside them; `lines` is 255 on a line and 0 elsewhere.
pub(crate) fn lines_png(lines: &Plane<u8>) -> Result<Vec<u8>, Error> {
    let (height, width) = lines.dim();
    let colour = image::Rgb(RENDER.channels());
    let picture = RgbImage::from_pixel(width as u32, height as u32, colour);
    encode_cut_out(&picture, lines)
}

fn encode(picture: &RgbImage, dots_per_metre: Option<u32>) -> Result<Vec<u8>, Error> {
    let mut bytes = Vec::with_capacity(picture.as_raw().len() / 2);
    let mut encoder = encoder(&mut bytes, picture);
    encoder.set_pixel_dims(dots_per_metre.map(|dots| png::PixelDimensions {
        xppu: dots,
        yppu: dots,
        unit: png::Unit::Meter,
    }));
    let mut writer = encoder.write_header()?;
    writer.write_image_data(picture.as_raw())?;
    writer.finish()?;
    Ok(bytes)
}

/// Two frames of one size, shown in turn for ever, as an animated PNG.
///
/// # Errors
/// [`Error::Png`] where the sizes differ or are 0.
pub(crate) fn encode_blink(frames: [&RgbImage; 2], milliseconds: u16) -> Result<Vec<u8>, Error> {
    let mut bytes = Vec::with_capacity(frames[0].as_raw().len());
    let mut encoder = encoder(&mut bytes, frames[0]);
    encoder.set_animated(2, 0)?;
    encoder.set_frame_delay(milliseconds, 1000)?;
    let mut writer = encoder.write_header()?;
    for frame in frames {
        writer.write_image_data(frame.as_raw())?;
    }
    writer.finish()?;
    Ok(bytes)
}

fn encoder<'a>(
    bytes: &'a mut Vec<u8>,
    picture: &RgbImage,
) -> png::Encoder<'static, &'a mut Vec<u8>> {
    let mut encoder = png::Encoder::new(bytes, picture.width(), picture.height());
    encoder.set_color(png::ColorType::Rgb);
    encoder.set_depth(png::BitDepth::Eight);
    encoder.set_compression(png::Compression::Fast);
    // Within a hundredth as small as choosing a filter for every row, and faster.
    encoder.set_filter(png::Filter::Paeth);
    encoder
}

/// A picture with coloured lines as JPEG: quality 90, colour at full resolution (4:4:4).
///
/// # Errors
/// [`Error::Jpeg`] where a side is 0 or above 65,535 pixels.
pub fn encode_jpeg(picture: &RgbImage) -> Result<Vec<u8>, Error> {
    jpeg(picture, 90, jpeg_encoder::SamplingFactor::F_1_1)
}

/// Widest that a picture of a page for a phone is, pixels: two a point of a screen 390 points wide.
const MOST_FOR_PHONE: u32 = 760;

/// A picture as JPEG (quality 75) at a size that fits a phone, with the colours of thin lines kept.
///
/// # Errors
/// As [`encode_jpeg`].
pub fn encode_for_page(picture: &RgbImage) -> Result<Vec<u8>, Error> {
    let small = reduce::fitted(picture, 1, MOST_FOR_PHONE);
    jpeg(&small, 75, jpeg_encoder::SamplingFactor::F_1_1)
}

/// The same of a picture that is made of many photos, more sparingly: quality 40, colour at half the resolution (4:2:0).
///
/// # Errors
/// As [`encode_jpeg`].
pub(crate) fn encode_patches_for_page(picture: &RgbImage) -> Result<Vec<u8>, Error> {
    let small = reduce::fitted(picture, 1, MOST_FOR_PHONE);
    jpeg(&small, 40, jpeg_encoder::SamplingFactor::F_2_2)
}

/// A picture without drawn lines as JPEG: quality 86, colour at half the resolution (4:2:0), as cameras store it.
pub(crate) fn encode_photo(picture: &RgbImage) -> Result<Vec<u8>, Error> {
    jpeg(picture, 86, jpeg_encoder::SamplingFactor::F_2_2)
}

fn jpeg(
    picture: &RgbImage,
    quality: u8,
    sampling: jpeg_encoder::SamplingFactor,
) -> Result<Vec<u8>, Error> {
    let too_large = || Error::Jpeg {
        width: picture.width(),
        height: picture.height(),
        cause: Cow::Borrowed("a side must be 1 to 65,535 pixels"),
    };
    let width = u16::try_from(picture.width()).map_err(|_| too_large())?;
    let height = u16::try_from(picture.height()).map_err(|_| too_large())?;
    let mut bytes = Vec::with_capacity(picture.as_raw().len() / 8);
    let mut encoder = jpeg_encoder::Encoder::new(&mut bytes, quality);
    encoder.set_sampling_factor(sampling);
    encoder
        .encode(
            picture.as_raw(),
            width,
            height,
            jpeg_encoder::ColorType::Rgb,
        )
        .map_err(|cause| Error::Jpeg {
            width: picture.width(),
            height: picture.height(),
            cause: Cow::Owned(cause.to_string()),
        })?;
    Ok(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sample() -> RgbImage {
        RgbImage::from_fn(37, 23, |x, y| image::Rgb([x as u8 * 6, y as u8 * 9, 128]))
    }

    #[test]
    fn a_png_gives_the_same_pixels_back() {
        let bytes = encode_png(&sample()).expect("encodes");
        let back = image::load_from_memory(&bytes).expect("decodes").to_rgb8();
        assert_eq!(back, sample());
    }

    #[test]
    fn a_print_size_is_written_down() {
        let bytes = encode_png_at(&sample(), 150.0).expect("encodes");
        let reader = png::Decoder::new(std::io::Cursor::new(bytes))
            .read_info()
            .expect("reads");
        assert_eq!(reader.info().pixel_dims.expect("has a size").xppu, 5906);
    }

    #[test]
    fn a_blinking_picture_has_two_frames_and_no_end() {
        let bytes = encode_blink([&sample(), &sample()], 700).expect("encodes");
        let reader = png::Decoder::new(std::io::Cursor::new(bytes))
            .read_info()
            .expect("reads");
        let animation = reader.info().animation_control.expect("is animated");
        assert_eq!((animation.num_frames, animation.num_plays), (2, 0));
        let frame = reader.info().frame_control.expect("has a frame");
        assert_eq!((frame.delay_num, frame.delay_den), (700, 1000));
    }

    #[test]
    fn a_jpeg_is_close_and_a_picture_without_pixels_is_refused() {
        let bytes = encode_jpeg(&sample()).expect("encodes");
        let back = image::load_from_memory(&bytes).expect("decodes").to_rgb8();
        let worst = back
            .as_raw()
            .iter()
            .zip(sample().as_raw())
            .map(|(a, b)| a.abs_diff(*b))
            .max();
        // Quality 90 on a smooth ramp: a few grey levels.
        assert!(worst.expect("has pixels") < 16);
        assert!(encode_jpeg(&RgbImage::new(0, 4)).is_err());
        assert!(encode_png(&RgbImage::new(0, 4)).is_err());
    }
}
