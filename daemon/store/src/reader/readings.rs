//! Readings, streamed by the time at which they were measured.

use std::collections::VecDeque;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use jiff::Timestamp;
use rusqlite::params_from_iter;

use claymark_model::reading::Assessed;

use super::{Reader, rows};
use crate::error::StoreError;

/// Readings in time order, fetched some thousand at a time: memory stays bounded, and no read
/// transaction stays open that would keep the write-ahead log growing.
///
/// What can't be read is stepped over, with one error in its place: first ten minutes of it, then twice as much.
#[derive(Debug)]
pub struct Readings<'store> {
    wanted: WantedReadings<'store>,
    /// Of devices whose clock was right, by the key.
    straight: Cursor,
    /// Of devices whose clock wasn't, by an index of their own.
    shifted: Cursor,
}

#[derive(Debug)]
struct WantedReadings<'store> {
    reader: &'store Reader,
    /// Keys of the sensors wanted.
    only: Vec<i64>,
    before: i64,
    arrived_by: Timestamp,
    /// How often the store has answered.
    answered: Arc<AtomicU64>,
}

/// Goes through one index.
#[derive(Debug)]
struct Cursor {
    sql: String,
    /// The last row fetched: when it was measured, its sensor, its key's time.
    behind: (i64, i64, i64),
    fetched: VecDeque<Assessed>,
    fault: Option<StoreError>,
    /// How far the next step over what can't be read goes, ms.
    stride: i64,
    over: bool,
}

impl<'store> Readings<'store> {
    /// From `from` to just before `before`; `None`: all sensors in the site file.
    pub(super) fn new(
        reader: &'store Reader,
        from: Timestamp,
        before: Timestamp,
        only: Option<Vec<i64>>,
    ) -> Self {
        let wanted = match &only {
            None => "s.in_site = 1".to_owned(),
            Some(keys) => {
                let places: Vec<String> = (6..6 + keys.len()).map(|place| format!("?{place}")).collect();
                format!("r.sensor IN ({})", places.join(", "))
            }
        };
        // The first term lets SQLite start in the middle of the index; the second tells it which one. The third parameter
        // has no use in the first of them.
        let sql = |start: &str, clock: &str, measured: &str, order: &str| {
            format!(
                "SELECT {} FROM reading r CROSS JOIN sensor s ON s.key = r.sensor
                 WHERE {start} AND {clock} AND {measured} < ?4 AND {wanted} ORDER BY {order} LIMIT ?5",
                rows::READING
            )
        };
        let straight = sql("(r.at, r.sensor) > (?1, ?2)", "r.ahead = 0", "r.at", "r.at, r.sensor");
        let shifted = sql(
            "(r.at - r.ahead, r.sensor, r.at) > (?1, ?2, ?3)",
            "r.ahead <> 0",
            "r.at - r.ahead",
            "r.at - r.ahead, r.sensor, r.at",
        );
        Self {
            wanted: WantedReadings {
                reader,
                only: only.unwrap_or_default(),
                before: before.as_millisecond(),
                arrived_by: Timestamp::MAX,
                answered: Arc::default(),
            },
            straight: Cursor::new(straight, from),
            shifted: Cursor::new(shifted, from),
        }
    }

    /// Counts in `answered` each time that the store gives some, so that another thread sees whether it hangs.
    pub fn count_in(&mut self, answered: Arc<AtomicU64>) {
        self.wanted.answered = answered;
    }

    /// Must be called before the first is taken.
    pub(super) fn until(&mut self, then: Timestamp) {
        self.wanted.before = self.wanted.before.min(then.as_millisecond().saturating_add(1));
        self.wanted.arrived_by = then;
    }
}

impl Iterator for Readings<'_> {
    type Item = Result<Assessed, StoreError>;

    fn next(&mut self) -> Option<Self::Item> {
        let Self { wanted, straight, shifted } = self;
        if let Some(error) = straight.fill(wanted).or_else(|| shifted.fill(wanted)) {
            return Some(Err(error));
        }
        let first = match (straight.measured(), shifted.measured()) {
            (Some(straight_at), Some(shifted_at)) if shifted_at < straight_at => shifted,
            (None, Some(_)) => shifted,
            (Some(_), _) | (None, None) => straight,
        };
        first.fetched.pop_front().map(Ok)
    }
}

impl Cursor {
    fn new(sql: String, from: Timestamp) -> Self {
        Self {
            sql,
            behind: (from.as_millisecond(), i64::MIN, i64::MIN),
            fetched: VecDeque::new(),
            fault: None,
            stride: FIRST_STRIDE_MS,
            over: false,
        }
    }

    /// When the next one was measured.
    fn measured(&self) -> Option<Timestamp> {
        self.fetched.front().map(|assessed| assessed.reading.at)
    }

    /// Fetches until something is there or nothing is left; what couldn't be read, once.
    fn fill(&mut self, wanted: &WantedReadings<'_>) -> Option<StoreError> {
        while self.fetched.is_empty() {
            if self.fault.is_some() || self.over {
                return self.fault.take();
            }
            match self.fetch(wanted) {
                Ok(()) => self.stride = FIRST_STRIDE_MS,
                Err(error) => self.step_over(wanted, error),
            }
        }
        None
    }

    fn fetch(&mut self, wanted: &WantedReadings<'_>) -> Result<(), StoreError> {
        let reader = wanted.reader;
        let mut statement = reader.connection.prepare_cached(&self.sql)?;
        let (measured, sensor, at) = self.behind;
        let bounds = [measured, sensor, at, wanted.before, AT_A_TIME];
        let mut found = statement.query(params_from_iter(bounds.iter().chain(&wanted.only)))?;
        let mut count = 0;
        while let Some(row) = found.next()? {
            let (at, sensor, ahead): (i64, i64, i64) = (row.get(0)?, row.get(1)?, row.get(7)?);
            let reading = reader.passed_over.row(rows::reading(row))?;
            self.fetched.extend(reading.filter(|reading| reading.received_at <= wanted.arrived_by));
            self.behind = (at - ahead, sensor, at);
            count += 1;
        }
        self.over = count < AT_A_TIME;
        wanted.answered.fetch_add(1, Ordering::Relaxed);
        Ok(())
    }

    fn step_over(&mut self, wanted: &WantedReadings<'_>, error: StoreError) {
        self.behind = (self.behind.0.saturating_add(self.stride), i64::MIN, i64::MIN);
        self.stride = self.stride.saturating_mul(2);
        self.over = !matches!(error, StoreError::Damaged(_)) || self.behind.0 >= wanted.before;
        self.fault = Some(error);
    }
}

/// Ten minutes.
const FIRST_STRIDE_MS: i64 = 600_000;

/// Rows in memory at once.
const AT_A_TIME: i64 = 4096;
