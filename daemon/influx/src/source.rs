//! What the store holds, as points: the journal's next page, or a range again.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use jiff::{SignedDuration, Timestamp};

use claymark_model::id::Id;
use claymark_store::journal::{Entry, JournalTable, Name};
use claymark_store::reader::{RawReading, SensorKey};
use claymark_store::{Reader, StoreError};

use crate::line::{BadPoint, Lines};
use crate::points::{Points, SensorTags, Unwritable};

/// An open store and what its sensors' points begin with.
#[derive(Debug)]
pub struct PointSource {
    reader: Reader,
    site: Id,
    sensors: SensorTags,
}

/// Points that leave together.
#[derive(Debug, Default)]
pub struct Page {
    /// The last entry of the journal whose points are all in it.
    pub upto: u64,
    /// Whether more may be waiting.
    pub full: bool,
    /// When the first of it arrived or was made.
    pub oldest: Option<Timestamp>,
    /// From the earliest reading to the latest, when there are any.
    pub span: Option<(Timestamp, Timestamp)>,
    /// Fit to leave.
    pub lines: Lines,
    /// Not fit to leave.
    pub unwritable: Vec<Unwritable>,
}

/// Why there are no points.
#[derive(Debug, thiserror::Error)]
pub enum SourceError {
    /// The store.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// A sensor whose place, unit or id can't be a tag.
    #[error("a sensor can't be named in line protocol: {0}")]
    Sensor(#[from] BadPoint),
}

impl PointSource {
    /// Opens a store that is there, for reading.
    pub fn open(store: &Path, site: Id) -> Result<Self, SourceError> {
        let reader = Reader::open(store)?;
        let sensors = SensorTags::of(&site, &reader.sensors()?)?;
        Ok(Self { reader, site, sensors })
    }

    /// The store behind it.
    #[must_use]
    pub fn store(&self) -> &Reader {
        &self.reader
    }

    /// The oldest points that haven't been forwarded; `None`: all have.
    pub fn next_page(&mut self) -> Result<Option<Page>, SourceError> {
        let moment = self.reader.moment()?;
        let entries = self.reader.journal(ROWS_IN_A_PAGE)?;
        let (Some(first), Some(last)) = (entries.first(), entries.last()) else { return Ok(None) };
        let (oldest, upto) = (first.newest, last.number);
        let full = entries.iter().map(|entry| entry.names.len()).sum::<usize>() >= ROWS_IN_A_PAGE;
        let named = Named::of(entries);
        let mut rows = Vec::with_capacity(named.readings.len());
        self.reader.named_readings(named.readings, |row| rows.push(row))?;
        let mut hours: BTreeMap<Timestamp, BTreeSet<SensorKey>> = BTreeMap::new();
        for of_hour in rows.chunk_by(|row, next| hour_of(row.at) == hour_of(next.at)) {
            let Some(first) = of_hour.first() else { continue };
            // Those of a device whose clock is off lie elsewhere: an hour may come twice.
            let sensors = hours.entry(hour_of(first.at)).or_default();
            sensors.extend(of_hour.iter().map(|row| row.sensor));
        }
        know(&mut self.sensors, &rows, &self.reader, &self.site)?;

        let mut points = Points::new(&self.site, &self.sensors);
        rows.iter().for_each(|row| points.reading(row));
        for (hour, sensors) in &hours {
            let rollups = self.reader.rollups(*hour, just_after(*hour))?;
            rollups
                .iter()
                .filter(|rollup| sensors.contains(&rollup.sensor))
                .for_each(|rollup| points.rollup(rollup));
        }
        for (what, times) in &named.others {
            for at in times {
                records(&self.reader, &mut points, *what, *at, just_after(*at))?;
            }
        }
        drop(moment);
        let span = span_of(&rows);
        Ok(Some(Page {
            upto,
            full,
            oldest: Some(oldest),
            span,
            lines: points.lines,
            unwritable: points.unwritable,
        }))
    }

    /// All points from `from` to just before `to`, an hour or less; the figures of hours that begin in it.
    pub fn range(&mut self, from: Timestamp, to: Timestamp) -> Result<Page, SourceError> {
        let moment = self.reader.moment()?;
        let mut rows = Vec::new();
        self.reader.raw_readings(from, to, |row| rows.push(row))?;
        know(&mut self.sensors, &rows, &self.reader, &self.site)?;
        let mut points = Points::new(&self.site, &self.sensors);
        rows.iter().for_each(|row| points.reading(row));
        let rollups = self.reader.rollups(from, to)?;
        rollups.iter().filter(|rollup| rollup.hour >= from).for_each(|rollup| points.rollup(rollup));
        for what in RECORDS {
            records(&self.reader, &mut points, what, from, to)?;
        }
        drop(moment);
        let span = span_of(&rows);
        Ok(Page {
            upto: 0,
            full: false,
            oldest: None,
            span,
            lines: points.lines,
            unwritable: points.unwritable,
        })
    }
}

/// A changed site file may have brought new sensors.
fn know(
    sensors: &mut SensorTags,
    rows: &[RawReading],
    reader: &Reader,
    site: &Id,
) -> Result<(), SourceError> {
    if rows.iter().any(|row| !sensors.know(row.sensor)) {
        *sensors = SensorTags::of(site, &reader.sensors()?)?;
    }
    Ok(())
}

/// What some entries of the journal name; times each once.
#[derive(Default)]
struct Named {
    readings: Vec<Name>,
    others: BTreeMap<JournalTable, BTreeSet<Timestamp>>,
}

impl Named {
    fn of(entries: Vec<Entry>) -> Self {
        let mut named = Self::default();
        for entry in entries {
            match entry.what {
                JournalTable::Readings => named.readings.extend(entry.names),
                JournalTable::Forecasts
                | JournalTable::Log
                | JournalTable::Happenings
                | JournalTable::Marks
                | JournalTable::Yields
                | JournalTable::Notices
                | JournalTable::Answers
                | JournalTable::Quarantine => {
                    let times = entry.names.into_iter().filter_map(|name| name.time().ok());
                    named.others.entry(entry.what).or_default().extend(times);
                }
            }
        }
        named
    }
}

/// All records of a kind in a range: those of one time always together.
fn records(
    reader: &Reader,
    points: &mut Points<'_>,
    what: JournalTable,
    from: Timestamp,
    to: Timestamp,
) -> Result<(), StoreError> {
    match what {
        JournalTable::Readings => {}
        JournalTable::Forecasts => {
            reader.forecasts(from, to)?.iter().for_each(|forecast| points.forecast(forecast))
        }
        JournalTable::Log => reader.log(from, to)?.iter().for_each(|entry| points.log(entry)),
        JournalTable::Happenings => {
            reader.happenings(from, to)?.iter().for_each(|happening| points.happening(happening))
        }
        JournalTable::Marks => reader.marks(from, to)?.iter().for_each(|said| points.mark(said)),
        JournalTable::Yields => reader.yields(from, to)?.iter().for_each(|learned| points.learned(learned)),
        JournalTable::Notices => {
            let notices = reader.notices(from, to)?;
            notices.iter().for_each(|issued| points.notice(issued));
            for delivery in reader.deliveries(from, to)? {
                let of = notices.iter().find(|issued| issued.notice.number == delivery.notice);
                of.iter().for_each(|issued| points.delivery(issued.notice.at, &delivery));
            }
        }
        JournalTable::Answers => reader.answers(from, to)?.iter().for_each(|answer| points.answer(answer)),
        JournalTable::Quarantine => {
            let counts = reader.quarantine_counts(from, to)?;
            counts.iter().filter(|count| count.hour >= from).for_each(|count| points.quarantine(count));
        }
    }
    Ok(())
}

fn span_of(rows: &[RawReading]) -> Option<(Timestamp, Timestamp)> {
    let times = || rows.iter().map(|row| row.at);
    times().min().zip(times().max())
}

/// When the hour of UTC that holds `at` begins.
#[must_use]
pub fn hour_of(at: Timestamp) -> Timestamp {
    let into = at.as_second().rem_euclid(3600);
    Timestamp::from_second(at.as_second() - into).unwrap_or(Timestamp::MIN)
}

fn just_after(at: Timestamp) -> Timestamp {
    at.saturating_add(SignedDuration::from_millis(1)).unwrap_or(Timestamp::MAX)
}

/// Everything that isn't a reading.
const RECORDS: [JournalTable; 8] = [
    JournalTable::Forecasts,
    JournalTable::Log,
    JournalTable::Happenings,
    JournalTable::Marks,
    JournalTable::Yields,
    JournalTable::Notices,
    JournalTable::Answers,
    JournalTable::Quarantine,
];

/// About one request's worth.
const ROWS_IN_A_PAGE: usize = 5_000;
