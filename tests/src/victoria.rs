//! A real time-series server that takes InfluxDB's writes: Debian's victoria-metrics, on a free port.
//!
//! It keeps numbers only, names a series measurement_field, and gives everything back through its export.

use std::collections::BTreeMap;
use std::fs;
use std::io::{Read as _, Write as _};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Child, Command, Stdio};

use serde::Deserialize;
use tempfile::TempDir;

use crate::broker::signal;
use crate::wait::{free_port, wait_for};

/// A running server; it is killed when it is dropped, and its data go with it.
pub struct Victoria {
    dir: TempDir,
    port: u16,
    process: Option<Child>,
    more: Vec<String>,
}

/// One series as the server gives it back.
#[derive(Debug, Deserialize)]
pub struct ReturnedSeries {
    /// Name under `__name__`, and tags.
    pub metric: BTreeMap<String, String>,
    /// In the order of the times.
    pub values: Vec<f64>,
    /// Milliseconds.
    pub timestamps: Vec<i64>,
}

impl Victoria {
    /// Starts one that holds nothing yet.
    ///
    /// # Panics
    /// When it isn't installed or doesn't start.
    #[must_use]
    pub fn start() -> Self {
        Self::with(|_| Vec::new())
    }

    /// Starts one with more arguments, made in its folder.
    ///
    /// # Panics
    /// When it isn't installed or doesn't start.
    #[must_use]
    pub fn with(more: impl FnOnce(&Path) -> Vec<String>) -> Self {
        let dir = tempfile::tempdir().expect("a temporary folder can be made");
        let more = more(dir.path());
        let mut server = Self { dir, port: free_port(), process: None, more };
        server.run();
        server
    }

    /// Its folder.
    #[must_use]
    pub fn dir(&self) -> &Path {
        self.dir.path()
    }

    /// Its port on 127.0.0.1.
    #[must_use]
    pub fn port(&self) -> u16 {
        self.port
    }

    /// Stops it as an operator would: it writes down what it holds.
    ///
    /// # Panics
    /// When it doesn't end.
    pub fn stop(&mut self) {
        if let Some(mut process) = self.process.take() {
            signal(&process, "INT");
            process.wait().expect("a child can be waited for");
        }
    }

    /// Starts it again on the same port.
    ///
    /// # Panics
    /// When it doesn't start.
    pub fn run(&mut self) {
        let log = fs::OpenOptions::new().create(true).append(true).open(self.dir.path().join("server.log"));
        let log = log.expect("writable");
        let process = Command::new("victoria-metrics")
            .arg(format!("-httpListenAddr=127.0.0.1:{}", self.port))
            .arg(format!("-storageDataPath={}", self.dir.path().join("data").display()))
            // What is older than a month would be dropped.
            .arg("-retentionPeriod=100y")
            // A point that is written twice is one.
            .arg("-dedup.minScrapeInterval=1ms")
            .arg("-memory.allowedBytes=256MB")
            .args(&self.more)
            .stdout(Stdio::from(log.try_clone().expect("a file handle can be cloned")))
            .stderr(Stdio::from(log))
            .spawn()
            .expect("victoria-metrics is installed (tests/run --prepare)");
        self.process = Some(process);
        let port = self.port;
        wait_for("the server listens", || TcpStream::connect(("127.0.0.1", port)).ok());
    }

    /// All series of that name between the times (seconds since 1970).
    ///
    /// # Panics
    /// When the server's answer isn't what its manual says.
    #[must_use]
    pub fn export(&self, name: &str, from: i64, to: i64) -> Vec<ReturnedSeries> {
        // What was written a moment ago isn't seen before this.
        self.get("/internal/force_flush").expect("the server answers");
        let path = format!("/api/v1/export?match%5B%5D={name}&start={from}&end={to}");
        let answer = self.get(&path).expect("the server answers");
        answer.lines().map(|line| serde_json::from_str(line).expect("a series a line")).collect()
    }

    fn get(&self, path: &str) -> Option<String> {
        let mut stream = TcpStream::connect(("127.0.0.1", self.port)).ok()?;
        // HTTP 1.0: the answer comes in one piece.
        write!(stream, "GET {path} HTTP/1.0\r\nHost: 127.0.0.1\r\n\r\n").ok()?;
        let mut answer = String::new();
        stream.read_to_string(&mut answer).ok()?;
        let (head, body) = answer.split_once("\r\n\r\n")?;
        assert!(head.contains(" 200 "), "{path}: {answer}");
        Some(body.to_owned())
    }
}

impl Drop for Victoria {
    fn drop(&mut self) {
        if let Some(mut process) = self.process.take() {
            process.kill().ok();
            process.wait().ok();
        }
    }
}
