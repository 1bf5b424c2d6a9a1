//! Readings can't be kept: warnings go on, but what arrives may be lost.

use jiff::{SignedDuration, Timestamp};

use crate::notice::content::{Because, ReadingsMissing};
use crate::notice::{Content, Priority};
use crate::room::Room;
use crate::room::duty::Told;
use crate::room::episode::{Episode, Turn};
use crate::room::look::{Scene, withdrawn};

/// Whether the store works.
#[derive(Debug, Default)]
pub(crate) struct Storage {
    why: String,
    failing_since: Option<Timestamp>,
    episode: Episode,
}

impl Storage {
    /// A commit failed.
    pub(crate) fn failed(&mut self, now: Timestamp, why: String) {
        self.failing_since.get_or_insert(now);
        self.why = why;
    }

    /// A commit succeeded.
    pub(crate) fn works(&mut self) {
        self.failing_since = None;
    }

    /// Since when it fails, if it does.
    pub(crate) fn failing_since(&self) -> Option<Timestamp> {
        self.failing_since
    }

    /// What the store said last.
    pub(crate) fn why(&self) -> &str {
        &self.why
    }

    /// What is due: a failed commit is told at once.
    pub(crate) fn turn(&mut self, now: Timestamp) -> Turn {
        self.episode.observe(now, self.failing_since);
        self.episode.turn(now, SignedDuration::ZERO)
    }

    /// When something is due if nothing changes.
    pub(crate) fn wake(&self) -> Option<Timestamp> {
        self.episode.due(SignedDuration::ZERO)
    }

    /// People were told.
    pub(crate) fn tell(&mut self, since: Timestamp, told: Told) {
        self.episode.tell(since, told);
    }

    /// It was withdrawn.
    pub(crate) fn withdraw(&mut self) {
        self.episode.withdraw();
    }

    /// What people were told and still holds.
    pub(crate) fn told(&self) -> Option<&Told> {
        self.episode.told()
    }
}

impl Room {
    /// Tells that readings can't be kept, and when they are again.
    pub(crate) fn look_at_storage(&mut self, scene: &Scene) {
        match self.storage.turn(scene.now) {
            Turn::Nothing => {}
            Turn::Tell(since) => {
                let why = self.storage.why().to_owned();
                let content = Content::ReadingsMissing(ReadingsMissing::StoreFailing { since, why });
                let finding = self.on_duty(scene, STORE.to_owned(), Priority::Soon, content);
                let told = self.tell(scene, finding);
                self.storage.tell(since, told);
            }
            Turn::Withdraw(since) => {
                if let Some(told) = self.storage.told().cloned() {
                    self.tell(scene, withdrawn(STORE.to_owned(), None, &told, Because::StoreWorks { since }));
                }
                self.storage.withdraw();
            }
        }
    }
}

const STORE: &str = "store";
