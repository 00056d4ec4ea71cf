//! The header of a PLY file: how it is encoded and which elements follow.
use crate::meshes::{
    error::Fault,
    format::Format,
    words::{Lines, shown, words},
};

/// Properties of all elements together: a judgement.
const MOST_PROPERTIES: usize = 1000;

/// How values are written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Encoding {
    Ascii,
    LittleEndian,
    BigEndian,
}

/// A type of number.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Scalar {
    I8,
    U8,
    I16,
    U16,
    I32,
    U32,
    F32,
    F64,
}

impl Scalar {
    fn named(word: &[u8]) -> Option<Self> {
        Some(match word {
            b"char" | b"int8" => Self::I8,
            b"uchar" | b"uint8" => Self::U8,
            b"short" | b"int16" => Self::I16,
            b"ushort" | b"uint16" => Self::U16,
            b"int" | b"int32" => Self::I32,
            b"uint" | b"uint32" => Self::U32,
            b"float" | b"float32" => Self::F32,
            b"double" | b"float64" => Self::F64,
            _ => return None,
        })
    }

    pub(super) fn bytes(self) -> usize {
        match self {
            Self::I8 | Self::U8 => 1,
            Self::I16 | Self::U16 => 2,
            Self::I32 | Self::U32 | Self::F32 => 4,
            Self::F64 => 8,
        }
    }
}

/// What a property holds.
#[derive(Clone, Copy, Debug)]
pub(super) enum Kind {
    Number(Scalar),
    /// The type of the count, then that of each value.
    List(Scalar, Scalar),
}

#[derive(Debug)]
pub(super) struct Property {
    pub(super) name: String,
    pub(super) kind: Kind,
}

#[derive(Debug)]
pub(super) struct Element {
    pub(super) name: String,
    pub(super) count: usize,
    pub(super) properties: Vec<Property>,
}

#[derive(Debug)]
pub(super) struct Header {
    pub(super) encoding: Encoding,
    pub(super) elements: Vec<Element>,
    /// Its own bytes.
    pub(super) length: usize,
}

/// Reads the header.
pub(super) fn read(bytes: &[u8]) -> Result<Header, Fault> {
    let length = end(bytes).ok_or_else(|| damaged("its header", "no line \"end_header\""))?;
    let mut encoding = None;
    let mut elements: Vec<Element> = Vec::new();
    let mut count = 0;
    for (line, text) in Lines::new(&bytes[..length], 1).skip(1) {
        let wrong = || damaged(&format!("line {line}"), &format!("\"{}\"", shown(text)));
        let parts: Vec<&[u8]> = words(text).collect();
        match parts[..] {
            [b"format", kind, b"1.0"] => encoding = Some(encoding_named(kind).ok_or_else(wrong)?),
            [b"element", name, count] => elements.push(Element {
                name: String::from_utf8_lossy(name).into_owned(),
                count: whole(count).ok_or_else(wrong)?,
                properties: Vec::new(),
            }),
            [b"property", ref kind @ .., name] => {
                let kind = kind_named(kind).ok_or_else(wrong)?;
                let element = elements.last_mut().ok_or_else(wrong)?;
                let name = String::from_utf8_lossy(name).into_owned();
                element.properties.push(Property { name, kind });
                count += 1;
            }
            [] | [b"comment" | b"obj_info", ..] | [b"end_header"] => {}
            _ => return Err(wrong()),
        }
        if count > MOST_PROPERTIES {
            return Err(damaged("its header", "more than 1000 properties"));
        }
    }
    let header = Header {
        encoding: encoding.ok_or_else(|| damaged("its header", "no line \"format\""))?,
        elements,
        length,
    };
    check_counts(&header, bytes.len() - length)?;
    Ok(header)
}

/// Elements that the file is too short for are found before room is made for them.
fn check_counts(header: &Header, bytes: usize) -> Result<(), Fault> {
    for element in header.elements.iter().filter(|e| e.count > 0) {
        let least: usize = element
            .properties
            .iter()
            .map(|p| least_bytes(header.encoding, p.kind))
            .sum();
        let needed = least.max(1).saturating_mul(element.count);
        // A last value needs no blank behind it.
        if needed > bytes + 1 {
            let Element { name, count, .. } = element;
            let found = format!("{count} elements \"{name}\" need {needed} bytes, {bytes} follow");
            return Err(damaged("its header", &found));
        }
    }
    Ok(())
}

fn least_bytes(encoding: Encoding, kind: Kind) -> usize {
    match (encoding, kind) {
        // A digit and a blank.
        (Encoding::Ascii, _) => 2,
        (_, Kind::Number(scalar) | Kind::List(scalar, _)) => scalar.bytes(),
    }
}

fn damaged(place: &str, found: &str) -> Fault {
    Fault::damaged(Format::Ply, place, found)
}

fn encoding_named(word: &[u8]) -> Option<Encoding> {
    Some(match word {
        b"ascii" => Encoding::Ascii,
        b"binary_little_endian" => Encoding::LittleEndian,
        b"binary_big_endian" => Encoding::BigEndian,
        _ => return None,
    })
}

fn kind_named(words: &[&[u8]]) -> Option<Kind> {
    match words {
        [scalar] => Scalar::named(scalar).map(Kind::Number),
        [b"list", count, value] => {
            let is_whole = |s: &Scalar| !matches!(s, Scalar::F32 | Scalar::F64);
            let count = Scalar::named(count).filter(is_whole)?;
            Some(Kind::List(count, Scalar::named(value)?))
        }
        _ => None,
    }
}

fn whole(word: &[u8]) -> Option<usize> {
    std::str::from_utf8(word).ok()?.parse().ok()
}

/// Where the header ends: behind the line "end_header". A header is looked for in the first 100 kB.
fn end(bytes: &[u8]) -> Option<usize> {
    let mut at = 0;
    let head = &bytes[..bytes.len().min(100_000)];
    for line in head.split_inclusive(|byte| *byte == b'\n') {
        at += line.len();
        if line.trim_ascii() == b"end_header" && line.ends_with(b"\n") {
            return Some(at);
        }
    }
    None
}
