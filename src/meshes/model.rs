//! A mesh as the other stages see it: named parts in millimetres, their corners welded.
use super::{error::Fault, soup::Soup, weld::weld};
use std::{ops::Range, sync::OnceLock};

/// A model as a mesh.
///
/// # Guarantees
/// At least one facet; every facet has an area and corners that are there; parts have facets, each its own.
#[derive(Clone, Debug)]
pub struct Model {
    parts: Vec<Part>,
    vertices: Vec<[f64; 3]>,
    facets: Vec<[u32; 3]>,
    /// Its box, once it was asked for.
    own_box: OnceLock<[[f64; 3]; 2]>,
}

/// A named part of a model.
#[derive(Clone, Debug)]
pub struct Part {
    /// Unique in the model.
    pub name: String,
    /// Which of the model's facets are its own.
    pub facets: Range<usize>,
}

impl Model {
    /// Welds what was read, and takes it from its unit to millimetres; parts and facets that have no area go.
    pub(super) fn of_soup(soup: Soup, unit_mm: f64) -> Result<Self, Fault> {
        let no_facets = Fault::NoFacets {
            format: soup.format,
        };
        let by_part = in_order_of_parts(&soup);
        let tolerance = WELD * size(&soup.vertices).max(f64::MIN_POSITIVE);
        let mut model = Self {
            parts: Vec::new(),
            vertices: Vec::new(),
            facets: Vec::new(),
            own_box: OnceLock::new(),
        };
        let mut local = vec![u32::MAX; soup.vertices.len()];
        for (name, facets) in soup.names.iter().zip(&by_part) {
            let facets = facets.iter().map(|facet| soup.facets[*facet as usize]);
            let welded = weld(&soup.vertices, facets, tolerance, &mut local);
            model.add(name, &welded.places, &welded.facets, (unit_mm, tolerance));
        }
        if model.parts.is_empty() {
            Err(no_facets)
        } else {
            Ok(model)
        }
    }

    fn add(
        &mut self,
        name: &str,
        places: &[[f64; 3]],
        facets: &[[u32; 3]],
        (unit_mm, size): (f64, f64),
    ) {
        let start = self.facets.len();
        let first = self.vertices.len() as u32;
        let has_area = |corners: &&[u32; 3]| {
            let [a, b, c] = corners.map(|i| places[i as usize]);
            length(cross(minus(b, a), minus(c, a))) > LEAST_AREA * size * size
        };
        let kept = facets
            .iter()
            .filter(has_area)
            .map(|corners| corners.map(|i| first + i));
        self.facets.extend(kept);
        if self.facets.len() == start {
            return;
        }
        self.vertices
            .extend(places.iter().map(|place| place.map(|v| v * unit_mm)));
        self.parts.push(Part {
            name: name.to_owned(),
            facets: start..self.facets.len(),
        });
    }

    /// All parts of several models, in their order. Where a name is taken, a number makes it another.
    pub(super) fn joined(models: impl Iterator<Item = Self>) -> Option<Self> {
        let mut all: Option<Self> = None;
        for mut model in models {
            let Some(all) = &mut all else {
                all = Some(model);
                continue;
            };
            let (first, start) = (all.vertices.len() as u32, all.facets.len());
            all.own_box = OnceLock::new();
            all.vertices.append(&mut model.vertices);
            let facets = model.facets.into_iter();
            all.facets.extend(facets.map(|f| f.map(|i| first + i)));
            for part in model.parts {
                let name = all.free_name(part.name);
                let facets = start + part.facets.start..start + part.facets.end;
                all.parts.push(Part { name, facets });
            }
        }
        all
    }

    fn free_name(&self, name: String) -> String {
        let is_taken = |name: &str| self.parts.iter().any(|part| part.name == name);
        let others = (2..).map(|number| format!("{name} {number}"));
        std::iter::once(name.clone())
            .chain(others)
            .find(|name| !is_taken(name))
            .unwrap_or(name)
    }

    /// The same as one part.
    pub(super) fn into_part(self, name: &str) -> Self {
        let part = Part {
            name: name.to_owned(),
            facets: 0..self.facets.len(),
        };
        Self {
            parts: vec![part],
            ..self
        }
    }

    /// The parts, in the order of the file.
    pub fn parts(&self) -> &[Part] {
        &self.parts
    }

    /// Index of the part that a facet belongs to.
    pub fn part_of(&self, facet: usize) -> usize {
        self.parts.partition_point(|part| part.facets.end <= facet)
    }

    /// Places, millimetres; a vertex belongs to one part.
    pub fn vertices(&self) -> &[[f64; 3]] {
        &self.vertices
    }

    /// Triangles by indices of vertices.
    pub fn facets(&self) -> &[[u32; 3]] {
        &self.facets
    }

    /// The least and the greatest place of a part's box along x, y and z, millimetres.
    pub fn part_box(&self, part: &Part) -> [[f64; 3]; 2] {
        let corners = self.facets[part.facets.clone()].iter().flatten();
        bounds(corners.map(|i| &self.vertices[*i as usize]))
    }

    /// The same of the whole model.
    pub fn model_box(&self) -> [[f64; 3]; 2] {
        let corners = || self.facets.iter().flatten();
        *(self.own_box).get_or_init(|| bounds(corners().map(|i| &self.vertices[*i as usize])))
    }
}

/// Corners that are nearer to each other than this, in parts of the model's size, are one: ten times the rounding of the 32-bit
/// numbers that mesh files have.
const WELD: f64 = 1e-6;
/// A facet with less than this area, in squares of the distance that is welded, has none.
const LEAST_AREA: f64 = 1e-3;

/// The facets of each part.
fn in_order_of_parts(soup: &Soup) -> Vec<Vec<u32>> {
    let mut by_part = vec![Vec::new(); soup.names.len()];
    for (facet, part) in soup.part_of_facet.iter().enumerate() {
        by_part[*part as usize].push(facet as u32);
    }
    by_part
}

/// The longest side of the box around all places.
fn size(places: &[[f64; 3]]) -> f64 {
    let [least, greatest] = bounds(places.iter());
    (0..3).map(|k| greatest[k] - least[k]).fold(0.0, f64::max)
}

/// The box around places: its least and its greatest corner; turned inside out where there are none.
fn bounds<'a>(places: impl Iterator<Item = &'a [f64; 3]>) -> [[f64; 3]; 2] {
    let none = [[f64::INFINITY; 3], [f64::NEG_INFINITY; 3]];
    places.fold(none, |[least, greatest], place| {
        let with = |of: [f64; 3], choose: fn(f64, f64) -> f64| {
            std::array::from_fn(|k| choose(of[k], place[k]))
        };
        [with(least, f64::min), with(greatest, f64::max)]
    })
}

pub(super) fn minus(a: [f64; 3], b: [f64; 3]) -> [f64; 3] {
    std::array::from_fn(|k| a[k] - b[k])
}

pub(super) fn dot(a: [f64; 3], b: [f64; 3]) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

pub(super) fn cross(a: [f64; 3], b: [f64; 3]) -> [f64; 3] {
    [
        a[1] * b[2] - a[2] * b[1],
        a[2] * b[0] - a[0] * b[2],
        a[0] * b[1] - a[1] * b[0],
    ]
}

pub(super) fn length(a: [f64; 3]) -> f64 {
    dot(a, a).sqrt()
}
