//! Which content an image has: its size and a checksum of its bytes.
use super::{Error, Limits, header};
use crate::{
    job::{MarkedOn, Side, View},
    stop,
};
use std::{
    io::{Read, Seek},
    path::Path,
};

/// Bytes that are read at a time; between them a run hears that it is to stop.
const PIECE: usize = 1 << 20;

/// Upright size and checksum of an image. Its bytes are read once, no pixel is decoded; what is appended meanwhile is not read.
///
/// # Errors
/// Those of [`super::read`] that show before the pixels, and [`Error::Stopped`].
pub fn content(path: &Path, limits: &Limits) -> Result<MarkedOn, Error> {
    let unreadable = |source| Error::Unreadable {
        path: path.to_owned(),
        source,
    };
    let (mut file, header) = header::look(path, limits)?;
    file.rewind().map_err(unreadable)?;
    let mut hasher = blake3::Hasher::new();
    let mut piece = vec![0; PIECE];
    loop {
        stop::check()?;
        let count = file.read(&mut piece).map_err(unreadable)?;
        if count == 0 {
            break;
        }
        hasher.update(&piece[..count]);
    }
    let (width, height) = header.size();
    Ok(MarkedOn {
        size: [width, height],
        blake3: hasher.finalize().to_hex().to_string(),
    })
}

/// The images of a view that have the size of those that were marked, and other bytes. Only where the job states what was
/// marked is a file read.
///
/// # Errors
/// Those of [`content`].
pub fn changed_since_marked(view: &View, limits: &Limits) -> Result<Vec<Side>, Error> {
    let mut changed = Vec::new();
    for side in Side::BOTH {
        let (Some(marked), Some(image)) = (view.marked_on(side), view.image(side)) else {
            continue;
        };
        let found = content(image, limits)?;
        if found.size == marked.size && found != *marked {
            changed.push(side);
        }
    }
    Ok(changed)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::fs;

    #[test]
    fn the_content_is_the_checksum_of_all_bytes_and_the_upright_size() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("a.png");
        // More than one piece.
        let noise = image::RgbImage::from_fn(900, 700, |x, y| {
            let v = (x.wrapping_mul(2_654_435_761) ^ y.wrapping_mul(40_503)) >> 7;
            image::Rgb([v as u8, (v >> 8) as u8, (v >> 3) as u8])
        });
        noise.save(&path).expect("written");
        let bytes = fs::read(&path).expect("readable");
        assert!(bytes.len() > PIECE, "{}", bytes.len());
        let found = content(&path, &Limits::default()).expect("readable");
        assert_eq!(found.size, [900, 700]);
        assert_eq!(found.blake3, blake3::hash(&bytes).to_hex().to_string());
    }
}
