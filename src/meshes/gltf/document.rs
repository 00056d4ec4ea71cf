//! The JSON document of a glTF file, as far as it says where facets are.
use crate::meshes::limits::MOST_ENTRIES;
use serde::{
    Deserialize, Deserializer,
    de::{Error, SeqAccess, Visitor},
};
use std::{fmt, marker::PhantomData};

#[derive(Debug, Deserialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct Document {
    pub(super) scene: Option<usize>,
    #[serde(default, deserialize_with = "at_most")]
    pub(super) scenes: Vec<Scene>,
    #[serde(default, deserialize_with = "at_most")]
    pub(super) nodes: Vec<Node>,
    #[serde(default, deserialize_with = "at_most")]
    pub(super) meshes: Vec<Mesh>,
    #[serde(default, deserialize_with = "at_most")]
    pub(super) accessors: Vec<Accessor>,
    #[serde(default, deserialize_with = "at_most")]
    pub(super) buffer_views: Vec<BufferView>,
    #[serde(default, deserialize_with = "at_most")]
    pub(super) buffers: Vec<Buffer>,
    #[serde(default, deserialize_with = "at_most")]
    pub(super) extensions_required: Vec<String>,
}

#[derive(Debug, Deserialize)]
pub(super) struct Scene {
    #[serde(default, deserialize_with = "at_most")]
    pub(super) nodes: Vec<usize>,
}

#[derive(Debug, Deserialize)]
pub(super) struct Node {
    pub(super) name: Option<String>,
    pub(super) mesh: Option<usize>,
    #[serde(default, deserialize_with = "at_most")]
    pub(super) children: Vec<usize>,
    /// Column by column.
    pub(super) matrix: Option<[f64; 16]>,
    pub(super) translation: Option<[f64; 3]>,
    /// x, y, z, w.
    pub(super) rotation: Option<[f64; 4]>,
    pub(super) scale: Option<[f64; 3]>,
}

#[derive(Debug, Deserialize)]
pub(super) struct Mesh {
    pub(super) name: Option<String>,
    #[serde(default, deserialize_with = "at_most")]
    pub(super) primitives: Vec<Primitive>,
}

#[derive(Debug, Deserialize)]
pub(super) struct Primitive {
    #[serde(default)]
    pub(super) attributes: Attributes,
    pub(super) indices: Option<usize>,
    pub(super) mode: Option<u32>,
}

#[derive(Debug, Default, Deserialize)]
pub(super) struct Attributes {
    #[serde(rename = "POSITION")]
    pub(super) position: Option<usize>,
}

#[derive(Debug, Deserialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct Accessor {
    pub(super) buffer_view: Option<usize>,
    #[serde(default)]
    pub(super) byte_offset: usize,
    pub(super) component_type: u32,
    #[serde(default)]
    pub(super) normalized: bool,
    pub(super) count: usize,
    #[serde(rename = "type")]
    pub(super) kind: String,
    pub(super) sparse: Option<serde::de::IgnoredAny>,
}

#[derive(Debug, Deserialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct BufferView {
    pub(super) buffer: usize,
    #[serde(default)]
    pub(super) byte_offset: usize,
    pub(super) byte_length: usize,
    pub(super) byte_stride: Option<usize>,
}

#[derive(Debug, Deserialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct Buffer {
    pub(super) uri: Option<String>,
    pub(super) byte_length: u64,
}

/// A list of no more than [`MOST_ENTRIES`]: the document is shorter than what is made of it.
fn at_most<'de, D: Deserializer<'de>, T: Deserialize<'de>>(from: D) -> Result<Vec<T>, D::Error> {
    struct AtMost<T>(PhantomData<T>);

    impl<'de, T: Deserialize<'de>> Visitor<'de> for AtMost<T> {
        type Value = Vec<T>;

        fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
            write!(f, "a list of at most {MOST_ENTRIES} entries")
        }

        fn visit_seq<A: SeqAccess<'de>>(self, mut from: A) -> Result<Vec<T>, A::Error> {
            let mut list = Vec::new();
            while let Some(entry) = from.next_element()? {
                if list.len() >= MOST_ENTRIES {
                    return Err(A::Error::invalid_length(list.len() + 1, &self));
                }
                list.push(entry);
            }
            Ok(list)
        }
    }

    from.deserialize_seq(AtMost(PhantomData))
}
