//! The addresses of the service, and who may use them.
use super::{
    confined,
    desk::Desk,
    intake::{internal, post_job},
    log::{SET_ASIDE, tell},
    openapi,
    registry::{Denied, now},
};
use crate::{
    job::open_input,
    service::{
        files,
        shell::{
            Parts, answer, apart, harden, is_same_secret, kind_of, only_local_pages, refusal,
            result_file,
        },
    },
};
use axum::{
    Router,
    extract::{DefaultBodyLimit, Request, State},
    http::{HeaderValue, StatusCode, header},
    middleware::{self, Next},
    response::{IntoResponse, Response},
    routing::{get, post},
};
use serde_json::json;
use std::{io, net::SocketAddr, path::PathBuf, time::Instant};

/// All addresses.
pub(super) fn router(desk: Desk, address: SocketAddr) -> Router {
    let guarded = Router::new()
        .route("/openapi.json", get(description))
        .route("/jobs", post(post_job).get(list))
        .route("/jobs/{id}", get(status).delete(remove))
        .route("/jobs/{id}/cancel", post(cancel))
        .route("/jobs/{id}/report", get(report))
        .route("/jobs/{id}/files/{*path}", get(file))
        // Whoever takes a body counts it (`bodies`).
        .layer(DefaultBodyLimit::disable())
        .layer(middleware::from_fn_with_state(
            desk.clone(),
            only_with_token,
        ));
    Router::new()
        .route("/health", get(health))
        .merge(guarded)
        .fallback(|| async { not_found() })
        .method_not_allowed_fallback(|| async {
            refusal(
                StatusCode::METHOD_NOT_ALLOWED,
                "wrong-method",
                "this address does not take that method; see /openapi.json",
            )
        })
        .layer(middleware::from_fn_with_state(address, only_local_pages))
        .layer(middleware::map_response(harden))
        .layer(middleware::from_fn_with_state(desk.clone(), log))
        .with_state(desk)
}

async fn log(State(desk): State<Desk>, request: Request, next: Next) -> Response {
    let begun = Instant::now();
    let (method, path) = (
        request.method().to_string(),
        request.uri().path().to_owned(),
    );
    let response = next.run(request).await;
    let line = json!({
        "time": now(), "method": method, "path": path,
        "status": response.status().as_u16(), "ms": begun.elapsed().as_millis() as u64,
    });
    (desk.log)(&line.to_string());
    response
}

async fn only_with_token(State(desk): State<Desk>, request: Request, next: Next) -> Response {
    if let Some(token) = &desk.registry.options().token {
        let shown = request.headers().get(header::AUTHORIZATION);
        let shown = shown.and_then(|value| bearer(value.to_str().ok()?));
        let is_right = shown.is_some_and(|shown| is_same_secret(token, shown));
        if !is_right {
            let mut response = refusal(
                StatusCode::UNAUTHORIZED,
                "no-token",
                "show the service's token as \"Authorization: Bearer ...\"",
            );
            let bearer = HeaderValue::from_static("Bearer");
            response
                .headers_mut()
                .insert(header::WWW_AUTHENTICATE, bearer);
            return response;
        }
    }
    next.run(request).await
}

/// The token of an `Authorization` header.
///
/// # Source
/// RFC 9110 (Fielding and others 2022), section 11.1: the name of the scheme in letters of any case; section 11.4: one
/// or more spaces behind it.
fn bearer(shown: &str) -> Option<&str> {
    let (scheme, token) = shown.split_once(' ')?;
    scheme
        .eq_ignore_ascii_case("bearer")
        .then(|| token.trim_matches(' '))
}

async fn health(State(desk): State<Desk>) -> Response {
    let [queued, running] = desk.registry.counts();
    let body = json!({
        "status": "ready", "queued": queued, "running": running,
        "version": env!("CARGO_PKG_VERSION"),
    });
    answer(StatusCode::OK, &body)
}

async fn description() -> Response {
    answer(StatusCode::OK, &openapi::description())
}

async fn list(State(desk): State<Desk>) -> Response {
    answer(StatusCode::OK, &json!({ "jobs": desk.registry.list() }))
}

async fn status(State(desk): State<Desk>, Parts(id): Parts<String>) -> Response {
    match desk.registry.status(&id) {
        Some(status) => answer(StatusCode::OK, &json!(status)),
        None => not_found(),
    }
}

async fn cancel(State(desk): State<Desk>, Parts(id): Parts<String>) -> Response {
    let done = apart(move || match desk.registry.cancel(&id) {
        Ok(status) => answer(StatusCode::OK, &json!(status)),
        Err(denied) => deny(denied, "cancelled"),
    });
    done.await.unwrap_or_else(IntoResponse::into_response)
}

async fn remove(State(desk): State<Desk>, Parts(id): Parts<String>) -> Response {
    let done = apart(move || match desk.registry.remove(&id) {
        Ok(left) => {
            if let Some(path) = left {
                tell(&desk.log, &path, SET_ASIDE);
            }
            StatusCode::NO_CONTENT.into_response()
        }
        Err(denied) => deny(denied, "deleted; cancel it first"),
    });
    done.await.unwrap_or_else(IntoResponse::into_response)
}

fn deny(denied: Denied, what: &str) -> Response {
    match denied {
        Denied::NoSuchJob => not_found(),
        Denied::WrongState(state) => refusal(
            StatusCode::CONFLICT,
            "wrong-state",
            &format!(
                "the job is {} and cannot be {what}",
                json!(state).as_str().unwrap_or("over")
            ),
        ),
        Denied::Disk(error) => internal(&error).into_response(),
    }
}

async fn report(State(desk): State<Desk>, Parts(id): Parts<String>) -> Response {
    result(desk, id, "report.json".to_owned()).await
}

async fn file(State(desk): State<Desk>, Parts((id, path)): Parts<(String, String)>) -> Response {
    result(desk, id, path).await
}

/// A file of a job's results.
async fn result(desk: Desk, id: String, path: String) -> Response {
    let done = apart(move || {
        let Some(status) = desk.registry.status(&id) else {
            return not_found();
        };
        if !status.state.is_over() {
            return deny(Denied::WrongState(status.state), "read yet");
        }
        // Only what is listed: no path of a request reaches the disk unseen.
        let kind = PathBuf::from(&path)
            .extension()
            .and_then(|e| kind_of(e.to_str()?));
        let (true, Some(kind)) = (status.files.contains(&path), kind) else {
            return not_found();
        };
        let results = desk.registry.store().results(&id);
        let Ok(found) = confined::file(&results, &path) else {
            return not_found();
        };
        let opened = open_input(&found, u64::MAX)
            .map_err(io::Error::from)
            .and_then(|file| files::answer(file.into_file(), kind));
        match opened {
            Ok(answer) => result_file(kind, answer),
            Err(error) => internal(&error).into_response(),
        }
    });
    done.await.unwrap_or_else(IntoResponse::into_response)
}

fn not_found() -> Response {
    refusal(
        StatusCode::NOT_FOUND,
        "not-found",
        "there is nothing at this address; see /openapi.json",
    )
}
