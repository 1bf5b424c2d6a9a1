//! What was written or rewritten and hasn't been forwarded yet, by name: late readings and settled flags too.
//!
//! A forwarder reads the oldest entries, sends the rows that they name *as they are then*, and tells the
//! writer, which takes the entries away. Nothing is lost when either is killed in between: what is still
//! named is sent again, and sending a row again must change nothing at the other end.

use jiff::Timestamp;

use crate::columns;
use crate::error::StoreError;

/// What one commit wrote to one table.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Entry {
    /// Of the commit, counting up.
    pub number: u64,
    /// Into which table.
    pub what: JournalTable,
    /// When the newest of it arrived or was made.
    pub newest: Timestamp,
    /// Which rows.
    pub names: Vec<Name>,
}

/// A row, or the rows of one time.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Name {
    /// The row's time, ms.
    pub(crate) at: i64,
    /// The sensor's key; 0 for what isn't a reading.
    pub(crate) key: i64,
}

/// Which table.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum JournalTable {
    /// Readings, by time and sensor; their hourly figures changed too.
    Readings,
    /// Forecasts, by time.
    Forecasts,
    /// Field-log entries, by time.
    Log,
    /// Happenings, by time.
    Happenings,
    /// What was said of drums' marks and what became of it, by the time of saying.
    Marks,
    /// What was learned of the clay, by time.
    Yields,
    /// Notices with their deliveries, by the notice's time.
    Notices,
    /// Answers, by time.
    Answers,
    /// Counts of what was kept aside, by hour.
    Quarantine,
}

/// A point that can't be forwarded.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Rejected {
    /// When that was found.
    pub at: Timestamp,
    /// The point, as it was sent.
    pub point: String,
    /// What the other end said, or why it wasn't sent.
    pub reason: String,
}

impl Name {
    /// The row's time.
    pub fn time(self) -> Result<Timestamp, StoreError> {
        columns::time(self.at)
    }
}

impl JournalTable {
    /// All, with the names of their tables.
    pub(crate) const TABLES: [(&'static str, Self); 9] = [
        ("reading", Self::Readings),
        ("forecast", Self::Forecasts),
        ("field_log", Self::Log),
        ("happening", Self::Happenings),
        ("mark_forecast", Self::Marks),
        ("clay_yield", Self::Yields),
        ("notice", Self::Notices),
        ("answer", Self::Answers),
        ("quarantine_count", Self::Quarantine),
    ];
}

/// Each name as its difference to the one before, in varints: about four bytes for a reading.
pub(crate) fn encode(names: &[Name]) -> Vec<u8> {
    let mut bytes = Vec::with_capacity(names.len() * 5);
    let mut before = 0;
    for name in names {
        put(&mut bytes, zigzag(name.at.wrapping_sub(before)));
        put(&mut bytes, zigzag(name.key));
        before = name.at;
    }
    bytes
}

/// The reverse of [`encode`].
pub(crate) fn decode(bytes: &[u8]) -> Result<Vec<Name>, StoreError> {
    let bad = || StoreError::BadRow { what: "journal entry", found: format!("{} bytes", bytes.len()) };
    let mut names = Vec::with_capacity(bytes.len() / 4);
    let mut rest = bytes.iter();
    let mut before = 0_i64;
    while !rest.as_slice().is_empty() {
        let at = before.wrapping_add(unzigzag(take(&mut rest).ok_or_else(bad)?));
        let key = unzigzag(take(&mut rest).ok_or_else(bad)?);
        names.push(Name { at, key });
        before = at;
    }
    Ok(names)
}

/// Small numbers of either sign become small ones without a sign.
fn zigzag(number: i64) -> u64 {
    ((number << 1) ^ (number >> 63)).cast_unsigned()
}

fn unzigzag(number: u64) -> i64 {
    (number >> 1).cast_signed() ^ -(number & 1).cast_signed()
}

/// Seven bits a byte, lowest first; the eighth says that more follow.
fn put(bytes: &mut Vec<u8>, mut number: u64) {
    loop {
        let [low, ..] = (number & 0x7F).to_le_bytes();
        number >>= 7;
        if number == 0 {
            bytes.push(low);
            return;
        }
        bytes.push(low | 0x80);
    }
}

fn take<'a>(bytes: &mut impl Iterator<Item = &'a u8>) -> Option<u64> {
    let mut number = 0_u64;
    for shift in (0..64).step_by(7) {
        let byte = *bytes.next()?;
        number |= u64::from(byte & 0x7F) << shift;
        if byte & 0x80 == 0 {
            return Some(number);
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    proptest! {
        #[test]
        fn names_come_back_as_they_were(pairs in prop::collection::vec((any::<i64>(), any::<i64>()), 0..50)) {
            let names: Vec<Name> = pairs.into_iter().map(|(at, key)| Name { at, key }).collect();
            prop_assert_eq!(decode(&encode(&names)).unwrap(), names);
        }

        #[test]
        fn damaged_bytes_are_an_error_and_no_panic(bytes in prop::collection::vec(any::<u8>(), 0..50)) {
            drop(decode(&bytes));
        }
    }

    #[test]
    fn a_reading_costs_a_few_bytes() {
        let names: Vec<Name> =
            (0..600).map(|n| Name { at: 1_808_229_600_000 + n / 60 * 1000, key: n % 60 + 1 }).collect();
        assert!(encode(&names).len() < 600 * 3, "{}", encode(&names).len());
    }
}
