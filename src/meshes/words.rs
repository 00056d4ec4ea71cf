//! Texts of numbers and words, line by line.

/// A line's number from 1, and its bytes without blanks around them. A backslash at its end takes the next line to it.
pub(super) struct Lines<'a> {
    rest: &'a [u8],
    number: usize,
}

impl<'a> Lines<'a> {
    /// The lines of a text, the first of which has the number `first`.
    pub(super) fn new(text: &'a [u8], first: usize) -> Self {
        Self {
            rest: text,
            number: first,
        }
    }

    fn cut(&mut self) -> Option<&'a [u8]> {
        if self.rest.is_empty() {
            return None;
        }
        let end = self.rest.iter().position(|byte| *byte == b'\n');
        let (line, rest) = match end {
            Some(end) => (&self.rest[..end], &self.rest[end + 1..]),
            None => (self.rest, &[][..]),
        };
        self.rest = rest;
        Some(line)
    }
}

impl<'a> Iterator for Lines<'a> {
    type Item = (usize, &'a [u8]);

    fn next(&mut self) -> Option<Self::Item> {
        let line = self.cut()?;
        let number = self.number;
        self.number += 1;
        Some((number, line.trim_ascii()))
    }
}

/// The words of a line.
pub(super) fn words(line: &[u8]) -> impl Iterator<Item = &[u8]> {
    line.split(u8::is_ascii_whitespace)
        .filter(|word| !word.is_empty())
}

/// A finite number.
pub(super) fn number(word: &[u8]) -> Option<f64> {
    let number = std::str::from_utf8(word).ok()?.parse::<f64>().ok()?;
    number.is_finite().then_some(number)
}

/// Three finite numbers; what follows them is left alone.
pub(super) fn three<'a>(mut words: impl Iterator<Item = &'a [u8]>) -> Option<[f64; 3]> {
    Some([
        number(words.next()?)?,
        number(words.next()?)?,
        number(words.next()?)?,
    ])
}

/// A text for a message.
pub(super) fn shown(bytes: &[u8]) -> String {
    let short = &bytes[..bytes.len().min(60)];
    crate::printable::on_one_line(&String::from_utf8_lossy(short))
}
