//! What a sheet says of a view beside pictures and figures: where the reference comes from, how it was laid over, the verdict, and a
//! bar to check the print.
use super::{
    ViewToDraw,
    colours::INK,
    difference::verdict_colour,
    figures,
    paper::{GAP, Paper},
    ruler,
    scene::{Align, Box2, Fill, Line, Scene, Stroke},
    text::{self, Font},
    title_block,
    window::{Window, ratio_words},
};
use crate::{
    job::LandmarkUse,
    measurement::{SilhouetteOverlap, Verdict},
};

/// Height of a row of the block, paper millimetres.
const ROW: f64 = 28.0;
/// Height of the row with the registration where it has a row of its own.
const UPPER_ROW: f64 = 19.0;
/// Width of the part with the bar.
const BAR_PART: f64 = 66.0;
/// Width of the part with the verdict.
const VERDICT_PART: f64 = 48.0;
/// Narrower than this the block has two rows.
const ONE_ROW: f64 = 240.0;

/// Where the block stands: above the title block.
fn area(paper: Paper) -> Box2 {
    let content = title_block::content(paper);
    let height = if content.width < ONE_ROW {
        ROW + UPPER_ROW
    } else {
        ROW
    };
    // Both blocks are read as one.
    let bottom = content.bottom() + GAP * 0.5;
    Box2::new(content.x, bottom - height, content.width, height)
}

/// What is left of the page above it.
pub(crate) fn content(paper: Paper) -> Box2 {
    let (content, block) = (title_block::content(paper), area(paper));
    Box2::new(
        content.x,
        content.y,
        content.width,
        block.y - GAP * 0.8 - content.y,
    )
}

/// The parts of the block: of the reference, the registration, the bar, the verdict.
fn parts(area: Box2) -> [Box2; 4] {
    let rest = area.width - BAR_PART - VERDICT_PART;
    let row = |x: f64, y: f64, width: f64, height: f64| Box2::new(area.x + x, y, width, height);
    if area.width < ONE_ROW {
        let y = area.y + UPPER_ROW;
        return [
            row(0.0, y, rest, ROW),
            row(0.0, area.y, area.width, UPPER_ROW),
            row(rest, y, BAR_PART, ROW),
            row(rest + BAR_PART, y, VERDICT_PART, ROW),
        ];
    }
    [
        row(0.0, area.y, rest * 0.5, ROW),
        row(rest * 0.5, area.y, rest * 0.5, ROW),
        row(rest, area.y, BAR_PART, ROW),
        row(rest + BAR_PART, area.y, VERDICT_PART, ROW),
    ]
}

/// Draws the block with this verdict; whether all that is to be known of the view is there in full.
pub(crate) fn draw(
    scene: &mut Scene,
    input: &ViewToDraw<'_>,
    window: &Window,
    verdict: Verdict,
) -> bool {
    let parts = parts(area(input.paper));
    for part in parts {
        scene.rectangle(part, Some(Stroke::solid(INK, 0.2)), None);
    }
    let [reference, registration, bar, of_verdict] = parts.map(|part| part.grown(-2.0));
    let has_facts = draw_reference(scene, input, reference);
    let has_statements = draw_registration(scene, input, registration);
    draw_bar(scene, window, bar);
    draw_verdict(scene, input, verdict, of_verdict);
    has_facts && has_statements
}

/// Gap below a line, parts of its size; and how far the last one may reach beyond its area, paper millimetres.
const LEADING: f64 = 0.42;
const OVERHANG: f64 = 0.3;
/// Size of what stands there in many words.
const SMALL: f64 = 2.2;

/// Lines of text from the top of an area, each cut to its width.
struct Column<'a> {
    scene: &'a mut Scene,
    area: Box2,
    y: f64,
}

impl<'a> Column<'a> {
    fn new(scene: &'a mut Scene, area: Box2) -> Self {
        Self {
            y: area.y,
            scene,
            area,
        }
    }

    /// One line; nothing where the area is full.
    fn line(&mut self, size: f64, font: Font, words: &str) {
        if self.lines_left(size) == 0 {
            return;
        }
        self.y += size;
        let words = text::shorten(words, font, size, self.area.width);
        self.scene
            .text([self.area.x, self.y - size * 0.12], size, font, words);
        self.y += size * LEADING;
    }

    /// How many lines of this size there is room for.
    fn lines_left(&self, size: f64) -> usize {
        let room = self.area.bottom() + OVERHANG - self.y - size;
        // Room for the first line, then line and gap each.
        (room / (size * (1.0 + LEADING)) + 1.0).floor().max(0.0) as usize
    }
}

/// What the job says of the reference, a line each; the last one says by what right it is used.
pub(crate) fn facts(input: &ViewToDraw<'_>) -> Vec<String> {
    let reference = &input.view.reference;
    // What every sheet says, stated or not; the rest only where stated.
    let facts = [
        ("source", &reference.source, true),
        ("time code", &reference.time_code, false),
        ("variant", &reference.variant, true),
        ("note", &reference.note, false),
    ];
    let stated = facts.into_iter().filter_map(|(what, words, always)| {
        let words = words.as_deref().or(always.then_some("not stated"))?;
        Some(format!("{what}: {words}"))
    });
    let mut facts: Vec<String> = stated.collect();
    let variants = input.job.variants();
    if variants.len() > 1 {
        let words = format!("variants are mixed in this job: {}", variants.join(", "));
        facts.push(words);
    }
    facts.push(reference.rights.as_deref().map_or(
        "rights not stated: use pictures of others only with the right to do so".to_owned(),
        |rights| format!("rights: {rights}"),
    ));
    facts
}

/// Most lines of the block that the rights take, at its foot.
const MOST_RIGHTS: usize = 2;

fn draw_reference(scene: &mut Scene, input: &ViewToDraw<'_>, area: Box2) -> bool {
    let mut column = Column::new(scene, area);
    column.line(2.8, Font::Bold, "reference");
    let mut facts = facts(input);
    let rights = facts.pop().unwrap_or_default();
    let has_rights = text::lines(&rights, Font::Regular, SMALL, area.width).len() <= MOST_RIGHTS;
    let rights = text::wrap(&rights, Font::Regular, SMALL, area.width, MOST_RIGHTS);
    column.area.height -= rights.len() as f64 * SMALL * (1.0 + LEADING);
    let has_facts = draw_statements(&mut column, &facts);
    column.y = column.area.bottom() + OVERHANG;
    column.area = area;
    for line in rights {
        column.line(SMALL, Font::Regular, &line);
    }
    has_facts && has_rights
}

fn draw_registration(scene: &mut Scene, input: &ViewToDraw<'_>, area: Box2) -> bool {
    let registration = &input.measurement.registration;
    let datums = input
        .view
        .landmarks
        .iter()
        .filter(|l| l.usage == LandmarkUse::Datum)
        .count();
    let mut column = Column::new(scene, area);
    let kind = registration.kind.name();
    column.line(2.8, Font::Bold, &format!("registration: {kind}"));
    let rms = registration.rms_px;
    column.line(
        2.5,
        Font::Regular,
        &format!("{datums} datum landmarks, residuals {rms:.2} px rms"),
    );
    if let Some(overlap) = &input.measurement.edge_overlap {
        let words = format!(
            "edge overlap {:.2} (chance {:.2})",
            overlap.score, overlap.chance
        );
        column.line(2.5, Font::Regular, &words);
    }
    draw_statements(&mut column, &statements(input))
}

/// What is to be known of a view beside its figures; what casts doubt on them comes before what sums them up.
pub(crate) fn statements(input: &ViewToDraw<'_>) -> Vec<String> {
    let measurement = input.measurement;
    let warnings = measurement.warnings.iter().map(|w| w.text.clone());
    let sizes = measurement.sizes.iter().map(|s| s.text.clone());
    warnings
        .chain(sizes)
        .chain(measurement.silhouette.as_ref().map(silhouette))
        .collect()
}

/// Statements one below the other: each gets a line, the first ones what more they need and there is; the last line says
/// how many are left out. Whether all of them are there in full.
fn draw_statements(column: &mut Column<'_>, statements: &[String]) -> bool {
    let size = SMALL;
    let (room, width) = (column.lines_left(size), column.area.width);
    let fitting = if statements.len() <= room {
        statements.len()
    } else {
        room.saturating_sub(1)
    };
    let is_cut = fitting < statements.len();
    let mut spare = room.saturating_sub(fitting + usize::from(is_cut));
    let mut is_whole = !is_cut;
    for words in &statements[..fitting] {
        let needed = text::lines(words, Font::Regular, size, width).len();
        is_whole &= needed <= 1 + spare;
        let lines = text::wrap(words, Font::Regular, size, width, 1 + spare);
        spare -= lines.len().saturating_sub(1);
        for line in lines {
            column.line(size, Font::Regular, &line);
        }
    }
    if is_cut {
        let rest = format!("and {} more on the next page", statements.len() - fitting);
        column.line(size, Font::Regular, &rest);
    }
    is_whole
}

/// "silhouettes: overlap 0.973; outline +0.03 mm on average, ...". Without an interval: what lies beside each other on an
/// outline is off together, and how far that reaches is not known.
fn silhouette(s: &SilhouetteOverlap) -> String {
    let ([mean, p95, most], unit, places) = match s.model_mm {
        Some(mm) => (mm, "mm", 2),
        None => ([s.mean_px, s.p95_px, s.max_px], "px", 1),
    };
    format!(
        "silhouettes: overlap {:.3}; model beyond the outline by {mean:+.places$} {unit} on average, 95 % within \
         {p95:.places$}, most {most:.places$} (whole pixels, no interval)",
        s.overlap
    )
}

fn draw_bar(scene: &mut Scene, window: &Window, area: Box2) {
    let mut column = Column::new(scene, area);
    match window.ratio {
        Some(ratio) if (ratio - 1.0).abs() < 1e-9 => {
            column.line(2.8, Font::Bold, "printed at true model scale");
            column.line(2.4, Font::Regular, "1 mm on paper is 1 mm on the model");
        }
        Some(ratio) => {
            column.line(
                2.8,
                Font::Bold,
                &format!("printed at {} of the model", ratio_words(ratio)),
            );
            let mm = figures::plain(1.0 / ratio);
            column.line(
                2.4,
                Font::Regular,
                &format!("1 mm on paper is {mm} mm on the model"),
            );
        }
        None => {
            column.line(2.8, Font::Bold, "not to scale");
            column.line(2.4, Font::Regular, "the render has no known length");
        }
    }
    let left = area.x + (area.width - 50.0) / 2.0;
    ruler::draw(scene, [left, area.y + 9.4], 5);
    let mut column = Column::new(scene, Box2::new(area.x, area.y + 16.2, area.width, 7.5));
    column.line(2.4, Font::Regular, "This bar is 50 mm long when printed");
    column.line(2.4, Font::Regular, "at 100 % (no fitting to the page).");
}

fn draw_verdict(scene: &mut Scene, input: &ViewToDraw<'_>, verdict: Verdict, area: Box2) {
    let sign = Box2::new(area.x, area.y, area.width, 8.5);
    let tint = Fill {
        colour: verdict_colour(verdict),
        opacity: 0.45,
    };
    scene.rectangle(sign, Some(Stroke::solid(INK, 0.3)), Some(tint));
    let words = format!("verdict: {}", verdict.signed());
    let size = (area.width - 2.0) / text::width(&words, Font::Bold, 1.0);
    scene.styled(Line {
        text: words,
        at: [sign.centre()[0], sign.centre()[1] + 1.4],
        size: size.min(3.9),
        font: Font::Bold,
        align: Align::Middle,
        colour: INK,
        halo: 0.0,
    });
    let below = Box2::new(area.x, area.y + 10.5, area.width, area.height - 10.5);
    let mut column = Column::new(scene, below);
    let program = concat!("tickstrip ", env!("CARGO_PKG_VERSION"));
    column.line(2.3, Font::Regular, program);
    let sum: String = input.checksum.chars().take(16).collect();
    column.line(2.3, Font::Regular, "checksum of marks and images:");
    column.line(2.3, Font::Mono, &sum);
}
