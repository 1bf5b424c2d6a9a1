//! The receiver of webhooks that `deploy/` ships, running.

use std::fs;
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};

use tempfile::TempDir;

use crate::oracle::root;

/// A running receiver; it is killed when it is dropped.
pub struct WebhookReceiver {
    process: Child,
    port: u16,
    dir: TempDir,
}

impl WebhookReceiver {
    /// Starts it with that secret on a free port; with `tls`, a folder that `certificates` filled, it speaks HTTPS.
    ///
    /// # Panics
    /// When Python isn't there.
    #[must_use]
    pub fn start(secret: &str, tls: Option<&Path>) -> Self {
        let dir = tempfile::tempdir().expect("a temporary folder can be made");
        let file = |name: &str| dir.path().join(name);
        fs::write(file("secret"), format!("{secret}\n")).expect("writable");
        let mut command = Command::new("python3");
        command.arg(root().join("deploy/receive-webhook.py")).args(["--listen", "127.0.0.1:0", "--secret"]);
        command.arg(file("secret")).arg("--seen").arg(file("seen"));
        if let Some(tls) = tls {
            command.arg("--cert").arg(tls.join("server.pem")).arg("--key").arg(tls.join("server.key"));
        }
        // One line for each notice that it takes.
        command.args(["sh", "-c", "cat >> \"$0\"; echo >> \"$0\""]).arg(file("taken"));
        let mut process =
            command.stdout(Stdio::piped()).stderr(Stdio::null()).spawn().expect("Python is installed");
        let mut first = String::new();
        let output = process.stdout.take().expect("it is piped");
        BufReader::new(output).read_line(&mut first).expect("it says its port");
        let port = first.trim().rsplit(' ').next().and_then(|port| port.parse().ok()).expect("a port");
        Self { process, port, dir }
    }

    /// Its port on this machine.
    #[must_use]
    pub fn port(&self) -> u16 {
        self.port
    }

    /// The bodies that were taken, in order.
    #[must_use]
    pub fn taken(&self) -> Vec<String> {
        let text = fs::read_to_string(self.file("taken")).unwrap_or_default();
        text.lines().map(str::to_owned).collect()
    }

    /// A file of its folder.
    #[must_use]
    pub fn file(&self, name: &str) -> PathBuf {
        self.dir.path().join(name)
    }
}

impl Drop for WebhookReceiver {
    fn drop(&mut self) {
        self.process.kill().ok();
        self.process.wait().ok();
    }
}
