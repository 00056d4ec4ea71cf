//! Answers that several addresses of the page give.
use super::desk::Desk;
use crate::service::shell::refusal;
use axum::{
    extract::State,
    http::{StatusCode, header},
    response::{IntoResponse, Response},
};
use std::sync::Arc;

/// What a request is about.
pub(super) type Shared = State<Arc<Desk>>;

pub(super) fn not_found() -> Response {
    refusal(
        StatusCode::NOT_FOUND,
        "not-found",
        "there is nothing at this address",
    )
}

/// A tile of a picture as JPEG.
pub(super) fn tile_of(bytes: Option<Vec<u8>>) -> Response {
    let Some(bytes) = bytes else {
        return not_found();
    };
    let headers = [
        (header::CONTENT_TYPE, "image/jpeg"),
        // The stamp changes with the file, and with the map that it is seen through.
        (header::CACHE_CONTROL, "private, max-age=86400, immutable"),
    ];
    (headers, bytes).into_response()
}
