//! A PDF as the crate `hayro` reads and draws it. Only the process of `serve.rs` may come here: the crate bounds neither its time nor its
//! memory.
use super::{
    request::{Note, Refusal},
    settings::PLAN,
};
use crate::drawing::Font;
use hayro::{
    RenderCache, RenderSettings,
    hayro_interpret::{
        InterpreterSettings, InterpreterWarning, RenderContent, TransformExt,
        font::{FontQuery, StandardFont},
    },
    hayro_syntax::{
        DecryptionError, LoadPdfError, Pdf,
        page::{Page, Rotation},
    },
    kurbo::Affine,
    render_into,
    vello_cpu::{
        Pixmap, RasterizerSettings, RenderContext, Resources, TargetInit,
        color::palette::css::WHITE,
    },
};
use std::{
    collections::BTreeSet,
    sync::{Arc, Mutex, PoisonError},
};

/// A document.
pub(super) struct Document(Pdf);

/// A page in pixels.
pub(super) struct Drawn {
    pub pixels: Pixmap,
    pub notes: BTreeSet<Note>,
}

impl Document {
    /// Reads what a document says of its pages.
    pub fn read(bytes: Vec<u8>) -> Result<Self, Refusal> {
        Pdf::new(bytes).map(Self).map_err(|error| match error {
            LoadPdfError::Decryption(DecryptionError::PasswordProtected) => Refusal::Password,
            LoadPdfError::Decryption(_) => Refusal::Encryption,
            LoadPdfError::Invalid => Refusal::Broken,
        })
    }

    /// How many pages it has.
    pub fn count(&self) -> usize {
        self.0.pages().len()
    }

    /// Width and height of a page as it is seen, points of 1/72 in: what its crop box shows, turned as the page says; 0 where
    /// that has no area.
    pub fn size(&self, index: usize) -> Option<[f64; 2]> {
        let page = self.0.pages().get(index)?;
        let shown = page.intersected_crop_box();
        let unit = user_unit(page);
        let sides = [shown.width(), shown.height()].map(|side| side * unit);
        if !sides
            .iter()
            .all(|side| *side >= PLAN.least_side.get() && side.is_finite())
        {
            return Some([0.0; 2]);
        }
        Some(match page.rotation() {
            Rotation::None | Rotation::Flipped => sides,
            Rotation::Horizontal | Rotation::FlippedHorizontal => [sides[1], sides[0]],
        })
    }

    /// Draws a page on white: one point is `dpi` / 72 pixels long, the upper left corner of what is seen lies at (0, 0).
    pub fn draw(&self, index: usize, dpi: f64, [width, height]: [u16; 2]) -> Option<Drawn> {
        let page = self.0.pages().get(index)?;
        let notes = Arc::new(Mutex::new(BTreeSet::new()));
        let scale = Affine::scale(dpi / 72.0 * user_unit(page));
        let mut scene = RenderContext::new(width, height);
        render_into(
            page,
            &RenderCache::new(),
            &interpreter(&notes),
            // Letters and pictures stay where the plan has them: nothing is moved to whole pixels or taken by the nearest one.
            &RenderSettings {
                force_image_interpolation: true,
                aliasing_threshold: None,
                hinting: false,
                glyph_caching: false,
            },
            &mut scene,
            scale * page.initial_transform(true).to_kurbo(),
        );
        scene.flush();
        let mut pixels = Pixmap::new(width, height);
        let on_white = RasterizerSettings {
            target_init: TargetInit::Clear(WHITE),
            ..RasterizerSettings::default()
        };
        scene.render_with(&mut pixels, &mut Resources::default(), on_white);
        let mut notes = std::mem::take(&mut *notes.lock().unwrap_or_else(PoisonError::into_inner));
        if pixels.data_as_u8_slice().iter().all(|value| *value == 255) {
            notes.insert(Note::Blank);
        }
        Some(Drawn { pixels, notes })
    }
}

/// How many points a unit of the page is long.
///
/// # Source
/// ISO 32000-1, table 30: `UserUnit`, 1 unless it is stated.
fn user_unit(page: &Page<'_>) -> f64 {
    let stated = page.raw().get::<f32>("UserUnit").map(f64::from);
    stated
        .filter(|unit| unit.is_finite() && *unit > 0.0)
        .unwrap_or(1.0)
}

/// Fonts are the document's own or the embedded ones, so that nothing depends on the machine; what is left out is noted.
fn interpreter(notes: &Arc<Mutex<BTreeSet<Note>>>) -> InterpreterSettings {
    let note = |notes: &Mutex<BTreeSet<Note>>, note| {
        notes
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .insert(note);
    };
    let (of_fonts, of_warnings) = (notes.clone(), notes.clone());
    InterpreterSettings {
        font_resolver: Arc::new(move |query| {
            note(&of_fonts, Note::FontsReplaced);
            Some((Arc::new(face(query).bytes()), 0))
        }),
        cmap_resolver: Arc::new(|_| None),
        warning_sink: Arc::new(move |warning| {
            let left_out = match warning {
                InterpreterWarning::UnsupportedFont => Note::FontsLeftOut,
                InterpreterWarning::ImageDecodeFailure => Note::ImagesLeftOut,
                _ => Note::AnnotationsLeftOut,
            };
            note(&of_warnings, left_out);
        }),
        render_content: RenderContent::all(),
    }
}

fn face(query: &FontQuery) -> Font {
    use StandardFont::*;
    let nearest = match query {
        FontQuery::Standard(font) => *font,
        FontQuery::Fallback(query) => query.pick_standard_font(),
    };
    match nearest {
        Courier | CourierBold | CourierOblique | CourierBoldOblique => Font::Mono,
        HelveticaBold | HelveticaBoldOblique | TimesBold | TimesBoldItalic => Font::Bold,
        Helvetica | HelveticaOblique | TimesRoman | TimesItalic | ZapfDingBats | Symbol => {
            Font::Regular
        }
    }
}
