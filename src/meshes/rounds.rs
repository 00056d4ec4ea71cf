//! Round borders and creases of a model: rims of bolts, wheels and pipes, whose middle a mark can be set on exactly.
use super::model::{Model, cross, dot, length, minus};

/// How far places of a rim may lie off its circle, of the radius.
const MOST_OFF: f64 = 0.02;

/// The middle of a round rim.
#[derive(Clone, Copy, Debug)]
pub(super) struct Round {
    /// Model millimetres.
    pub middle: [f64; 3],
    /// A facet beside the rim.
    pub facet: u32,
}

/// A vertex at which one feature edge goes on as another: the vertex, its two neighbours, and a facet beside it.
pub(super) type Between = [u32; 4];

/// The rounds among closed lines of feature edges; `between` has the vertices without a corner, sorted.
pub(super) fn of_lines(model: &Model, between: &[Between]) -> Vec<Round> {
    let mut is_taken = vec![false; between.len()];
    let mut rounds = Vec::new();
    for first in 0..between.len() {
        if let Some(rim) = closed_line(between, first, &mut is_taken) {
            let places: Vec<[f64; 3]> = (rim.iter())
                .map(|vertex| model.vertices()[*vertex as usize])
                .collect();
            let facet = between[first][3];
            rounds.extend(middle(&places).map(|middle| Round { middle, facet }));
        }
    }
    rounds
}

/// The vertices of the closed line through `first`, in order; `None` where it is not closed or was walked before. Each vertex is taken once, so
/// all walks together end after as many steps as there are vertices.
fn closed_line(between: &[Between], first: usize, is_taken: &mut [bool]) -> Option<Vec<u32>> {
    let mut rim = Vec::new();
    let mut at = first;
    let mut from = between[first][1];
    while !is_taken[at] {
        is_taken[at] = true;
        let [vertex, a, b, _] = between[at];
        rim.push(vertex);
        let next = if a == from { b } else { a };
        from = vertex;
        at = between
            .binary_search_by_key(&next, |[vertex, ..]| *vertex)
            .ok()?;
    }
    (at == first && !rim.is_empty()).then_some(rim)
}

/// The middle of the circle on which these places lie, one after another around it; `None` where they lie on none. Least squares in their
/// plane (I. Kåsa, 1976, "A circle fitting procedure and its error analysis", IEEE Transactions on Instrumentation and Measurement 25, 8-14).
fn middle(places: &[[f64; 3]]) -> Option<[f64; 3]> {
    let count = places.len() as f64;
    let mean: [f64; 3] =
        std::array::from_fn(|k| places.iter().map(|place| place[k]).sum::<f64>() / count);
    let from_mean: Vec<[f64; 3]> = places.iter().map(|place| minus(*place, mean)).collect();
    let after = from_mean.iter().cycle().skip(1);
    let normal = (from_mean.iter().zip(after)).fold([0.0; 3], |sum, (a, b)| {
        let area = cross(*a, *b);
        std::array::from_fn(|k| sum[k] + area[k])
    });
    let normal = unit(normal)?;
    let across = unit(minus(
        from_mean[0],
        normal.map(|v| v * dot(from_mean[0], normal)),
    ))?;
    let along = cross(normal, across);
    let flat: Vec<[f64; 2]> = (from_mean.iter())
        .map(|place| [dot(*place, across), dot(*place, along)])
        .collect();
    let sum = |of: &dyn Fn(&[f64; 2]) -> f64| flat.iter().map(of).sum::<f64>();
    let [uu, uv, vv] = [
        sum(&|[u, _]| u * u),
        sum(&|[u, v]| u * v),
        sum(&|[_, v]| v * v),
    ];
    let right = [
        sum(&|[u, v]| u * (u * u + v * v)) / 2.0,
        sum(&|[u, v]| v * (u * u + v * v)) / 2.0,
    ];
    let determinant = uu * vv - uv * uv;
    let centre = [
        (right[0] * vv - right[1] * uv) / determinant,
        (right[1] * uu - right[0] * uv) / determinant,
    ];
    let radius = (centre[0] * centre[0] + centre[1] * centre[1] + (uu + vv) / count).sqrt();
    let is_on = |(flat, place): (&[f64; 2], &[f64; 3])| {
        let off = (flat[0] - centre[0]).hypot(flat[1] - centre[1]) - radius;
        off.abs() <= MOST_OFF * radius && dot(*place, normal).abs() <= MOST_OFF * radius
    };
    let is_round = radius.is_finite() && flat.iter().zip(&from_mean).all(is_on);
    is_round
        .then(|| std::array::from_fn(|k| mean[k] + centre[0] * across[k] + centre[1] * along[k]))
}

fn unit(v: [f64; 3]) -> Option<[f64; 3]> {
    let long = length(v);
    (long > 0.0 && long.is_finite()).then(|| v.map(|v| v / long))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Places around a circle of 5 mm about (1, 2, 3), slanting, at these turns.
    fn around(turns: &[f64]) -> Vec<[f64; 3]> {
        let (u, v) = ([0.8, 0.0, 0.6], [0.0, 1.0, 0.0]);
        let place = |turn: &f64| {
            let (sin, cos) = turn.sin_cos();
            std::array::from_fn(|k| [1.0, 2.0, 3.0][k] + 5.0 * (cos * u[k] + sin * v[k]))
        };
        turns.iter().map(place).collect()
    }

    fn turns(count: u32) -> Vec<f64> {
        let step = std::f64::consts::TAU / f64::from(count);
        (0..count).map(|k| f64::from(k) * step).collect()
    }

    #[test]
    fn the_middle_of_a_rim_is_that_of_its_circle_however_it_is_cut() {
        let mut uneven = turns(16);
        uneven.extend([0.1, 0.2, 0.25]);
        uneven.sort_by(f64::total_cmp);
        for turns in [turns(16), uneven] {
            let found = middle(&around(&turns)).expect("round");
            for (found, truth) in found.iter().zip([1.0, 2.0, 3.0]) {
                assert!((found - truth).abs() < 1e-9, "{found} {truth}");
            }
        }
    }

    #[test]
    fn ovals_bent_rims_and_lines_are_not_round() {
        let oval = around(&turns(24))
            .into_iter()
            .map(|[x, y, z]| [x, 1.1 * y, z]);
        assert!(middle(&oval.collect::<Vec<_>>()).is_none());
        let mut bent = around(&turns(24));
        bent[3][2] += 0.4;
        assert!(middle(&bent).is_none());
        assert!(middle(&[[0.0; 3], [1.0, 0.0, 0.0], [2.0, 0.0, 0.0]]).is_none());
        assert!(middle(&[[1.0; 3]; 12]).is_none());
    }

    #[test]
    fn a_line_that_ends_is_not_closed() {
        // 0 - 1 - 2 - 3 of which 0 and 3 are corners; 5 - 6 - 7 around.
        let between = [
            [1, 0, 2, 0],
            [2, 1, 3, 0],
            [5, 6, 7, 0],
            [6, 5, 7, 0],
            [7, 5, 6, 0],
        ];
        let mut is_taken = [false; 5];
        assert_eq!(closed_line(&between, 0, &mut is_taken), None);
        assert_eq!(closed_line(&between, 1, &mut is_taken), None);
        let rim = closed_line(&between, 2, &mut is_taken).expect("closed");
        assert_eq!(rim.len(), 3);
        assert_eq!(closed_line(&between, 3, &mut is_taken), None);
    }
}
