//! TIFF: the place of the embedded profile, and what the directory claims that the decoder would take memory for.
//!
//! The decoder takes some thirty bytes of memory for each entry of a table, and for each byte of a profile as well. So
//! the profile is read past it, tables have a largest length, and a part of the picture that is stored as JPEG must not
//! be larger than the place it is for.
//!
//! Source: TIFF 6.0 (1992), sections 2, 15 and 22; ICC.1:2022, annex B.4; BigTIFF as all readers have it, from memory.
use super::{embedded::Stored, jpeg};
use std::io::{self, BufRead, ErrorKind, Seek, SeekFrom};

/// Most entries of a table: the largest pictures have far fewer strips or tiles; a judgement.
const MOST_ENTRIES: u64 = 1 << 20;
/// Bytes that the decoder takes for an entry of a table: as a value of any type, then twice as a number.
const ENTRY_BYTES: u64 = 64;
/// Most pixels of a tile: it may be larger than the picture; a judgement.
const MOST_PART_PIXELS: u64 = 1 << 24;
/// Bytes by which a part may be longer than its pixels; a judgement.
const SLACK: u64 = 1 << 20;
/// Bytes of the widest pixel.
const WIDEST_PIXEL: u64 = 8;

const WIDTH: u16 = 256;
const HEIGHT: u16 = 257;
const COMPRESSION: u16 = 259;
const STRIP_OFFSETS: u16 = 273;
const ROWS_PER_STRIP: u16 = 278;
const STRIP_LENGTHS: u16 = 279;
const TILE_WIDTH: u16 = 322;
const TILE_HEIGHT: u16 = 323;
const TILE_OFFSETS: u16 = 324;
const TILE_LENGTHS: u16 = 325;
/// Tags up to this one describe the picture, and the decoder reads them; the others it reads when asked.
const LAST_OF_THE_PICTURE: u16 = 600;
const PROFILE: u16 = 34675;
/// The type of a text; nothing that the decoder reads is one.
const TEXT: u16 = 2;
/// The compression that holds parts as JPEG.
const JPEG: u64 = 7;

/// What the first directory tells.
#[derive(Debug, PartialEq)]
pub(super) struct Survey {
    pub profile: Option<Stored>,
    /// Bytes that the decoder takes beside the pixels.
    beside: u64,
}

impl Survey {
    /// Bytes that the decoder takes beside the picture of `pixels` bytes: it is there once more, with a fourth channel
    /// where it is made of inks.
    pub fn beside(&self, pixels: u64) -> u64 {
        self.beside.saturating_add(pixels.saturating_mul(4) / 3)
    }
}

/// The memory that the decoder may take for a picture of `pixels` bytes and for a part of it as it is stored.
pub(super) fn memory(pixels: u64) -> image::Limits {
    let mut memory = image::Limits::no_limits();
    memory.max_alloc = Some(pixels.saturating_mul(3).saturating_add(SLACK));
    memory
}

/// Reads the first directory.
///
/// # Errors
/// `UnexpectedEof` where the file ends before it, `InvalidData` where a table or a part is larger than it can be.
pub(super) fn survey(file: &mut (impl BufRead + Seek)) -> io::Result<Survey> {
    let mut directory = Directory::read(file)?;
    let is_table = |e: &&Entry| e.tag <= LAST_OF_THE_PICTURE && e.kind != TEXT;
    let tables = directory.entries.iter().filter(is_table);
    let longest = tables.map(|e| e.count).max().unwrap_or(0);
    if longest > MOST_ENTRIES {
        return Err(invalid("a table in it is too long"));
    }
    let profile = directory.entry(PROFILE).cloned();
    let (width, height) = directory.part_size()?;
    if width.saturating_mul(height) > MOST_PART_PIXELS.max(directory.pixels()?) {
        return Err(invalid("its tiles are larger than the picture"));
    }
    let mut beside = ENTRY_BYTES * longest + WIDEST_PIXEL * width + SLACK;
    if directory.number(COMPRESSION)? == Some(JPEG) {
        beside = beside.saturating_add(directory.jpeg_parts((width, height))?);
    }
    Ok(Survey {
        profile: profile.map(|entry| match entry.kind {
            1 | 6 | 7 => Stored::plain(vec![(entry.place, entry.count)]),
            _ => Stored::damaged(),
        }),
        beside,
    })
}

#[derive(Clone, Copy, Debug)]
struct Entry {
    tag: u16,
    kind: u16,
    count: u64,
    /// Where its values lie.
    place: u64,
}

struct Directory<'a, F> {
    file: &'a mut F,
    is_little: bool,
    is_big: bool,
    entries: Vec<Entry>,
}

impl<'a, F: BufRead + Seek> Directory<'a, F> {
    fn read(file: &'a mut F) -> io::Result<Self> {
        file.seek(SeekFrom::Start(0))?;
        let mut mark = [0; 4];
        file.read_exact(&mut mark)?;
        let mut directory = Self {
            file,
            is_little: mark[0] == b'I',
            is_big: mark.contains(&43),
            entries: Vec::new(),
        };
        if directory.is_big {
            directory.uint(4)?; // The length of offsets, which is always 8.
        }
        let start = directory.offset()?;
        directory.file.seek(SeekFrom::Start(start))?;
        let (count, first, length) = if directory.is_big {
            (directory.uint(8)?, start.saturating_add(8), 20)
        } else {
            (directory.uint(2)?, start.saturating_add(2), 12)
        };
        if count > u64::from(u16::MAX) {
            return Err(invalid("its directory is too long"));
        }
        for index in 0..count {
            let entry = directory.next_entry(first.saturating_add(index * length))?;
            directory.entries.push(entry);
        }
        // Where the values are elsewhere the entry says where.
        for index in 0..directory.entries.len() {
            let entry = directory.entries[index];
            let inside = if directory.is_big { 8 } else { 4 };
            if entry.count.saturating_mul(value_bytes(entry.kind)) > inside {
                directory.file.seek(SeekFrom::Start(entry.place))?;
                directory.entries[index].place = directory.offset()?;
            }
        }
        Ok(directory)
    }

    /// The entry at the place that has been reached; its values as if they lay in it.
    fn next_entry(&mut self, at: u64) -> io::Result<Entry> {
        let (tag, kind) = (self.uint(2)? as u16, self.uint(2)? as u16);
        let (count, head) = match self.is_big {
            true => (self.uint(8)?, 12),
            false => (self.uint(4)?, 8),
        };
        self.offset()?;
        Ok(Entry {
            tag,
            kind,
            count,
            place: at.saturating_add(head),
        })
    }

    fn offset(&mut self) -> io::Result<u64> {
        self.uint(if self.is_big { 8 } else { 4 })
    }

    fn uint(&mut self, length: usize) -> io::Result<u64> {
        let mut bytes = [0; 8];
        self.file.read_exact(&mut bytes[..length])?;
        if self.is_little {
            return Ok(u64::from_le_bytes(bytes));
        }
        bytes.rotate_right(8 - length);
        Ok(u64::from_be_bytes(bytes))
    }

    fn entry(&self, tag: u16) -> Option<&Entry> {
        self.entries.iter().find(|entry| entry.tag == tag)
    }

    /// The first number of an entry; `None` where there is none.
    fn number(&mut self, tag: u16) -> io::Result<Option<u64>> {
        Ok(self.numbers(tag, 1)?.first().copied())
    }

    /// The first numbers of an entry, up to `most`.
    fn numbers(&mut self, tag: u16, most: u64) -> io::Result<Vec<u64>> {
        let Some(entry) = self.entry(tag).copied() else {
            return Ok(Vec::new());
        };
        let length = match entry.kind {
            1 | 3 | 4 | 13 | 16 | 18 => value_bytes(entry.kind) as usize,
            _ => return Err(invalid("a number in it is of another type")),
        };
        self.file.seek(SeekFrom::Start(entry.place))?;
        (0..entry.count.min(most))
            .map(|_| self.uint(length))
            .collect()
    }

    fn pixels(&mut self) -> io::Result<u64> {
        let sides = (self.number(WIDTH)?, self.number(HEIGHT)?);
        Ok(sides.0.unwrap_or(0).saturating_mul(sides.1.unwrap_or(0)))
    }

    /// Width and height of a strip or tile.
    fn part_size(&mut self) -> io::Result<(u64, u64)> {
        if let (Some(width), Some(height)) = (self.number(TILE_WIDTH)?, self.number(TILE_HEIGHT)?) {
            return Ok((width, height));
        }
        let height = self.number(HEIGHT)?.unwrap_or(0);
        let rows = self.number(ROWS_PER_STRIP)?.unwrap_or(height);
        Ok((self.number(WIDTH)?.unwrap_or(0), rows.min(height)))
    }

    /// Bytes that the decoder takes for one part: as it is stored, in a buffer that doubles, and decoded.
    fn jpeg_parts(&mut self, (width, height): (u64, u64)) -> io::Result<u64> {
        let both = [(STRIP_OFFSETS, STRIP_LENGTHS), (TILE_OFFSETS, TILE_LENGTHS)];
        let mut most = 0;
        for (offsets, lengths) in both {
            for place in self.numbers(offsets, MOST_ENTRIES)? {
                let frame = jpeg::frame_at(self.file, place)?;
                let (w, h) = (u64::from(frame.size.0), u64::from(frame.size.1));
                // The blocks at the border may be filled up.
                if w > width.saturating_add(15) || h > height.saturating_add(15) {
                    return Err(invalid("a part of it is larger than its place"));
                }
                most = most.max(w * h * frame.pixel_bytes() + frame.coefficient_bytes());
            }
            let longest = self.numbers(lengths, MOST_ENTRIES)?.into_iter().max();
            most = most.saturating_add(longest.unwrap_or(0).saturating_mul(2));
        }
        Ok(most)
    }
}

/// Bytes of a value by its type.
fn value_bytes(kind: u16) -> u64 {
    match kind {
        3 | 8 => 2,
        4 | 9 | 11 | 13 => 4,
        5 | 10 | 12 | 16 | 17 | 18 => 8,
        _ => 1,
    }
}

fn invalid(what: &'static str) -> io::Error {
    io::Error::new(ErrorKind::InvalidData, what)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Cursor;

    /// A directory of these entries (tag, type, count, value), little-endian or not, in a BigTIFF or not; then `rest`.
    fn file(is_little: bool, is_big: bool, entries: &[[u64; 4]], rest: &[u8]) -> Cursor<Vec<u8>> {
        let mut bytes = if is_little {
            b"II".to_vec()
        } else {
            b"MM".to_vec()
        };
        let push = |bytes: &mut Vec<u8>, value: u64, length: usize| match is_little {
            true => bytes.extend(&value.to_le_bytes()[..length]),
            false => bytes.extend(&value.to_be_bytes()[8 - length..]),
        };
        let wide = if is_big { 8 } else { 4 };
        push(&mut bytes, if is_big { 43 } else { 42 }, 2);
        if is_big {
            push(&mut bytes, 8, 2);
            push(&mut bytes, 0, 2);
        }
        let start = bytes.len() as u64 + wide as u64;
        push(&mut bytes, start, wide);
        push(&mut bytes, entries.len() as u64, if is_big { 8 } else { 2 });
        for [tag, kind, count, value] in entries {
            push(&mut bytes, *tag, 2);
            push(&mut bytes, *kind, 2);
            push(&mut bytes, *count, wide);
            let length = (value_bytes(*kind as u16) * count).min(wide as u64) as usize;
            push(&mut bytes, *value, length);
            bytes.extend(vec![0; wide - length]);
        }
        bytes.extend(rest);
        Cursor::new(bytes)
    }

    fn fault(entries: &[[u64; 4]], rest: &[u8]) -> String {
        let found = survey(&mut file(true, false, entries, rest));
        found.expect_err("refused").to_string()
    }

    const SIZE: [[u64; 4]; 2] = [[256, 3, 1, 300], [257, 4, 1, 200]];

    #[test]
    fn the_profile_is_found_in_every_kind_of_file() {
        for (is_little, is_big) in [(true, false), (false, false), (true, true), (false, true)] {
            let entries = [SIZE[0], SIZE[1], [34675, 7, 9, 77]];
            let found = survey(&mut file(is_little, is_big, &entries, &[])).expect("sound");
            assert_eq!(found.profile, Some(Stored::plain(vec![(77, 9)])));
            let found = survey(&mut file(is_little, is_big, &SIZE, &[])).expect("sound");
            assert_eq!(found.profile, None);
        }
    }

    #[test]
    fn tables_and_tiles_beyond_all_pictures_are_refused() {
        let strips = [SIZE[0], SIZE[1], [273, 4, MOST_ENTRIES + 1, 77]];
        assert!(fault(&strips, &[]).contains("too long"));
        let tiles = [SIZE[0], SIZE[1], [322, 4, 1, 1 << 20], [323, 4, 1, 1 << 20]];
        assert!(fault(&tiles, &[]).contains("larger than the picture"));
    }

    #[test]
    fn a_part_as_jpeg_must_fit_its_place() {
        let entries = |place| {
            let more = [[259, 3, 1, 7], [273, 4, 1, place], [279, 4, 1, 30]];
            [&SIZE[..], &more].concat()
        };
        let place = file(true, false, &entries(0), &[]).into_inner().len() as u64;
        let part = |side: u16| {
            let mut part = vec![0xff, 0xd8, 0xff, 0xc2, 0, 17, 8];
            part.extend([side.to_be_bytes(), side.to_be_bytes()].concat());
            part.extend([3, 1, 0x22, 0, 2, 0x11, 0, 3, 0x11, 0]);
            part
        };
        let sound = survey(&mut file(true, false, &entries(place), &part(200)));
        // Three bytes a pixel, two for each of its progressive coefficients, of whole blocks of 64.
        let least = 200 * 200 * 3 + 256 * 256 * 3 * 2;
        assert!(sound.expect("it fits").beside >= least);
        assert!(fault(&entries(place), &part(60_000)).contains("larger than its place"));
    }
}
