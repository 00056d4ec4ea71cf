//! A drawn picture as a file.
use super::{
    Error,
    png::{encode_for_page, encode_png},
};
use image::RgbImage;

/// One drawn file, encoded.
#[derive(Clone, Debug)]
pub struct DrawnFile {
    /// Key in the report's `files`, such as `overlay`.
    pub key: &'static str,
    /// File name, such as `overlay.png`.
    pub name: &'static str,
    /// The bytes of the file.
    pub bytes: Vec<u8>,
    /// The same picture as a page has it, where it is on one and is smaller there.
    pub for_page: Option<Vec<u8>>,
}

impl DrawnFile {
    /// A file that no page shows.
    pub(crate) fn alone((key, name): (&'static str, &'static str), bytes: Vec<u8>) -> Self {
        Self {
            key,
            name,
            bytes,
            for_page: None,
        }
    }

    /// A file, and the same picture for the page.
    pub(crate) fn with_page(
        names: (&'static str, &'static str),
        bytes: Vec<u8>,
        page: Vec<u8>,
    ) -> Self {
        let is_smaller = page.len() < bytes.len();
        Self {
            for_page: is_smaller.then_some(page),
            ..Self::alone(names, bytes)
        }
    }

    /// A picture as PNG, and for the page.
    ///
    /// # Errors
    /// As [`encode_png`] and [`encode_for_page`].
    pub(crate) fn of_picture(
        names: (&'static str, &'static str),
        picture: &RgbImage,
    ) -> Result<Self, Error> {
        let (bytes, page) = rayon::join(|| encode_png(picture), || encode_for_page(picture));
        Ok(Self::with_page(names, bytes?, page?))
    }
}
