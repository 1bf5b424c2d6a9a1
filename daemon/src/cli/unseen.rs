//! What is typed without being seen: a password, at the terminal twice, or as the first line of standard input.

use std::io::{self, BufRead as _, IsTerminal as _, Read as _, Write as _};

use rustix::termios::{LocalModes, OptionalActions, Termios, tcgetattr, tcsetattr};

use super::CommandFailure;

/// What somebody types; never an argument, since those are seen by everybody on the machine.
pub(super) fn typed_unseen(prompt: &str, again: &str) -> Result<String, CommandFailure> {
    let stdin = io::stdin();
    if !stdin.is_terminal() {
        return first_line();
    }
    let quiet = Quiet::begin()?;
    let first = asked(prompt)?;
    let second = asked(again)?;
    drop(quiet);
    if first == second {
        return Ok(first);
    }
    Err(CommandFailure::Wrong {
        what: "Nothing was changed: the two aren't the same.".to_owned(),
        remedy: "Type it again, twice.".to_owned(),
    })
}

fn asked(prompt: &str) -> Result<String, CommandFailure> {
    let mut err = io::stderr();
    write!(err, "{prompt}")?;
    err.flush()?;
    let typed = first_line();
    writeln!(err)?;
    let typed = typed?;
    if typed.contains(INTERRUPT) {
        return Err(CommandFailure::Failed {
            what: "Nothing was changed.".to_owned(),
            remedy: String::new(),
        });
    }
    Ok(typed)
}

fn first_line() -> Result<String, CommandFailure> {
    let mut line = String::new();
    io::stdin().lock().take(LONGEST).read_line(&mut line)?;
    let typed = line.trim_end_matches(['\n', '\r']).to_owned();
    if typed.is_empty() {
        return Err(CommandFailure::Wrong {
            what: "Nothing was changed: no password was typed.".to_owned(),
            remedy: "Type it, or give it on standard input.".to_owned(),
        });
    }
    Ok(typed)
}

/// The terminal shows nothing of what is typed. Ctrl-C is read as a sign meanwhile, so that nobody is left with a terminal
/// that stays silent.
struct Quiet(Termios);

impl Quiet {
    fn begin() -> io::Result<Self> {
        let stdin = io::stdin();
        let before = tcgetattr(&stdin)?;
        let mut quiet = before.clone();
        quiet.local_modes.remove(LocalModes::ECHO | LocalModes::ISIG);
        tcsetattr(&stdin, OptionalActions::Flush, &quiet)?;
        Ok(Self(before))
    }
}

impl Drop for Quiet {
    fn drop(&mut self) {
        if let Err(error) = tcsetattr(io::stdin(), OptionalActions::Now, &self.0) {
            tracing::debug!("the terminal stays as it is: {error}");
        }
    }
}

const INTERRUPT: char = '\u{3}';
/// More than any password.
const LONGEST: u64 = 4096;
