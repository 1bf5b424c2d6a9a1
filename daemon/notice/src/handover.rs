//! From the evening to the morning: who has the night, and what it has brought.

use claymark_model::id::Id;
use jiff::Timestamp;
use serde::{Deserialize, Serialize};

use crate::NoticeKind;
use crate::drum::EveningDrum;
use crate::failure::StandingFailure;

pub use crate::calling::OnTonight;

/// Nobody has confirmed that the night is theirs.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Handover {
    /// Who should have.
    pub expected: Option<Id>,
    /// When the evening message went out.
    pub evening: Timestamp,
    /// When people come back.
    pub visit: Timestamp,
}

/// Each week everybody is asked for an answer, and an hour later told who gave none.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "step", rename_all = "kebab-case")]
pub enum TestCall {
    /// Answer, please.
    Asked {
        /// By then.
        by: Timestamp,
    },
    /// What came of it.
    Answered {
        /// When everybody was asked.
        asked: Timestamp,
        /// Who answered.
        by: Vec<Id>,
        /// Who didn't.
        silent: Vec<Id>,
    },
}

/// What the night has brought.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Morning {
    /// Since when.
    pub evening: Timestamp,
    /// Who had the night.
    pub tonight: Option<OnTonight>,
    /// Everything that was told, cause by cause, oldest first.
    pub told: Vec<NightCause>,
    /// What stands.
    pub standing: Vec<StandingFailure>,
    /// Each drum, and whether it lasts until the evening check.
    pub drums: Vec<EveningDrum>,
    /// Until then.
    pub next_evening: Option<Timestamp>,
}

/// One thing that people were told of in the night.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct NightCause {
    /// Of what kind.
    pub kind: NoticeKind,
    /// Of which drum.
    pub drum: Option<Id>,
    /// Its first notice.
    pub first: u64,
    /// When that was.
    pub at: Timestamp,
    /// How many notices told it.
    pub notices: usize,
    /// Who said "I'm on it", and when.
    pub answered: Option<(Option<String>, Timestamp)>,
    /// Since when it no longer holds.
    pub over: Option<Timestamp>,
}
