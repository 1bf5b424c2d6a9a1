//! How often a device said a time that can't be right.

use std::collections::VecDeque;

use jiff::{SignedDuration, Timestamp};

/// Of one device.
#[derive(Debug, Default)]
pub(super) struct RefusedTimes {
    /// When messages were refused lately, of those that came together one.
    lately: VecDeque<Timestamp>,
    /// Since when nothing of it was taken, and how many messages.
    in_a_row: Option<(Timestamp, usize)>,
}

impl RefusedTimes {
    /// A message of it carried such a time.
    pub(super) fn refuse(&mut self, at: Timestamp) {
        if self.lately.back().is_some_and(|last| at.duration_since(*last) < APART) {
            return;
        }
        self.lately.push_back(at);
        self.forget(at);
        let (since, count) = self.in_a_row.unwrap_or((at, 0));
        self.in_a_row = Some((since, count + 1));
    }

    /// A reading of it was taken.
    pub(super) fn accept(&mut self) {
        self.in_a_row = None;
    }

    /// What its clock shows is known: it isn't refused any more.
    pub(super) fn clear(&mut self) {
        *self = Self::default();
    }

    /// Since when there are too many, and how many within the hour; `None`: there aren't.
    pub(super) fn flood(&mut self, now: Timestamp) -> Option<(Timestamp, usize)> {
        self.forget(now);
        let first = *self.lately.front()?;
        let nothing_else = self
            .in_a_row
            .is_some_and(|(since, count)| count >= A_FEW && now.duration_since(since) >= FOR_A_WHILE);
        (nothing_else || self.lately.len() >= MANY).then_some((first, self.lately.len()))
    }

    fn forget(&mut self, now: Timestamp) {
        while self.lately.front().is_some_and(|first| now.duration_since(*first) > LATELY) {
            self.lately.pop_front();
        }
    }
}

/// Sensors of one device that speak together count once.
const APART: SignedDuration = SignedDuration::from_secs(15);
const LATELY: SignedDuration = SignedDuration::from_hours(1);
/// So many within an hour are told, whatever else is taken.
const MANY: usize = 20;
/// So many, where nothing else is taken for a while.
const A_FEW: usize = 5;
const FOR_A_WHILE: SignedDuration = SignedDuration::from_mins(10);
