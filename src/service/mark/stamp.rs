//! Short names of states and pictures: what is the same has the same one.

/// That of a text: 16 hexadecimal digits.
pub(super) fn of(text: &str) -> String {
    blake3::hash(text.as_bytes()).to_hex()[..16].to_owned()
}
