//! Readings can't be kept: warnings go on, but what arrives may be lost.

use jiff::Timestamp;

use crate::action::AlarmAction;
use crate::alarms::{AlarmSource, Turn};
use crate::scene::RoomView;
use claymark_notice::alarm::Holds;
use claymark_notice::content::{Because, ReadingsMissing};
use claymark_notice::keeping::StoreFate;
use claymark_notice::{Content, Priority};

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

    /// Tells what became of the store.
    pub(crate) fn news(&mut self, view: &RoomView<'_>) -> Vec<AlarmAction> {
        let told = |(at, fate)| {
            let content = Content::ReadingsMissing(ReadingsMissing::StoreReplaced { at, fate });
            AlarmAction::Tell(view.on_duty(STORE, Priority::Soon, (None, content)))
        };
        self.untold.drain(..).map(told).collect()
    }

    /// Whether it fails.
    pub(crate) fn condition(&self) -> (String, Holds) {
        (STORE.to_owned(), self.failing_since.map_or(Holds::No, Holds::Since))
    }

    /// Tells that readings can't be kept, and when they are again.
    pub(crate) fn turned(&self, view: &RoomView<'_>, turn: Turn) -> Option<AlarmAction> {
        match turn {
            Turn::Tell(since) => {
                let finding = view.on_duty(STORE, Priority::Soon, (None, self.not_kept(since)));
                Some(view.raised(AlarmSource::Storage, since, Priority::Soon, finding))
            }
            Turn::Withdraw(since) => {
                view.withdrawn(STORE, None, Because::StoreWorks { since }, view.quiet_until(STORE))
            }
        }
    }

    /// What is to be said while nothing can be kept.
    pub(crate) fn not_kept(&self, since: Timestamp) -> Content {
        Content::ReadingsMissing(ReadingsMissing::StoreFailing { since, why: self.why.clone() })
    }
}

const STORE: &str = "store";
