//! References of several sides held against each other: what two of them see must be as long in both.
use super::{along_model, found::ReferenceAlone};
use crate::{job::View, statistics::Measured};

/// A length that two views see.
#[derive(Clone, Debug, PartialEq)]
pub struct SeenTwice {
    /// Names of both views.
    pub views: [String; 2],
    /// What it is: a span, or from one landmark to another along an axis.
    pub what: String,
    /// The length in each of them, full-size millimetres.
    pub lengths: [Measured; 2],
}

impl SeenTwice {
    /// The second minus the first, with its interval; the views are taken to err independently.
    pub fn difference(&self) -> Option<Measured> {
        let [first, second] = self.lengths;
        let half = first.half_width().hypot(second.half_width());
        Measured::plus_minus(second.value() - first.value(), half)
    }

    /// Whether both may be right.
    pub fn agrees(&self) -> bool {
        self.difference()
            .is_some_and(|difference| difference.holds(0.0))
    }
}

/// All that two of the views see: spans of one name, and landmarks of one name along an axis that both have.
///
/// What a landmark lies away from is the first landmark of both whose place is told.
pub fn seen_twice(views: &[(&View, &ReferenceAlone)]) -> Vec<SeenTwice> {
    let mut all = Vec::new();
    for (k, first) in views.iter().enumerate() {
        for second in &views[k + 1..] {
            all.extend(spans(first, second));
            all.extend(places(first, second));
        }
    }
    all
}

type Side<'a> = (&'a View, &'a ReferenceAlone);

fn twice(first: &Side<'_>, second: &Side<'_>, what: String, lengths: [Measured; 2]) -> SeenTwice {
    SeenTwice {
        views: [first.0.name.clone(), second.0.name.clone()],
        what,
        lengths,
    }
}

fn spans(first: &Side<'_>, second: &Side<'_>) -> Vec<SeenTwice> {
    let of = |side: &Side<'_>, name: &str| {
        let span = side.0.spans.iter().position(|span| span.name == name)?;
        side.1.spans[span].ok()
    };
    let names = first.0.spans.iter().map(|span| span.name.as_str());
    names
        .filter_map(|name| {
            let lengths = [of(first, name)?, of(second, name)?];
            Some(twice(
                first,
                second,
                format!("the span \"{name}\""),
                lengths,
            ))
        })
        .collect()
}

/// How far a landmark lies along an axis of the model, from the origin of its view.
fn along(side: &Side<'_>, name: &str, axis: usize) -> Option<Measured> {
    let landmark = side.0.landmarks.iter().position(|l| l.name == name)?;
    let place = side.1.places[landmark].as_ref().ok()?;
    let axes = side.1.axes?;
    let directions = [axes.right(), axes.down()];
    let k = directions.iter().position(|d| d.axis == axis)?;
    Some(place[k].times(along_model(directions[k]).1))
}

fn places(first: &Side<'_>, second: &Side<'_>) -> Vec<SeenTwice> {
    let names: Vec<&str> = (first.0.landmarks.iter())
        .map(|l| l.name.as_str())
        .filter(|name| second.0.landmarks.iter().any(|l| l.name == *name))
        .collect();
    let mut all = Vec::new();
    for axis in 0..3 {
        let told = |name: &&str| Some([along(first, name, axis)?, along(second, name, axis)?]);
        let mut seen = names.iter().filter_map(|name| Some((*name, told(name)?)));
        let Some((from, start)) = seen.next() else {
            continue;
        };
        for (to, end) in seen {
            let lengths = [0, 1].map(|k| between(start[k], end[k]));
            let what = format!(
                "from \"{from}\" to \"{to}\" along {}",
                crate::measurement::AXES[axis]
            );
            all.push(twice(first, second, what, lengths));
        }
    }
    all
}

/// The difference of two places of one view; that they share errors of its scale is left out, which makes it wider than true.
fn between(from: Measured, to: Measured) -> Measured {
    let half = from.half_width().hypot(to.half_width());
    let value = to.value() - from.value();
    Measured::plus_minus(value, half).unwrap_or(to)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn length(value: f64, half: f64) -> Measured {
        Measured::plus_minus(value, half).expect("finite")
    }

    #[test]
    fn lengths_agree_where_their_difference_may_be_nothing() {
        let seen = |a: f64, b: f64| SeenTwice {
            views: ["a".to_owned(), "b".to_owned()],
            what: "the span \"x\"".to_owned(),
            lengths: [length(a, 3.0), length(b, 4.0)],
        };
        assert!(seen(100.0, 104.9).agrees());
        assert!(!seen(100.0, 105.1).agrees());
        let difference = seen(100.0, 110.0).difference().expect("finite");
        assert_eq!((difference.value(), difference.half_width()), (10.0, 5.0));
    }
}
