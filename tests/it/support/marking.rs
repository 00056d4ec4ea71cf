//! The marking page as a program uses it: entered once, then asked.
use super::http::{Answer, read};
use serde_json::{Value, json};
use std::{
    io::{BufRead, BufReader, Write},
    net::TcpStream,
    path::Path,
    process::{Child, Command, Stdio},
    time::Duration,
};

/// A running `tickstrip mark`, killed when it is dropped.
pub struct Started {
    pub child: Child,
    /// Host and port.
    pub host: String,
    /// Path of the address that works once.
    pub way_in: String,
}

impl Drop for Started {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

impl Started {
    pub fn start(job: &Path) -> Self {
        let mut command = Command::new(env!("CARGO_BIN_EXE_tickstrip"));
        command.arg("mark").arg(job).arg("--no-browser");
        Self::of(command)
    }

    pub fn of(mut command: Command) -> Self {
        command
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::null());
        let mut child = command.spawn().expect("starts");
        let mut line = String::new();
        let out = child.stdout.take().expect("piped");
        BufReader::new(out)
            .read_line(&mut line)
            .expect("an address");
        let address = line.trim().strip_prefix("http://").expect("an address");
        let (host, code) = address.split_once('/').expect("a path");
        Self {
            child,
            host: host.to_owned(),
            way_in: format!("/{code}"),
        }
    }

    pub fn ask(&self, method: &str, path: &str, headers: &str, body: &str) -> Answer {
        let mut stream = TcpStream::connect(&self.host).expect("connected");
        let limit = Some(Duration::from_secs(60));
        stream.set_read_timeout(limit).expect("set");
        let (host, length) = (&self.host, body.len());
        let head = format!(
            "{method} {path} HTTP/1.1\r\nHost: {host}\r\n{headers}Content-Length: {length}\r\nConnection: close\r\n\r\n"
        );
        stream.write_all((head + body).as_bytes()).expect("sent");
        read(stream).expect("an answer")
    }

    pub fn get(&self, path: &str, headers: &str) -> Answer {
        self.ask("GET", path, headers, "")
    }
}

/// A page that was entered.
pub struct Marking {
    page: Started,
    cookie: String,
}

impl Marking {
    pub fn start(job: &Path) -> Self {
        let page = Started::start(job);
        let answer = page.get(&page.way_in, "");
        let cookie = answer.header("set-cookie").expect("a cookie");
        let pair = cookie.split(';').next().expect("a pair");
        let cookie = format!("Cookie: {pair}\r\n");
        Self { page, cookie }
    }

    fn ask(&self, method: &str, path: &str, body: &str) -> Vec<u8> {
        let headers = format!("{}Content-Type: application/json\r\n", self.cookie);
        let answer = self.page.ask(method, path, &headers, body);
        assert_eq!(answer.status, 200, "{answer:?}");
        answer.body
    }

    pub fn get(&self, path: &str) -> Value {
        serde_json::from_slice(&self.ask("GET", path, "")).expect("JSON")
    }

    /// What is no JSON: a picture.
    pub fn bytes(&self, path: &str) -> Vec<u8> {
        self.ask("GET", path, "")
    }

    /// Asks for what may not be there: the status, and what is answered.
    pub fn refused(&self, path: &str) -> (u16, Value) {
        let answer = self.page.get(path, &self.cookie);
        let said = serde_json::from_slice(&answer.body).expect("JSON");
        (answer.status, said)
    }

    /// Makes one edit on a state of the page; the state after it.
    pub fn change(&self, state: &Value, label: &str, edit: &Value) -> Value {
        let body = json!({ "base": state["revision"], "label": label, "edits": [edit] });
        let answer = self.ask("POST", "/api/change", &body.to_string());
        serde_json::from_slice(&answer).expect("JSON")
    }

    /// Asks for something that may be refused: the status, and what is answered.
    pub fn post(&self, path: &str, body: &Value) -> (u16, Value) {
        let headers = format!("{}Content-Type: application/json\r\n", self.cookie);
        let answer = self.page.ask("POST", path, &headers, &body.to_string());
        let said = serde_json::from_slice(&answer.body).expect("JSON");
        (answer.status, said)
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
