//! Size, orientation, profile and completeness of a JPEG file, from its markers alone.
//!
//! The decoder fills what a truncated file lacks with grey and calls that a success, and it reads the whole file before
//! it tells the size. So all of it is looked up here first.
//!
//! Source: ITU-T T.81 (1992), annex B; ICC.1:2022, annex B.4, for the profile; Exif 2.32 (CIPA DC-008-2019), 4.7.2.
use super::embedded::Stored;
use image::metadata::Orientation;
use std::io::{self, BufRead, ErrorKind, Read, Seek, SeekFrom};

/// What the markers tell.
#[derive(Debug, PartialEq)]
pub(super) struct Survey {
    pub(super) frame: Frame,
    pub(super) orientation: Orientation,
    /// The embedded profile.
    pub(super) profile: Option<Stored>,
    /// Whether the end marker is there.
    pub(super) complete: bool,
}

/// What the header of the picture itself tells.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Frame {
    /// Width and height as stored.
    pub(super) size: (u32, u32),
    components: u8,
    is_progressive: bool,
}

impl Frame {
    /// Bytes of a decoded pixel: grey stays grey, inks become colours or stay four.
    pub(super) fn pixel_bytes(self) -> u64 {
        u64::from(self.components)
    }

    /// Bytes that the decoder takes for coefficients, two each: of the whole picture where it comes in several scans, else
    /// of some rows of blocks. Blocks are 8 wide and up to four of them belong together, so sides are rounded up to 64.
    pub(super) fn coefficient_bytes(self) -> u64 {
        let padded = |side: u32| u64::from(side).next_multiple_of(64);
        let rows = match self.is_progressive {
            true => padded(self.size.1),
            false => 4 * 64,
        };
        2 * u64::from(self.components) * padded(self.size.0) * rows
    }
}

/// Walks the markers up to the picture data, then looks for the end marker.
///
/// # Errors
/// `UnexpectedEof` where the file ends before the picture data, `InvalidData` where no marker stands where one must.
pub(super) fn survey(file: &mut (impl BufRead + Seek)) -> io::Result<Survey> {
    let mut frame = None;
    let mut orientation = Orientation::NoTransforms;
    let mut profile = Pieces::default();
    walk(file, 0, |marker, (start, length), file| {
        if is_frame_header(marker) && frame.is_none() {
            frame = Some(frame_header(marker, file)?);
        } else if marker == 0xe1 {
            orientation = exif_orientation(length, file)?.unwrap_or(orientation);
        } else if marker == 0xe2 {
            profile.take((start, length), file)?;
        }
        Ok(marker != 0xda)
    })?;
    Ok(Survey {
        frame: frame.ok_or_else(|| invalid("the picture comes before its size"))?,
        orientation,
        profile: profile.joined(),
        complete: has_end(file)?,
    })
}

/// The header of the picture that begins at `place`, inside of another file.
///
/// # Errors
/// Those of [`survey`].
pub(super) fn frame_at(file: &mut (impl BufRead + Seek), place: u64) -> io::Result<Frame> {
    let mut frame = None;
    walk(file, place, |marker, _, file| {
        if is_frame_header(marker) {
            frame = Some(frame_header(marker, file)?);
        }
        Ok(frame.is_none() && marker != 0xda)
    })?;
    frame.ok_or_else(|| invalid("the picture comes before its size"))
}

/// Shows the segments from `place` on, each with the place and length of its content, until `visit` has seen enough.
/// The file is left behind the last one.
fn walk<F: BufRead + Seek>(
    file: &mut F,
    place: u64,
    mut visit: impl FnMut(u8, (u64, u64), &mut F) -> io::Result<bool>,
) -> io::Result<()> {
    file.seek(SeekFrom::Start(place.saturating_add(2)))?;
    loop {
        let marker = next_marker(file)?;
        if (0xd0..=0xd8).contains(&marker) || marker == 0x01 {
            continue; // These have no content.
        }
        if marker == 0xd9 {
            return Err(invalid("the end comes before the picture"));
        }
        let length = u16::from_be_bytes(take(file)?);
        let content = u64::from(length)
            .checked_sub(2)
            .ok_or_else(|| invalid("a segment has a length below 2"))?;
        let start = file.stream_position()?;
        let goes_on = visit(marker, (start, content), file)?;
        let read = file.stream_position()? - start;
        // Within what is buffered: a file may consist of empty segments.
        file.seek_relative(content as i64 - read as i64)?;
        if !goes_on {
            return Ok(());
        }
    }
}

fn frame_header(marker: u8, file: &mut impl Read) -> io::Result<Frame> {
    let [_, h1, h0, w1, w0, components] = take(file)?;
    let pair = |high, low| u32::from(u16::from_be_bytes([high, low]));
    Ok(Frame {
        size: (pair(w1, w0), pair(h1, h0)),
        components,
        is_progressive: marker == 0xc2,
    })
}

/// The orientation that a segment states, where it is one that could.
fn exif_orientation(length: u64, file: &mut impl Read) -> io::Result<Option<Orientation>> {
    let mut content = vec![0; usize::try_from(length).unwrap_or(0)];
    file.read_exact(&mut content)?;
    let exif = content.strip_prefix(b"Exif\0\0");
    Ok(exif.map(|exif| Orientation::from_exif_chunk(exif).unwrap_or(Orientation::NoTransforms)))
}

/// The segments that a profile is cut into, by their numbers.
#[derive(Default)]
struct Pieces {
    /// Number, stated count, place and length.
    found: Vec<(u8, u8, (u64, u64))>,
    /// More than can belong to one profile.
    too_many: bool,
}

impl Pieces {
    fn take(&mut self, (start, length): (u64, u64), file: &mut impl Read) -> io::Result<()> {
        const MARK: &[u8; 12] = b"ICC_PROFILE\0";
        if length < 14 {
            return Ok(());
        }
        let head: [u8; 14] = take(file)?;
        if &head[..12] == MARK {
            self.too_many |= self.found.len() == usize::from(u8::MAX);
            if !self.too_many {
                let place = (start + 14, length - 14);
                self.found.push((head[12], head[13], place));
            }
        }
        Ok(())
    }

    fn joined(mut self) -> Option<Stored> {
        self.found.sort_unstable();
        let count = self.found.len();
        let is_sound = |(at, (number, stated, _)): (usize, &(u8, u8, _))| {
            usize::from(*number) == at + 1 && usize::from(*stated) == count
        };
        let all_sound = self.found.iter().enumerate().all(is_sound);
        match count {
            0 => None,
            _ if self.too_many || !all_sound => Some(Stored::damaged()),
            _ => Some(Stored::plain(
                self.found.into_iter().map(|(.., place)| place).collect(),
            )),
        }
    }
}

fn invalid(what: &'static str) -> io::Error {
    io::Error::new(ErrorKind::InvalidData, what)
}

fn take<const N: usize>(file: &mut impl Read) -> io::Result<[u8; N]> {
    let mut bytes = [0; N];
    file.read_exact(&mut bytes)?;
    Ok(bytes)
}

/// SOF0 to SOF15 without the tables DHT, JPG and DAC, which lie between them.
fn is_frame_header(marker: u8) -> bool {
    (0xc0..=0xcf).contains(&marker) && !matches!(marker, 0xc4 | 0xc8 | 0xcc)
}

/// The code of the next marker. Any number of 0xff may stand before it.
fn next_marker(file: &mut impl Read) -> io::Result<u8> {
    let [mut byte] = take(file)?;
    if byte != 0xff {
        return Err(invalid("no marker follows a segment"));
    }
    while byte == 0xff {
        [byte] = take(file)?;
    }
    Ok(byte)
}

/// Whether the end marker follows. Picture data cannot hold one: there, 0xff is always followed by 0 or a restart.
fn has_end(file: &mut (impl BufRead + Seek)) -> io::Result<bool> {
    let data = file.stream_position()?;
    let length = file.seek(SeekFrom::End(0))?;
    if length < data + 2 {
        return Ok(false);
    }
    file.seek(SeekFrom::Start(length - 2))?;
    if take(file)? == [0xff, 0xd9] {
        return Ok(true);
    }
    // Something follows the picture, or the end is missing.
    file.seek(SeekFrom::Start(data))?;
    let mut last = 0;
    loop {
        let bytes = file.fill_buf()?;
        let Some(&newest) = bytes.last() else {
            return Ok(false);
        };
        if (last == 0xff && bytes[0] == 0xd9) || bytes.windows(2).any(|pair| pair == [0xff, 0xd9]) {
            return Ok(true);
        }
        last = newest;
        let used = bytes.len();
        file.consume(used);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::{BufReader, Cursor};

    /// A file header, a size of 300 x 200, the start of the picture data, and `data`.
    fn file(data: &[u8]) -> Vec<u8> {
        let mut bytes = vec![0xff, 0xd8, 0xff, 0xe0, 0, 4, 1, 2];
        bytes.extend([0xff, 0xff, 0xc0, 0, 8, 8, 0, 200, 1, 44, 1]);
        bytes.extend([0xff, 0xda, 0, 3, 0]);
        bytes.extend(data);
        bytes
    }

    fn survey_of(bytes: Vec<u8>) -> io::Result<Survey> {
        // A small buffer, so that the end marker also falls on a border between two buffers.
        survey(&mut BufReader::with_capacity(3, Cursor::new(bytes)))
    }

    #[test]
    fn the_size_is_width_then_height() {
        let found = survey_of(file(&[1, 2, 0xff, 0xd9])).expect("a good file");
        assert_eq!((found.frame.size, found.complete), ((300, 200), true));
    }

    #[test]
    fn the_end_is_found_before_trailing_bytes_wherever_it_lies() {
        for before in 0..7 {
            let mut data = vec![7; before];
            assert!(!survey_of(file(&data)).expect("a readable head").complete);
            data.extend([0xff, 0xd9, 0, 0, 0]);
            assert!(survey_of(file(&data)).expect("a good file").complete);
        }
    }

    #[test]
    fn an_end_marker_inside_an_embedded_preview_does_not_count() {
        let mut bytes = vec![0xff, 0xd8, 0xff, 0xe1, 0, 6, 0xff, 0xd8, 0xff, 0xd9];
        bytes.extend(&file(&[1, 2, 3])[2..]);
        assert!(!survey_of(bytes).expect("a readable head").complete);
    }
}
