//! What is kept here doesn't reach the central database: nothing is lost, but whoever looks there sees the past.

use jiff::Timestamp;

use crate::action::{AlarmAction, Finding};
use crate::alarms::{AlarmSource, Turn};
use crate::scene::RoomView;
use claymark_notice::alarm::Holds;
use claymark_notice::content::{Because, ReadingsMissing};
use claymark_notice::{Content, Priority};

/// How forwarding goes; after a restart nothing is known until the forwarder has spoken.
#[derive(Debug, Default)]
pub(crate) struct Forwarding {
    heard: bool,
    why: String,
    behind_since: Option<Timestamp>,
}

impl Forwarding {
    /// It has fallen behind by more than it may.
    pub(crate) fn behind(&mut self, since: Timestamp, why: String) {
        self.heard = true;
        self.behind_since = Some(since);
        self.why = why;
    }

    /// Nothing waits any more.
    pub(crate) fn caught_up(&mut self) {
        self.heard = true;
        self.behind_since = None;
    }

    /// Whether it is behind; `None`: nothing is known.
    pub(crate) fn condition(&self) -> Option<(String, Holds)> {
        let holds = self.behind_since.map_or(Holds::No, Holds::Since);
        self.heard.then(|| (FORWARDING.to_owned(), holds))
    }

    /// Tells that it has fallen behind, and when it has caught up.
    pub(crate) fn turned(&self, view: &RoomView<'_>, turn: Turn) -> Option<AlarmAction> {
        match turn {
            Turn::Tell(since) => {
                let why = self.why.clone();
                let behind = Content::ReadingsMissing(ReadingsMissing::NotForwarded { since, why });
                // Nobody has to run for it, at whatever time of day.
                let priority = Priority::Morning;
                let finding = Finding { priority, ..view.on_duty(FORWARDING, priority, (None, behind)) };
                Some(view.raised(AlarmSource::Forwarding, since, priority, finding))
            }
            Turn::Withdraw(since) => {
                let because = Because::Forwarded { since };
                view.withdrawn(FORWARDING, None, because, view.quiet_until(FORWARDING))
            }
        }
    }
}

const FORWARDING: &str = "forwarding";
