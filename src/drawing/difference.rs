//! The difference picture: regions tinted by their error with their figures, offsets as arrows, spans as dimension lines.
use super::{
    Error, ViewToDraw,
    backdrop::Backdrop,
    board::{Board, Item, Swatch},
    colours::{INK, OUT, PAPER, Rgb, UNDECIDED, WITHIN},
    figures,
    labels::{self, Placed, Wanted},
    overlay::{draw_leader, draw_tag},
    raster::Pixel,
    scene::{Box2, Fill, Position, Scene, Stroke},
    text::{self, Font},
};
use crate::{
    job::Region,
    measurement::{Method, RegionMeasure, SpanMeasure, Verdict, ranking},
};
use image::RgbImage;

/// Draws the difference picture of a view.
pub(crate) fn draw(input: &ViewToDraw<'_>, backdrop: &Backdrop) -> Result<RgbImage, Error> {
    let board = Board::of(input);
    let (scene, _) = annotated(input, &board);
    let paint = |y, row: &mut [Pixel]| backdrop.paint_dimmed(y, row);
    board.finish(paint, scene, &legend(input, &board))
}

/// The scene, and the places of its labels.
fn annotated(input: &ViewToDraw<'_>, board: &Board) -> (Scene, Vec<Option<Placed>>) {
    let mut scene = Scene::new([board.width, board.picture.height]);
    let factor = arrow_factor(input, board);
    for (region, measure) in worst_first(input).into_iter().rev() {
        draw_outline(&mut scene, board, region, measure);
    }
    for (span, measure) in input.measurement.spans_of(input.view) {
        if let Some([from, to]) = span_ends(input, board, span) {
            draw_dimension(&mut scene, board, from, to, measure.verdict);
        }
    }
    for (region, measure) in input.view.regions.iter().zip(&input.measurement.regions) {
        draw_offset(&mut scene, board, region, measure, factor);
    }
    let places = draw_labels(&mut scene, input, board);
    (scene, places)
}

/// The colour of a verdict.
pub(crate) fn verdict_colour(verdict: Verdict) -> Rgb {
    match verdict {
        Verdict::Within => WITHIN,
        Verdict::Undecided => UNDECIDED,
        Verdict::Out => OUT,
    }
}

/// A shade of the verdict's colour that reads as a line or text on a light ground.
pub(crate) fn verdict_ink(verdict: Verdict) -> Rgb {
    match verdict {
        Verdict::Within => WITHIN.darker(0.8),
        Verdict::Undecided => UNDECIDED.darker(0.55),
        Verdict::Out => OUT.darker(0.65),
    }
}

/// Regions with their measures, the worst verdict and largest error first.
fn worst_first<'a>(input: &ViewToDraw<'a>) -> Vec<(&'a Region, &'a RegionMeasure)> {
    let mut all: Vec<_> = input
        .view
        .regions
        .iter()
        .zip(&input.measurement.regions)
        .collect();
    let rank = |measure: &RegionMeasure| (measure.verdict, measure.times_tolerance);
    all.sort_by(|(_, a), (_, b)| ranking::worse_first(rank(a), rank(b)));
    all
}

fn outline(board: &Board, region: &Region) -> Vec<Position> {
    region.outline.iter().map(|p| board.place(*p)).collect()
}

/// Tint by the size of the error, line style and pattern by the verdict.
fn draw_outline(scene: &mut Scene, board: &Board, region: &Region, measure: &RegionMeasure) {
    let unit = board.text / 14.0;
    let corners = outline(board, region);
    let ink = verdict_ink(measure.verdict);
    let tint = Fill {
        colour: verdict_colour(measure.verdict),
        opacity: 0.22 + 0.3 * (measure.times_tolerance / 4.0).min(1.0),
    };
    scene.polygon(
        corners.clone(),
        Some(Stroke::solid(PAPER, unit * 5.0)),
        Some(tint),
    );
    let stroke = match measure.verdict {
        Verdict::Within => Stroke::solid(ink, unit * 2.0),
        Verdict::Undecided => Stroke::dashed(ink, unit * 2.5),
        Verdict::Out => {
            scene.hatch(&corners, unit * 11.0, Stroke::solid(ink, unit * 0.9));
            Stroke::solid(ink, unit * 3.5)
        }
    };
    scene.polygon(corners, Some(stroke), None);
}

fn offset_px(measure: &RegionMeasure) -> Option<[f64; 2]> {
    match measure.offset_px {
        [None, None] => None,
        both => Some(both.map(|m| m.map_or(0.0, |m| m.value()))),
    }
}

/// The exaggeration that makes the largest arrow about a tenth of the picture.
fn arrow_factor(input: &ViewToDraw<'_>, board: &Board) -> f64 {
    let lengths = input
        .measurement
        .regions
        .iter()
        .filter_map(offset_px)
        .map(|[x, y]| x.hypot(y));
    let largest = lengths.fold(0.0, f64::max) * board.per_render_px();
    figures::exaggeration(
        largest,
        board.picture.width.min(board.picture.height) / 10.0,
    )
}

/// A dot where the part should lie, seen from which the arrow points where it lies.
fn draw_offset(
    scene: &mut Scene,
    board: &Board,
    region: &Region,
    measure: &RegionMeasure,
    factor: f64,
) {
    let unit = board.text / 14.0;
    let Some([dx, dy]) = offset_px(measure) else {
        return;
    };
    let [x, y] = board.place(region.anchor);
    let stretch = factor * board.per_render_px();
    let tip = [x + dx * stretch, y + dy * stretch];
    scene.circle([x, y], unit * 4.5, None, Some(Fill::opaque(PAPER)));
    if (tip[0] - x).hypot(tip[1] - y) > unit * 4.0 {
        scene.rimmed_arrow([x, y], tip, Stroke::solid(INK, unit * 3.0));
    }
    scene.circle([x, y], unit * 3.0, None, Some(Fill::opaque(INK)));
}

fn span_ends(
    input: &ViewToDraw<'_>,
    board: &Board,
    span: &crate::job::Span,
) -> Option<[Position; 2]> {
    let at = |index: usize| input.pairs.get(index).map(|pair| board.place(pair.render));
    Some([at(span.from)?, at(span.to)?])
}

/// A line between both marks with a slash at each end, as on a drawing.
fn draw_dimension(
    scene: &mut Scene,
    board: &Board,
    from: Position,
    to: Position,
    verdict: Verdict,
) {
    let unit = board.text / 14.0;
    let length = (to[0] - from[0]).hypot(to[1] - from[1]);
    if length < 1e-6 {
        return;
    }
    let along = [(to[0] - from[0]) / length, (to[1] - from[1]) / length];
    let across = [-along[1], along[0]];
    let slash = |at: Position, reach: f64| {
        let d = [
            (along[0] + across[0]) * reach,
            (along[1] + across[1]) * reach,
        ];
        [[at[0] - d[0], at[1] - d[1]], [at[0] + d[0], at[1] + d[1]]]
    };
    let colour = INK;
    let stroke = match verdict {
        Verdict::Within => Stroke::solid(colour, unit * 1.8),
        Verdict::Undecided => Stroke::dashed(colour, unit * 1.8),
        Verdict::Out => Stroke::solid(colour, unit * 3.2),
    };
    scene.line(from, to, Stroke::solid(PAPER, stroke.width + unit * 2.5));
    scene.line(from, to, stroke);
    for at in [from, to] {
        let [a, b] = slash(at, unit * 6.0);
        scene.line(a, b, Stroke::solid(PAPER, unit * 4.5));
        scene.line(a, b, Stroke::solid(colour, unit * 2.0));
    }
}

/// A label before it has a place: what it is about and its versions, the fullest first.
struct Label {
    about: Box2,
    rim: Rgb,
    versions: Vec<Vec<(Font, String)>>,
}

impl Label {
    fn wanted(&self, size: f64) -> Wanted {
        let area = |lines: &Vec<(Font, String)>| {
            let widths = lines
                .iter()
                .map(|(font, line)| text::width(line, *font, size));
            let width = widths.fold(0.0, f64::max) + size * 0.8;
            [width, size * (0.5 + 1.25 * lines.len() as f64)]
        };
        Wanted {
            about: self.about,
            sizes: self.versions.iter().map(area).collect(),
        }
    }
}

fn draw_labels(scene: &mut Scene, input: &ViewToDraw<'_>, board: &Board) -> Vec<Option<Placed>> {
    let room = board.picture.width * 0.45;
    let regions = worst_first(input)
        .into_iter()
        .filter_map(|(region, measure)| {
            region_label(
                measure,
                Box2::around(outline(board, region))?,
                board.text,
                room,
            )
        });
    let spans = input
        .measurement
        .spans_of(input.view)
        .filter_map(|(span, measure)| {
            let [a, b] = span_ends(input, board, span)?;
            let middle = [(a[0] + b[0]) / 2.0, (a[1] + b[1]) / 2.0];
            span_label(measure, middle, board.text, room)
        });
    let labels: Vec<Label> = regions.chain(spans).collect();
    let wanted: Vec<Wanted> = labels
        .iter()
        .map(|label| label.wanted(board.text))
        .collect();
    let obstacles: Vec<Box2> = wanted
        .iter()
        .map(|w| w.about)
        .filter(|b| b.width > 0.0)
        .collect();
    let places = labels::place(board.label_room(), &wanted, &obstacles);
    for (placed, label) in places.iter().zip(&labels) {
        if let Some(placed) = placed {
            draw_leader(scene, placed, label.rim, board.text);
        }
    }
    for (placed, label) in places.iter().zip(&labels) {
        if let Some(placed) = placed {
            let lines = &label.versions[placed.version];
            draw_tag(scene, placed, label.rim, board.text, lines);
        }
    }
    places
}

fn region_label(measure: &RegionMeasure, about: Box2, size: f64, room: f64) -> Option<Label> {
    let lines: Vec<(Font, String)> = figure_lines(measure)
        .into_iter()
        .map(|line| text::shorten(&line, Font::Regular, size, room * 1.3))
        .map(|line| (Font::Regular, line))
        .collect();
    // A long name must not make the box much wider than its figures: boxes hide the picture.
    let widths = lines
        .iter()
        .map(|(font, line)| text::width(line, *font, size));
    let name_room = widths.fold(size * 10.0, f64::max).min(room);
    let title = |room| (Font::Bold, titled(measure, size, room));
    let full = std::iter::once(title(name_room)).chain(lines).collect();
    Some(Label {
        about,
        rim: verdict_ink(measure.verdict),
        versions: vec![full, vec![title(name_room)], vec![title(room * 0.3)]],
    })
}

/// The region's name, cut to the room that its sign leaves, and the sign, which is never cut.
fn titled(measure: &RegionMeasure, size: f64, room: f64) -> String {
    let sign = measure.verdict.sign();
    let sign_room = text::width(&format!("  {sign}"), Font::Bold, size);
    let name = text::shorten(&measure.name, Font::Bold, size, room - sign_room);
    format!("{name}  {sign}")
}

fn figure_lines(measure: &RegionMeasure) -> Vec<String> {
    let size = [("W", measure.width_percent), ("H", measure.height_percent)];
    let mut lines: Vec<String> = size
        .iter()
        .filter_map(|(axis, figure)| {
            Some(format!("{axis} {}", figures::signed_with((*figure)?, " %")))
        })
        .collect();
    let (offset, unit) = figures::region_offset(measure);
    for (axis, figure) in offset.into_iter().enumerate() {
        lines.extend(figure.map(|m| format!("offset {}", figures::offset(m, axis, unit))));
    }
    lines.extend(
        measure
            .rotation_deg
            .map(|m| format!("turned {}", figures::signed_with(m, "°"))),
    );
    if lines.is_empty() || measure.method == Method::None {
        return vec!["cannot tell".to_owned()];
    }
    lines
}

fn span_label(measure: &SpanMeasure, [x, y]: Position, size: f64, room: f64) -> Option<Label> {
    let sign = measure.verdict.sign();
    let error = figures::signed_with(measure.error_percent, " %");
    let name = text::shorten(&measure.name, Font::Regular, size, room * 0.6);
    Some(Label {
        about: Box2::new(x, y, 0.0, 0.0),
        rim: verdict_ink(measure.verdict),
        versions: vec![
            vec![(Font::Regular, format!("{name} {error} {sign}"))],
            vec![(Font::Regular, format!("{error} {sign}"))],
        ],
    })
}

fn legend(input: &ViewToDraw<'_>, board: &Board) -> Vec<Item> {
    let unit = board.text / 14.0;
    let tint = |verdict| Fill {
        colour: verdict_colour(verdict),
        opacity: 0.4,
    };
    let ink = verdict_ink;
    let mut items = Vec::new();
    if input.view.regions.is_empty() {
        items.push(Item::words(
            "no regions in this view: add \"regions\" to judge parts",
        ));
    } else {
        let within = Swatch::Patch(
            Stroke::solid(ink(Verdict::Within), unit * 2.0),
            tint(Verdict::Within),
        );
        let out = Swatch::Hatched(
            Stroke::solid(ink(Verdict::Out), unit * 3.0),
            tint(Verdict::Out),
        );
        let open = Stroke::dashed(ink(Verdict::Undecided), unit * 2.0);
        items.push(Item::new(
            within,
            Verdict::Within.signed() + ": the whole interval is in tolerance",
        ));
        items.push(Item::new(
            out,
            Verdict::Out.signed() + " of tolerance (stronger tint: larger error)",
        ));
        items.push(Item::new(
            Swatch::Patch(open, tint(Verdict::Undecided)),
            Verdict::Undecided.signed() + ": the picture cannot tell",
        ));
        let factor = figures::plain(arrow_factor(input, board));
        let arrow = Swatch::Arrow(Stroke::solid(INK, unit * 2.0));
        items.push(Item::new(
            arrow,
            format!("where the part lies, from where it should, {factor} times exaggerated"),
        ));
        items.push(Item::words("W, H: + too wide, too high"));
    }
    if !input.view.spans.is_empty() {
        items.push(Item::new(
            Swatch::Line(Stroke::solid(INK, unit * 2.0)),
            "span: + too long; broken: undecided ?, thick: out ✕",
        ));
    }
    items.push(board.scale_bar());
    items
}

#[cfg(test)]
pub(crate) mod tests {
    use crate::drawing::difference::*;

    /// The places of a view's labels, for checks of the layout.
    pub(crate) fn label_places(input: &ViewToDraw<'_>) -> (Box2, Vec<Option<Placed>>) {
        let board = Board::of(input);
        let (_, places) = annotated(input, &board);
        (board.picture, places)
    }
}
