//! The facts of a notice that didn't reach somebody.

use serde::{Deserialize, Serialize};

use crate::{Channel, Notice};
use claymark_model::id::Id;

/// A notice that didn't reach everybody whom it was for.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Undelivered {
    /// It, with all that it says: who is told instead needs all of it.
    pub notice: Notice,
    /// Whom it didn't reach, and by which way.
    pub missed: Vec<Missed>,
}

/// One way by which a notice doesn't reach somebody, for good or for now.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Missed {
    /// Who.
    pub contact: Id,
    /// By which way.
    pub channel: Channel,
    /// What the server said.
    pub why: String,
    /// The server took it and never said what became of it.
    pub may_have_it: bool,
    /// It failed, and goes on being tried.
    #[serde(default)]
    pub tried_on: bool,
}

impl Undelivered {
    /// Whether this way has just failed, so that it needs no second try.
    #[must_use]
    pub fn failed(&self, contact: &Id, channel: Channel) -> bool {
        self.missed.iter().any(|missed| missed.contact == *contact && missed.channel == channel)
    }
}
