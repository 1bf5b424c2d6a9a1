//! A real mail server (`tests/oracles/smtp_server.py`) that collects what it takes.

#![expect(clippy::indexing_slicing, reason = "indexing a JSON value gives null, it never panics")]

use std::io::{BufRead, BufReader};
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{Receiver, channel};

use serde_json::Value;

use crate::oracle::{python, root};

/// A running mail server; it is killed when it is dropped.
pub struct MailServer {
    process: Child,
    port: u16,
    taken: Receiver<Value>,
    mails: Vec<Mail>,
}

/// A mail that the server has taken.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Mail {
    /// The envelope's recipients.
    pub to: Vec<String>,
    /// The Subject: header, decoded.
    pub subject: String,
    /// The body.
    pub text: String,
}

impl MailServer {
    /// Starts it on a free port of this machine, without encryption and password.
    ///
    /// # Panics
    /// When the oracle's Python isn't there (`tests/run --prepare`).
    #[must_use]
    pub fn start() -> Self {
        let mut process = Command::new(python())
            .arg(root().join("tests/oracles/smtp_server.py"))
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .expect("the oracle's Python is installed (tests/run --prepare)");
        let mut lines = BufReader::new(process.stdout.take().expect("it is piped")).lines();
        let mut next = move || -> Option<Value> {
            let line = lines.next()?.ok()?;
            Some(serde_json::from_str(&line).expect("the server prints JSON"))
        };
        let started = next().expect("the server says its port");
        let port = started["port"].as_u64().and_then(|port| u16::try_from(port).ok()).expect("a port");
        let (send, taken) = channel();
        std::thread::spawn(move || {
            while let Some(mail) = next() {
                if send.send(mail).is_err() {
                    break;
                }
            }
        });
        Self { process, port, taken, mails: Vec::new() }
    }

    /// Its port on localhost.
    #[must_use]
    pub fn port(&self) -> u16 {
        self.port
    }

    /// Everything that it has taken so far.
    pub fn mails(&mut self) -> &[Mail] {
        while let Ok(mail) = self.taken.try_recv() {
            self.mails.push(Mail::read(&mail));
        }
        &self.mails
    }
}

impl Mail {
    fn read(mail: &Value) -> Self {
        let headers = mail["headers"].as_array().expect("headers");
        let subject = headers.iter().find(|header| header[0] == "Subject").expect("a subject");
        let to = mail["to"].as_array().expect("recipients");
        let text = |value: &Value| value.as_str().expect("text").to_owned();
        Self { to: to.iter().map(text).collect(), subject: text(&subject[1]), text: text(&mail["text"]) }
    }
}

impl Drop for MailServer {
    fn drop(&mut self) {
        self.process.kill().ok();
        self.process.wait().ok();
    }
}
