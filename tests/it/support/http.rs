//! A plain HTTP/1.1 client on a socket, so that requests can be as slow, large or wrong as a test wants.
use serde_json::Value;
use std::{
    io::{self, Read, Write},
    net::{SocketAddr, TcpStream},
    time::Duration,
};

/// What came back.
#[derive(Debug)]
pub struct Answer {
    pub status: u16,
    pub head: String,
    pub body: Vec<u8>,
}

impl Answer {
    pub fn json(&self) -> Value {
        serde_json::from_slice(&self.body).expect("JSON")
    }

    pub fn header(&self, name: &str) -> Option<&str> {
        let lines = self.head.lines();
        lines
            .filter_map(|line| line.split_once(": "))
            .find_map(|(key, value)| key.eq_ignore_ascii_case(name).then_some(value))
    }
}

pub fn connect(address: SocketAddr) -> io::Result<TcpStream> {
    let stream = TcpStream::connect(address)?;
    // Far beyond what any answer takes, two hundred at once on a busy machine too: it tells what ends from what does not.
    stream.set_read_timeout(Some(Duration::from_secs(180)))?;
    Ok(stream)
}

/// The head of a request; `headers` are whole lines.
pub fn head(address: SocketAddr, method: &str, path: &str, headers: &str, length: usize) -> String {
    format!(
        "{method} {path} HTTP/1.1\r\nHost: {address}\r\n{headers}Content-Length: {length}\r\nConnection: close\r\n\r\n"
    )
}

pub fn exchange(address: SocketAddr, head: &str, body: &[u8]) -> io::Result<Answer> {
    let mut stream = connect(address)?;
    stream.write_all(head.as_bytes())?;
    // A server that has refused the request need not take the rest.
    let _ = stream.write_all(body);
    read(stream)
}

pub fn read(mut stream: TcpStream) -> io::Result<Answer> {
    let mut bytes = Vec::new();
    let ended = stream.read_to_end(&mut bytes);
    let Some(end) = bytes.windows(4).position(|w| w == b"\r\n\r\n") else {
        return Err(ended
            .err()
            .unwrap_or_else(|| io::ErrorKind::UnexpectedEof.into()));
    };
    let head = String::from_utf8_lossy(&bytes[..end]).into_owned();
    let status = head
        .split(' ')
        .nth(1)
        .and_then(|s| s.parse().ok())
        .expect("a status");
    Ok(Answer {
        status,
        head,
        body: bytes[end + 4..].to_vec(),
    })
}

pub const KIND: &str = "multipart/form-data; boundary=cut-here";

/// A multipart body: the part "job" and files by their names.
pub fn multipart(files: &[(&str, &[u8])]) -> Vec<u8> {
    let mut body = Vec::new();
    for (name, bytes) in files {
        let field = if *name == "job" {
            "name=\"job\"".to_owned()
        } else {
            format!("name=\"file\"; filename=\"{name}\"")
        };
        body.extend(
            format!("--cut-here\r\nContent-Disposition: form-data; {field}\r\n\r\n").bytes(),
        );
        body.extend(*bytes);
        body.extend(b"\r\n");
    }
    body.extend(b"--cut-here--\r\n");
    body
}
