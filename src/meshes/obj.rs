//! OBJ: vertices and polygons as text; objects and groups are parts. Neither a unit nor materials count.
//!
//! # Source
//! Wavefront, Advanced Visualizer manual, appendix B1 "Object files" (known from common practice).
use super::{
    error::Fault,
    format::Format,
    limits::Limits,
    polygon::Cutter,
    soup::Soup,
    words::{Lines, shown, three, words},
};

/// Reads a text; `name` is that of what stands before the first object or group.
pub(super) fn read(text: &[u8], name: &str, limits: Limits) -> Result<Soup, Fault> {
    let joined = without_continuations(text);
    let text = joined.as_deref().unwrap_or(text);
    let mut reader = Reader {
        soup: Soup::new(Format::Obj, limits),
        cutter: Cutter::default(),
        object: name.to_owned(),
        corners: Vec::new(),
    };
    reader.soup.go_on_with(name)?;
    for (line, text) in Lines::new(text, 1) {
        reader.line(line, text)?;
    }
    Ok(reader.soup)
}

/// The same text with a blank and a carriage return in place of a backslash and the line break behind it, where it has any: line
/// numbers count joined lines once.
fn without_continuations(text: &[u8]) -> Option<Vec<u8>> {
    let is_joint = |pair: &[u8]| pair == b"\\\n" || pair == b"\\\r";
    if !text.windows(2).any(is_joint) {
        return None;
    }
    let mut joined = text.to_vec();
    for at in 0..joined.len().saturating_sub(1) {
        if joined[at] != b'\\' {
            continue;
        }
        let end = at + 1 + usize::from(joined[at + 1] == b'\r');
        if joined.get(end) == Some(&b'\n') {
            joined[at..=end].fill(b' ');
        }
    }
    Some(joined)
}

struct Reader {
    soup: Soup,
    cutter: Cutter,
    /// The object that groups without a name belong to.
    object: String,
    corners: Vec<u32>,
}

impl Reader {
    fn line(&mut self, line: usize, text: &[u8]) -> Result<(), Fault> {
        let mut parts = words(text);
        let keyword = parts.next().unwrap_or_default();
        let rest = || String::from_utf8_lossy(text[keyword.len()..].trim_ascii()).into_owned();
        match keyword {
            b"v" => {
                let place = three(parts).ok_or_else(|| {
                    let found = format!("\"{}\"; three numbers must follow", shown(text));
                    self.soup.damaged(format!("line {line}"), found)
                })?;
                self.soup.vertex(place, || format!("line {line}"))
            }
            b"f" | b"fo" => self.polygon(line, text),
            b"o" => {
                self.object = rest();
                self.soup.go_on_with(&self.object)
            }
            b"g" => match rest().as_str() {
                "" | "default" | "off" => self.soup.go_on_with(&self.object),
                group => self.soup.go_on_with(group),
            },
            b"surf" | b"curv" | b"curv2" => Err(Fault::Unsupported {
                format: Format::Obj,
                found: "curved surfaces".to_owned(),
                advice: "export the model as a mesh of triangles",
            }),
            // Normals, textures, materials, lines, smoothing groups, comments.
            _ => Ok(()),
        }
    }

    fn polygon(&mut self, line: usize, text: &[u8]) -> Result<(), Fault> {
        self.corners.clear();
        let count = self.soup.vertices.len();
        for word in words(text).skip(1) {
            let index = corner(word, count).ok_or_else(|| {
                let found = format!("corner \"{}\"; {count} vertices stand above", shown(word));
                self.soup.damaged(format!("line {line}"), found)
            })?;
            self.corners.push(index);
        }
        if self.corners.len() < 3 {
            let found = format!("a facet of {} corners; it needs 3", self.corners.len());
            return Err(self.soup.damaged(format!("line {line}"), found));
        }
        self.soup.room_for(self.corners.len() - 2)?;
        self.cutter.add(&mut self.soup, &self.corners)
    }
}

/// The vertex of `v`, `v/vt`, `v//vn` or `v/vt/vn`; numbers below 0 count from the last vertex back.
fn corner(word: &[u8], count: usize) -> Option<u32> {
    let end = word
        .iter()
        .position(|byte| *byte == b'/')
        .unwrap_or(word.len());
    let index = std::str::from_utf8(&word[..end])
        .ok()?
        .parse::<i64>()
        .ok()?;
    let count = i64::try_from(count).ok()?;
    let index = if index < 0 {
        count.checked_add(index)?
    } else {
        index.checked_sub(1)?
    };
    (0..count)
        .contains(&index)
        .then(|| u32::try_from(index).ok())?
}

#[cfg(test)]
mod tests {
    use super::*;

    fn parsed(text: &str) -> Result<Soup, Fault> {
        read(text.as_bytes(), "file", Limits::default())
    }

    const SQUARE: &str = "v 0 0 0\nv 1 0 0\nv 1 1 0\nv 0 1 0\n";

    #[test]
    fn objects_and_groups_are_parts_and_go_on() {
        let text = format!(
            "{SQUARE}f 1 2 3\no tank\nf 1/1 2/2/2 3//3 4\ng top lid\nf -4 -3 -2\ng off\nf 1 2 3\n"
        );
        let soup = parsed(&text).expect("sound");
        assert_eq!(soup.names, ["file", "tank", "top lid"]);
        assert_eq!(soup.part_of_facet, [0, 1, 1, 2, 1]);
        assert_eq!(
            soup.facets,
            [[0, 1, 2], [0, 1, 2], [0, 2, 3], [0, 1, 2], [0, 1, 2]]
        );
    }

    #[test]
    fn a_backslash_joins_lines() {
        for end in ["\n", "\r\n"] {
            let soup = parsed(&format!("{SQUARE}f 1 2 \\{end}  3 4{end}")).expect("sound");
            assert_eq!(soup.facets.len(), 2);
        }
    }

    #[test]
    fn corners_that_are_not_there_are_named() {
        for (bad, expected) in [
            ("f 1 2 5", "at line 5: corner \"5\"; 4 vertices stand above"),
            ("f 1 2 0", "corner \"0\""),
            ("f 1 2 -5", "corner \"-5\""),
            ("f 1 2 x", "corner \"x\""),
            (
                "f 1 2 99999999999999999999",
                "corner \"99999999999999999999\"",
            ),
            ("f 1 2", "a facet of 2 corners"),
            ("v 1 2", "three numbers must follow"),
            ("surf 0 1", "has curved surfaces, which is not read"),
        ] {
            let text = parsed(&format!("{SQUARE}{bad}\n"))
                .expect_err(bad)
                .to_string();
            assert!(text.contains(expected), "{text}");
        }
    }
}
