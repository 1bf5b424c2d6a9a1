//! What the forwarder asks for: the oldest entries of the journal, and the rows that they name.

use std::collections::BTreeMap;

use jiff::Timestamp;
use rusqlite::{OptionalExtension, Row};

use claymark_model::quality::Flag;
use claymark_model::reading::TestFlags;

use super::ranges::SensorKey;
use super::{Reader, rows};
use crate::columns;
use crate::error::StoreError;
use crate::journal::{self, Entry, JournalTable, Name, Rejected};

/// A reading as its row stands, its sensor by key.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RawReading {
    /// When it was measured.
    pub at: Timestamp,
    /// By how much its device's clock was ahead, ms.
    pub ahead_ms: i64,
    /// Whose.
    pub sensor: SensorKey,
    /// In the base unit of the sensor.
    pub value: f64,
    /// The aggregate.
    pub flag: Flag,
    /// Test by test.
    pub tests: TestFlags,
    /// Arrival minus `at`, ms.
    pub lag_ms: i64,
}

/// How much waits to be forwarded.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct WaitingEntries {
    /// Entries.
    pub entries: u64,
    /// When the newest of the oldest entry arrived.
    pub oldest: Timestamp,
}

impl Reader {
    /// The oldest entries, as many as name about `most` rows, at least one.
    pub fn journal(&self, most: usize) -> Result<Vec<Entry>, StoreError> {
        let mut statement = self
            .connection
            .prepare_cached("SELECT number, what, newest, names FROM journal ORDER BY number, what")?;
        let mut found = statement.query([])?;
        let mut entries: Vec<Entry> = Vec::new();
        let mut named = 0;
        while let Some(row) = found.next()? {
            let number: u64 = row.get(0)?;
            // A commit is taken whole.
            if named >= most && entries.last().is_some_and(|last| last.number != number) {
                break;
            }
            let table = row.get_ref(1)?.as_str().map_err(rusqlite::Error::from)?;
            let (_, what) =
                JournalTable::TABLES.into_iter().find(|(name, _)| *name == table).ok_or_else(|| {
                    StoreError::BadRow { what: "table in the journal", found: table.to_owned() }
                })?;
            let names = journal::decode(row.get_ref(3)?.as_blob().map_err(rusqlite::Error::from)?)?;
            named += names.len();
            entries.push(Entry { number, what, newest: columns::time(row.get(2)?)?, names });
        }
        Ok(entries)
    }

    /// How much waits; `None`: nothing.
    pub fn waiting(&self) -> Result<Option<WaitingEntries>, StoreError> {
        let sql = "SELECT newest, (SELECT max(number) FROM journal) - number + 1 FROM journal ORDER BY number LIMIT 1";
        let found: Option<(i64, u64)> =
            self.connection.query_row(sql, [], |row| Ok((row.get(0)?, row.get(1)?))).optional()?;
        found
            .map(|(oldest, entries)| Ok(WaitingEntries { entries, oldest: columns::time(oldest)? }))
            .transpose()
    }

    /// The readings of these names that are there, each once, in the order of the key.
    ///
    /// What is named lies mostly in a row, where going on costs a tenth of looking up.
    pub fn named_readings(
        &self,
        mut names: Vec<Name>,
        mut each: impl FnMut(RawReading),
    ) -> Result<(), StoreError> {
        names.sort_unstable();
        names.dedup();
        let sql = "SELECT at, sensor, value, flag, tests, lag, ahead FROM reading WHERE (at, sensor) >= (?1, ?2) ORDER BY at, sensor";
        let mut statement = self.connection.prepare_cached(sql)?;
        let mut names = names.into_iter().peekable();
        while let Some(Name { at, key }) = names.peek() {
            let mut found = statement.query([at, key])?;
            let mut strangers = 0;
            while strangers <= STRANGERS && names.peek().is_some() {
                let Some(row) = found.next()? else { return Ok(()) };
                let here = Name { at: row.get(0)?, key: row.get(1)? };
                while names.next_if(|name| *name < here).is_some() {}
                if names.next_if_eq(&here).is_some() {
                    self.passed_over.row(raw(row))?.map(&mut each);
                    strangers = 0;
                } else {
                    strangers += 1;
                }
            }
        }
        Ok(())
    }

    /// All readings that were measured in a short range: first those of devices whose clock was right, in the order of
    /// the key.
    pub fn raw_readings(
        &self,
        from: Timestamp,
        to: Timestamp,
        mut each: impl FnMut(RawReading),
    ) -> Result<(), StoreError> {
        for (measured, clock) in MEASURED {
            let sql = format!(
                "SELECT at, sensor, value, flag, tests, lag, ahead FROM reading
                 WHERE {clock} AND {measured} >= ?1 AND {measured} < ?2 ORDER BY {measured}, sensor"
            );
            let mut statement = self.connection.prepare_cached(&sql)?;
            let mut found = statement.query([from.as_millisecond(), to.as_millisecond()])?;
            while let Some(row) = found.next()? {
                self.passed_over.row(raw(row))?.map(&mut each);
            }
        }
        Ok(())
    }

    /// How many readings each sensor has that were measured in a range; those without any aren't there.
    pub fn count_readings(
        &self,
        from: Timestamp,
        to: Timestamp,
    ) -> Result<Vec<(SensorKey, u64)>, StoreError> {
        let mut counts: BTreeMap<SensorKey, u64> = BTreeMap::new();
        for (measured, clock) in MEASURED {
            let sql = format!(
                "SELECT sensor, count(*) FROM reading
                 WHERE {clock} AND {measured} >= ?1 AND {measured} < ?2 GROUP BY sensor"
            );
            let range = [from.as_millisecond(), to.as_millisecond()];
            let found = rows::collect(self, &sql, range, |row| Ok((SensorKey(row.get(0)?), row.get(1)?)))?;
            found
                .into_iter()
                .for_each(|(sensor, count): (_, u64)| *counts.entry(sensor).or_default() += count);
        }
        Ok(counts.into_iter().collect())
    }

    /// What couldn't be forwarded and is still kept, newest first, at most `most`.
    pub fn rejected(&self, most: u32) -> Result<Vec<Rejected>, StoreError> {
        let sql = "SELECT rejected, point, reason FROM rejected ORDER BY number DESC LIMIT ?1";
        rows::collect(self, sql, [most], |row| {
            Ok(Rejected { at: columns::time(row.get(0)?)?, point: row.get(1)?, reason: row.get(2)? })
        })
    }
}

fn raw(row: &Row<'_>) -> Result<RawReading, StoreError> {
    let (flag, tests): (u8, u32) = (row.get(3)?, row.get(4)?);
    let bad = |found: u32| StoreError::BadRow { what: "flag", found: found.to_string() };
    let (at, lag, ahead): (i64, i64, i64) = (row.get(0)?, row.get(5)?, row.get(6)?);
    Ok(RawReading {
        at: columns::time(at - ahead)?,
        ahead_ms: ahead,
        sensor: SensorKey(row.get(1)?),
        value: row.get(2)?,
        flag: Flag::try_from(flag).map_err(|_not_one| bad(flag.into()))?,
        tests: TestFlags::unpack(tests).ok_or_else(|| bad(tests))?,
        lag_ms: lag + ahead,
    })
}

/// After so many rows in between that nobody named, the next name is looked up.
const STRANGERS: u32 = 8;

/// When a reading was measured, by whether its device's clock was right: each term leads to an index.
const MEASURED: [(&str, &str); 2] = [("at", "ahead = 0"), ("at - ahead", "ahead <> 0")];
