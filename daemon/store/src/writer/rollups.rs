//! The hourly figures of each sensor, kept equal to what the raw readings of that hour give.
//!
//! Counts go up and down with the flags. Least, most and total can't be taken back once added, so each
//! hour in hand remembers its last few readings apart: settling a spike flag touches the last but one.
//! A flag that is rewritten further back makes the hour be read again from its raw readings.

use std::collections::{HashMap, VecDeque};

use jiff::Timestamp;
use rusqlite::{Connection, OptionalExtension, params};

use claymark_model::quality::Flag;

use crate::columns::{self, MS_PER_HOUR, hour};
use crate::error::StoreError;
use crate::limits::Limits;

/// The hours in hand.
#[derive(Debug, Default)]
pub(crate) struct Rollups {
    hours: HashMap<(i64, i64), Hour>,
}

/// One reading, as far as the figures go.
#[derive(Debug, Clone, Copy)]
pub(crate) struct RollupReading {
    pub(crate) sensor: i64,
    pub(crate) at: i64,
    pub(crate) value: f64,
    pub(crate) flag: Flag,
}

/// One sensor's hour.
#[derive(Debug)]
struct Hour {
    counts: Counts,
    limits: Limits,
    longest_lag: i64,
    /// Of all but `recent`.
    settled: Extent,
    recent: VecDeque<RollupReading>,
    changed: bool,
}

#[derive(Debug, Default)]
struct Counts {
    passed: i64,
    not_evaluated: i64,
    suspect: i64,
    failed: i64,
    missing: i64,
    below: i64,
    above: i64,
}

/// Of usable values.
#[derive(Debug, Clone, Copy, Default)]
struct Extent {
    least: Option<f64>,
    most: Option<f64>,
    total: f64,
}

impl Rollups {
    /// A new reading; its row is already there.
    pub(crate) fn add(
        &mut self,
        connection: &Connection,
        point: RollupReading,
        limits: impl FnOnce(Timestamp) -> Limits,
        lag: i64,
    ) -> Result<(), StoreError> {
        let hour = self.hour(connection, point, limits)?;
        hour.counts.count(&point, hour.limits, 1);
        hour.longest_lag = hour.longest_lag.max(lag);
        hour.recent.push_back(point);
        if hour.recent.len() > RECENT
            && let Some(oldest) = hour.recent.pop_front()
        {
            hour.settled.include(&oldest);
        }
        hour.changed = true;
        Ok(())
    }

    /// A reading whose flag was `before`; its row is already rewritten.
    pub(crate) fn rewrite(
        &mut self,
        connection: &Connection,
        point: RollupReading,
        before: Flag,
        limits: impl FnOnce(Timestamp) -> Limits,
    ) -> Result<(), StoreError> {
        let hour = self.hour(connection, point, limits)?;
        hour.counts.count(&RollupReading { flag: before, ..point }, hour.limits, -1);
        hour.counts.count(&point, hour.limits, 1);
        hour.changed = true;
        if let Some(recent) = hour.recent.iter_mut().find(|recent| recent.at == point.at) {
            recent.flag = point.flag;
        } else if before.usable() != point.flag.usable() {
            hour.settled = Extent::of_raw(connection, point)?;
            hour.recent.clear();
        }
        Ok(())
    }

    /// Writes what changed, and lets go of hours that are over.
    pub(crate) fn flush(&mut self, connection: &Connection) -> Result<(), StoreError> {
        let mut upsert = connection.prepare_cached(
            "INSERT OR REPLACE INTO rollup
                 (hour, sensor, passed, not_evaluated, suspect, failed, missing,
                  least, most, total, low, high, below, above, longest_lag)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15)",
        )?;
        let mut newest = i64::MIN;
        for ((number, sensor), hour) in &mut self.hours {
            newest = newest.max(*number);
            if std::mem::take(&mut hour.changed) {
                let (counts, extent) = (&hour.counts, hour.extent());
                upsert.execute(params![
                    number,
                    sensor,
                    counts.passed,
                    counts.not_evaluated,
                    counts.suspect,
                    counts.failed,
                    counts.missing,
                    extent.least,
                    extent.most,
                    extent.total,
                    hour.limits.low,
                    hour.limits.high,
                    counts.below,
                    counts.above,
                    hour.longest_lag
                ])?;
            }
        }
        self.hours.retain(|(number, _), _| *number >= newest - 1);
        Ok(())
    }

    fn hour(
        &mut self,
        connection: &Connection,
        point: RollupReading,
        limits: impl FnOnce(Timestamp) -> Limits,
    ) -> Result<&mut Hour, StoreError> {
        use std::collections::hash_map::Entry;
        match self.hours.entry((hour(point.at), point.sensor)) {
            Entry::Occupied(there) => Ok(there.into_mut()),
            Entry::Vacant(free) => Ok(free.insert(Hour::load(connection, point, limits)?)),
        }
    }
}

impl Hour {
    /// As it stands in the store; `limits` gives those of an hour that begins now.
    fn load(
        connection: &Connection,
        point: RollupReading,
        limits: impl FnOnce(Timestamp) -> Limits,
    ) -> Result<Self, StoreError> {
        let found = connection
            .prepare_cached(
                "SELECT passed, not_evaluated, suspect, failed, missing, below, above,
                        least, most, total, low, high, longest_lag
                 FROM rollup WHERE hour = ?1 AND sensor = ?2",
            )?
            .query_row(params![hour(point.at), point.sensor], |row| {
                Ok(Self {
                    counts: Counts {
                        passed: row.get(0)?,
                        not_evaluated: row.get(1)?,
                        suspect: row.get(2)?,
                        failed: row.get(3)?,
                        missing: row.get(4)?,
                        below: row.get(5)?,
                        above: row.get(6)?,
                    },
                    settled: Extent { least: row.get(7)?, most: row.get(8)?, total: row.get(9)? },
                    limits: Limits { low: row.get(10)?, high: row.get(11)? },
                    longest_lag: row.get(12)?,
                    recent: VecDeque::new(),
                    changed: false,
                })
            })
            .optional()?;
        if let Some(found) = found {
            return Ok(found);
        }
        Ok(Self {
            counts: Counts::default(),
            limits: limits(columns::time(hour(point.at) * MS_PER_HOUR)?),
            longest_lag: i64::MIN,
            settled: Extent::default(),
            recent: VecDeque::new(),
            changed: false,
        })
    }

    fn extent(&self) -> Extent {
        let mut extent = self.settled;
        for point in &self.recent {
            extent.include(point);
        }
        extent
    }
}

impl Counts {
    fn count(&mut self, point: &RollupReading, limits: Limits, by: i64) {
        match point.flag {
            Flag::Pass => self.passed += by,
            Flag::NotEvaluated => self.not_evaluated += by,
            Flag::Suspect => self.suspect += by,
            Flag::Fail => self.failed += by,
            Flag::Missing => self.missing += by,
        }
        if point.flag.usable() {
            self.below += if limits.below(point.value) { by } else { 0 };
            self.above += if limits.above(point.value) { by } else { 0 };
        }
    }
}

impl Extent {
    fn include(&mut self, point: &RollupReading) {
        if point.flag.usable() {
            self.least = Some(self.least.map_or(point.value, |least| least.min(point.value)));
            self.most = Some(self.most.map_or(point.value, |most| most.max(point.value)));
            self.total += point.value;
        }
    }

    /// Of the hour and sensor of `point`, from its raw readings.
    fn of_raw(connection: &Connection, point: RollupReading) -> Result<Self, StoreError> {
        let from = hour(point.at) * MS_PER_HOUR;
        let found = connection
            .prepare_cached(
                "SELECT min(value), max(value), total(value) FROM (
                     SELECT value FROM reading
                     WHERE ahead = 0 AND at >= ?1 AND at < ?2 AND sensor = ?3 AND flag IN (1, 2, 3)
                     UNION ALL SELECT value FROM reading
                     WHERE ahead <> 0 AND at - ahead >= ?1 AND at - ahead < ?2 AND sensor = ?3 AND flag IN (1, 2, 3))",
            )?
            .query_row(params![from, from + MS_PER_HOUR, point.sensor], |row| {
                Ok(Self { least: row.get(0)?, most: row.get(1)?, total: row.get(2)? })
            })?;
        Ok(found)
    }
}

/// Readings of an hour whose least, most and total aren't final; settling touches the last but one.
const RECENT: usize = 4;
