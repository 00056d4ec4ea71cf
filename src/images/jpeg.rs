//! Size and completeness of a JPEG file, from its markers alone.
//!
//! The decoder fills what a truncated file lacks with grey and calls that a success, and it reads the whole file before
//! it tells the size. So both are looked up here first.
//!
//! Source: ITU-T T.81 (1992), annex B.
use std::io::{self, BufRead, ErrorKind, Read, Seek, SeekFrom};

/// What the markers tell.
#[derive(Debug, PartialEq)]
pub(super) struct Survey {
    /// Width and height as stored.
    pub(super) size: (u32, u32),
    /// Whether the end marker is there.
    pub(super) complete: bool,
}

/// Walks the markers up to the picture data, then looks for the end marker.
///
/// # Errors
/// `UnexpectedEof` where the file ends before the picture data, `InvalidData` where no marker stands where one must.
pub(super) fn survey(file: &mut (impl BufRead + Seek)) -> io::Result<Survey> {
    file.seek(SeekFrom::Start(2))?;
    let mut size = None;
    loop {
        let marker = next_marker(file)?;
        if (0xd0..=0xd8).contains(&marker) || marker == 0x01 {
            continue; // These have no content.
        }
        if marker == 0xd9 {
            return Err(invalid("the end comes before the picture"));
        }
        let length = u16::from_be_bytes(take(file)?);
        let content = i64::from(length) - 2;
        if content < 0 {
            return Err(invalid("a segment has a length below 2"));
        }
        let mut taken = 0;
        if is_frame_header(marker) && size.is_none() {
            let head: [u8; 5] = take(file)?;
            taken = head.len() as i64;
            let [_, h1, h0, w1, w0] = head;
            let pair = |high, low| u32::from(u16::from_be_bytes([high, low]));
            size = Some((pair(w1, w0), pair(h1, h0)));
        }
        // From where it stands: a seek from the start throws the buffer away, and a file may hold millions of segments.
        file.seek_relative(content - taken)?;
        if marker == 0xda {
            let size = size.ok_or_else(|| invalid("the picture comes before its size"))?;
            let complete = has_end(file)?;
            return Ok(Survey { size, complete });
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

    /// Counts the bytes that are asked of a file.
    struct Counting {
        file: Cursor<Vec<u8>>,
        read: usize,
    }

    impl Read for Counting {
        fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
            let n = self.file.read(buffer)?;
            self.read += n;
            Ok(n)
        }
    }

    impl Seek for Counting {
        fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
            self.file.seek(to)
        }
    }

    #[test]
    fn a_file_of_many_segments_is_read_once() {
        let picture = file(&[1, 2, 0xff, 0xd9]);
        let mut bytes = picture[..2].to_vec();
        bytes.extend([0xff, 0xfe, 0, 2].repeat(50_000));
        bytes.extend(&picture[2..]);
        let length = bytes.len();
        let counting = Counting {
            file: Cursor::new(bytes),
            read: 0,
        };
        let mut reader = BufReader::with_capacity(1 << 14, counting);
        let found = survey(&mut reader).expect("a good file");
        assert_eq!((found.size, found.complete), ((300, 200), true));
        // The end is looked at once more.
        assert!(
            reader.get_ref().read <= 2 * length,
            "{}",
            reader.get_ref().read
        );
    }

    #[test]
    fn the_size_is_width_then_height() {
        let found = survey_of(file(&[1, 2, 0xff, 0xd9])).expect("a good file");
        assert_eq!((found.size, found.complete), ((300, 200), true));
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
