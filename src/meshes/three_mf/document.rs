//! One model document of a 3MF package: objects with their meshes or components, and the items of the build.
use super::{
    package::Pieces,
    xml::{Tag, Wrong, each_tag},
};
use crate::{
    meshes::{
        error::Fault,
        limits::{LARGEST_COORDINATE, MOST_ENTRIES},
        soup::too_many,
        transform::Transform,
    },
    printable::shortened,
};
use std::{collections::HashMap, io::BufRead};

/// Facets and vertices that all documents of a package may still have.
#[derive(Clone, Copy, Debug)]
pub(super) struct Room {
    pub(super) facets: usize,
    pub(super) vertices: usize,
}

/// A model document.
#[derive(Debug, Default)]
pub(super) struct Document {
    /// Millimetres of its unit; 1 where it states none.
    pub(super) unit: f64,
    pub(super) objects: HashMap<u32, Object>,
    pub(super) items: Vec<Use>,
}

/// An object: a mesh, or others put together.
#[derive(Debug, Default)]
pub(super) struct Object {
    pub(super) name: Option<String>,
    /// Whether it is the model itself and not what bears it while it is printed.
    pub(super) is_model: bool,
    pub(super) vertices: Vec<[f64; 3]>,
    pub(super) facets: Vec<[u32; 3]>,
    pub(super) components: Vec<Use>,
}

/// An object in its place.
#[derive(Clone, Debug)]
pub(super) struct Use {
    /// The entry that has it, where it is not the same document.
    pub(super) path: Option<String>,
    pub(super) object: u32,
    pub(super) transform: Transform,
}

/// Reads the document of an entry.
pub(super) fn read(
    entry: &str,
    from: &mut Pieces<&mut dyn BufRead>,
    room: &mut Room,
) -> Result<Document, Fault> {
    let mut reader = Reader {
        document: Document {
            unit: 1.0,
            ..Document::default()
        },
        current: None,
        entries: 0,
    };
    each_tag(entry, from, |tag| reader.tag(&tag, room))?;
    Ok(reader.document)
}

struct Reader {
    document: Document,
    /// The object whose tags come.
    current: Option<u32>,
    entries: usize,
}

impl Reader {
    fn tag(&mut self, tag: &Tag<'_>, room: &mut Room) -> Result<(), Wrong> {
        match tag.name() {
            "vertex" => {
                let place = tag.numbers(["x", "y", "z"])?;
                if let Some(bad) = place.iter().find(|v| v.abs() > LARGEST_COORDINATE) {
                    return Err(format!(
                        "the coordinate {bad:e}; it must be a number of at most 1e12"
                    )
                    .into());
                }
                room.vertices = room
                    .vertices
                    .checked_sub(1)
                    .ok_or_else(|| too_many("vertices", room.facets))?;
                self.object("vertex")?.vertices.push(place);
            }
            "triangle" => {
                let corners = tag.numbers(["v1", "v2", "v3"])?;
                let object = self.object("triangle")?;
                let count = object.vertices.len();
                let is_there = |v: &f64| *v >= 0.0 && *v < count as f64 && v.fract() == 0.0;
                if let Some(bad) = corners.iter().find(|v| !is_there(v)) {
                    return Err(format!("corner {bad}; {count} vertices stand above").into());
                }
                room.facets = room
                    .facets
                    .checked_sub(1)
                    .ok_or_else(|| too_many("facets", count))?;
                object.facets.push(corners.map(|v| v as u32));
            }
            "object" => self.begin_object(tag)?,
            "component" => {
                self.count()?;
                let used = used(tag)?;
                self.object("component")?.components.push(used);
            }
            "item" => {
                self.count()?;
                self.document.items.push(used(tag)?);
            }
            "model" if tag.depth == 0 => {
                let [unit] = tag.values(["unit"])?;
                self.document.unit = unit_mm(unit.as_deref())?;
            }
            _ => {}
        }
        Ok(())
    }

    fn count(&mut self) -> Result<(), Fault> {
        self.entries += 1;
        match self.entries > MOST_ENTRIES {
            true => Err(too_many("objects, components and items", MOST_ENTRIES)),
            false => Ok(()),
        }
    }

    fn object(&mut self, what: &str) -> Result<&mut Object, String> {
        let object = self
            .current
            .and_then(|id| self.document.objects.get_mut(&id));
        object.ok_or_else(|| format!("a {what} outside of an object"))
    }

    fn begin_object(&mut self, tag: &Tag<'_>) -> Result<(), Wrong> {
        self.count()?;
        let [id, name, kind] = tag.values(["id", "name", "type"])?;
        let id = whole(id.as_deref(), "id")?;
        let object = Object {
            name: name.filter(|name| !name.trim().is_empty()),
            is_model: matches!(kind.as_deref(), None | Some("model" | "surface")),
            ..Object::default()
        };
        if self.document.objects.insert(id, object).is_some() {
            return Err(format!("the object {id} a second time").into());
        }
        self.current = Some(id);
        Ok(())
    }
}

/// A component or an item of the build.
fn used(tag: &Tag<'_>) -> Result<Use, String> {
    let [object, transform, path] = tag.values(["objectid", "transform", "path"])?;
    let transform = match transform {
        None => Transform::IDENTITY,
        Some(text) => {
            let found = || format!("the transform \"{}\"; it has 12 numbers", shortened(&text));
            transform_of(&text).ok_or_else(found)?
        }
    };
    Ok(Use {
        path,
        object: whole(object.as_deref(), "objectid")?,
        transform,
    })
}

/// Twelve numbers: three columns of the linear part one after the other, then the shift (rows are multiplied from the left).
fn transform_of(text: &str) -> Option<Transform> {
    let numbers: Vec<f64> = text
        .split_whitespace()
        .take(13)
        .map_while(|n| n.parse().ok())
        .collect();
    let m: [f64; 12] = numbers.try_into().ok()?;
    let is_sound = m.iter().all(|v| v.abs() <= LARGEST_COORDINATE);
    is_sound.then(|| {
        Transform(std::array::from_fn(|r| {
            [m[r], m[3 + r], m[6 + r], m[9 + r]]
        }))
    })
}

fn whole(text: Option<&str>, name: &str) -> Result<u32, String> {
    let text = text.ok_or_else(|| format!("no \"{name}\""))?;
    text.trim().parse().map_err(|_| {
        format!(
            "\"{name}\" is \"{}\"; a whole number must stand there",
            shortened(text)
        )
    })
}

fn unit_mm(name: Option<&str>) -> Result<f64, String> {
    Ok(match name {
        None | Some("millimeter") => 1.0,
        Some("micron") => 0.001,
        Some("centimeter") => 10.0,
        Some("inch") => 25.4,
        Some("foot") => 304.8,
        Some("meter") => 1000.0,
        Some(other) => {
            return Err(format!(
                "the unit \"{}\", which 3MF does not have",
                shortened(other)
            ));
        }
    })
}
