//! The title block of a sheet: what is shown, where it comes from, how it was laid over, and a bar to check the print.
use super::{
    ViewToDraw,
    colours::{INK, PAPER},
    difference::verdict_colour,
    figures,
    scene::{Align, Box2, Fill, Line, Position, Scene, Stroke},
    text::{self, Font},
    window::{Window, ratio_words},
};
use crate::{job::LandmarkUse, measurement::SilhouetteOverlap};

/// Height of the block, paper millimetres.
pub(crate) const HEIGHT: f64 = 32.0;
/// Width of the part with the bar.
const BAR_PART: f64 = 66.0;
/// Width of the part with the verdict.
const VERDICT_PART: f64 = 48.0;

/// Draws the block into `area`; whether all that is to be known of the view is there in full.
pub(crate) fn draw(scene: &mut Scene, input: &ViewToDraw<'_>, window: &Window, area: Box2) -> bool {
    scene.rectangle(area, Some(Stroke::solid(INK, 0.35)), None);
    let rest = area.width - BAR_PART - VERDICT_PART;
    let mut x = area.x;
    let mut part = |width: f64| {
        let part = Box2::new(x, area.y, width, area.height);
        x += width;
        part
    };
    let parts = [
        part(rest * 0.52),
        part(rest * 0.48),
        part(BAR_PART),
        part(VERDICT_PART),
    ];
    for part in &parts[1..] {
        scene.line(
            [part.x, part.y],
            [part.x, part.bottom()],
            Stroke::solid(INK, 0.2),
        );
    }
    let inside = parts.map(|part| part.grown(-2.0));
    draw_subject(scene, input, inside[0]);
    let is_whole = draw_registration(scene, input, inside[1]);
    draw_bar(scene, window, inside[2]);
    draw_verdict(scene, input, inside[3]);
    is_whole
}

/// Gap below a line, parts of its size; and how far the last one may reach beyond its area, paper millimetres.
const GAP: f64 = 0.42;
const OVERHANG: f64 = 0.3;

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
        self.y += size * GAP;
    }

    /// How many lines of this size there is room for.
    fn lines_left(&self, size: f64) -> usize {
        let room = self.area.bottom() + OVERHANG - self.y - size;
        // Room for the first line, then line and gap each.
        (room / (size * (1.0 + GAP)) + 1.0).floor().max(0.0) as usize
    }
}

fn draw_subject(scene: &mut Scene, input: &ViewToDraw<'_>, area: Box2) {
    let mut column = Column::new(scene, area);
    column.line(4.2, Font::Bold, &input.job.title);
    let scale = figures::plain(input.job.scale.denominator());
    column.line(
        3.0,
        Font::Regular,
        &format!("scale 1:{scale}, view: {}", input.view.name),
    );
    let reference = &input.view.reference;
    // What every sheet says, stated or not; the rest only where stated.
    let facts = [
        ("source", &reference.source, true),
        ("time code", &reference.time_code, false),
        ("variant", &reference.variant, true),
        ("note", &reference.note, false),
    ];
    for (what, words, always) in facts {
        let words = words.as_deref().or(always.then_some("not stated"));
        if let Some(words) = words {
            column.line(2.4, Font::Regular, &format!("{what}: {words}"));
        }
    }
    let variants = input.job.variants();
    if variants.len() > 1 {
        let words = format!("variants are mixed in this job: {}", variants.join(", "));
        column.line(2.4, Font::Bold, &words);
    }
    column.y = area.bottom() - 2.4;
    let rights = reference.rights.as_deref().map_or(
        "rights not stated: use pictures of others only with the right to do so".to_owned(),
        |rights| format!("rights: {rights}"),
    );
    column.line(2.3, Font::Regular, &rights);
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
    let size = 2.2;
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
        let lines = |most| text::wrap(words, Font::Regular, size, width, most);
        is_whole &= lines(usize::MAX).len() <= 1 + spare;
        let lines = lines(1 + spare);
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
    draw_ruler(scene, [left, area.y + 12.5]);
    let mut column = Column::new(scene, Box2::new(area.x, area.y + 21.0, area.width, 8.0));
    column.line(2.4, Font::Regular, "This bar is 50 mm long when printed");
    column.line(2.4, Font::Regular, "at 100 % (no fitting to the page).");
}

/// 50 mm with ticks every 10 mm, black and white in turn; 10, 20 and 50 are written.
fn draw_ruler(scene: &mut Scene, [x, y]: Position) {
    let rim = Stroke::solid(INK, 0.2);
    for i in 0..5 {
        let fill = if i % 2 == 0 { INK } else { PAPER };
        let part = Box2::new(x + f64::from(i) * 10.0, y, 10.0, 2.0);
        scene.rectangle(part, Some(rim), Some(Fill::opaque(fill)));
    }
    for (mm, words) in [(0.0, "0"), (10.0, "10"), (20.0, "20"), (50.0, "50 mm")] {
        scene.line([x + mm, y - 0.8], [x + mm, y + 2.0], rim);
        scene.styled(Line {
            text: words.to_owned(),
            at: [x + mm, y + 4.6],
            size: 2.3,
            font: Font::Regular,
            align: Align::Middle,
            colour: INK,
            halo: 0.0,
        });
    }
}

fn draw_verdict(scene: &mut Scene, input: &ViewToDraw<'_>, area: Box2) {
    let verdict = input.measurement.verdict;
    let sign = Box2::new(area.x, area.y, area.width, 9.0);
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
    let below = Box2::new(area.x, area.y + 11.5, area.width, area.height - 11.5);
    let mut column = Column::new(scene, below);
    column.line(2.6, Font::Regular, &format!("date: {}", input.date));
    column.line(
        2.6,
        Font::Regular,
        concat!("tickstrip ", env!("CARGO_PKG_VERSION")),
    );
    let sum: String = input.checksum.chars().take(16).collect();
    column.line(2.3, Font::Regular, "checksum of marks and images:");
    column.line(2.3, Font::Mono, &sum);
}
