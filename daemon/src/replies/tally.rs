//! How often something came from each contact within an hour.

use std::collections::{BTreeMap, VecDeque};

use jiff::{SignedDuration, Timestamp};

use claymark_model::id::Id;

/// Counts up to a number.
#[derive(Debug)]
pub(super) struct Tally {
    most: usize,
    seen: BTreeMap<Id, VecDeque<Timestamp>>,
}

impl Tally {
    pub(super) fn new(most: usize) -> Self {
        Self { most, seen: BTreeMap::new() }
    }

    /// Once more; false: that was once too often.
    pub(super) fn again(&mut self, contact: &Id, now: Timestamp) -> bool {
        if self.is_full(contact, now) {
            return false;
        }
        self.seen.entry(contact.clone()).or_default().push_back(now);
        true
    }

    /// Whether it may not come again now.
    pub(super) fn is_full(&mut self, contact: &Id, now: Timestamp) -> bool {
        let Some(times) = self.seen.get_mut(contact) else { return false };
        while times.front().is_some_and(|time| now.duration_since(*time) >= WITHIN) {
            times.pop_front();
        }
        times.len() >= self.most
    }
}

const WITHIN: SignedDuration = SignedDuration::from_hours(1);

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_contact_has_so_many_an_hour() {
        let id = |name| Id::new(name).unwrap();
        let at = |minute: i64| Timestamp::from_second(minute * 60).unwrap();
        let mut tally = Tally::new(2);
        let heard = [0, 1, 2, 59].map(|minute| tally.again(&id("ann"), at(minute)));
        assert_eq!(heard, [true, true, false, false]);
        assert!(tally.again(&id("kim"), at(2)));
        assert!(tally.again(&id("ann"), at(60)) && !tally.again(&id("ann"), at(60)));
    }
}
