//! What is kept here doesn't reach the central database: nothing is lost, but whoever looks there sees the past.

use jiff::{SignedDuration, Timestamp};

use crate::Room;
use crate::audience::Told;
use crate::condition::{Condition, Turn};
use crate::scene::{Finding, Scene, withdrawn};
use claymark_notice::content::{Because, ReadingsMissing};
use claymark_notice::{Content, Priority};

/// How forwarding goes.
#[derive(Debug, Default)]
pub(crate) struct Forwarding {
    /// After a restart nothing is known until the forwarder has spoken.
    heard: bool,
    why: String,
    behind_since: Option<Timestamp>,
    condition: Condition,
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

    fn turn(&mut self, now: Timestamp) -> Turn {
        if !self.heard {
            return Turn::Nothing;
        }
        self.condition.observe(now, self.behind_since);
        self.condition.turn(now, SignedDuration::ZERO)
    }

    /// When something is due if nothing changes.
    pub(crate) fn wake(&self) -> Option<Timestamp> {
        self.condition.due(SignedDuration::ZERO).filter(|_| self.heard)
    }

    /// People were told.
    pub(crate) fn tell(&mut self, since: Timestamp, told: Told) {
        self.condition.tell(since, told);
    }

    /// It was withdrawn.
    pub(crate) fn withdraw(&mut self) {
        self.condition.withdraw();
    }
}

impl Room {
    /// Tells that forwarding has fallen behind, and when it has caught up.
    pub(crate) fn check_forwarding(&mut self, scene: &Scene) {
        match self.forwarding.turn(scene.now) {
            Turn::Nothing => {}
            Turn::Tell(since) => {
                let why = self.forwarding.why.clone();
                let content = Content::ReadingsMissing(ReadingsMissing::NotForwarded { since, why });
                let finding = self.on_duty(scene, FORWARDING.to_owned(), Priority::Morning, content);
                // Nobody has to run for it, at whatever time of day.
                let told = self.tell(scene, Finding { priority: Priority::Morning, ..finding });
                self.forwarding.tell(since, told);
            }
            Turn::Withdraw(since) => {
                if let Some(told) = self.forwarding.condition.told().cloned() {
                    let because = Because::Forwarded { since };
                    self.tell(scene, withdrawn(FORWARDING.to_owned(), None, &told, because));
                }
                self.forwarding.withdraw();
            }
        }
    }
}

const FORWARDING: &str = "forwarding";
