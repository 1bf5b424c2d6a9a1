//! What is kept here doesn't reach the central database: nothing is lost, but whoever looks there sees the past.

use jiff::Timestamp;

use crate::Room;
use crate::alarms::{AlarmSource, QUIET_FOR, Raise, Turn};
use crate::scene::{Finding, Scene, withdrawn};
use claymark_notice::alarm::Holds;
use claymark_notice::content::{Because, ReadingsMissing};
use claymark_notice::{Call, Content, Priority, Urgency};

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
}

impl Room {
    /// Tells that forwarding has fallen behind, and when it has caught up.
    pub(crate) fn check_forwarding(&mut self, scene: &Scene) {
        if !self.forwarding.heard {
            return;
        }
        let holds = self.forwarding.behind_since.map_or(Holds::No, Holds::Since);
        match self.alarms.observe(FORWARDING, AlarmSource::Forwarding, (scene.now, holds)) {
            Turn::Nothing => {}
            Turn::Tell(since) => {
                let why = self.forwarding.why.clone();
                let content = Content::ReadingsMissing(ReadingsMissing::NotForwarded { since, why });
                // Nobody has to run for it, at whatever time of day.
                let at_night = Priority::Morning;
                let finding = self.on_duty(scene, FORWARDING.to_owned(), at_night, content);
                let finding = Finding { priority: at_night, ..finding };
                let (source, call) = (AlarmSource::Forwarding, Call::First);
                self.raise(
                    scene,
                    finding,
                    Raise { source, since, at_night, urgency: Urgency::Look, call },
                    None,
                );
            }
            Turn::Withdraw(since) => {
                if let Some(told) = self.alarms.last(FORWARDING).cloned() {
                    let because = Because::Forwarded { since };
                    self.tell(scene, withdrawn(FORWARDING.to_owned(), None, &told, because));
                    self.alarms.over(FORWARDING, Some(told.at + QUIET_FOR));
                }
            }
        }
    }
}

pub(crate) const FORWARDING: &str = "forwarding";
