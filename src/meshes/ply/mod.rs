//! PLY: elements that a header describes, as text or as numbers in either order; vertices and faces are taken. It has neither names
//! nor a unit.
//!
//! # Source
//! G. Turk, The PLY Polygon File Format, Stanford University, 1994.
mod body;
mod header;

use super::{error::Fault, format::Format, limits::Limits, polygon::Cutter, soup::Soup};
use body::{Source, Values};
use header::{Element, Header, Kind};

/// Reads a file.
pub(super) fn read(bytes: &[u8], name: &str, limits: Limits) -> Result<Soup, Fault> {
    let header = header::read(bytes)?;
    let mut soup = Soup::new(Format::Ply, limits);
    soup.go_on_with(name)?;
    let mut source = Source::new(&bytes[header.length..], header.encoding);
    if !header.elements.iter().any(|e| e.name == "face") {
        return Err(Fault::Unsupported {
            format: Format::Ply,
            found: without_faces(&header).to_owned(),
            advice: "export the model as a mesh of triangles",
        });
    }
    for element in &header.elements {
        match element.name.as_str() {
            "vertex" => vertices(&mut soup, &mut source, element)?,
            "face" => faces(&mut soup, &mut source, element)?,
            _ => every(&mut source, element, |_, _| Ok(()))?,
        }
    }
    Ok(soup)
}

fn without_faces(header: &Header) -> &'static str {
    match header.elements.iter().any(|e| e.name == "tristrips") {
        true => "strips of triangles",
        false => "points without facets",
    }
}

/// Reads all of an element; `take` gets each one's number and values.
fn every(
    source: &mut Source<'_>,
    element: &Element,
    mut take: impl FnMut(usize, &Values) -> Result<(), Fault>,
) -> Result<(), Fault> {
    let mut values = Values::default();
    for index in 0..element.count {
        if let Err(found) = source.read(element, &mut values) {
            let place = format!("{} {}", element.name, index + 1);
            return Err(Fault::damaged(Format::Ply, place, found));
        }
        take(index, &values)?;
    }
    Ok(())
}

fn vertices(soup: &mut Soup, source: &mut Source<'_>, element: &Element) -> Result<(), Fault> {
    let axes = ["x", "y", "z"].map(|axis| {
        let is_axis = |p: &header::Property| p.name == axis && matches!(p.kind, Kind::Number(_));
        let index = element.properties.iter().position(is_axis);
        index.ok_or_else(|| {
            Fault::damaged(
                Format::Ply,
                "its header",
                format!("vertices without a number \"{axis}\""),
            )
        })
    });
    let [x, y, z] = axes;
    let [x, y, z] = [x?, y?, z?];
    every(source, element, |index, values| {
        let place = [x, y, z].map(|axis| values.single[axis]);
        soup.vertex(place, || format!("vertex {}", index + 1))
    })
}

fn faces(soup: &mut Soup, source: &mut Source<'_>, element: &Element) -> Result<(), Fault> {
    let is_list = |p: &header::Property| {
        matches!(p.name.as_str(), "vertex_indices" | "vertex_index")
            && matches!(p.kind, Kind::List(..))
    };
    let list = element.properties.iter().position(is_list).ok_or_else(|| {
        Fault::damaged(
            Format::Ply,
            "its header",
            "faces without a list \"vertex_indices\"",
        )
    })?;
    soup.room_for(element.count)?;
    let mut cutter = Cutter::default();
    let mut corners = Vec::new();
    every(source, element, |index, values| {
        let count = soup.vertices.len();
        let at = || format!("face {}", index + 1);
        corners.clear();
        for value in values.list(list) {
            let is_there = *value >= 0.0 && *value < count as f64 && value.fract() == 0.0;
            if !is_there {
                let found = format!(
                    "corner {value}; vertices 0 to {} are there",
                    count as i64 - 1
                );
                return Err(soup.damaged(at(), found));
            }
            corners.push(*value as u32);
        }
        if corners.len() < 3 {
            return Err(soup.damaged(at(), format!("{} corners; it needs 3", corners.len())));
        }
        soup.room_for(corners.len() - 2)?;
        cutter.add(soup, &corners)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const HEAD: &str = "comment by hand\nelement vertex 4\nproperty float x\nproperty float y\nproperty float z\nproperty uchar red\nelement face 1\nproperty list uchar int vertex_indices\nelement mark 1\nproperty short at\nend_header\n";

    fn parsed(bytes: &[u8]) -> Result<Soup, Fault> {
        read(bytes, "tank", Limits::default())
    }

    fn ascii() -> String {
        format!("ply\nformat ascii 1.0\n{HEAD}0 0 0 7\n1 0 0 7\n1 1 0 7\n0 1 0.5 7\n4 0 1 2 3\n9\n")
    }

    fn binary(is_big: bool) -> Vec<u8> {
        let name = if is_big {
            "binary_big_endian"
        } else {
            "binary_little_endian"
        };
        let mut bytes = format!("ply\nformat {name} 1.0\n{HEAD}").into_bytes();
        let order = |mut number: Vec<u8>| {
            if is_big {
                number.reverse();
            }
            number
        };
        for place in [
            [0.0_f32, 0.0, 0.0],
            [1.0, 0.0, 0.0],
            [1.0, 1.0, 0.0],
            [0.0, 1.0, 0.5],
        ] {
            bytes.extend(place.iter().flat_map(|v| order(v.to_le_bytes().to_vec())));
            bytes.push(7);
        }
        bytes.push(4);
        bytes.extend((0..4_i32).flat_map(|v| order(v.to_le_bytes().to_vec())));
        bytes.extend(order(9_i16.to_le_bytes().to_vec()));
        bytes
    }

    #[test]
    fn the_three_encodings_say_the_same() {
        for bytes in [
            ascii().into_bytes(),
            ascii().replace('\n', "\r\n").into_bytes(),
            binary(true),
            binary(false),
        ] {
            let soup = parsed(&bytes).expect("sound");
            assert_eq!(soup.facets, [[0, 1, 2], [0, 2, 3]]);
            assert_eq!(soup.vertices[3], [0.0, 1.0, 0.5]);
            assert_eq!(soup.names, ["tank"]);
        }
    }

    #[test]
    fn what_breaks_off_or_contradicts_itself_is_named() {
        for (from, to, expected) in [
            (
                "4 0 1 2 3",
                "4 0 1 2 4",
                "at face 1: corner 4; vertices 0 to 3 are there",
            ),
            ("4 0 1 2 3", "2 0 1", "at face 1: 2 corners"),
            ("4 0 1 2 3", "4 0 1 2 -3", "corner -3"),
            ("\n9\n", "\n", "at mark 1: the file ends"),
            ("1 1 0 7", "1 one 0 7", "at vertex 3: \"one\""),
            (
                "vertex 4",
                "vertex 4000000000",
                "its header: 4000000000 elements \"vertex\"",
            ),
            ("property float y\n", "", "vertices without a number \"y\""),
            ("vertex_indices", "corners", "faces without a list"),
            ("element face", "element strip", "points without facets"),
            ("format ascii 1.0", "format ascii 2.0", "line 2"),
            (
                "uchar red",
                "octet red",
                "at line 8: \"property octet red\"",
            ),
            ("end_header", "end", "no line \"end_header\""),
        ] {
            let text = ascii().replacen(from, to, 1);
            assert_ne!(text, ascii(), "{from}");
            let fault = parsed(text.as_bytes()).expect_err(to).to_string();
            assert!(fault.contains(expected), "{fault}");
        }
        let whole = binary(true);
        for length in 0..whole.len() {
            assert!(parsed(&whole[..length]).is_err(), "{length}");
        }
    }
}
