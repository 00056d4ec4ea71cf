//! What readers collect: vertices, facets between them, and the parts that the facets belong to, all within the limits.
use super::{
    error::Fault,
    format::Format,
    limits::{LARGEST_COORDINATE, Limits},
};
use crate::{printable::on_one_line, stop};
use std::collections::HashMap;

/// Longest name of a part, characters; what is more is cut.
const LONGEST_NAME: usize = 200;
/// After so many facets it is asked whether the run is to stop.
const LOOK_EVERY: usize = 1 << 16;

/// A mesh as the file has it.
#[derive(Debug)]
pub(super) struct Soup {
    pub(super) format: Format,
    /// In the file's unit.
    pub(super) vertices: Vec<[f64; 3]>,
    /// Indices of vertices.
    pub(super) facets: Vec<[u32; 3]>,
    /// Index of a part, facet by facet.
    pub(super) part_of_facet: Vec<u32>,
    /// Names, each once.
    pub(super) names: Vec<String>,
    by_name: HashMap<String, u32>,
    /// The number that a name that is taken gets next.
    next_number: HashMap<String, u32>,
    current: Option<u32>,
    limits: Limits,
}

impl Soup {
    pub(super) fn new(format: Format, limits: Limits) -> Self {
        Self {
            format,
            vertices: Vec::new(),
            facets: Vec::new(),
            part_of_facet: Vec::new(),
            names: Vec::new(),
            by_name: HashMap::new(),
            next_number: HashMap::new(),
            current: None,
            limits,
        }
    }

    /// What the file contradicts itself by, at a place.
    pub(super) fn damaged(&self, place: impl Into<String>, found: impl Into<String>) -> Fault {
        Fault::damaged(self.format, place, found)
    }

    /// The facets that follow belong to the part of this name, which may be there already.
    pub(super) fn go_on_with(&mut self, name: &str) -> Result<(), Fault> {
        let name = tidy(name);
        let index = match self.by_name.get(&name) {
            Some(index) => *index,
            None => self.add_part(name)?,
        };
        self.current = Some(index);
        Ok(())
    }

    /// The facets that follow belong to a new part; where the name is taken, a number makes it another.
    pub(super) fn begin(&mut self, name: &str) -> Result<(), Fault> {
        let name = tidy(name);
        let mut own = name.clone();
        while self.by_name.contains_key(&own) {
            let number = self.next_number.entry(name.clone()).or_insert(2);
            own = format!("{name} {number}");
            *number += 1;
        }
        self.current = Some(self.add_part(own)?);
        Ok(())
    }

    fn add_part(&mut self, name: String) -> Result<u32, Fault> {
        if self.names.len() >= self.limits.parts {
            return Err(Fault::TooMany {
                what: "parts",
                found: self.limits.parts as u64 + 1,
                is_least: true,
                most: self.limits.parts as u64,
                advice: "join parts that are looked at together",
            });
        }
        let index = self.names.len() as u32;
        self.by_name.insert(name.clone(), index);
        self.names.push(name);
        Ok(index)
    }

    /// A vertex, which gets the next index.
    pub(super) fn vertex(
        &mut self,
        place: [f64; 3],
        at: impl FnOnce() -> String,
    ) -> Result<(), Fault> {
        if let Some(bad) = place.iter().find(|v| !is_coordinate(**v)) {
            let found = format!("the coordinate {bad:e}; it must be a number of at most 1e12");
            return Err(self.damaged(at(), found));
        }
        // No facet needs more than three of its own.
        let most = self.limits.facets.saturating_mul(3);
        if self.vertices.len() >= most {
            return Err(too_many("vertices", most));
        }
        self.vertices.push(place);
        Ok(())
    }

    /// Whether so many more facets are within the limits.
    pub(super) fn room_for(&self, more: usize) -> Result<(), Fault> {
        let found = self.facets.len().saturating_add(more);
        let most = self.limits.facets;
        if found > most {
            return Err(Fault::TooMany {
                what: "facets",
                found: found as u64,
                is_least: self.format != Format::BinaryStl,
                most: most as u64,
                advice: "export the model with a coarser mesh",
            });
        }
        Ok(())
    }

    /// A facet of vertices that are there.
    pub(super) fn facet(&mut self, corners: [u32; 3]) -> Result<(), Fault> {
        self.room_for(1)?;
        debug_assert!(corners.iter().all(|c| (*c as usize) < self.vertices.len()));
        if self.facets.len().is_multiple_of(LOOK_EVERY) {
            stop::check()?;
        }
        let part = match self.current {
            Some(part) => part,
            None => {
                self.go_on_with("")?;
                self.current.unwrap_or_default()
            }
        };
        self.facets.push(corners);
        self.part_of_facet.push(part);
        Ok(())
    }
}

/// A number, and not absurdly large.
fn is_coordinate(v: f64) -> bool {
    v.abs() <= LARGEST_COORDINATE
}

#[cfg(test)]
impl Soup {
    /// Adds a box between two places along each axis to the part that was begun.
    pub(super) fn add_box(&mut self, sides: [[f64; 2]; 3]) {
        let first = u32::try_from(self.vertices.len()).expect("few");
        for k in 0..8_usize {
            let place = std::array::from_fn(|axis| sides[axis][k >> axis & 1]);
            self.vertex(place, String::new).expect("room");
        }
        for [a, b, c, d] in [
            [0, 2, 3, 1],
            [4, 5, 7, 6],
            [0, 1, 5, 4],
            [2, 6, 7, 3],
            [0, 4, 6, 2],
            [1, 3, 7, 5],
        ] {
            self.facet([a, b, c].map(|k| first + k)).expect("room");
            self.facet([a, c, d].map(|k| first + k)).expect("room");
        }
    }
}

pub(super) fn too_many(what: &'static str, most: usize) -> Fault {
    Fault::TooMany {
        what,
        found: (most as u64).saturating_add(1),
        is_least: true,
        most: most as u64,
        advice: "export the model with a coarser mesh",
    }
}

/// A name on one line, without blanks around it, not endless; one that says nothing is "model".
fn tidy(name: &str) -> String {
    let short: String = name.trim().chars().take(LONGEST_NAME).collect();
    match on_one_line(&short) {
        empty if empty.is_empty() => "model".to_owned(),
        name => name,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn soup() -> Soup {
        Soup::new(
            Format::Obj,
            Limits {
                bytes: 1000,
                facets: 2,
                parts: 3,
            },
        )
    }

    #[test]
    fn parts_go_on_by_their_name_or_are_told_apart_by_a_number() {
        let mut soup = soup();
        for name in ["tank", "beam", "tank"] {
            soup.go_on_with(name).expect("room");
        }
        assert_eq!(soup.names, ["tank", "beam"]);
        soup.begin("tank").expect("room");
        assert_eq!(soup.names[2], "tank 2");
        let fault = soup.begin("tank").expect_err("a fourth");
        assert_eq!(fault.code(), "mesh-too-large");
        assert!(
            fault
                .to_string()
                .starts_with("has at least 4 parts; at most 3")
        );
    }

    #[test]
    fn names_are_tidied() {
        assert_eq!(tidy("  "), "model");
        assert_eq!(tidy("a\u{1b}b\n"), "a\u{fffd}b");
        assert_eq!(tidy(&"x".repeat(1000)).len(), LONGEST_NAME);
    }

    #[test]
    fn numbers_and_counts_have_limits() {
        let mut soup = soup();
        for bad in [f64::NAN, f64::INFINITY, -1e13] {
            let fault = soup.vertex([0.0, bad, 0.0], || "line 3".to_owned());
            let text = fault.expect_err("no coordinate").to_string();
            assert!(text.contains("at line 3: the coordinate"), "{text}");
        }
        soup.vertex([0.0; 3], String::new).expect("a vertex");
        soup.facet([0; 3]).expect("one");
        soup.facet([0; 3]).expect("two");
        let text = soup.facet([0; 3]).expect_err("three").to_string();
        assert!(
            text.starts_with("has at least 3 facets; at most 2 are read"),
            "{text}"
        );
        for _ in 0..5 {
            soup.vertex([0.0; 3], String::new).expect("up to six");
        }
        assert!(soup.vertex([0.0; 3], String::new).is_err());
    }
}
