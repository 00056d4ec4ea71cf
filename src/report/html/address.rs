//! Paths as addresses.

/// A relative path with `/` as an address: every byte that has a meaning in addresses is written as two hexadecimal digits.
///
/// Source: RFC 3986 (Berners-Lee 2005), sections 2.1 to 2.3.
pub(super) fn address(path: &str) -> String {
    let mut text = String::with_capacity(path.len());
    for byte in path.bytes() {
        match byte {
            b'A'..=b'Z' | b'a'..=b'z' | b'0'..=b'9' | b'-' | b'.' | b'_' | b'~' | b'/' => {
                text.push(char::from(byte));
            }
            _ => text.push_str(&format!("%{byte:02X}")),
        }
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_has_a_meaning_in_addresses_is_escaped() {
        // RFC 3986, section 2.1: "%20" is the space; 2.5: "À" is "%C3%80".
        assert_eq!(address("a b/À#1?.html"), "a%20b/%C3%80%231%3F.html");
        assert_eq!(address("javascript:x"), "javascript%3Ax");
    }
}
