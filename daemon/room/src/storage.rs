//! Readings can't be kept: warnings go on, but what arrives may be lost.

use jiff::Timestamp;

use crate::Room;
use crate::alarms::{AlarmSource, QUIET_FOR, Raise, Turn};
use crate::scene::{Scene, withdrawn};
use claymark_notice::alarm::Holds;
use claymark_notice::content::{Because, ReadingsMissing};
use claymark_notice::keeping::StoreFate;
use claymark_notice::register::by_the_clock;
use claymark_notice::{Call, Content, Priority, Urgency};

/// Whether the store works.
#[derive(Debug, Default)]
pub(crate) struct Storage {
    why: String,
    failing_since: Option<Timestamp>,
    /// What became of the store, and when, that people don't know yet.
    untold: Vec<(Timestamp, StoreFate)>,
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

    /// Something became of the store itself.
    pub(crate) fn replaced(&mut self, now: Timestamp, fate: StoreFate) {
        self.untold.push((now, fate));
    }

    /// Since when it fails, if it does.
    pub(crate) fn failing_since(&self) -> Option<Timestamp> {
        self.failing_since
    }

    /// What the store said last.
    pub(crate) fn why(&self) -> &str {
        &self.why
    }
}

impl Room {
    /// Tells that readings can't be kept, and when they are again.
    pub(crate) fn check_storage(&mut self, scene: &Scene) {
        for (at, fate) in std::mem::take(&mut self.storage.untold) {
            let content = Content::ReadingsMissing(ReadingsMissing::StoreReplaced { at, fate });
            let finding = self.on_duty(scene, STORE.to_owned(), Priority::Soon, content);
            self.tell(scene, finding);
        }
        let holds = self.storage.failing_since().map_or(Holds::No, Holds::Since);
        match self.alarms.observe(STORE, AlarmSource::Storage, (scene.now, holds)) {
            Turn::Nothing => {}
            Turn::Tell(since) => {
                let at_night = Priority::Soon;
                let finding = self.on_duty(scene, STORE.to_owned(), at_night, self.not_kept(since));
                let (source, call) = (AlarmSource::Storage, Call::First);
                self.raise(
                    scene,
                    finding,
                    Raise { source, since, at_night, urgency: Urgency::Look, call },
                    None,
                );
            }
            Turn::Withdraw(since) => {
                if let Some(told) = self.alarms.last(STORE).cloned() {
                    self.tell(scene, withdrawn(STORE.to_owned(), None, &told, Because::StoreWorks { since }));
                    self.alarms.over(STORE, Some(told.at + QUIET_FOR));
                }
            }
        }
    }

    /// What is to be said while nothing can be kept.
    pub(crate) fn not_kept(&self, since: Timestamp) -> Content {
        let why = self.storage.why().to_owned();
        Content::ReadingsMissing(ReadingsMissing::StoreFailing { since, why })
    }
}

impl Room {
    /// Numbers that were given before aren't known for sure.
    pub(crate) fn past_unread(&mut self, now: Timestamp, wholly: bool) {
        self.last_number = self.last_number.max(by_the_clock(now));
        // Whoever answers one of the past isn't told that there never was such a notice.
        self.register.numbered_up_to(self.last_number);
        if wholly {
            self.storage.replaced(now, StoreFate::PastUnread);
        }
    }

    /// The next notice's number. While notices can't be kept, the clock gives it: after a restart that knows nothing
    /// of them no number comes twice, so that an old answer silences no new warning.
    pub(crate) fn next_number(&self, now: Timestamp) -> u64 {
        let next = self.last_number + 1;
        if self.storage.failing_since().is_some() { next.max(by_the_clock(now)) } else { next }
    }
}

pub(crate) const STORE: &str = "store";
