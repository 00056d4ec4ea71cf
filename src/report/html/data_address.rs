//! Pictures as addresses that hold them, so that the page needs no other file.
use crate::report::json::ViewEntry;

/// A picture that browsers show.
pub(super) struct Picture {
    media_type: &'static str,
    bytes: Vec<u8>,
}

impl Picture {
    /// The picture of a view with this key; `None` where there is none or its format is not one that browsers show.
    pub(super) fn of(
        view: &ViewEntry,
        key: &str,
        picture: &dyn Fn(&str) -> Option<Vec<u8>>,
    ) -> Option<Self> {
        let bytes = picture(view.files.get(key)?)?;
        let media_type = match bytes.get(..12).unwrap_or(&bytes) {
            [0x89, b'P', b'N', b'G', ..] => "image/png",
            [0xFF, 0xD8, 0xFF, ..] => "image/jpeg",
            [b'R', b'I', b'F', b'F', .., b'W', b'E', b'B', b'P'] => "image/webp",
            _ => return None,
        };
        Some(Self { media_type, bytes })
    }

    /// Appends the address that holds the picture's bytes.
    pub(super) fn write_address(&self, page: &mut String) {
        page.push_str("data:");
        page.push_str(self.media_type);
        page.push_str(";base64,");
        write_base64(page, &self.bytes);
    }
}

/// Appends bytes in base 64 with padding. Source: RFC 4648 (Josefsson 2006), section 4.
pub(super) fn write_base64(text: &mut String, bytes: &[u8]) {
    const GROUPS: usize = 1024;
    text.reserve(bytes.len().div_ceil(3) * 4);
    let mut letters = [0; GROUPS * 4];
    for part in bytes.chunks(GROUPS * 3) {
        let (groups, rest) = part.as_chunks::<3>();
        let (fours, _) = letters.as_chunks_mut::<4>();
        for (four, [a, b, c]) in fours.iter_mut().zip(groups) {
            let bits = usize::from(*a) << 16 | usize::from(*b) << 8 | usize::from(*c);
            let ([first, second], [third, fourth]) = (PAIRS[bits >> 12], PAIRS[bits & 0xFFF]);
            *four = [first, second, third, fourth];
        }
        let length = groups.len() * 4;
        text.push_str(ascii(&letters[..length]));
        if !rest.is_empty() {
            let [a, b] = [rest[0], rest.get(1).copied().unwrap_or(0)].map(usize::from);
            let [first, second] = PAIRS[a << 4 | b >> 4];
            let [third, _] = PAIRS[(b & 0xF) << 8];
            let third = if rest.len() == 2 { third } else { b'=' };
            text.push_str(ascii(&[first, second, third, b'=']));
        }
    }
}

/// The letters for each 12 bits.
static PAIRS: [[u8; 2]; 4096] = {
    const LETTERS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut pairs = [[0; 2]; 4096];
    let mut bits = 0;
    while bits < 4096 {
        pairs[bits] = [LETTERS[bits >> 6], LETTERS[bits & 63]];
        bits += 1;
    }
    pairs
};

fn ascii(letters: &[u8]) -> &str {
    std::str::from_utf8(letters).expect("letters of base 64 are ASCII")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn base64(bytes: &[u8]) -> String {
        let mut text = String::new();
        write_base64(&mut text, bytes);
        text
    }

    #[test]
    fn base64_gives_the_examples_of_its_standard() {
        // RFC 4648, section 10.
        let examples = [
            ("", ""),
            ("f", "Zg=="),
            ("fo", "Zm8="),
            ("foo", "Zm9v"),
            ("foob", "Zm9vYg=="),
            ("fooba", "Zm9vYmE="),
            ("foobar", "Zm9vYmFy"),
        ];
        for (plain, coded) in examples {
            assert_eq!(base64(plain.as_bytes()), coded);
        }
        assert_eq!(base64(&[0xFB, 0xFF, 0xBF]), "+/+/");
        // Longer than what is coded in one go: 3072 bytes.
        let long = base64(&[0; 3074]);
        assert_eq!(long, "A".repeat(4099) + "=");
    }
}
