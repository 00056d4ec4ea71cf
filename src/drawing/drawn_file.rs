//! A drawn picture as a file.

/// One drawn file, encoded.
#[derive(Clone, Debug)]
pub struct DrawnFile {
    /// Key in the report's `files`, such as `overlay`.
    pub key: &'static str,
    /// File name, such as `overlay.png`.
    pub name: &'static str,
    /// The bytes of the file.
    pub bytes: Vec<u8>,
}
