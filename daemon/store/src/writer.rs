//! The one writer: takes a batch, and returns when all of it is on the disk.

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
use crate::lock::Lock;
use crate::schema;
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
        Ok(Self { connection, sensors, rollups: Rollups::default(), shelf, _lock: lock })
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
        committed
    }

    fn write(&mut self, batch: &Batch) -> Result<Committed, StoreError> {
        let Self { connection, sensors, rollups, shelf, _lock } = self;
        let transaction = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
        let mut committed = Committed::default();
        for assessed in &batch.readings {
            readings::keep(&transaction, sensors, rollups, assessed, &mut committed)?;
        }
        rollups.flush(&transaction)?;
        for quarantined in batch.quarantined.iter().chain(&committed.conflicts) {
            shelf.keep(&transaction, quarantined)?;
        }
        records::log(&transaction, &batch.log)?;
        records::answers(&transaction, &batch.answers)?;
        records::forecasts(&transaction, &batch.forecasts)?;
        records::happenings(&transaction, &batch.happenings)?;
        records::notices(&transaction, &batch.notices)?;
        records::deliveries(&transaction, &batch.deliveries)?;
        records::session_seen(&transaction, batch.session_seen)?;
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
