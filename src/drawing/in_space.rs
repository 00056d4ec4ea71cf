//! The sheet of the model in space: front, side and top drawn from its mesh at one scale, parts tinted by their verdicts, and what
//! all photos tell of them. Scene units are paper millimetres.
use super::{
    DrawingScale, DrawnFile, Error, Paper,
    colours::Rgb,
    difference::verdict_ink,
    flow::{self, Flow, Marks},
    labels::{self, Wanted},
    overlay::{draw_leader, draw_tag},
    paper::GAP,
    print_picture::{self, CAPTION, Content},
    scene::{Box2, Scene},
    sheet,
    sheet_page::SheetPage,
    text::{self, Font},
    tinted::{NotTinted, Side, Tinted, tinted},
    title_block::{self, TitleBlock},
    window::ratio_words,
};
use crate::{
    job::Job,
    measurement::{PartInSpace, Verdict, ranking},
    meshes::{Edges, Model},
};

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

/// Width of the words beside the pictures, and least part of an upright page for those below them.
const WORDS: f64 = 92.0;
const WORDS_BELOW: f64 = 0.42;
/// Room around the model in a picture, for labels.
const AROUND: f64 = 9.0;
/// Least part of the largest scale that a drawing scale must come to.
const LEAST_USED: f64 = 0.66;
/// Size of labels.
const LABEL: f64 = 2.5;
/// Pixels per inch of paper that the pictures are drawn with.
const FINE: f64 = 300.0;

/// Keys of the pictures, in the order of [`Side::ALL`].
const KEYS: [&str; 3] = ["front", "right", "top"];

/// Name of the picture of the model in space.
pub const SPACE_FILE: &str = "space.png";

/// Draws the sheet of the model in space, with pages behind it where not all words have room, and the same as a picture of 150 dots
/// per inch, "space.png".
///
/// # Errors
/// [`Error::Stopped`], and where a picture cannot be encoded.
pub fn draw_in_space(input: &SpaceToDraw<'_>) -> Result<(DrawnFile, Vec<SheetPage>), Error> {
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
        // Beside the front stands another picture; beside the others there is room.
        let room = if k == 0 { 0.0 } else { 40.0 };
        let caption = (Side::ALL[k].caption(), room);
        print_picture::draw(&mut scene, place, caption, KEYS[k]);
        draw_labels(&mut scene, tinted, &names, &verdicts, place);
    }
    let mut words = said(input, Flow::new(layout.words[0].width));
    for area in &layout.words {
        words.fill(&mut scene, *area);
    }
    let of = (input.job, input.date, input.paper);
    let scale = ratio_words(layout.scale);
    let block = TitleBlock::of_job(of, "the model in space", "comparison sheet", scale);
    let number_at = block.draw(&mut scene);
    let drawn = shown.iter().map(|tinted| &tinted.picture);
    let bytes = sheet::picture(&scene, drawn.zip(layout.places))?;
    let pictures = shown.iter().zip(KEYS);
    let pictures =
        pictures.map(|(tinted, key)| print_picture::embedded(key, &tinted.picture, Content::Photo));
    let mut pages = vec![SheetPage {
        title: text::clean(&input.job.title),
        chapter: CHAPTER.to_owned(),
        name: "sheet".to_owned(),
        scene,
        pictures: pictures.collect::<Result<_, Error>>()?,
        number_at,
    }];
    if !words.is_done() {
        let flow = said(input, Flow::for_pages(input.paper));
        let head = format!("{}, the model in space, in full", input.job.title);
        pages.extend(flow::sheets(flow, (CHAPTER, &head), &block));
    }
    let file = DrawnFile::alone(("space", SPACE_FILE), bytes);
    Ok((file, pages))
}

/// What the bookmark is called.
const CHAPTER: &str = "The model in space";

/// What stands where.
struct Layout {
    /// Of the pictures, in the order of [`Side::ALL`].
    places: [Box2; 3],
    /// Columns of words.
    words: Vec<Box2>,
    /// Paper millimetres a millimetre of the model.
    scale: f64,
}

impl Layout {
    /// The front at the left, the side beside it, the top above it, as drawings of one scale; words at the right, on an upright page
    /// below.
    fn of(input: &SpaceToDraw<'_>) -> Self {
        let inside = title_block::content(input.paper);
        let is_upright = inside.width < inside.height;
        let words = if is_upright {
            let y = inside.bottom() - inside.height * WORDS_BELOW;
            let width = (inside.width - GAP) / 2.0;
            let column = |x| Box2::new(x, y, width, inside.bottom() - y);
            vec![column(inside.x), column(inside.x + width + GAP)]
        } else {
            let left = inside.right() - WORDS;
            vec![Box2::new(left, inside.y, WORDS, inside.height)]
        };
        let room = match is_upright {
            true => [inside.width, inside.height * (1.0 - WORDS_BELOW) - GAP],
            false => [inside.width - WORDS - GAP, inside.height],
        };
        let [least, greatest] = input.model.model_box();
        let [x, y, z] = std::array::from_fn(|k| (greatest[k] - least[k]).max(1e-6));
        let scale = [
            (room[0] - GAP - 4.0 * AROUND) / (x + y),
            (room[1] - GAP - 2.0 * CAPTION - 4.0 * AROUND) / (y + z),
        ];
        let largest = scale[0].min(scale[1]);
        let drawing_scale = DrawingScale::largest_within(largest).map(DrawingScale::ratio);
        // A scale of a drawing, unless half of the page stayed empty.
        let scale = drawing_scale.filter(|scale| *scale > LEAST_USED * largest);
        let scale = scale.unwrap_or(largest);
        let at = |left: f64, top: f64, size: [f64; 2]| {
            let [width, height] = size.map(|mm| mm * scale + 2.0 * AROUND);
            Box2::new(left, top + CAPTION, width, height)
        };
        let top = at(inside.x, inside.y, [x, y]);
        let front = at(inside.x, top.bottom() + GAP, [x, z]);
        let right = at(front.right() + GAP, top.bottom() + GAP, [y, z]);
        Self {
            places: [front, right, top],
            words,
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

/// Each part, the worst first: its verdict, what to change, what is not told.
fn said(input: &SpaceToDraw<'_>, mut flow: Flow) -> Flow {
    let verdict = input.parts.iter().map(|part| part.verdict).max();
    let verdict = verdict.map_or("not judged".to_owned(), Verdict::signed);
    let photos = format!("The photos {} together.", input.photos.join(", "));
    let signs = "Model minus subject; ✓ within, ? undecided (the photos cannot tell), ✕ out of tolerance and hatched; pale: not judged.";
    flow.section(
        &format!("What all photos tell together: {verdict}"),
        &[photos, signs.to_owned()],
        Marks::None,
    );
    let mut parts: Vec<&PartInSpace> = input.parts.iter().collect();
    let rank = |part: &PartInSpace| (part.verdict, part.times_tolerance);
    parts.sort_by(|a, b| ranking::worse_first(rank(a), rank(b)));
    for part in parts {
        let mut lines = vec![match &part.correction {
            Some(correction) => correction.text.clone(),
            None => "nothing to change that is told".to_owned(),
        }];
        if part.axes.is_some() {
            lines.push("along the part's own axes".to_owned());
        }
        if !part.cannot_tell.is_empty() {
            lines.push(format!("cannot tell {}", part.cannot_tell.join(", ")));
        }
        let heading = format!("{}  {}", part.name, part.verdict.signed());
        flow.section(&heading, &lines, Marks::None);
    }
    flow
}
