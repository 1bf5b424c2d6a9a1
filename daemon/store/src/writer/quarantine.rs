//! Keeps the newest of what couldn't be used, and counts all of it.

use rusqlite::{Connection, params};

use claymark_model::id::Id;
use claymark_model::quarantine::Quarantined;

use crate::columns;
use crate::error::StoreError;

/// How much is kept now.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Shelf {
    rows: i64,
    bytes: i64,
}

impl Shelf {
    /// As the store is.
    pub(crate) fn load(connection: &Connection) -> Result<Self, StoreError> {
        let sql = "SELECT count(*), coalesce(sum(length(topic) + length(detail) + length(payload)), 0) FROM quarantine";
        let found =
            connection.query_row(sql, [], |row| Ok(Self { rows: row.get(0)?, bytes: row.get(1)? }))?;
        Ok(found)
    }

    /// Keeps and counts one thing, and lets go of the oldest ones where there are too many.
    pub(crate) fn keep(&mut self, connection: &Connection, thing: &Quarantined) -> Result<(), StoreError> {
        let reason = columns::name(&thing.reason)?;
        let received = thing.received_at.as_millisecond();
        self.bytes += connection
            .prepare_cached(
                "INSERT INTO quarantine (received, topic, sensor, reason, detail, payload, payload_length)
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)
                 RETURNING length(topic) + length(detail) + length(payload)",
            )?
            .query_row(
                params![
                    received,
                    thing.topic,
                    thing.sensor.as_ref().map(Id::as_str),
                    reason,
                    thing.detail,
                    thing.payload,
                    thing.payload_length
                ],
                |row| row.get::<_, i64>(0),
            )?;
        self.rows += 1;
        connection
            .prepare_cached(
                "INSERT INTO quarantine_count (hour, reason, count) VALUES (?1, ?2, 1)
                 ON CONFLICT DO UPDATE SET count = count + 1",
            )?
            .execute(params![columns::hour(received), reason])?;
        while self.rows > MOST_ROWS || self.bytes > MOST_BYTES {
            self.bytes -= connection
                .prepare_cached(
                    "DELETE FROM quarantine WHERE number = (SELECT min(number) FROM quarantine)
                     RETURNING length(topic) + length(detail) + length(payload)",
                )?
                .query_row([], |row| row.get::<_, i64>(0))?;
            self.rows -= 1;
        }
        Ok(())
    }
}

/// Enough to see what goes wrong; the counts tell how often.
const MOST_ROWS: i64 = 10_000;

/// A barn's small disk must survive a sensor that sends noise all night.
const MOST_BYTES: i64 = 16 * 1024 * 1024;
