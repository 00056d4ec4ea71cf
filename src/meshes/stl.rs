//! STL, as text and as numbers: facets by their corners, without names (but of whole solids) and without a unit.
//!
//! # Source
//! 3D Systems, StereoLithography Interface Specification, 1989 (known from common practice).
use super::{
    error::Fault,
    format::Format,
    limits::Limits,
    recognise::{STL_FACET, STL_HEADER, stl_count},
    soup::Soup,
    words::{Lines, shown, three, words},
};

/// Reads a binary file. What follows the facets that it announces is left alone.
pub(super) fn read_binary(bytes: &[u8], name: &str, limits: Limits) -> Result<Soup, Fault> {
    let mut soup = Soup::new(Format::BinaryStl, limits);
    soup.go_on_with(name)?;
    let count = stl_count(bytes).unwrap_or(0);
    let needed = count.saturating_mul(STL_FACET).saturating_add(STL_HEADER);
    if needed > bytes.len() || bytes.len() < STL_HEADER {
        let found = format!(
            "{count} facets need {needed} bytes, the file has {}",
            bytes.len()
        );
        return Err(soup.damaged("its header", found));
    }
    soup.room_for(count)?;
    soup.vertices.reserve_exact(3 * count);
    soup.facets.reserve_exact(count);
    for (facet, data) in bytes[STL_HEADER..needed]
        .chunks_exact(STL_FACET)
        .enumerate()
    {
        // The first three numbers are the normal, which the corners tell better.
        let number = |at: usize| {
            let four = [data[at], data[at + 1], data[at + 2], data[at + 3]];
            f64::from(f32::from_le_bytes(four))
        };
        let first = soup.vertices.len() as u32;
        for corner in [12, 24, 36] {
            let place = [number(corner), number(corner + 4), number(corner + 8)];
            soup.vertex(place, || format!("facet {}", facet + 1))?;
        }
        soup.facet([first, first + 1, first + 2])?;
    }
    Ok(soup)
}

/// Reads a text. Each solid is a part.
pub(super) fn read_ascii(text: &[u8], name: &str, limits: Limits) -> Result<Soup, Fault> {
    let mut soup = Soup::new(Format::AsciiStl, limits);
    soup.go_on_with(name)?;
    let mut corners = 0;
    for (line, text) in Lines::new(text, 1) {
        let mut parts = words(text);
        let at = || format!("line {line}");
        let keyword = parts.next().unwrap_or_default();
        let is = |word: &str| keyword.eq_ignore_ascii_case(word.as_bytes());
        if is("vertex") {
            let place = three(parts).ok_or_else(|| {
                soup.damaged(
                    at(),
                    format!("\"{}\"; three numbers must follow", shown(text)),
                )
            })?;
            soup.vertex(place, at)?;
            corners += 1;
        } else if is("endfacet") || is("endloop") {
            if corners != 3 && !(is("endfacet") && corners == 0) {
                return Err(soup.damaged(at(), format!("a facet of {corners} corners; it has 3")));
            }
            if corners == 3 {
                let end = soup.vertices.len() as u32;
                soup.facet([end - 3, end - 2, end - 1])?;
            }
            corners = 0;
        } else if is("solid") {
            let own = text.get(b"solid".len()..).unwrap_or_default().trim_ascii();
            if !own.is_empty() {
                soup.go_on_with(&String::from_utf8_lossy(own))?;
            }
        } else if !(keyword.is_empty() || ["facet", "outer", "endsolid"].into_iter().any(is)) {
            return Err(soup.damaged(
                at(),
                format!("\"{}\", which STL does not have", shown(text)),
            ));
        }
    }
    match corners {
        0 => Ok(soup),
        _ => Err(soup.damaged("its end", "it ends within a facet")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const TWO: &str = "solid tank top\n facet normal 0 0 1\n  outer loop\n   vertex 0 0 0\n   VERTEX 1e0 0 0\n   vertex 0 1 0\n  endloop\n endfacet\nendsolid\nsolid beam\nfacet normal 0 0 1\nouter loop\nvertex 0 0 0\nvertex 1 0 0\nvertex 0 1 -2.5\nendloop\nendfacet\nendsolid beam\n";

    fn ascii(text: &str) -> Result<Soup, Fault> {
        read_ascii(text.as_bytes(), "file", Limits::default())
    }

    #[test]
    fn solids_of_a_text_are_parts() {
        let soup = ascii(TWO).expect("sound");
        assert_eq!(soup.names, ["file", "tank top", "beam"]);
        assert_eq!(soup.part_of_facet, [1, 2]);
        assert_eq!(soup.vertices[5], [0.0, 1.0, -2.5]);
        // A Windows writer.
        assert_eq!(
            ascii(&TWO.replace('\n', "\r\n")).expect("sound").names,
            soup.names
        );
    }

    #[test]
    fn texts_that_break_off_or_make_no_sense_name_the_line() {
        for (from, to, expected) in [
            (
                "vertex 0 1 0",
                "vertex 0 1",
                "at line 6: \"vertex 0 1\"; three numbers must follow",
            ),
            (
                "vertex 0 1 0",
                "vertex 0 nan 0",
                "three numbers must follow",
            ),
            (
                "   vertex 0 1 0\n",
                "",
                "at line 6: a facet of 2 corners; it has 3",
            ),
            (
                "outer",
                "oater",
                "at line 3: \"oater loop\", which STL does not have",
            ),
            (
                "endloop\nendfacet\nendsolid beam\n",
                "",
                "at its end: it ends within a facet",
            ),
        ] {
            let fault = ascii(&TWO.replacen(from, to, 1)).expect_err(to).to_string();
            assert!(fault.contains(expected), "{fault}");
        }
    }

    #[test]
    fn a_binary_file_is_as_long_as_it_says_or_longer() {
        let mut bytes = vec![0; STL_HEADER];
        bytes[80] = 1;
        bytes.extend([0; 12]);
        for corner in [[0.0_f32, 0.0, 0.0], [1.5, 0.0, 0.0], [0.0, -2.0, 0.25]] {
            bytes.extend(corner.iter().flat_map(|v| v.to_le_bytes()));
        }
        bytes.extend([0; 2]);
        let read = |bytes: &[u8]| read_binary(bytes, "tank", Limits::default());
        let soup = read(&bytes).expect("sound");
        assert_eq!(
            (soup.facets.len(), soup.vertices[2]),
            (1, [0.0, -2.0, 0.25])
        );
        bytes.push(0);
        assert!(read(&bytes).is_ok());
        bytes[80] = 2;
        let text = read(&bytes).expect_err("short").to_string();
        assert!(
            text.contains("its header: 2 facets need 184 bytes, the file has 135"),
            "{text}"
        );
        assert!(read(&bytes[..50]).is_err());
        bytes[80] = 1;
        bytes[100..104].copy_from_slice(&f32::NAN.to_le_bytes());
        let text = read(&bytes).expect_err("no number").to_string();
        assert!(text.contains("facet 1: the coordinate NaN"), "{text}");
    }
}
