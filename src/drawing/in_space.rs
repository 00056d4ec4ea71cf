//! The sheet of the model in space: front, side and top drawn from its mesh at one scale, parts tinted by their verdicts, and what
//! all photos tell of them. Scene units are paper millimetres.
use super::{
    DrawnFile, Error, Paper, SheetPage,
    colours::{INK, Rgb},
    difference::verdict_ink,
    labels::{self, Wanted},
    overlay::{draw_leader, draw_tag},
    paper::{GAP, MARGIN},
    png, raster,
    scene::{Box2, Scene, Stroke},
    sheet,
    text::{self, Font},
    tinted::{NotTinted, Side, Tinted, tinted},
};
use crate::{
    job::Job,
    measurement::{PartInSpace, Verdict, ranking},
    meshes::{Edges, Model},
};
use std::sync::Arc;

/// What the sheet shows.
#[derive(Clone, Copy, Debug)]
pub struct SpaceToDraw<'a> {
    /// The job.
    pub job: &'a Job,
    /// The model's mesh, whose parts have the names of those that are judged.
    pub model: &'a Model,
    /// Its edges.
    pub edges: &'a Edges,
    /// The parts, judged.
    pub parts: &'a [PartInSpace],
    /// Names of the photos.
    pub photos: &'a [&'a str],
    /// Printed on the sheet.
    pub date: &'a str,
    /// Its size.
    pub paper: Paper,
}

const CAPTION: f64 = 5.0;
const BLOCK: f64 = 16.0;
/// Width of the words beside the pictures.
const WORDS: f64 = 92.0;
/// Room around the model in a picture, for labels.
const AROUND: f64 = 9.0;
/// Size of labels and of the words.
const LABEL: f64 = 2.5;
const TEXT: f64 = 2.5;
/// Pixels per inch of paper that the pictures are drawn with.
const FINE: f64 = 300.0;

/// Keys of the pictures, in the order of [`Side::ALL`].
const KEYS: [&str; 3] = ["front", "right", "top"];

/// Name of the picture of the model in space.
pub const SPACE_FILE: &str = "space.png";

/// Draws the sheet of the model in space, and the same as a picture of 150 dots per inch, "space.png".
///
/// # Errors
/// [`Error::Stopped`], and where a picture cannot be encoded.
pub fn draw_in_space(input: &SpaceToDraw<'_>) -> Result<(DrawnFile, SheetPage), Error> {
    let layout = Layout::of(input);
    let names: Vec<&str> = input
        .model
        .parts()
        .iter()
        .map(|p| p.name.as_str())
        .collect();
    let verdict = |name: &&str| {
        let mut parts = input.parts.iter();
        parts.find(|part| part.name == *name).map(|p| p.verdict)
    };
    let verdicts: Vec<Option<Verdict>> = names.iter().map(verdict).collect();
    let mut scene = Scene::new(input.paper.size_mm());
    let mut shown = Vec::with_capacity(KEYS.len());
    for (side, place) in Side::ALL.into_iter().zip(layout.places) {
        let whole = |mm: f64| (mm / 25.4 * FINE).round().max(1.0) as u32;
        let fine = FINE / 25.4;
        let size = [whole(place.width), whole(place.height)];
        let scale = (layout.scale * fine, AROUND * fine, size);
        let drawn = tinted((input.model, input.edges), side, &verdicts, scale);
        shown.push(drawn.map_err(|why| match why {
            NotTinted::Stopped(stopped) => Error::from(stopped),
            NotTinted::Projection(error) => Error::from(error),
        })?);
    }
    for (k, (tinted, place)) in shown.iter().zip(layout.places).enumerate() {
        let caption = [place.x, place.y - 1.5];
        scene.text(caption, 2.8, Font::Bold, Side::ALL[k].caption());
        scene.picture(KEYS[k], place);
        scene.rectangle(place, Some(Stroke::solid(INK, 0.2)), None);
        draw_labels(&mut scene, tinted, &names, &verdicts, place);
    }
    draw_words(&mut scene, input, layout.words);
    draw_block(&mut scene, input, layout.block);
    let drawn = shown.iter().map(|tinted| &tinted.picture);
    let bytes = sheet::picture(&scene, drawn.zip(layout.places))?;
    let pictures = shown.iter().zip(KEYS).map(|(tinted, key)| {
        let jpeg = png::encode_photo(&tinted.picture)?;
        Ok((key, Arc::new(jpeg)))
    });
    let page = SheetPage {
        title: text::clean(&input.job.title),
        scene,
        pictures: pictures.collect::<Result<Vec<raster::Keyed>, Error>>()?,
    };
    let file = DrawnFile {
        key: "space",
        name: SPACE_FILE,
        bytes,
    };
    Ok((file, page))
}

/// What stands where.
struct Layout {
    /// Of the pictures, in the order of [`Side::ALL`].
    places: [Box2; 3],
    words: Box2,
    block: Box2,
    /// Paper millimetres a millimetre of the model.
    scale: f64,
}

impl Layout {
    /// The front at the left, the side beside it, the top above it, as drawings of one scale; words at the right.
    fn of(input: &SpaceToDraw<'_>) -> Self {
        let [width, height] = input.paper.size_mm();
        let inside = Box2::new(0.0, 0.0, width, height).grown(-MARGIN);
        let block = Box2::new(inside.x, inside.bottom() - BLOCK, inside.width, BLOCK);
        let room = [inside.width - WORDS - GAP, inside.height - BLOCK - GAP];
        let [least, greatest] = input.model.model_box();
        let [x, y, z] = std::array::from_fn(|k| (greatest[k] - least[k]).max(1e-6));
        let scale = [
            (room[0] - GAP - 4.0 * AROUND) / (x + y),
            (room[1] - GAP - 2.0 * CAPTION - 4.0 * AROUND) / (y + z),
        ];
        let scale = scale[0].min(scale[1]);
        let at = |left: f64, top: f64, size: [f64; 2]| {
            let [width, height] = size.map(|mm| mm * scale + 2.0 * AROUND);
            Box2::new(left, top + CAPTION, width, height)
        };
        let top = at(inside.x, inside.y, [x, y]);
        let front = at(inside.x, top.bottom() + GAP, [x, z]);
        let right = at(front.right() + GAP, top.bottom() + GAP, [y, z]);
        let left = inside.right() - WORDS;
        Self {
            places: [front, right, top],
            words: Box2::new(left, inside.y, WORDS, block.y - GAP - inside.y),
            block,
            scale,
        }
    }
}

/// The names of the parts that are judged, each with its sign.
fn draw_labels(
    scene: &mut Scene,
    tinted: &Tinted,
    names: &[&str],
    verdicts: &[Option<Verdict>],
    place: Box2,
) {
    let mm = 25.4 / FINE;
    let (mut wanted, mut lines): (Vec<Wanted>, Vec<(Rgb, String)>) = (Vec::new(), Vec::new());
    let mut order: Vec<usize> = (0..names.len()).collect();
    order.sort_by_key(|&k| std::cmp::Reverse(verdicts[k]));
    for k in order {
        let (Some(verdict), Some(seen)) = (verdicts[k], tinted.seen[k]) else {
            continue;
        };
        let name = text::shorten(names[k], Font::Bold, LABEL, 40.0);
        let line = format!("{name}  {}", verdict.sign());
        let width = text::width(&line, Font::Bold, LABEL) + 0.8 * LABEL;
        wanted.push(Wanted {
            about: Box2::new(
                place.x + seen.x * mm,
                place.y + seen.y * mm,
                seen.width * mm,
                seen.height * mm,
            ),
            sizes: vec![[width, 1.75 * LABEL]],
        });
        lines.push((verdict_ink(verdict), line));
    }
    let obstacles: Vec<Box2> = wanted.iter().map(|w| w.about).collect();
    let places = labels::place(place, &wanted, &obstacles);
    for (placed, (rim, _)) in places.iter().zip(&lines) {
        if let Some(placed) = placed {
            draw_leader(scene, placed, *rim, LABEL);
        }
    }
    for (placed, (rim, line)) in places.iter().zip(lines) {
        if let Some(placed) = placed {
            draw_tag(scene, placed, rim, LABEL, &[(Font::Bold, line)]);
        }
    }
}

/// Lines from the top of an area; what finds no room is counted.
struct Words<'a> {
    scene: &'a mut Scene,
    area: Box2,
    y: f64,
}

impl Words<'_> {
    fn has_room(&self, lines: usize) -> bool {
        self.y + lines as f64 * TEXT * 1.4 <= self.area.bottom()
    }

    fn lines(&mut self, font: Font, words: &str, most: usize) {
        let indent = if font == Font::Bold { 0.0 } else { 3.0 };
        for line in text::wrap(words, font, TEXT, self.area.width - indent, most) {
            self.y += TEXT * 1.4;
            let at = [self.area.x + indent, self.y];
            self.scene.text(at, TEXT, font, line);
        }
    }
}

/// Lines that a part takes at most, its name included.
const PART_LINES: usize = 6;

/// Each part, the worst first: its verdict, what is out, what to change, what is not told.
fn draw_words(scene: &mut Scene, input: &SpaceToDraw<'_>, area: Box2) {
    let mut words = Words {
        scene,
        y: area.y,
        area,
    };
    words.lines(Font::Bold, "What all photos tell together", 1);
    words.lines(
        Font::Regular,
        "model minus subject; ✓ within, ? undecided (the photos cannot tell), ✕ out of tolerance and hatched; pale: not judged",
        3,
    );
    let mut parts: Vec<&PartInSpace> = input.parts.iter().collect();
    let rank = |part: &PartInSpace| (part.verdict, part.times_tolerance);
    parts.sort_by(|a, b| ranking::worse_first(rank(a), rank(b)));
    for (k, part) in parts.iter().enumerate() {
        if !words.has_room(PART_LINES + usize::from(k + 1 < parts.len())) {
            words.lines(
                Font::Bold,
                &format!("and {} more in the report", parts.len() - k),
                1,
            );
            return;
        }
        words.y += TEXT * 0.6;
        words.lines(
            Font::Bold,
            &format!("{}  {}", part.name, part.verdict.signed()),
            1,
        );
        let text = match &part.correction {
            Some(correction) => correction.text.clone(),
            None => "nothing to change that is told".to_owned(),
        };
        words.lines(Font::Regular, &text, PART_LINES - 3);
        if !part.cannot_tell.is_empty() {
            let untold = format!("cannot tell {}", part.cannot_tell.join(", "));
            words.lines(Font::Regular, &untold, 2);
        }
    }
}

/// Title, scale, photos and the verdict of all.
fn draw_block(scene: &mut Scene, input: &SpaceToDraw<'_>, area: Box2) {
    scene.rectangle(area, Some(Stroke::solid(INK, 0.35)), None);
    let inside = area.grown(-2.0);
    let verdict = input.parts.iter().map(|part| part.verdict).max();
    let verdict = verdict.map_or("not judged".to_owned(), Verdict::signed);
    let verdict_width = text::width(&verdict, Font::Bold, 5.0);
    let room = inside.width - verdict_width - GAP;
    let mut line = |down: f64, size: f64, font: Font, words: &str| {
        let words = text::shorten(words, font, size, room);
        scene.text([inside.x, inside.y + down], size, font, words);
    };
    let title = text::clean(&input.job.title);
    line(4.0, 4.2, Font::Bold, &title);
    let scale = super::figures::plain(input.job.scale.denominator());
    let photos = input.photos.join(", ");
    line(
        8.2,
        2.6,
        Font::Regular,
        &format!("scale 1:{scale}; the model in space by the photos {photos}"),
    );
    line(11.8, 2.4, Font::Regular, input.date);
    let at = [inside.right() - verdict_width, inside.y + 7.5];
    scene.text(at, 5.0, Font::Bold, verdict);
}
