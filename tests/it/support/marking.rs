//! The marking page as a program uses it: entered once, then asked.
use super::http::read;
use serde_json::{Value, json};
use std::{
    io::{BufRead, BufReader, Write},
    net::TcpStream,
    path::Path,
    process::{Child, Command, Stdio},
    time::Duration,
};

/// A running `tickstrip mark` that was entered; killed when it is dropped.
pub struct Marking {
    child: Child,
    host: String,
    cookie: String,
}

impl Drop for Marking {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

impl Marking {
    pub fn start(job: &Path) -> Self {
        let mut command = Command::new(env!("CARGO_BIN_EXE_tickstrip"));
        command.arg("mark").arg(job).arg("--no-browser");
        command
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::null());
        let mut child = command.spawn().expect("starts");
        let mut line = String::new();
        let mut out = BufReader::new(child.stdout.take().expect("piped"));
        out.read_line(&mut line).expect("an address");
        let address = line.trim().strip_prefix("http://").expect("an address");
        let (host, code) = address.split_once('/').expect("a path");
        let mut marking = Self {
            child,
            host: host.to_owned(),
            cookie: String::new(),
        };
        let (_, cookie) = marking.ask("GET", &format!("/{code}"), "");
        let pair = cookie
            .as_deref()
            .and_then(|c| c.split(';').next())
            .expect("a cookie");
        marking.cookie = format!("Cookie: {pair}\r\n");
        marking
    }

    fn ask(&self, method: &str, path: &str, body: &str) -> (Vec<u8>, Option<String>) {
        let mut stream = TcpStream::connect(&self.host).expect("connected");
        let limit = Some(Duration::from_secs(60));
        stream.set_read_timeout(limit).expect("set");
        let (host, cookie, length) = (&self.host, &self.cookie, body.len());
        let head = format!(
            "{method} {path} HTTP/1.1\r\nHost: {host}\r\n{cookie}Content-Type: application/json\r\nContent-Length: {length}\r\nConnection: close\r\n\r\n"
        );
        stream.write_all((head + body).as_bytes()).expect("sent");
        let answer = read(stream).expect("an answer");
        assert_eq!(answer.status, 200, "{answer:?}");
        (
            answer.body.clone(),
            answer.header("set-cookie").map(str::to_owned),
        )
    }

    pub fn get(&self, path: &str) -> Value {
        serde_json::from_slice(&self.ask("GET", path, "").0).expect("JSON")
    }

    /// Makes one edit on a state of the page; the state after it.
    pub fn change(&self, state: &Value, label: &str, edit: &Value) -> Value {
        let body = json!({ "base": state["revision"], "label": label, "edits": [edit] });
        let answer = self.ask("POST", "/api/change", &body.to_string()).0;
        serde_json::from_slice(&answer).expect("JSON")
    }

    /// Takes the last step back.
    pub fn undo(&self, state: &Value) {
        self.ask(
            "POST",
            "/api/undo",
            &json!({ "base": state["revision"] }).to_string(),
        );
    }
}
