//! Taking a job in: its files come as one multipart body, or it is named by its path below the served folder.
use super::{
    confined,
    desk::Desk,
    registry::{Place, Registry, now},
    store::{Incoming, State, Status},
};
use crate::{
    job,
    printable::shortened,
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
    http::{HeaderValue, StatusCode, header, request::Parts},
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
/// Largest body that names a job, bytes: a path has some hundred.
const MOST_NAMING: usize = 64 << 10;
/// Seconds after which a client that was sent away may try again.
const RETRY_AFTER: &str = "5";

/// `POST /jobs`.
pub(super) async fn post_job(Shared(desk): Shared<Desk>, request: Request) -> Response {
    let (head, body) = request.into_parts();
    let limits = desk.registry.options().limits;
    let kind = Kind::of(&head);
    let most = match kind {
        Some(Kind::Naming) => MOST_NAMING,
        _ => limits.body,
    };
    let inflow = Inflow::new(&head, body, most);
    // Before the body is read: a full queue must cost nothing.
    let Ok(place) = Arc::clone(&desk.places).try_acquire_owned() else {
        inflow.drain().await;
        return full();
    };
    let received = tokio::time::timeout(limits.body_time, receive(&desk, kind, head, &inflow));
    let taken = match received.await {
        // Its time is over once it has arrived: then the job is taken or refused, and never both.
        Ok(Ok(received)) => take(&desk, received, place).await,
        Ok(Err(refused)) => {
            drop(place);
            inflow.drain().await;
            Err(refused)
        }
        Err(_) => Err(bodies::too_slow()),
    };
    let status = match taken {
        Ok(status) => status,
        Err(refused) => return refused.into_response(),
    };
    let mut accepted = answer(StatusCode::ACCEPTED, &serde_json::json!(status));
    if let Ok(place) = HeaderValue::from_str(&format!("/jobs/{}", status.id)) {
        accepted.headers_mut().insert(header::LOCATION, place);
    }
    accepted
}

fn full() -> Response {
    let mut full = refusal(
        StatusCode::TOO_MANY_REQUESTS,
        "queue-full",
        "as many jobs wait as are allowed; try again later",
    );
    let headers = full.headers_mut();
    headers.insert(header::RETRY_AFTER, HeaderValue::from_static(RETRY_AFTER));
    full
}

/// How a body gives a job.
#[derive(Clone, Copy)]
enum Kind {
    /// With its files.
    Files,
    /// By its path.
    Naming,
}

impl Kind {
    fn of(head: &Parts) -> Option<Self> {
        let kind = head.headers.get(header::CONTENT_TYPE)?.to_str().ok()?;
        let name = kind.split(';').next()?.trim();
        if name.eq_ignore_ascii_case("multipart/form-data") {
            Some(Self::Files)
        } else if name.eq_ignore_ascii_case("application/json") {
            Some(Self::Naming)
        } else {
            None
        }
    }
}

/// A job that has arrived and is not one of the service's yet.
enum Received {
    Files(Incoming),
    Path(String),
}

async fn receive(
    desk: &Desk,
    kind: Option<Kind>,
    head: Parts,
    inflow: &Inflow,
) -> Result<Received, Refused> {
    match kind {
        Some(Kind::Files) => receive_files(desk, head, inflow).await.map(Received::Files),
        Some(Kind::Naming) => receive_path(inflow).await.map(Received::Path),
        None => Err(Refused::new(
            StatusCode::UNSUPPORTED_MEDIA_TYPE,
            "unknown-body",
            "post multipart/form-data (the job as \"job\", its images as files), or application/json with a \"path\"",
        )),
    }
}

/// Makes what has arrived a job that waits. Goes through to its end also where nobody waits for the answer any more.
async fn take(desk: &Desk, received: Received, place: Place) -> Result<Status, Refused> {
    let one = Arc::clone(&desk.reading).lock_owned().await;
    let desk = desk.clone();
    apart(move || {
        let _one = one;
        let registry = &desk.registry;
        let status = match received {
            Received::Files(incoming) => admit_files(registry, incoming)?,
            Received::Path(path) => admit_path(registry, path)?,
        };
        let status = registry.add(status);
        if desk.turns.send((status.id.clone(), place)).is_err() {
            registry.interrupt(&status.id);
            return Err(internal(&io::Error::other("the worker has ended")));
        }
        Ok(status)
    })
    .await?
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Named {
    path: String,
}

async fn receive_path(inflow: &Inflow) -> Result<String, Refused> {
    let named: Named = serde_json::from_slice(&inflow.whole().await?).map_err(|error| {
        bad(
            "bad-body",
            &format!(
                "the body is not as described: {}",
                shortened(&error.to_string())
            ),
        )
    })?;
    Ok(named.path)
}

async fn receive_files(desk: &Desk, head: Parts, inflow: &Inflow) -> Result<Incoming, Refused> {
    let request = Request::from_parts(head, inflow.pieces());
    let mut body = Multipart::from_request(request, &())
        .await
        .map_err(|error| Refused::new(error.status(), "bad-body", &error.body_text()))?;
    let incoming = desk.registry.store().incoming().map_err(|e| internal(&e))?;
    let mut taken: Vec<PathBuf> = Vec::new();
    while let Some(field) = (body.next_field().await).map_err(|e| broken(inflow, &e))? {
        inflow.handed_on();
        if taken.len() == MOST_FILES {
            return Err(bad("too-many-files", "a job has at most 64 files"));
        }
        receive_file(desk, inflow, (&incoming, &mut taken), field).await?;
    }
    Ok(incoming)
}

/// Writes a part to the disk as it comes.
async fn receive_file(
    desk: &Desk,
    inflow: &Inflow,
    (incoming, taken): (&Incoming, &mut Vec<PathBuf>),
    mut field: Field<'_>,
) -> Result<(), Refused> {
    let images = desk.registry.options().limits.file;
    let (name, most) = match (field.name(), field.file_name()) {
        (Some("job"), _) => ("job.json".to_owned(), job::MOST_BYTES as usize),
        (_, Some(name)) => (name.to_owned(), images),
        (name, None) => {
            let name = shortened(name.unwrap_or_default());
            let text = format!("the part {name:?} is neither \"job\" nor a file with a name");
            return Err(bad("unknown-part", &text));
        }
    };
    let path = confined::posted(&name).map_err(|e| refused(&e))?;
    check_against(taken, &path)?;
    taken.push(path.clone());
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

fn admit_path(registry: &Registry, path: String) -> Result<Status, Refused> {
    let file = confined::file(registry.root(), &path).map_err(|e| refused(&e))?;
    let job = confined::read_job(registry.root(), &file).map_err(|e| refused(&e))?;
    let incoming = registry.store().incoming().map_err(|e| internal(&e))?;
    let status = waiting(&incoming, job.title, Some(path));
    let admitted = registry.store().admit(incoming, &status);
    admitted.map_err(|e| internal(&e))?;
    Ok(status)
}

fn admit_files(registry: &Registry, incoming: Incoming) -> Result<Status, Refused> {
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
