//! What both HTTP services share: tokens, answers, stopping, and who may ask.
use axum::{
    Json,
    extract::{FromRequest, FromRequestParts, Path, Request, State},
    http::{HeaderMap, HeaderName, HeaderValue, StatusCode, header, request},
    middleware::Next,
    response::{IntoResponse, Response},
};
use serde::de::DeserializeOwned;
use serde_json::{Value, json};
use std::{io, net::SocketAddr};

/// 128 bits that nobody outside can guess, in hexadecimal: from the operating system's source of randomness.
pub(super) fn random_token() -> String {
    let mut bytes = [0; 16];
    getrandom::fill(&mut bytes).expect("an operating system that runs a service has randomness");
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

/// Whether both are the same. Hashes are compared: how far a guess is right does not show in the time it takes.
pub(super) fn is_same_secret(own: &str, shown: &str) -> bool {
    blake3::hash(own.as_bytes()) == blake3::hash(shown.as_bytes())
}

/// An answer with a JSON body.
pub(super) fn answer(status: StatusCode, body: &Value) -> Response {
    let content = [(header::CONTENT_TYPE, "application/json")];
    (status, content, body.to_string()).into_response()
}

/// Why a request is not done: becomes an answer with a stable code and a text for people.
#[derive(Debug)]
pub(super) struct Refused {
    pub status: StatusCode,
    pub code: String,
    pub text: String,
}

impl Refused {
    pub fn new(status: StatusCode, code: &str, text: &str) -> Self {
        Self {
            status,
            code: code.to_owned(),
            text: text.to_owned(),
        }
    }
}

impl IntoResponse for Refused {
    fn into_response(self) -> Response {
        refusal(self.status, &self.code, &self.text)
    }
}

/// An answer that says what went wrong: a stable code, and a text for people.
pub(super) fn refusal(status: StatusCode, code: &str, text: &str) -> Response {
    answer(status, &json!({ "error": { "code": code, "text": text } }))
}

/// Parts of the address; what cannot be read as such is no address.
pub(super) struct Parts<T>(pub T);

impl<T: DeserializeOwned + Send, S: Send + Sync> FromRequestParts<S> for Parts<T> {
    type Rejection = Refused;

    async fn from_request_parts(parts: &mut request::Parts, state: &S) -> Result<Self, Refused> {
        let Path(values) = Path::from_request_parts(parts, state).await.map_err(|_| {
            let text = "there is nothing at this address";
            Refused::new(StatusCode::NOT_FOUND, "not-found", text)
        })?;
        Ok(Self(values))
    }
}

/// The body, from JSON.
pub(super) struct Body<T>(pub T);

impl<T: DeserializeOwned, S: Send + Sync> FromRequest<S> for Body<T> {
    type Rejection = Refused;

    async fn from_request(request: Request, state: &S) -> Result<Self, Refused> {
        let Json(value) = Json::from_request(request, state).await.map_err(|error| {
            // It may repeat a key of the body.
            let text: String = error.body_text().chars().take(MOST_REPEATED).collect();
            Refused::new(error.status(), "bad-body", &text)
        })?;
        Ok(Self(value))
    }
}

/// Longest text about a body, characters: a judgement.
const MOST_REPEATED: usize = 500;

/// Runs work that computes or reads files where it holds up no other request.
pub(super) async fn apart<T: Send + 'static>(
    work: impl FnOnce() -> T + Send + 'static,
) -> Result<T, Refused> {
    tokio::task::spawn_blocking(work).await.map_err(|_| {
        Refused::new(
            StatusCode::INTERNAL_SERVER_ERROR,
            "internal",
            "this request met a fault of the program; the others go on",
        )
    })
}

/// Hears when the program is asked to end, from the moment on at which it is made: Ctrl-C, or a termination signal.
#[cfg(unix)]
pub(super) struct Asked {
    interrupt: tokio::signal::unix::Signal,
    terminate: tokio::signal::unix::Signal,
}

#[cfg(unix)]
impl Asked {
    /// To be called within a runtime.
    pub fn listen() -> io::Result<Self> {
        use tokio::signal::unix::{SignalKind, signal};
        Ok(Self {
            interrupt: signal(SignalKind::interrupt())?,
            terminate: signal(SignalKind::terminate())?,
        })
    }

    /// Resolves when it is asked, again each time.
    pub async fn next(&mut self) {
        tokio::select! {
            _ = self.interrupt.recv() => {}
            _ = self.terminate.recv() => {}
        }
    }
}

/// Hears when the program is asked to end, from the moment on at which it is made: Ctrl-C.
#[cfg(windows)]
pub(super) struct Asked(tokio::signal::windows::CtrlC);

#[cfg(windows)]
impl Asked {
    /// To be called within a runtime.
    pub fn listen() -> io::Result<Self> {
        tokio::signal::windows::ctrl_c().map(Self)
    }

    /// Resolves when it is asked, again each time.
    pub async fn next(&mut self) {
        let _ = self.0.recv().await;
    }
}

/// Refuses requests that a foreign page makes through the user's browser: on a loopback address the host must be
/// named as such, and a page of another origin may not ask.
pub(super) async fn only_local_pages(
    State(address): State<SocketAddr>,
    request: Request,
    next: Next,
) -> Response {
    if address.ip().is_loopback() && !is_local(request.headers(), address.port()) {
        return refusal(
            StatusCode::FORBIDDEN,
            "foreign-page",
            "this address answers only to programs and pages of this computer, named as 127.0.0.1 or localhost",
        );
    }
    next.run(request).await
}

/// The names of this computer that a browser may show.
const LOCAL_NAMES: [&str; 3] = ["127.0.0.1", "localhost", "[::1]"];

fn is_local(headers: &HeaderMap, port: u16) -> bool {
    let text = |value: &HeaderValue| value.to_str().map(str::to_owned).unwrap_or_default();
    let is_own_host = |host: String| {
        LOCAL_NAMES
            .iter()
            .any(|name| host == *name || host == format!("{name}:{port}"))
    };
    // A page of another port is that of another program. Browsers leave the port of the scheme out.
    let is_own_origin = |origin: String| {
        LOCAL_NAMES.iter().any(|name| {
            origin == format!("http://{name}:{port}")
                || (port == 80 && origin == format!("http://{name}"))
        })
    };
    headers.get(header::HOST).map(text).is_some_and(is_own_host)
        && headers
            .get_all(header::ORIGIN)
            .iter()
            .map(text)
            .all(is_own_origin)
}

/// What a browser may do with an answer that says nothing else: show it, and that in no other page.
const CLOSED: &str = "default-src 'none'; frame-ancestors 'none'";

/// Headers of every answer: no other origin reads it or guesses its type, no address is passed on, nothing is kept.
pub(super) async fn harden(mut response: Response) -> Response {
    let headers = response.headers_mut();
    for (name, value) in [
        (header::REFERRER_POLICY, "no-referrer"),
        (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (
            HeaderName::from_static("cross-origin-resource-policy"),
            "same-origin",
        ),
    ] {
        headers.insert(name, HeaderValue::from_static(value));
    }
    for (name, value) in [
        (header::CONTENT_SECURITY_POLICY, CLOSED),
        (header::CACHE_CONTROL, "no-store"),
    ] {
        headers
            .entry(name)
            .or_insert(HeaderValue::from_static(value));
    }
    response
}

/// A result file as an answer. Pages have scripts: they run apart from this origin, without its cookies.
pub(super) fn result_file(kind: &'static str, mut answer: Response) -> Response {
    let policy = match kind {
        HTML => "sandbox allow-scripts; frame-ancestors 'none'",
        // What shows a PDF in a browser is itself kept away by more.
        PDF => "frame-ancestors 'none'",
        _ => CLOSED,
    };
    let policy = HeaderValue::from_static(policy);
    answer
        .headers_mut()
        .insert(header::CONTENT_SECURITY_POLICY, policy);
    answer
}

const HTML: &str = "text/html; charset=utf-8";
const PDF: &str = "application/pdf";

/// The type of a result file by the end of its name; `None` where no result is called so.
pub(super) fn kind_of(extension: &str) -> Option<&'static str> {
    Some(match extension {
        "html" => HTML,
        "json" => "application/json",
        "csv" => "text/csv; charset=utf-8",
        "pdf" => PDF,
        "png" => "image/png",
        "jpg" => "image/jpeg",
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tokens_are_long_and_differ() {
        let (a, b) = (random_token(), random_token());
        assert_eq!(a.len(), 32);
        assert_ne!(a, b);
        assert_ne!(a[..16], a[16..]);
    }

    #[test]
    fn foreign_hosts_and_origins_are_told_from_own_ones() {
        let headers = |host: &'static str, origin: Option<&'static str>| {
            let mut headers = HeaderMap::new();
            headers.insert(header::HOST, HeaderValue::from_static(host));
            if let Some(origin) = origin {
                headers.insert(header::ORIGIN, HeaderValue::from_static(origin));
            }
            is_local(&headers, 8080)
        };
        assert!(headers("127.0.0.1:8080", None));
        assert!(headers("localhost:8080", Some("http://localhost:8080")));
        assert!(!headers("rebound.example:8080", None));
        assert!(!headers("127.0.0.1:8080", Some("https://page.example")));
        assert!(!headers("127.0.0.1:8080", Some("null")));
        // Another program of this computer, or another scheme.
        for origin in [
            "http://127.0.0.1",
            "http://localhost:80",
            "http://127.0.0.1:8081",
            "http://localhost:80800",
            "https://localhost:8080",
            "file://localhost:8080",
            "localhost:8080",
            "",
        ] {
            assert!(!headers("127.0.0.1:8080", Some(origin)), "{origin}");
        }
        let mut plain = HeaderMap::new();
        plain.insert(header::HOST, HeaderValue::from_static("localhost"));
        plain.insert(header::ORIGIN, HeaderValue::from_static("http://localhost"));
        assert!(is_local(&plain, 80) && !is_local(&plain, 8080));
        assert!(!is_local(&HeaderMap::new(), 8080));
    }
}
