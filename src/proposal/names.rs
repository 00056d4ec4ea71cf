//! Names of proposed landmarks: the part, and where on it the place lies.
use std::collections::HashSet;

/// What a place is called beside its part.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Sort {
    /// A corner: by where on the part it lies.
    Place,
    /// The outermost point of the part, by the way that it lies.
    Outermost(&'static str),
    /// Something small and round.
    Bolt,
    /// Something larger and round.
    Round,
}

/// The box around an outline: left, top, right, bottom.
pub(super) fn bounds(outline: impl Iterator<Item = [f64; 2]>) -> [f64; 4] {
    let none = [
        f64::INFINITY,
        f64::INFINITY,
        f64::NEG_INFINITY,
        f64::NEG_INFINITY,
    ];
    outline.fold(none, |[l, t, r, b], [x, y]| {
        [l.min(x), t.min(y), r.max(x), b.max(y)]
    })
}

/// The words for a place in a box: "top left", "bottom", "middle".
fn words([left, top, right, bottom]: [f64; 4], [x, y]: [f64; 2]) -> String {
    let third = |v: f64, from: f64, to: f64| (3.0 * (v - from) / (to - from).max(1e-9)) as i64;
    let row = match third(y, top, bottom) {
        ..=0 => "top",
        1 => "",
        _ => "bottom",
    };
    let column = match third(x, left, right) {
        ..=0 => "left",
        1 => "",
        _ => "right",
    };
    match (row, column) {
        ("", "") => "middle".to_owned(),
        ("", one) | (one, "") => one.to_owned(),
        (row, column) => format!("{row} {column}"),
    }
}

/// Names that are taken, those given out included.
pub(super) struct Names {
    taken: HashSet<String>,
}

impl Names {
    pub(super) fn new(taken: impl Iterator<Item = String>) -> Self {
        Self {
            taken: taken.collect(),
        }
    }

    /// A name that nobody has, for a place in the box of its part (or of the picture, without a part).
    pub(super) fn give(
        &mut self,
        part: Option<&str>,
        within: [f64; 4],
        at: [f64; 2],
        sort: Sort,
    ) -> String {
        let place = match sort {
            Sort::Place => words(within, at),
            Sort::Outermost(way) => way.to_owned(),
            Sort::Bolt => "bolt".to_owned(),
            Sort::Round => "round".to_owned(),
        };
        let base = match part {
            Some(part) => format!("{part} {place}"),
            None => place,
        };
        // Ends: no more names are taken than there are landmarks and proposals.
        let name = (1_u32..)
            .map(|k| match k {
                1 => base.clone(),
                k => format!("{base} {k}"),
            })
            .find(|name| !self.taken.contains(name))
            .unwrap_or(base);
        self.taken.insert(name.clone());
        name
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const BOX: [f64; 4] = [100.0, 200.0, 160.0, 320.0];

    #[test]
    fn a_place_is_named_by_part_and_third() {
        let mut names = Names::new(std::iter::empty());
        let mut give = |at| names.give(Some("lantern"), BOX, at, Sort::Place);
        assert_eq!(give([102.0, 204.0]), "lantern top left");
        assert_eq!(give([130.0, 318.0]), "lantern bottom");
        assert_eq!(give([158.0, 260.0]), "lantern right");
        assert_eq!(give([130.0, 260.0]), "lantern middle");
        assert_eq!(
            names.give(None, BOX, [90.0, 190.0], Sort::Place),
            "top left"
        );
    }

    #[test]
    fn no_name_is_given_twice_nor_one_that_is_taken() {
        let taken = ["lantern bolt", "lantern bolt 3"].map(str::to_owned);
        let mut names = Names::new(taken.into_iter());
        let mut give = || names.give(Some("lantern"), BOX, [130.0, 260.0], Sort::Bolt);
        assert_eq!(
            [give(), give(), give()],
            ["lantern bolt 2", "lantern bolt 4", "lantern bolt 5"]
        );
    }
}
