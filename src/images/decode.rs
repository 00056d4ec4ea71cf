//! From a file to an upright sRGB picture.
use super::{
    Error, Picture, ViewImages,
    format::{self, Content, Format},
    jpeg, mask, profile,
    profile::Channels,
    samples,
    upright::{upright, upright_size},
};
use crate::{job::View, kernels::Plane, stop};
use image::{
    ColorType, ImageDecoder, ImageError, RgbImage,
    codecs::{
        bmp::BmpDecoder, jpeg::JpegDecoder, png::PngDecoder, tiff::TiffDecoder, webp::WebPDecoder,
    },
    metadata::Orientation,
};
use std::{
    fs::File,
    io::{BufReader, ErrorKind, Read, Seek, SeekFrom},
    path::Path,
};

/// Memory for row buffers, colour profiles and the like, beside the pixels.
const WORKING_BYTES: u64 = 256 << 20;

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

/// Reads a PNG, JPEG, WebP, TIFF or BMP file: upright, in sRGB, 8 bits a channel.
///
/// The content tells the format, not the name. 16-bit samples are rounded to 8 bits; of an animation, the first picture is read.
///
/// # Errors
/// Every variant of [`Error`] but [`Error::MaskSize`].
pub fn read(path: &Path, limits: &Limits) -> Result<Picture, Error> {
    let (own_path, own_limits) = (path.to_owned(), *limits);
    // A decoder cannot ask whether it is to stop.
    let decoded = stop::wait_for(move || decode(&own_path, &own_limits))??;
    let Decoded {
        mut bytes,
        size,
        channels,
        bits,
        orientation,
        icc,
    } = decoded;
    if bits == 16 {
        samples::reduce_to_8_bits(&mut bytes);
    }
    let (alpha, kind) = match channels {
        1 => (None, Channels::Grey),
        2 => (samples::take_alpha::<2>(&mut bytes), Channels::Grey),
        3 => (None, Channels::Rgb),
        _ => (samples::take_alpha::<4>(&mut bytes), Channels::Rgb),
    };
    stop::check()?;
    let (rgb, note) = profile::to_srgb(bytes, kind, icc.as_deref());
    stop::check()?;
    Ok(assemble(rgb, alpha, size, orientation, note))
}

/// Pixels as the decoder gives them.
struct Decoded {
    bytes: Vec<u8>,
    size: (u32, u32),
    channels: u8,
    /// Bits a sample.
    bits: u16,
    orientation: Orientation,
    icc: Option<Vec<u8>>,
}

fn decode(path: &Path, limits: &Limits) -> Result<Decoded, Error> {
    let mut opened = open(path, limits)?;
    let size = opened.decoder.dimensions();
    let color = opened.decoder.color_type();
    let failed = |error| failure(path, opened.format, error);
    let orientation = opened.decoder.orientation().map_err(failed)?;
    let icc = opened.decoder.icc_profile().map_err(failed)?;
    let (channels, bits) = layout(color).ok_or_else(|| Error::RareKind {
        path: path.to_owned(),
        format: opened.format,
        found: format!("{color:?} samples"),
    })?;
    // Only now: the TIFF decoder would hold the profile's length against the size of the pixels.
    opened.decoder.set_limits(memory(limits)).map_err(failed)?;
    let mut bytes = reserve(opened.decoder.total_bytes(), path, size)?;
    opened
        .decoder
        .read_image_boxed(&mut bytes)
        .map_err(failed)?;
    Ok(Decoded {
        bytes,
        size,
        channels,
        bits,
        orientation,
        icc,
    })
}

/// Upright width and height of a picture; no pixel is decoded and no limit applied.
///
/// # Errors
/// Those of [`read`] that show before the pixels.
pub fn dimensions(path: &Path) -> Result<(u32, u32), Error> {
    let unlimited = Limits {
        max_pixels: u64::MAX,
    };
    let mut opened = open(path, &unlimited)?;
    let orientation = opened.decoder.orientation();
    let orientation = orientation.map_err(|error| failure(path, opened.format, error))?;
    Ok(upright_size(opened.decoder.dimensions(), orientation))
}

/// Reads the pictures and silhouettes of a view, both sides at the same time.
///
/// # Errors
/// Those of [`read`] and [`super::read_mask`]; where both sides fail, that of the render.
pub fn read_view(view: &View, limits: &Limits) -> Result<ViewImages, Error> {
    let side = |image, mask| {
        let picture = read(image, limits)?;
        let silhouette = mask::of_picture(mask, &picture, limits)?;
        Ok::<_, Error>((picture, silhouette))
    };
    let (render, reference) = rayon::join(
        || side(&view.render.image, &view.render.mask),
        || side(&view.reference.image, &view.reference.mask),
    );
    let ((render, render_mask), (reference, reference_mask)) = (render?, reference?);
    Ok(ViewImages {
        render,
        reference,
        render_mask,
        reference_mask,
    })
}

struct Opened {
    format: Format,
    decoder: Box<dyn ImageDecoder>,
}

/// Recognises the file and checks its size; nothing is allocated by that size yet.
fn open(path: &Path, limits: &Limits) -> Result<Opened, Error> {
    let mut file = open_file(path)?;
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
    let format = match format::recognise(&head) {
        Content::Readable(format) => format,
        Content::Other(found, advice) => {
            return Err(Error::NotReadable {
                path: path.to_owned(),
                found,
                advice,
            });
        }
    };
    check_early(path, format, &head, &mut file, limits)?;
    file.seek(SeekFrom::Start(0)).map_err(unreadable)?;
    let decoder = decoder(file, format, limits).map_err(|error| failure(path, format, error))?;
    check_size(path, format, decoder.dimensions(), limits)?;
    Ok(Opened { format, decoder })
}

fn open_file(path: &Path) -> Result<BufReader<File>, Error> {
    let fault = |source: std::io::Error| match source.kind() {
        ErrorKind::NotFound => Error::Missing {
            path: path.to_owned(),
        },
        _ => Error::Unreadable {
            path: path.to_owned(),
            source,
        },
    };
    // A folder can be opened on some systems and fails on reading only.
    if std::fs::metadata(path).map_err(fault)?.is_dir() {
        return Err(Error::Folder {
            path: path.to_owned(),
        });
    }
    let file = File::open(path).map_err(fault)?;
    Ok(BufReader::with_capacity(1 << 16, file))
}

/// Checks the size where the decoder allocates, or reads the whole file, before it tells the size.
fn check_early(
    path: &Path,
    format: Format,
    head: &[u8],
    file: &mut BufReader<File>,
    limits: &Limits,
) -> Result<(), Error> {
    match format {
        Format::Png => {
            let number = |from: usize| {
                let bytes = head.get(from..from + 4)?;
                Some(u32::from_be_bytes(bytes.try_into().ok()?))
            };
            match (number(16), number(20)) {
                (Some(width), Some(height)) => check_size(path, format, (width, height), limits),
                _ => Err(truncated(path, format)),
            }
        }
        Format::Jpeg => {
            let survey = jpeg::survey(file).map_err(|error| failure(path, format, error.into()))?;
            check_size(path, format, survey.size, limits)?;
            if survey.complete {
                Ok(())
            } else {
                Err(truncated(path, format))
            }
        }
        Format::WebP | Format::Tiff | Format::Bmp => Ok(()),
    }
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

fn decoder(
    file: BufReader<File>,
    format: Format,
    limits: &Limits,
) -> Result<Box<dyn ImageDecoder>, ImageError> {
    Ok(match format {
        Format::Png => Box::new(PngDecoder::with_limits(file, memory(limits))?),
        Format::Jpeg => Box::new(JpegDecoder::new(file)?),
        Format::WebP => Box::new(WebPDecoder::new(file)?),
        Format::Bmp => Box::new(BmpDecoder::new(file)?),
        Format::Tiff => Box::new(TiffDecoder::new(file)?),
    })
}

/// The memory a decoder may take.
fn memory(limits: &Limits) -> image::Limits {
    let mut memory = image::Limits::no_limits();
    // The widest pixel has four samples of 16 bits.
    let pixels = limits.max_pixels.saturating_mul(8);
    memory.max_alloc = Some(pixels.saturating_add(WORKING_BYTES));
    memory
}

/// Channels and bits a sample; `None` for floating point, whose range and transfer curve no file states.
fn layout(color: ColorType) -> Option<(u8, u16)> {
    match color {
        ColorType::Rgb32F | ColorType::Rgba32F => None,
        _ => {
            let channels = color.channel_count();
            let bits = color.bits_per_pixel() / u16::from(channels);
            (channels <= 4 && matches!(bits, 8 | 16)).then_some((channels, bits))
        }
    }
}

/// Zeroed memory, or an error where there is too little.
fn reserve(count: u64, path: &Path, (width, height): (u32, u32)) -> Result<Vec<u8>, Error> {
    let fault = || Error::OutOfMemory {
        path: path.to_owned(),
        width,
        height,
    };
    let count = usize::try_from(count).map_err(|_| fault())?;
    // Asked for once to see whether it is there; the vector itself then gets pages that the system hands out zeroed.
    Vec::<u8>::new()
        .try_reserve_exact(count)
        .map_err(|_| fault())?;
    Ok(vec![0; count])
}

fn assemble(
    rgb: Vec<u8>,
    alpha: Option<Vec<u8>>,
    size: (u32, u32),
    orientation: Orientation,
    note: Option<String>,
) -> Picture {
    let (width, height) = upright_size(size, orientation);
    let rgb = upright::<3>(rgb, size, orientation);
    let alpha = alpha.map(|alpha| {
        let alpha = upright::<1>(alpha, size, orientation);
        Plane::from_shape_vec((height as usize, width as usize), alpha)
            .expect("one opacity a pixel")
    });
    Picture {
        rgb: RgbImage::from_raw(width, height, rgb).expect("three samples a pixel"),
        alpha,
        notes: note.into_iter().collect(),
    }
}

fn truncated(path: &Path, format: Format) -> Error {
    Error::Truncated {
        path: path.to_owned(),
        format,
    }
}

/// What a decoder's error means for the user.
fn failure(path: &Path, format: Format, error: ImageError) -> Error {
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
