//! Notes what a commit writes, for the forwarder; and takes away what has been forwarded.

use std::collections::BTreeMap;

use jiff::Timestamp;
use rusqlite::{Connection, OptionalExtension, params};

use claymark_model::quarantine::Quarantined;

use crate::batch::CommitBatch;
use crate::columns::{self, MS_PER_HOUR};
use crate::error::StoreError;
use crate::journal::{self, JournalTable, Name, Rejected};

/// What the commit in hand has written so far.
#[derive(Debug, Default)]
pub(crate) struct CommitJournal {
    wanted: bool,
    last_number: u64,
    notes: BTreeMap<JournalTable, Note>,
}

#[derive(Debug)]
struct Note {
    newest: i64,
    names: Vec<Name>,
}

impl CommitJournal {
    /// As the store is; nothing is noted until it is wanted.
    pub(crate) fn load(connection: &Connection) -> Result<Self, StoreError> {
        let last: Option<u64> =
            connection.query_row("SELECT max(number) FROM journal", [], |row| row.get(0))?;
        Ok(Self { last_number: last.unwrap_or(0), ..Self::default() })
    }

    /// Begins or stops to note.
    pub(crate) fn keep(&mut self, connection: &Connection, wanted: bool) -> Result<(), StoreError> {
        if !wanted {
            connection.execute("DELETE FROM journal", [])?;
        }
        self.wanted = wanted;
        Ok(())
    }

    /// A reading was written or rewritten.
    pub(crate) fn reading(&mut self, at: i64, key: i64, lag: i64) {
        self.note(JournalTable::Readings, at, key, at + lag);
    }

    /// Everything in `batch` that isn't a reading.
    pub(crate) fn records(
        &mut self,
        connection: &Connection,
        batch: &CommitBatch,
        conflicts: &[Quarantined],
    ) -> Result<(), StoreError> {
        if !self.wanted {
            return Ok(());
        }
        let ms = Timestamp::as_millisecond;
        for thing in batch.quarantined.iter().chain(conflicts) {
            let received = ms(thing.received_at);
            self.note(JournalTable::Quarantine, columns::hour(received) * MS_PER_HOUR, 0, received);
        }
        for entry in &batch.log {
            self.note(JournalTable::Log, ms(entry.at), 0, ms(entry.received_at));
        }
        let of_one_time = [
            (JournalTable::Answers, batch.answers.iter().map(|answer| answer.at).collect::<Vec<_>>()),
            (JournalTable::Forecasts, batch.forecasts.iter().map(|forecast| forecast.at).collect()),
            (JournalTable::Happenings, batch.happenings.iter().map(|happening| happening.at).collect()),
            (JournalTable::Marks, batch.marks.iter().map(|said| said.made_at).collect()),
            (JournalTable::Yields, batch.yields.iter().map(|learned| learned.learned_at).collect()),
            (JournalTable::Notices, batch.notices.iter().map(|issued| issued.notice.at).collect()),
        ];
        for (what, times) in of_one_time {
            for at in times {
                self.note(what, ms(at), 0, ms(at));
            }
        }
        if batch.deliveries.is_empty() {
            return Ok(());
        }
        let mut decided = connection.prepare_cached("SELECT at FROM notice WHERE number = ?1")?;
        for delivery in &batch.deliveries {
            let at: Option<i64> = decided.query_row([delivery.notice], |row| row.get(0)).optional()?;
            if let Some(at) = at {
                self.note(JournalTable::Notices, at, 0, at);
            }
        }
        Ok(())
    }

    /// Writes the notes of this commit.
    pub(crate) fn flush(&mut self, connection: &Connection) -> Result<(), StoreError> {
        if self.notes.is_empty() {
            return Ok(());
        }
        self.last_number += 1;
        let mut insert = connection
            .prepare_cached("INSERT INTO journal (number, what, newest, names) VALUES (?1, ?2, ?3, ?4)")?;
        for (table, what) in JournalTable::TABLES {
            if let Some(note) = self.notes.get_mut(&what) {
                note.names.dedup();
                insert.execute(params![
                    self.last_number,
                    table,
                    note.newest,
                    journal::encode(&note.names)
                ])?;
            }
        }
        Ok(())
    }

    /// The commit is over, well or not.
    pub(crate) fn clear(&mut self) {
        self.notes.clear();
    }

    fn note(&mut self, what: JournalTable, at: i64, key: i64, newest: i64) {
        if self.wanted {
            let note = self.notes.entry(what).or_insert_with(|| Note { newest, names: Vec::new() });
            note.newest = note.newest.max(newest);
            note.names.push(Name { at, key });
        }
    }
}

/// Takes away the entries up to `upto`.
pub(crate) fn forget(connection: &Connection, upto: u64) -> Result<(), StoreError> {
    connection.prepare_cached("DELETE FROM journal WHERE number <= ?1")?.execute([upto])?;
    Ok(())
}

/// Keeps what was rejected, and lets go of the oldest where there is too much.
pub(crate) fn put_aside(connection: &Connection, rejected: &[Rejected]) -> Result<(), StoreError> {
    if rejected.is_empty() {
        return Ok(());
    }
    let mut insert =
        connection.prepare_cached("INSERT INTO rejected (rejected, point, reason) VALUES (?1, ?2, ?3)")?;
    for Rejected { at, point, reason } in rejected {
        insert.execute(params![at.as_millisecond(), point, reason])?;
    }
    connection.execute(
        "DELETE FROM rejected WHERE number <= (SELECT max(number) FROM rejected) - ?1",
        [MOST_REJECTED],
    )?;
    Ok(())
}

/// Enough to see what goes wrong; the metrics count all.
const MOST_REJECTED: i64 = 10_000;
