//! What the report asks for: everything from `from` to just before `to`.

use jiff::{SignedDuration, Timestamp};

use claymark_clay::LearnedYield;
use claymark_model::fieldlog::LogEntry;
use claymark_model::forecast::{Forecast, Subject};
use claymark_model::happening::Happening;
use claymark_model::id::Id;
use claymark_model::quarantine::{Quarantined, Reason};
use claymark_model::site::{NotAPlace, Place, Quantity};
use claymark_model::skill::MarkForecast;
use claymark_model::units::Unit;
use claymark_notice::Answer;

use super::{Reader, Readings, rows};
use crate::batch::{Delivery, Issued};
use crate::columns::{self, MS_PER_HOUR};
use crate::error::StoreError;
use crate::limits::Limits;

/// Names a sensor with its place, quantity and unit: one that moved has two.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct SensorKey(pub(crate) i64);

impl SensorKey {
    /// A key for rows that come from elsewhere than the store.
    #[must_use]
    pub fn new(number: i64) -> Self {
        Self(number)
    }
}

/// A sensor that the store has readings of, or may get.
#[derive(Debug, Clone, PartialEq)]
pub struct KnownSensor {
    /// For queries.
    pub key: SensorKey,
    /// In the site file.
    pub id: Id,
    /// For people.
    pub name: String,
    /// Where it stands or stood.
    pub place: Place,
    /// What it measures.
    pub quantity: Quantity,
    /// Base unit of its readings.
    pub unit: Unit,
    /// How often it should speak.
    pub every: SignedDuration,
    /// Whether it is in the site file now.
    pub in_site: bool,
}

/// One sensor's hour; *usable* are the flags 1, 2 and 3.
#[derive(Debug, Clone, PartialEq)]
pub struct Rollup {
    /// Whose.
    pub sensor: SensorKey,
    /// When the hour begins; hours are those of UTC.
    pub hour: Timestamp,
    /// Readings with flag 1.
    pub passed: u64,
    /// Flag 2.
    pub not_evaluated: u64,
    /// Flag 3.
    pub suspect: u64,
    /// Flag 4.
    pub failed: u64,
    /// Flag 9.
    pub missing: u64,
    /// Least usable value.
    pub least: Option<f64>,
    /// Greatest usable value.
    pub most: Option<f64>,
    /// Sum of the usable values.
    pub total: f64,
    /// The site's limits when the hour began to fill.
    pub limits: Limits,
    /// Usable values below the lower limit.
    pub below: u64,
    /// Usable values above the upper limit.
    pub above: u64,
    /// The longest time that a reading took to arrive.
    pub longest_lag: SignedDuration,
}

impl Rollup {
    /// All readings, whatever their flag.
    #[must_use]
    pub fn count(&self) -> u64 {
        self.usable() + self.failed + self.missing
    }

    /// Usable readings.
    #[must_use]
    pub fn usable(&self) -> u64 {
        self.passed + self.not_evaluated + self.suspect
    }
}

/// How often something was put aside in an hour of arrival.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct QuarantineCount {
    /// When the hour begins; hours are those of UTC.
    pub hour: Timestamp,
    /// Why.
    pub reason: Reason,
    /// How often, those that are no longer kept included.
    pub count: u64,
}

impl Reader {
    /// Every sensor that ever was in the site file, in the order in which they came.
    pub fn sensors(&self) -> Result<Vec<KnownSensor>, StoreError> {
        let sql = "SELECT key, id, name, place, quantity, unit, every_ms, in_site FROM sensor ORDER BY key";
        rows::collect(self, sql, [], |row| {
            let bad = |what, found: &str| StoreError::BadRow { what, found: found.to_owned() };
            let (id, place): (String, String) = (row.get(1)?, row.get(3)?);
            let (quantity, unit): (String, String) = (row.get(4)?, row.get(5)?);
            Ok(KnownSensor {
                key: SensorKey(row.get(0)?),
                id: columns::id(&id)?,
                name: row.get(2)?,
                place: Place::parse(&place).map_err(|NotAPlace(found)| bad("place", &found))?,
                quantity: Quantity::parse(&quantity).ok_or_else(|| bad("quantity", &quantity))?,
                unit: Unit::parse(&unit).map_err(|_unknown| bad("unit", &unit))?,
                every: SignedDuration::from_millis(row.get(6)?),
                in_site: row.get(7)?,
            })
        })
    }

    /// Hourly figures of all sensors, for every hour that overlaps the range; by hour, then sensor.
    pub fn rollups(&self, from: Timestamp, to: Timestamp) -> Result<Vec<Rollup>, StoreError> {
        let sql = "SELECT hour, sensor, passed, not_evaluated, suspect, failed, missing,
                          least, most, total, low, high, below, above, longest_lag
                   FROM rollup WHERE hour >= ?1 AND hour * 3600000 < ?2 ORDER BY hour, sensor";
        let range = [columns::hour(from.as_millisecond()), to.as_millisecond()];
        rows::collect(self, sql, range, |row| {
            let hour: i64 = row.get(0)?;
            Ok(Rollup {
                hour: columns::time(hour * MS_PER_HOUR)?,
                sensor: SensorKey(row.get(1)?),
                passed: row.get(2)?,
                not_evaluated: row.get(3)?,
                suspect: row.get(4)?,
                failed: row.get(5)?,
                missing: row.get(6)?,
                least: row.get(7)?,
                most: row.get(8)?,
                total: row.get(9)?,
                limits: Limits { low: row.get(10)?, high: row.get(11)? },
                below: row.get(12)?,
                above: row.get(13)?,
                longest_lag: SignedDuration::from_millis(row.get(14)?),
            })
        })
    }

    /// Readings of some sensors in time order, streamed.
    ///
    /// One pass over the range whatever the number of sensors: ask for several at once.
    #[must_use]
    pub fn readings(&self, sensors: &[SensorKey], from: Timestamp, to: Timestamp) -> Readings<'_> {
        let keys = sensors.iter().map(|sensor| sensor.0).collect();
        Readings::new(self, from, to, Some(keys))
    }

    /// When the first and the last reading were measured.
    pub fn extent(&self) -> Result<Option<(Timestamp, Timestamp)>, StoreError> {
        // Two queries: SQLite looks up a lone min or max in the key, but scans for both together.
        let sql = "SELECT (SELECT min(at) FROM reading), (SELECT max(at) FROM reading),
                          (SELECT min(at - ahead) FROM reading WHERE ahead <> 0),
                          (SELECT max(at - ahead) FROM reading WHERE ahead <> 0)";
        let [first, last, first_shifted, last_shifted]: [Option<i64>; 4] =
            self.connection
                .query_row(sql, [], |row| Ok([row.get(0)?, row.get(1)?, row.get(2)?, row.get(3)?]))?;
        let first = [first, first_shifted].into_iter().flatten().min();
        first
            .zip(last.max(last_shifted))
            .map(|(first, last)| Ok((columns::time(first)?, columns::time(last)?)))
            .transpose()
    }

    /// Field-log entries by the time that they speak of, corrections included.
    pub fn log(&self, from: Timestamp, to: Timestamp) -> Result<Vec<LogEntry>, StoreError> {
        let sql = select(rows::LOG_ENTRY, "field_log", "at", "at, entry_key");
        rows::collect(self, &sql, range(from, to), rows::log_entry)
    }

    /// What happened to drums.
    pub fn happenings(&self, from: Timestamp, to: Timestamp) -> Result<Vec<Happening>, StoreError> {
        let sql = select(rows::HAPPENING, "happening", "at", "at, drum, kind");
        rows::collect(self, &sql, range(from, to), rows::happening)
    }

    /// Forecasts by the time that they were made.
    pub fn forecasts(&self, from: Timestamp, to: Timestamp) -> Result<Vec<Forecast>, StoreError> {
        let sql = select(rows::FORECAST, "forecast", "at", "at, about, id");
        rows::collect(self, &sql, range(from, to), rows::forecast)
    }

    /// What was said of drums' marks, by when it was said.
    pub fn marks(&self, from: Timestamp, to: Timestamp) -> Result<Vec<MarkForecast>, StoreError> {
        let sql = select(rows::MARK, "mark_forecast", "made", "made, drum, mark");
        rows::collect(self, &sql, range(from, to), rows::mark)
    }

    /// What was learned of the clay, by when that was reckoned.
    pub fn yields(&self, from: Timestamp, to: Timestamp) -> Result<Vec<LearnedYield>, StoreError> {
        let sql = select(rows::YIELD, "clay_yield", "at", "at");
        rows::collect(self, &sql, range(from, to), rows::learned)
    }

    /// Every drum and supply that was ever forecast, those included that have left the site file.
    pub fn forecast_subjects(&self) -> Result<Vec<Subject>, StoreError> {
        let sql = "SELECT DISTINCT about, id FROM forecast ORDER BY about, id";
        rows::collect(self, sql, [], |row| rows::subject(row, 0))
    }

    /// Notices by the time that they were decided.
    pub fn notices(&self, from: Timestamp, to: Timestamp) -> Result<Vec<Issued>, StoreError> {
        let sql = select(rows::NOTICE, "notice n", "at", "at, number");
        rows::collect(self, &sql, range(from, to), rows::notice)
    }

    /// Deliveries of the notices that were decided in the range.
    pub fn deliveries(&self, from: Timestamp, to: Timestamp) -> Result<Vec<Delivery>, StoreError> {
        let from_clause = "delivery d JOIN notice n ON n.number = d.notice";
        let sql = select(rows::DELIVERY, from_clause, "n.at", "d.notice, d.contact, d.channel");
        rows::collect(self, &sql, range(from, to), |row| rows::delivery(row, 0))
    }

    /// Answers by their arrival.
    pub fn answers(&self, from: Timestamp, to: Timestamp) -> Result<Vec<Answer>, StoreError> {
        rows::collect(self, &answers_sql(), range(from, to), rows::answer)
    }

    /// How often something was put aside, for every hour that overlaps the range.
    pub fn quarantine_counts(
        &self,
        from: Timestamp,
        to: Timestamp,
    ) -> Result<Vec<QuarantineCount>, StoreError> {
        let sql = "SELECT hour, reason, count FROM quarantine_count
                   WHERE hour >= ?1 AND hour * 3600000 < ?2 ORDER BY hour, reason";
        let range = [columns::hour(from.as_millisecond()), to.as_millisecond()];
        rows::collect(self, sql, range, |row| {
            let hour: i64 = row.get(0)?;
            Ok(QuarantineCount {
                hour: columns::time(hour * MS_PER_HOUR)?,
                reason: columns::named("reason", row.get(1)?)?,
                count: row.get(2)?,
            })
        })
    }

    /// What is still kept aside, newest first, at most `most`.
    pub fn quarantined(&self, most: u32) -> Result<Vec<Quarantined>, StoreError> {
        let sql = format!("SELECT {} FROM quarantine ORDER BY number DESC LIMIT ?1", rows::QUARANTINED);
        rows::collect(self, &sql, [most], rows::quarantined)
    }
}

/// Answers between two times of arrival.
pub(super) fn answers_sql() -> String {
    select(rows::ANSWER, "answer", "at", "at, notice")
}

fn select(columns: &str, from: &str, time: &str, order: &str) -> String {
    format!("SELECT {columns} FROM {from} WHERE {time} >= ?1 AND {time} < ?2 ORDER BY {order}")
}

fn range(from: Timestamp, to: Timestamp) -> [i64; 2] {
    [from.as_millisecond(), to.as_millisecond()]
}
