//! What a part of the room wants done: it says so, and the round does it.

use jiff::Timestamp;

use crate::alarms::Raise;
use claymark_model::id::Id;
use claymark_notice::{Audience, Content, Priority, Urgency};

/// Something to tell, before it has its number.
#[derive(Debug)]
pub(crate) struct Finding {
    pub(crate) cause: String,
    pub(crate) drum: Option<Id>,
    pub(crate) priority: Priority,
    pub(crate) replaces: Option<u64>,
    pub(crate) to: Audience,
    pub(crate) content: Content,
}

/// One thing to be told, or to be changed in the table of alarms.
#[derive(Debug)]
pub(crate) enum AlarmAction {
    /// Told once.
    Tell(Finding),
    /// An alarm: people are called again until somebody has promised to come.
    Raise(Finding, Raise),
    /// What was told no longer holds, and isn't told again before then.
    Withdraw(Finding, Option<Timestamp>),
    /// It is over without a word, and isn't told before then.
    End { cause: String, quiet_until: Option<Timestamp> },
    /// It was told by the last notice of another alarm.
    Join { cause: String, told_by: String, raise: Raise },
    /// It is more, or less, pressing than it was.
    Press { cause: String, urgency: Urgency, at_night: Priority },
    /// What it needs was begun: nobody is called before then.
    Begin { cause: String, until: Timestamp },
}

impl AlarmAction {
    /// Whether people hear of it.
    pub(crate) fn is_told(&self) -> bool {
        matches!(self, Self::Tell(_) | Self::Raise(..) | Self::Withdraw(..))
    }
}
