//! What one commit carries.

use jiff::Timestamp;
use serde::{Deserialize, Serialize};

use claymark_clay::LearnedYield;
use claymark_model::fieldlog::LogEntry;
use claymark_model::forecast::Forecast;
use claymark_model::happening::Happening;
use claymark_model::id::Id;
use claymark_model::quarantine::Quarantined;
use claymark_model::reading::Assessed;
use claymark_model::skill::MarkForecast;
pub use claymark_notice::Channel;
use claymark_notice::{Answer, Notice};

/// A notice with its sentences, as it is sent and kept.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Issued {
    /// The facts.
    pub notice: Notice,
    /// First line, which stands alone on a lock screen.
    pub subject: String,
    /// The body, plain text.
    pub text: String,
}

/// One notice on its way to one contact by one channel; keyed by the three.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Delivery {
    /// Number of the notice.
    pub notice: u64,
    /// To whom.
    pub contact: Id,
    /// By which way.
    pub channel: Channel,
    /// How far it came.
    pub state: DeliveryState,
}

/// How far a delivery came.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "state", rename_all = "kebab-case")]
pub enum DeliveryState {
    /// Not yet accepted by the next server.
    Pending {
        /// How often it was tried.
        attempts: u32,
        /// When to try next.
        next_try: Timestamp,
        /// What the last attempt said.
        last_error: Option<String>,
    },
    /// Accepted by the next server.
    Sent {
        /// When.
        at: Timestamp,
        /// How often it was tried; 0: that wasn't counted.
        #[serde(default)]
        attempts: u32,
    },
    /// Refused for good, or tried for too long.
    GivenUp {
        /// When.
        at: Timestamp,
        /// Why.
        why: String,
        /// How often it was tried; 0: never, or that wasn't counted.
        #[serde(default)]
        attempts: u32,
    },
    /// The server took the data and didn't say whether it keeps them: the contact may have it, or not.
    Unanswered {
        /// How often it was tried at all.
        attempts: u32,
        /// How often the server took the data without a word.
        times: u32,
        /// When to try next.
        next_try: Timestamp,
        /// What the last attempt said; `None`: the data are on their way.
        last_error: Option<String>,
    },
}

/// What one commit carries; all of it is on disk afterwards, or nothing.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct CommitBatch {
    /// New readings, and rows whose spike flag was settled.
    pub readings: Vec<Assessed>,
    /// Kept aside.
    pub quarantined: Vec<Quarantined>,
    /// Field-log entries.
    pub log: Vec<LogEntry>,
    /// Answers to notices.
    pub answers: Vec<Answer>,
    /// Forecasts.
    pub forecasts: Vec<Forecast>,
    /// What happened to drums.
    pub happenings: Vec<Happening>,
    /// What was said of a drum's marks, or what became of it.
    pub marks: Vec<MarkForecast>,
    /// What was learned of the clay.
    pub yields: Vec<LearnedYield>,
    /// Notices.
    pub notices: Vec<Issued>,
    /// Deliveries, new or changed.
    pub deliveries: Vec<Delivery>,
    /// The last time that the broker session stood, to be told after a loss.
    pub session_seen: Option<Timestamp>,
}

impl CommitBatch {
    /// Without what arrived and what was seen in it, for messages that will be delivered once more: what people were
    /// told and what was forecast.
    #[must_use]
    pub fn decided(self) -> Self {
        let Self { forecasts, notices, deliveries, .. } = self;
        Self { forecasts, notices, deliveries, ..Self::default() }
    }
}
