//! The built programs, and the daemon as a child of the test.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitStatus, Stdio};
use std::time::Duration;

use crate::broker::signal;
use crate::wait::{wait_for, wait_within};

/// A built program of this workspace: `$CLAYMARK_BIN_DIR`, or else what lies beside the running test.
///
/// # Panics
/// When it hasn't been built: `cargo build` (with `--release` for release tests) comes first.
#[must_use]
pub fn program(name: &str) -> PathBuf {
    let dir = std::env::var_os("CLAYMARK_BIN_DIR").map_or_else(beside_the_test, PathBuf::from);
    let path = dir.join(name);
    assert!(
        path.is_file(),
        "{} isn't there: build it first (cargo build, --release for release)",
        path.display()
    );
    path
}

/// The Python that holds the reference libraries: `$CLAYMARK_ORACLE_PYTHON`, or else what
/// `tests/run --prepare` has made.
#[must_use]
pub fn oracle_python() -> PathBuf {
    let made = || Path::new(env!("CARGO_MANIFEST_DIR")).with_file_name("target/oracles/bin/python");
    std::env::var_os("CLAYMARK_ORACLE_PYTHON").map_or_else(made, PathBuf::from)
}

/// A test runs from `target/PROFILE/deps`; the programs of that profile lie one folder up.
fn beside_the_test() -> PathBuf {
    let test = std::env::current_exe().expect("a running program has a path");
    let dir = test.ancestors().nth(2).expect("tests run from target/PROFILE/deps");
    dir.to_path_buf()
}

/// A running `claymark run`; it is killed when it is dropped.
pub struct Daemon {
    process: Child,
    log: PathBuf,
}

impl Daemon {
    /// Starts it on a site file; what it says goes into `log`, which is kept over restarts.
    ///
    /// # Panics
    /// When it can't be started.
    #[must_use]
    pub fn start(site: &Path, log: &Path) -> Self {
        Self::spawn(Command::new(program("claymark")).arg("run").arg("--config").arg(site), log)
    }

    /// Starts it by a command of the test's own, for instance under a limit.
    ///
    /// # Panics
    /// When it can't be started.
    #[must_use]
    pub fn spawn(command: &mut Command, log: &Path) -> Self {
        let out = fs::OpenOptions::new().create(true).append(true).open(log).expect("writable");
        let process = command
            .env_remove("JOURNAL_STREAM")
            .stdin(Stdio::null())
            .stdout(Stdio::from(out.try_clone().expect("a file handle can be cloned")))
            .stderr(Stdio::from(out))
            .spawn()
            .expect("the daemon starts");
        Self { process, log: log.to_path_buf() }
    }

    /// Waits until its log says this.
    ///
    /// # Panics
    /// When it doesn't, with the log.
    pub fn says(&self, text: &str) {
        let log = || fs::read_to_string(&self.log).unwrap_or_default();
        wait_for(&format!("the daemon says '{text}'"), || log().contains(text).then_some(()));
    }

    /// `kill -9`.
    ///
    /// # Panics
    /// When it has ended before.
    pub fn kill(mut self) {
        self.process.kill().expect("it was running");
        self.process.wait().expect("a child can be waited for");
    }

    /// Sends a signal by name.
    pub fn signal(&self, name: &str) {
        signal(&self.process, name);
    }

    /// Waits for its end.
    ///
    /// # Panics
    /// When it doesn't end.
    pub fn ends(&mut self) -> ExitStatus {
        wait_for("the daemon ends", || self.process.try_wait().expect("a child can be asked"))
    }

    /// Waits for its end, no longer than so.
    ///
    /// # Panics
    /// When it takes longer.
    pub fn ends_within(&mut self, most: Duration) -> ExitStatus {
        wait_within(most, "the daemon ends", || self.process.try_wait().expect("a child can be asked"))
    }

    /// Changes one of its limits from outside, by the name that `prlimit` has for it.
    ///
    /// # Panics
    /// When `prlimit` refuses.
    pub fn set_limit(&self, limit: &str, to: &str) {
        let mut prlimit = Command::new("prlimit");
        prlimit.arg("--pid").arg(self.process.id().to_string()).arg(format!("--{limit}={to}:unlimited"));
        assert!(prlimit.status().expect("prlimit is installed").success());
    }

    /// CPU time so far, in user and kernel, seconds; from Linux's hundredths (proc(5), `/proc/pid/stat`, 14 and 15).
    ///
    /// # Panics
    /// When the process is gone.
    #[must_use]
    pub fn cpu_s(&self) -> f64 {
        let stat = self.about("stat");
        let (_, after_name) = stat.rsplit_once(')').expect("the name stands in brackets");
        let ticks = after_name.split_whitespace().skip(11).take(2).map(|field| field.parse::<f64>());
        ticks.map(|ticks| ticks.expect("a number")).sum::<f64>() / 100.0
    }

    /// The most memory that it held at once, KiB (proc(5), `/proc/pid/status`, VmHWM).
    ///
    /// # Panics
    /// When the process is gone.
    #[must_use]
    pub fn peak_kib(&self) -> f64 {
        let status = self.about("status");
        let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:")).expect("Linux says it");
        line.trim().trim_end_matches(" kB").parse().expect("a number")
    }

    /// Bytes that it has caused to be written to a disk so far (proc(5), `/proc/pid/io`, `write_bytes`).
    ///
    /// # Panics
    /// When the process is gone.
    #[must_use]
    pub fn written_bytes(&self) -> u64 {
        let io = self.about("io");
        let line = io.lines().find_map(|line| line.strip_prefix("write_bytes: ")).expect("Linux says it");
        line.trim().parse().expect("a number")
    }

    fn about(&self, what: &str) -> String {
        fs::read_to_string(format!("/proc/{}/{what}", self.process.id())).expect("it runs")
    }

    /// Whether it still runs.
    ///
    /// # Panics
    /// When the child can't be asked.
    pub fn runs(&mut self) -> bool {
        self.process.try_wait().expect("a child can be asked").is_none()
    }
}

impl Drop for Daemon {
    fn drop(&mut self) {
        self.process.kill().ok();
        self.process.wait().ok();
    }
}
