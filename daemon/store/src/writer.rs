//! The one writer: takes a batch, and returns when all of it is on the disk.

mod journal;
mod quarantine;
mod readings;
pub(crate) mod records;
mod rollups;
mod sensors;

use std::path::Path;
use std::time::Duration;

use rusqlite::{Connection, OptionalExtension, TransactionBehavior};

use claymark_core::quarantine::Quarantined;
use claymark_core::site::Site;

use crate::batch::Batch;
use crate::error::StoreError;
use crate::journal::Rejected;
use crate::lock::Lock;
use crate::schema;
use journal::Journal;
use quarantine::Shelf;
use rollups::Rollups;
use sensors::Sensors;

/// Owns the store for writing; a second one on the same file is refused while this one lives.
///
/// After an error nothing of the batch is kept, and the writer can be used again.
#[derive(Debug)]
pub struct Writer {
    connection: Connection,
    sensors: Sensors,
    rollups: Rollups,
    shelf: Shelf,
    journal: Journal,
    _lock: Lock,
}

/// What became of a batch that is on the disk now.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Committed {
    /// Readings that are new.
    pub stored: usize,
    /// Readings whose flags were settled.
    pub rewritten: usize,
    /// Readings that were there already.
    pub duplicates: usize,
    /// Readings that couldn't be kept and went to quarantine, in the same commit.
    pub conflicts: Vec<Quarantined>,
}

impl Writer {
    /// Opens the store, makes it where there is none, and brings an older one up to date.
    pub fn open(path: &Path, site: &Site) -> Result<Self, StoreError> {
        let lock = Lock::take(path)?;
        let opening = |error| StoreError::while_opening(path, error);
        let mut connection = Connection::open(path).map_err(opening)?;
        connection.busy_timeout(BUSY_TIMEOUT)?;
        schema::migrate(&mut connection, path)?;
        connection.pragma_update(None, "journal_mode", "WAL")?;
        connection.pragma_update(None, "synchronous", "FULL")?;
        connection.pragma_update(None, "journal_size_limit", LARGEST_IDLE_LOG_BYTES)?;
        connection.set_prepared_statement_cache_capacity(STATEMENTS);
        let shelf = Shelf::load(&connection)?;
        let sensors = adopt(&mut connection, site)?;
        let journal = Journal::load(&connection)?;
        Ok(Self { connection, sensors, rollups: Rollups::default(), shelf, journal, _lock: lock })
    }

    /// Whether to note in the journal what each commit writes, for a forwarder to take from there. Without
    /// one nobody takes it: the journal is emptied.
    pub fn keep_journal(&mut self, wanted: bool) -> Result<(), StoreError> {
        self.journal.keep(&self.connection, wanted)
    }

    /// What the journal names up to entry `upto` has been forwarded, but for what was rejected.
    pub fn forwarded(&mut self, upto: u64, rejected: &[Rejected]) -> Result<(), StoreError> {
        let transaction = self.connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
        journal::put_aside(&transaction, rejected)?;
        journal::forget(&transaction, upto)?;
        transaction.commit()?;
        Ok(())
    }

    /// Goes on with a changed site; readings of sensors that are gone stay.
    pub fn set_site(&mut self, site: &Site) -> Result<(), StoreError> {
        self.sensors = adopt(&mut self.connection, site)?;
        Ok(())
    }

    /// Puts all of `batch` on the disk, or nothing.
    pub fn commit(&mut self, batch: &Batch) -> Result<Committed, StoreError> {
        if *batch == Batch::default() {
            return Ok(Committed::default());
        }
        let shelf_before = self.shelf;
        let committed = self.write(batch);
        if committed.is_err() {
            // What they remember was rolled back.
            self.rollups = Rollups::default();
            self.shelf = shelf_before;
        }
        self.journal.clear();
        committed
    }

    fn write(&mut self, batch: &Batch) -> Result<Committed, StoreError> {
        let Self { connection, sensors, rollups, shelf, journal, _lock } = self;
        let transaction = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
        let mut committed = Committed::default();
        for assessed in &batch.readings {
            readings::keep(&transaction, sensors, rollups, journal, assessed, &mut committed)?;
        }
        rollups.flush(&transaction)?;
        for quarantined in batch.quarantined.iter().chain(&committed.conflicts) {
            shelf.keep(&transaction, quarantined)?;
        }
        records::log(&transaction, &batch.log)?;
        records::answers(&transaction, &batch.answers)?;
        records::forecasts(&transaction, &batch.forecasts)?;
        records::happenings(&transaction, &batch.happenings)?;
        records::marks(&transaction, &batch.marks)?;
        records::yields(&transaction, &batch.yields)?;
        records::notices(&transaction, &batch.notices)?;
        records::deliveries(&transaction, &batch.deliveries)?;
        records::session_seen(&transaction, batch.session_seen)?;
        journal.records(&transaction, batch, &committed.conflicts)?;
        journal.flush(&transaction)?;
        transaction.commit()?;
        Ok(committed)
    }
}

/// Keeps the site where it differs from the last one, and gives its sensors their keys.
fn adopt(connection: &mut Connection, site: &Site) -> Result<Sensors, StoreError> {
    let json = serde_json::to_string(site)?;
    let transaction = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
    let last: Option<String> = transaction
        .query_row("SELECT json FROM site ORDER BY version DESC LIMIT 1", [], |row| row.get(0))
        .optional()?;
    if last.as_ref() != Some(&json) {
        transaction.execute("INSERT INTO site (json) VALUES (?1)", [&json])?;
    }
    let sensors = Sensors::adopt(&transaction, site)?;
    transaction.commit()?;
    Ok(sensors)
}

/// Somebody may hold a write transaction in the `sqlite3` tool for a moment.
const BUSY_TIMEOUT: Duration = Duration::from_secs(5);

/// After a burst the write-ahead log is cut back to this.
const LARGEST_IDLE_LOG_BYTES: i64 = 64 * 1024 * 1024;

/// More than there are different statements.
const STATEMENTS: usize = 64;

#[cfg(test)]
mod tests {
    use claymark_core::id::Id;
    use claymark_core::quality::Flag;
    use claymark_core::reading::{Assessed, Reading, TestFlags};
    use jiff::Timestamp;

    use super::*;
    use crate::Reader;

    #[test]
    fn a_full_disk_is_told_as_such_and_the_writer_goes_on_when_there_is_room_again() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("claymark.db");
        let mut writer = Writer::open(&path, &site()).unwrap();
        assert_eq!(writer.commit(&batch(0, 10)).unwrap().stored, 10);

        // As with a full disk, SQLite can't make the file longer.
        writer.connection.pragma_update(None, "max_page_count", 1).unwrap();
        let refused = writer.commit(&batch(10, 100_000)).unwrap_err();
        assert!(matches!(refused, StoreError::DiskFull(_)), "{refused:?}");
        assert!(refused.retry_makes_sense());
        assert!(refused.to_string().starts_with("the disk that holds the store is full. Free some space"));
        assert_eq!(kept(&path), 10);

        writer.connection.pragma_update(None, "max_page_count", 1_000_000).unwrap();
        assert_eq!(writer.commit(&batch(10, 100_000)).unwrap().stored, 100_000);
        assert_eq!(kept(&path), 100_010);
        let counted: u64 = rollups(&path).iter().map(crate::reader::Rollup::count).sum();
        assert_eq!(counted, 100_010);
    }

    /// `kill -9` can't show it: the page cache outlives a process. SQLite's 2 is FULL: a commit returns after
    /// its fsync.
    #[test]
    fn a_commit_waits_for_the_disk() {
        let dir = tempfile::tempdir().unwrap();
        let writer = Writer::open(&dir.path().join("claymark.db"), &site()).unwrap();
        let number =
            |name| writer.connection.pragma_query_value(None, name, |row| row.get::<_, i64>(0)).unwrap();
        assert_eq!(number("synchronous"), 2);
    }

    /// As `.cargo/config.toml` has it: the times of the log file needn't go to the disk with each commit.
    #[test]
    fn a_commit_waits_for_the_data_alone() {
        assert!(option_env!("LIBSQLITE3_FLAGS").is_some_and(|flags| flags.contains("HAVE_FDATASYNC")));
    }

    fn kept(path: &Path) -> usize {
        Reader::open(path)
            .unwrap()
            .recall(Timestamp::UNIX_EPOCH)
            .unwrap()
            .readings
            .map(Result::unwrap)
            .count()
    }

    fn rollups(path: &Path) -> Vec<crate::reader::Rollup> {
        Reader::open(path).unwrap().rollups(Timestamp::UNIX_EPOCH, Timestamp::MAX).unwrap()
    }

    fn batch(first: i64, count: i64) -> Batch {
        let reading = |n| Assessed {
            reading: Reading {
                sensor: Id::new("t1-ntu").unwrap(),
                at: Timestamp::from_millisecond(n * 100).unwrap(),
                value: 60.0,
            },
            received_at: Timestamp::from_millisecond(n * 100).unwrap(),
            tests: TestFlags::NOT_EVALUATED,
            flag: Flag::Pass,
        };
        Batch { readings: (first..first + count).map(reading).collect(), ..Batch::default() }
    }

    fn site() -> Site {
        serde_json::from_str(include_str!("../tests/site.json")).unwrap()
    }
}
