//! The recent past, as it is told again after a restart.

use jiff::{SignedDuration, Timestamp};
use rusqlite::{Params, Row};

use claymark_clay::LearnedYield;
use claymark_model::fieldlog::LogEntry;
use claymark_model::happening::Happening;
use claymark_model::quarantine::Quarantined;
use claymark_model::skill::MarkForecast;
use claymark_notice::Answer;

use super::{BEYOND_COUNTING, PassedOver, Reader, Readings, ranges, rows};
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
    /// Put aside since then, in order of arrival, because of its time; the newest of it.
    pub mistimed: Vec<Quarantined>,
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
        self.mistimed.retain(|aside| aside.received_at <= then);
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
    let mistimed = format!(
        "SELECT {} FROM quarantine
         WHERE number > (SELECT max(number) FROM quarantine) - {ASIDE} AND received >= ?1
             AND reason IN ('future-time', 'bad-time', 'conflict') ORDER BY number",
        rows::QUARANTINED
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
        mistimed: found.all(&mistimed, [ms], rows::quarantined),
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

/// So much earlier too: how well forecasts were of late.
const JUDGED: SignedDuration = SignedDuration::from_hours(7 * 24);

/// Of what was put aside the newest so many are looked through.
const ASIDE: u32 = 500;

/// A stock that was counted longer ago than this should be counted again.
const REMEMBERED: SignedDuration = SignedDuration::from_hours(366 * 24);
