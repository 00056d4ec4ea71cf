//! A picture at true scale over as many pages as it takes: the pages overlap, and register marks say how they lie to each other.
//!
//! Rows of pages have letters, columns numbers, as on a map: A1, A2, B1. In front stands a plan of the pages.
use super::{
    Error, ViewToDraw,
    backdrop::Backdrop,
    colours::{INK, PAPER},
    drawing_scale::DrawingScale,
    paper::{GAP, Paper},
    print_picture::{self, Content},
    ruler,
    scene::{Align, Box2, Fill, Line, Position, Scene, Stroke},
    sheet::About,
    sheet_page::SheetPage,
    text::{self, Font},
    title_block::{self, TitleBlock},
    view_block, window,
};

/// Which picture is printed over several pages.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TiledPicture {
    /// The render.
    Render,
    /// The reference, laid over the render.
    Reference,
    /// The edges of both over the dimmed render.
    Edges,
}

impl TiledPicture {
    fn document(self) -> &'static str {
        match self {
            Self::Render => "render to scale",
            Self::Reference => "reference to scale",
            Self::Edges => "edges to scale",
        }
    }

    fn content(self) -> Content {
        match self {
            Self::Render | Self::Reference => Content::Photo,
            Self::Edges => Content::Lines,
        }
    }
}

/// How far neighbouring pages overlap, paper millimetres.
const OVERLAP: f64 = 10.0;
/// Height of the row with the page's name and the bar.
const FOOT: f64 = 9.0;
/// Most pages of one picture: a judgement; a table is covered by them.
const MOST_TILES: usize = 60;
/// Part of what surrounds what matters that is left out rather than begin a further page.
const SPARE: f64 = 0.06;
/// Coarsest that a pixel may be on paper, millimetres: the whole pixels of neighbouring pages overlap well.
const COARSEST: f64 = 2.0;
/// Length of a register mark's arm, and the radius of its circle.
const ARM: f64 = 4.0;
const RING: f64 = 1.5;
const KEY: &str = "tile";

/// The pages of a view or a part.
pub(crate) fn pages(
    input: &ViewToDraw<'_>,
    (picture, scale): (TiledPicture, DrawingScale),
    about: About,
) -> Result<Vec<SheetPage>, Error> {
    let Some(mm_per_px) = window::model_mm_per_work_px(input) else {
        return Err(Error::NoScale);
    };
    let backdrop;
    let source = match picture {
        TiledPicture::Render => &input.work.render,
        TiledPicture::Reference => &input.work.reference,
        TiledPicture::Edges => {
            backdrop = Backdrop::of(input);
            &backdrop.edges_over_render
        }
    };
    let focus = about.focus(input);
    let at = |scale: DrawingScale| {
        let paper_mm_per_px = scale.ratio() * mm_per_px;
        Tiling::of(
            input.paper,
            focus,
            source.dimensions().into(),
            paper_mm_per_px,
        )
    };
    let tiling = at(scale);
    let [columns, rows] = tiling.count;
    let found = columns.saturating_mul(rows);
    if found > MOST_TILES {
        let fits = |scale: &DrawingScale| {
            let [columns, rows] = at(*scale).count;
            columns.saturating_mul(rows) <= MOST_TILES
        };
        let largest = DrawingScale::ALL.into_iter().find(fits);
        return Err(Error::TooManyTiles {
            found,
            most: MOST_TILES,
            scale,
            largest: largest.map_or("none".to_owned(), |scale| scale.to_string()),
        });
    }
    if tiling.paper_mm_per_px > COARSEST {
        return Err(Error::TooCoarse {
            mm: tiling.paper_mm_per_px,
            scale,
        });
    }
    let subject = about.words(input);
    let block = TitleBlock::of_view(input, &subject, picture.document(), scale.to_string());
    let mut sheets = Vec::with_capacity(found + 1);
    let of = |name: String, scene, pictures, number_at| SheetPage {
        title: text::clean(&input.job.title),
        chapter: text::clean(&about.bookmark(input, &input.view.name)),
        name,
        scene,
        pictures,
        number_at,
    };
    if found > 1 {
        let (scene, place) = tiling.plan(input, scale);
        let mut scene = scene;
        let number_at = block.draw(&mut scene);
        let small = print_picture::for_print(source, tiling.shown, place.width);
        let embedded = print_picture::embedded(KEY, &small, picture.content())?;
        sheets.push(of(
            "plan of the pages".to_owned(),
            scene,
            vec![embedded],
            number_at,
        ));
    }
    for row in 0..rows {
        for column in 0..columns {
            crate::stop::check()?;
            let (mut scene, crop, place) = tiling.tile([column, row], scale);
            let number_at = block.draw(&mut scene);
            let part = print_picture::for_print(source, crop, place.width);
            let embedded = print_picture::embedded(KEY, &part, picture.content())?;
            sheets.push(of(name([column, row]), scene, vec![embedded], number_at));
        }
    }
    Ok(sheets)
}

/// "A1": the row's letter and the column's number.
fn name([column, row]: [usize; 2]) -> String {
    // Of 60 pages there are 60 rows at most: AA, AB and so on follow Z.
    let letter = |n: usize| char::from(b'A' + (n % 26) as u8);
    let mut letters = String::new();
    if row >= 26 {
        letters.push(letter(row / 26 - 1));
    }
    letters.push(letter(row));
    format!("{letters}{}", column + 1)
}

/// A picture cut into pages.
struct Tiling {
    /// What is shown of the picture, pixels.
    shown: [u32; 4],
    paper_mm_per_px: f64,
    /// Where the picture lies on a page.
    area: Box2,
    /// Columns and rows of pages.
    count: [usize; 2],
    size: Position,
}

impl Tiling {
    /// As few pages as show what matters of a picture of `size` pixels, and as much around it as they have room for.
    fn of(paper: Paper, focus: Box2, size: [u32; 2], paper_mm_per_px: f64) -> Self {
        let content = title_block::content(paper);
        let area = Box2::new(
            content.x,
            content.y,
            content.width,
            content.height - FOOT - GAP * 0.3,
        );
        let axis = |length: f64, centre: f64, most: u32, room: f64| {
            let needed = length * paper_mm_per_px * (1.0 - SPARE);
            let more = ((needed - room) / (room - OVERLAP)).ceil().max(0.0);
            let all = room + more * (room - OVERLAP);
            let px = (all / paper_mm_per_px + 1e-9).floor().max(1.0);
            let count = (px as u32).clamp(1, most.max(1));
            let start = (centre - f64::from(count) / 2.0).round().max(0.0) as u32;
            let start = start.min(most.saturating_sub(count));
            (start, count, (more as usize).saturating_add(1))
        };
        let [x, y] = focus.centre();
        let (left, width, columns) = axis(focus.width, x, size[0], area.width);
        let (top, height, rows) = axis(focus.height, y, size[1], area.height);
        Self {
            shown: [left, top, width, height],
            paper_mm_per_px,
            area,
            count: [columns, rows],
            size: paper.size_mm(),
        }
    }

    /// Width and height of the whole, millimetres.
    fn whole(&self) -> Position {
        [self.shown[2], self.shown[3]].map(|px| f64::from(px) * self.paper_mm_per_px)
    }

    /// How far the whole is moved: what needs no second page stands in the middle of its own.
    fn shift(&self) -> Position {
        let (whole, room) = (self.whole(), [self.area.width, self.area.height]);
        std::array::from_fn(|k| match self.count[k] {
            1 => ((room[k] - whole[k]) / 2.0).max(0.0),
            _ => 0.0,
        })
    }

    /// What a page shows of the whole, millimetres from its top left corner.
    fn part(&self, [column, row]: [usize; 2]) -> Box2 {
        let (width, height) = (self.area.width, self.area.height);
        Box2::new(
            (width - OVERLAP) * column as f64,
            (height - OVERLAP) * row as f64,
            width,
            height,
        )
    }

    /// A page, the pixels that it shows and where.
    fn tile(&self, at: [usize; 2], scale: DrawingScale) -> (Scene, [u32; 4], Box2) {
        let mut scene = Scene::new(self.size);
        let part = self.part(at);
        let mm = self.paper_mm_per_px;
        // Whole pixels that lie within the page; what is cut off is on its neighbour, which overlaps.
        let range = |from: f64, room: f64, most: u32| {
            let start = (from / mm - 1e-6).ceil().max(0.0) as u32;
            let end = (((from + room) / mm + 1e-6).floor() as u32).min(most);
            (
                start.min(most.saturating_sub(1)),
                end.saturating_sub(start).max(1),
            )
        };
        let (x, width) = range(part.x, part.width, self.shown[2]);
        let (y, height) = range(part.y, part.height, self.shown[3]);
        let shift = self.shift();
        let place = Box2::new(
            self.area.x + f64::from(x) * mm - part.x + shift[0],
            self.area.y + f64::from(y) * mm - part.y + shift[1],
            f64::from(width) * mm,
            f64::from(height) * mm,
        );
        scene.picture(KEY, place);
        scene.rectangle(place, Some(Stroke::solid(INK, 0.1)), None);
        for mark in self.marks(at) {
            draw_mark(&mut scene, mark);
        }
        self.draw_foot(&mut scene, at, scale);
        let crop = [self.shown[0] + x, self.shown[1] + y, width, height];
        (scene, crop, place)
    }

    /// Where register marks are: in the middle of every overlap, where the page's other sides would overlap too.
    fn marks(&self, [column, row]: [usize; 2]) -> Vec<Position> {
        let seams = |index: usize, count: usize, low: f64, high: f64| {
            let (near, far) = (low + OVERLAP / 2.0, high - OVERLAP / 2.0);
            [(near, index > 0), (far, index + 1 < count)]
        };
        let across = seams(column, self.count[0], self.area.x, self.area.right());
        let down = seams(row, self.count[1], self.area.y, self.area.bottom());
        let mut marks = Vec::new();
        for (x, joins_across) in across {
            for (y, joins_down) in down {
                if joins_across || joins_down {
                    marks.push([x, y]);
                }
            }
        }
        marks
    }

    /// The page's name, its neighbours, and the bar.
    fn draw_foot(&self, scene: &mut Scene, at: [usize; 2], scale: DrawingScale) {
        let y = self.area.bottom() + GAP * 0.3;
        let right = self.area.right();
        let [head, mm] = scale_words(scale);
        let (words, indent) = match self.count {
            [1, 1] => (vec![head, mm], 0.0),
            _ => {
                scene.text([self.area.x, y + 7.0], 7.0, Font::Bold, name(at));
                (vec![self.neighbours(at), head, mm], 22.0)
            }
        };
        let x = self.area.x + indent;
        let room = right - BAR - GAP * 2.0 - x;
        for (k, words) in words.into_iter().enumerate() {
            let words = text::shorten(&words, Font::Regular, 2.2, room);
            let at = [x, y + 2.2 + 3.0 * k as f64];
            scene.text(at, 2.2, Font::Regular, words);
        }
        ruler::draw(scene, [right - BAR - GAP, y + 1.5], 10);
    }

    fn neighbours(&self, [column, row]: [usize; 2]) -> String {
        let [columns, rows] = self.count;
        let mut sides = Vec::new();
        if column > 0 {
            sides.push(format!("left {}", name([column - 1, row])));
        }
        if column + 1 < columns {
            sides.push(format!("right {}", name([column + 1, row])));
        }
        if row > 0 {
            sides.push(format!("above {}", name([column, row - 1])));
        }
        if row + 1 < rows {
            sides.push(format!("below {}", name([column, row + 1])));
        }
        sides.join(", ")
    }

    /// The plan of the pages, and where the small picture lies on it.
    fn plan(&self, input: &ViewToDraw<'_>, scale: DrawingScale) -> (Scene, Box2) {
        let mut scene = Scene::new(self.size);
        let content = title_block::content(input.paper);
        let [columns, rows] = self.count;
        let pages = columns * rows;
        scene.text(
            [content.x, content.y + 5.0],
            5.0,
            Font::Bold,
            "Plan of the pages",
        );
        let words = self.plan_words(input, scale, pages);
        let mut y = content.y + 10.5;
        for words in words {
            for line in text::lines(&words, Font::Regular, 2.8, content.width) {
                scene.text([content.x, y], 2.8, Font::Regular, line);
                y += 4.1;
            }
        }
        ruler::draw(&mut scene, [content.x, y], 10);
        let top = y + ruler::HEIGHT + GAP;
        let room = Box2::new(content.x, top, content.width, content.bottom() - top);
        // All pages, as far as they reach beyond the picture too.
        let last = self.part([columns - 1, rows - 1]);
        let share = (room.width / last.right()).min(room.height / last.bottom());
        let left = room.x + (room.width - last.right() * share) / 2.0;
        let small = |area: Box2| {
            Box2::new(
                left + area.x * share,
                room.y + area.y * share,
                area.width * share,
                area.height * share,
            )
        };
        let [width, height] = self.whole();
        let [x, y] = self.shift();
        let place = small(Box2::new(x, y, width, height));
        scene.picture(KEY, place);
        for row in 0..rows {
            for column in 0..columns {
                draw_page(
                    &mut scene,
                    small(self.part([column, row])),
                    &name([column, row]),
                );
            }
        }
        (scene, place)
    }

    fn plan_words(&self, input: &ViewToDraw<'_>, scale: DrawingScale, pages: usize) -> Vec<String> {
        let [width, height] = self.whole();
        let mut words = vec![
            format!(
                "{pages} pages, {width:.0} x {height:.0} mm in all; {}.",
                scale_words(scale).join(": ")
            ),
            "Print at 100 %, without fitting to the page. This bar and that of every page are 100 mm long: check one with a rule."
                .to_owned(),
            format!(
                "Neighbouring pages overlap by {OVERLAP} mm. Lay the circles with crosses of one over those of the other; cut along the crosses where the upper page is to end."
            ),
        ];
        words.extend(view_block::facts(input));
        words
    }
}

/// Length of the bar.
const BAR: f64 = 100.0;

/// The scale, and what it means.
fn scale_words(scale: DrawingScale) -> [String; 2] {
    let head = match scale {
        DrawingScale::FULL_SIZE => "true model scale".to_owned(),
        scale => format!("scale {scale} of the model"),
    };
    let mm = super::figures::plain(1.0 / scale.ratio());
    [head, format!("1 mm on paper is {mm} mm on the model")]
}

/// A page on the plan: its frame, and its name in the middle of it.
fn draw_page(scene: &mut Scene, area: Box2, name: &str) {
    scene.rectangle(area, Some(Stroke::solid(PAPER, 0.8)), None);
    scene.rectangle(area, Some(Stroke::solid(INK, 0.25)), None);
    let size = (area.height * 0.3).min(8.0).min(area.width * 0.3);
    let width = text::width(name, Font::Bold, size) + size * 0.6;
    let [x, y] = area.centre();
    let ground = Box2::new(x - width / 2.0, y - size * 0.7, width, size * 1.4);
    let white = Fill {
        colour: PAPER,
        opacity: 0.85,
    };
    scene.rectangle(ground, None, Some(white));
    scene.styled(Line {
        text: name.to_owned(),
        at: [x, y + size * text::CAPITAL_HEIGHT / 2.0],
        size,
        font: Font::Bold,
        align: Align::Middle,
        colour: INK,
        halo: 0.0,
    });
}

/// A cross in a circle, on a white rim so that it is seen on any picture.
fn draw_mark(scene: &mut Scene, [x, y]: Position) {
    for stroke in [Stroke::solid(PAPER, 0.9), Stroke::solid(INK, 0.15)] {
        scene.line([x - ARM, y], [x + ARM, y], stroke);
        scene.line([x, y - ARM], [x, y + ARM], stroke);
        scene.circle([x, y], RING, Some(stroke), None);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tiling(paper: Paper, whole: [u32; 2]) -> Tiling {
        let [width, height] = whole.map(f64::from);
        Tiling::of(paper, Box2::new(0.0, 0.0, width, height), whole, 0.1)
    }

    #[test]
    fn pages_overlap_and_cover_all_of_it() {
        for paper in [Paper::A4, Paper::A3.portrait(), Paper::LETTER] {
            for whole in [[5000, 4100], [900, 700], [9000, 300]] {
                let tiling = tiling(paper, whole);
                let [columns, rows] = tiling.count;
                let [width, height] = tiling.whole();
                let mut seen = vec![false; tiling.shown[2] as usize];
                for column in 0..columns {
                    let (_, [x, _, count, _], place) =
                        tiling.tile([column, 0], DrawingScale::FULL_SIZE);
                    let x = x - tiling.shown[0];
                    seen[x as usize..(x + count) as usize].fill(true);
                    assert!(tiling.area.grown(1e-6).holds(place), "{place:?}");
                }
                assert!(seen.iter().all(|s| *s), "{paper:?} {whole:?}");
                let last = tiling.part([columns - 1, rows - 1]);
                assert!(last.right() >= width - 1e-5 && last.bottom() >= height - 1e-5);
                // None of them is left over.
                assert!(columns == 1 || last.x + OVERLAP < width);
                assert!(rows == 1 || last.y + OVERLAP < height);
            }
        }
    }

    #[test]
    fn register_marks_of_neighbours_lie_on_one_point_of_the_picture() {
        let tiling = tiling(Paper::A4, [5000, 4100]);
        let on_picture = |at: [usize; 2]| -> Vec<[i64; 2]> {
            let part = tiling.part(at);
            let marks = tiling.marks(at).into_iter();
            let place = |[x, y]: Position| {
                [x - tiling.area.x + part.x, y - tiling.area.y + part.y]
                    .map(|mm| (mm * 1e6).round() as i64)
            };
            marks.map(place).collect()
        };
        let [first, right, below] = [[0, 0], [1, 0], [0, 1]].map(on_picture);
        let shared = |a: &[[i64; 2]], b: &[[i64; 2]]| a.iter().filter(|m| b.contains(m)).count();
        // At a corner of the whole two sides join others, below it three: two columns, three rows.
        assert_eq!((first.len(), right.len(), below.len()), (3, 3, 4));
        assert_eq!(shared(&first, &right), 2);
        assert_eq!(shared(&first, &below), 2);
    }

    #[test]
    fn pages_are_named_as_on_a_map() {
        assert_eq!(name([0, 0]), "A1");
        assert_eq!(name([11, 1]), "B12");
        assert_eq!(
            (name([0, 26]), name([0, 53])),
            ("AA1".to_owned(), "BB1".to_owned())
        );
    }
}
