//! Measurements to pictures and sheets: shapes on a scene, one scene to PNG, PDF and SVG.
//!
//! [`draw_view`] draws the pictures of a view; [`sheets_pdf`] joins the sheets of all views. A picture is the working
//! raster with shapes over it and a legend below; small rasters are enlarged by a whole factor so that text stays
//! readable.
mod alone;
mod arrangement;
mod backdrop;
mod blink;
mod board;
mod colours;
mod difference;
mod dimension_layout;
mod dimension_words;
mod dimensions;
mod drawing_scale;
mod drawn_file;
mod edge_pixels;
mod edges_over_render;
mod error;
mod explain;
mod figures;
mod flow;
mod grid;
mod heat;
mod in_space;
mod labels;
mod likeness;
mod marks;
mod model;
mod model_sheet;
mod overlay;
mod overview;
mod paper;
mod part_words;
mod pdf;
#[cfg(test)]
mod picture_tests;
mod pictures;
mod plain_sheet;
mod png;
mod print_picture;
mod printed_page;
mod raster;
mod reduce;
mod revision_sheet;
mod ruler;
mod scene;
mod sheet;
mod sheet_page;
#[cfg(test)]
mod sheet_tests;
mod sheet_text;
mod silhouette;
mod strip;
mod strip_sheet;
mod svg;
#[cfg(test)]
mod synthetic;
mod table;
mod text;
mod tiles;
mod tinted;
mod title_block;
mod trend;
mod true_scale;
mod variants;
mod view_block;
mod view_to_draw;
mod window;

#[cfg(feature = "service")]
pub(crate) use self::png::lines_png;
pub use self::{
    alone::draw_alone,
    drawing_scale::DrawingScale,
    drawn_file::DrawnFile,
    error::Error,
    explain::{explain, explain_rectification},
    in_space::{SPACE_FILE, SpaceToDraw, draw_in_space},
    model::{model_png, model_svg},
    model_sheet::{ModelSheet, model_sheet},
    overview::{Overview, OverviewSection, OverviewView, overview_pages},
    paper::Paper,
    pdf::sheets_pdf,
    pictures::{Picture, Pictures},
    png::{encode_for_page, encode_jpeg, encode_large_png, encode_png},
    printed_page::PrintedPage,
    revision_sheet::EarlierRevision,
    sheet_page::{SheetPage, Thumbnail},
    tiles::TiledPicture,
    trend::{MOST_TREND_LINES, TrendLine, TrendPanel, trend_chart},
    true_scale::{
        BACKDROP_PICTURE, LONGEST_PAGE_MM, TrueScale, TrueScaleFiles, draw_true_scale,
        true_scale_size,
    },
    variants::{SheetKind, draw_sheets},
    view_to_draw::ViewToDraw,
};
use self::{
    backdrop::Backdrop,
    png::{encode_patches_for_page, encode_photo},
};
#[cfg(feature = "cli")]
pub(crate) use self::{png::encode_png_at, text::Font};
use crate::{measurement::WorkImages, stop};
use image::RgbImage;
use rayon::prelude::*;

/// Everything drawn of one view.
#[derive(Clone, Debug)]
pub struct DrawnView {
    /// Those that are wanted of overlay, difference, heat, grid, blink, strip, render_small, reference_small, silhouette where both images
    /// have one, likeness where both are pictures of models, sheet, in this order.
    pub files: Vec<DrawnFile>,
    /// The sheet and the pages behind it, for [`sheets_pdf`]; none where it is not wanted.
    pub sheets: Vec<SheetPage>,
}

/// Draws the pictures of a view that are `wanted`, in parallel. The same input gives the same bytes, whatever the number of threads.
///
/// # Errors
/// [`Error::EmptyPicture`] and [`Error::DifferentSizes`] where the rasters are unsound; the others where a picture is
/// too large for its format.
pub fn draw_view(input: &ViewToDraw<'_>, wanted: &Pictures) -> Result<DrawnView, Error> {
    check(input.work)?;
    let backdrop = Backdrop::of(input);
    let is_drawn = |kind: &&Kind| wanted.has(kind.picture());
    let kinds: Vec<Kind> = Kind::ALL.iter().filter(is_drawn).copied().collect();
    let sheet = || match wanted.has(Picture::Sheet) {
        true => sheet::draw(input, &backdrop).map(Some),
        false => Ok(None),
    };
    let (sheet, files) = rayon::join(sheet, || {
        kinds
            .par_iter()
            .map(|kind| kind.draw(input, &backdrop))
            .collect::<Result<Vec<_>, _>>()
    });
    let (sheet, mut files) = (sheet?, files?);
    let silhouettes = input.work.silhouettes.as_ref();
    if let Some(silhouettes) = silhouettes.filter(|_| wanted.has(Picture::Silhouette)) {
        let names = ("silhouette", "silhouette.png");
        files.push(DrawnFile::of_picture(
            names,
            &silhouette::draw(input, silhouettes)?,
        )?);
    }
    let alike = input.work.likeness.as_ref();
    let alike = alike.zip(input.measurement.earlier_issue.as_ref());
    if let Some((map, found)) = alike.filter(|_| wanted.has(Picture::Likeness)) {
        let names = ("likeness", "likeness.png");
        files.push(DrawnFile::of_picture(
            names,
            &likeness::draw(input, map, found)?,
        )?);
    }
    let mut sheets = Vec::new();
    if let Some((pages, bytes)) = sheet {
        files.push(DrawnFile::alone(("sheet", "sheet.png"), bytes));
        sheets = pages;
    }
    Ok(DrawnView { files, sheets })
}

/// Widest that the pictures for the page's comparison may be.
const MOST_ON_PAGE: u32 = 1600;

/// The pictures beside the sheet.
#[derive(Clone, Copy)]
enum Kind {
    Overlay,
    Difference,
    Heat,
    Grid,
    Blink,
    Strip,
    SmallRender,
    SmallReference,
}

impl Kind {
    const ALL: [Self; 8] = [
        Self::Overlay,
        Self::Difference,
        Self::Heat,
        Self::Grid,
        Self::Blink,
        Self::Strip,
        Self::SmallRender,
        Self::SmallReference,
    ];

    /// The picture that it is.
    fn picture(self) -> Picture {
        match self {
            Self::Overlay => Picture::Overlay,
            Self::Difference => Picture::Difference,
            Self::Heat => Picture::Heat,
            Self::Grid => Picture::Grid,
            Self::Blink => Picture::Blink,
            Self::Strip => Picture::Strip,
            Self::SmallRender => Picture::Render,
            Self::SmallReference => Picture::Reference,
        }
    }

    /// Key in the report and name of the file.
    fn names(self) -> (&'static str, &'static str) {
        match self {
            Self::Overlay => ("overlay", "overlay.png"),
            Self::Difference => ("difference", "difference.png"),
            Self::Heat => ("heat", "heat.png"),
            Self::Grid => ("grid", "grid.png"),
            Self::Blink => ("blink", "blink.png"),
            Self::Strip => ("strip", "strip.png"),
            Self::SmallRender => ("render_small", "render.jpg"),
            Self::SmallReference => ("reference_small", "reference.jpg"),
        }
    }

    fn draw(self, input: &ViewToDraw<'_>, backdrop: &Backdrop) -> Result<DrawnFile, Error> {
        stop::check()?;
        let names = self.names();
        match self {
            Self::Overlay => DrawnFile::of_picture(names, &overlay::draw(input, backdrop)?),
            Self::Difference => DrawnFile::of_picture(names, &difference::draw(input, backdrop)?),
            Self::Heat => DrawnFile::of_picture(names, &heat::draw(input, backdrop)?),
            Self::Grid => DrawnFile::of_picture(names, &grid::draw(input, backdrop)?),
            Self::Blink => Ok(DrawnFile::alone(names, blink::draw(input)?)),
            Self::Strip => of_strip(names, &strip::draw(input)?),
            Self::SmallRender => of_photo(names, &input.work.render),
            Self::SmallReference => of_photo(names, &input.work.reference),
        }
    }
}

/// The strip of all marks: it is made of many photos.
fn of_strip(names: (&'static str, &'static str), picture: &RgbImage) -> Result<DrawnFile, Error> {
    let (bytes, page) = rayon::join(|| encode_png(picture), || encode_patches_for_page(picture));
    Ok(DrawnFile::with_page(names, bytes?, page?))
}

/// A photo for the page's comparison, which has it larger where pages are looked at on a desk.
fn of_photo(names: (&'static str, &'static str), source: &RgbImage) -> Result<DrawnFile, Error> {
    let photo = reduce::fitted(source, 1, MOST_ON_PAGE);
    let (bytes, page) = rayon::join(|| encode_photo(&photo), || encode_for_page(&photo));
    Ok(DrawnFile::with_page(names, bytes?, page?))
}

/// All rasters must have the size of the working render.
fn check(work: &WorkImages) -> Result<(), Error> {
    let (width, height) = work.render.dimensions();
    if width == 0 || height == 0 {
        return Err(Error::EmptyPicture);
    }
    let (width, height) = (width as usize, height as usize);
    let (reference_width, reference_height) = work.reference.dimensions();
    let sizes = [
        (
            "the registered reference",
            (reference_height as usize, reference_width as usize),
        ),
        ("the common area", work.common.dim()),
        ("the render's edges", work.render_edges.dim()),
        ("the reference's edges", work.reference_edges.dim()),
        (
            "the distance from the render's edges",
            work.distance_to_render_edges.dim(),
        ),
        (
            "the distance from the reference's edges",
            work.distance_to_reference_edges.dim(),
        ),
    ];
    match sizes.into_iter().find(|(_, size)| *size != (height, width)) {
        None => Ok(()),
        Some((what, (found_height, found_width))) => Err(Error::DifferentSizes {
            what,
            found_width,
            found_height,
            width,
            height,
        }),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use synthetic::{Sample, Wish, foreign_name, long_name, plain_name};

    #[test]
    fn labels_of_the_difference_picture_neither_overlap_nor_leave_it() {
        for (size, name) in [
            ([1500, 1200], plain_name as fn(usize) -> String),
            ([2400, 900], long_name),
            ([500, 1400], foreign_name),
            ([200, 150], long_name),
        ] {
            for regions in [0, 1, 25] {
                let wish = Wish {
                    name,
                    ..Wish::new(size[0], size[1], regions)
                };
                let sample = Sample::new(wish);
                let (picture, places) = difference::tests::label_places(&sample.input(Paper::A4));
                let areas: Vec<_> = places.iter().flatten().map(|placed| placed.area).collect();
                assert!(
                    areas.len() >= regions.min(12),
                    "{} of {regions} at {size:?}",
                    areas.len()
                );
                for (i, area) in areas.iter().enumerate() {
                    assert!(picture.holds(*area), "{area:?} leaves {size:?}");
                    assert!(areas[..i].iter().all(|other| other.shared(*area) == 0.0));
                }
            }
        }
    }

    /// The texts of a sheet's title block that begin with one of these words.
    fn statements(sample: &Sample, beginnings: &[String]) -> Vec<bool> {
        let page = sheet::lay_out(&sample.input(Paper::A4), sheet::About::View);
        let texts: Vec<&String> = page
            .scene
            .shapes()
            .iter()
            .filter_map(|shape| match shape {
                scene::Shape::Text(line) => Some(&line.text),
                _ => None,
            })
            .collect();
        let has = |words: &String| texts.iter().any(|text| text.starts_with(words));
        beginnings.iter().map(has).collect()
    }

    #[test]
    fn a_long_sentence_on_sizes_hides_no_warning_of_a_sheet() {
        let mut sample = Sample::new(Wish::new(1500, 1000, 5));
        let figure = crate::statistics::Measured::plus_minus(0.0, 1.0).expect("finite");
        sample.measurement.sizes = Some(crate::measurement::SizeComparison {
            larger_percent: figure,
            turned_deg: figure,
            text: "the reference is as large as the render ".repeat(9),
            spans: Vec::new(),
        });
        let warn = |k: usize| crate::measurement::Warning {
            code: crate::warning::Code::DoubtfulLength,
            text: format!("Length {k} disagrees with the others ").repeat(5),
        };
        sample.measurement.warnings = (0..3).map(warn).collect();
        let mut wanted: Vec<String> = (0..3).map(|k| format!("Length {k}")).collect();
        wanted.push("the reference is".to_owned());
        assert_eq!(statements(&sample, &wanted), [true; 4]);
        // Of more than there is room for it says how many are left out.
        sample.measurement.warnings = (0..12).map(warn).collect();
        let more = (1..13).map(|n| format!("and {n} more on the next page"));
        let said = statements(&sample, &more.collect::<Vec<_>>());
        assert_eq!(said.iter().filter(|s| **s).count(), 1);
        // And there they are, each to its last word.
        let page = sheet::lay_out(&sample.input(Paper::A4), sheet::About::View);
        let words: Vec<&str> = (page.behind.iter().flat_map(|page| page.scene.shapes()))
            .filter_map(|shape| match shape {
                scene::Shape::Text(line) => Some(line.text.as_str()),
                _ => None,
            })
            .collect();
        let words = words.join(" ");
        for k in 0..12 {
            assert_eq!(words.matches(&format!("Length {k} disagrees")).count(), 5);
        }
    }

    #[test]
    fn a_sheet_on_which_all_has_room_has_no_page_behind_it() {
        let mut sample = Sample::new(Wish::new(1500, 1200, 2));
        sample.measurement.warnings.clear();
        assert!(
            sheet::lay_out(&sample.input(Paper::A3), sheet::About::View)
                .behind
                .is_empty()
        );
        let crowded = Sample::new(Wish::new(1500, 1200, 120));
        let pages = sheet::lay_out(&crowded.input(Paper::A4), sheet::About::View).behind;
        assert!(pages.len() > 1, "{}", pages.len());
    }

    #[test]
    fn the_sheet_of_a_distrusted_view_says_so_over_its_corrections() {
        let heads = [
            "Corrections in CAD",
            "Corrections not to be trusted yet: so",
        ]
        .map(String::from);
        let mut sample = Sample::new(Wish::new(1500, 1200, 5));
        assert_eq!(statements(&sample, &heads), [true, false]);
        sample.measurement.warnings[0].code = crate::warning::Code::ManyWrongMarks;
        assert_eq!(statements(&sample, &heads), [false, true]);
    }
}
