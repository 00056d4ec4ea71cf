//! Colour profiles as files hold them: in one piece or several, deflated or plain, read up to a length of their own.
//!
//! A deflated profile grows up to a thousandfold: its length is found by inflating it without keeping it, and that
//! stops at the limit too.
use flate2::bufread::ZlibDecoder;
use std::io::{self, BufRead, Read, Seek, SeekFrom};

/// Longest profile that is read, bytes: those of printing presses have some MB; a judgement.
pub(super) const MOST_BYTES: u64 = 16 << 20;

/// Where a file holds a profile.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Stored {
    /// Start and length in the file, in their order.
    pieces: Vec<(u64, u64)>,
    is_deflated: bool,
    /// Its length once it is read, or why it is not read.
    length: Result<u64, Unread>,
}

/// Why a profile is not read.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub(super) enum Unread {
    #[error("it is longer than {} MB", MOST_BYTES >> 20)]
    TooLong,
    #[error("it is damaged")]
    Damaged,
}

impl Stored {
    /// A profile in these pieces, as they are.
    pub fn plain(pieces: Vec<(u64, u64)>) -> Self {
        let lengths = pieces.iter().map(|(_, length)| *length);
        let length = lengths.fold(0, u64::saturating_add);
        Self {
            pieces,
            is_deflated: false,
            length: if length > MOST_BYTES {
                Err(Unread::TooLong)
            } else {
                Ok(length)
            },
        }
    }

    /// A profile that is deflated in one piece.
    pub fn deflated(piece: (u64, u64), file: &mut (impl BufRead + Seek)) -> Self {
        Self {
            pieces: vec![piece],
            is_deflated: true,
            length: inflated_length(piece, file),
        }
    }

    /// One whose pieces contradict each other.
    pub fn damaged() -> Self {
        Self {
            pieces: Vec::new(),
            is_deflated: false,
            length: Err(Unread::Damaged),
        }
    }

    /// Bytes of it that are read.
    pub fn bytes(&self) -> u64 {
        self.length.unwrap_or(0)
    }

    /// Reads it; the place in the file moves.
    pub fn read(&self, file: &mut (impl BufRead + Seek)) -> Result<Vec<u8>, Unread> {
        let length = self.length?;
        let mut bytes = Vec::with_capacity(usize::try_from(length).unwrap_or(0));
        for piece in &self.pieces {
            let mut part = part(*piece, file).map_err(|_| Unread::Damaged)?;
            // No more than was counted, should the file have changed since.
            let left = length - bytes.len() as u64;
            let read = if self.is_deflated {
                ZlibDecoder::new(part).take(left).read_to_end(&mut bytes)
            } else {
                part.by_ref().take(left).read_to_end(&mut bytes)
            };
            read.map_err(|_| Unread::Damaged)?;
        }
        if bytes.len() as u64 == length {
            Ok(bytes)
        } else {
            Err(Unread::Damaged)
        }
    }
}

fn part<R: BufRead + Seek>(
    (start, length): (u64, u64),
    file: &mut R,
) -> io::Result<io::Take<&mut R>> {
    file.seek(SeekFrom::Start(start))?;
    Ok(file.take(length))
}

fn inflated_length(piece: (u64, u64), file: &mut (impl BufRead + Seek)) -> Result<u64, Unread> {
    let part = part(piece, file).map_err(|_| Unread::Damaged)?;
    let mut inflated = ZlibDecoder::new(part).take(MOST_BYTES + 1);
    match io::copy(&mut inflated, &mut io::sink()) {
        Ok(length) if length > MOST_BYTES => Err(Unread::TooLong),
        Ok(length) => Ok(length),
        Err(_) => Err(Unread::Damaged),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use flate2::{Compression, write::ZlibEncoder};
    use std::io::{Cursor, Write};

    fn deflated(bytes: &[u8]) -> Vec<u8> {
        let mut encoder = ZlibEncoder::new(Vec::new(), Compression::fast());
        encoder.write_all(bytes).expect("into memory");
        encoder.finish().expect("into memory")
    }

    #[test]
    fn pieces_are_joined_in_their_order() {
        let mut file = Cursor::new(b"..cd...ab.".to_vec());
        let stored = Stored::plain(vec![(7, 2), (2, 2)]);
        assert_eq!(stored.read(&mut file), Ok(b"abcd".to_vec()));
        assert_eq!(stored.bytes(), 4);
        let beyond = Stored::plain(vec![(7, 9)]);
        assert_eq!(beyond.read(&mut file), Err(Unread::Damaged));
        let endless = Stored::plain(vec![(0, u64::MAX), (0, u64::MAX)]);
        assert_eq!(endless.read(&mut file), Err(Unread::TooLong));
    }

    #[test]
    fn a_deflated_profile_is_inflated_up_to_the_limit() {
        let most = MOST_BYTES as usize;
        for (length, expected) in [
            (0, Ok(0)),
            (most, Ok(MOST_BYTES)),
            (most + 1, Err(Unread::TooLong)),
            (most * 8, Err(Unread::TooLong)),
        ] {
            let bytes = deflated(&vec![7; length]);
            let piece = (0, bytes.len() as u64);
            let mut file = Cursor::new(bytes);
            let stored = Stored::deflated(piece, &mut file);
            assert_eq!(stored.length, expected);
            let read = stored.read(&mut file).map(|bytes| bytes.len() as u64);
            assert_eq!(read, expected);
        }
    }

    #[test]
    fn what_does_not_inflate_is_damaged() {
        let mut bytes = deflated(&[1, 2, 3, 4, 5, 6, 7, 8, 9]);
        let piece = (0, bytes.len() as u64 - 1);
        bytes[3] ^= 0x55;
        let stored = Stored::deflated(piece, &mut Cursor::new(bytes));
        assert_eq!(stored.length, Err(Unread::Damaged));
    }
}
