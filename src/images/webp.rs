//! WebP: the place of the embedded profile, and what a file claims that the decoder would take memory for.
//!
//! The decoder takes memory for a description by the length that the file states, and for a picture by the size that
//! its innermost header states. So both are held against the file here first.
//!
//! Source: RFC 9649 (2024), sections 2.3 to 2.7.
use super::embedded::{self, Stored};
use std::io::{self, ErrorKind, Read, Seek, SeekFrom};

/// Bytes a pixel that the decoder takes beside the picture: planes of luma and chroma (1.5), opacity as colours (5), and
/// of an animation the frame and the canvas (8).
pub(super) const BESIDE_A_PIXEL: u64 = 15;

/// Walks the chunks of an extended file; the profile, where there is one.
///
/// # Errors
/// `UnexpectedEof` where a chunk that is read reaches beyond the file, `InvalidData` where sizes contradict each other.
pub(super) fn survey(file: &mut (impl Read + Seek)) -> io::Result<Option<Stored>> {
    let length = file.seek(SeekFrom::End(0))?;
    file.seek(SeekFrom::Start(12))?;
    let (kind, _) = chunk(file)?;
    if &kind != b"VP8X" {
        return Ok(None);
    }
    let head: [u8; 10] = take(file)?;
    let canvas = [side(&head[4..7]), side(&head[7..10])];
    let whole = Whole { length, canvas };
    let (mut start, mut profile) = (30, None);
    while start + 8 <= length {
        let (kind, stated) = chunk(file)?;
        let content = start + 8;
        match &kind {
            b"ICCP" if profile.is_none() => {
                whole.check_inside(content + stated)?;
                profile = Some(Stored::plain(vec![(content, stated)]));
            }
            b"EXIF" => {
                whole.check_inside(content + stated)?;
                if stated > embedded::MOST_BYTES {
                    return Err(invalid("the description is longer than 16 MB"));
                }
            }
            b"VP8 " => whole.check_picture(file)?,
            // The frame's place, size and time come before its own chunks.
            b"ANMF" => whole.check_frame(file, content + 16, content + stated)?,
            _ => {}
        }
        if matches!(&kind, b"VP8 " | b"ANMF") {
            file.seek(SeekFrom::Start(content))?;
        }
        // Passed over within what is buffered: a file may consist of empty chunks.
        file.seek_relative(padded(stated) as i64)?;
        start = content + padded(stated);
    }
    Ok(profile)
}

/// What its parts are held against.
struct Whole {
    /// Of the file.
    length: u64,
    /// Width and height of the picture.
    canvas: [u32; 2],
}

impl Whole {
    fn check_inside(&self, end: u64) -> io::Result<()> {
        if end > self.length {
            return Err(ErrorKind::UnexpectedEof.into());
        }
        Ok(())
    }

    /// A lossy picture's own size must not exceed the canvas.
    fn check_picture(&self, file: &mut impl Read) -> io::Result<()> {
        // Three bytes of a frame tag, three of a start code, then width and height.
        let head: [u8; 10] = take(file)?;
        let side = |at: usize| u32::from(u16::from_le_bytes([head[at], head[at + 1]]) & 0x3fff);
        if side(6) > self.canvas[0] || side(8) > self.canvas[1] {
            return Err(invalid("a picture in it is larger than the whole"));
        }
        Ok(())
    }

    /// A frame of an animation: its picture, or its opacity and then its picture.
    fn check_frame(&self, file: &mut (impl Read + Seek), at: u64, end: u64) -> io::Result<()> {
        let mut start = at;
        for _ in 0..2 {
            if start + 8 > end {
                break;
            }
            file.seek(SeekFrom::Start(start))?;
            let (kind, stated) = chunk(file)?;
            if &kind == b"VP8 " {
                self.check_picture(file)?;
            }
            start += 8 + padded(stated);
        }
        Ok(())
    }
}

/// Chunks begin at even places.
fn padded(length: u64) -> u64 {
    length + length % 2
}

/// A side of the canvas, which is stored less one.
fn side(bytes: &[u8]) -> u32 {
    u32::from_le_bytes([bytes[0], bytes[1], bytes[2], 0]) + 1
}

fn chunk(file: &mut impl Read) -> io::Result<([u8; 4], u64)> {
    Ok((take(file)?, u64::from(u32::from_le_bytes(take(file)?))))
}

fn take<const N: usize>(file: &mut impl Read) -> io::Result<[u8; N]> {
    let mut bytes = [0; N];
    file.read_exact(&mut bytes)?;
    Ok(bytes)
}

fn invalid(what: &'static str) -> io::Error {
    io::Error::new(ErrorKind::InvalidData, what)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Cursor;

    /// An extended file of 300 x 200 with these chunks: kind, stated length, content.
    fn found(chunks: &[(&[u8; 4], u32, &[u8])]) -> io::Result<Option<Stored>> {
        let mut bytes = b"RIFF\0\0\0\0WEBPVP8X\x0a\0\0\0".to_vec();
        bytes.extend([0x20, 0, 0, 0, 43, 1, 0, 199, 0, 0]);
        for (kind, length, content) in chunks {
            bytes.extend(*kind);
            bytes.extend(length.to_le_bytes());
            bytes.extend(*content);
        }
        survey(&mut Cursor::new(bytes))
    }

    fn kind(result: io::Result<Option<Stored>>) -> ErrorKind {
        result.expect_err("refused").kind()
    }

    #[test]
    fn the_profile_is_found_behind_chunks_of_odd_length() {
        let profile = found(&[(b"XMP ", 3, b"abc\0"), (b"ICCP", 2, b"pr")]);
        // Head, padded text, then the content of the profile.
        let expected = Stored::plain(vec![(30 + 12 + 8, 2)]);
        assert_eq!(profile.expect("sound"), Some(expected));
        assert_eq!(found(&[]).expect("sound"), None);
    }

    #[test]
    fn lengths_beyond_the_file_and_the_limit_are_refused() {
        for chunk in [b"ICCP", b"EXIF"] {
            let claimed = found(&[(chunk, u32::MAX, b"abcd")]);
            assert_eq!(kind(claimed), ErrorKind::UnexpectedEof);
        }
        let long = vec![0; (embedded::MOST_BYTES + 2) as usize];
        let description = found(&[(b"EXIF", long.len() as u32, &long)]);
        assert_eq!(kind(description), ErrorKind::InvalidData);
    }

    #[test]
    fn a_picture_larger_than_the_whole_is_refused_in_frames_too() {
        let head = |width: u16| {
            let mut head = vec![0, 0, 0, 0x9d, 1, 0x2a];
            head.extend([width.to_le_bytes(), 200_u16.to_le_bytes()].concat());
            head
        };
        assert!(found(&[(b"VP8 ", 10, &head(300))]).is_ok());
        let larger = found(&[(b"VP8 ", 10, &head(301))]);
        assert_eq!(kind(larger), ErrorKind::InvalidData);
        let frame = [vec![0; 16], b"VP8 \x0a\0\0\0".to_vec(), head(301)].concat();
        let animated = found(&[(b"ANMF", frame.len() as u32, &frame)]);
        assert_eq!(kind(animated), ErrorKind::InvalidData);
    }
}
