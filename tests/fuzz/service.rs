//! Requests to the service: every answer is one that its description has, and it lives on.
use crate::{
    harness::{Checked, Outcome},
    http::{self, Answer, Server},
};
use serde_json::Value;
use std::{
    fs,
    path::Path,
    process::Command,
    sync::{
        Mutex, PoisonError,
        atomic::{AtomicU64, Ordering},
    },
};
use tempfile::TempDir;

/// After so many requests it is asked whether it is ready.
const LOOK: u64 = 16;
/// What HTTP itself is refused with, before any address is looked at: RFC 9110 and RFC 6585.
const NO_REQUEST: [u16; 6] = [400, 405, 408, 414, 431, 501];

/// A service with a folder that holds a job, and one finished job.
pub struct Service {
    server: Server,
    host: String,
    /// A job that is over.
    id: Mutex<String>,
    description: Value,
    asked: AtomicU64,
    _folder: TempDir,
}

impl Service {
    pub fn start(jobs: &Path) -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        fs::copy(jobs.join("lines.json"), folder.path().join("job.json")).expect("copied");
        for name in ["a.png", "b.png"] {
            image::RgbImage::from_fn(96, 64, |x, y| image::Rgb([(x * y % 251) as u8; 3]))
                .save(folder.path().join(name))
                .expect("written");
        }
        let mut command = Command::new(env!("CARGO_BIN_EXE_tickstrip"));
        command
            .arg("serve")
            .arg(folder.path())
            .args(["--listen", "127.0.0.1:0", "--queue", "4", "--keep", "8"])
            .args([
                "--max-body-mb",
                "2",
                "--body-seconds",
                "5",
                "--job-seconds",
                "5",
            ])
            .env("TICKSTRIP_TOKEN", "");
        let server = Server::start(&mut command);
        let host = server
            .line
            .trim_start_matches("http://")
            .trim_end_matches('/');
        let mut service = Self {
            host: host.to_owned(),
            server,
            id: Mutex::default(),
            description: Value::Null,
            asked: AtomicU64::new(0),
            _folder: folder,
        };
        let ask = |request: &str| {
            let request = http::filled(request.as_bytes(), &[("{host}", &service.host)]);
            let answer = http::ask(&service.host, &request).expect("an answer");
            serde_json::from_slice::<Value>(&answer.expect("an answer").body).expect("JSON")
        };
        let description =
            ask("GET /openapi.json HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n\r\n");
        let posted = ask(
            "POST /jobs HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\nContent-Type: application/json\r\nContent-Length: 20\r\n\r\n{\"path\": \"job.json\"}",
        );
        let id = posted["id"].as_str().expect("taken in").to_owned();
        service.description = description;
        *service.id.lock().expect("new") = id;
        service
    }

    pub fn check(&self, input: &[u8]) -> Checked {
        let id = self
            .id
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .clone();
        let request = http::filled(input, &[("{host}", &self.host), ("{id}", &id)]);
        let answer = http::ask(&self.host, &request)?;
        let asked = self.asked.fetch_add(1, Ordering::Relaxed);
        if asked.is_multiple_of(LOOK) {
            self.check_ready()?;
        }
        let Some(answer) = answer else {
            return Ok(Outcome::Refused);
        };
        self.check_status(&request, &answer)?;
        if !answer.head.contains("\r\ncontent-length: 0") && !request.starts_with(b"HEAD") {
            http::check_refusal(&answer)?;
        }
        if answer.status == 202 {
            let status: Value = serde_json::from_slice(&answer.body).unwrap_or_default();
            if let Some(id) = status["id"].as_str() {
                *self.id.lock().unwrap_or_else(PoisonError::into_inner) = id.to_owned();
            }
        }
        Ok(match answer.status < 400 {
            true => Outcome::Accepted,
            false => Outcome::Refused,
        })
    }

    fn check_ready(&self) -> Result<(), String> {
        let request = format!(
            "GET /health HTTP/1.1\r\nHost: {}\r\nConnection: close\r\n\r\n",
            self.host
        );
        match http::ask(&self.host, request.as_bytes())? {
            Some(answer) if answer.status == 200 => Ok(()),
            other => Err(format!(
                "not ready: {:?} ({})",
                other.map(|a| a.status),
                self.server.line
            )),
        }
    }

    fn check_status(&self, request: &[u8], answer: &Answer) -> Result<(), String> {
        let (head, _) = http::parts(request);
        let line = String::from_utf8_lossy(head);
        let mut words = line.split([' ', '\r', '\n']);
        let method = words.next().unwrap_or_default().to_lowercase();
        let path = words.next().unwrap_or_default();
        let path = path.split('?').next().unwrap_or_default();
        let status = answer.status.to_string();
        // HEAD is answered as GET.
        let method = if method == "head" { "get" } else { &method };
        let paths = self.description["paths"].as_object().into_iter().flatten();
        let described: Vec<_> = paths
            .filter(|(template, _)| is_of(path, template))
            .filter(|(_, methods)| !methods[method]["responses"][&status].is_null())
            .collect();
        let is_no_address = [403, 404, 405].contains(&answer.status);
        match !described.is_empty() || is_no_address || NO_REQUEST.contains(&answer.status) {
            true => Ok(()),
            false => Err(format!(
                "{} to {method} {path:.200} is not described",
                answer.status
            )),
        }
    }
}

/// Whether a path is of the template, such as `/jobs/{id}`.
fn is_of(path: &str, template: &str) -> bool {
    let (mut parts, mut wanted) = (path.split('/'), template.split('/'));
    loop {
        match (parts.next(), wanted.next()) {
            (_, Some("{path}")) => return true,
            (Some(part), Some(want)) if part == want || want.starts_with('{') => {}
            (None, None) => return true,
            _ => return false,
        }
    }
}
