//! The zip package of a 3MF file: its entries are unpacked as they are read, and never more than is allowed.
use crate::meshes::{error::Fault, format::Format};
use std::io::{self, BufRead, BufReader, Cursor, Read};
use zip::{ZipArchive, result::ZipError};

/// Largest piece between two tags, and largest tag, bytes: a judgement; a vertex or a name is far smaller.
const LARGEST_PIECE: usize = 1 << 20;

/// An opened package.
pub(super) struct Package<'a> {
    archive: ZipArchive<Cursor<&'a [u8]>>,
    /// Bytes that may still be unpacked.
    left: u64,
}

impl<'a> Package<'a> {
    /// Reads the list of entries.
    pub(super) fn open(bytes: &'a [u8], most_unpacked: u64) -> Result<Self, Fault> {
        let archive = ZipArchive::new(Cursor::new(bytes));
        let archive = archive.map_err(|error| damaged("its list of entries", &error))?;
        Ok(Self {
            archive,
            left: most_unpacked,
        })
    }

    /// Whether there is an entry of this name.
    pub(super) fn has(&self, name: &str) -> bool {
        self.archive.index_for_name(name).is_some()
    }

    /// An entry, unpacked while it is read by `read`.
    pub(super) fn entry<T>(
        &mut self,
        name: &str,
        read: impl FnOnce(&mut Pieces<&mut dyn BufRead>) -> Result<T, Fault>,
    ) -> Result<T, Fault> {
        let left = self.left;
        let file = self.archive.by_name(name).map_err(|error| match error {
            ZipError::UnsupportedArchive(_) => Fault::Unsupported {
                format: Format::ThreeMf,
                found: format!("the entry \"{name}\" encrypted or packed in a rare way"),
                advice: "save it without a password",
            },
            error => damaged(name, &error),
        })?;
        let mut unpacked = BufReader::with_capacity(1 << 16, file.take(left.saturating_add(1)));
        let mut pieces = Pieces {
            inner: &mut unpacked as &mut dyn BufRead,
            read: 0,
            piece: 0,
            most: left,
        };
        let result = read(&mut pieces);
        let read = pieces.read;
        self.left = left.saturating_sub(read);
        if read > left {
            return Err(Fault::TooMany {
                what: "bytes once it is unpacked",
                found: read,
                is_least: true,
                most: left,
                advice: "export the model with a coarser mesh",
            });
        }
        result
    }
}

fn damaged(place: &str, error: &ZipError) -> Fault {
    Fault::damaged(
        Format::ThreeMf,
        format!("entry \"{place}\""),
        error.to_string(),
    )
}

/// A reader that counts, and refuses pieces without end.
pub(super) struct Pieces<R> {
    inner: R,
    read: u64,
    piece: usize,
    most: u64,
}

impl<R> Pieces<R> {
    /// A new piece begins.
    pub(super) fn next_piece(&mut self) {
        self.piece = 0;
    }
}

impl<R: BufRead> Read for Pieces<R> {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        let count = self.fill_buf()?.read(into)?;
        self.consume(count);
        Ok(count)
    }
}

impl<R: BufRead> BufRead for Pieces<R> {
    fn fill_buf(&mut self) -> io::Result<&[u8]> {
        if self.read > self.most {
            return Err(io::Error::other("more is in it than is read"));
        }
        if self.piece > LARGEST_PIECE {
            return Err(io::Error::other("a tag or a text is longer than 1 MB"));
        }
        self.inner.fill_buf()
    }

    fn consume(&mut self, count: usize) {
        self.read += count as u64;
        self.piece += count;
        self.inner.consume(count);
    }
}
