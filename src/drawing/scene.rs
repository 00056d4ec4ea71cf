//! Shapes on a scene. The same scene becomes PNG and PDF.
use super::{colours::Rgb, text::Font};
use std::borrow::Cow;

/// A position in scene units: x right, y down.
pub(crate) type Position = [f64; 2];

/// An axis-parallel rectangle in scene units.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Box2 {
    pub x: f64,
    pub y: f64,
    pub width: f64,
    pub height: f64,
}

impl Box2 {
    pub(crate) const fn new(x: f64, y: f64, width: f64, height: f64) -> Self {
        Self {
            x,
            y,
            width,
            height,
        }
    }

    pub(crate) fn right(self) -> f64 {
        self.x + self.width
    }

    pub(crate) fn bottom(self) -> f64 {
        self.y + self.height
    }

    pub(crate) fn centre(self) -> Position {
        [self.x + self.width / 2.0, self.y + self.height / 2.0]
    }

    /// The box grown by `margin` on every side.
    pub(crate) fn grown(self, margin: f64) -> Self {
        Self::new(
            self.x - margin,
            self.y - margin,
            self.width + 2.0 * margin,
            self.height + 2.0 * margin,
        )
    }

    /// Area that both boxes share.
    pub(crate) fn shared(self, other: Self) -> f64 {
        let width = self.right().min(other.right()) - self.x.max(other.x);
        let height = self.bottom().min(other.bottom()) - self.y.max(other.y);
        width.max(0.0) * height.max(0.0)
    }

    /// Whether `other` lies inside, borders included.
    pub(crate) fn holds(self, other: Self) -> bool {
        other.x >= self.x
            && other.y >= self.y
            && other.right() <= self.right()
            && other.bottom() <= self.bottom()
    }

    /// The point of the box that is nearest to `p`.
    pub(crate) fn nearest(self, p: Position) -> Position {
        [
            p[0].clamp(self.x, self.right()),
            p[1].clamp(self.y, self.bottom()),
        ]
    }

    /// The smallest box around the finite ones of some positions; `None` where there are none.
    pub(crate) fn around(positions: impl IntoIterator<Item = Position>) -> Option<Self> {
        positions
            .into_iter()
            .filter(|p| p[0].is_finite() && p[1].is_finite())
            .map(|p| Self::new(p[0], p[1], 0.0, 0.0))
            .reduce(|a, b| {
                let (x, y) = (a.x.min(b.x), a.y.min(b.y));
                Self::new(
                    x,
                    y,
                    a.right().max(b.right()) - x,
                    a.bottom().max(b.bottom()) - y,
                )
            })
    }
}

/// Style of a line.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) enum Dash {
    #[default]
    Solid,
    Dashed,
    Dotted,
}

/// How a line is drawn.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Stroke {
    pub colour: Rgb,
    pub width: f64,
    pub dash: Dash,
}

impl Stroke {
    pub(crate) const fn solid(colour: Rgb, width: f64) -> Self {
        Self {
            colour,
            width,
            dash: Dash::Solid,
        }
    }

    pub(crate) const fn dashed(colour: Rgb, width: f64) -> Self {
        Self {
            colour,
            width,
            dash: Dash::Dashed,
        }
    }

    pub(crate) const fn dotted(colour: Rgb, width: f64) -> Self {
        Self {
            colour,
            width,
            dash: Dash::Dotted,
        }
    }
}

/// How an area is filled.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Fill {
    pub colour: Rgb,
    /// 0 (not seen) to 1.
    pub opacity: f64,
}

impl Fill {
    pub(crate) const fn opaque(colour: Rgb) -> Self {
        Self {
            colour,
            opacity: 1.0,
        }
    }
}

/// Which part of a text stands at its position.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) enum Align {
    #[default]
    Start,
    Middle,
    End,
}

/// One line of text.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Line {
    pub text: String,
    /// On the base line.
    pub at: Position,
    pub size: f64,
    pub font: Font,
    pub align: Align,
    pub colour: Rgb,
    /// Width of the paper-coloured rim that keeps the text readable over a picture; 0 for none.
    pub halo: f64,
}

/// What can be drawn.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Shape {
    Path {
        points: Vec<Position>,
        closed: bool,
        stroke: Option<Stroke>,
        fill: Option<Fill>,
    },
    Circle {
        centre: Position,
        radius: f64,
        stroke: Option<Stroke>,
        fill: Option<Fill>,
    },
    Rectangle {
        area: Box2,
        stroke: Option<Stroke>,
        fill: Option<Fill>,
    },
    Arrow {
        from: Position,
        to: Position,
        stroke: Stroke,
        /// Width of the paper-coloured rim; 0 for none.
        halo: f64,
    },
    Text(Line),
    /// Text turned about its position, degrees clockwise.
    Turned {
        line: Line,
        degrees: f64,
    },
    /// The picture of this key, stretched to the area.
    Picture {
        key: Cow<'static, str>,
        area: Box2,
    },
}

/// A drawing: shapes from back to front.
#[derive(Clone, Debug, Default)]
pub(crate) struct Scene {
    pub size: Position,
    shapes: Vec<Shape>,
}

impl Scene {
    pub(crate) fn new(size: Position) -> Self {
        Self {
            size,
            shapes: Vec::new(),
        }
    }

    /// What has been drawn, from back to front.
    pub(crate) fn shapes(&self) -> &[Shape] {
        &self.shapes
    }

    /// Adds another drawing in front.
    pub(crate) fn append(&mut self, other: Self) {
        self.shapes.extend(other.shapes);
    }

    /// Adds a shape in front; one with a coordinate that is not finite or absurdly far away is left out.
    pub(crate) fn push(&mut self, shape: Shape) {
        if shape.is_drawable() {
            self.shapes.push(shape);
        }
    }

    pub(crate) fn line(&mut self, from: Position, to: Position, stroke: Stroke) {
        self.polyline(vec![from, to], stroke);
    }

    pub(crate) fn polyline(&mut self, points: Vec<Position>, stroke: Stroke) {
        self.push(Shape::Path {
            points,
            closed: false,
            stroke: Some(stroke),
            fill: None,
        });
    }

    pub(crate) fn polygon(
        &mut self,
        points: Vec<Position>,
        stroke: Option<Stroke>,
        fill: Option<Fill>,
    ) {
        self.push(Shape::Path {
            points,
            closed: true,
            stroke,
            fill,
        });
    }

    pub(crate) fn circle(
        &mut self,
        centre: Position,
        radius: f64,
        stroke: Option<Stroke>,
        fill: Option<Fill>,
    ) {
        self.push(Shape::Circle {
            centre,
            radius,
            stroke,
            fill,
        });
    }

    pub(crate) fn rectangle(&mut self, area: Box2, stroke: Option<Stroke>, fill: Option<Fill>) {
        self.push(Shape::Rectangle { area, stroke, fill });
    }

    pub(crate) fn arrow(&mut self, from: Position, to: Position, stroke: Stroke) {
        self.push(Shape::Arrow {
            from,
            to,
            stroke,
            halo: 0.0,
        });
    }

    /// An arrow with a paper-coloured rim that sets it off from a picture.
    pub(crate) fn rimmed_arrow(&mut self, from: Position, to: Position, stroke: Stroke) {
        self.push(Shape::Arrow {
            from,
            to,
            stroke,
            halo: stroke.width * 0.5,
        });
    }

    /// The outline of a square of about the area of a circle of this radius.
    pub(crate) fn square(&mut self, [x, y]: Position, radius: f64, stroke: Stroke) {
        let half = 0.9 * radius;
        let area = Box2::new(x - half, y - half, 2.0 * half, 2.0 * half);
        self.rectangle(area, Some(stroke), None);
    }

    /// A diagonal cross.
    pub(crate) fn cross(&mut self, [x, y]: Position, arm: f64, stroke: Stroke) {
        self.line([x - arm, y], [x + arm, y], stroke);
        self.line([x, y - arm], [x, y + arm], stroke);
    }

    /// One line of text in ink, from its start.
    pub(crate) fn text(&mut self, at: Position, size: f64, font: Font, text: impl Into<String>) {
        self.styled(Line {
            text: text.into(),
            at,
            size,
            font,
            align: Align::Start,
            colour: super::colours::INK,
            halo: 0.0,
        });
    }

    /// One line of text with all its settings.
    pub(crate) fn styled(&mut self, line: Line) {
        self.push(Shape::Text(line));
    }

    /// One line of text turned about its position, degrees clockwise.
    pub(crate) fn turned(&mut self, line: Line, degrees: f64) {
        self.push(Shape::Turned { line, degrees });
    }

    pub(crate) fn picture(&mut self, key: impl Into<Cow<'static, str>>, area: Box2) {
        let key = key.into();
        self.push(Shape::Picture { key, area });
    }

    /// Parallel lines at 45 degrees inside a polygon, `step` apart (even-odd rule): the pattern that doubles a colour.
    pub(crate) fn hatch(&mut self, polygon: &[Position], step: f64, stroke: Stroke) {
        let finite = polygon
            .iter()
            .flatten()
            .all(|v| v.is_finite() && v.abs() < FAR);
        if !finite || step <= 0.0 {
            return;
        }
        // A line of the pattern is x + y = c; along it x grows.
        let sums = polygon.iter().map(|p| p[0] + p[1]);
        let low = sums.clone().fold(f64::INFINITY, f64::min);
        let high = sums.fold(f64::NEG_INFINITY, f64::max);
        let first = (low / step).ceil() as i64;
        let last = ((high / step).floor() as i64).min(first + 2000);
        for number in first..=last {
            let sum = number as f64 * step;
            for pair in crossings(polygon, sum).chunks_exact(2) {
                self.line([pair[0], sum - pair[0]], [pair[1], sum - pair[1]], stroke);
            }
        }
    }
}

/// Coordinates beyond this are of no picture.
const FAR: f64 = 1e6;

/// Where the line `x + y = sum` enters and leaves a polygon: the x values, in order.
fn crossings(polygon: &[Position], sum: f64) -> Vec<f64> {
    let mut found = Vec::new();
    for (i, a) in polygon.iter().enumerate() {
        let b = polygon[(i + 1) % polygon.len()];
        let (at_a, at_b) = (a[0] + a[1] - sum, b[0] + b[1] - sum);
        if (at_a < 0.0) != (at_b < 0.0) {
            found.push(a[0] + (b[0] - a[0]) * at_a / (at_a - at_b));
        }
    }
    found.sort_by(f64::total_cmp);
    found
}

impl Shape {
    fn is_drawable(&self) -> bool {
        let near = |v: &f64| v.is_finite() && v.abs() < FAR;
        match self {
            Self::Path { points, .. } => points.len() > 1 && points.iter().flatten().all(near),
            Self::Circle { centre, radius, .. } => centre.iter().all(near) && near(radius),
            Self::Rectangle { area, .. } | Self::Picture { area, .. } => {
                [area.x, area.y].iter().all(near)
                    && near(&area.width)
                    && near(&area.height)
                    && area.width > 0.0
                    && area.height > 0.0
            }
            Self::Arrow { from, to, .. } => from.iter().chain(to).all(near),
            Self::Text(line) | Self::Turned { line, .. } => {
                line.at.iter().all(near) && !line.text.trim().is_empty()
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drawing::colours::INK;

    #[test]
    fn shapes_that_are_nowhere_are_left_out() {
        let mut scene = Scene::new([10.0, 10.0]);
        scene.line([0.0, f64::NAN], [1.0, 1.0], Stroke::solid(INK, 1.0));
        scene.circle([f64::INFINITY, 0.0], 1.0, None, None);
        scene.arrow([0.0, 0.0], [1e9, 0.0], Stroke::solid(INK, 1.0));
        scene.rectangle(Box2::new(0.0, 0.0, -1.0, 5.0), None, None);
        scene.text([0.0, 0.0], 5.0, Font::Regular, " ");
        assert!(scene.shapes().is_empty());
    }

    #[test]
    fn hatching_stays_inside_its_polygon() {
        let square = [[10.0, 10.0], [30.0, 10.0], [30.0, 30.0], [10.0, 30.0]];
        let mut scene = Scene::new([40.0, 40.0]);
        scene.hatch(&square, 4.0, Stroke::solid(INK, 1.0));
        // Sums run from 20 to 60 in steps of 4; at 20 and 60 the line only touches a corner.
        assert_eq!(scene.shapes().len(), 10);
        for shape in scene.shapes() {
            let Shape::Path { points, .. } = shape else {
                panic!("hatching is lines");
            };
            assert!(points.iter().flatten().all(|v| (10.0..=30.0).contains(v)));
        }
    }

    #[test]
    fn boxes_know_what_they_share_and_hold() {
        let a = Box2::new(0.0, 0.0, 10.0, 10.0);
        assert_eq!(a.shared(Box2::new(8.0, 5.0, 10.0, 10.0)), 10.0);
        assert_eq!(a.shared(Box2::new(10.0, 0.0, 5.0, 5.0)), 0.0);
        assert!(a.holds(Box2::new(0.0, 0.0, 10.0, 10.0)));
        assert!(!a.holds(Box2::new(1.0, 0.0, 10.0, 5.0)));
    }
}
