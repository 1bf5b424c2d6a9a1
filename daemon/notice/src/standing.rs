//! What an answer to a notice comes to.

use jiff::Timestamp;
use serde::{Deserialize, Serialize};

/// What an answer to a notice comes to.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "standing", rename_all = "kebab-case")]
pub enum Standing {
    /// Somebody must go, and nobody is on it yet, or only whoever answers again.
    Open,
    /// Somebody else is on it.
    Answered {
        /// Who.
        by: Option<String>,
        /// Since when.
        at: Timestamp,
    },
    /// It no longer holds.
    Over {
        /// Since when.
        at: Timestamp,
    },
    /// It calls nobody: an evening check, an all clear, a question.
    CallsNobody,
    /// There was such a notice, too long ago to be told again.
    TooOld,
    /// There was never such a notice.
    Nonexistent,
}

impl Standing {
    /// Whether the answer takes a call off somebody, or would have.
    #[must_use]
    pub fn fits(&self) -> bool {
        match self {
            Self::Open => true,
            Self::Answered { .. }
            | Self::Over { .. }
            | Self::CallsNobody
            | Self::TooOld
            | Self::Nonexistent => false,
        }
    }
}
