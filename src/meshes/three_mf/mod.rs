//! 3MF: a zip package of XML documents. Every mesh object that the build uses is a part, as often as it is used.
//!
//! # Source
//! 3MF Consortium, 3D Manufacturing Format: Core Specification 1.3.0 (ISO/IEC 25422:2025), and Production Extension 1.1.2 for
//! components in other documents of the package.
mod document;
mod package;
mod xml;

use super::{
    error::Fault,
    format::Format,
    limits::{DEEPEST, Limits, MOST_ENTRIES},
    soup::{Soup, too_many},
    transform::Transform,
};
use document::{Document, Object, Room, Use};
use package::Package;
use std::collections::HashMap;
use xml::each_tag;

/// Where the model is as a rule.
const USUAL: &str = "3D/3dmodel.model";
/// Documents of a package: a judgement.
const MOST_DOCUMENTS: usize = 1000;

/// Reads a package; gives the millimetres of its unit, too.
pub(super) fn read(bytes: &[u8], limits: Limits) -> Result<(Soup, f64), Fault> {
    let mut package = Package::open(bytes, limits.bytes)?;
    let root = root(&mut package)?;
    let documents = documents(&mut package, &root, limits)?;
    let mut build = Build {
        documents: &documents,
        soup: Soup::new(Format::ThreeMf, limits),
        visited: 0,
    };
    let document = &documents[&root];
    for item in &document.items {
        build.place(&root, item, (&Transform::IDENTITY, None), 0)?;
    }
    Ok((build.soup, document.unit))
}

/// The entry with the model that the package is about.
fn root(package: &mut Package<'_>) -> Result<String, Fault> {
    let mut found = None;
    if package.has("_rels/.rels") {
        package.entry("_rels/.rels", |from| {
            each_tag("_rels/.rels", from, |tag| {
                if tag.name() == "Relationship" {
                    let [kind, target] = tag.values(["Type", "Target"])?;
                    if kind.is_some_and(|kind| kind.ends_with("/3dmodel")) {
                        found = found.take().or(target);
                    }
                }
                Ok(())
            })
        })?;
    }
    let name = found.map_or_else(|| USUAL.to_owned(), |target| entry_name(&target));
    match package.has(&name) {
        true => Ok(name),
        false => Err(Fault::damaged(
            Format::ThreeMf,
            "its list of entries",
            format!("no model \"{name}\""),
        )),
    }
}

/// Paths in a package begin with a slash, names of entries do not.
fn entry_name(path: &str) -> String {
    path.trim_start_matches('/').to_owned()
}

/// The document of `root` and all that its components and items lead to.
fn documents(
    package: &mut Package<'_>,
    root: &str,
    limits: Limits,
) -> Result<HashMap<String, Document>, Fault> {
    let mut room = Room {
        facets: limits.facets,
        vertices: limits.facets.saturating_mul(3),
    };
    let mut documents: HashMap<String, Document> = HashMap::new();
    let mut open = vec![root.to_owned()];
    while let Some(name) = open.pop() {
        if documents.contains_key(&name) {
            continue;
        }
        if documents.len() >= MOST_DOCUMENTS {
            return Err(too_many("documents", MOST_DOCUMENTS));
        }
        let document = package.entry(&name, |from| document::read(&name, from, &mut room))?;
        let components = document
            .objects
            .values()
            .flat_map(|object| &object.components);
        let paths = document
            .items
            .iter()
            .chain(components)
            .filter_map(|used| used.path.as_deref());
        let mut names: Vec<String> = paths.map(entry_name).collect();
        names.sort_unstable();
        names.dedup();
        open.extend(names);
        documents.insert(name, document);
    }
    let unit = documents[root].unit;
    let mut names: Vec<&String> = documents.keys().collect();
    names.sort_unstable();
    match names.into_iter().find(|name| documents[*name].unit != unit) {
        Some(name) => Err(Fault::Unsupported {
            format: Format::ThreeMf,
            found: format!("another unit in \"{name}\" than in \"{root}\""),
            advice: "export all of it in one unit",
        }),
        None => Ok(documents),
    }
}

/// Puts the objects of a build in their places.
struct Build<'a> {
    documents: &'a HashMap<String, Document>,
    soup: Soup,
    visited: usize,
}

impl<'a> Build<'a> {
    /// Adds what an item or a component of the document `here` uses. It stands in `above`; `name` is that of what it belongs to.
    fn place(
        &mut self,
        here: &str,
        used: &'a Use,
        (above, name): (&Transform, Option<&'a str>),
        depth: usize,
    ) -> Result<(), Fault> {
        let entry = used
            .path
            .as_deref()
            .map_or_else(|| here.to_owned(), entry_name);
        let object = self
            .documents
            .get(&entry)
            .and_then(|d| d.objects.get(&used.object));
        let place = || format!("entry \"{entry}\", object {}", used.object);
        let wrong = |found: &str| Fault::damaged(Format::ThreeMf, place(), found);
        let object: &'a Object = object.ok_or_else(|| wrong("it is not there"))?;
        if depth > DEEPEST {
            return Err(wrong(
                "components within components more than 64 deep, or in a circle",
            ));
        }
        self.visited += 1;
        if self.visited > MOST_ENTRIES {
            return Err(too_many("components", MOST_ENTRIES));
        }
        let own = above.after(&used.transform);
        let name = object.name.as_deref().or(name);
        if object.is_model && !object.facets.is_empty() {
            self.mesh(object, &own, name, used.object)?;
        }
        let around = (&own, name);
        object
            .components
            .iter()
            .try_for_each(|component| self.place(&entry, component, around, depth + 1))
    }

    fn mesh(
        &mut self,
        object: &Object,
        own: &Transform,
        name: Option<&str>,
        id: u32,
    ) -> Result<(), Fault> {
        match name {
            Some(name) => self.soup.begin(name)?,
            None => self.soup.begin(&format!("object {id}"))?,
        }
        self.soup.room_for(object.facets.len())?;
        let first = self.soup.vertices.len() as u32;
        for vertex in &object.vertices {
            self.soup
                .vertex(own.apply(*vertex), || format!("object {id}"))?;
        }
        let mut facets = object.facets.iter();
        facets.try_for_each(|corners| self.soup.facet(corners.map(|v| first + v)))
    }
}
