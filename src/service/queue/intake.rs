//! Taking a job in: its files come as one multipart body, or it is named by its path below the served folder.
use super::{
    Desk, confined,
    registry::now,
    store::{Incoming, State, Status},
};
use crate::{
    printable::shortened,
    service::shell::{Body, Refused, answer, apart, random_token, refusal},
};
use axum::{
    extract::{FromRequest, Multipart, Request, State as Shared, multipart::MultipartError},
    http::{HeaderValue, StatusCode, header},
    response::{IntoResponse, Response},
};
use serde::Deserialize;
use serde_json::Map;
use std::{
    io,
    path::{Path, PathBuf},
    sync::Arc,
};
use tokio::{fs, io::AsyncWriteExt};

/// Files of one job, at most.
const MOST_FILES: usize = 64;
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
        Err(_) => {
            return refusal(
                StatusCode::REQUEST_TIMEOUT,
                "too-slow",
                "the body took too long to arrive",
            );
        }
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
    let Body(Named { path }) = Body::from_request(request, &()).await?;
    let registry = Arc::clone(&desk.registry);
    apart(move || {
        let file = confined::file(registry.root(), &path).map_err(|e| refused(&e))?;
        let job = confined::read_job(registry.root(), &file).map_err(|e| refused(&e))?;
        let incoming = registry.store().incoming().map_err(|e| internal(&e))?;
        let status = waiting(job.title, Some(path));
        registry
            .store()
            .admit(incoming, &status)
            .map_err(|e| internal(&e))?;
        Ok(status)
    })
    .await?
}

async fn take_files(desk: &Desk, request: Request) -> Result<Status, Refused> {
    let mut body = Multipart::from_request(request, &())
        .await
        .map_err(|error| Refused::new(error.status(), "bad-body", &error.body_text()))?;
    let incoming = desk.registry.store().incoming().map_err(|e| internal(&e))?;
    let mut taken: Vec<PathBuf> = Vec::new();
    while let Some(mut field) = body.next_field().await.map_err(|e| broken(&e))? {
        if taken.len() == MOST_FILES {
            return Err(bad("too-many-files", "a job has at most 64 files"));
        }
        let name = match (field.name(), field.file_name()) {
            (Some("job"), _) => "job.json".to_owned(),
            (_, Some(name)) => name.to_owned(),
            (name, None) => {
                let name = shortened(name.unwrap_or_default());
                let text = format!("the part {name:?} is neither \"job\" nor a file with a name");
                return Err(bad("unknown-part", &text));
            }
        };
        let relative = confined::posted(&name).map_err(|e| refused(&e))?;
        check_against(&taken, &relative)?;
        let path = incoming.input().join(&relative);
        taken.push(relative);
        let mut file = create(&path, &name).await?;
        while let Some(chunk) = field.chunk().await.map_err(|e| broken(&e))? {
            file.write_all(&chunk).await.map_err(|e| internal(&e))?;
        }
        file.sync_all().await.map_err(|e| internal(&e))?;
    }
    let registry = Arc::clone(&desk.registry);
    apart(move || admit_files(&registry, incoming)).await?
}

/// No file can be a folder of another one as well.
fn check_against(taken: &[PathBuf], new: &Path) -> Result<(), Refused> {
    let collides = |other: &&PathBuf| {
        other.as_path() != new && (other.starts_with(new) || new.starts_with(other))
    };
    let Some(other) = taken.iter().find(collides) else {
        return Ok(());
    };
    let (new, other) = (new.display(), other.display());
    let text = format!("\"{new}\" and \"{other}\": a file cannot be the folder of another one");
    Err(bad("file-in-file", &text))
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
    let status = waiting(job.title, None);
    registry
        .store()
        .admit(incoming, &status)
        .map_err(|e| internal(&e))?;
    Ok(status)
}

/// A new file; each name may come once.
async fn create(path: &Path, name: &str) -> Result<fs::File, Refused> {
    if let Some(folder) = path.parent() {
        fs::create_dir_all(folder).await.map_err(|e| internal(&e))?;
    }
    let new = fs::OpenOptions::new()
        .write(true)
        .create_new(true)
        .open(path)
        .await;
    new.map_err(|error| match error.kind() {
        io::ErrorKind::AlreadyExists => {
            bad("file-twice", &format!("the file {name:?} comes twice"))
        }
        _ => internal(&error),
    })
}

fn waiting(title: String, path: Option<String>) -> Status {
    Status {
        id: random_token(),
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
fn broken(error: &MultipartError) -> Refused {
    if error.status() == StatusCode::PAYLOAD_TOO_LARGE {
        return Refused::new(
            StatusCode::PAYLOAD_TOO_LARGE,
            "too-large",
            "the body is larger than the service takes",
        );
    }
    bad("bad-body", &error.body_text())
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
