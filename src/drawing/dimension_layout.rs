//! Where dimensions lie on a drawing: dimension lines beside what they measure, figures above them, nothing over anything else.
//!
//! # Source
//! ISO 129-1:2018 (extension lines, dimension lines, arrowheads, figures above the line and read from below or from the right; from
//! memory). The places are found by trying a few on both sides and taking the one that is nearest and in nothing's way.
use super::{
    scene::{Box2, Position},
    text::{self, CAPITAL_HEIGHT, Font},
};

/// Distances that are tried on either side.
const LEVELS: usize = 16;
/// Sizes that hang on that of the text: between a mark and its extension line, what that stands out beyond the dimension line, the
/// nearest dimension line, the next one, an arrowhead.
const GAP: f64 = 0.35;
const BEYOND: f64 = 0.35;
const NEAREST: f64 = 1.9;
const NEXT: f64 = 1.7;
pub(super) const ARROW: f64 = 0.85;
/// What is in the way costs so many levels.
const OVER_TEXT: f64 = 400.0;
const OVER_LINE: f64 = 60.0;
const OUTSIDE: f64 = 4000.0;
const OVER_MARK: f64 = 12.0;
/// Towards the middle of all marks a dimension lies over the subject.
const INWARDS: f64 = 2.0;

/// A length to be drawn.
#[derive(Clone, Debug)]
pub(super) struct ToPlace {
    pub(super) ends: [Position; 2],
    pub(super) words: String,
}

/// A length as it lies on the drawing.
#[derive(Clone, Debug)]
pub(super) struct PlacedLength {
    pub(super) words: String,
    /// From beside each mark to beyond the dimension line.
    pub(super) extensions: [[Position; 2]; 2],
    /// From extension line to extension line, and on under the figure where that has no room between them.
    pub(super) line: [Position; 2],
    /// Arrowheads: from where, to where.
    pub(super) arrows: [[Position; 2]; 2],
    /// The middle of the figure's base line, and its turn in degrees.
    pub(super) text_at: Position,
    pub(super) turn_deg: f64,
}

/// A convex figure by its corners.
type Quad = [Position; 4];

/// What lies on the drawing already.
pub(super) struct Layout {
    area: Box2,
    size: f64,
    texts: Vec<Quad>,
    lines: Vec<Quad>,
    marks: Vec<Position>,
}

fn plus(a: Position, b: Position, times: f64) -> Position {
    [a[0] + b[0] * times, a[1] + b[1] * times]
}

fn dot(a: Position, b: Position) -> f64 {
    a[0] * b[0] + a[1] * b[1]
}

/// Whether two convex figures share a point (the theorem of the separating axis).
fn overlap(a: &Quad, b: &Quad) -> bool {
    let separates = |of: &Quad| {
        (0..4).any(|k| {
            let (p, q) = (of[k], of[(k + 1) % 4]);
            let normal = [q[1] - p[1], p[0] - q[0]];
            let range = |quad: &Quad| {
                let along = quad.map(|corner| dot(corner, normal));
                (
                    along.iter().copied().fold(f64::INFINITY, f64::min),
                    along.iter().copied().fold(f64::NEG_INFINITY, f64::max),
                )
            };
            let ((low_a, high_a), (low_b, high_b)) = (range(a), range(b));
            high_a < low_b || high_b < low_a
        })
    };
    !separates(a) && !separates(b)
}

/// The strip of half the width `half` around a line.
fn strip([from, to]: [Position; 2], half: f64) -> Quad {
    let d = [to[0] - from[0], to[1] - from[1]];
    let length = d[0].hypot(d[1]).max(1e-9);
    let (u, n) = (
        [d[0] / length, d[1] / length],
        [-d[1] / length, d[0] / length],
    );
    let (from, to) = (plus(from, u, -half), plus(to, u, half));
    [
        plus(from, n, half),
        plus(to, n, half),
        plus(to, n, -half),
        plus(from, n, -half),
    ]
}

impl Layout {
    /// An empty drawing that figures of this size may cover within `area`; `marks` are better not covered.
    pub(super) fn new(area: Box2, size: f64, marks: Vec<Position>) -> Self {
        Self {
            area,
            size,
            texts: Vec::new(),
            lines: Vec::new(),
            marks,
        }
    }

    /// Where the text lies whose base line has this middle, with a rim.
    fn text_box(&self, words: &str, at: Position, turn_deg: f64) -> Quad {
        let half = text::width(words, Font::Regular, self.size) / 2.0 + 0.25 * self.size;
        let (sin, cos) = turn_deg.to_radians().sin_cos();
        let (along, up) = ([cos, sin], [sin, -cos]);
        let (low, high) = (-0.3 * self.size, (CAPITAL_HEIGHT + 0.25) * self.size);
        [
            plus(plus(at, along, -half), up, low),
            plus(plus(at, along, half), up, low),
            plus(plus(at, along, half), up, high),
            plus(plus(at, along, -half), up, high),
        ]
    }

    fn cost_of_text(&self, quad: &Quad) -> f64 {
        let texts = self.texts.iter().filter(|other| overlap(quad, other));
        let lines = self.lines.iter().filter(|other| overlap(quad, other));
        let is_on = |mark: &&Position| overlap(quad, &strip([**mark, **mark], 1.0));
        let marks = self.marks.iter().filter(is_on);
        let is_outside = quad.iter().any(|corner| {
            let point = Box2::new(corner[0], corner[1], 0.0, 0.0);
            !self.area.holds(point)
        });
        OVER_TEXT * texts.count() as f64
            + OVER_LINE * lines.count() as f64
            + OVER_MARK * marks.count() as f64
            + if is_outside { OUTSIDE } else { 0.0 }
    }

    fn cost_of_line(&self, quad: &Quad) -> f64 {
        let texts = self.texts.iter().filter(|other| overlap(quad, other));
        OVER_TEXT * texts.count() as f64
    }

    fn cost(&self, placed: &PlacedLength) -> f64 {
        let text = self.text_box(&placed.words, placed.text_at, placed.turn_deg);
        let line = strip(placed.line, 0.55 * self.size);
        // Along another dimension line it would be read as one with it.
        let others = self.lines.iter().filter(|other| overlap(&line, other));
        let extensions = placed
            .extensions
            .iter()
            .map(|e| self.cost_of_line(&strip(*e, 1.0)));
        self.cost_of_text(&text)
            + self.cost_of_line(&strip(placed.line, 0.1 * self.size))
            + 4.0 * others.count() as f64
            + extensions.sum::<f64>()
    }

    /// Places a length where it is least in the way.
    pub(super) fn place(&mut self, wanted: &ToPlace) -> Option<PlacedLength> {
        let [from, to] = wanted.ends;
        let length = (to[0] - from[0]).hypot(to[1] - from[1]);
        if !length.is_finite() || length < 1e-6 {
            return None;
        }
        let outwards = self.outwards(wanted.ends);
        let tries = (0..2 * LEVELS).map(|k| {
            let side = if k % 2 == 0 { outwards } else { -outwards };
            let level = (k / 2) as f64;
            let placed = self.tried(wanted, side * self.size * (NEAREST + NEXT * level));
            let inwards = INWARDS * (k % 2) as f64;
            (self.cost(&placed) + level + inwards, placed)
        });
        let (_, placed) = tries.min_by(|a, b| a.0.total_cmp(&b.0))?;
        self.texts
            .push(self.text_box(&placed.words, placed.text_at, placed.turn_deg));
        self.lines.push(strip(placed.line, 0.1 * self.size));
        self.lines
            .extend(placed.extensions.iter().map(|e| strip(*e, 1.0)));
        Some(placed)
    }

    /// On which side of a line there are fewer marks: 1 where the normal to its right points away from their middle, else -1.
    fn outwards(&self, [from, to]: [Position; 2]) -> f64 {
        let count = self.marks.len().max(1) as f64;
        let sum = self
            .marks
            .iter()
            .fold([0.0; 2], |sum, mark| plus(sum, *mark, 1.0));
        let middle = plus([0.0; 2], plus(from, to, 1.0), 0.5);
        let away = plus(middle, sum, -1.0 / count);
        let normal = [from[1] - to[1], to[0] - from[0]];
        if dot(normal, away) >= 0.0 { 1.0 } else { -1.0 }
    }

    /// The length with its dimension line so far away from what it measures.
    fn tried(&self, wanted: &ToPlace, away: f64) -> PlacedLength {
        let [from, to] = wanted.ends;
        let length = (to[0] - from[0]).hypot(to[1] - from[1]);
        let u = [(to[0] - from[0]) / length, (to[1] - from[1]) / length];
        let n = [-u[1], u[0]];
        let side = away.signum();
        let (start, end) = (plus(from, n, away), plus(to, n, away));
        let beyond = away + side * BEYOND * self.size;
        let extension = |mark| [plus(mark, n, side * GAP * self.size), plus(mark, n, beyond)];
        let arrow = ARROW * self.size;
        let width = text::width(&wanted.words, Font::Regular, self.size);
        let turn_deg = readable(u);
        let (sin, cos) = turn_deg.to_radians().sin_cos();
        let (along, up) = ([cos, sin], [sin, -cos]);
        let is_narrow = length < 3.0 * arrow;
        let fits = !is_narrow && width + 2.2 * arrow <= length;
        let arrows = if is_narrow {
            [
                [plus(start, u, -2.0 * arrow), start],
                [plus(end, u, 2.0 * arrow), end],
            ]
        } else {
            [[plus(start, u, arrow), start], [plus(end, u, -arrow), end]]
        };
        let above = 0.35 * self.size;
        if fits {
            let middle = plus(start, u, length / 2.0);
            return PlacedLength {
                words: wanted.words.clone(),
                extensions: [extension(from), extension(to)],
                line: [start, end],
                arrows,
                text_at: plus(middle, up, above),
                turn_deg,
            };
        }
        // The figure stands beyond the end that comes last in the direction in which it is read.
        let (near, far, outwards) = if dot(u, along) > 0.0 {
            (start, end, u)
        } else {
            (end, start, [-u[0], -u[1]])
        };
        let tail = if is_narrow { 2.0 * arrow } else { 0.5 * arrow };
        let reach = plus(far, outwards, tail + width + 0.2 * self.size);
        let near = if is_narrow {
            plus(near, outwards, -2.0 * arrow)
        } else {
            near
        };
        let middle = plus(far, outwards, tail + width / 2.0);
        PlacedLength {
            words: wanted.words.clone(),
            extensions: [extension(from), extension(to)],
            line: [near, reach],
            arrows,
            text_at: plus(middle, up, above),
            turn_deg,
        }
    }

    /// Places an arc between two directions about a vertex, no smaller than `least`, and its figure outside of it: the radius, and the middle of the figure's
    /// base line. Directions are radians, clockwise.
    pub(super) fn place_arc(
        &mut self,
        vertex: Position,
        [from, to]: [f64; 2],
        words: &str,
        least: f64,
    ) -> (f64, Position) {
        let middle = (from + to) / 2.0;
        let ray = [middle.cos(), middle.sin()];
        let half = text::width(words, Font::Regular, self.size) / 2.0;
        let at = |radius: f64| {
            let out = radius + 0.5 * self.size + (half * ray[0].abs()).max(0.4 * self.size);
            let centre = plus(vertex, ray, out);
            [centre[0], centre[1] + 0.36 * self.size]
        };
        let tries = (0..LEVELS).map(|k| {
            let radius = least + self.size * 1.2 * k as f64;
            let quad = self.text_box(words, at(radius), 0.0);
            (self.cost_of_text(&quad) + k as f64, radius)
        });
        let (_, radius) = tries
            .min_by(|a, b| a.0.total_cmp(&b.0))
            .unwrap_or((0.0, least));
        let place = at(radius);
        self.texts.push(self.text_box(words, place, 0.0));
        (radius, place)
    }
}

/// The turn of a figure along a direction so that it is read from below or from the right: degrees, clockwise, from -90 up to 90.
fn readable(u: Position) -> f64 {
    let angle = u[1].atan2(u[0]).to_degrees();
    // What stands upright within rounding reads upwards.
    let turned = (angle + 90.0 + 1e-6).rem_euclid(180.0) - 90.0 - 1e-6;
    turned.max(-90.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn layout() -> Layout {
        Layout::new(Box2::new(0.0, 0.0, 1000.0, 800.0), 16.0, Vec::new())
    }

    fn length(ends: [Position; 2]) -> ToPlace {
        ToPlace {
            ends,
            words: "123.4 ±0.5".to_owned(),
        }
    }

    #[test]
    fn figures_are_read_from_below_or_from_the_right() {
        assert!((readable([1.0, 0.0])).abs() < 1e-9);
        assert!((readable([-1.0, 0.0])).abs() < 1e-9);
        assert!((readable([0.0, 1.0]) + 90.0).abs() < 1e-9);
        assert!((readable([0.0, -1.0]) + 90.0).abs() < 1e-9);
        assert!((readable([1.0, 1.0]) - 45.0).abs() < 1e-9);
        assert!((readable([-1.0, 1.0]) + 45.0).abs() < 1e-9);
    }

    #[test]
    fn the_figure_stands_above_its_line_and_the_line_is_parallel_to_what_it_measures() {
        let placed = layout()
            .place(&length([[300.0, 400.0], [700.0, 400.0]]))
            .expect("long");
        assert_eq!(placed.line[0][1], placed.line[1][1]);
        assert!(placed.text_at[1] < placed.line[0][1]);
        assert_eq!([placed.arrows[0][1], placed.arrows[1][1]], placed.line);
        for extension in placed.extensions {
            assert_eq!(extension[0][0], extension[1][0]);
        }
    }

    #[test]
    fn figures_of_many_lengths_over_one_line_do_not_overlap() {
        let mut layout = layout();
        let placed: Vec<PlacedLength> = (0..12)
            .filter_map(|k| {
                let x = 250.0 + 5.0 * f64::from(k);
                layout.place(&length([[x, 400.0], [x + 300.0, 400.0]]))
            })
            .collect();
        let boxes: Vec<Quad> = placed
            .iter()
            .map(|p| layout.text_box(&p.words, p.text_at, p.turn_deg))
            .collect();
        assert_eq!(boxes.len(), 12);
        for (i, a) in boxes.iter().enumerate() {
            assert!(boxes[..i].iter().all(|b| !overlap(a, b)), "{i}");
            assert!(
                a.iter()
                    .all(|c| (0.0..=1000.0).contains(&c[0]) && (0.0..=800.0).contains(&c[1]))
            );
        }
    }

    #[test]
    fn a_length_too_short_for_its_figure_has_it_beyond_and_its_arrows_outside() {
        let placed = layout()
            .place(&length([[400.0, 400.0], [412.0, 400.0]]))
            .expect("long");
        assert!(placed.text_at[0] > 412.0, "{placed:?}");
        assert!(placed.arrows[0][0][0] < 400.0 && placed.arrows[1][0][0] > 412.0);
        assert!(layout().place(&length([[4.0, 4.0], [4.0, 4.0]])).is_none());
    }
}
