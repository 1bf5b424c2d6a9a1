//! A notice through a command of this machine: a modem that sends short messages, a siren.
//!
//! No shell: the program and its arguments stand in the site file, and what people typed goes to its standard input
//! alone. It gets an empty environment, and after a while it is ended with all that it started.

use std::path::PathBuf;
use std::process::Stdio;
use std::time::Duration;

use rustix::process::{Pid, Signal, kill_process_group};
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::process::{Child, ChildStderr, Command};

use claymark_words::{names, typed};

use super::schedule::Attempt;

/// A command that tells one contact.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LocalCommand {
    /// An absolute path.
    pub program: PathBuf,
    /// As they are, whatever the notice says.
    pub arguments: Vec<String>,
    /// Whether it gets the short form, at most 160 letters.
    pub short: bool,
}

/// One attempt; `patience` is how long it may take.
pub(super) async fn run(
    command: &LocalCommand,
    text: &str,
    patience: Duration,
    on_data: impl Future<Output = ()>,
) -> Attempt {
    let mut prepared = Command::new(&command.program);
    prepared
        .args(&command.arguments)
        .env_clear()
        .current_dir("/")
        .process_group(0)
        .stdin(Stdio::piped())
        .stdout(Stdio::null())
        .stderr(Stdio::piped());
    let mut child = match prepared.spawn() {
        Ok(child) => child,
        // Somebody mends it; the notice must still be there then.
        Err(error) => {
            return Attempt::Later(format!("{} can't be started: {error}", command.program.display()));
        }
    };
    let group = ProcessGroup::of(&child);
    on_data.await;
    let complaint = child.stderr.take().map(first_words);
    let ended = tokio::time::timeout(patience, hand_over(&mut child, text)).await;
    // Whoever still holds its standard error goes with it.
    group.end();
    let said = match complaint {
        Some(words) => tokio::time::timeout(A_MOMENT, words).await.unwrap_or_default(),
        None => String::new(),
    };
    match ended {
        Ok(Ok(status)) if status.success() => Attempt::Accepted,
        Ok(Ok(status)) => Attempt::Later(with(&status.to_string(), &said)),
        Ok(Err(error)) => Attempt::Later(with(&error.to_string(), &said)),
        Err(_elapsed) => {
            child.wait().await.ok();
            let why = format!("it hadn't ended after {} s and was ended", patience.as_secs_f64());
            Attempt::Unanswered(with(&why, &said))
        }
    }
}

async fn hand_over(child: &mut Child, text: &str) -> std::io::Result<std::process::ExitStatus> {
    if let Some(mut input) = child.stdin.take() {
        // A siren needn't read what it is for.
        if let Err(unread) = input.write_all(text.as_bytes()).await {
            tracing::debug!("a command didn't read its text: {unread}");
        }
    }
    child.wait().await
}

/// What it complains of, as far as anybody would read; the rest is let go, so that it never waits for us.
async fn first_words(mut stderr: ChildStderr) -> String {
    let mut kept = Vec::new();
    let mut piece = [0; 1024];
    while let Ok(length) = stderr.read(&mut piece).await
        && length > 0
    {
        if kept.len() < MOST_KEPT {
            kept.extend_from_slice(piece.get(..length).unwrap_or_default());
        }
    }
    let text = String::from_utf8_lossy(&kept);
    names::short(&typed::line(text.trim()), MOST_SHOWN)
}

fn with(why: &str, said: &str) -> String {
    if said.is_empty() { why.to_owned() } else { format!("{why}: {said}") }
}

/// The command with all that it started; it ends when this is dropped, too.
struct ProcessGroup(Option<Pid>);

impl ProcessGroup {
    fn of(child: &Child) -> Self {
        Self(child.id().and_then(|id| Pid::from_raw(i32::try_from(id).ok()?)))
    }

    fn end(mut self) {
        self.kill();
    }

    fn kill(&mut self) {
        if let Some(group) = self.0.take()
            && let Err(gone) = kill_process_group(group, Signal::KILL)
        {
            tracing::trace!("nothing was left of a command: {gone}");
        }
    }
}

impl Drop for ProcessGroup {
    fn drop(&mut self) {
        self.kill();
    }
}

/// A modem that sends one message takes seconds.
pub(super) const PATIENCE: Duration = Duration::from_secs(20);
const A_MOMENT: Duration = Duration::from_secs(1);
const MOST_KEPT: usize = 4096;
const MOST_SHOWN: usize = 240;
