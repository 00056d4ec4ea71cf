//! The dimensions of a reference, drawn over its rectified picture as on a technical drawing.
use super::{
    Error,
    colours::{GREY, INK, PAPER, REFERENCE},
    dimension_layout::{ARROW, Layout, PlacedLength, ToPlace},
    raster::Ground,
    reduce,
    scene::{Align, Box2, Fill, Line, Position, Scene, Stroke},
    text::{self, Font},
};
use image::RgbImage;

/// What is drawn of a reference.
#[derive(Clone, Debug)]
pub(super) struct DimensionsToDraw {
    /// Name of the view and what the figures are.
    pub head: String,
    /// What else is said below the picture.
    pub notes: Vec<String>,
    /// Every landmark.
    pub marks: Vec<[f64; 2]>,
    /// The landmark from which places are counted.
    pub origin: Option<[f64; 2]>,
    /// Lengths: both ends and the figure.
    pub lengths: Vec<([[f64; 2]; 2], String)>,
    /// Angles.
    pub angles: Vec<DrawnAngle>,
}

/// An angle to be drawn, by places in the picture.
#[derive(Clone, Debug)]
pub(super) struct DrawnAngle {
    /// The line that is measured, from its vertex.
    pub own: [[f64; 2]; 2],
    /// What it is measured against; `None`: what lies to the right.
    pub against: Option<[[f64; 2]; 2]>,
    /// The figure.
    pub words: String,
}

/// Widths between which the picture is brought, pixels.
const WIDTHS: [u32; 2] = [1000, 2000];
/// Dimensions that are drawn at most; the table has all.
const MOST: usize = 60;

/// The picture with its dimensions; places are pixels of `picture`.
///
/// # Errors
/// [`Error::EmptyPicture`], [`Error::Scene`] and [`Error::Stopped`].
pub(super) fn draw_dimensions(
    picture: &RgbImage,
    to_draw: &DimensionsToDraw,
) -> Result<RgbImage, Error> {
    let factor = (WIDTHS[0] / picture.width().max(1)).clamp(1, 8);
    let shown = reduce::fitted(picture, factor, WIDTHS[1]);
    let faded = faded(&shown);
    let (width, height) = (f64::from(shown.width()), f64::from(shown.height()));
    let size = (width.max(height) / 90.0).max(15.0);
    let margin = (size * 4.5).ceil();
    let times = width / f64::from(picture.width().max(1));
    let place = |p: [f64; 2]| p.map(|v| v * times + margin);
    let board_width = width + 2.0 * margin;
    let words = lines(to_draw, size, board_width - 2.0 * size);
    let foot = size * (1.0 + 1.5 * words.len() as f64);
    let board = [board_width, height + 2.0 * margin + foot];
    let mut ground = Ground::plain([board[0] as u32, board[1].ceil() as u32], PAPER)?;
    ground.lay(&faded, [margin as u32; 2]);
    let mut scene = Scene::new([board[0], board[1].ceil()]);
    let frame = Box2::new(margin, margin, width, height);
    scene.rectangle(frame, Some(Stroke::solid(GREY, size / 20.0)), None);
    let area = Box2::new(0.0, 0.0, board[0], height + 2.0 * margin).grown(-size * 0.3);
    let pen = Pen { size };
    let marks = to_draw.marks.iter().map(|mark| place(*mark)).collect();
    let mut layout = Layout::new(area, size, marks);
    for mark in &to_draw.marks {
        pen.mark(&mut scene, place(*mark));
    }
    if let Some(origin) = to_draw.origin {
        pen.origin(&mut scene, place(origin));
    }
    // Figures come last: no line runs over one.
    let mut figures = Vec::new();
    for length in placed(&to_draw.lengths, place, &mut layout) {
        figures.push(pen.length(&mut scene, &length));
    }
    for angle in to_draw.angles.iter().take(MOST) {
        figures.extend(pen.angle(&mut scene, angle, place, &mut layout));
    }
    for (line, degrees) in figures {
        scene.turned(line, degrees);
    }
    for (k, line) in words.into_iter().enumerate() {
        let at = [size, height + 2.0 * margin + size * (1.0 + 1.5 * k as f64)];
        scene.text(at, size, Font::Regular, line);
    }
    ground.draw(&scene, 1.0)
}

/// The words below the picture.
fn lines(to_draw: &DimensionsToDraw, size: f64, room: f64) -> Vec<String> {
    let hidden = to_draw.lengths.len().max(to_draw.angles.len());
    let more = (hidden > MOST).then(|| format!("Of {hidden} dimensions {MOST} are drawn."));
    let all = std::iter::once(to_draw.head.clone());
    let all = all.chain(to_draw.notes.iter().cloned()).chain(more);
    all.flat_map(|words| text::lines(&words, Font::Regular, size, room))
        .collect()
}

/// The shorter ones first: they lie nearest to what they measure.
fn placed(
    lengths: &[([[f64; 2]; 2], String)],
    place: impl Fn([f64; 2]) -> Position,
    layout: &mut Layout,
) -> Vec<PlacedLength> {
    let mut wanted: Vec<ToPlace> = lengths
        .iter()
        .take(MOST)
        .map(|(ends, words)| ToPlace {
            ends: ends.map(&place),
            words: words.clone(),
        })
        .collect();
    let reach = |w: &ToPlace| {
        let [a, b] = w.ends;
        (b[0] - a[0]).hypot(b[1] - a[1])
    };
    wanted.sort_by(|a, b| reach(a).total_cmp(&reach(b)));
    wanted.iter().filter_map(|w| layout.place(w)).collect()
}

/// Half way to white, so that thin lines show.
fn faded(picture: &RgbImage) -> RgbImage {
    let mut faded = picture.clone();
    for pixel in faded.pixels_mut() {
        pixel.0 = pixel.0.map(|v| ((u16::from(v) + 255) / 2) as u8);
    }
    faded
}

/// How things are drawn; widths and sizes hang on that of the text.
struct Pen {
    size: f64,
}

impl Pen {
    fn thin(&self) -> f64 {
        self.size / 11.0
    }

    /// A thin line with a rim that sets it off from a picture.
    fn line(&self, scene: &mut Scene, [from, to]: [Position; 2]) {
        scene.line(from, to, Stroke::solid(PAPER, self.thin() * 3.0));
        scene.line(from, to, Stroke::solid(INK, self.thin()));
    }

    fn mark(&self, scene: &mut Scene, at: Position) {
        for (colour, width) in [(PAPER, 3.0), (REFERENCE, 1.3)] {
            scene.cross(
                at,
                self.size * 0.28,
                Stroke::solid(colour, self.thin() * width),
            );
        }
    }

    fn origin(&self, scene: &mut Scene, at: Position) {
        for (colour, width) in [(PAPER, 3.5), (REFERENCE, 1.5)] {
            let stroke = Stroke::solid(colour, self.thin() * width);
            scene.circle(at, self.size * 0.5, Some(stroke), None);
        }
    }

    /// A filled arrowhead whose tip is at the end.
    fn arrow(&self, scene: &mut Scene, [from, to]: [Position; 2]) {
        let d = [to[0] - from[0], to[1] - from[1]];
        let length = d[0].hypot(d[1]).max(1e-9);
        let (u, head) = ([d[0] / length, d[1] / length], self.size * ARROW);
        let neck = [to[0] - u[0] * head, to[1] - u[1] * head];
        let half = head * 0.19;
        let corners = vec![
            to,
            [neck[0] - u[1] * half, neck[1] + u[0] * half],
            [neck[0] + u[1] * half, neck[1] - u[0] * half],
        ];
        let rim = Stroke::solid(PAPER, self.thin());
        scene.polygon(corners.clone(), Some(rim), None);
        scene.polygon(corners, None, Some(Fill::opaque(INK)));
    }

    fn words(&self, at: Position, words: &str) -> Line {
        Line {
            text: words.to_owned(),
            at,
            size: self.size,
            font: Font::Regular,
            align: Align::Middle,
            colour: INK,
            halo: self.size * 0.2,
        }
    }

    /// Draws the lines of a length; its figure with its turn is handed back.
    fn length(&self, scene: &mut Scene, placed: &PlacedLength) -> (Line, f64) {
        for extension in placed.extensions {
            self.line(scene, extension);
        }
        self.line(scene, placed.line);
        for arrow in placed.arrows {
            self.line(scene, arrow);
            self.arrow(scene, arrow);
        }
        (self.words(placed.text_at, &placed.words), placed.turn_deg)
    }

    /// Draws the lines of an angle; its figure is handed back.
    fn angle(
        &self,
        scene: &mut Scene,
        angle: &DrawnAngle,
        place: impl Fn([f64; 2]) -> Position,
        layout: &mut Layout,
    ) -> Option<(Line, f64)> {
        let [vertex, end] = angle.own.map(&place);
        let own = (end[1] - vertex[1]).atan2(end[0] - vertex[0]);
        if !own.is_finite() || vertex == end {
            return None;
        }
        let other = match angle.against.map(|ends| ends.map(&place)) {
            Some([from, to]) => (to[1] - from[1]).atan2(to[0] - from[0]),
            None => 0.0,
        };
        // The arc as the figure counts it: a turn from the other line to this one.
        let turn = (own - other + std::f64::consts::PI).rem_euclid(std::f64::consts::TAU)
            - std::f64::consts::PI;
        // So far out that the arc of a small angle can be seen, but on the line that is measured.
        let length = (end[0] - vertex[0]).hypot(end[1] - vertex[1]);
        let wide = 2.5 * self.size / turn.abs().max(1e-6);
        let least = (3.5 * self.size).max(wide.min(0.85 * length));
        let (radius, text_at) = layout.place_arc(vertex, [own - turn, own], &angle.words, least);
        let on = |direction: f64, radius: f64| {
            [
                vertex[0] + radius * direction.cos(),
                vertex[1] + radius * direction.sin(),
            ]
        };
        let reach = radius + 0.4 * self.size;
        for direction in [own, other] {
            self.line(scene, [vertex, on(direction, reach)]);
        }
        let steps = ((turn.abs() * radius / 3.0).ceil() as usize).clamp(4, 400);
        let arc: Vec<Position> = (0..=steps)
            .map(|k| on(own - turn * (1.0 - k as f64 / steps as f64), radius))
            .collect();
        scene.polyline(arc.clone(), Stroke::solid(PAPER, self.thin() * 3.0));
        scene.polyline(arc, Stroke::solid(INK, self.thin()));
        let head = self.size * ARROW;
        // An arrowhead on a short arc would stand across it.
        if turn.abs() * radius > 2.0 * head {
            let back = head / radius * turn.signum();
            self.arrow(scene, [on(own - back, radius), on(own, radius)]);
            self.arrow(
                scene,
                [on(own - turn + back, radius), on(own - turn, radius)],
            );
        }
        Some((self.words(text_at, &angle.words), 0.0))
    }
}
