//! Reads the store while the daemon writes it; takes no lock that a writer would wait for.

mod journal;
mod passed_over;
mod ranges;
mod readings;
mod recall;
mod rows;

use std::fs;
use std::io::ErrorKind;
use std::path::{Path, PathBuf};
use std::time::Duration;

use jiff::Timestamp;
use rusqlite::{Connection, ErrorCode, OpenFlags, OptionalExtension, Transaction};

use claymark_model::site::Site;

use crate::batch::{Delivery, Issued};
use crate::error::StoreError;
use crate::{columns, files, schema};

pub use journal::{RawReading, WaitingEntries};
pub use passed_over::PassedOver;
pub use ranges::{KnownSensor, QuarantineCount, Rollup, SensorKey};
pub use readings::Readings;
pub use recall::Recall;

/// An open store, for reading only; each call sees what was committed by then.
///
/// A row that can't be understood is passed over and counted, so that it can't hide the others.
#[derive(Debug)]
pub struct Reader {
    connection: Connection,
    passed_over: PassedOver,
}

/// No count of notices, nor the clock's numbers, come to this.
const BEYOND_COUNTING: i64 = 1_000_000_000_000;

/// One state of the store, for as long as this lives.
#[derive(Debug)]
pub struct ReadSnapshot<'a>(#[expect(dead_code, reason = "it ends when it is dropped")] Transaction<'a>);

impl Reader {
    /// Until the moment is dropped, all calls see the store as the first of them does. Many small calls cost far
    /// less than if each took a moment of its own. Let it go soon: the store's log grows while it lasts.
    pub fn moment(&self) -> Result<ReadSnapshot<'_>, StoreError> {
        Ok(ReadSnapshot(self.connection.unchecked_transaction()?))
    }

    /// Opens a store that is there.
    pub fn open(path: &Path) -> Result<Self, StoreError> {
        if !path.is_file() {
            return Err(StoreError::Missing(path.to_owned()));
        }
        let connection = match connect(path, path, OpenFlags::empty()) {
            // Beside the file SQLite wants to make its shared memory, and can't.
            Err(StoreError::Disk(refusal)) if is_about_files(&refusal) => {
                if log_may_hold_data(path) {
                    return Err(StoreError::UnreadableLog(path.to_owned()));
                }
                connect(path, &immutable(path), OpenFlags::SQLITE_OPEN_URI)?
            }
            opened => opened?,
        };
        Ok(Self { connection, passed_over: PassedOver::default() })
    }

    /// As [`Reader::open`], for a disk that is full or can't be written: needs no file beside the store, but nobody else
    /// may have it open meanwhile.
    pub fn open_alone(path: &Path) -> Result<Self, StoreError> {
        let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let connection = Connection::open_with_flags(path, flags)?;
        // Before the first access: then SQLite keeps in memory what else stands in a file that all share.
        connection.pragma_update(None, "locking_mode", "EXCLUSIVE")?;
        schema::check(&connection, path)?;
        Ok(Self { connection, passed_over: PassedOver::default() })
    }

    /// What an open connection sees, whatever became of its files.
    pub(crate) fn of(connection: Connection) -> Self {
        Self { connection, passed_over: PassedOver::default() }
    }

    /// The site in force.
    pub fn site(&self) -> Result<Site, StoreError> {
        let json =
            self.connection
                .query_row("SELECT json FROM site ORDER BY version DESC LIMIT 1", [], |row| row.get(0))?;
        columns::record("site", json)
    }

    /// What the room must be told again after a restart: all that is known from `since` on, and can be read.
    #[must_use]
    pub fn recall(&self, since: Timestamp) -> Recall<'_> {
        recall::recall(self, since)
    }

    /// What couldn't be understood so far.
    #[must_use]
    pub fn passed_over(&self) -> &PassedOver {
        &self.passed_over
    }

    /// The highest number that any notice has, as far as anything in the store tells; `None`: there was none.
    pub fn last_notice(&self) -> Result<Option<u64>, StoreError> {
        // A notice whose row is gone may still have its deliveries; a number that nobody counts up to is a damaged row.
        let sql = "SELECT max(number) FROM (SELECT max(number) AS number FROM notice WHERE number < ?1
                   UNION ALL SELECT max(notice) FROM delivery WHERE notice < ?1)";
        Ok(self.connection.query_row(sql, [BEYOND_COUNTING], |row| row.get(0))?)
    }

    /// When the newest reading up to `then` was measured.
    pub fn newest_reading(&self, then: Timestamp) -> Result<Option<Timestamp>, StoreError> {
        let [straight, shifted] = [
            "SELECT at FROM reading WHERE at <= ?1 AND ahead = 0 ORDER BY at DESC LIMIT 1",
            "SELECT at - ahead FROM reading WHERE ahead <> 0 AND at - ahead <= ?1 ORDER BY at - ahead DESC LIMIT 1",
        ]
        .map(|sql| {
            self.connection
                .query_row(sql, [then.as_millisecond()], |row| row.get::<_, i64>(0))
                .optional()
        });
        straight?.max(shifted?).map(columns::time).transpose()
    }

    /// The last time that the broker session is known to have stood.
    pub fn session_seen(&self) -> Result<Option<Timestamp>, StoreError> {
        self.connection
            .query_row("SELECT seen FROM session", [], |row| row.get(0))
            .optional()?
            .map(columns::time)
            .transpose()
    }

    /// Deliveries that are still to be made, each with its notice, oldest notice first; with them those of the same
    /// notices that are done.
    pub fn pending_deliveries(&self) -> Result<Vec<(Issued, Delivery)>, StoreError> {
        let sql = format!(
            "SELECT {}, {} FROM delivery d JOIN notice n ON n.number = d.notice
             WHERE d.notice IN (SELECT notice FROM delivery WHERE state IN ('pending', 'unanswered')) ORDER BY d.notice, d.contact, d.channel",
            rows::NOTICE,
            rows::DELIVERY
        );
        let after_notice = rows::NOTICE.split(',').count();
        rows::collect(self, &sql, [], |row| Ok((rows::notice(row)?, rows::delivery(row, after_notice)?)))
    }
}

/// `name` is the path itself, or a URI for it.
fn connect(path: &Path, name: &Path, more: OpenFlags) -> Result<Connection, StoreError> {
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX | more;
    let connection = Connection::open_with_flags(name, flags)?;
    connection.busy_timeout(BUSY_TIMEOUT)?;
    schema::check(&connection, path)?;
    Ok(connection)
}

fn is_about_files(refusal: &rusqlite::Error) -> bool {
    matches!(
        refusal.sqlite_error_code(),
        Some(
            ErrorCode::CannotOpen
                | ErrorCode::ReadOnly
                | ErrorCode::PermissionDenied
                | ErrorCode::SystemIoFailure
        )
    )
}

fn log_may_hold_data(path: &Path) -> bool {
    match fs::metadata(files::beside(path, files::LOG)) {
        Ok(found) => found.len() > 0,
        Err(error) => error.kind() != ErrorKind::NotFound,
    }
}

/// The URI that tells SQLite that nobody writes: it then needs nothing beside the file.
fn immutable(path: &Path) -> PathBuf {
    let mut uri = String::from("file:");
    for byte in path.as_os_str().as_encoded_bytes() {
        if byte.is_ascii_alphanumeric() || b"/._-".contains(byte) {
            uri.push(char::from(*byte));
        } else {
            uri.push_str(&format!("%{byte:02X}"));
        }
    }
    uri.push_str("?immutable=1");
    uri.into()
}

/// For the moment in which a writer that crashed is being tidied up after.
const BUSY_TIMEOUT: Duration = Duration::from_secs(5);
