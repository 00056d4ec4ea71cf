//! Marks outside of their images, which only the images' sizes tell: what is refused, and what is only said.
//!
//! A landmark or a point of a line was seen, so it lies in the picture; one that was carried a little beyond the border is
//! said. Corners of a screen may be cut off, and outlines are drawn generously: those are said, however far.
use super::{
    Doubt, End, Fault, FaultKind, KnownPlane, Mask, Rectify, Side, View, error::OutsideMark,
};
use crate::frame::{Frame, Point};
use crate::warning::Code;

/// How far beyond the border a landmark may lie, as a part of the picture's longer side: where a part is cut off, its tip
/// is marked where the eye carries it on (a judgement).
const MARGIN: f64 = 0.02;
/// What is no distance at all, pixels: a pixel's centre is half a pixel from its edge.
const NEAR: f64 = 0.5;
/// Marks that a message names at most.
const MOST_NAMED: usize = 40;

/// What the sizes of a view's images tell of its marks.
#[derive(Clone, Debug, Default)]
pub struct MarksOutside {
    /// Because of these it cannot be compared.
    pub faults: Vec<Fault>,
    /// These may be meant.
    pub doubts: Vec<Doubt>,
}

/// Looks at every mark of a view; `at` is its pointer, sizes are width and height in pixels.
pub fn marks_outside(
    view: &View,
    at: &str,
    render: (u32, u32),
    reference: (u32, u32),
) -> MarksOutside {
    let mut found = MarksOutside::default();
    let sizes = [(Side::Render, render), (Side::Reference, reference)];
    let other = sizes.map(|(side, size)| view.other_size(side, size, at));
    found.faults.extend(other.into_iter().flatten());
    if !found.faults.is_empty() {
        // Where things lie in another picture says nothing more.
        return found;
    }
    for (side, size) in sizes {
        let image = Image::new(side.name(), size);
        found.landmarks(view, side, &image, at);
        found.known_points(view, side, &image, at);
    }
    if found.faults.is_empty() {
        let left = super::starter::left_of_starter(view, at, [render, reference]);
        found.faults.extend(left);
    }
    let (render, reference) = (
        Image::new("render", render),
        Image::new("reference", reference),
    );
    found.regions(view, &render, at);
    if let Mask::Outline(corners) = &view.reference.mask {
        found.silhouette(corners, &reference, &format!("{at}/reference/outline"));
    }
    if let Some(rectify) = &view.reference.rectify {
        found.rectification(rectify, &reference, &format!("{at}/reference/rectify"));
    }
    found
}

/// Looks at the marks that a picture is rectified by; `at` is their pointer.
pub fn rectify_marks_outside(rectify: &Rectify, at: &str, picture: (u32, u32)) -> MarksOutside {
    let mut found = MarksOutside::default();
    found.rectification(rectify, &Image::new("picture", picture), at);
    found
}

/// A picture that marks should lie in.
struct Image {
    name: &'static str,
    size: [u32; 2],
}

impl Image {
    fn new(name: &'static str, (width, height): (u32, u32)) -> Self {
        Self {
            name,
            size: [width, height],
        }
    }

    /// How far a point lies outside, pixels; 0 inside.
    fn beyond(&self, [x, y]: [f64; 2]) -> f64 {
        let past = |v: f64, side: u32| (v - f64::from(side)).max(-v).max(0.0);
        past(x, self.size[0]).hypot(past(y, self.size[1]))
    }

    fn margin(&self) -> f64 {
        (MARGIN * f64::from(self.size[0].max(self.size[1]))).max(NEAR)
    }

    /// Such as "the render (1600 x 1200 pixels)".
    fn in_words(&self) -> String {
        let [width, height] = self.size;
        format!("the {} ({width} x {height} pixels)", self.name)
    }

    /// Whether an outline has nothing in the picture.
    fn misses(&self, corners: &[[f64; 2]]) -> bool {
        (0..2).any(|k| {
            let side = f64::from(self.size[k]);
            corners.iter().all(|c| c[k] <= 0.0) || corners.iter().all(|c| c[k] >= side)
        })
    }
}

/// Marks of one kind, by what a message calls them.
struct Seen {
    /// Such as "landmark".
    what: &'static str,
    marks: Vec<OutsideMark>,
}

impl Seen {
    fn new(what: &'static str, marks: impl Iterator<Item = (String, [f64; 2])>) -> Self {
        Self {
            what,
            marks: marks.map(|(name, at)| OutsideMark { name, at }).collect(),
        }
    }

    /// Points named by their number.
    fn numbered<'a, F: Frame>(
        what: &'static str,
        points: impl Iterator<Item = &'a Point<F>>,
    ) -> Self {
        let numbered = points.enumerate();
        Self::new(what, numbered.map(|(i, p)| (i.to_string(), p.xy())))
    }
}

impl MarksOutside {
    fn doubt(&mut self, pointer: String, code: Code, text: String) {
        self.doubts.push(Doubt {
            pointer,
            code,
            text,
        });
    }

    /// Marks of things that were seen: beyond the margin they are a fault, below it they are said.
    fn seen(&mut self, seen: Seen, image: &Image, pointer: &str) {
        let what = seen.what;
        let outside = seen.marks.into_iter();
        let outside = outside.filter(|mark| image.beyond(mark.at) > NEAR);
        let (far, near): (Vec<_>, Vec<_>) =
            outside.partition(|mark| image.beyond(mark.at) > image.margin());
        if !far.is_empty() {
            self.faults.push(Fault {
                pointer: pointer.to_owned(),
                kind: FaultKind::MarksOutside {
                    what,
                    more: far.len().saturating_sub(MOST_NAMED),
                    marks: far.into_iter().take(MOST_NAMED).collect(),
                    image: image.name,
                    size: image.size,
                },
            });
        }
        if !near.is_empty() {
            let most = near.iter().map(|m| image.beyond(m.at)).fold(0.0, f64::max);
            let text = format!(
                "{} up to {most:.1} px outside {}: what the picture does not show can only be guessed; mark it inside or \
                 leave it out",
                counted(what, &near),
                image.in_words()
            );
            self.doubt(pointer.to_owned(), Code::MarksAtBorder, text);
        }
    }

    fn landmarks(&mut self, view: &View, side: Side, image: &Image, at: &str) {
        let marks = view.landmarks.iter().map(|l| {
            let place = match side {
                Side::Render => l.render.xy(),
                Side::Reference => l.reference.xy(),
            };
            (format!("\"{}\"", l.name), place)
        });
        self.seen(
            Seen::new("landmark", marks),
            image,
            &format!("{at}/landmarks"),
        );
    }

    /// A dimension line's ends are drawn in the plan: no margin.
    fn known_points(&mut self, view: &View, side: Side, image: &Image, at: &str) {
        let known = view.known.iter().enumerate();
        for (index, known) in known.filter(|(_, known)| known.side == side) {
            for (key, end) in [("from", known.from), ("to", known.to)] {
                let End::Point(point) = end else { continue };
                if image.beyond(point) > 0.0 {
                    self.faults.push(Fault {
                        pointer: format!("{at}/known/{index}/{key}"),
                        kind: FaultKind::PointOutside {
                            point,
                            image: image.name,
                            size: image.size,
                        },
                    });
                }
            }
        }
    }

    fn regions(&mut self, view: &View, image: &Image, at: &str) {
        let mut clipped = Vec::new();
        let mut most = 0.0_f64;
        for (index, region) in view.regions.iter().enumerate() {
            let pointer = format!("{at}/regions/{index}");
            let corners: Vec<[f64; 2]> = region.outline.iter().map(|p| p.xy()).collect();
            if image.misses(&corners) {
                self.faults.push(outline_outside(
                    &format!("the outline of \"{}\"", region.name),
                    &format!("{pointer}/outline"),
                    image,
                ));
                continue;
            }
            let reach = farthest(image, &corners);
            if reach > NEAR {
                most = most.max(reach);
                clipped.push(format!("\"{}\"", region.name));
            }
            let beyond = image.beyond(region.anchor.xy());
            if beyond > image.margin() {
                let text = format!(
                    "the anchor of \"{}\" lies {beyond:.0} px outside {}: its offset is stated for a place far from the \
                     part, where a small turn is a large offset",
                    region.name,
                    image.in_words()
                );
                self.doubt(format!("{pointer}/anchor"), Code::AnchorOutside, text);
            }
        }
        if !clipped.is_empty() {
            let text = format!(
                "{} up to {most:.1} px beyond {}: what lies outside is not looked at",
                reaching("outline", &clipped),
                image.in_words()
            );
            self.doubt(format!("{at}/regions"), Code::OutlineClipped, text);
        }
    }

    fn silhouette(&mut self, corners: &[[f64; 2]], image: &Image, pointer: &str) {
        if image.misses(corners) {
            let fault = outline_outside("the outline of the silhouette", pointer, image);
            return self.faults.push(fault);
        }
        let reach = farthest(image, corners);
        if reach > NEAR {
            let text = format!(
                "the outline of the silhouette reaches {reach:.1} px beyond {}: what lies outside is not looked at",
                image.in_words()
            );
            self.doubt(pointer.to_owned(), Code::OutlineClipped, text);
        }
    }

    fn rectification(&mut self, rectify: &Rectify, image: &Image, at: &str) {
        match &rectify.plane {
            KnownPlane::Rectangle(rectangle) => {
                let corners = rectangle.corners.map(Point::xy);
                let reach = farthest(image, &corners);
                if reach > NEAR {
                    let text = format!(
                        "corners lie up to {reach:.1} px outside {}: where the picture cuts a screen off they can only be \
                         guessed; rectify it by \"points\" or lines that the picture shows if you can",
                        image.in_words()
                    );
                    self.doubt(format!("{at}/corners"), Code::CornersOutside, text);
                }
            }
            KnownPlane::Figure(points) => {
                let seen = Seen::numbered("point", points.iter().map(|p| &p.reference));
                self.seen(seen, image, &format!("{at}/points"));
            }
            KnownPlane::Lines(lines) => {
                for (key, lines) in [
                    ("horizontal", &lines.horizontal),
                    ("vertical", &lines.vertical),
                ] {
                    let ends = lines.iter().enumerate().flat_map(|(i, ends)| {
                        ends.iter().map(move |p| (format!("of line {i}"), p.xy()))
                    });
                    self.seen(Seen::new("end", ends), image, &format!("{at}/{key}"));
                }
            }
            KnownPlane::Unknown => {}
        }
        let points = rectify.straight_lines.iter().enumerate();
        let points =
            points.flat_map(|(i, line)| line.iter().map(move |p| (format!("of line {i}"), p.xy())));
        self.seen(
            Seen::new("point", points),
            image,
            &format!("{at}/straight_lines"),
        );
    }
}

fn outline_outside(what: &str, pointer: &str, image: &Image) -> Fault {
    Fault {
        pointer: pointer.to_owned(),
        kind: FaultKind::OutlineOutside {
            what: what.to_owned(),
            image: image.name,
            size: image.size,
        },
    }
}

fn farthest(image: &Image, corners: &[[f64; 2]]) -> f64 {
    corners.iter().map(|c| image.beyond(*c)).fold(0.0, f64::max)
}

/// Such as `landmarks "a", "b" lie`, with the rest counted.
fn counted(what: &str, marks: &[OutsideMark]) -> String {
    let names: Vec<String> = marks.iter().map(|m| m.name.clone()).collect();
    let (s, lie) = plural(names.len(), "lies", "lie");
    format!("{what}{s} {} {lie}", listed(&names))
}

/// Such as `the outlines of "a", "b" reach`.
fn reaching(what: &str, names: &[String]) -> String {
    let (s, reach) = plural(names.len(), "reaches", "reach");
    format!("the {what}{s} of {} {reach}", listed(names))
}

fn plural(n: usize, one: &'static str, many: &'static str) -> (&'static str, &'static str) {
    if n == 1 { ("", one) } else { ("s", many) }
}

fn listed(names: &[String]) -> String {
    let shown = names[..names.len().min(MOST_NAMED)].join(", ");
    match names.len().saturating_sub(MOST_NAMED) {
        0 => shown,
        more => format!("{shown} and {more} more"),
    }
}
