//! Why a command ended without doing its work: a sentence on what is wrong, one on what to do.

use std::io::{IsTerminal as _, Write as _};
use std::process::ExitCode;

use claymark_store::StoreError;
use claymark_words::typed;

use crate::config::{ConfigError, Mistakes};
use crate::intake::one_shot::ErrandError;
use crate::replay::ReplayError;
use crate::run::RunError;

/// What went wrong, and so the exit status.
#[derive(Debug)]
pub enum CommandFailure {
    /// The command line or the site file is wrong: status 2.
    Wrong {
        /// A sentence.
        what: String,
        /// A sentence, unless `what` says it already.
        remedy: String,
    },
    /// The site file has mistakes: status 2.
    Mistakes(Mistakes),
    /// It failed while running: status 1.
    Failed {
        /// A sentence.
        what: String,
        /// A sentence, unless `what` says it already.
        remedy: String,
    },
}

impl CommandFailure {
    /// 2: the command line or the site file is wrong; 1: it failed while running.
    #[must_use]
    pub fn status(&self) -> ExitCode {
        match self {
            Self::Wrong { .. } | Self::Mistakes(_) => ExitCode::from(2),
            Self::Failed { .. } => ExitCode::from(1),
        }
    }

    /// Says it on standard error.
    pub fn tell(&self) {
        let mut err = std::io::stderr();
        let text = self.text(err.is_terminal());
        // The exit status says it once more to whoever closed standard error.
        drop(err.write_all(text.as_bytes()));
    }

    pub(super) fn text(&self, fancy: bool) -> String {
        match self {
            Self::Wrong { what, remedy } | Self::Failed { what, remedy } if remedy.is_empty() => {
                format!("{}\n", typed::lines(what))
            }
            Self::Wrong { what, remedy } | Self::Failed { what, remedy } => {
                format!("{}\n{}\n", typed::lines(what), typed::lines(remedy))
            }
            Self::Mistakes(mistakes) => {
                let number = crate::config::count(mistakes.len(), "mistake");
                format!(
                    "{}The site file has {number}; nothing was started. Mend what stands above.\n",
                    mistakes.render(fancy)
                )
            }
        }
    }
}

impl From<ConfigError> for CommandFailure {
    fn from(error: ConfigError) -> Self {
        match error {
            ConfigError::Mistakes(mistakes) => Self::Mistakes(mistakes),
            unreadable @ ConfigError::Unreadable { .. } => Self::Wrong {
                what: unreadable.to_string(),
                remedy:
                    "Name the site file with --config FILE; config/site.toml is an example to start from."
                        .to_owned(),
            },
        }
    }
}

impl From<ErrandError> for CommandFailure {
    fn from(error: ErrandError) -> Self {
        let remedy = match &error {
            ErrandError::Tls(_) => "Look at [mqtt] tls and ca_file in the site file.",
            ErrandError::Unreachable { .. } => {
                "See whether the broker runs (systemctl status mosquitto) and [mqtt] host, port and tls are right, then send it again."
            }
            ErrandError::LoginRefused { .. } => "Look at [mqtt] user and password_file in the site file.",
            ErrandError::Denied { .. } => {
                "Let this user write there: see the broker's list of rights (deploy/mosquitto/acl)."
            }
            ErrandError::Unacknowledged { .. } => {
                "It may have arrived or not: look into the log before you send it again."
            }
        };
        Self::Failed { what: format!("{error}."), remedy: remedy.to_owned() }
    }
}

impl From<ReplayError> for CommandFailure {
    fn from(error: ReplayError) -> Self {
        let remedy = match &error {
            ReplayError::File { .. } => "Look at the path and its permissions, and whether the disk is full.",
            ReplayError::Recording { .. } => {
                "Mend that line or leave it out; what was replayed before it stands in the output folder."
            }
            // These say what to do themselves.
            ReplayError::NotOurs(_) | ReplayError::Store { .. } => "",
        };
        Self::Failed { what: format!("{error}."), remedy: remedy.to_owned() }
    }
}

impl From<StoreError> for CommandFailure {
    fn from(error: StoreError) -> Self {
        // Each says what to do itself.
        Self::Failed { what: format!("{error}."), remedy: String::new() }
    }
}

impl From<RunError> for CommandFailure {
    fn from(error: RunError) -> Self {
        let remedy =
            "Start it again when that is mended: the broker keeps the readings meanwhile.".to_owned();
        Self::Failed { what: error.to_string(), remedy }
    }
}

impl From<std::io::Error> for CommandFailure {
    fn from(error: std::io::Error) -> Self {
        Self::Failed {
            what: format!("the output can't be written: {error}"),
            remedy: "See whether the disk is full or the reader of the pipe is gone.".to_owned(),
        }
    }
}
