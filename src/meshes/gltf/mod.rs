//! glTF 2.0, as a document with its buffers or as one binary file: nodes with a mesh are parts. Lengths are metres.
//!
//! # Source
//! Khronos Group, glTF 2.0 Specification (ISO/IEC 12113:2022), sections 3.5 to 3.7 and 4.4.
mod buffers;
mod document;

use super::{
    error::Fault,
    format::Format,
    limits::{DEEPEST, Limits, MOST_ENTRIES},
    soup::{Soup, too_many},
    transform::Transform,
};
use buffers::Buffers;
use document::{Document, Node, Primitive};
use std::path::Path;

/// What of the standard's extensions changes no place.
const HARMLESS: [&str; 2] = ["KHR_mesh_quantization", "KHR_texture_transform"];

/// Reads a binary file.
pub(super) fn read_binary(bytes: &[u8], folder: &Path, limits: Limits) -> Result<Soup, Fault> {
    let (json, binary) = chunks(bytes)?;
    read_document(json, (folder, binary), (Format::Glb, limits))
}

/// Reads a document; files that it names are looked for in `folder`.
pub(super) fn read(bytes: &[u8], folder: &Path, limits: Limits) -> Result<Soup, Fault> {
    let json = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    read_document(json, (folder, None), (Format::Gltf, limits))
}

/// The files beside it that a document, of text or binary, keeps its numbers in; none where it cannot be read.
pub fn buffer_files(bytes: &[u8]) -> Vec<String> {
    let text = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    let json = chunks(bytes).map_or(text, |(json, _)| json);
    let document = serde_json::from_slice::<Document>(json);
    let buffers = document.map_or_else(|_| Vec::new(), |document| document.buffers);
    let uris = buffers.into_iter().filter_map(|buffer| buffer.uri);
    uris.filter(|uri| !uri.starts_with("data:"))
        .map(|uri| buffers::decoded(&uri))
        .collect()
}

/// The document of a binary file, and its buffer where it has one.
fn chunks(bytes: &[u8]) -> Result<(&[u8], Option<&[u8]>), Fault> {
    let wrong = |found: String| Fault::damaged(Format::Glb, "its header", found);
    let number = |at: usize| {
        let four = bytes.get(at..at + 4)?.try_into().ok()?;
        Some(u32::from_le_bytes(four) as usize)
    };
    let version = number(4).unwrap_or(0);
    if version != 2 {
        return Err(wrong(format!("version {version}; version 2 is read")));
    }
    let chunk = |at: usize, kind: &[u8]| {
        let length = number(at)?;
        let is_it = bytes.get(at + 4..at + 8)? == kind;
        let data = bytes.get(at + 8..(at + 8).checked_add(length)?)?;
        is_it.then_some(data)
    };
    let json = chunk(12, b"JSON").ok_or_else(|| wrong("no whole chunk \"JSON\"".to_owned()))?;
    Ok((json, chunk(20 + json.len().next_multiple_of(4), b"BIN\0")))
}

fn read_document(
    json: &[u8],
    place: (&Path, Option<&[u8]>),
    (format, limits): (Format, Limits),
) -> Result<Soup, Fault> {
    let document: Document = serde_json::from_slice(json).map_err(|error| {
        let place = format!("line {}, column {}", error.line(), error.column());
        Fault::damaged(format, place, error.to_string())
    })?;
    let required = document.extensions_required.iter();
    if let Some(name) = required
        .clone()
        .find(|name| !HARMLESS.contains(&name.as_str()))
    {
        return Err(Fault::Unsupported {
            format,
            found: format!("the extension \"{name}\""),
            advice: "export it without compression and extensions",
        });
    }
    let reader = Reader {
        buffers: Buffers::read(&document, place, (format, limits))?,
        document: &document,
        format,
    };
    let mut walk = Walk {
        soup: Soup::new(format, limits),
        visited: 0,
    };
    for root in reader.roots()? {
        reader.node(root, &Transform::IDENTITY, 0, &mut walk)?;
    }
    Ok(walk.soup)
}

struct Reader<'a> {
    buffers: Buffers<'a>,
    document: &'a Document,
    format: Format,
}

/// What grows from node to node.
struct Walk {
    soup: Soup,
    visited: usize,
}

impl Reader<'_> {
    fn wrong(&self, place: String, found: &str) -> Fault {
        Fault::damaged(self.format, place, found)
    }

    /// The nodes of the scene; without any scene those that are no child.
    fn roots(&self) -> Result<Vec<usize>, Fault> {
        let document = self.document;
        if document.scenes.is_empty() {
            let mut is_child = vec![false; document.nodes.len()];
            for child in document.nodes.iter().flat_map(|node| &node.children) {
                if let Some(is_child) = is_child.get_mut(*child) {
                    *is_child = true;
                }
            }
            return Ok((0..document.nodes.len())
                .filter(|i| !is_child[*i])
                .collect());
        }
        let index = document.scene.unwrap_or(0);
        let scene = document.scenes.get(index);
        let scene =
            scene.ok_or_else(|| self.wrong(format!("scenes/{index}"), "it is not there"))?;
        Ok(scene.nodes.clone())
    }

    fn node(
        &self,
        index: usize,
        above: &Transform,
        depth: usize,
        walk: &mut Walk,
    ) -> Result<(), Fault> {
        let place = || format!("nodes/{index}");
        let node = self.document.nodes.get(index);
        let node = node.ok_or_else(|| self.wrong(place(), "it is not there"))?;
        let mesh = node.mesh.and_then(|mesh| self.document.meshes.get(mesh));
        walk.visited += 1 + mesh.map_or(0, |mesh| mesh.primitives.len());
        if depth > DEEPEST {
            return Err(self.wrong(
                place(),
                "nodes within nodes more than 64 deep, or in a circle",
            ));
        }
        if walk.visited > MOST_ENTRIES {
            return Err(too_many("nodes", MOST_ENTRIES));
        }
        let own = above.after(&transform(node));
        if let Some(mesh) = node.mesh {
            self.mesh(node, mesh, &own, &mut walk.soup)?;
        }
        node.children
            .iter()
            .try_for_each(|child| self.node(*child, &own, depth + 1, walk))
    }

    fn mesh(
        &self,
        node: &Node,
        index: usize,
        own: &Transform,
        soup: &mut Soup,
    ) -> Result<(), Fault> {
        let mesh = self.document.meshes.get(index);
        let mesh = mesh.ok_or_else(|| self.wrong(format!("meshes/{index}"), "it is not there"))?;
        let names = [&node.name, &mesh.name].into_iter().flatten();
        let name = names
            .map(String::as_str)
            .find(|name| !name.trim().is_empty());
        soup.begin(name.unwrap_or("part"))?;
        for primitive in &mesh.primitives {
            // Points and lines have no facets.
            let mode = primitive.mode.unwrap_or(4);
            if (4..=6).contains(&mode) {
                self.primitive(primitive, mode, own, soup)?;
            }
        }
        Ok(())
    }

    fn primitive(
        &self,
        primitive: &Primitive,
        mode: u32,
        own: &Transform,
        soup: &mut Soup,
    ) -> Result<(), Fault> {
        let Some(position) = primitive.attributes.position else {
            return Ok(());
        };
        let first = soup.vertices.len();
        self.buffers.each(position, ("VEC3", 3), |place| {
            let place = own.apply([place[0], place[1], place[2]]);
            soup.vertex(place, || format!("accessors/{position}"))
        })?;
        let count = soup.vertices.len() - first;
        let mut strip = Strip {
            mode,
            first: first as u32,
            seen: 0,
            corners: [0; 3],
        };
        let Some(indices) = primitive.indices else {
            return (0..count as u32).try_for_each(|index| strip.add(index, soup));
        };
        soup.room_for(self.buffers.count(indices)? / 3)?;
        self.buffers.each(indices, ("SCALAR", 1), |index| {
            let index = index[0];
            if !(index >= 0.0 && index < count as f64) {
                let found = format!("index {index}; {count} vertices are there");
                return Err(self.wrong(format!("accessors/{indices}"), &found));
            }
            strip.add(index as u32, soup)
        })
    }
}

/// Corners one after the other, and the triangles that they make.
struct Strip {
    mode: u32,
    first: u32,
    seen: usize,
    corners: [u32; 3],
}

impl Strip {
    fn add(&mut self, index: u32, soup: &mut Soup) -> Result<(), Fault> {
        let index = self.first + index;
        let seen = self.seen;
        self.seen += 1;
        match self.mode {
            // Triangles.
            4 => self.corners[seen % 3] = index,
            // A fan keeps its first corner, a strip the last two.
            6 if seen >= 3 => self.corners = [self.corners[0], self.corners[2], index],
            5 if seen >= 3 => self.corners = [self.corners[1], self.corners[2], index],
            _ => self.corners[seen] = index,
        }
        let is_whole = if self.mode == 4 {
            seen % 3 == 2
        } else {
            seen >= 2
        };
        if !is_whole {
            return Ok(());
        }
        let [a, b, c] = self.corners;
        let is_turned = self.mode == 5 && seen % 2 == 1;
        soup.facet(if is_turned { [b, a, c] } else { [a, b, c] })
    }
}

/// A node's own transform: its matrix, or scale, then rotation, then translation.
fn transform(node: &Node) -> Transform {
    if let Some(m) = node.matrix {
        return Transform(std::array::from_fn(|r| {
            std::array::from_fn(|c| m[4 * c + r])
        }));
    }
    let [x, y, z, w] = node.rotation.unwrap_or([0.0, 0.0, 0.0, 1.0]);
    let s = node.scale.unwrap_or([1.0; 3]);
    let t = node.translation.unwrap_or([0.0; 3]);
    let turn = [
        [
            1.0 - 2.0 * (y * y + z * z),
            2.0 * (x * y - z * w),
            2.0 * (x * z + y * w),
        ],
        [
            2.0 * (x * y + z * w),
            1.0 - 2.0 * (x * x + z * z),
            2.0 * (y * z - x * w),
        ],
        [
            2.0 * (x * z - y * w),
            2.0 * (y * z + x * w),
            1.0 - 2.0 * (x * x + y * y),
        ],
    ];
    Transform(std::array::from_fn(|r| {
        [
            turn[r][0] * s[0],
            turn[r][1] * s[1],
            turn[r][2] * s[2],
            t[r],
        ]
    }))
}
