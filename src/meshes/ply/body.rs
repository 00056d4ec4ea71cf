//! What follows the header of a PLY file: values, one element after the other.
use super::header::{Element, Encoding, Kind, Scalar};
use crate::meshes::words::shown;

/// Corners of one polygon: a judgement.
const LONGEST_LIST: f64 = 1e6;

/// The values of one element; kept from one to the next for its memory.
#[derive(Debug, Default)]
pub(super) struct Values {
    /// Property by property; 0 for a list.
    pub(super) single: Vec<f64>,
    lists: Vec<f64>,
    ends: Vec<(usize, usize)>,
}

impl Values {
    /// The values of a list property.
    pub(super) fn list(&self, property: usize) -> &[f64] {
        let (start, end) = self.ends[property];
        &self.lists[start..end]
    }
}

/// Values in the order of the file.
#[derive(Debug)]
pub(super) struct Source<'a> {
    rest: &'a [u8],
    encoding: Encoding,
}

impl<'a> Source<'a> {
    pub(super) fn new(rest: &'a [u8], encoding: Encoding) -> Self {
        Self { rest, encoding }
    }

    /// The next element's values, or what is wrong with them.
    pub(super) fn read(&mut self, element: &Element, into: &mut Values) -> Result<(), String> {
        into.single.clear();
        into.lists.clear();
        into.ends.clear();
        for property in &element.properties {
            let start = into.lists.len();
            into.single.push(match property.kind {
                Kind::Number(scalar) => self.next(scalar)?,
                Kind::List(count, value) => {
                    let count = self.next(count)?;
                    if !(0.0..=LONGEST_LIST).contains(&count) || count.fract() != 0.0 {
                        return Err(format!("a list of {count} values; 0 to 1000000 are read"));
                    }
                    for _ in 0..count as usize {
                        let value = self.next(value)?;
                        into.lists.push(value);
                    }
                    0.0
                }
            });
            into.ends.push((start, into.lists.len()));
        }
        Ok(())
    }

    fn next(&mut self, scalar: Scalar) -> Result<f64, String> {
        match self.encoding {
            Encoding::Ascii => self.next_word(),
            Encoding::LittleEndian | Encoding::BigEndian => self.next_number(scalar),
        }
    }

    fn next_word(&mut self) -> Result<f64, String> {
        let text = self.rest.trim_ascii_start();
        let end = text
            .iter()
            .position(u8::is_ascii_whitespace)
            .unwrap_or(text.len());
        let (word, rest) = text.split_at(end);
        self.rest = rest;
        if word.is_empty() {
            return Err("the file ends".to_owned());
        }
        let number = std::str::from_utf8(word)
            .ok()
            .and_then(|word| word.parse().ok());
        number.ok_or_else(|| format!("\"{}\"; a number must stand there", shown(word)))
    }

    fn next_number(&mut self, scalar: Scalar) -> Result<f64, String> {
        let Some((bytes, rest)) = self.rest.split_at_checked(scalar.bytes()) else {
            return Err("the file ends".to_owned());
        };
        self.rest = rest;
        let mut little = [0; 8];
        little[..bytes.len()].copy_from_slice(bytes);
        if self.encoding == Encoding::BigEndian {
            little[..bytes.len()].reverse();
        }
        let [a, b, c, d, ..] = little;
        Ok(match scalar {
            Scalar::I8 => f64::from(a as i8),
            Scalar::U8 => f64::from(a),
            Scalar::I16 => f64::from(i16::from_le_bytes([a, b])),
            Scalar::U16 => f64::from(u16::from_le_bytes([a, b])),
            Scalar::I32 => f64::from(i32::from_le_bytes([a, b, c, d])),
            Scalar::U32 => f64::from(u32::from_le_bytes([a, b, c, d])),
            Scalar::F32 => f64::from(f32::from_le_bytes([a, b, c, d])),
            Scalar::F64 => f64::from_le_bytes(little),
        })
    }
}
