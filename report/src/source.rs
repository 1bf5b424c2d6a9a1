//! From rows to facts: which rows of the week are read, from the local store or from InfluxDB, and how few.
//!
//! Every reading of the week is looked at, an hour of all sensors at a time, and streams by: a figure made of hourly means
//! would be another than the one made of the readings. Of the hourly figures only the limits are taken that were in force.

use std::collections::BTreeMap;

use jiff::{SignedDuration, Timestamp};

use claymark_clay::LearnedYield;
use claymark_influx::reader::ReadError;
use claymark_model::fieldlog::LogEntry;
use claymark_model::forecast::Forecast;
use claymark_model::happening::Happening;
use claymark_model::id::Id;
use claymark_model::ledger::Ledger;
use claymark_model::quarantine::Reason;
use claymark_model::reading::Assessed;
use claymark_model::site::Site;
use claymark_model::skill::MarkForecast;
use claymark_notice::Answer;
use claymark_store::StoreError;
use claymark_store::batch::{Delivery, Issued};
use claymark_store::reader::{KnownSensor, QuarantineCount, Rollup, SensorKey};
use claymark_words::report::unmade::Kind;

use crate::facts::{HeldRows, WeekFacts, WeekTraces};
use crate::parts::Unmade;
use crate::week::Week;

/// Where the rows are: the local store, or the same rows in InfluxDB. Everything that the report reads is here;
/// ranges are from the first time to just before the second.
pub trait RowSource {
    /// The site in force.
    fn site(&self) -> Result<Site, Unread>;
    /// When the last reading was measured.
    fn last_reading(&self) -> Result<Option<Timestamp>, Unread>;
    /// Every sensor that there are rows of.
    fn sensors(&self) -> Result<Vec<KnownSensor>, Unread>;
    /// Tells readings of some sensors; those of one sensor in the order of time.
    fn readings(
        &self,
        of: &[SensorKey],
        from: Timestamp,
        to: Timestamp,
        tell: &mut dyn FnMut(&Assessed),
    ) -> Result<(), Unread>;
    /// Hourly figures of all sensors, for every hour that overlaps the range; by hour.
    fn rollups(&self, from: Timestamp, to: Timestamp) -> Result<Vec<Rollup>, Unread>;
    /// Forecasts in the order of time.
    fn forecasts(&self, from: Timestamp, to: Timestamp) -> Result<Vec<Forecast>, Unread>;
    /// What happened to drums, in the order of time.
    fn happenings(&self, from: Timestamp, to: Timestamp) -> Result<Vec<Happening>, Unread>;
    /// What was said of drums' marks and what became of it, in the order of saying.
    fn marks(&self, from: Timestamp, to: Timestamp) -> Result<Vec<MarkForecast>, Unread>;
    /// What was learned of the clay, in the order of time.
    fn yields(&self, from: Timestamp, to: Timestamp) -> Result<Vec<LearnedYield>, Unread>;
    /// Notices in the order of time.
    fn notices(&self, from: Timestamp, to: Timestamp) -> Result<Vec<Issued>, Unread>;
    /// Deliveries of the notices of the range.
    fn deliveries(&self, from: Timestamp, to: Timestamp) -> Result<Vec<Delivery>, Unread>;
    /// Answers in the order of time.
    fn answers(&self, from: Timestamp, to: Timestamp) -> Result<Vec<Answer>, Unread>;
    /// Field-log entries in the order of time.
    fn log(&self, from: Timestamp, to: Timestamp) -> Result<Vec<LogEntry>, Unread>;
    /// How often something was put aside, for every hour that overlaps the range.
    fn quarantine_counts(&self, from: Timestamp, to: Timestamp) -> Result<Vec<QuarantineCount>, Unread>;
}

/// The rows can't be read.
#[derive(Debug, thiserror::Error)]
pub enum Unread {
    /// From the local store.
    #[error("the store can't be read: {0}")]
    Store(#[from] StoreError),
    /// From InfluxDB.
    #[error("InfluxDB can't be read: {0}")]
    Influx(#[from] ReadError),
}

impl Unread {
    /// What to do about it, in a sentence.
    #[must_use]
    pub fn remedy(&self) -> &'static str {
        match self {
            Self::Store(_) => {
                "Check the path and that you may read it; the daemon may go on running meanwhile."
            }
            Self::Influx(error) => match error {
                ReadError::Influx(_) => {
                    "Ask whoever runs InfluxDB: the address, the names and the token must fit, and the token must \
                     have the right to read the bucket."
                }
                ReadError::NoSite { .. } => {
                    "Check --bucket and --site; a daemon writes its site within minutes of its first contact."
                }
                ReadError::WhichSite { .. } => "Name one of them with --site.",
                ReadError::Answer { .. } | ReadError::Record { .. } => {
                    "Make the report with the version that the site's daemon has; if that doesn't help, tell the \
                     developers this text."
                }
                ReadError::Here(_) => "Try again; the machine is short of something.",
            },
        }
    }
}

/// The facts of `week` as they are known at `now`. Rows that can't be read are missing in them, with a mark.
pub fn facts(source: &impl RowSource, site: Site, week: Week, now: Timestamp) -> WeekFacts {
    let until = now.clamp(week.start(), week.end());
    let mut unmade = Unmade::default();
    let traces = traces(source, &site, &week, until, &mut unmade);
    let rows = rows(source, &site, &week, until, unmade);
    WeekFacts::of(site, week, until, &traces.finish(), rows)
}

fn traces(
    source: &impl RowSource,
    site: &Site,
    week: &Week,
    until: Timestamp,
    unmade: &mut Unmade,
) -> WeekTraces {
    let known = unmade.rows(Kind::Readings, source.sensors());
    let ids: BTreeMap<SensorKey, Id> =
        known.into_iter().filter(|known| known.in_site).map(|known| (known.key, known.id)).collect();
    let mut traces = WeekTraces::new(site, week, until);
    let every: Vec<SensorKey> = ids.keys().copied().collect();
    // Where these can't be read the limits of the site file hold.
    if let Ok(hours) = source.rollups(week.start(), until) {
        for hour in hours {
            if let Some(builder) = ids.get(&hour.sensor).and_then(|id| traces.of(id)) {
                builder.set_limits(hour.hour, hour.limits);
            }
        }
    }
    let mut from = week.start().saturating_sub(LEAD_IN).unwrap_or(Timestamp::MIN);
    while from < until {
        let to = an_hour_after(from, until);
        if let Err(unread) = source.readings(&every, from, to, &mut |assessed| traces.push(assessed)) {
            unmade.hour(&unread);
        }
        from = to;
    }
    traces
}

fn an_hour_after(time: Timestamp, until: Timestamp) -> Timestamp {
    time.saturating_add(SignedDuration::from_hours(1)).unwrap_or(until).min(until)
}

fn rows(source: &impl RowSource, site: &Site, week: &Week, until: Timestamp, mut unmade: Unmade) -> HeldRows {
    let (start, end) = (week.start(), week.end());
    let earlier = |by: SignedDuration| start.saturating_sub(by).unwrap_or(Timestamp::MIN);
    let later = |by: SignedDuration| end.saturating_add(by).unwrap_or(Timestamp::MAX);
    let weeks_before = until.saturating_sub(JUDGED).unwrap_or(Timestamp::MIN);
    let mut quarantined: BTreeMap<Reason, u64> = BTreeMap::new();
    for count in unmade.rows(Kind::Quarantined, source.quarantine_counts(start, until)) {
        *quarantined.entry(count.reason).or_default() += count.count;
    }
    let day = SignedDuration::from_hours(24);
    HeldRows {
        // Twelve hours before, for a run-out early on Monday; a little after, for the volume at midnight.
        forecasts: unmade.rows(
            Kind::Forecasts,
            source.forecasts(earlier(SignedDuration::from_hours(13)), later(SignedDuration::from_mins(20))),
        ),
        happenings: unmade.rows(Kind::Happenings, source.happenings(earlier(HAPPENED_BEFORE), until)),
        notices: unmade.rows(Kind::Notices, source.notices(earlier(day), end)),
        deliveries: unmade.rows(Kind::Deliveries, source.deliveries(earlier(day), end)),
        answers: unmade.rows(Kind::Answers, source.answers(earlier(day), later(day))),
        log: unmade.rows(Kind::Log, source.log(earlier(SignedDuration::from_hours(3)), end)),
        ledger: ledger(source, site, earlier(HAPPENED_BEFORE), until, &mut unmade),
        marks: unmade.rows(Kind::Marks, source.marks(weeks_before, until)),
        yields: unmade.rows(Kind::Yields, source.yields(weeks_before, until)),
        quarantined,
        unmade,
    }
}

/// Clay that came and went since the bags were counted, and refills from `from` on.
fn ledger(
    source: &impl RowSource,
    site: &Site,
    from: Timestamp,
    until: Timestamp,
    unmade: &mut Unmade,
) -> Ledger {
    let counted =
        site.stock.as_ref().and_then(|rules| rules.counted_on.to_zoned_datetime(site.time_zone.clone()).ok());
    let from = counted.map_or(from, |counted| from.min(counted.timestamp()));
    let mut ledger = Ledger::default();
    unmade.rows(Kind::Log, source.log(from, until)).iter().for_each(|entry| ledger.log(entry));
    let happenings = unmade.rows(Kind::Happenings, source.happenings(from, until));
    happenings.iter().for_each(|happening| ledger.happened(happening));
    ledger
}

/// Both readers have these functions by the same names.
macro_rules! rows_of_ranges {
    ($($name:ident: $row:ty),+) => {
        $(fn $name(&self, from: Timestamp, to: Timestamp) -> Result<Vec<$row>, Unread> {
            Ok(self.$name(from, to)?)
        })+
    };
    () => {
        rows_of_ranges! {
            rollups: Rollup,
            forecasts: Forecast,
            happenings: Happening,
            marks: MarkForecast,
            yields: LearnedYield,
            notices: Issued,
            deliveries: Delivery,
            answers: Answer,
            log: LogEntry,
            quarantine_counts: QuarantineCount
        }
    };
}

impl RowSource for claymark_store::Reader {
    fn site(&self) -> Result<Site, Unread> {
        Ok(self.site()?)
    }

    fn last_reading(&self) -> Result<Option<Timestamp>, Unread> {
        Ok(self.extent()?.map(|(_, last)| last))
    }

    fn sensors(&self) -> Result<Vec<KnownSensor>, Unread> {
        Ok(self.sensors()?)
    }

    fn readings(
        &self,
        of: &[SensorKey],
        from: Timestamp,
        to: Timestamp,
        tell: &mut dyn FnMut(&Assessed),
    ) -> Result<(), Unread> {
        for assessed in self.readings(of, from, to) {
            tell(&assessed?);
        }
        Ok(())
    }

    rows_of_ranges!();
}

impl RowSource for claymark_influx::BucketReader {
    fn site(&self) -> Result<Site, Unread> {
        Ok(self.site().clone())
    }

    fn last_reading(&self) -> Result<Option<Timestamp>, Unread> {
        Ok(self.last_reading()?)
    }

    fn sensors(&self) -> Result<Vec<KnownSensor>, Unread> {
        Ok(self.sensors())
    }

    fn readings(
        &self,
        of: &[SensorKey],
        from: Timestamp,
        to: Timestamp,
        tell: &mut dyn FnMut(&Assessed),
    ) -> Result<(), Unread> {
        self.readings(of, from, to)?.iter().for_each(tell);
        Ok(())
    }

    rows_of_ranges!();
}

/// A reading this long before the week may still stand when it begins.
const LEAD_IN: SignedDuration = SignedDuration::from_hours(1);

/// Forecasts are judged, and the clay was learned, over so much time up to the end: a week alone tells little.
const JUDGED: SignedDuration = SignedDuration::from_hours(28 * 24);

/// A drum that ran empty, or a doubt that arose, so long before the week may still hold in it.
const HAPPENED_BEFORE: SignedDuration = SignedDuration::from_hours(14 * 24);
