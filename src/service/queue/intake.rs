//! Taking a job in: its files come as one multipart body, or it is named by its path below the served folder.
use super::{
    Desk, confined,
    registry::now,
    store::{Incoming, State, Status},
};
use crate::{
    job,
    service::{
        bodies::{self, Inflow},
        shell::{Refused, answer, apart, refusal},
    },
};
use axum::{
    extract::{
        FromRequest, Multipart, Request, State as Shared,
        multipart::{Field, MultipartError},
    },
    http::{HeaderValue, StatusCode, header},
    response::{IntoResponse, Response},
};
use serde::Deserialize;
use serde_json::Map;
use std::{io, path::Path, sync::Arc};
use tokio::{fs, io::AsyncWriteExt};

/// Files of one job, at most.
const MOST_FILES: usize = 64;
/// Largest body that names a job, bytes: a path has some hundred.
const MOST_NAMING: usize = 64 << 10;
/// Seconds after which a client that was sent away may try again.
const RETRY_AFTER: &str = "5";
/// Of a body that is refused unread, so much is read nevertheless, so that the client hears why.
const DRAINED: usize = 1 << 20;

/// `POST /jobs`.
pub(super) async fn post_job(Shared(desk): Shared<Desk>, request: Request) -> Response {
    // Before the body is read: a full queue must cost nothing.
    let Ok(place) = Arc::clone(&desk.places).try_acquire_owned() else {
        let _ = axum::body::to_bytes(request.into_body(), DRAINED).await;
        let mut full = refusal(
            StatusCode::TOO_MANY_REQUESTS,
            "queue-full",
            "as many jobs wait as are allowed; try again later",
        );
        let headers = full.headers_mut();
        headers.insert(header::RETRY_AFTER, HeaderValue::from_static(RETRY_AFTER));
        return full;
    };
    let limit = desk.registry.options().limits.body_time;
    let taken = tokio::time::timeout(limit, take(&desk, request)).await;
    let status = match taken {
        Ok(Ok(status)) => status,
        Ok(Err(refused)) => return refused.into_response(),
        Err(_) => return bodies::too_slow().into_response(),
    };
    desk.registry.add(status.clone());
    if desk.turns.send((status.id.clone(), place)).is_err() {
        return internal(&io::Error::other("the worker has ended")).into_response();
    }
    let mut accepted = answer(StatusCode::ACCEPTED, &serde_json::json!(status));
    if let Ok(place) = HeaderValue::from_str(&format!("/jobs/{}", status.id)) {
        accepted.headers_mut().insert(header::LOCATION, place);
    }
    accepted
}

/// The job on the disk, waiting.
async fn take(desk: &Desk, request: Request) -> Result<Status, Refused> {
    let kind = request.headers().get(header::CONTENT_TYPE);
    let kind = kind.and_then(|kind| kind.to_str().ok()).unwrap_or("");
    let is = |name: &str| {
        kind.split(';')
            .next()
            .is_some_and(|k| k.trim().eq_ignore_ascii_case(name))
    };
    if is("multipart/form-data") {
        take_files(desk, request).await
    } else if is("application/json") {
        take_path(desk, request).await
    } else {
        Err(Refused::new(
            StatusCode::UNSUPPORTED_MEDIA_TYPE,
            "unknown-body",
            "post multipart/form-data (the job as \"job\", its images as files), or application/json with a \"path\"",
        ))
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Named {
    path: String,
}

async fn take_path(desk: &Desk, request: Request) -> Result<Status, Refused> {
    let inflow = Inflow::new(request.into_body(), MOST_NAMING);
    let named: Named = serde_json::from_slice(&inflow.whole().await?).map_err(|error| {
        bad(
            "bad-body",
            &format!("the body is not as described: {error}"),
        )
    })?;
    let (registry, path) = (Arc::clone(&desk.registry), named.path);
    let _one = desk.reading.lock().await;
    apart(move || {
        let file = confined::file(registry.root(), &path).map_err(|e| refused(&e))?;
        let job = confined::read_job(registry.root(), &file).map_err(|e| refused(&e))?;
        let incoming = registry.store().incoming().map_err(|e| internal(&e))?;
        let status = waiting(&incoming, job.title, Some(path));
        registry
            .store()
            .admit(incoming, &status)
            .map_err(|e| internal(&e))?;
        Ok(status)
    })
    .await?
}

async fn take_files(desk: &Desk, request: Request) -> Result<Status, Refused> {
    let (head, body) = request.into_parts();
    let inflow = Inflow::new(body, desk.registry.options().limits.body);
    let request = Request::from_parts(head, inflow.pieces());
    let mut body = Multipart::from_request(request, &())
        .await
        .map_err(|error| Refused::new(error.status(), "bad-body", &error.body_text()))?;
    let incoming = desk.registry.store().incoming().map_err(|e| internal(&e))?;
    let mut files = 0;
    while let Some(field) = (body.next_field().await).map_err(|e| broken(&inflow, &e))? {
        inflow.handed_on();
        files += 1;
        if files > MOST_FILES {
            return Err(bad("too-many-files", "a job has at most 64 files"));
        }
        take_file(desk, &inflow, &incoming, field).await?;
    }
    let registry = Arc::clone(&desk.registry);
    let _one = desk.reading.lock().await;
    apart(move || admit_files(&registry, incoming)).await?
}

/// Writes a part to the disk as it comes.
async fn take_file(
    desk: &Desk,
    inflow: &Inflow,
    incoming: &Incoming,
    mut field: Field<'_>,
) -> Result<(), Refused> {
    let images = desk.registry.options().limits.file;
    let (name, most) = match (field.name(), field.file_name()) {
        (Some("job"), _) => ("job.json".to_owned(), job::MOST_BYTES as usize),
        (_, Some(name)) => (name.to_owned(), images),
        (name, None) => {
            let name = name.unwrap_or_default();
            let text = format!("the part {name:?} is neither \"job\" nor a file with a name");
            return Err(bad("unknown-part", &text));
        }
    };
    let path = confined::plain(&name).map_err(|e| refused(&e))?;
    let mut file = create(incoming, &path, &name)?;
    let mut written = 0;
    while let Some(chunk) = field.chunk().await.map_err(|e| broken(inflow, &e))? {
        inflow.handed_on();
        written += chunk.len();
        if written > most {
            return Err(bodies::too_large(&format!("the file {name:?}"), most));
        }
        file.write_all(&chunk).await.map_err(|e| internal(&e))?;
    }
    file.sync_all().await.map_err(|e| internal(&e))
}

fn admit_files(registry: &super::Registry, incoming: Incoming) -> Result<Status, Refused> {
    let root = std::fs::canonicalize(incoming.input()).map_err(|e| internal(&e))?;
    let file = root.join("job.json");
    if !file.is_file() {
        return Err(bad(
            "no-job",
            "the part \"job\" with the job's JSON is missing",
        ));
    }
    let job = confined::read_job(&root, &file).map_err(|e| refused(&e))?;
    let status = waiting(&incoming, job.title, None);
    registry
        .store()
        .admit(incoming, &status)
        .map_err(|e| internal(&e))?;
    Ok(status)
}

/// A new file; each name may come once.
fn create(incoming: &Incoming, path: &Path, name: &str) -> Result<fs::File, Refused> {
    // The other requests go on meanwhile.
    let new = tokio::task::block_in_place(|| incoming.create(path));
    new.map(fs::File::from_std)
        .map_err(|error| match error.kind() {
            io::ErrorKind::AlreadyExists => {
                bad("file-twice", &format!("the file {name:?} comes twice"))
            }
            _ => internal(&error),
        })
}

fn waiting(incoming: &Incoming, title: String, path: Option<String>) -> Status {
    Status {
        id: incoming.id().to_owned(),
        state: State::Queued,
        title,
        path,
        submitted: now(),
        ended: None,
        progress: Map::new(),
        verdict: None,
        error: None,
        files: Vec::new(),
    }
}

fn bad(code: &str, text: &str) -> Refused {
    Refused::new(StatusCode::BAD_REQUEST, code, text)
}

fn refused(error: &confined::Refusal) -> Refused {
    Refused::new(
        StatusCode::UNPROCESSABLE_ENTITY,
        error.code(),
        &error.to_string(),
    )
}

/// A body that ends early, is too large, or is no multipart body.
fn broken(inflow: &Inflow, error: &MultipartError) -> Refused {
    let overrun = inflow.overrun();
    overrun.unwrap_or_else(|| bad("bad-body", &error.body_text()))
}

/// What the disk refuses is no fault of the request.
pub(super) fn internal(error: &io::Error) -> Refused {
    let status = match error.kind() {
        io::ErrorKind::StorageFull => StatusCode::INSUFFICIENT_STORAGE,
        _ => StatusCode::INTERNAL_SERVER_ERROR,
    };
    Refused::new(
        status,
        "disk",
        &format!("the service cannot write or read its files: {error}"),
    )
}
