//! Requests as bytes: changed so that most of them are still requests, sent to a server, and what comes back.
use crate::{bytes, harness, json, random::Random};
use serde_json::Value;
use std::{
    io::{self, BufRead, BufReader, Read, Write},
    net::TcpStream,
    process::{Child, Command, Stdio},
    time::Duration,
};

/// A server is given up after this part of the time that an input may take.
const LONGEST_ANSWER: f64 = 5.0 / 6.0;
/// What is not a whole request may be waited for by the server: it is not waited for here.
const PATIENCE: Duration = Duration::from_millis(100);
const GAP: &[u8] = b"\r\n\r\n";

/// A program that serves, killed when it is dropped.
pub struct Server {
    child: Child,
    /// Its first line of output.
    pub line: String,
}

impl Drop for Server {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

impl Server {
    pub fn start(command: &mut Command) -> Self {
        command
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::null());
        let mut child = command.spawn().expect("starts");
        let out = child.stdout.take().expect("piped");
        let mut line = String::new();
        BufReader::new(out)
            .read_line(&mut line)
            .expect("an address");
        let line = line.trim().to_owned();
        Self { child, line }
    }
}

/// The head of a request without its gap, and the body.
pub fn parts(request: &[u8]) -> (&[u8], &[u8]) {
    match request.windows(GAP.len()).position(|w| w == GAP) {
        Some(at) => (&request[..at], &request[at + GAP.len()..]),
        None => (request, b""),
    }
}

/// A request of the corpus with changes; its length is right as a rule.
pub fn mutated(random: &mut Random, corpus: &[Vec<u8>]) -> Vec<u8> {
    let request = random.pick(corpus).clone();
    let (head, body) = parts(&request);
    let mut head = head.to_vec();
    let body = match random.below(4) {
        0 => body.to_vec(),
        _ => changed_body(random, body),
    };
    if random.one_in(3) {
        let heads: Vec<Vec<u8>> = corpus.iter().map(|r| parts(r).0.to_vec()).collect();
        head = match random.below(3) {
            0 => bytes::mutated(random, &heads),
            1 => with_other_path(random, &head),
            _ => [&head[..], b"\r\n", odd_header(random).as_bytes()].concat(),
        };
    }
    let length = match random.below(10) {
        0 => "0".to_owned(),
        1 => (body.len() + random.below(20)).to_string(),
        _ => body.len().to_string(),
    };
    let request = [&head[..], GAP, &body].concat();
    filled(&request, &[("{length}", &length)])
}

/// The body as JSON, the JSON inside it, or as bytes.
fn changed_body(random: &mut Random, body: &[u8]) -> Vec<u8> {
    if serde_json::from_slice::<Value>(body).is_ok() {
        return json::mutated(random, &[body.to_vec()]);
    }
    let (start, end) = (
        body.iter().position(|b| *b == b'{'),
        body.windows(3).position(|w| w == b"}\r\n"),
    );
    match (start, end) {
        (Some(start), Some(end)) if start < end && !random.one_in(3) => {
            let inner = json::mutated(random, &[body[start..=end].to_vec()]);
            [&body[..start], &inner, &body[end + 1..]].concat()
        }
        _ => bytes::mutated(random, &[body.to_vec()]),
    }
}

fn with_other_path(random: &mut Random, head: &[u8]) -> Vec<u8> {
    const STEPS: [&str; 14] = [
        "/",
        "..",
        "%2e%2e",
        "%00",
        "%ff",
        "jobs",
        "{id}",
        "files",
        "report.json",
        "?a=b",
        "//",
        "%2f",
        "ü",
        "x",
    ];
    let head = String::from_utf8_lossy(head).into_owned();
    let mut parts = head.splitn(3, ' ');
    let method = parts.next().unwrap_or_default();
    let method = random
        .word(&["GET", "POST", "DELETE", "HEAD", "OPTIONS", "PUT", "BREW"])
        .to_owned()
        + &method[..0];
    let old = parts.next().unwrap_or_default();
    let mut path = if random.one_in(2) {
        old.to_owned()
    } else {
        "/".to_owned()
    };
    for _ in 0..=random.below(4) {
        path.push_str(random.word(&STEPS));
        if random.one_in(2) {
            path.push('/');
        }
    }
    format!("{method} {path} {}", parts.next().unwrap_or_default()).into_bytes()
}

fn odd_header(random: &mut Random) -> String {
    const HEADERS: [&str; 14] = [
        "Origin: http://127.0.0.1",
        "Origin: null",
        "Host: elsewhere.example",
        "Authorization: bearer x",
        "Cookie: a=b; c",
        "Content-Type: text/plain",
        "Content-Type: multipart/form-data",
        "Content-Type: multipart/form-data; boundary=\"",
        "Transfer-Encoding: chunked",
        "Content-Length: 18446744073709551616",
        "Expect: 100-continue",
        "Range: bytes=0-1",
        "Connection: upgrade",
        "X: \u{202e}",
    ];
    match random.one_in(5) {
        true => format!("Long: {}", "x".repeat(random.size(18))),
        false => random.word(&HEADERS).to_owned(),
    }
}

/// The request with words in the place of their keys.
pub fn filled(request: &[u8], values: &[(&str, &str)]) -> Vec<u8> {
    let mut out = Vec::with_capacity(request.len());
    let mut rest = request;
    while let Some((byte, after)) = rest.split_first() {
        let value = values
            .iter()
            .find(|(key, _)| rest.starts_with(key.as_bytes()));
        match value {
            Some((key, value)) => {
                out.extend(value.as_bytes());
                rest = &rest[key.len()..];
            }
            None => {
                out.push(*byte);
                rest = after;
            }
        }
    }
    out
}

/// What came back.
pub struct Answer {
    pub status: u16,
    pub head: String,
    pub body: Vec<u8>,
}

/// Sends a request; `None` where nothing comes back, as for what is no request or not a whole one.
pub fn ask(host: &str, request: &[u8]) -> Result<Option<Answer>, String> {
    let is_whole = is_whole(request);
    let longest_answer = harness::longest().mul_f64(LONGEST_ANSWER);
    let longest = if is_whole { longest_answer } else { PATIENCE };
    let failed = |e: io::Error| format!("no answer: {}", e.kind());
    let mut stream =
        TcpStream::connect(host).map_err(|e| format!("the server is gone: {}", e.kind()))?;
    stream.set_read_timeout(Some(longest)).map_err(failed)?;
    stream
        .set_write_timeout(Some(longest_answer))
        .map_err(failed)?;
    // One that has refused a request need not take the rest of it.
    let _ = stream.write_all(request);
    let mut bytes = Vec::new();
    match stream.read_to_end(&mut bytes) {
        Err(e) if bytes.is_empty() && is_whole && is_timeout(&e) => {
            return Err("no answer in 25 s".to_owned());
        }
        // The rest of a refused body is reset.
        _ => {}
    }
    first_answer(&bytes)
}

/// The first answer that is one: "go on" is none, and what follows belongs to what follows the request.
fn first_answer(bytes: &[u8]) -> Result<Option<Answer>, String> {
    let (head, rest) = parts(bytes);
    if head.is_empty() {
        return Ok(None);
    }
    let head = String::from_utf8_lossy(head).into_owned();
    let status = head.split(' ').nth(1).and_then(|s| s.parse().ok());
    let status = status.ok_or_else(|| format!("no status in {head:.80}"))?;
    if status == 100 {
        return first_answer(rest);
    }
    let length = head.to_lowercase().lines().find_map(|line| {
        let length = line.strip_prefix("content-length: ")?;
        length.trim().parse().ok()
    });
    let body = &rest[..rest.len().min(length.unwrap_or(usize::MAX))];
    Ok(Some(Answer {
        status,
        head,
        body: body.to_vec(),
    }))
}

fn is_timeout(error: &io::Error) -> bool {
    matches!(
        error.kind(),
        io::ErrorKind::WouldBlock | io::ErrorKind::TimedOut
    )
}

/// Whether all of a request is there, as far as its head is plain, and the connection ends with its answer.
fn is_whole(request: &[u8]) -> bool {
    let (head, body) = parts(request);
    let head = String::from_utf8_lossy(head).to_lowercase();
    let values = |key: &str| {
        let fields = head.lines().filter_map(|line| line.split_once(':'));
        let of_key = fields.filter(|(name, _)| *name == key);
        of_key
            .map(|(_, value)| value.trim().to_owned())
            .collect::<Vec<_>>()
    };
    let lengths = values("content-length");
    let is_there = match lengths.as_slice() {
        [] => body.is_empty(),
        [one] => one.parse().is_ok_and(|length: usize| length <= body.len()),
        _ => false,
    };
    let ends = values("connection") == ["close"];
    is_there && ends && values("transfer-encoding").is_empty() && request.len() > head.len()
}

/// Fails where a refusal has no code or no words.
pub fn check_refusal(answer: &Answer) -> Result<(), String> {
    // What is no HTTP is refused by the library that reads it, without a body.
    if answer.status < 400 || answer.body.is_empty() {
        return Ok(());
    }
    let body: Value = serde_json::from_slice(&answer.body).map_err(|_| {
        format!(
            "{} with a body that is no refusal: {}",
            answer.status,
            String::from_utf8_lossy(&answer.body)
        )
    })?;
    let text = |key: &str| body["error"][key].as_str().unwrap_or_default().to_owned();
    crate::words::check_code(&text("code"))?;
    crate::words::check("refusal", &text("text"), 2_000_000)
}
