//! Requests to the marking page: the job file stays JSON whatever is asked, and the page lives on.
use crate::{
    harness::{Checked, Outcome},
    http::{self, Server},
};
use serde_json::Value;
use std::{
    fs,
    path::{Path, PathBuf},
    process::Command,
    sync::{Mutex, PoisonError},
};
use tempfile::TempDir;

/// After so many requests a new page with the job as it was: the steps of the old one are kept for ever.
const MOST_REQUESTS: usize = 400;
const STATUSES: [u16; 15] = [
    200, 400, 403, 404, 405, 408, 409, 413, 414, 415, 422, 431, 501, 304, 507,
];

pub struct Page {
    jobs: PathBuf,
    desk: Mutex<Desk>,
}

struct Desk {
    server: Server,
    host: String,
    cookie: String,
    revision: String,
    folder: TempDir,
    asked: usize,
}

impl Desk {
    fn start(jobs: &Path) -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let job = folder.path().join("job.json");
        fs::copy(jobs.join("lines.json"), &job).expect("copied");
        for name in ["a.png", "b.png"] {
            let image =
                image::RgbImage::from_fn(96, 64, |x, y| image::Rgb([(x * y % 251) as u8; 3]));
            image.save(folder.path().join(name)).expect("written");
        }
        let mut command = Command::new(env!("CARGO_BIN_EXE_tickstrip"));
        command.arg("mark").arg(&job).arg("--no-browser");
        let server = Server::start(&mut command);
        let address = server.line.trim_start_matches("http://").to_owned();
        let (host, code) = address.split_once('/').expect("an address");
        let request = format!("GET /{code} HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n\r\n");
        let answer = http::ask(host, request.as_bytes())
            .expect("an answer")
            .expect("an answer");
        let cookie = answer
            .head
            .lines()
            .find_map(|line| line.strip_prefix("set-cookie: "))
            .expect("a cookie");
        let mut desk = Self {
            host: host.to_owned(),
            cookie: cookie.split(';').next().unwrap_or_default().to_owned(),
            revision: String::new(),
            server,
            folder,
            asked: 0,
        };
        desk.look().expect("ready");
        desk
    }

    fn ask(&mut self, input: &[u8]) -> Result<Option<http::Answer>, String> {
        let values = [
            ("{host}", self.host.as_str()),
            ("{cookie}", &self.cookie),
            ("{revision}", &self.revision),
        ];
        http::ask(&self.host, &http::filled(input, &values))
    }

    /// Asks for the state of the page, which must be there always.
    fn look(&mut self) -> Result<(), String> {
        let request = b"GET /api/revision HTTP/1.1\r\nHost: {host}\r\nCookie: {cookie}\r\nConnection: close\r\n\r\n";
        let answer = self.ask(request)?.ok_or("the page says nothing")?;
        if answer.status != 200 {
            return Err(format!(
                "the page answers {} ({})",
                answer.status, self.server.line
            ));
        }
        let state: Value = serde_json::from_slice(&answer.body).map_err(|e| e.to_string())?;
        self.revision = state["revision"].as_str().unwrap_or_default().to_owned();
        Ok(())
    }
}

impl Page {
    pub fn start(jobs: &Path) -> Self {
        Self {
            jobs: jobs.to_owned(),
            desk: Mutex::new(Desk::start(jobs)),
        }
    }

    pub fn check(&self, input: &[u8]) -> Checked {
        let mut desk = self.desk.lock().unwrap_or_else(PoisonError::into_inner);
        if desk.asked >= MOST_REQUESTS {
            *desk = Desk::start(&self.jobs);
        }
        desk.asked += 1;
        let answer = desk.ask(input)?;
        desk.look()?;
        let file = fs::read(desk.folder.path().join("job.json"))
            .map_err(|e| format!("the job is gone: {e}"))?;
        serde_json::from_slice::<Value>(&file)
            .map_err(|e| format!("the job is no JSON any more: {e}"))?;
        let Some(answer) = answer else {
            return Ok(Outcome::Refused);
        };
        if !STATUSES.contains(&answer.status) {
            return Err(format!("the page answers {}", answer.status));
        }
        if !input.starts_with(b"HEAD") {
            http::check_refusal(&answer)?;
        }
        Ok(match answer.status < 400 {
            true => Outcome::Accepted,
            false => Outcome::Refused,
        })
    }
}
