//! Image files: what is decoded obeys the limits, and everything else is refused in words.
use crate::{
    harness::{Checked, Outcome},
    words,
};
use std::{
    fs::OpenOptions,
    io::{self, Write},
    path::Path,
};
use tickstrip::images::{self, Error, Limits, Picture};

/// Small, so that a search finds what goes beyond it.
const LIMITS: Limits = Limits { max_pixels: 20_000 };
/// Longest refusal, bytes, the path included.
const MOST_WORDS: usize = 2000;

/// Checks an image; `folder` is where it may be written.
pub fn check(folder: &Path, input: &[u8]) -> Checked {
    let path = folder.join("input");
    write(&path, input).map_err(|e| format!("the test cannot write: {e}"))?;
    let stated = images::dimensions(&path);
    if let Err(error) = &stated {
        check_words(error)?;
    }
    let as_mask = images::read_mask(&path, &LIMITS, (16, 12));
    if let Err(error) = &as_mask {
        check_words(error)?;
    }
    match images::read(&path, &LIMITS) {
        Ok(picture) => {
            check_picture(&picture)?;
            match stated {
                Ok(size) if size == picture.rgb.dimensions() => Ok(Outcome::Accepted),
                other => Err(format!("of {:?}, but {other:?}", picture.rgb.dimensions())),
            }
        }
        Err(error) => {
            check_words(&error)?;
            match as_mask {
                Ok(_) => Err(format!("a mask, but no picture: {error}")),
                Err(_) => Ok(Outcome::Refused),
            }
        }
    }
}

/// Over what stands there: cutting the file first would cost more than most inputs.
fn write(path: &Path, input: &[u8]) -> io::Result<()> {
    let mut options = OpenOptions::new();
    let mut file = options
        .write(true)
        .create(true)
        .truncate(false)
        .open(path)?;
    file.write_all(input)?;
    file.set_len(input.len() as u64)
}

fn check_picture(picture: &Picture) -> Result<(), String> {
    let (width, height) = picture.rgb.dimensions();
    let pixels = u64::from(width) * u64::from(height);
    if pixels == 0 || pixels > LIMITS.max_pixels {
        return Err(format!("decoded {width} x {height}"));
    }
    let alpha = picture.alpha.as_ref().map(|alpha| alpha.dim());
    if alpha.is_some_and(|dim| dim != (height as usize, width as usize)) {
        return Err(format!("{width} x {height} with an alpha of {alpha:?}"));
    }
    for note in &picture.notes {
        words::check("note", note, MOST_WORDS)?;
    }
    Ok(())
}

fn check_words(error: &Error) -> Result<(), String> {
    words::check_code(error.code())?;
    words::check("refusal", &error.to_string(), MOST_WORDS)
}
