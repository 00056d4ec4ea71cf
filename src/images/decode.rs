//! From a file to an upright sRGB picture.
use super::{
    Error, Limits, Picture, PictureLook,
    embedded::Unread,
    guard::guarded,
    header::{self, Header, ImageFile, failure, layout},
    profile::{self, Channels},
    samples,
    upright::{upright, upright_size},
};
use crate::{kernels::Plane, stop};
use image::RgbImage;
use std::{io::Seek, path::Path};

/// Reads a PNG, JPEG, WebP, TIFF or BMP file: upright, in sRGB, 8 bits a channel.
///
/// The content tells the format, not the name. 16-bit samples are rounded to 8 bits; of an animation, the first picture is
/// read. A colour profile that cannot be used, or is longer than 16 MB, is left out, and a note says so.
///
/// # Errors
/// Every variant of [`Error`] but [`Error::MaskSize`] and [`Error::ShapeSize`].
pub fn read(path: &Path, limits: &Limits) -> Result<Picture, Error> {
    read_as_seen(path, limits, None)
}

/// The same of a file that was looked at.
///
/// # Errors
/// Those of [`read`], among them [`Error::Changed`] where the file is not as it was seen.
pub fn read_looked(path: &Path, limits: &Limits, look: &PictureLook) -> Result<Picture, Error> {
    read_as_seen(path, limits, Some(&look.header))
}

/// The same, where the file is as it was `seen` before.
pub(super) fn read_as_seen(
    path: &Path,
    limits: &Limits,
    seen: Option<&Header>,
) -> Result<Picture, Error> {
    let (own_path, limits, seen) = (path.to_owned(), *limits, seen.cloned());
    // A decoder cannot ask whether it is to stop.
    let (decoded, header) = stop::wait_for(move || decode(&own_path, &limits, seen.as_ref()))??;
    let Decoded {
        mut bytes,
        channels,
        bits,
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
    let (rgb, note) = profile::to_srgb(bytes, kind, icc);
    stop::check()?;
    Ok(assemble(rgb, alpha, &header, note))
}

/// Pixels as the decoder gives them.
struct Decoded {
    bytes: Vec<u8>,
    channels: u8,
    /// Bits a sample.
    bits: u16,
    icc: Result<Option<Vec<u8>>, Unread>,
}

fn decode(path: &Path, limits: &Limits, seen: Option<&Header>) -> Result<(Decoded, Header), Error> {
    let (file, header) = header::look(path, limits)?;
    if seen.is_some_and(|seen| *seen != header) {
        return Err(Error::Changed {
            path: path.to_owned(),
        });
    }
    let decoded = guarded(path, header.format, || decode_pixels(path, file, &header))?;
    Ok((decoded, header))
}

fn decode_pixels(path: &Path, mut file: ImageFile, header: &Header) -> Result<Decoded, Error> {
    let failed = |error| failure(path, header.format, error);
    let stored = header.profile.as_ref();
    let icc = stored.map(|stored| stored.read(&mut file)).transpose();
    file.rewind().map_err(|error| failed(error.into()))?;
    let decoder = header::decoder(file, header).map_err(failed)?;
    if decoder.dimensions() != header.stored {
        return Err(Error::Changed {
            path: path.to_owned(),
        });
    }
    let color = decoder.color_type();
    let (channels, bits) = layout(color).ok_or_else(|| Error::RareKind {
        path: path.to_owned(),
        format: header.format,
        found: format!("{color:?} samples"),
    })?;
    let mut bytes = reserve(decoder.total_bytes(), path, header.stored)?;
    decoder.read_image_boxed(&mut bytes).map_err(failed)?;
    Ok(Decoded {
        bytes,
        channels,
        bits,
        icc,
    })
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
    header: &Header,
    note: Option<String>,
) -> Picture {
    let (size, orientation) = (header.stored, header.orientation);
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
