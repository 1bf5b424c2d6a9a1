//! The recent past, as it is told again after a restart; and readings, streamed in time order.

use std::collections::VecDeque;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use jiff::{SignedDuration, Timestamp};
use rusqlite::{Params, Row, params_from_iter};

use claymark_clay::LearnedYield;
use claymark_model::fieldlog::LogEntry;
use claymark_model::happening::Happening;
use claymark_model::reading::Assessed;
use claymark_model::skill::MarkForecast;
use claymark_notice::Answer;

use super::{BEYOND_COUNTING, PassedOver, Reader, ranges, rows};
use crate::batch::Issued;
use crate::error::StoreError;
use crate::writer::records::CAME;

/// The recent past; each list in time order.
#[derive(Debug)]
pub struct Recall<'store> {
    /// Of the sensors in the site file, streamed.
    pub readings: Readings<'store>,
    /// Done, or heard of, since then.
    pub log: Vec<LogEntry>,
    /// Made since then, and the newest one in any case: numbers go on from it.
    pub notices: Vec<Issued>,
    /// Arrived since then.
    pub answers: Vec<Answer>,
    /// What was written down in the year before: clay and checks by hand are reckoned with for long.
    pub remembered: Vec<LogEntry>,
    /// What the data showed in the year before, and since then.
    pub happened: Vec<Happening>,
    /// Said of drums' marks since then, and in the days before too where the volume came down to them.
    pub marks: Vec<MarkForecast>,
    /// Learned of the clay since then, and the last word of the year before.
    pub yields: Vec<LearnedYield>,
    /// The first thing that couldn't be read: its list ends before it.
    pub trouble: Option<StoreError>,
    /// The highest number of a notice, whether or not that notice can be read.
    pub last_notice: Option<u64>,
    /// What couldn't be understood; complete when the readings have been taken.
    pub passed_over: &'store PassedOver,
}

impl Recall<'_> {
    /// Only what had arrived by `then`; of readings also only those that were measured by then. What was
    /// rewritten since, such as a spike flag that was settled, stands as it is now.
    #[must_use]
    pub fn until(mut self, then: Timestamp) -> Self {
        self.readings.until(then);
        self.log.retain(|entry| entry.received_at <= then);
        self.notices.retain(|issued| issued.notice.at <= then);
        self.answers.retain(|answer| answer.at <= then);
        self.happened.retain(|happening| happening.at <= then);
        self.marks.retain(|said| said.made_at <= then);
        self.yields.retain(|learned| learned.learned_at <= then);
        self
    }
}

pub(super) fn recall(reader: &Reader, since: Timestamp) -> Recall<'_> {
    let ms = since.as_millisecond();
    let notices = format!(
        "SELECT {} FROM notice n WHERE number < {BEYOND_COUNTING}
         AND (at >= ?1 OR number = (SELECT max(number) FROM notice WHERE number < {BEYOND_COUNTING}))
         ORDER BY at, number",
        rows::NOTICE
    );
    let log = format!(
        "SELECT {} FROM field_log WHERE at >= ?1 OR received >= ?1 ORDER BY at, entry_key",
        rows::LOG_ENTRY
    );
    let remembered = format!(
        "SELECT {} FROM field_log WHERE at >= ?1 AND at < ?2 AND received < ?2 ORDER BY at, entry_key",
        rows::LOG_ENTRY
    );
    let happened =
        format!("SELECT {} FROM happening WHERE at >= ?1 ORDER BY at, drum, kind", rows::HAPPENING);
    let year = since.saturating_sub(REMEMBERED).unwrap_or(Timestamp::MIN).as_millisecond();
    let marks = format!(
        "SELECT {} FROM mark_forecast WHERE made >= ?1 OR (made >= ?2 AND fate = '{CAME}') ORDER BY made, drum, mark",
        rows::MARK
    );
    let yields = format!(
        "SELECT {} FROM clay_yield
         WHERE at >= ?1 OR at = (SELECT max(at) FROM clay_yield WHERE at >= ?2 AND at < ?1) ORDER BY at",
        rows::YIELD
    );
    let judged = since.saturating_sub(JUDGED).unwrap_or(Timestamp::MIN).as_millisecond();
    let mut found = Readable { reader, trouble: None };
    Recall {
        readings: Readings::new(reader, since, Timestamp::MAX, None),
        log: found.all(&log, [ms], rows::log_entry),
        notices: found.all(&notices, [ms], rows::notice),
        answers: found.all(&ranges::answers_sql(), [ms, i64::MAX], rows::answer),
        remembered: found.all(&remembered, [year, ms], rows::log_entry),
        happened: found.all(&happened, [year], rows::happening),
        marks: found.all(&marks, [ms, judged], rows::mark),
        yields: found.all(&yields, [ms, year], rows::learned),
        last_notice: found.last_notice(),
        passed_over: &reader.passed_over,
        trouble: found.trouble,
    }
}

/// What can be read, and the first thing that can't.
struct Readable<'store> {
    reader: &'store Reader,
    trouble: Option<StoreError>,
}

impl Readable<'_> {
    fn all<T>(
        &mut self,
        sql: &str,
        params: impl Params,
        read: impl Fn(&Row<'_>) -> Result<T, StoreError>,
    ) -> Vec<T> {
        let mut all = Vec::new();
        if let Err(error) = rows::collect_into(&mut all, self.reader, sql, params, read) {
            self.trouble.get_or_insert(error);
        }
        all
    }

    fn last_notice(&mut self) -> Option<u64> {
        self.reader.last_notice().unwrap_or_else(|error| {
            self.trouble.get_or_insert(error);
            None
        })
    }
}

/// Readings in time order, fetched some thousand at a time: memory stays bounded, and no read
/// transaction stays open that would keep the write-ahead log growing.
///
/// What can't be read is stepped over, with one error in its place: first ten minutes of it, then twice as much.
#[derive(Debug)]
pub struct Readings<'store> {
    reader: &'store Reader,
    sql: String,
    /// Keys of the sensors wanted.
    only: Vec<i64>,
    /// Behind the last row fetched.
    next: (i64, i64),
    before: i64,
    arrived_by: Timestamp,
    fetched: VecDeque<Assessed>,
    fault: Option<StoreError>,
    /// How far the next step over what can't be read goes, ms.
    stride: i64,
    over: bool,
    /// How often the store has answered.
    answered: Arc<AtomicU64>,
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
                let places: Vec<String> = (5..5 + keys.len()).map(|place| format!("?{place}")).collect();
                format!("r.sensor IN ({})", places.join(", "))
            }
        };
        // The first term lets SQLite start in the middle of the key.
        let sql = format!(
            "SELECT {} FROM reading r CROSS JOIN sensor s ON s.key = r.sensor
             WHERE (r.at, r.sensor) >= (?1, ?2) AND r.at < ?3 AND {wanted}
             ORDER BY r.at, r.sensor LIMIT ?4",
            rows::READING
        );
        Self {
            reader,
            sql,
            only: only.unwrap_or_default(),
            next: (from.as_millisecond(), i64::MIN),
            before: before.as_millisecond(),
            arrived_by: Timestamp::MAX,
            fetched: VecDeque::new(),
            fault: None,
            stride: FIRST_STRIDE_MS,
            over: false,
            answered: Arc::default(),
        }
    }

    /// Counts in `answered` each time that the store gives some, so that another thread sees whether it hangs.
    pub fn count_in(&mut self, answered: Arc<AtomicU64>) {
        self.answered = answered;
    }

    /// Must be called before the first is taken.
    fn until(&mut self, then: Timestamp) {
        self.before = self.before.min(then.as_millisecond().saturating_add(1));
        self.arrived_by = then;
    }

    fn fetch(&mut self) -> Result<(), StoreError> {
        let mut statement = self.reader.connection.prepare_cached(&self.sql)?;
        let bounds = [self.next.0, self.next.1, self.before, AT_A_TIME];
        let mut found = statement.query(params_from_iter(bounds.iter().chain(&self.only)))?;
        let mut count = 0;
        while let Some(row) = found.next()? {
            let (at, sensor): (i64, i64) = (row.get(0)?, row.get(1)?);
            let reading = self.reader.passed_over.row(rows::reading(row))?;
            self.fetched.extend(reading.filter(|reading| reading.received_at <= self.arrived_by));
            self.next = (at, sensor + 1);
            count += 1;
        }
        self.over = count < AT_A_TIME;
        self.answered.fetch_add(1, Ordering::Relaxed);
        Ok(())
    }

    fn step_over(&mut self, error: StoreError) {
        self.next = (self.next.0.saturating_add(self.stride), i64::MIN);
        self.stride = self.stride.saturating_mul(2);
        self.over = !matches!(error, StoreError::Damaged(_)) || self.next.0 >= self.before;
        self.fault = Some(error);
    }
}

impl Iterator for Readings<'_> {
    type Item = Result<Assessed, StoreError>;

    fn next(&mut self) -> Option<Self::Item> {
        loop {
            if let Some(reading) = self.fetched.pop_front() {
                return Some(Ok(reading));
            }
            if let Some(error) = self.fault.take() {
                return Some(Err(error));
            }
            if self.over {
                return None;
            }
            match self.fetch() {
                Ok(()) => self.stride = FIRST_STRIDE_MS,
                Err(error) => self.step_over(error),
            }
        }
    }
}

/// So much earlier too: how well forecasts were of late.
const JUDGED: SignedDuration = SignedDuration::from_hours(7 * 24);

/// Ten minutes.
const FIRST_STRIDE_MS: i64 = 600_000;

/// Rows in memory at once.
const AT_A_TIME: i64 = 4096;

/// A stock that was counted longer ago than this should be counted again.
const REMEMBERED: SignedDuration = SignedDuration::from_hours(366 * 24);
