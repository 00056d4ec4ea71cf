//! Recognises a file by its first bytes, whatever its name says.

/// How many bytes [`recognise`] and [`what_is`] want to see, where the file has that many: a PDF may begin so late (PDF Reference,
/// sixth edition, appendix H, note 13).
pub const HEAD_BYTES: u64 = 1024;

/// How many of them are shown of what is unknown.
const SHOWN_BYTES: usize = 64;

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
const SAVE_PHOTO: &str = "open it in the program that it comes from and save it as JPEG or PNG; phones can be set to take JPEG";
const TAKE_STILL: &str = "take a still out of it, at full size, and save that as PNG or JPEG";
const DRAW_PAGE: &str = "draw the page that you need as a picture first: tickstrip page PLAN.pdf";
const WRONG_FILE: &str = "name an image file, or export the image again";

/// Tells what a file is from its first [`HEAD_BYTES`] bytes.
pub(super) fn recognise(head: &[u8]) -> Content {
    if let Some(format) = readable(head) {
        return Content::Readable(format);
    }
    if let Some((name, advice)) = media(head) {
        return Content::Other(name.to_owned(), advice);
    }
    if let Some(name) = known_elsewhere(head) {
        return Content::Other(name.to_owned(), CONVERT);
    }
    if is_pdf(head) {
        return Content::Other("a PDF document".to_owned(), DRAW_PAGE);
    }
    let shown = &head[..head.len().min(SHOWN_BYTES)];
    Content::Other(impression(shown), WRONG_FILE)
}

/// What somebody who wants a PDF has found instead.
#[derive(Clone, Debug, PartialEq)]
pub enum Found {
    /// A PDF.
    Pdf,
    /// Something else: what it looks like, and what to do.
    Other(String, &'static str),
}

/// Tells whether a file is a PDF, and what else it is, from its first [`HEAD_BYTES`] bytes.
pub fn what_is(head: &[u8]) -> Found {
    match recognise(head) {
        Content::Readable(format) => Found::Other(
            format!("a {format} image"),
            "name it in the job as it is: it is a picture already",
        ),
        Content::Other(..) if is_pdf(head) => Found::Pdf,
        Content::Other(found, _) => {
            Found::Other(found, "name a PDF, or export it again as PDF or PNG")
        }
    }
}

/// Whether a PDF begins here, or after some bytes of something else: a bare "%PDF-" in a text is none.
fn is_pdf(head: &[u8]) -> bool {
    let begins = |bytes: &[u8]| bytes.starts_with(b"%PDF-") && bytes[5].is_ascii_digit();
    head.trim_ascii_start().starts_with(b"%PDF") || head.windows(6).any(begins)
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
    let text = head.trim_ascii_start();
    let starts: [(&[u8], &str); 7] = [
        (b"GIF8", "a GIF image"),
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

/// Films, and pictures that are stored as films are: what it is and what to do.
///
/// Sources: ISO/IEC 14496-12, 4.3 (`ftyp`), and the file format of QuickTime films, whose older files begin with another box; RFC
/// 9559 (Matroska and WebM); RFC 3533 (Ogg); ISO/IEC 13818-1 (program streams). AVI is a RIFF file; the heads of ASF and FLV are those
/// of their specifications.
fn media(head: &[u8]) -> Option<(&'static str, &'static str)> {
    match head.get(4..8) {
        Some(b"ftyp") => return Some(of_brands(head)),
        Some(b"moov" | b"mdat" | b"wide" | b"pnot") => return Some(("a film (MOV)", TAKE_STILL)),
        _ => {}
    }
    let is_riff_of = |kind: &[u8]| head.starts_with(b"RIFF") && head.get(8..12) == Some(kind);
    let starts: [(&[u8], &str); 5] = [
        (b"\x1a\x45\xdf\xa3", "a film (MKV or WebM)"),
        (b"OggS", "a film or a sound (Ogg)"),
        (b"\0\0\x01\xba", "a film (MPEG)"),
        (b"\x30\x26\xb2\x75\x8e\x66\xcf\x11", "a film (WMV)"),
        (b"FLV\x01", "a film (FLV)"),
    ];
    let found = starts.iter().find(|(start, _)| head.starts_with(start));
    let name = match found {
        Some((_, name)) => name,
        None if is_riff_of(b"AVI ") => "a film (AVI)",
        None => return None,
    };
    Some((name, TAKE_STILL))
}

/// By the brands in a box `ftyp`, the one that leads and those that follow: the picture brands are those of ISO/IEC 23008-12 and of
/// the AV1 image format.
fn of_brands(head: &[u8]) -> (&'static str, &'static str) {
    const AVIF: &str = "an AVIF image";
    const HEIC: &str = "a HEIC image";
    // The box states its length; the brands that go with the leading one begin at its 17th byte.
    let length = head.first_chunk().map_or(0, |l| u32::from_be_bytes(*l));
    let end = head.len().min(length as usize);
    let others = head.get(16..end).unwrap_or_default();
    let has = |brand: &[u8]| others.chunks_exact(4).any(|other| other == brand);
    match head.get(8..12) {
        Some(b"avif" | b"avis") => (AVIF, SAVE_PHOTO),
        Some(b"heic" | b"heix" | b"heim" | b"heis" | b"hevc" | b"hevx" | b"hevm" | b"hevs") => {
            (HEIC, SAVE_PHOTO)
        }
        // These brands are shared.
        Some(b"mif1" | b"mif2" | b"msf1" | b"miaf") if has(b"avif") || has(b"avis") => {
            (AVIF, SAVE_PHOTO)
        }
        Some(b"mif1" | b"mif2" | b"msf1" | b"miaf") => (HEIC, SAVE_PHOTO),
        Some(b"crx ") => ("a camera's raw file (CR3)", SAVE_PHOTO),
        Some(b"qt  ") => ("a film (MOV)", TAKE_STILL),
        Some(b"M4A " | b"M4B ") => ("a sound (M4A)", WRONG_FILE),
        _ => ("a film (MP4)", TAKE_STILL),
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
    fn pictures_and_films_that_cannot_be_read_are_named_by_their_content() {
        let cases: [(&[u8], &str, &str); 13] = [
            (
                b"\0\0\0\x18ftypheic\0\0\0\0mif1heic",
                "a HEIC image",
                SAVE_PHOTO,
            ),
            (
                b"\0\0\0\x18ftypmif1\0\0\0\0mif1heic",
                "a HEIC image",
                SAVE_PHOTO,
            ),
            (
                b"\0\0\0\x1cftypmif1\0\0\0\0mif1miafavif",
                "an AVIF image",
                SAVE_PHOTO,
            ),
            (
                b"\0\0\0\x18ftypavif\0\0\0\0avifmif1",
                "an AVIF image",
                SAVE_PHOTO,
            ),
            (
                b"\0\0\0\x20ftypisom\0\0\x02\0isomiso2avc1mp41",
                "a film (MP4)",
                TAKE_STILL,
            ),
            (
                b"\0\0\0\x14ftypqt  \0\0\0\0qt  ",
                "a film (MOV)",
                TAKE_STILL,
            ),
            (
                b"\0\0\0\x08wide\0\x12\x34\x56mdat",
                "a film (MOV)",
                TAKE_STILL,
            ),
            (
                b"\x1a\x45\xdf\xa3\xa3\x42\x86\x81\x01",
                "a film (MKV or WebM)",
                TAKE_STILL,
            ),
            (b"RIFF\x10\0\0\0AVI LIST", "a film (AVI)", TAKE_STILL),
            (b"OggS\0\x02", "a film or a sound (Ogg)", TAKE_STILL),
            (b"\0\0\x01\xba\x44", "a film (MPEG)", TAKE_STILL),
            (b"FLV\x01\x05", "a film (FLV)", TAKE_STILL),
            (
                b"\x30\x26\xb2\x75\x8e\x66\xcf\x11\xa6\xd9",
                "a film (WMV)",
                TAKE_STILL,
            ),
        ];
        for (head, name, advice) in cases {
            assert_eq!(recognise(head), Content::Other(name.into(), advice));
        }
        // A brand beyond the box that has the brands is none of them; a head that ends early is no fault.
        let short = recognise(b"\0\0\0\x14ftypmif1\0\0\0\0heicavif");
        assert_eq!(short, Content::Other("a HEIC image".into(), SAVE_PHOTO));
        assert_eq!(
            recognise(b"\0\0\0\0ftyp"),
            Content::Other("a film (MP4)".into(), TAKE_STILL)
        );
    }

    #[test]
    fn a_pdf_is_one_wherever_it_begins_within_the_first_bytes() {
        let pdf = || Content::Other("a PDF document".into(), DRAW_PAGE);
        let later = [
            b"Content-Type: application/pdf\r\n\r\n".repeat(20),
            b"%PDF-1.7\n".to_vec(),
        ]
        .concat();
        for head in [
            &b"%PDF-1.4\n%\xe2\xe3"[..],
            b"\r\n%PDF-2.0",
            b"%PDF",
            &later,
        ] {
            assert_eq!(recognise(head), pdf());
            assert_eq!(what_is(head), Found::Pdf);
        }
        let note = b"every such file begins with %PDF- and a number";
        assert!(matches!(recognise(note), Content::Other(_, WRONG_FILE)));
        for (head, name) in [
            (&note[..], "text (\"every such file begins w\")"),
            (b"\x89PNG\r\n\x1a\n%PDF-1.4", "a PNG image"),
            (b"GIF89a", "a GIF image"),
        ] {
            assert!(matches!(what_is(head), Found::Other(found, _) if found == name));
        }
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
