//! The schema: numbered migrations, one transaction each, and how a file is recognised as a store.

use std::path::Path;

use rusqlite::{Connection, TransactionBehavior};

use crate::error::StoreError;

/// The version that this program reads and writes.
#[expect(clippy::cast_possible_wrap, reason = "a handful of files")]
pub(crate) const KNOWN: i64 = MIGRATIONS.len() as i64;

/// Makes a fresh file a store, and brings an older store up to date.
pub(crate) fn migrate(connection: &mut Connection, path: &Path) -> Result<(), StoreError> {
    let found = match recognise(connection, path)? {
        SchemaFound::Empty => {
            // Must come before the first table, or it has no effect.
            connection.pragma_update(None, "auto_vacuum", "INCREMENTAL")?;
            connection.pragma_update(None, "application_id", APPLICATION_ID)?;
            0
        }
        SchemaFound::Store { version } => version,
    };
    if found > KNOWN {
        return Err(StoreError::Newer { path: path.to_owned(), found, known: KNOWN });
    }
    for (version, sql) in (1..).zip(MIGRATIONS) {
        if version > found {
            let transaction = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
            transaction.execute_batch(sql)?;
            transaction.pragma_update(None, "user_version", version)?;
            transaction.commit()?;
        }
    }
    Ok(())
}

/// Refuses what isn't a store of this program's version.
pub(crate) fn check(connection: &Connection, path: &Path) -> Result<(), StoreError> {
    match recognise(connection, path)? {
        SchemaFound::Empty => Err(StoreError::Foreign(path.to_owned())),
        SchemaFound::Store { version } if version > KNOWN => {
            Err(StoreError::Newer { path: path.to_owned(), found: version, known: KNOWN })
        }
        SchemaFound::Store { version } if version < KNOWN => {
            Err(StoreError::Older { path: path.to_owned(), found: version, known: KNOWN })
        }
        SchemaFound::Store { .. } => Ok(()),
    }
}

enum SchemaFound {
    /// A database without a table: a fresh file, or a start that was cut short before its first migration.
    Empty,
    Store {
        version: i64,
    },
}

fn recognise(connection: &Connection, path: &Path) -> Result<SchemaFound, StoreError> {
    let opening = |error| StoreError::while_opening(path, error);
    let number = |pragma| connection.pragma_query_value(None, pragma, |row| row.get::<_, i64>(0));
    let tables: i64 =
        connection.query_row("SELECT count(*) FROM sqlite_schema", [], |row| row.get(0)).map_err(opening)?;
    let application = number("application_id").map_err(opening)?;
    let version = number("user_version").map_err(opening)?;
    match (tables, application) {
        (0, 0 | APPLICATION_ID) => Ok(SchemaFound::Empty),
        (_, APPLICATION_ID) => Ok(SchemaFound::Store { version }),
        _ => Err(StoreError::Foreign(path.to_owned())),
    }
}

/// "Clay" in ASCII: tells our files from other SQLite databases.
const APPLICATION_ID: i64 = 0x436C_6179;

/// In order; a released one is never changed again.
const MIGRATIONS: [&str; 9] = [
    include_str!("../migrations/0001_first_watch.sql"),
    include_str!("../migrations/0002_journal.sql"),
    include_str!("../migrations/0003_mark_forecast.sql"),
    include_str!("../migrations/0004_clay_yield.sql"),
    include_str!("../migrations/0005_unanswered_mail.sql"),
    include_str!("../migrations/0006_calls.sql"),
    include_str!("../migrations/0007_delivery_log.sql"),
    include_str!("../migrations/0008_device_clock.sql"),
    include_str!("../migrations/0009_tonight.sql"),
];
