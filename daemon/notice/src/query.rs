//! What people are asked about, or told that it wasn't taken: entries and answers, and records of our own.

use jiff::Timestamp;
use serde::{Deserialize, Serialize};

use crate::Answer;
use crate::standing::Standing;
use claymark_clay::bounds::{Impossible, Unlikely};
use claymark_clay::refill::books::MassDoubt;
use claymark_model::fieldlog::Deed;
use claymark_model::id::Id;
use claymark_model::unseen::Unseen;

/// Queries that are told in one notice.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Queries {
    /// The first of them, oldest first.
    pub first: Vec<Query>,
    /// How many more came since.
    pub more: u64,
}

/// One thing that was written, and what is wrong with it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Query {
    /// When it arrived.
    pub at: Timestamp,
    /// By whom, where that is said.
    pub by: Option<String>,
    /// What.
    pub about: About,
}

impl Query {
    /// The key of the entry that is asked about because of what the sensors show.
    #[must_use]
    pub fn doubted_by_sensors(&self) -> Option<&str> {
        match &self.about {
            About::Mass { doubt, .. } => Some(&doubt.key),
            About::Unseen { refill, .. } => Some(&refill.key),
            About::NotTaken { .. }
            | About::Unlikely { .. }
            | About::KeyTaken { .. }
            | About::Answer { .. }
            | About::TooLate { .. }
            | About::NotShelved { .. }
            | About::NotKept { .. }
            | About::Unreadable { .. } => None,
        }
    }

    /// Of an answer that comes too late.
    #[must_use]
    pub fn too_late(answer: &Answer, there_by: Timestamp, needed_by: Timestamp) -> Self {
        let about = About::TooLate { notice: answer.notice, there_by, needed_by };
        Self { at: answer.at, by: answer.by.clone(), about }
    }
}

/// What is wrong.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "query", rename_all = "kebab-case")]
pub enum About {
    /// An entry or an answer wasn't taken.
    NotTaken {
        /// Its text as it came, or the beginning of it.
        written: String,
        /// Why.
        why: WhyNot,
    },
    /// An entry was taken, and can hardly be.
    Unlikely {
        /// Of the entry, for a correction.
        key: String,
        /// What it says.
        deed: Deed,
        /// When that was done.
        done_at: Timestamp,
        /// What speaks against it.
        why: Unlikely,
    },
    /// An entry wasn't taken, since another one has its key.
    KeyTaken {
        /// The key.
        key: String,
        /// What it says.
        deed: Deed,
        /// When that was done.
        done_at: Timestamp,
        /// What the entry says that was taken.
        kept: Deed,
        /// When that was done.
        kept_at: Timestamp,
    },
    /// The clay of a refill is far from what was expected, and the head tank shows by now what it did.
    Mass {
        /// Of which drum.
        drum: Id,
        /// What speaks against it.
        doubt: MassDoubt,
        /// What the head tank shows, NTU or FNU.
        head: Option<f64>,
    },
    /// A refill was written down, and the level, which is believed, shows none.
    Unseen {
        /// Of which drum.
        drum: Id,
        /// The refill.
        refill: Unseen,
    },
    /// An answer that takes no call off anybody.
    Answer {
        /// The number that was typed.
        notice: u64,
        /// What became of that notice.
        standing: Standing,
        /// The number that was probably meant.
        meant: Option<u64>,
    },
    /// An answer that promises to come later than somebody must be there.
    TooLate {
        /// The notice.
        notice: u64,
        /// When they will be there.
        there_by: Timestamp,
        /// When somebody must.
        needed_by: Timestamp,
    },
    /// A notice isn't shelved.
    NotShelved {
        /// Its number.
        notice: u64,
        /// Why not.
        why: NotShelved,
    },
    /// A record that the store can't hold was left out of a commit.
    NotKept {
        /// What kind of record.
        what: String,
        /// What the store said.
        why: String,
    },
    /// Records of the store that can't be read back were passed over.
    Unreadable {
        /// How many.
        count: u64,
        /// What was found in the first of them.
        first: String,
    },
}

/// Why a notice isn't shelved.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum NotShelved {
    /// Fish are in danger.
    Danger,
    /// Nothing that calls people stands by that number.
    NothingStands,
    /// Its end had come before it was heard of.
    Over,
}

/// Why something wasn't taken.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "why", rename_all = "kebab-case")]
pub enum WhyNot {
    /// It can't be meant.
    Impossible {
        /// What can't.
        what: Impossible,
    },
    /// It can't be read.
    Unreadable {
        /// What was found and what was expected.
        detail: String,
    },
    /// It breaks the form in which entries and answers are sent.
    Form {
        /// In that line, from 1 on.
        line: usize,
        /// At that character, from 1 on.
        column: usize,
    },
}

/// So much of a text is shown.
pub const SHOWN_CHARS: usize = 200;

/// The beginning of a text, as much as is shown.
#[must_use]
pub fn shown(text: &str) -> String {
    let mut shown: String = text.chars().take(SHOWN_CHARS).collect();
    if shown.len() < text.len() {
        shown.push('…');
    }
    shown
}
