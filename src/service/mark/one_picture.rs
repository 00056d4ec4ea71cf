//! What the one picture of the page is made of: the reference laid over the render, and the render's edges over it.
use super::{desk::Desk, fit, laid::Laid};
use crate::{
    drawing,
    job::{self, Side, View},
    measurement, registration,
};
use serde_json::Value;
use std::{
    path::PathBuf,
    sync::{Arc, PoisonError},
};

/// Laid pictures of which tiles may be asked for: those of this state of the page, of the ones before, and of other views.
const MOST_LAID: usize = 8;

/// Why nothing is laid over the render: a stable code and the words.
type Why = (&'static str, String);

impl Desk {
    /// Lays the reference of a view over its render by the marks as they are saved.
    pub(super) fn lay(&self, view: usize) -> Result<Value, Why> {
        let (text, file) = {
            let document = self.document();
            (document.text(), document.file().to_owned())
        };
        let job = job::parse(text.as_bytes(), &file).map_err(|e| (e.code(), e.to_string()))?;
        let view = job.views.get(view).ok_or_else(no_view)?;
        let [render, reference] = self.sides(view)?;
        let size_of = |path| {
            let size = self.pictures.size(path);
            size.ok_or_else(|| ("no-image", "the images cannot be read".to_owned()))
        };
        let sizes = [size_of(&render)?, size_of(&reference)?];
        // As the residuals beside it are.
        let view = &fit::as_compared(view, self.pictures.at_hand(&render).as_deref());
        let laid_over = registration::lay_over(view, job.expected, sizes, None)
            .map_err(|e| (e.code(), e.to_string()))?;
        let stamps = [&render, &reference].map(|path| self.pictures.stamp_of(path));
        let laid = Laid::new(view, stamps, sizes[0], &laid_over.registered.registration);
        let about = laid.describe();
        let mut shelf = self.laid.lock().unwrap_or_else(PoisonError::into_inner);
        shelf.retain(|other| other.stamp != laid.stamp);
        if shelf.len() >= MOST_LAID {
            shelf.remove(0);
        }
        shelf.push(Arc::new(laid));
        Ok(about)
    }

    /// A tile of a reference that was laid over its render.
    pub(super) fn laid_tile(&self, stamp: &str, level: usize, place: [u32; 2]) -> Option<Vec<u8>> {
        let laid = {
            let shelf = self.laid.lock().unwrap_or_else(PoisonError::into_inner);
            Arc::clone(shelf.iter().find(|laid| laid.stamp == stamp)?)
        };
        let reference = self.pictures.read(&laid.reference).ok()?;
        laid.tile(&reference, level, place)
    }

    /// The edges of a view's render as PNG, clear beside them.
    pub(super) fn outline(&self, view: usize) -> Result<Vec<u8>, Why> {
        let render = self.image(view, Side::Render.name()).ok_or_else(no_view)?;
        let picture = self.pictures.read(&render);
        let picture = picture.map_err(|e| (e.code(), e.to_string()))?;
        let edges = measurement::render_edges(picture.picture());
        drawing::lines_png(&edges).map_err(|e| ("not-drawn", e.to_string()))
    }

    fn sides(&self, view: &View) -> Result<[PathBuf; 2], Why> {
        let render = view.image(Side::Render).ok_or_else(|| {
            let text = "the render is drawn: there is nothing to lay the reference over".to_owned();
            ("render-is-drawn", text)
        })?;
        Ok([render.to_owned(), view.reference.image.clone()])
    }
}

fn no_view() -> Why {
    (
        "not-found",
        "there is no such view, or it has no image".to_owned(),
    )
}
