//! What people wrote down of late: a failure may be a deed, and people want to see the nearest one.

use jiff::{SignedDuration, Timestamp};

use claymark_model::fieldlog::{Deed, LogEntry};

/// The entries of the last days.
#[derive(Debug, Default)]
pub(crate) struct Journal {
    entries: Vec<LogEntry>,
}

impl Journal {
    /// Takes an entry; a correction strikes out what it replaces.
    pub(crate) fn take(&mut self, now: Timestamp, entry: &LogEntry) {
        let replaced = |old: &LogEntry| entry.replaces.as_ref() == Some(&old.key) || old.key == entry.key;
        self.entries.retain(|old| !replaced(old) && old.at >= now - KEPT);
        self.entries.push(entry.clone());
        self.entries.sort_by_key(|entry| entry.at);
    }

    /// Entries done from one time to another, oldest first.
    pub(crate) fn between(&self, from: Timestamp, to: Timestamp) -> impl Iterator<Item = &LogEntry> {
        self.entries.iter().filter(move |entry| (from..=to).contains(&entry.at))
    }

    /// Whether something of that sort was done from one time to another.
    pub(crate) fn has_between(&self, from: Timestamp, to: Timestamp, sort: impl Fn(&Deed) -> bool) -> bool {
        self.between(from, to).any(|entry| sort(&entry.deed))
    }

    /// Whether something of that sort was done within `apart` of `at`.
    pub(crate) fn has(&self, at: Timestamp, apart: SignedDuration, sort: impl Fn(&Deed) -> bool) -> bool {
        self.has_between(at - apart, at + apart, sort)
    }

    /// The last deed of that sort by then.
    pub(crate) fn last(&self, by: Timestamp, sort: impl Fn(&Deed) -> bool) -> Option<&LogEntry> {
        self.entries.iter().rfind(|entry| entry.at <= by && sort(&entry.deed))
    }

    /// The entry nearest to a time, where one lies within three hours.
    pub(crate) fn nearest(&self, at: Timestamp) -> Option<&LogEntry> {
        let apart = |entry: &&LogEntry| entry.at.duration_since(at).abs();
        self.entries.iter().min_by_key(apart).filter(|entry| apart(entry) <= NEAR)
    }
}

/// Flow checks of the last days tell how a tube wears.
const KEPT: SignedDuration = SignedDuration::from_hours(14 * 24);

const NEAR: SignedDuration = SignedDuration::from_hours(3);

/// What was written down within this of a change may be its reason: people write when their hands are dry again (our own
/// choice).
pub(crate) const NOTED: SignedDuration = SignedDuration::from_mins(25);
