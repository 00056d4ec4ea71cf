//! The addresses of the marking page that are about the job's mesh: its turntable, places under a click, its lines over a photo.
use super::{
    answers::{Shared, tile_of},
    camera,
    desk::Desk,
    model::Why,
};
use crate::{
    drawn,
    job::{Job, Side},
    meshes::{FeatureKind, Projection, Sight},
    service::shell::{Body, Parts, answer, apart, refusal},
};
use axum::{
    extract::State,
    http::StatusCode,
    response::{IntoResponse, Response},
};
use serde::Deserialize;
use serde_json::{Value, json};

/// Runs work apart and answers with what comes of it, or why nothing does.
async fn answered(work: impl FnOnce() -> Result<Value, Why> + Send + 'static) -> Response {
    let done = apart(move || match work() {
        Ok(body) => answer(StatusCode::OK, &body),
        Err((code, text)) => refusal(StatusCode::UNPROCESSABLE_ENTITY, code, &text),
    });
    done.await.unwrap_or_else(IntoResponse::into_response)
}

/// What there is to know of the mesh; it is read for that.
pub(super) async fn model(State(desk): Shared) -> Response {
    answered(move || {
        let job = desk.job()?;
        let source = job.model.as_ref().ok_or_else(no_model)?;
        Ok(desk.models.read(source)?.describe())
    })
    .await
}

/// Stamp of the mesh, direction, level, column and row.
type TurnedTile = (String, String, usize, u32, u32);

/// One tile of the model on its turntable.
pub(super) async fn tile(
    State(desk): Shared,
    Parts((stamp, turn, level, column, row)): Parts<TurnedTile>,
) -> Response {
    let done = apart(move || {
        // Given back meanwhile, it is read again.
        if !desk.models.holds(&stamp) {
            let job = desk.job();
            let source = job.as_ref().ok().and_then(|job| job.model.as_ref());
            let _ = source.map(|source| desk.models.read(source));
        }
        tile_of(desk.models.tile((&stamp, &turn), level, [column, row]))
    });
    done.await.unwrap_or_else(IntoResponse::into_response)
}

/// A click on a picture of the model.
#[derive(Deserialize)]
pub(super) struct Click {
    /// The direction of the turntable that was clicked; left out: the render of `view`.
    turn: Option<String>,
    view: usize,
    /// Pixels of that picture.
    at: [f64; 2],
    /// Pixels of the screen for one of the picture.
    zoom: f64,
    /// The surface itself is meant, whatever corner is near.
    #[serde(default)]
    plain: bool,
}

/// The place on the model that a click means.
pub(super) async fn pick(State(desk): Shared, Body(click): Body<Click>) -> Response {
    answered(move || picked(&desk, &click)).await
}

fn picked(desk: &Desk, click: &Click) -> Result<Value, Why> {
    let job = desk.job()?;
    let source = job.model.as_ref().ok_or_else(no_model)?;
    let model = desk.models.read(source)?;
    let projection = match &click.turn {
        Some(turn) => model.turned(turn).ok_or_else(no_direction)?,
        None => {
            let rows = render_camera(desk, &job, click.view)?;
            Projection::new(rows, model.model()).map_err(|e| (e.code(), e.to_string()))?
        }
    };
    let picked = model.pick(&projection, (click.at, click.zoom, !click.plain));
    let picked = picked.ok_or_else(|| {
        let text = "nothing of the model is there: click on it, or on its outline".to_owned();
        ("beside-the-model", text)
    })?;
    Ok(json!({
        "place": picked.place,
        "part": picked.part,
        "kind": match picked.kind {
            FeatureKind::Corner => "corner",
            FeatureKind::Middle => "middle",
            FeatureKind::Edge => "edge",
            FeatureKind::Surface => "surface",
        },
    }))
}

/// Places of marks, looked at from a direction of the turntable.
#[derive(Deserialize)]
pub(super) struct Looked {
    turn: String,
    /// Model millimetres.
    places: Vec<[f64; 3]>,
}

/// Which places on the model are seen from a direction, and which it hides itself.
pub(super) async fn seen(State(desk): Shared, Body(looked): Body<Looked>) -> Response {
    answered(move || {
        let job = desk.job()?;
        let source = job.model.as_ref().ok_or_else(no_model)?;
        let model = desk.models.read(source)?;
        let projection = model.turned(&looked.turn).ok_or_else(no_direction)?;
        let sight = Sight::new(model.model(), &projection);
        Ok(json!({ "seen": sight.are_seen(&looked.places) }))
    })
    .await
}

/// The camera of a view's rendered image.
fn render_camera(desk: &Desk, job: &Job, view: usize) -> Result<[[f64; 4]; 3], Why> {
    let view = job.views.get(view).ok_or_else(no_view)?;
    let image = view.image(Side::Render).ok_or_else(no_view)?;
    let size = desk.pictures.size(image).ok_or_else(|| {
        let text = "the render cannot be read".to_owned();
        ("no-image", text)
    })?;
    camera::of_render(view, size).ok_or_else(|| {
        let text = "nothing tells the camera of the render: state its \"camera\", or choose places on the drawn model".to_owned();
        ("no-camera", text)
    })
}

/// The visible lines of the model as the photo's camera shows them, as the path of a drawing in pixels of the photo.
pub(super) async fn lines(State(desk): Shared, Parts(view): Parts<usize>) -> Response {
    answered(move || {
        let job = desk.job()?;
        let source = job.model.as_ref().ok_or_else(no_model)?;
        let view = job.views.get(view).ok_or_else(no_view)?;
        let size = desk
            .pictures
            .size(&view.reference.image)
            .ok_or_else(no_view)?;
        let solved = camera::of_photo(view, size).map_err(|e| (e.code(), e.to_string()))?;
        let model = desk.models.read(source)?;
        let lines = drawn::lines_over(&solved.found, model.mesh());
        let lines = lines.map_err(|e| (e.code(), e.to_string()))?;
        Ok(json!({ "path": path(&lines) }))
    })
    .await
}

/// Lines as the commands of an SVG path, in tenths of pixels.
fn path(lines: &[Vec<[f64; 2]>]) -> String {
    let mut path = String::new();
    for line in lines {
        for (k, [x, y]) in line.iter().enumerate() {
            let command = if k == 0 { 'M' } else { 'L' };
            path += &format!("{command}{x:.1} {y:.1}");
        }
    }
    path
}

fn no_direction() -> Why {
    let text = "the model is not seen from there: azimuth 0 to 3599 and elevation -900 to 900 tenths of a degree are";
    ("no-direction", text.to_owned())
}

fn no_model() -> Why {
    let text = "the job names no mesh of its model; name it in \"model\"".to_owned();
    ("no-model", text)
}

fn no_view() -> Why {
    (
        "not-found",
        "there is no such view, or it has no image".to_owned(),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_are_one_path() {
        let lines = [
            vec![[0.0, 1.26], [10.0, -1.0]],
            vec![[5.0, 5.0], [6.0, 6.0], [7.04, 5.0]],
        ];
        assert_eq!(path(&lines), "M0.0 1.3L10.0 -1.0M5.0 5.0L6.0 6.0L7.0 5.0");
        assert_eq!(path(&[]), "");
    }
}
