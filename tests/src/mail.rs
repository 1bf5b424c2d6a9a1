//! A real mail server (`tests/oracles/smtp_server.py`), and what Python's email package reads in the mails.

use std::io::{BufRead, BufReader};
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{Receiver, channel};

use serde::Deserialize;

use crate::oracle::{python, root};
use crate::wait::PATIENCE;

/// A running mail server; it is killed when it is dropped.
pub struct MailServer {
    process: Child,
    port: u16,
    lines: Receiver<ServerLine>,
}

/// A mail that the server has taken.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub struct Mail {
    /// The envelope's sender.
    pub from: String,
    /// The envelope's recipients.
    pub to: Vec<String>,
    /// Whether it came encrypted.
    pub tls: bool,
    /// The user who logged in.
    pub login: Option<String>,
    /// All headers, decoded.
    pub headers: Vec<(String, String)>,
    /// The body.
    pub text: String,
    /// The Date: header, ISO 8601.
    pub date: String,
    /// What Python's parser complains of.
    pub defects: Vec<String>,
    /// What Python would have written otherwise.
    pub changed_by_writing_again: Vec<String>,
    /// Bytes.
    pub longest_line: usize,
    /// Line ends that aren't CRLF.
    pub bare_line_ends: usize,
    /// Whether every byte is ASCII.
    pub ascii: bool,
}

/// What the server prints.
#[derive(Deserialize)]
#[serde(untagged)]
enum ServerLine {
    Started { port: u16 },
    Refused { refused: String },
    Taken(Box<Mail>),
}

impl Mail {
    /// The only header of that name.
    ///
    /// # Panics
    /// When there is none, or more than one.
    #[must_use]
    pub fn header(&self, name: &str) -> &str {
        let mut found = self.headers.iter().filter(|(n, _)| n == name).map(|(_, value)| value.as_str());
        let (first, second) = (found.next(), found.next());
        assert_eq!(second, None, "{name} in {:?}", self.headers);
        first.unwrap_or_else(|| panic!("no {name} in {:?}", self.headers))
    }
}

impl MailServer {
    /// Starts it on this machine with the script's own arguments; without any on a free port, without
    /// encryption and password.
    ///
    /// # Panics
    /// When the oracle's Python isn't there (`tests/run --prepare`).
    #[must_use]
    pub fn start(arguments: &[&str]) -> Self {
        let mut process = Command::new(python())
            .arg(root().join("tests/oracles/smtp_server.py"))
            .args(arguments)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .expect("the oracle's Python is installed (tests/run --prepare)");
        let output = BufReader::new(process.stdout.take().expect("it is piped"));
        let (send, lines) = channel();
        std::thread::spawn(move || {
            for line in output.lines().map_while(Result::ok) {
                let line = serde_json::from_str(&line).expect("the server prints what it says it prints");
                if send.send(line).is_err() {
                    break;
                }
            }
        });
        let mut server = Self { process, port: 0, lines };
        match server.next() {
            ServerLine::Started { port } => server.port = port,
            ServerLine::Refused { .. } | ServerLine::Taken(_) => panic!("the server says its port first"),
        }
        server
    }

    /// Its port on localhost.
    #[must_use]
    pub fn port(&self) -> u16 {
        self.port
    }

    /// Sends it a signal by name: STOP lets the system take connections for it on which nothing is said.
    ///
    /// # Panics
    /// When `kill` isn't there.
    pub fn signal(&self, name: &str) {
        crate::broker::signal(&self.process, name);
    }

    /// Waits for the next mail.
    ///
    /// # Panics
    /// When none comes, or a refusal comes first.
    #[must_use]
    pub fn mail(&self) -> Mail {
        match self.next() {
            ServerLine::Taken(mail) => *mail,
            ServerLine::Refused { refused } => panic!("refused: {refused}"),
            ServerLine::Started { .. } => panic!("it starts once"),
        }
    }

    /// Waits for the next refusal.
    ///
    /// # Panics
    /// When none comes, or a mail comes first.
    #[must_use]
    pub fn refusal(&self) -> String {
        match self.next() {
            ServerLine::Refused { refused } => refused,
            ServerLine::Taken(mail) => panic!("taken: {mail:?}"),
            ServerLine::Started { .. } => panic!("it starts once"),
        }
    }

    /// The mails that came since the last call.
    #[must_use]
    pub fn mails(&self) -> Vec<Mail> {
        let taken = |line| match line {
            ServerLine::Taken(mail) => Some(*mail),
            ServerLine::Refused { .. } | ServerLine::Started { .. } => None,
        };
        self.lines.try_iter().filter_map(taken).collect()
    }

    fn next(&self) -> ServerLine {
        self.lines.recv_timeout(PATIENCE).expect("the mail server says something")
    }
}

impl Drop for MailServer {
    fn drop(&mut self) {
        self.process.kill().ok();
        self.process.wait().ok();
    }
}
