//! A browser that a test writes by hand: one request, its answer.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;

use crate::wait::{PATIENCE, latest, left};

/// What came back.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WebAnswer {
    /// Such as 200.
    pub status: u16,
    /// As they came.
    pub head: String,
    /// The rest.
    pub body: String,
}

impl WebAnswer {
    /// A header, whatever its case; empty without one.
    #[must_use]
    pub fn header(&self, name: &str) -> &str {
        let of = |line: &'_ str| line.split_once(':').is_some_and(|(key, _)| key.eq_ignore_ascii_case(name));
        let line = self.head.lines().find(|line| of(line)).unwrap_or_default();
        line.split_once(':').map(|(_, value)| value.trim()).unwrap_or_default()
    }
}

/// A page of this machine, asked by its own name.
///
/// # Panics
/// When nobody answers.
#[must_use]
pub fn get(port: u16, path: &str) -> WebAnswer {
    ask(port, &format!("GET {path} HTTP/1.1\r\nHost: localhost:{port}\r\nConnection: close\r\n\r\n"))
}

/// A form of ours, sent as a browser sends it.
///
/// # Panics
/// When nobody answers.
#[must_use]
pub fn post(port: u16, path: &str, fields: &[(&str, &str)]) -> WebAnswer {
    post_from(port, path, fields, &format!("http://localhost:{port}"))
}

/// A form that a page of `origin` sends.
///
/// # Panics
/// When nobody answers.
#[must_use]
pub fn post_from(port: u16, path: &str, fields: &[(&str, &str)], origin: &str) -> WebAnswer {
    let pairs: Vec<String> =
        fields.iter().map(|(name, value)| format!("{name}={}", escaped(value))).collect();
    let body = pairs.join("&");
    ask(
        port,
        &format!(
            "POST {path} HTTP/1.1\r\nHost: localhost:{port}\r\nOrigin: {origin}\r\nConnection: close\r\n\
             Content-Type: application/x-www-form-urlencoded\r\nContent-Length: {}\r\n\r\n{body}",
            body.len()
        ),
    )
}

/// Any request.
///
/// # Panics
/// When nobody answers.
#[must_use]
pub fn ask(port: u16, request: &str) -> WebAnswer {
    let mut stream = TcpStream::connect(("127.0.0.1", port)).expect("the page is served");
    stream.set_read_timeout(Some(PATIENCE)).expect("a socket can wait");
    stream.write_all(request.as_bytes()).expect("the page takes a request");
    let mut answer = Vec::new();
    stream.read_to_end(&mut answer).expect("the page answers");
    let answer = String::from_utf8(answer).expect("pages are UTF-8");
    let (head, body) = answer.split_once("\r\n\r\n").unwrap_or((&answer, ""));
    let status = head.split(' ').nth(1).and_then(|code| code.parse().ok()).unwrap_or(0);
    WebAnswer { status, head: head.to_owned(), body: body.to_owned() }
}

/// A page that stays open.
pub struct OpenStream(BufReader<TcpStream>);

impl OpenStream {
    /// Opens it.
    ///
    /// # Panics
    /// When nobody answers.
    #[must_use]
    pub fn open(port: u16, path: &str) -> Self {
        let mut stream = TcpStream::connect(("127.0.0.1", port)).expect("the page is served");
        stream.set_read_timeout(Some(PATIENCE)).expect("a socket can wait");
        let request = format!("GET {path} HTTP/1.1\r\nHost: localhost:{port}\r\n\r\n");
        stream.write_all(request.as_bytes()).expect("the page takes a request");
        Self(BufReader::new(stream))
    }

    /// Waits for a line that holds the words.
    ///
    /// # Panics
    /// When none comes in time.
    pub fn hears(&mut self, words: &str) -> String {
        let mut line = String::new();
        // Signs of life alone keep the socket from ever timing out.
        let latest = latest();
        loop {
            assert!(!left(latest).is_zero(), "no \"{words}\" within {PATIENCE:?}, at last: {line}");
            line.clear();
            let read = self.0.read_line(&mut line).unwrap_or_else(|error| panic!("no \"{words}\": {error}"));
            assert!(read > 0, "the stream ended before \"{words}\"");
            if line.contains(words) {
                return line;
            }
        }
    }
}

fn escaped(text: &str) -> String {
    text.bytes()
        .map(|byte| match byte {
            b'a'..=b'z' | b'A'..=b'Z' | b'0'..=b'9' | b'-' | b'.' | b'_' => char::from(byte).to_string(),
            other => format!("%{other:02X}"),
        })
        .collect()
}
