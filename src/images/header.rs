//! What a file says of its picture before a pixel is decoded: format, size, orientation, samples, profile.
//!
//! Nothing here takes memory by what a file claims: sizes are held against the limits first, lengths against the file.
use super::{
    Error,
    embedded::Stored,
    format::{self, Content, Format},
    guard::guarded,
    jpeg,
    png::{self, PngPicture},
    tiff,
    upright::upright_size,
    webp,
};
use crate::job::{InputFile, open_input};
use image::{
    ColorType, ImageDecoder, ImageError,
    codecs::{bmp::BmpDecoder, jpeg::JpegDecoder, tiff::TiffDecoder, webp::WebPDecoder},
    metadata::Orientation,
};
use std::{
    io::{BufReader, ErrorKind, Read, Seek, SeekFrom},
    path::Path,
};

/// Bytes of the widest pixel: four samples of 16 bits.
const WIDEST_PIXEL: u64 = 8;
/// Bytes of previews, descriptions and the like that a file may hold beside its pixels; a judgement: cameras append films
/// of some ten MB.
const ATTACHMENTS: u64 = 64 << 20;

/// Bytes that using a profile takes for each of its own: itself, three tables that may be the same bytes, and one of them
/// as numbers of 32 bits, twice.
const PROFILE_COPIES: u64 = 12;

/// What is refused before memory is taken for it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Limits {
    /// Most pixels of one image.
    pub max_pixels: u64,
}

impl Default for Limits {
    /// 100 million pixels.
    fn default() -> Self {
        Self {
            max_pixels: 100_000_000,
        }
    }
}

impl Limits {
    /// Most bytes of a file: those of the largest image without compression, and what may come with it.
    fn file_bytes(&self) -> u64 {
        let pixels = self.max_pixels.saturating_mul(WIDEST_PIXEL);
        pixels.saturating_add(ATTACHMENTS)
    }
}

/// A file while its picture is read.
pub(super) type ImageFile = BufReader<InputFile>;

/// What is known of a picture before it is decoded.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Header {
    pub format: Format,
    /// Width and height as stored.
    pub stored: (u32, u32),
    pub orientation: Orientation,
    /// Bytes of a pixel as the decoder hands it out.
    pub pixel_bytes: u64,
    /// Whether it may have opacity.
    pub has_alpha: bool,
    /// Bytes that the decoder takes beside those pixels.
    pub beside: u64,
    /// The embedded colour profile.
    pub profile: Option<Stored>,
}

impl Header {
    /// Width and height, upright.
    pub fn size(&self) -> (u32, u32) {
        upright_size(self.stored, self.orientation)
    }

    pub fn pixels(&self) -> u64 {
        u64::from(self.stored.0) * u64::from(self.stored.1)
    }

    /// Bytes that the picture takes once it is read: three a pixel, and its opacity.
    pub fn kept(&self) -> u64 {
        (3 + u64::from(self.has_alpha)).saturating_mul(self.pixels())
    }

    /// Bytes that reading the picture takes at most, at one time.
    pub fn peak(&self) -> u64 {
        let decoding = self.pixel_bytes.saturating_mul(self.pixels());
        // Opacity is taken out beside what it is taken from; grey is copied into colours, a turned picture once more.
        let bytes = if self.orientation == Orientation::NoTransforms {
            self.kept() + 2 * self.pixels()
        } else {
            self.kept() + 3 * self.pixels()
        };
        let profile = self.profile.as_ref().map_or(0, Stored::bytes);
        let profile = PROFILE_COPIES.saturating_mul(profile);
        decoding.saturating_add(self.beside).max(bytes) + profile
    }
}

/// Opens a file and reads what stands before its pixels.
///
/// # Errors
/// Those of [`super::read`] that show before the pixels.
pub(super) fn look(path: &Path, limits: &Limits) -> Result<(ImageFile, Header), Error> {
    let mut file = open(path, limits)?;
    let format = recognise(path, &mut file)?;
    let failed = |error| failure(path, format, error);
    let header = guarded(path, format, || match format {
        Format::Png => of_png(path, &mut file, limits),
        Format::Jpeg => of_jpeg(path, &mut file, limits),
        Format::WebP => of_webp(path, &mut file, limits),
        Format::Tiff => of_tiff(path, &mut file, limits),
        Format::Bmp => of_bmp(path, &mut file, limits),
    })?;
    file.rewind().map_err(|error| failed(error.into()))?;
    Ok((file, header))
}

/// Upright width and height of a picture; no pixel is decoded and no limit applied.
///
/// # Errors
/// Those of [`super::read`] that show before the pixels.
pub fn dimensions(path: &Path) -> Result<(u32, u32), Error> {
    let unlimited = Limits {
        max_pixels: u64::MAX,
    };
    Ok(look(path, &unlimited)?.1.size())
}

/// What was seen of a picture before a pixel was decoded.
#[derive(Clone, Debug)]
pub struct PictureLook {
    pub(super) header: Header,
}

impl PictureLook {
    /// Pixels of the picture.
    pub fn pixels(&self) -> u64 {
        self.header.pixels()
    }

    /// Upright width and height, pixels.
    pub fn size(&self) -> (u32, u32) {
        self.header.size()
    }

    /// Bytes that reading it takes at most, at one time.
    pub fn peak_bytes(&self) -> u64 {
        self.header.peak()
    }

    /// Bytes that it takes once it is read.
    pub fn kept_bytes(&self) -> u64 {
        self.header.kept()
    }
}

/// Reads what stands before the pixels of a picture.
///
/// # Errors
/// Those of [`super::read`] that show before the pixels.
pub fn look_at(path: &Path, limits: &Limits) -> Result<PictureLook, Error> {
    let header = look(path, limits)?.1;
    Ok(PictureLook { header })
}

/// The decoder of a picture whose header was read.
pub(super) fn decoder(
    file: ImageFile,
    header: &Header,
) -> Result<Box<dyn ImageDecoder>, ImageError> {
    Ok(match header.format {
        Format::Png => Box::new(PngPicture::new(file)?),
        Format::Jpeg => Box::new(JpegDecoder::new(file)?),
        Format::WebP => Box::new(WebPDecoder::new(file)?),
        Format::Bmp => Box::new(BmpDecoder::new(file)?),
        Format::Tiff => {
            let mut decoder = TiffDecoder::new(file)?;
            decoder.set_limits(tiff::memory(header.pixels() * header.pixel_bytes))?;
            Box::new(decoder)
        }
    })
}

fn open(path: &Path, limits: &Limits) -> Result<ImageFile, Error> {
    let file = open_input(path, limits.file_bytes());
    let file = file.map_err(|error| Error::of_input(path, error))?;
    Ok(BufReader::with_capacity(1 << 16, file))
}

fn recognise(path: &Path, file: &mut ImageFile) -> Result<Format, Error> {
    let unreadable = |source| Error::Unreadable {
        path: path.to_owned(),
        source,
    };
    let mut head = Vec::new();
    let taken = file.by_ref().take(format::HEAD_BYTES);
    { taken }.read_to_end(&mut head).map_err(unreadable)?;
    if head.is_empty() {
        return Err(Error::Empty {
            path: path.to_owned(),
        });
    }
    file.seek(SeekFrom::Start(0)).map_err(unreadable)?;
    match format::recognise(&head) {
        Content::Readable(format) => Ok(format),
        Content::Other(found, advice) => Err(Error::NotReadable {
            path: path.to_owned(),
            found,
            advice,
        }),
    }
}

fn of_png(path: &Path, file: &mut ImageFile, limits: &Limits) -> Result<Header, Error> {
    let failed = |error| failure(path, Format::Png, error);
    let survey = png::survey(file).map_err(|error| failed(error.into()))?;
    check_size(path, Format::Png, survey.size, limits)?;
    file.rewind().map_err(|error| failed(error.into()))?;
    let mut decoder = PngPicture::new(&mut *file).map_err(failed)?;
    let mut header = of_decoder(path, Format::Png, &mut decoder, limits)?;
    header.beside = decoder.beside();
    header.profile = survey.profile;
    Ok(header)
}

/// From the markers alone: the decoder reads the whole file before it tells anything.
fn of_jpeg(path: &Path, file: &mut ImageFile, limits: &Limits) -> Result<Header, Error> {
    let failed = |error: std::io::Error| failure(path, Format::Jpeg, error.into());
    let survey = jpeg::survey(file).map_err(failed)?;
    let frame = survey.frame;
    check_size(path, Format::Jpeg, frame.size, limits)?;
    if !survey.complete {
        return Err(truncated(path, Format::Jpeg));
    }
    Ok(Header {
        format: Format::Jpeg,
        stored: frame.size,
        orientation: survey.orientation,
        pixel_bytes: frame.pixel_bytes(),
        has_alpha: false,
        beside: frame.coefficient_bytes() + file.get_ref().length(),
        profile: survey.profile,
    })
}

fn of_webp(path: &Path, file: &mut ImageFile, limits: &Limits) -> Result<Header, Error> {
    let failed = |error| failure(path, Format::WebP, error);
    let profile = webp::survey(file).map_err(|error| failed(error.into()))?;
    file.rewind().map_err(|error| failed(error.into()))?;
    let mut decoder = WebPDecoder::new(&mut *file).map_err(failed)?;
    let mut header = of_decoder(path, Format::WebP, &mut decoder, limits)?;
    header.beside = webp::BESIDE_A_PIXEL.saturating_mul(header.pixels());
    header.profile = profile;
    Ok(header)
}

fn of_tiff(path: &Path, file: &mut ImageFile, limits: &Limits) -> Result<Header, Error> {
    let failed = |error| failure(path, Format::Tiff, error);
    let survey = tiff::survey(file).map_err(|error| failed(error.into()))?;
    file.rewind().map_err(|error| failed(error.into()))?;
    let mut decoder = TiffDecoder::new(&mut *file).map_err(failed)?;
    let mut header = of_decoder(path, Format::Tiff, &mut decoder, limits)?;
    header.beside = survey.beside(header.pixels().saturating_mul(header.pixel_bytes));
    header.profile = survey.profile;
    Ok(header)
}

fn of_bmp(path: &Path, file: &mut ImageFile, limits: &Limits) -> Result<Header, Error> {
    let decoder = BmpDecoder::new(&mut *file);
    let mut decoder = decoder.map_err(|error| failure(path, Format::Bmp, error))?;
    of_decoder(path, Format::Bmp, &mut decoder, limits)
}

/// What a decoder tells that has read no more than the header.
fn of_decoder(
    path: &Path,
    format: Format,
    decoder: &mut impl ImageDecoder,
    limits: &Limits,
) -> Result<Header, Error> {
    check_size(path, format, decoder.dimensions(), limits)?;
    let orientation = decoder.orientation();
    Ok(Header {
        format,
        stored: decoder.dimensions(),
        orientation: orientation.map_err(|error| failure(path, format, error))?,
        pixel_bytes: u64::from(decoder.color_type().bytes_per_pixel()),
        has_alpha: decoder.color_type().has_alpha(),
        beside: 0,
        profile: None,
    })
}

fn check_size(
    path: &Path,
    format: Format,
    (width, height): (u32, u32),
    limits: &Limits,
) -> Result<(), Error> {
    let path = path.to_owned();
    if width == 0 || height == 0 {
        return Err(Error::NoPixels {
            path,
            format,
            width,
            height,
        });
    }
    if u64::from(width) * u64::from(height) > limits.max_pixels {
        return Err(Error::TooLarge {
            path,
            width,
            height,
            max_pixels: limits.max_pixels,
        });
    }
    Ok(())
}

/// Channels and bits a sample; `None` for floating point, whose range and transfer curve no file states.
pub(super) fn layout(color: ColorType) -> Option<(u8, u16)> {
    match color {
        ColorType::Rgb32F | ColorType::Rgba32F => None,
        _ => {
            let channels = color.channel_count();
            let bits = color.bits_per_pixel() / u16::from(channels);
            (channels <= 4 && matches!(bits, 8 | 16)).then_some((channels, bits))
        }
    }
}

fn truncated(path: &Path, format: Format) -> Error {
    Error::Truncated {
        path: path.to_owned(),
        format,
    }
}

/// What a decoder's error means for the user.
pub(super) fn failure(path: &Path, format: Format, error: ImageError) -> Error {
    if ends_early(&error) {
        return truncated(path, format);
    }
    let path = path.to_owned();
    match error {
        ImageError::Unsupported(kind) => Error::RareKind {
            path,
            format,
            found: kind.to_string(),
        },
        ImageError::IoError(source) if source.kind() != ErrorKind::InvalidData => {
            Error::Unreadable { path, source }
        }
        other => Error::Damaged {
            path,
            format,
            source: Box::new(other),
        },
    }
}

/// Whether the end of the file is somewhere among the causes.
fn ends_early(error: &ImageError) -> bool {
    let mut cause: Option<&(dyn std::error::Error + 'static)> = Some(error);
    while let Some(fault) = cause {
        if let Some(io) = fault.downcast_ref::<std::io::Error>()
            && io.kind() == ErrorKind::UnexpectedEof
        {
            return true;
        }
        if let Some(ImageError::IoError(io)) = fault.downcast_ref::<ImageError>()
            && io.kind() == ErrorKind::UnexpectedEof
        {
            return true;
        }
        cause = fault.source();
    }
    false
}
