//! Recognises a file by its first bytes, whatever its name says.

/// How many bytes [`recognise`] wants to see, where the file has that many.
pub(super) const HEAD_BYTES: u64 = 64;

/// The formats that are read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Format {
    /// Portable Network Graphics.
    Png,
    /// JPEG, baseline or progressive.
    Jpeg,
    /// WebP, with or without loss.
    WebP,
    /// Tagged Image File Format.
    Tiff,
    /// Windows bitmap.
    Bmp,
}

impl std::fmt::Display for Format {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::Png => "PNG",
            Self::Jpeg => "JPEG",
            Self::WebP => "WebP",
            Self::Tiff => "TIFF",
            Self::Bmp => "BMP",
        })
    }
}

/// What the head of a file shows.
#[derive(Debug, PartialEq)]
pub(super) enum Content {
    /// A picture that is read here.
    Readable(Format),
    /// Something else: what it looks like, and what to do.
    Other(String, &'static str),
}

const CONVERT: &str = "convert it to PNG or JPEG";
const WRONG_FILE: &str = "name an image file, or export the image again";

/// Tells what a file is from its first [`HEAD_BYTES`] bytes.
pub(super) fn recognise(head: &[u8]) -> Content {
    if let Some(format) = readable(head) {
        return Content::Readable(format);
    }
    if let Some(name) = known_elsewhere(head) {
        return Content::Other(name.to_owned(), CONVERT);
    }
    Content::Other(impression(head), WRONG_FILE)
}

fn readable(head: &[u8]) -> Option<Format> {
    match head {
        [0x89, b'P', b'N', b'G', ..] => Some(Format::Png),
        [0xff, 0xd8, 0xff, ..] => Some(Format::Jpeg),
        [b'I', b'I', 42 | 43, 0, ..] | [b'M', b'M', 0, 42 | 43, ..] => Some(Format::Tiff),
        // The two reserved words of a bitmap are 0; without them, a text that begins with "BM" would pass.
        [b'B', b'M', _, _, _, _, 0, 0, 0, 0, ..] => Some(Format::Bmp),
        _ if head.starts_with(b"RIFF") && head.get(8..12) == Some(b"WEBP") => Some(Format::WebP),
        _ => None,
    }
}

fn known_elsewhere(head: &[u8]) -> Option<&'static str> {
    if head.get(4..8) == Some(b"ftyp") {
        return Some(media_brand(head));
    }
    let text = head.trim_ascii_start();
    let starts: [(&[u8], &str); 8] = [
        (b"GIF8", "a GIF image"),
        (b"%PDF", "a PDF document"),
        (b"8BPS", "a layered image (PSD)"),
        (b"\x76\x2f\x31\x01", "an OpenEXR image"),
        (b"\xff\x0a", "a JPEG XL image"),
        (b"\0\0\0\x0cJXL ", "a JPEG XL image"),
        (b"\0\0\0\x0cjP  ", "a JPEG 2000 image"),
        (b"<svg", "an SVG drawing"),
    ];
    let found = starts.iter().find(|(start, _)| text.starts_with(start));
    found.map(|(_, name)| *name)
}

/// The brand that follows `ftyp`: ISO/IEC 14496-12, section 4.3; the picture brands are those of ISO/IEC 23008-12
/// and of the AV1 image format.
fn media_brand(head: &[u8]) -> &'static str {
    match head.get(8..12) {
        Some(b"avif" | b"avis") => "an AVIF image",
        Some(b"heic" | b"heix" | b"heim" | b"heis" | b"hevc" | b"hevx" | b"hevm" | b"hevs") => {
            "a HEIC image"
        }
        // These two brands are shared; the compatible brands after them tell which.
        Some(b"mif1" | b"msf1") => {
            if head.windows(4).any(|brand| brand == b"avif") {
                "an AVIF image"
            } else {
                "a HEIC image"
            }
        }
        _ => "a film or another media file",
    }
}

fn impression(head: &[u8]) -> String {
    let text = String::from_utf8_lossy(head);
    let lower = text.trim_start().to_ascii_lowercase();
    if lower.starts_with("<!doctype html") || lower.starts_with("<html") {
        return "a web page".to_owned();
    }
    // The head may end within a character, so the last few bytes may be broken.
    let is_text = text
        .trim_end_matches('\u{fffd}')
        .chars()
        .all(|c| c != '\u{fffd}' && (!c.is_control() || c.is_whitespace()));
    if is_text {
        let start: String = text.split_whitespace().collect::<Vec<_>>().join(" ");
        return format!("text (\"{}\")", start.chars().take(24).collect::<String>());
    }
    let bytes: Vec<String> = head.iter().take(8).map(|b| format!("{b:02x}")).collect();
    format!("no known image (its first bytes are {})", bytes.join(" "))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pictures_that_cannot_be_read_are_named() {
        let heic = recognise(b"\0\0\0\x18ftypheic\0\0\0\0mif1heic");
        assert_eq!(heic, Content::Other("a HEIC image".into(), CONVERT));
        let avif = recognise(b"\0\0\0\x1cftypmif1\0\0\0\0mif1avif");
        assert_eq!(avif, Content::Other("an AVIF image".into(), CONVERT));
        let film = recognise(b"\0\0\0\x20ftypisom\0\0\x02\0isomiso2");
        assert!(matches!(film, Content::Other(name, _) if name.contains("film")));
    }

    #[test]
    fn a_text_that_begins_with_bm_is_no_bitmap() {
        let found = recognise(b"BMs are bitmaps, this is a note");
        assert!(
            matches!(found, Content::Other(name, _) if name == "text (\"BMs are bitmaps, this is\")")
        );
    }

    #[test]
    fn unknown_bytes_are_shown() {
        let found = recognise(&[0, 1, 2, 0xfe]);
        assert!(matches!(found, Content::Other(name, _) if name.contains("00 01 02 fe")));
    }
}
