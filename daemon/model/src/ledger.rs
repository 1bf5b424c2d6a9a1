//! What of the field log must be remembered for weeks: clay that came and went, and checks by hand.
//!
//! The same entries come from the log as it arrives and, after a restart, from the store: an entry that is told
//! twice counts once, and one that was corrected doesn't count.

use crate::happening::{Happening, SAME_REFILL, What};
use std::collections::{BTreeMap, BTreeSet};

use jiff::Timestamp;

use crate::fieldlog::{Deed, LogEntry};
use crate::id::Id;
use crate::units::Litres;

/// The remembered entries.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Ledger {
    entries: BTreeMap<String, LogEntry>,
    replaced: BTreeSet<String>,
    refills: Vec<Unlogged>,
}

/// A refill that the data showed and nobody had written down by then.
#[derive(Debug, Clone, PartialEq)]
pub struct Unlogged {
    /// Of which drum.
    pub drum: Id,
    /// When.
    pub at: Timestamp,
    /// How much came in.
    pub added: Litres,
}

impl Ledger {
    /// Takes an entry; those that tell nothing of clay or checks are passed over.
    pub fn log(&mut self, entry: &LogEntry) {
        self.replaced.extend(entry.replaces.clone());
        if is_remembered(&entry.deed) {
            self.entries.insert(entry.key.clone(), entry.clone());
        }
    }

    /// Takes what the data showed.
    pub fn happened(&mut self, happening: &Happening) {
        if let What::Refilled { added, logged: false, .. } = happening.what {
            let refill = Unlogged { drum: happening.drum.clone(), at: happening.at, added };
            if !self.refills.contains(&refill) {
                self.refills.push(refill);
            }
        }
    }

    /// The entries that stand, in no particular order.
    pub fn entries(&self) -> impl Iterator<Item = &LogEntry> {
        self.entries.values().filter(|entry| !self.replaced.contains(&entry.key))
    }

    /// Refills that were never written down, also not later.
    pub fn unlogged(&self) -> impl Iterator<Item = &Unlogged> {
        self.refills.iter().filter(|refill| !self.entries().any(|entry| is_of(entry, refill)))
    }
}

fn is_remembered(deed: &Deed) -> bool {
    matches!(
        deed,
        Deed::Refill { .. }
            | Deed::Delivery { .. }
            | Deed::FlowCheck { .. }
            | Deed::GrabSample { .. }
            | Deed::Wipe { .. }
    )
}

fn is_of(entry: &LogEntry, refill: &Unlogged) -> bool {
    let near = entry.at.duration_since(refill.at).abs() <= SAME_REFILL;
    near && entry.deed.may_refill(&refill.drum)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Kilograms;

    fn entry(key: &str, at: &str, deed: Deed) -> LogEntry {
        let at = at.parse().unwrap();
        LogEntry { key: key.to_owned(), at, received_at: at, by: None, replaces: None, deed }
    }

    fn refill(clay: f64) -> Deed {
        Deed::Refill { drum: Some(Id::new("a").unwrap()), water: None, clay: Some(Kilograms(clay)) }
    }

    #[test]
    fn an_entry_counts_once_and_a_corrected_one_not_at_all() {
        let mut ledger = Ledger::default();
        let wrong = entry("1", "2027-04-20T07:30:00Z", refill(7.0));
        // The correction may come before what it corrects is told again.
        let right =
            LogEntry { replaces: Some("1".to_owned()), ..entry("2", "2027-04-20T07:30:00Z", refill(3.2)) };
        for told in [&right, &wrong, &right, &wrong] {
            ledger.log(told);
        }
        let standing: Vec<&str> = ledger.entries().map(|entry| entry.key.as_str()).collect();
        assert_eq!(standing, ["2"]);
        ledger.log(&entry("3", "2027-04-20T08:00:00Z", Deed::Note { text: None }));
        assert_eq!(ledger.entries().count(), 1, "a note is no clay");
    }

    #[test]
    fn a_refill_that_is_written_down_late_is_no_longer_unlogged() {
        let mut ledger = Ledger::default();
        let seen = Happening {
            drum: Id::new("a").unwrap(),
            at: "2027-04-20T07:40:00Z".parse().unwrap(),
            what: What::Refilled { added: Litres(90.0), to: Litres(170.0), logged: false },
        };
        ledger.happened(&seen);
        ledger.happened(&seen);
        assert_eq!(ledger.unlogged().count(), 1);
        ledger.log(&entry("1", "2027-04-20T07:30:00Z", refill(1.6)));
        assert_eq!(ledger.unlogged().count(), 0);
    }
}
