//! The service as a process, each of its answers checked against its description.
use crate::support::{
    http::{self, Answer, KIND, multipart},
    process::{Process, serve},
};
use jsonschema::Validator;
use serde_json::{Value, json};
use std::{
    io::Read,
    net::{SocketAddr, TcpStream},
    path::Path,
    process::{Command, Stdio},
    sync::OnceLock,
    time::{Duration, Instant},
};

/// What a refusal says.
pub trait Refusal {
    fn code(&self) -> String;
}

impl Refusal for Answer {
    fn code(&self) -> String {
        self.json()["error"]["code"]
            .as_str()
            .expect("a code")
            .to_owned()
    }
}

/// A running `tickstrip serve`, killed when it is dropped.
pub struct Service {
    pub process: Process,
    pub address: SocketAddr,
    /// Path that all others lie below, with a slash at its end.
    pub root: String,
    /// What a browser would send along.
    cookie: Option<String>,
    pub token: Option<&'static str>,
}

impl Service {
    pub fn start(folder: &Path, arguments: &[&str]) -> Self {
        Self::with_token(folder, arguments, None)
    }

    pub fn with_token(folder: &Path, arguments: &[&str], token: Option<&'static str>) -> Self {
        let mut command = Command::new(env!("CARGO_BIN_EXE_tickstrip"));
        command
            .arg("serve")
            .arg(folder)
            .args(["--listen", "127.0.0.1:0"])
            .args(arguments);
        command.env("TICKSTRIP_TOKEN", token.unwrap_or(""));
        Self::run(command, token)
    }

    /// The marking page of a job, entered by the address that works once.
    pub fn mark(job: &Path) -> Self {
        let mut command = Command::new(env!("CARGO_BIN_EXE_tickstrip"));
        command.arg("mark").arg(job).arg("--no-browser");
        Self::run(command, None).entered()
    }

    /// The marking page after its way in was taken.
    pub fn entered(mut self) -> Self {
        let service = &mut self;
        let way_in = std::mem::replace(&mut service.root, "/".to_owned());
        let entered = service.ask_raw("GET", &way_in, "text/plain", b"");
        let entered = entered.expect("an answer");
        let cookie = entered.header("set-cookie").expect("a cookie");
        service.cookie = cookie.split(';').next().map(str::to_owned);
        self
    }

    /// A service by its command.
    pub fn run(mut command: Command, token: Option<&'static str>) -> Self {
        command.stderr(Stdio::piped());
        let (process, address) = serve(command);
        let line = address.trim().trim_start_matches("http://");
        let (address, root) = line.split_once('/').expect("a path");
        Self {
            address: address.parse().expect("an address"),
            root: format!("/{root}"),
            cookie: None,
            process,
            token,
        }
    }

    /// All of the log, after the process was killed or has ended.
    pub fn log(&mut self) -> String {
        let mut log = String::new();
        let mut stderr = self.process.0.stderr.take().expect("piped");
        stderr.read_to_string(&mut log).expect("text");
        log
    }

    pub fn connect(&self) -> TcpStream {
        http::connect(self.address).expect("connected")
    }

    /// Sends a request and checks the answer against the description of the service.
    pub fn ask(&self, method: &str, path: &str, kind: &str, body: &[u8]) -> Answer {
        let answer = self.ask_raw(method, path, kind, body).expect("an answer");
        check(method, path, &answer);
        answer
    }

    pub fn ask_raw(
        &self,
        method: &str,
        path: &str,
        kind: &str,
        body: &[u8],
    ) -> std::io::Result<Answer> {
        http::exchange(
            self.address,
            &self.head(method, path, kind, body.len()),
            body,
        )
    }

    pub fn head(&self, method: &str, path: &str, kind: &str, length: usize) -> String {
        let token = self
            .token
            .map(|t| format!("Authorization: Bearer {t}\r\n"))
            .unwrap_or_default();
        let cookie = (self.cookie.as_ref())
            .map(|cookie| format!("Cookie: {cookie}\r\n"))
            .unwrap_or_default();
        let headers = format!("{token}{cookie}Content-Type: {kind}\r\n");
        http::head(self.address, method, path, &headers, length)
    }

    pub fn get(&self, path: &str) -> Answer {
        self.ask("GET", path, "text/plain", b"")
    }

    pub fn post_files(&self, files: &[(&str, &[u8])]) -> Answer {
        self.ask("POST", "/jobs", KIND, &multipart(files))
    }

    pub fn post_path(&self, path: &str) -> Answer {
        let body = json!({ "path": path }).to_string();
        self.ask("POST", "/jobs", "application/json", body.as_bytes())
    }

    /// The job's state once it is over, or once it is `wanted`.
    pub fn wait(&self, id: &str, wanted: &[&str]) -> Value {
        let begun = Instant::now();
        loop {
            let status = self.get(&format!("/jobs/{id}")).json();
            if wanted.contains(&status["state"].as_str().expect("a state")) {
                return status;
            }
            assert!(
                begun.elapsed() < Duration::from_secs(60),
                "in vain: {status}"
            );
            std::thread::sleep(Duration::from_millis(10));
        }
    }
}

/// The description as the program has it.
fn description() -> &'static Value {
    static DESCRIPTION: OnceLock<Value> = OnceLock::new();
    DESCRIPTION.get_or_init(|| {
        let folder = tempfile::tempdir().expect("a folder");
        let service = Service::start(folder.path(), &[]);
        service
            .ask_raw("GET", "/openapi.json", "text/plain", b"")
            .expect("an answer")
            .json()
    })
}

/// The path of the description that a request's path is one of.
fn template(path: &str) -> Option<&'static str> {
    let parts: Vec<&str> = path.trim_start_matches('/').split('/').collect();
    Some(match parts.as_slice() {
        ["health"] => "/health",
        ["openapi.json"] => "/openapi.json",
        ["jobs"] => "/jobs",
        ["jobs", id] if !id.is_empty() => "/jobs/{id}",
        ["jobs", _, "cancel"] => "/jobs/{id}/cancel",
        ["jobs", _, "report"] => "/jobs/{id}/report",
        ["jobs", _, "files", _, ..] => "/jobs/{id}/files/{path}",
        _ => return None,
    })
}

/// Fails where the answer is not as the description of the service says.
fn check(method: &str, path: &str, answer: &Answer) {
    let whole = description();
    let operation = template(path).map(|t| &whole["paths"][t][method.to_lowercase()]);
    let Some(operation) = operation.filter(|o| !o.is_null()) else {
        // What the description does not have is refused in the form of all refusals.
        assert!(
            [404, 405].contains(&answer.status),
            "{method} {path}: {answer:?}"
        );
        return validate(&json!("#/components/schemas/Refusal"), &answer.json());
    };
    let mut response = &operation["responses"][answer.status.to_string()];
    if let Some(reference) = response["$ref"].as_str() {
        response = whole
            .pointer(reference.trim_start_matches('#'))
            .expect("a response");
    }
    assert!(
        !response.is_null(),
        "{method} {path}: {} is not described",
        answer.status
    );
    for (name, _) in response["headers"].as_object().into_iter().flatten() {
        assert!(answer.header(name).is_some(), "{method} {path}: no {name}");
    }
    let Some(content) = response["content"].as_object() else {
        return assert!(answer.body.is_empty());
    };
    let kind = answer.header("content-type").expect("a type");
    let kind = kind.split(';').next().expect("a part");
    let media = content
        .get(kind)
        .unwrap_or_else(|| panic!("{method} {path}: {kind}"));
    if let Some(reference) = media["schema"]["$ref"].as_str() {
        validate(&json!(reference), &answer.json());
    }
}

fn validate(reference: &Value, value: &Value) {
    static VALIDATORS: OnceLock<std::sync::Mutex<std::collections::HashMap<String, Validator>>> =
        OnceLock::new();
    let mut validators = VALIDATORS
        .get_or_init(Default::default)
        .lock()
        .unwrap_or_else(std::sync::PoisonError::into_inner);
    let validator = validators.entry(reference.to_string()).or_insert_with(|| {
        let schema = json!({
            "$schema": "https://json-schema.org/draft/2020-12/schema",
            "$ref": reference, "components": description()["components"],
        });
        jsonschema::validator_for(&schema).expect("a schema")
    });
    let faults: Vec<String> = validator
        .iter_errors(value)
        .map(|e| e.to_string())
        .collect();
    drop(validators);
    assert!(faults.is_empty(), "{value}: {faults:?}");
}
