//! The one writer: takes a batch, and returns when all of it is on the disk.

mod journal;
mod quarantine;
mod readings;
pub(crate) mod records;
mod rollups;
pub(crate) mod sensors;
mod sieve;

use std::cell::Cell;
use std::path::{Path, PathBuf};
use std::time::Duration;

use jiff::Timestamp;
use rusqlite::{Connection, OptionalExtension, TransactionBehavior};

use claymark_model::quarantine::{Quarantined, Reason};
use claymark_model::site::Site;

use crate::batch::CommitBatch;
use crate::error::StoreError;
use crate::files::{self, OpenFiles, Opened};
use crate::journal::Rejected;
use crate::lock::Lock;
use crate::reader::KnownSensor;
use crate::{Reader, schema};
use journal::CommitJournal;
use quarantine::Shelf;
use rollups::Rollups;
use sensors::SensorsInForce;

/// Owns the store for writing; a second one on the same file is refused while this one lives.
///
/// After an error nothing of the batch is kept, and the writer can be used again.
#[derive(Debug)]
pub struct Writer {
    connection: Connection,
    sensors: SensorsInForce,
    rollups: Rollups,
    shelf: Shelf,
    journal: CommitJournal,
    path: PathBuf,
    opened: Opened,
    /// Bytes of the database; it only ever grows.
    longest: Cell<u64>,
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
    /// Records that the store can't hold, left out and put into quarantine in the same commit.
    pub refused: Vec<Quarantined>,
}

impl Writer {
    /// Opens the store, makes it where there is none, and brings an older one up to date.
    pub fn open(path: &Path, site: &Site) -> Result<Self, StoreError> {
        let was_ours = files::was_ours(path);
        let opened = Self::open_locked(path, site, Lock::take(path)?);
        if !was_ours && matches!(opened, Err(StoreError::Foreign(_) | StoreError::NoDatabase(_))) {
            files::disown(path);
        }
        opened
    }

    fn open_locked(path: &Path, site: &Site, lock: Lock) -> Result<Self, StoreError> {
        // Closing a connection that may write would already change a newer store's files.
        if path.is_file()
            && let Err(newer @ StoreError::Newer { .. }) = Reader::open(path)
        {
            return Err(newer);
        }
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
        let journal = CommitJournal::load(&connection)?;
        let (path, opened) = (path.to_owned(), Opened::at(path));
        Ok(Self {
            connection,
            sensors,
            rollups: Rollups::default(),
            shelf,
            journal,
            path,
            opened,
            longest: Cell::new(0),
            _lock: lock,
        })
    }

    /// Whether what is written still reaches the files at the store's path.
    #[must_use]
    pub fn standing(&self) -> OpenFiles {
        let standing = self.opened.standing(&self.path);
        let length = files::length(&self.path);
        if standing != OpenFiles::Gone && length < self.longest.get() {
            return OpenFiles::Cut;
        }
        self.longest.set(length);
        standing
    }

    /// Brings everything into the database file itself, so that it may be opened anew without what stood beside it.
    pub fn fold_log(&self) -> Result<(), StoreError> {
        let busy: i64 = self.connection.query_row("PRAGMA wal_checkpoint(TRUNCATE)", [], |row| row.get(0))?;
        if busy == 0 {
            return Ok(());
        }
        Err(rusqlite::Error::SqliteFailure(rusqlite::ffi::Error::new(rusqlite::ffi::SQLITE_BUSY), None)
            .into())
    }

    /// Writes no more; what the open files hold can still be read, even if they were deleted. What was written last is put
    /// into the database itself, wherever it was moved to, and what stands beside its old place makes way.
    pub fn into_reader(self, now: Timestamp) -> Result<Reader, StoreError> {
        let folded = self.fold_log();
        let at = now.strftime("%Y%m%dT%H%M%SZ").to_string();
        self.opened
            .clear(&self.path, folded.is_err(), &at)
            .map_err(|source| StoreError::Beside { path: self.path.clone(), source })?;
        Ok(Reader::of(self.connection))
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

    /// Puts all of `batch` on the disk, or nothing; but a record that can't be held is put into quarantine for itself.
    pub fn commit(&mut self, batch: &CommitBatch) -> Result<Committed, StoreError> {
        if *batch == CommitBatch::default() {
            return Ok(Committed::default());
        }
        let mut refused: Vec<(usize, Quarantined)> = sieve::not_finite(batch)
            .into_iter()
            .filter_map(|number| refuse(batch, number, Reason::NotFinite, "a figure of it isn't finite"))
            .collect();
        match self.attempt(batch, &refused, End::Keep) {
            Err(error) if error.blames_a_record() => {}
            done => return done,
        }
        let rest = others(batch, &refused);
        self.find_culprits(batch, &rest, &mut refused)?;
        refused.sort_by_key(|(number, _)| *number);
        self.attempt(batch, &refused, End::Keep)
    }

    /// Halves the batch until each record that can't be kept stands alone; nothing of it is kept.
    fn find_culprits(
        &mut self,
        batch: &CommitBatch,
        suspects: &[usize],
        found: &mut Vec<(usize, Quarantined)>,
    ) -> Result<(), StoreError> {
        // When the session stood is no record: it can't be a culprit.
        let part = CommitBatch { session_seen: None, ..sieve::pick(batch, suspects) };
        let error = match self.attempt(&part, &[], End::RollBack) {
            Ok(_) => return Ok(()),
            Err(error) if error.blames_a_record() => error,
            Err(error) => return Err(error),
        };
        if let [culprit] = suspects {
            found.extend(refuse(batch, *culprit, Reason::NotKept, &error.to_string()));
            return Ok(());
        }
        let (first, second) = suspects.split_at(suspects.len() / 2);
        self.find_culprits(batch, first, found)?;
        self.find_culprits(batch, second, found)
    }

    /// Writes the batch without what is refused, which goes into quarantine.
    fn attempt(
        &mut self,
        batch: &CommitBatch,
        refused: &[(usize, Quarantined)],
        end: End,
    ) -> Result<Committed, StoreError> {
        let shelf_before = self.shelf;
        let aside: Vec<Quarantined> = refused.iter().map(|(_, record)| record.clone()).collect();
        let written = if refused.is_empty() {
            self.write(batch, aside, end)
        } else {
            self.write(&sieve::pick(batch, &others(batch, refused)), aside, end)
        };
        if written.is_err() || end == End::RollBack {
            // What they remember was rolled back.
            self.rollups = Rollups::default();
            self.shelf = shelf_before;
        }
        self.journal.clear();
        written
    }

    fn write(
        &mut self,
        batch: &CommitBatch,
        refused: Vec<Quarantined>,
        end: End,
    ) -> Result<Committed, StoreError> {
        let Self { connection, sensors, rollups, shelf, journal, path: _, opened: _, longest: _, _lock } =
            self;
        let transaction = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
        let mut committed = Committed { refused, ..Committed::default() };
        for assessed in &batch.readings {
            readings::keep(&transaction, sensors, rollups, journal, assessed, &mut committed)?;
        }
        rollups.flush(&transaction)?;
        let aside = batch.quarantined.iter().chain(&committed.conflicts).chain(&committed.refused);
        for quarantined in aside {
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
        journal.records(&transaction, &CommitBatch::default(), &committed.refused)?;
        journal.flush(&transaction)?;
        match end {
            End::Keep => transaction.commit()?,
            End::RollBack => transaction.rollback()?,
        }
        Ok(committed)
    }
}

impl Writer {
    /// Gives the sensors of another store their keys here.
    pub(crate) fn admit(&mut self, known: &[KnownSensor]) -> Result<SensorsInForce, StoreError> {
        let transaction = self.connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
        let guests = self.sensors.with(&transaction, known)?;
        transaction.commit()?;
        Ok(guests)
    }

    /// Keeps what another store held, its readings under the keys of `guests`; it isn't noted for forwarding.
    pub(crate) fn take_over(
        &mut self,
        guests: &mut SensorsInForce,
        batch: &CommitBatch,
    ) -> Result<Committed, StoreError> {
        let journal = std::mem::take(&mut self.journal);
        std::mem::swap(&mut self.sensors, guests);
        let committed = self.commit(batch);
        std::mem::swap(&mut self.sensors, guests);
        self.journal = journal;
        committed
    }
}

/// Whether what was written stays.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum End {
    Keep,
    RollBack,
}

fn refuse(batch: &CommitBatch, number: usize, reason: Reason, why: &str) -> Option<(usize, Quarantined)> {
    Some((number, sieve::aside(&sieve::pick(batch, &[number]), reason, why)?))
}

/// The numbers of all records but these.
fn others(batch: &CommitBatch, refused: &[(usize, Quarantined)]) -> Vec<usize> {
    (0..sieve::count(batch)).filter(|number| refused.iter().all(|(other, _)| other != number)).collect()
}

/// Keeps the site where it differs from the last one, and gives its sensors their keys.
fn adopt(connection: &mut Connection, site: &Site) -> Result<SensorsInForce, StoreError> {
    let json = serde_json::to_string(site)?;
    let transaction = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
    let last: Option<String> = transaction
        .query_row("SELECT json FROM site ORDER BY version DESC LIMIT 1", [], |row| row.get(0))
        .optional()?;
    if last.as_ref() != Some(&json) {
        transaction.execute("INSERT INTO site (json) VALUES (?1)", [&json])?;
    }
    let sensors = SensorsInForce::adopt(&transaction, site)?;
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
    use claymark_model::id::Id;
    use claymark_model::quality::Flag;
    use claymark_model::reading::{Assessed, Reading, TestFlags};
    use jiff::Timestamp;

    use super::*;
    use crate::Reader;

    #[test]
    fn a_full_disk_is_told_as_such_and_the_writer_goes_on_when_there_is_room_again() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("claymark.db");
        let mut writer = Writer::open(&path, &claymark_invented::two_tanks()).unwrap();
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
        let writer = Writer::open(&dir.path().join("claymark.db"), &claymark_invented::two_tanks()).unwrap();
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
        Reader::open(path).unwrap().recall(Timestamp::UNIX_EPOCH).readings.map(Result::unwrap).count()
    }

    fn rollups(path: &Path) -> Vec<crate::reader::Rollup> {
        Reader::open(path).unwrap().rollups(Timestamp::UNIX_EPOCH, Timestamp::MAX).unwrap()
    }

    fn batch(first: i64, count: i64) -> CommitBatch {
        let reading = |n| Assessed {
            reading: Reading::new(
                Id::new("t1-ntu").unwrap(),
                Timestamp::from_millisecond(n * 100).unwrap(),
                60.0,
            ),
            received_at: Timestamp::from_millisecond(n * 100).unwrap(),
            tests: TestFlags::NOT_EVALUATED,
            flag: Flag::Pass,
        };
        CommitBatch { readings: (first..first + count).map(reading).collect(), ..CommitBatch::default() }
    }
}
