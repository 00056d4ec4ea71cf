//! The addresses of the marking page; all but the one that opens it are for a browser with the cookie ([`door`]).
use super::{
    answers::{Shared, not_found, tile_of},
    carrying,
    desk::Desk,
    document::{Document, Keep, Refusal},
    door::{self, Door},
    edits::Edit,
    files_beside, fit, marked_on, model_routes, proposals,
    seen::Seen,
};
use crate::{
    contour,
    job::{self, Landmark, MarkOn, Side},
    measurement,
    pipeline::MarkedCopies,
    registration,
    service::{
        bodies::{Allowance, read_first},
        files,
        shell::{
            Body, Parts, answer, apart, harden, kind_of, only_local_pages, refusal, result_file,
        },
    },
};
use axum::{
    Router,
    extract::{DefaultBodyLimit, State},
    http::{StatusCode, header},
    middleware,
    response::{IntoResponse, Response},
    routing::{get, post},
};
use image::RgbImage;
use serde::Deserialize;
use serde_json::{Value, json};
use std::{
    io,
    net::SocketAddr,
    path::{Component, Path, PathBuf},
    sync::{Arc, MutexGuard, PoisonError},
    time::Duration,
};

/// Name, content and type of each file of the page.
const PAGE: &[(&str, &str, &str)] = &[
    (
        "page.css",
        include_str!("../page/page.css"),
        "text/css; charset=utf-8",
    ),
    ("main.js", include_str!("../page/main.js"), SCRIPT),
    ("server.js", include_str!("../page/server.js"), SCRIPT),
    ("actions.js", include_str!("../page/actions.js"), SCRIPT),
    ("pane.js", include_str!("../page/pane.js"), SCRIPT),
    ("tiles.js", include_str!("../page/tiles.js"), SCRIPT),
    ("drawing.js", include_str!("../page/drawing.js"), SCRIPT),
    ("panels.js", include_str!("../page/panels.js"), SCRIPT),
    ("laid.js", include_str!("../page/laid.js"), SCRIPT),
    ("model.js", include_str!("../page/model.js"), SCRIPT),
    ("marks.js", include_str!("../page/marks.js"), SCRIPT),
    ("offers.js", include_str!("../page/offers.js"), SCRIPT),
    ("over.js", include_str!("../page/over.js"), SCRIPT),
    ("photo.js", include_str!("../page/photo.js"), SCRIPT),
    ("paint.js", include_str!("../page/paint.js"), SCRIPT),
    ("strip.js", include_str!("../page/strip.js"), SCRIPT),
    ("views.js", include_str!("../page/views.js"), SCRIPT),
    ("results.js", include_str!("../page/results.js"), SCRIPT),
];
const SCRIPT: &str = "text/javascript; charset=utf-8";
const INDEX: &str = include_str!("../page/index.html");
/// The page loads nothing from elsewhere and is shown in no other page.
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; form-action 'none'; base-uri 'none'; frame-ancestors 'none'";
/// Largest change, bytes: an outline of a thousand corners is far below. Four of them are in memory at a time, at most.
const MOST_BODY: usize = 4 << 20;
/// Longest time for a change to arrive.
const BODY_TIME: Duration = Duration::from_secs(30);

/// All addresses.
pub(super) fn router(desk: Arc<Desk>, door: Arc<Door>, address: SocketAddr) -> Router {
    let bodies = Allowance::new(MOST_BODY, 4 * MOST_BODY, BODY_TIME);
    let index = || async { text(INDEX, "text/html; charset=utf-8") };
    let page = Router::new()
        .route("/", get(index))
        .route("/page/{name}", get(page_file))
        .route("/api/state", get(state))
        .route("/api/revision", get(revision))
        .route("/api/change", post(change))
        .route("/api/undo", post(undo))
        .route("/api/redo", post(redo))
        .route("/api/decide", post(decide))
        .route("/api/carry", post(carry))
        .route("/api/patch/{view}/{name}/{when}", get(patch))
        .route("/api/proposals/{view}", get(proposals))
        .route("/api/picture/{view}/{side}", get(picture))
        .route("/api/tile/{stamp}/{level}/{column}/{row}", get(tile))
        .route("/api/laid/{view}", get(laid))
        .route("/api/laid/{stamp}/{level}/{column}/{row}", get(laid_tile))
        .route("/api/outline/{view}", get(outline))
        .route("/api/model", get(model_routes::model))
        .route(
            "/api/model/{stamp}/{turn}/{level}/{column}/{row}",
            get(model_routes::tile),
        )
        .route("/api/pick", post(model_routes::pick))
        .route("/api/seen", post(model_routes::seen))
        .route("/api/lines/{view}", get(model_routes::lines))
        .route("/api/images", get(images))
        .route("/api/refine", post(refine))
        .route("/api/compare", post(compare).get(comparison))
        .route("/results/{*path}", get(result))
        .layer(DefaultBodyLimit::max(MOST_BODY))
        .route_layer(middleware::from_fn_with_state(bodies, read_first))
        .layer(middleware::from_fn_with_state(
            Arc::clone(&door),
            door::only_with_cookie,
        ))
        .with_state(desk);
    Router::new()
        .route("/open/{code}", get(door::open))
        .with_state(door)
        .merge(page)
        .fallback(|| async {
            refusal(
                StatusCode::NOT_FOUND,
                "not-found",
                "there is nothing at this address; the page is at /",
            )
        })
        .layer(middleware::from_fn_with_state(address, only_local_pages))
        .layer(middleware::map_response(harden))
}

fn text(content: &'static str, kind: &'static str) -> Response {
    let headers = [
        (header::CONTENT_TYPE, kind),
        (header::CONTENT_SECURITY_POLICY, POLICY),
    ];
    (headers, content).into_response()
}

async fn page_file(Parts(name): Parts<String>) -> Response {
    match PAGE.iter().find(|(own, ..)| *own == name) {
        Some((_, content, kind)) => text(content, kind),
        None => not_found(),
    }
}

impl Desk {
    pub(super) fn document(&self) -> MutexGuard<'_, Document> {
        self.document.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Keeps a copy of each image that is as it was marked: its marks are carried over from there when it is written over.
    pub(super) fn keep_marked(&self) {
        self.keep_marked_of(&self.document());
    }

    /// The same where the document is at hand. What cannot be kept is told when it is missed.
    fn keep_marked_of(&self, document: &Document) {
        let mut kept = self.kept.lock().unwrap_or_else(PoisonError::into_inner);
        // After each click: as a rule all are kept, and the job need not be read for that.
        if marked_on::checksums(document.job()).all(|checksum| kept.contains(checksum)) {
            return;
        }
        let Ok(job) = job::parse(document.text().as_bytes(), document.file()) else {
            return;
        };
        let copies = MarkedCopies::of(document.file());
        for view in &job.views {
            for side in Side::BOTH {
                let (Some(content), Some(image)) = (view.marked_on(side), view.image(side)) else {
                    continue;
                };
                let is_marked = self.pictures.content(image).as_ref() == Some(content);
                if is_marked && kept.insert(content.blake3.clone()) {
                    let _ = copies.keep(image, content);
                }
            }
        }
    }

    /// All that the page shows.
    fn describe(&self, document: &Document) -> Value {
        let seen = |job: &job::Job, view: &job::View| Seen {
            model: (job.model.as_ref()).and_then(|source| self.models.at_hand(source)),
            sizes: Side::BOTH.map(|side| self.pictures.size(view.image(side)?)),
            // Where nothing is stated nothing is compared, and no file is read.
            contents: Side::BOTH.map(|side| {
                view.marked_on(side)
                    .and_then(|_| self.pictures.content(view.image(side)?))
            }),
            render: view
                .image(Side::Render)
                .and_then(|path| self.pictures.at_hand(path)),
        };
        let known = (&seen as _, &self.fits);
        let fit = fit::job_fit(document.job(), document.file(), document.draft(), known);
        json!({
            "revision": document.revision(),
            "file": document.file(),
            "job": document.job(),
            "draft": document.draft(),
            "steps": document.steps(),
            "trouble": document.look().err().map(|refusal| trouble(&refusal)),
            "fit": fit,
        })
    }

    /// Where a carried mark lies, on the copy of what was marked or on the image of now.
    fn carried_place(&self, view: usize, name: &str, before: bool) -> Option<(PathBuf, [f64; 2])> {
        let document = self.document();
        let of_view = document.job()["views"].get(view)?;
        let carried = &document.draft()[of_view["name"].as_str()?]["carried"];
        let side = carried["side"].as_str()?;
        let named = |list: &Value| -> Option<Value> {
            let mut all = list.as_array()?.iter();
            all.find(|mark| mark["name"] == name).cloned()
        };
        let point = |value: &Value| Some([value[0].as_f64()?, value[1].as_f64()?]);
        if !before {
            let mark = named(&of_view["landmarks"])?;
            let file = marked_on::named(of_view[side].as_object()?)?;
            let file = document.file().parent()?.join(file);
            return Some((file, point(&mark[side])?));
        }
        let mark = named(&carried["marks"])?;
        let size = carried["marked_on"]["size"].as_array()?;
        let length = |k: usize| u32::try_from(size.get(k)?.as_u64()?).ok();
        let marked = job::MarkedOn {
            size: [length(0)?, length(1)?],
            blake3: carried["marked_on"]["blake3"].as_str()?.to_owned(),
        };
        let copy = MarkedCopies::of(document.file()).find(&marked)?;
        Some((copy, point(&mark["from"])?))
    }

    /// The file of a view's image, also where the job has other faults.
    pub(super) fn image(&self, view: usize, side: &str) -> Option<PathBuf> {
        let document = self.document();
        let image = document.job()["views"].get(view)?.get(side)?;
        let image = marked_on::named(image.as_object()?)?;
        Some(document.file().parent()?.join(image))
    }

    /// The state of the page after a change, or why it was not made (with the state as it is).
    fn answer(&self, document: &Document, result: Result<(), Refusal>) -> Response {
        match result {
            Ok(()) => answer(StatusCode::OK, &self.describe(document)),
            Err(refusal) => {
                let status = match refusal {
                    Refusal::NotSaved { .. } => StatusCode::INSUFFICIENT_STORAGE,
                    Refusal::Faulty { .. } | Refusal::NotUsable { .. } | Refusal::NotCarried(_) => {
                        StatusCode::UNPROCESSABLE_ENTITY
                    }
                    _ => StatusCode::CONFLICT,
                };
                let body = json!({ "error": trouble(&refusal), "state": self.describe(document) });
                answer(status, &body)
            }
        }
    }
}

fn trouble(refusal: &Refusal) -> Value {
    json!({ "code": refusal.code(), "text": refusal.to_string() })
}

/// Runs work with the document and answers with the page's state.
async fn with_document(
    desk: Arc<Desk>,
    work: impl FnOnce(&mut Document) -> Result<(), Refusal> + Send + 'static,
) -> Response {
    let done = apart(move || {
        let mut document = desk.document();
        let result = work(&mut document);
        desk.answer(&document, result)
    });
    done.await.unwrap_or_else(IntoResponse::into_response)
}

async fn state(State(desk): Shared) -> Response {
    with_document(desk, |_| Ok(())).await
}

async fn revision(State(desk): Shared) -> Response {
    let done = apart(move || {
        let document = desk.document();
        let trouble = document.look().err().map(|refusal| trouble(&refusal));
        let body = json!({ "revision": document.revision(), "trouble": trouble });
        answer(StatusCode::OK, &body)
    });
    done.await.unwrap_or_else(IntoResponse::into_response)
}

#[derive(Deserialize)]
struct Change {
    base: String,
    label: String,
    edits: Vec<Edit>,
}

async fn change(State(desk): Shared, Body(change): Body<Change>) -> Response {
    let pictures = Arc::clone(&desk);
    with_document(desk, move |document| {
        let folder = document
            .file()
            .parent()
            .map_or_else(PathBuf::new, PathBuf::from);
        let content_of = |path: &Path| pictures.pictures.content(path);
        let note = |before: &Value, after: &mut Value| {
            marked_on::note(before, after, &folder, &content_of);
        };
        document.change(&change.base, &change.label, &change.edits, &note)?;
        pictures.keep_marked_of(document);
        Ok(())
    })
    .await
}

#[derive(Deserialize)]
struct Carry {
    base: String,
    view: String,
    side: String,
}

/// Carries the marks of a view over to an image that has changed since it was marked: one step, that can be undone.
async fn carry(State(desk): Shared, Body(asked): Body<Carry>) -> Response {
    let own = Arc::clone(&desk);
    with_document(desk, move |document| {
        let side = match asked.side.as_str() {
            "reference" => Side::Reference,
            _ => Side::Render,
        };
        let (label, edits) = carrying::step(document, &asked.view, side)?;
        document.change(&asked.base, &label, &edits, &|_, _| ())?;
        own.keep_marked_of(document);
        Ok(())
    })
    .await
}

/// What surrounds a carried mark, on the picture on which it was set ("before") or the one of now.
async fn patch(
    State(desk): Shared,
    Parts((view, name, when)): Parts<(usize, String, String)>,
) -> Response {
    let done = apart(move || {
        let Some((path, at)) = desk.carried_place(view, &name, when == "before") else {
            return not_found();
        };
        match desk.pictures.patch(&path, at) {
            Some(bytes) => ([(header::CONTENT_TYPE, "image/jpeg")], bytes).into_response(),
            None => not_found(),
        }
    });
    done.await.unwrap_or_else(IntoResponse::into_response)
}

#[derive(Deserialize)]
struct Base {
    base: String,
}

async fn undo(State(desk): Shared, Body(Base { base }): Body<Base>) -> Response {
    with_document(desk, move |document| document.undo(&base)).await
}

async fn redo(State(desk): Shared, Body(Base { base }): Body<Base>) -> Response {
    with_document(desk, move |document| document.redo(&base)).await
}

#[derive(Deserialize)]
struct Decision {
    keep: Keep,
}

async fn decide(State(desk): Shared, Body(Decision { keep }): Body<Decision>) -> Response {
    with_document(desk, move |document| {
        if let Err(Refusal::TwoPrograms { .. }) = document.look() {
            // The other program's steps are part of the journal by now.
            *document = Document::open(document.file())?;
            return Ok(());
        }
        document.decide(keep)
    })
    .await
}

async fn picture(State(desk): Shared, Parts((view, side)): Parts<(usize, String)>) -> Response {
    let done = apart(move || {
        let Some(path) = desk.image(view, &side) else {
            return not_found();
        };
        match desk.pictures.describe(&path) {
            Ok(mut about) => {
                about["file"] = Value::from(path.file_name().map(|name| name.to_string_lossy()));
                answer(StatusCode::OK, &about)
            }
            Err(error) => refusal(
                StatusCode::UNPROCESSABLE_ENTITY,
                error.code(),
                &error.to_string(),
            ),
        }
    });
    done.await.unwrap_or_else(IntoResponse::into_response)
}

/// Landmarks that might be marked next in a view.
async fn proposals(State(desk): Shared, Parts(view): Parts<usize>) -> Response {
    let done = apart(move || {
        let now = proposals::Now::of(&desk.document());
        match proposals::of_view(&desk, now, view) {
            Some(proposals) => answer(StatusCode::OK, &json!(proposals)),
            None => not_found(),
        }
    });
    done.await.unwrap_or_else(IntoResponse::into_response)
}

/// Level, column and row of a tile of the picture with this stamp.
type Tile = (String, usize, u32, u32);

async fn tile(State(desk): Shared, Parts((stamp, level, column, row)): Parts<Tile>) -> Response {
    let done = apart(move || tile_of(desk.pictures.tile(&stamp, level, column, row)));
    done.await.unwrap_or_else(IntoResponse::into_response)
}

/// What there is to know of the reference laid over the render.
async fn laid(State(desk): Shared, Parts(view): Parts<usize>) -> Response {
    let done = apart(move || match desk.lay(view) {
        Ok(about) => answer(StatusCode::OK, &about),
        Err((code, text)) => refusal(StatusCode::UNPROCESSABLE_ENTITY, code, &text),
    });
    done.await.unwrap_or_else(IntoResponse::into_response)
}

async fn laid_tile(
    State(desk): Shared,
    Parts((stamp, level, column, row)): Parts<Tile>,
) -> Response {
    let done = apart(move || tile_of(desk.laid_tile(&stamp, level, [column, row])));
    done.await.unwrap_or_else(IntoResponse::into_response)
}

async fn outline(State(desk): Shared, Parts(view): Parts<usize>) -> Response {
    let done = apart(move || match desk.outline(view) {
        Ok(bytes) => ([(header::CONTENT_TYPE, "image/png")], bytes).into_response(),
        Err((code, text)) => refusal(StatusCode::UNPROCESSABLE_ENTITY, code, &text),
    });
    done.await.unwrap_or_else(IntoResponse::into_response)
}

/// The image files beside the job file, to choose from.
async fn images(State(desk): Shared) -> Response {
    let done = apart(move || {
        let folder = desk.document().file().parent().map(Path::to_owned);
        let images = folder.map(|folder| files_beside::images(&folder));
        answer(
            StatusCode::OK,
            &json!({ "images": images.unwrap_or_default() }),
        )
    });
    done.await.unwrap_or_else(IntoResponse::into_response)
}

#[derive(Deserialize)]
struct Refinement {
    view: String,
    landmark: String,
}

async fn refine(State(desk): Shared, Body(asked): Body<Refinement>) -> Response {
    let done = apart(move || match offer(&desk, &asked) {
        Ok(offer) => answer(StatusCode::OK, &offer),
        Err((code, text)) => refusal(StatusCode::UNPROCESSABLE_ENTITY, code, &text),
    });
    done.await.unwrap_or_else(IntoResponse::into_response)
}

/// A sharper place for the reference mark of a pair.
fn offer(desk: &Desk, asked: &Refinement) -> Result<Value, (&'static str, String)> {
    let (text, file) = {
        let document = desk.document();
        (document.text(), document.file().to_owned())
    };
    let job = job::parse(text.as_bytes(), &file).map_err(|e| (e.code(), e.to_string()))?;
    let missing = || {
        (
            "not-found",
            format!("there is no landmark \"{}\"", asked.landmark),
        )
    };
    let view = job
        .views
        .iter()
        .find(|v| v.name == asked.view)
        .ok_or_else(missing)?;
    let landmark = view.landmarks.iter().find(|l| l.name == asked.landmark);
    let landmark = landmark.ok_or_else(missing)?;
    let image = view.render.image.file().ok_or_else(|| {
        let text = "the render is drawn: there is nothing in it to compare with".to_owned();
        ("render-is-drawn", text)
    })?;
    let both = desk.pictures.both([image, &view.reference.image]);
    let [render, reference] = both.map_err(|e| (e.code(), e.to_string()))?;
    if landmark.on == Some(MarkOn::Centre) {
        return centres(landmark, [render.picture(), reference.picture()]);
    }
    let refused = |e: registration::Error| (e.code(), e.to_string());
    let sizes = [&render, &reference].map(|image| image.picture().dimensions());
    let laid_over = registration::lay_over(view, job.expected, sizes, None).map_err(refused)?;
    let refined = measurement::refine(
        render.picture(),
        reference.picture(),
        &laid_over.registered.registration.render_from_reference,
        landmark.render,
        landmark.reference,
    )
    .map_err(|e| (e.code(), e.to_string()))?;
    Ok(json!({
        "reference": refined.reference.xy(),
        "moved_px": refined.moved_px,
        "correlation": refined.correlation,
    }))
}

/// The middles of the round thing that both marks of a landmark are set in.
fn centres(
    landmark: &Landmark,
    [render, reference]: [&RgbImage; 2],
) -> Result<Value, (&'static str, String)> {
    let middle = |image: &RgbImage, mark: [f64; 2], name: &str| {
        let found = contour::round_at(image, mark).ok_or_else(|| {
            let text = format!(
                "the {name} shows no round thing around the mark, up to 40 px from it; keep the mark as it is"
            );
            ("not-round", text)
        })?;
        let moved_px = (found.centre[0] - mark[0]).hypot(found.centre[1] - mark[1]);
        Ok((found.centre, moved_px))
    };
    let (in_render, moved) = middle(render, landmark.render.xy(), "render")?;
    let (in_reference, moved_too) = middle(reference, landmark.reference.xy(), "reference")?;
    Ok(json!({
        "render": in_render,
        "reference": in_reference,
        "moved_px": [moved, moved_too],
    }))
}

async fn compare(State(desk): Shared) -> Response {
    let file = desk.document().file().to_owned();
    desk.comparison.start(&file, &desk.options);
    comparison(State(desk)).await
}

async fn comparison(State(desk): Shared) -> Response {
    answer(StatusCode::OK, &desk.comparison.describe(&desk.options.out))
}

async fn result(State(desk): Shared, Parts(path): Parts<String>) -> Response {
    let done = apart(move || {
        let path = PathBuf::from(path);
        let is_plain = path.components().all(|c| matches!(c, Component::Normal(_)));
        let kind = path.extension().and_then(|e| e.to_str()).and_then(kind_of);
        let (true, Some(kind)) = (is_plain, kind) else {
            return not_found();
        };
        job::open_input(&desk.options.out.join(path), u64::MAX)
            .map_err(io::Error::from)
            .and_then(|file| files::answer(file.into_file(), kind))
            .map(|answer| result_file(kind, answer))
            .unwrap_or_else(|_| not_found())
    });
    done.await.unwrap_or_else(IntoResponse::into_response)
}
