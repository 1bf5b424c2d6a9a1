//! The daemon's metrics page, asked as a monitoring system asks it.

use std::io::{Read, Write};
use std::net::TcpStream;

/// The value of a metric without labels; none while nobody answers.
///
/// # Panics
/// When the answer isn't OpenMetrics, or the value no number.
#[must_use]
pub fn metric(port: u16, name: &str) -> Option<f64> {
    let page = metrics(port);
    let value = page.lines().find_map(|line| line.strip_prefix(name)?.strip_prefix(' '))?;
    Some(value.parse().expect("a number"))
}

/// One answer of the metrics page; empty while nobody answers.
///
/// # Panics
/// When the answer isn't OpenMetrics.
#[must_use]
pub fn metrics(port: u16) -> String {
    let Ok(mut stream) = TcpStream::connect(("127.0.0.1", port)) else { return String::new() };
    let request = "GET /metrics HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: close\r\n\r\n";
    stream.write_all(request.as_bytes()).expect("the page takes a request");
    let mut answer = String::new();
    stream.read_to_string(&mut answer).expect("the page answers");
    assert!(answer.contains("application/openmetrics-text; version=1.0.0"), "{answer}");
    answer.split_once("\r\n\r\n").map(|(_, body)| body.to_owned()).unwrap_or_default()
}

/// One figure of such an answer, by its name and labels as they stand there.
#[must_use]
pub fn gauge(answer: &str, name: &str) -> Option<f64> {
    let after = |line: &str| line.strip_prefix(name)?.strip_prefix(' ')?.trim().parse().ok();
    answer.lines().find_map(after)
}
