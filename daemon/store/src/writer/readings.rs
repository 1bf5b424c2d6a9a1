//! Keeps readings: once each, the first value wins, and a settled spike flag rewrites its row.

use rusqlite::{Connection, params};

use claymark_model::quality::Flag;
use claymark_model::quarantine::{Quarantined, Reason};
use claymark_model::reading::{Assessed, TestFlags};

use super::Committed;
use super::journal::CommitJournal;
use super::rollups::{RollupReading, Rollups};
use super::sensors::SensorsInForce;
use crate::error::StoreError;

/// Keeps one reading, and says in `committed` what became of it.
pub(crate) fn keep(
    connection: &Connection,
    sensors: &SensorsInForce,
    rollups: &mut Rollups,
    journal: &mut CommitJournal,
    assessed: &Assessed,
    committed: &mut Committed,
) -> Result<(), StoreError> {
    let Some(key) = sensors.key(&assessed.reading.sensor) else {
        let detail = format!("no sensor '{}' in the site file", assessed.reading.sensor);
        committed.conflicts.push(aside(assessed, Reason::UnknownTopic, detail));
        return Ok(());
    };
    // SQLite would turn NaN into NULL.
    if !assessed.reading.value.is_finite() {
        let detail = format!("{} is not a value", assessed.reading.value);
        committed.conflicts.push(aside(assessed, Reason::NotFinite, detail));
        return Ok(());
    }
    // Adding zero makes -0 a plain 0, as SQLite does: else a redelivered -0 would look like another value.
    let value = assessed.reading.value + 0.0;
    // What the device said is the key, whatever was found out of its clock.
    let at = assessed.reading.device_time().as_millisecond();
    let measured = assessed.reading.at.as_millisecond();
    let lag = assessed.received_at.as_millisecond() - at;
    let point = RollupReading { sensor: key, at: measured, value, flag: assessed.flag };
    let inserted = connection
        .prepare_cached(
            "INSERT INTO reading (at, sensor, value, flag, tests, lag, ahead) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)
             ON CONFLICT DO NOTHING",
        )?
        .execute(params![at, key, value, u8::from(assessed.flag), assessed.tests.pack(), lag, at - measured])?;
    let limits = |hour| sensors.limits(&assessed.reading.sensor, hour);
    if inserted == 1 {
        rollups.add(connection, point, limits, lag + at - measured)?;
        journal.reading(at, key, lag);
        committed.stored += 1;
        return Ok(());
    }
    let kept = KeptRow::find(connection, at, key)?;
    if kept.value.to_bits() != value.to_bits() {
        let detail = format!(
            "{value} at {}: {} is already kept for that time",
            assessed.reading.device_time(),
            kept.value
        );
        committed.conflicts.push(aside(assessed, Reason::Conflict, detail));
    } else if kept.waits_for(&assessed.tests) {
        connection
            .prepare_cached("UPDATE reading SET flag = ?3, tests = ?4 WHERE at = ?1 AND sensor = ?2")?
            .execute(params![at, key, u8::from(assessed.flag), assessed.tests.pack()])?;
        rollups.rewrite(connection, point, kept.flag, limits)?;
        journal.reading(at, key, lag);
        committed.rewritten += 1;
    } else {
        committed.duplicates += 1;
    }
    Ok(())
}

/// The row that is already there.
struct KeptRow {
    value: f64,
    flag: Flag,
    tests: TestFlags,
}

impl KeptRow {
    fn find(connection: &Connection, at: i64, sensor: i64) -> Result<Self, StoreError> {
        let (value, flag, tests): (f64, u8, u32) = connection
            .prepare_cached("SELECT value, flag, tests FROM reading WHERE at = ?1 AND sensor = ?2")?
            .query_row(params![at, sensor], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)))?;
        let bad = |found: String| StoreError::BadRow { what: "flag", found };
        Ok(Self {
            value,
            flag: Flag::try_from(flag).map_err(|_not_one| bad(flag.to_string()))?,
            tests: TestFlags::unpack(tests).ok_or_else(|| bad(tests.to_string()))?,
        })
    }

    /// Whether `tests` settles this row's spike flag, or finds that it was owed to a neighbour.
    ///
    /// Nothing else rewrites a flag (QARTOD: real-time flags are never changed later, except the newest
    /// point's spike flag): a redelivery that is assessed again, with less before it, is a duplicate.
    fn waits_for(&self, tests: &TestFlags) -> bool {
        let settles = self.tests.spike == Flag::NotEvaluated && tests.spike != Flag::NotEvaluated;
        let explains = !self.tests.next_to_spike && tests.next_to_spike;
        (settles || explains) && (self.tests.time_order || !tests.time_order)
    }
}

fn aside(assessed: &Assessed, reason: Reason, detail: String) -> Quarantined {
    let payload = assessed.reading.value.to_string().into_bytes();
    Quarantined {
        received_at: assessed.received_at,
        topic: String::new(),
        sensor: Some(assessed.reading.sensor.clone()),
        reason,
        detail,
        payload_length: payload.len(),
        payload,
    }
}
