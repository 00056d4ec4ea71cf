//! A mark outside of its image, in words.
use std::fmt;

/// A mark outside of its image.
#[derive(Clone, Debug, PartialEq)]
pub struct OutsideMark {
    /// Its name in quotes, its number, or the line it is of.
    pub name: String,
    /// Where it is marked, pixels.
    pub at: [f64; 2],
}

impl fmt::Display for OutsideMark {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let [x, y] = self.at;
        write!(f, "{} at [{x}, {y}]", self.name)
    }
}

/// Such as `3 landmarks lie`.
pub(super) fn lying(what: &str, n: usize) -> String {
    if n == 1 {
        format!("1 {what} lies")
    } else {
        format!("{n} {what}s lie")
    }
}

pub(super) fn named(marks: &[OutsideMark], more: usize) -> String {
    let mut names: Vec<String> = marks.iter().map(OutsideMark::to_string).collect();
    if more > 0 {
        names.push(format!("and {more} more"));
    }
    names.join(", ")
}
