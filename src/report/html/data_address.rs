//! Pictures as addresses that hold them, so that the page needs no other file.
use crate::report::json::ViewEntry;
use base64::{Engine, engine::general_purpose::STANDARD};
use maud::Render;

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
        Self::shown(picture(view.files.get(key)?)?)
    }

    /// The picture of a file's bytes; `None` where its format is not one that browsers show.
    pub(super) fn shown(bytes: Vec<u8>) -> Option<Self> {
        let media_type = match bytes.get(..12).unwrap_or(&bytes) {
            [0x89, b'P', b'N', b'G', ..] => "image/png",
            [0xFF, 0xD8, 0xFF, ..] => "image/jpeg",
            [b'R', b'I', b'F', b'F', .., b'W', b'E', b'B', b'P'] => "image/webp",
            _ => return None,
        };
        Some(Self { media_type, bytes })
    }
}

/// The address of a PNG picture.
pub(super) fn png_address(bytes: &[u8]) -> Picture {
    Picture {
        media_type: "image/png",
        bytes: bytes.to_vec(),
    }
}

/// The address that holds the picture's bytes. Nothing in it needs to be escaped.
impl Render for Picture {
    fn render_to(&self, page: &mut String) {
        page.push_str("data:");
        page.push_str(self.media_type);
        page.push_str(";base64,");
        STANDARD.encode_string(&self.bytes, page);
    }
}
