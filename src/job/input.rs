//! Opening an input file: a regular file, at once, and no more of it than is allowed.
//!
//! A pipe is waited for until somebody writes into it, a device need not end, and a folder fails only when it is read.
//! So a file is opened without waiting and its kind is looked up on what was opened: nothing can be put in its place
//! in between. Everything that a user names is opened here.
use std::{
    fs::{self, File, FileType, OpenOptions},
    io::{self, Read, Seek, SeekFrom},
    path::Path,
};

/// Why an input file cannot be used. The text goes behind the path.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum InputError {
    /// There is nothing at the path.
    #[error("there is no such file; check the name and the folder it is relative to")]
    Missing,
    /// There is something else than a file.
    #[error("is {found}; name a file")]
    NotAFile {
        /// What it is, such as "a folder".
        found: &'static str,
    },
    /// It is longer than what is read.
    #[error("has {length} bytes; at most {most} are read")]
    TooLong {
        /// Its length.
        length: u64,
        /// What is allowed.
        most: u64,
    },
    /// The operating system does not hand it out.
    #[error("cannot be opened or read ({0}); check its permissions and its drive")]
    Unreadable(#[source] io::Error),
}

impl From<InputError> for io::Error {
    /// Keeps the kind that the operating system would have given.
    fn from(error: InputError) -> Self {
        match error {
            InputError::Unreadable(source) => source,
            InputError::Missing => Self::new(io::ErrorKind::NotFound, error),
            InputError::NotAFile { .. } => Self::new(io::ErrorKind::InvalidInput, error),
            InputError::TooLong { .. } => Self::new(io::ErrorKind::FileTooLarge, error),
        }
    }
}

/// A regular file, opened for reading. It ends where it ended when it was opened, also while somebody appends to it.
#[derive(Debug)]
pub struct InputFile {
    file: File,
    at: u64,
    length: u64,
}

impl InputFile {
    /// Its length in bytes.
    pub fn length(&self) -> u64 {
        self.length
    }

    /// The file itself, for those who read no more than [`Self::length`] on their own.
    #[cfg(feature = "service")]
    pub fn into_file(self) -> File {
        self.file
    }
}

impl Read for InputFile {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let left = usize::try_from(self.length.saturating_sub(self.at)).unwrap_or(usize::MAX);
        let room = buffer.len().min(left);
        let count = self.file.read(&mut buffer[..room])?;
        self.at += count as u64;
        Ok(count)
    }
}

impl Seek for InputFile {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        let place = match to {
            SeekFrom::Start(place) => Some(place),
            SeekFrom::Current(by) => self.at.checked_add_signed(by),
            SeekFrom::End(by) => self.length.checked_add_signed(by),
        };
        let before_start = || io::Error::from(io::ErrorKind::InvalidInput);
        self.at = self
            .file
            .seek(SeekFrom::Start(place.ok_or_else(before_start)?))?;
        Ok(self.at)
    }

    fn stream_position(&mut self) -> io::Result<u64> {
        Ok(self.at)
    }
}

/// Opens a file of at most `most` bytes for reading.
///
/// # Errors
/// Every variant of [`InputError`], at once: nothing is waited for.
pub fn open_input(path: &Path, most: u64) -> Result<InputFile, InputError> {
    let mut options = OpenOptions::new();
    options.read(true);
    #[cfg(unix)]
    {
        use std::os::unix::fs::OpenOptionsExt;
        // Neither waits for the other end of a pipe, nor becomes the program of a terminal.
        let flags = rustix::fs::OFlags::NONBLOCK | rustix::fs::OFlags::NOCTTY;
        options.custom_flags(flags.bits() as i32);
    }
    let file = options
        .open(path)
        .map_err(|source| not_opened(path, source))?;
    let data = file.metadata().map_err(InputError::Unreadable)?;
    if !data.is_file() {
        return Err(InputError::NotAFile {
            found: kind(data.file_type()),
        });
    }
    let length = data.len();
    if length > most {
        return Err(InputError::TooLong { length, most });
    }
    Ok(InputFile {
        file,
        at: 0,
        length,
    })
}

/// The bytes of a file of at most `most` bytes.
///
/// # Errors
/// Those of [`open_input`].
pub fn read_input(path: &Path, most: u64) -> Result<Vec<u8>, InputError> {
    let mut file = open_input(path, most)?;
    let mut bytes = Vec::with_capacity(usize::try_from(file.length).unwrap_or(0));
    file.read_to_end(&mut bytes)
        .map_err(InputError::Unreadable)?;
    Ok(bytes)
}

/// Sockets, and folders on some systems, cannot be opened at all.
fn not_opened(path: &Path, source: io::Error) -> InputError {
    if source.kind() == io::ErrorKind::NotFound {
        return InputError::Missing;
    }
    match fs::metadata(path) {
        Ok(data) if !data.is_file() => InputError::NotAFile {
            found: kind(data.file_type()),
        },
        _ => InputError::Unreadable(source),
    }
}

fn kind(found: FileType) -> &'static str {
    #[cfg(unix)]
    {
        use std::os::unix::fs::FileTypeExt;
        if found.is_fifo() {
            return "a pipe";
        }
        if found.is_socket() {
            return "a socket";
        }
        if found.is_char_device() || found.is_block_device() {
            return "a device";
        }
    }
    if found.is_dir() {
        "a folder"
    } else {
        "no regular file"
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Write;

    #[test]
    fn a_file_is_read_up_to_the_limit_and_refused_beyond() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("a");
        fs::write(&path, b"12345").expect("written");
        assert_eq!(read_input(&path, 5).expect("the limit itself"), b"12345");
        let error = read_input(&path, 4).expect_err("too long");
        assert_eq!(error.to_string(), "has 5 bytes; at most 4 are read");
        let error = read_input(&folder.path().join("b"), 4).expect_err("missing");
        assert!(matches!(error, InputError::Missing));
        assert_eq!(io::Error::from(error).kind(), io::ErrorKind::NotFound);
    }

    #[test]
    fn what_is_appended_after_the_opening_is_not_read() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("a");
        fs::write(&path, b"12345").expect("written");
        let mut input = open_input(&path, 5).expect("a file");
        let mut other = OpenOptions::new().append(true).open(&path).expect("open");
        other.write_all(b"678").expect("appended");
        assert_eq!(input.seek(SeekFrom::End(-2)).expect("inside"), 3);
        let mut rest = Vec::new();
        input.read_to_end(&mut rest).expect("read");
        assert_eq!(rest, b"45");
        assert_eq!(input.seek(SeekFrom::Current(-4)).expect("inside"), 1);
        assert!(input.seek(SeekFrom::Current(-2)).is_err());
        // Beyond the end there is nothing, as in any file.
        assert_eq!(input.seek(SeekFrom::Start(9)).expect("beyond"), 9);
        assert_eq!(input.read(&mut [0; 4]).expect("the end"), 0);
    }

    #[cfg(unix)]
    #[test]
    fn pipes_sockets_devices_and_folders_are_refused_at_once() {
        let folder = tempfile::tempdir().expect("a folder");
        let at = |name: &str| folder.path().join(name);
        let made = std::process::Command::new("mkfifo")
            .arg(at("pipe"))
            .status();
        assert!(made.expect("mkfifo").success());
        let _listener = std::os::unix::net::UnixListener::bind(at("socket")).expect("a socket");
        std::os::unix::fs::symlink(at("pipe"), at("link")).expect("a link");
        for (path, found) in [
            (at("pipe"), "a pipe"),
            (at("link"), "a pipe"),
            (at("socket"), "a socket"),
            (folder.path().to_owned(), "a folder"),
            ("/dev/zero".into(), "a device"),
        ] {
            let error = open_input(&path, u64::MAX).expect_err(found).to_string();
            assert_eq!(error, format!("is {found}; name a file"));
        }
    }
}
