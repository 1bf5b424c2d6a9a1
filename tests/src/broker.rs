//! A real Mosquitto, started by the test on a free port, with its files in a folder that goes with it.

use std::fs;
use std::net::TcpStream;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};

use tempfile::TempDir;

use crate::certificates;
use crate::wait::{free_port, wait_for};

/// A running broker; it is killed when it is dropped.
pub struct RunningBroker {
    dir: TempDir,
    port: u16,
    process: Option<Child>,
}

/// How the broker is set up.
#[derive(Default)]
pub struct Setup<'a> {
    /// Whether sessions and queued messages survive a restart.
    pub persistent: bool,
    /// User and password; without them everybody may connect.
    pub login: Option<(&'a str, &'a str)>,
    /// Whether it speaks TLS only, with a certificate of an authority of its own ([`RunningBroker::ca`]).
    pub tls: bool,
    /// More lines for its configuration; `{dir}` is its folder.
    pub more: &'a str,
    /// What stands in `rights.json` in its folder.
    pub rights: Option<&'a str>,
}

impl RunningBroker {
    /// A broker that keeps sessions and lets everybody in.
    ///
    /// # Panics
    /// When Mosquitto isn't installed or doesn't start.
    #[must_use]
    pub fn start() -> Self {
        Self::with(&Setup { persistent: true, ..Setup::default() })
    }

    /// A broker of that setup.
    ///
    /// # Panics
    /// When Mosquitto isn't installed or doesn't start.
    #[must_use]
    pub fn with(setup: &Setup<'_>) -> Self {
        let dir = tempfile::tempdir().expect("a temporary folder can be made");
        let port = free_port();
        fs::write(dir.path().join("mosquitto.conf"), configuration(dir.path(), port, setup))
            .expect("writable");
        if let Some(rights) = setup.rights {
            fs::write(dir.path().join("rights.json"), rights).expect("writable");
        }
        let mut broker = Self { dir, port, process: None };
        broker.run();
        broker
    }

    /// Its port on 127.0.0.1.
    #[must_use]
    pub fn port(&self) -> u16 {
        self.port
    }

    /// The certificate of its authority, PEM.
    #[must_use]
    pub fn ca(&self) -> PathBuf {
        self.dir.path().join("ca.pem")
    }

    /// Its folder, for instance to see its log.
    #[must_use]
    pub fn dir(&self) -> &Path {
        self.dir.path()
    }

    /// Stops it as an operator would: it writes down what it keeps.
    ///
    /// # Panics
    /// When it doesn't end.
    pub fn stop(&mut self) {
        if let Some(mut process) = self.process.take() {
            signal(&process, "TERM");
            process.wait().expect("a child can be waited for");
        }
    }

    /// Sends it a signal by name: STOP lets the system take connections for it on which nothing is said.
    ///
    /// # Panics
    /// When it doesn't run.
    pub fn signal(&self, name: &str) {
        signal(self.process.as_ref().expect("it runs"), name);
    }

    /// Starts it again on the same port.
    ///
    /// # Panics
    /// When it doesn't start.
    pub fn run(&mut self) {
        let log = fs::File::create(self.dir.path().join("broker.log")).expect("writable");
        let process = Command::new("mosquitto")
            .arg("-c")
            .arg(self.dir.path().join("mosquitto.conf"))
            .env("PATH", path_with_sbin())
            .stdout(Stdio::from(log.try_clone().expect("a file handle can be cloned")))
            .stderr(Stdio::from(log))
            .spawn()
            .expect("mosquitto is installed (tests/run --prepare)");
        self.process = Some(process);
        let port = self.port;
        wait_for("the broker listens", || TcpStream::connect(("127.0.0.1", port)).ok());
    }
}

impl Drop for RunningBroker {
    fn drop(&mut self) {
        if let Some(mut process) = self.process.take() {
            process.kill().ok();
            process.wait().ok();
        }
    }
}

/// Sends a signal by name to a child.
///
/// # Panics
/// When `kill` isn't there.
pub fn signal(process: &Child, name: &str) {
    let status = Command::new("kill").arg(format!("-{name}")).arg(process.id().to_string()).status();
    assert!(status.expect("kill is installed").success(), "SIG{name} could not be sent");
}

fn configuration(dir: &Path, port: u16, setup: &Setup<'_>) -> String {
    let mut lines = vec![
        // As root it would change to a user that may not read the folder.
        "user root".to_owned(),
        format!("listener {port} 127.0.0.1"),
        format!("allow_anonymous {}", setup.login.is_none()),
        "max_queued_messages 0".to_owned(),
        "log_type all".to_owned(),
    ];
    if setup.persistent {
        lines.push("persistence true".to_owned());
        lines.push(format!("persistence_location {}/", dir.display()));
        lines.push("autosave_interval 5".to_owned());
    }
    if let Some((user, password)) = setup.login {
        let file = dir.join("passwords");
        let mut command = Command::new("mosquitto_passwd");
        command.env("PATH", path_with_sbin()).args(["-b", "-c"]).arg(&file).args([user, password]);
        assert!(command.status().expect("mosquitto_passwd is installed").success());
        lines.push(format!("password_file {}", file.display()));
    }
    if setup.tls {
        certificates::make(dir);
        lines.push(format!("certfile {}/server.pem", dir.display()));
        lines.push(format!("keyfile {}/server.key", dir.display()));
    }
    lines.push(setup.more.replace("{dir}", &dir.display().to_string()));
    lines.join("\n") + "\n"
}

/// Debian keeps the broker in a folder that isn't on everybody's path.
fn path_with_sbin() -> String {
    format!("{}:/usr/sbin:/sbin", std::env::var("PATH").unwrap_or_default())
}
