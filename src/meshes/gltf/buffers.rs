//! The bytes that a glTF document speaks of: in the binary file, in the document itself, or in a file beside it.
use super::document::{Accessor, Buffer, Document};
use crate::{
    job::read_input,
    meshes::{error::Fault, format::Format, limits::Limits},
};
use base64::{Engine, engine::general_purpose::STANDARD};
use std::{
    borrow::Cow,
    path::{Component, Path},
};

/// The buffers of a document, each read once.
#[derive(Debug)]
pub(super) struct Buffers<'a> {
    format: Format,
    document: &'a Document,
    bytes: Vec<Cow<'a, [u8]>>,
}

impl<'a> Buffers<'a> {
    /// Reads the buffers; `folder` is that of the document, `binary` the part of a binary file that is the first of them.
    pub(super) fn read(
        document: &'a Document,
        (folder, binary): (&Path, Option<&'a [u8]>),
        (format, limits): (Format, Limits),
    ) -> Result<Self, Fault> {
        let mut left = limits.bytes;
        let mut all = Vec::new();
        for (index, buffer) in document.buffers.iter().enumerate() {
            let bytes = match (&buffer.uri, binary) {
                (Some(uri), _) => uri_bytes(uri, folder, left, (format, index))?,
                (None, Some(binary)) if index == 0 => Cow::Borrowed(binary),
                (None, _) => {
                    let found = "it has no \"uri\"";
                    return Err(Fault::damaged(format, format!("buffers/{index}"), found));
                }
            };
            check_length(buffer, bytes.len(), (format, index))?;
            left = left.saturating_sub(bytes.len() as u64);
            all.push(bytes);
        }
        Ok(Self {
            format,
            document,
            bytes: all,
        })
    }

    /// The numbers of an accessor, `width` by `width`; `take` gets each group.
    pub(super) fn each(
        &self,
        index: usize,
        kind: (&str, usize),
        mut take: impl FnMut(&[f64]) -> Result<(), Fault>,
    ) -> Result<(), Fault> {
        let (accessor, data, stride) = self.span(index, kind)?;
        let component = component(accessor.component_type).unwrap_or(Scalar::F32);
        let size = component.bytes();
        let mut group = [0.0; 4];
        for at in (0..accessor.count).map(|i| i * stride) {
            for (k, value) in group.iter_mut().take(kind.1).enumerate() {
                let start = at + k * size;
                *value = component.value(&data[start..start + size], accessor.normalized);
            }
            take(&group[..kind.1])?;
        }
        Ok(())
    }

    /// How many groups an accessor has.
    pub(super) fn count(&self, index: usize) -> Result<usize, Fault> {
        Ok(self.accessor(index)?.count)
    }

    fn accessor(&self, index: usize) -> Result<&'a Accessor, Fault> {
        let found = || Fault::damaged(self.format, format!("accessors/{index}"), "it is not there");
        self.document.accessors.get(index).ok_or_else(found)
    }

    /// An accessor, its bytes from the first group to the last, and the bytes from one group to the next.
    fn span(
        &self,
        index: usize,
        (kind, width): (&str, usize),
    ) -> Result<(&'a Accessor, &[u8], usize), Fault> {
        let accessor = self.accessor(index)?;
        let wrong =
            |found: String| Fault::damaged(self.format, format!("accessors/{index}"), found);
        if accessor.sparse.is_some() {
            return Err(Fault::Unsupported {
                format: self.format,
                found: "sparse accessors".to_owned(),
                advice: "export the mesh without morphing and animation",
            });
        }
        let component = component(accessor.component_type)
            .ok_or_else(|| wrong(format!("component type {}", accessor.component_type)))?;
        if accessor.kind != kind {
            return Err(wrong(format!(
                "type \"{}\"; it must be {kind}",
                accessor.kind
            )));
        }
        let view = accessor
            .buffer_view
            .ok_or_else(|| wrong("no \"bufferView\"".to_owned()))?;
        let view_at =
            |found: &str| Fault::damaged(self.format, format!("bufferViews/{view}"), found);
        let view = self
            .document
            .buffer_views
            .get(view)
            .ok_or_else(|| view_at("it is not there"))?;
        let bytes = self
            .bytes
            .get(view.buffer)
            .ok_or_else(|| view_at("its buffer is not there"))?;
        let end = view.byte_offset.checked_add(view.byte_length);
        let data = end.and_then(|end| bytes.get(view.byte_offset..end));
        let data = data.ok_or_else(|| view_at("it goes beyond its buffer"))?;
        let size = component.bytes() * width;
        let stride = view.byte_stride.unwrap_or(size);
        if stride < size {
            return Err(view_at(&format!(
                "a stride of {stride} bytes; a group has {size}"
            )));
        }
        let needed = match accessor.count {
            0 => Some(0),
            count => (count - 1)
                .checked_mul(stride)
                .and_then(|n| n.checked_add(size)),
        };
        let end = needed.and_then(|needed| needed.checked_add(accessor.byte_offset));
        let data = end.and_then(|end| data.get(accessor.byte_offset..end));
        let count = accessor.count;
        let data = data.ok_or_else(|| wrong(format!("{count} groups go beyond its bufferView")))?;
        Ok((accessor, data, stride))
    }
}

fn check_length(
    buffer: &Buffer,
    found: usize,
    (format, index): (Format, usize),
) -> Result<(), Fault> {
    let stated = buffer.byte_length;
    if (found as u64) < stated {
        let found = format!("{stated} bytes stated, {found} are there");
        return Err(Fault::damaged(format, format!("buffers/{index}"), found));
    }
    Ok(())
}

fn uri_bytes(
    uri: &str,
    folder: &Path,
    most: u64,
    (format, index): (Format, usize),
) -> Result<Cow<'static, [u8]>, Fault> {
    if let Some(data) = uri.strip_prefix("data:") {
        let wrong = |found: String| Fault::damaged(format, format!("buffers/{index}/uri"), found);
        let text = data
            .split_once(";base64,")
            .ok_or_else(|| wrong("it is not in base64".to_owned()))?
            .1;
        let bytes = STANDARD.decode(text).map_err(|e| wrong(e.to_string()))?;
        return Ok(Cow::Owned(bytes));
    }
    let name = decoded(uri);
    let path = Path::new(&name);
    let is_plain = path.components().all(|c| matches!(c, Component::Normal(_)));
    let outside = || Fault::OutsideFolder { name: name.clone() };
    if !is_plain || name.is_empty() || name.contains(['\\', ':', '\0']) {
        return Err(outside());
    }
    // A link may lead elsewhere; one that leads nowhere is told as missing below.
    let real = |path: &Path| std::fs::canonicalize(path);
    if let (Ok(found), Ok(folder)) = (real(&folder.join(path)), real(folder))
        && !found.starts_with(folder)
    {
        return Err(outside());
    }
    let beside = |source| Fault::Beside {
        name: name.clone(),
        source,
    };
    read_input(&folder.join(path), most)
        .map(Cow::Owned)
        .map_err(beside)
}

/// A path with its percent signs resolved; what is no escape stays.
pub(super) fn decoded(uri: &str) -> String {
    let mut bytes = Vec::new();
    let mut rest = uri.as_bytes();
    while let [first, after @ ..] = rest {
        let escape = after.get(..2).filter(|_| *first == b'%');
        let escaped =
            escape.and_then(|hex| u8::from_str_radix(std::str::from_utf8(hex).ok()?, 16).ok());
        bytes.push(escaped.unwrap_or(*first));
        rest = if escaped.is_some() {
            &after[2..]
        } else {
            after
        };
    }
    String::from_utf8_lossy(&bytes).into_owned()
}

/// A type of number in a buffer.
#[derive(Clone, Copy, Debug)]
enum Scalar {
    I8,
    U8,
    I16,
    U16,
    U32,
    F32,
}

fn component(code: u32) -> Option<Scalar> {
    Some(match code {
        5120 => Scalar::I8,
        5121 => Scalar::U8,
        5122 => Scalar::I16,
        5123 => Scalar::U16,
        5125 => Scalar::U32,
        5126 => Scalar::F32,
        _ => return None,
    })
}

impl Scalar {
    fn bytes(self) -> usize {
        match self {
            Self::I8 | Self::U8 => 1,
            Self::I16 | Self::U16 => 2,
            Self::U32 | Self::F32 => 4,
        }
    }

    /// The number; a normalised whole one runs from -1 or 0 to 1 (KHR_mesh_quantization).
    fn value(self, bytes: &[u8], is_normalised: bool) -> f64 {
        let mut four = [0; 4];
        four[..bytes.len()].copy_from_slice(bytes);
        let [a, b, ..] = four;
        let (value, most) = match self {
            Self::I8 => (f64::from(a as i8), 127.0),
            Self::U8 => (f64::from(a), 255.0),
            Self::I16 => (f64::from(i16::from_le_bytes([a, b])), 32767.0),
            Self::U16 => (f64::from(u16::from_le_bytes([a, b])), 65535.0),
            Self::U32 => (f64::from(u32::from_le_bytes(four)), 1.0),
            Self::F32 => return f64::from(f32::from_le_bytes(four)),
        };
        if is_normalised {
            (value / most).max(-1.0)
        } else {
            value
        }
    }
}
