//! PNG: a decoder that leaves out what nobody asks for, and the place of the embedded profile.
//!
//! The usual decoder inflates the profile, and holds all texts, before it tells the size of the picture. Here both are
//! passed over.
//!
//! Source: ISO/IEC 15948:2004.
use super::embedded::Stored;
use image::{
    ColorType, ImageDecoder, ImageError, ImageFormat, ImageResult,
    error::{DecodingError, LimitError, LimitErrorKind, UnsupportedError, UnsupportedErrorKind},
};
use png::{BitDepth, Transformations};
use std::io::{self, BufRead, ErrorKind, Read, Seek, SeekFrom};

/// Bytes that the decoder may take for a description (Exif); a judgement.
const DESCRIPTION: u64 = 16 << 20;
/// Rows that the decoder holds at a time, at most.
const ROWS: u64 = 8;
/// Bytes of the widest pixel: four samples of 16 bits.
const WIDEST_PIXEL: u64 = 8;

/// What the chunks before the pixels tell.
#[derive(Debug, PartialEq)]
pub(super) struct Survey {
    /// Width and height as stored.
    pub size: (u32, u32),
    /// The first embedded profile.
    pub profile: Option<Stored>,
}

/// Walks the chunks up to the pixels.
///
/// # Errors
/// `UnexpectedEof` where the file ends before them, `InvalidData` where the size does not come first.
pub(super) fn survey(file: &mut (impl BufRead + Seek)) -> io::Result<Survey> {
    file.seek(SeekFrom::Start(8))?;
    let (mut start, mut found) = (8, None);
    loop {
        let length = u64::from(u32::from_be_bytes(take(file)?));
        let kind: [u8; 4] = take(file)?;
        match (&kind, &mut found) {
            (b"IHDR", None) => {
                let side = |bytes| u32::from_be_bytes(bytes);
                found = Some(Survey {
                    size: (side(take(file)?), side(take(file)?)),
                    profile: None,
                });
                file.seek(SeekFrom::Start(start + 8))?;
            }
            (b"iCCP", Some(survey)) if survey.profile.is_none() => {
                survey.profile = Some(profile((start + 8, length), file));
                file.seek(SeekFrom::Start(start + 8))?;
            }
            (b"IDAT" | b"IEND", _) => break,
            _ => {}
        }
        // Content and checksum are passed over within what is buffered: a file may consist of empty chunks.
        file.seek_relative(length as i64 + 4)?;
        start += 12 + length;
    }
    found.ok_or_else(|| io::Error::new(ErrorKind::InvalidData, "the size does not come first"))
}

fn take<const N: usize>(file: &mut impl Read) -> io::Result<[u8; N]> {
    let mut bytes = [0; N];
    file.read_exact(&mut bytes)?;
    Ok(bytes)
}

/// The profile behind its name (up to 79 bytes and a zero) and the method of compression (0).
fn profile((start, length): (u64, u64), file: &mut (impl BufRead + Seek)) -> Stored {
    let mut head = Vec::new();
    let read = file.by_ref().take(length.min(81)).read_to_end(&mut head);
    let end = head.iter().position(|byte| *byte == 0);
    match (read, end) {
        (Ok(_), Some(end @ 1..)) if head.get(end + 1) == Some(&0) => {
            let name = end as u64 + 2;
            Stored::deflated((start + name, length - name), file)
        }
        _ => Stored::damaged(),
    }
}

/// A decoder of the first picture alone.
pub(super) struct PngPicture<R: BufRead + Seek> {
    reader: png::Reader<R>,
    color: ColorType,
}

impl<R: BufRead + Seek> PngPicture<R> {
    /// Reads up to the pixels.
    pub fn new(file: R) -> ImageResult<Self> {
        let mut decoder = png::Decoder::new(file);
        decoder.set_ignore_text_chunk(true);
        decoder.set_ignore_iccp_chunk(true);
        decoder.set_transformations(Transformations::EXPAND);
        let info = decoder.read_header_info().map_err(image_error)?;
        let rows = rows(info.width);
        decoder.set_limits(png::Limits {
            bytes: usize::try_from(rows + DESCRIPTION).unwrap_or(usize::MAX),
        });
        let reader = decoder.read_info().map_err(image_error)?;
        let color = match reader.output_color_type() {
            (png::ColorType::Grayscale, BitDepth::Eight) => ColorType::L8,
            (png::ColorType::Grayscale, BitDepth::Sixteen) => ColorType::L16,
            (png::ColorType::GrayscaleAlpha, BitDepth::Eight) => ColorType::La8,
            (png::ColorType::GrayscaleAlpha, BitDepth::Sixteen) => ColorType::La16,
            (png::ColorType::Rgb, BitDepth::Eight) => ColorType::Rgb8,
            (png::ColorType::Rgb, BitDepth::Sixteen) => ColorType::Rgb16,
            (png::ColorType::Rgba, BitDepth::Eight) => ColorType::Rgba8,
            (png::ColorType::Rgba, BitDepth::Sixteen) => ColorType::Rgba16,
            (color, depth) => return Err(rare(format!("{color:?} samples of {depth:?} bits"))),
        };
        Ok(Self { reader, color })
    }

    /// Bytes that it takes beside the picture.
    pub fn beside(&self) -> u64 {
        let description = self.reader.info().exif_metadata.as_ref();
        // It is there twice, and was read into a buffer that doubles.
        rows(self.reader.info().width) + 4 * description.map_or(0, |d| d.len() as u64)
    }
}

fn rows(width: u32) -> u64 {
    ROWS * WIDEST_PIXEL * u64::from(width)
}

impl<R: BufRead + Seek> ImageDecoder for PngPicture<R> {
    fn dimensions(&self) -> (u32, u32) {
        self.reader.info().size()
    }

    fn color_type(&self) -> ColorType {
        self.color
    }

    fn exif_metadata(&mut self) -> ImageResult<Option<Vec<u8>>> {
        let exif = self.reader.info().exif_metadata.as_ref();
        Ok(exif.map(|exif| exif.to_vec()))
    }

    fn read_image(mut self, pixels: &mut [u8]) -> ImageResult<()> {
        self.reader.next_frame(pixels).map_err(image_error)?;
        if self.color.bytes_per_pixel() / self.color.channel_count() == 2 {
            for sample in pixels.as_chunks_mut::<2>().0 {
                *sample = u16::from_be_bytes(*sample).to_ne_bytes();
            }
        }
        Ok(())
    }

    fn read_image_boxed(self: Box<Self>, pixels: &mut [u8]) -> ImageResult<()> {
        (*self).read_image(pixels)
    }
}

fn image_error(error: png::DecodingError) -> ImageError {
    match error {
        png::DecodingError::IoError(source) => ImageError::IoError(source),
        png::DecodingError::LimitsExceeded => {
            ImageError::Limits(LimitError::from_kind(LimitErrorKind::InsufficientMemory))
        }
        other => ImageError::Decoding(DecodingError::new(ImageFormat::Png.into(), other)),
    }
}

fn rare(what: String) -> ImageError {
    let kind = UnsupportedErrorKind::GenericFeature(what);
    ImageError::Unsupported(UnsupportedError::from_format_and_kind(
        ImageFormat::Png.into(),
        kind,
    ))
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Cursor;

    fn file(chunks: &[(&[u8; 4], &[u8])]) -> Cursor<Vec<u8>> {
        let mut bytes = b"\x89PNG\r\n\x1a\n".to_vec();
        for (kind, content) in chunks {
            bytes.extend((content.len() as u32).to_be_bytes());
            bytes.extend(*kind);
            bytes.extend(*content);
            bytes.extend([0; 4]);
        }
        Cursor::new(bytes)
    }

    const SIZE: (&[u8; 4], &[u8]) = (b"IHDR", &[0, 0, 1, 44, 0, 0, 0, 200, 8, 2, 0, 0, 0]);

    #[test]
    fn size_and_profile_are_found_before_the_pixels() {
        // A name, the method, and an empty deflated stream.
        let profile = b"p\0\0\x78\x9c\x03\0\0\0\0\x01";
        let found = survey(&mut file(&[
            SIZE,
            (b"tEXt", b"a\0b"),
            (b"iCCP", profile),
            (b"iCCP", b"second"),
            (b"IDAT", b""),
        ]));
        let found = found.expect("a good head");
        assert_eq!(found.size, (300, 200));
        assert!(
            found
                .profile
                .is_some_and(|profile| profile != Stored::damaged())
        );
        let found = survey(&mut file(&[SIZE, (b"IDAT", b""), (b"iCCP", profile)]));
        assert_eq!(found.expect("a good head").profile, None);
    }

    #[test]
    fn a_profile_without_a_name_or_with_another_method_is_damaged() {
        for content in [&b""[..], b"\0\0\x78", b"p\0\x01\x78", b"p\0", &[7; 100]] {
            let found = survey(&mut file(&[SIZE, (b"iCCP", content), (b"IEND", b"")]));
            let found = found.expect("a good head").profile;
            assert_eq!(found, Some(Stored::damaged()), "{content:?}");
        }
    }

    #[test]
    fn a_file_that_ends_or_begins_otherwise_is_an_error() {
        let kind = |chunks| survey(&mut file(chunks)).map_err(|error| error.kind());
        assert_eq!(kind(&[SIZE]), Err(ErrorKind::UnexpectedEof));
        assert_eq!(kind(&[(b"IDAT", b"")]), Err(ErrorKind::InvalidData));
    }
}
