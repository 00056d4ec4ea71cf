//! What a mesh file is, by what stands in it; its name counts only where its content may be two things.
use super::{error::Fault, format::Format};
use std::path::Path;

/// Bytes of a binary STL file before its facets.
pub(super) const STL_HEADER: usize = 84;
/// Bytes of one of its facets.
pub(super) const STL_FACET: usize = 50;

/// How many facets a file has if it is a binary STL file.
pub(super) fn stl_count(bytes: &[u8]) -> Option<usize> {
    let count = bytes.get(80..STL_HEADER)?.try_into().ok()?;
    Some(u32::from_le_bytes(count) as usize)
}

/// What the content is.
///
/// # Errors
/// [`Fault::Format`].
pub(super) fn recognise(path: &Path, bytes: &[u8]) -> Result<Format, Fault> {
    let extension = path
        .extension()
        .and_then(|e| e.to_str())
        .unwrap_or_default();
    let is_named = |name: &str| extension.eq_ignore_ascii_case(name);
    let text = bytes.trim_ascii_start();
    let text = text.strip_prefix(b"\xef\xbb\xbf").unwrap_or(text);
    let stl_length =
        stl_count(bytes).map(|n| n.saturating_mul(STL_FACET).saturating_add(STL_HEADER));
    Ok(match () {
        () if bytes.is_empty() => {
            return Err(Fault::Format {
                found: "nothing (0 bytes)",
            });
        }
        () if bytes.starts_with(b"glTF") => Format::Glb,
        () if bytes.starts_with(b"PK\x03\x04") => Format::ThreeMf,
        () if bytes.starts_with(b"ply\n") || bytes.starts_with(b"ply\r") => Format::Ply,
        // Some writers begin the header of binary files with "solid", too.
        () if stl_length == Some(bytes.len()) => Format::BinaryStl,
        () if text.starts_with(b"solid") => Format::AsciiStl,
        () if is_job(text) => {
            return Err(Fault::Format {
                found: "a job file of this program, which is named with --job",
            });
        }
        () if text.starts_with(b"{") => Format::Gltf,
        () if is_named("obj") || looks_like_obj(text) => Format::Obj,
        () if is_named("stl") => Format::BinaryStl,
        () => return Err(Fault::Format { found: other(text) }),
    })
}

/// Whether a JSON document is a job and no model.
fn is_job(text: &[u8]) -> bool {
    let has = |word: &[u8]| text.windows(word.len()).any(|part| part == word);
    text.starts_with(b"{") && has(b"\"views\"") && has(b"\"scale\"") && !has(b"\"asset\"")
}

/// Whether one of the first lines is a vertex.
fn looks_like_obj(text: &[u8]) -> bool {
    let mut lines = text.split(|byte| *byte == b'\n').take(1000);
    lines.any(|line| line.trim_ascii().starts_with(b"v ")) && text.is_ascii()
}

/// What other content looks like, where a name for it helps.
fn other(text: &[u8]) -> &'static str {
    let head = &text[..text.len().min(4000)];
    let has = |words: &[u8]| head.windows(words.len()).any(|part| part == words);
    match () {
        () if head.starts_with(b"ISO-10303-21") => "a STEP model (exact surfaces, no mesh)",
        () if head.starts_with(b"\x1f\x8b") => "a gzip archive",
        () if head.starts_with(b"<") && has(b"<svg") => "an SVG drawing",
        () if head.starts_with(b"<") => "an XML document",
        () if head.starts_with(b"\x89PNG") || head.starts_with(b"\xff\xd8\xff") => "a picture",
        () => "something else than a mesh",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(name: &str, bytes: &[u8]) -> String {
        match recognise(Path::new(name), bytes) {
            Ok(format) => format!("{format:?}"),
            Err(fault) => fault.to_string(),
        }
    }

    #[test]
    fn the_content_decides_and_not_the_name() {
        let mut binary = b"solid made by a writer that confuses".to_vec();
        binary.resize(STL_HEADER + STL_FACET, 0);
        binary[80] = 1;
        assert_eq!(of("a.obj", &binary), "BinaryStl");
        assert_eq!(of("a.stl", b"  solid a\nendsolid"), "AsciiStl");
        assert_eq!(of("a.stl", b"PK\x03\x04"), "ThreeMf");
        assert_eq!(of("a", b"ply\nformat"), "Ply");
        assert_eq!(of("a", b"glTF"), "Glb");
        assert_eq!(of("a", b"\xef\xbb\xbf{}"), "Gltf");
        assert_eq!(of("a", b"# x\nv 0 0 0\n"), "Obj");
        assert_eq!(of("a.stl", b"# x\nv 0 0 0\n"), "Obj");
    }

    #[test]
    fn what_is_no_mesh_is_named() {
        assert!(of("a", b"").starts_with("holds nothing (0 bytes)"));
        let step = of("a", b"ISO-10303-21;");
        assert_eq!(
            step,
            "holds a STEP model (exact surfaces, no mesh); STL, OBJ, PLY, glTF, GLB and 3MF can be read; export the \
             model as one of them"
        );
        let job = of("a.json", b"{\"scale\": \"1:24\", \"views\": []}");
        assert!(job.starts_with("holds a job file of this program"), "{job}");
        assert!(of("a.bin", b"\0\0\0").contains("something else than a mesh"));
    }
}
