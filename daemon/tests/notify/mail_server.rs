//! The Python mail server of `tests/oracles`, as a child of the test.

use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};

use serde::Deserialize;
use serde::de::DeserializeOwned;

/// Killed when it is dropped.
pub struct MailServer {
    process: Child,
    lines: BufReader<std::process::ChildStdout>,
    pub port: u16,
}

/// A mail that it took, as Python's email package reads it.
#[derive(Debug, Deserialize)]
pub struct Mail {
    pub from: String,
    pub to: Vec<String>,
    pub tls: bool,
    pub login: Option<String>,
    pub headers: Vec<(String, String)>,
    pub text: String,
    pub date: String,
    pub defects: Vec<String>,
    pub changed_by_writing_again: Vec<String>,
    pub longest_line: usize,
    pub bare_line_ends: usize,
    pub ascii: bool,
}

impl Mail {
    /// The only header of that name.
    pub fn header(&self, name: &str) -> &str {
        let found: Vec<&str> =
            self.headers.iter().filter(|(n, _)| n == name).map(|(_, v)| v.as_str()).collect();
        assert_eq!(found.len(), 1, "{name} in {:?}", self.headers);
        found[0]
    }
}

#[derive(Deserialize)]
struct Started {
    port: u16,
}

#[derive(Deserialize)]
struct Refused {
    refused: String,
}

impl MailServer {
    pub fn start(arguments: &[&str]) -> Self {
        let mut process = Command::new(python())
            .arg(root().join("tests/oracles/smtp_server.py"))
            .args(arguments)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap_or_else(|error| panic!("{}: {error}; run tests/run --prepare first", python().display()));
        let lines = BufReader::new(process.stdout.take().unwrap());
        let mut server = Self { process, lines, port: 0 };
        server.port = server.line::<Started>().port;
        server
    }

    /// Waits for the next mail.
    pub fn mail(&mut self) -> Mail {
        self.line()
    }

    /// Waits for the next refusal.
    pub fn refusal(&mut self) -> String {
        self.line::<Refused>().refused
    }

    fn line<T: DeserializeOwned>(&mut self) -> T {
        let mut line = String::new();
        self.lines.read_line(&mut line).unwrap();
        serde_json::from_str(&line).unwrap_or_else(|error| panic!("{error}: {line}"))
    }
}

impl Drop for MailServer {
    fn drop(&mut self) {
        self.process.kill().unwrap();
        self.process.wait().unwrap();
    }
}

/// An own certificate authority and a certificate for localhost, made by openssl.
pub struct Certificates {
    pub authority: PathBuf,
    pub certificate: PathBuf,
    pub key: PathBuf,
}

impl Certificates {
    pub fn make(dir: &Path) -> Self {
        let path = |name: &str| dir.join(name);
        let names = dir.join("names.ext");
        std::fs::write(&names, "subjectAltName=DNS:localhost\n").unwrap();
        let key = ["-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes"];
        openssl(
            dir,
            &[
                &["req", "-x509", "-days", "30", "-subj", "/CN=Test authority"],
                &key[..],
                &["-keyout", "ca.key", "-out", "ca.pem"],
            ],
        );
        openssl(
            dir,
            &[&["req", "-subj", "/CN=localhost"], &key[..], &["-keyout", "server.key", "-out", "server.csr"]],
        );
        openssl(
            dir,
            &[&[
                "x509",
                "-req",
                "-days",
                "30",
                "-in",
                "server.csr",
                "-CA",
                "ca.pem",
                "-CAkey",
                "ca.key",
                "-CAcreateserial",
                "-extfile",
                "names.ext",
                "-out",
                "server.pem",
            ]],
        );
        Self { authority: path("ca.pem"), certificate: path("server.pem"), key: path("server.key") }
    }
}

fn openssl(dir: &Path, arguments: &[&[&str]]) {
    let output = Command::new("openssl").current_dir(dir).args(arguments.concat()).output().unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
}

fn python() -> PathBuf {
    std::env::var_os("CLAYMARK_ORACLE_PYTHON")
        .map_or_else(|| root().join("target/oracles/bin/python"), PathBuf::from)
}

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR")).parent().unwrap()
}
