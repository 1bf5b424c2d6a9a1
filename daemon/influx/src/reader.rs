//! Reads back what was written: the rows that the local store gives for the same times, in the same order.
//!
//! Each row function asks one question; large answers are kept small by asking for short ranges.

mod rows;

use std::collections::BTreeMap;

use jiff::Timestamp;

use claymark_clay::LearnedYield;
use claymark_model::fieldlog::LogEntry;
use claymark_model::forecast::{Forecast, Subject};
use claymark_model::happening::Happening;
use claymark_model::id::Id;
use claymark_model::reading::Assessed;
use claymark_model::site::{Sensor, Site};
use claymark_model::skill::MarkForecast;
use claymark_notice::Answer;
use claymark_store::batch::{Delivery, Issued};
use claymark_store::reader::{KnownSensor, QuarantineCount, Rollup, SensorKey};

use crate::client::{Client, InfluxError};
use crate::flux::answer::{AnswerRow, BadAnswer, Rows};
use crate::flux::question::PointsQuestion;
use crate::schema::{self, Measurement};
use crate::settings::Settings;
use crate::source::hour_of;

/// One site in a bucket, for reading only.
///
/// Its functions wait for the server; they are for programs that do nothing else meanwhile, and must not be
/// called inside an async task.
#[derive(Debug)]
pub struct BucketReader {
    client: Client,
    waiting: tokio::runtime::Runtime,
    site: Site,
}

/// Why something can't be read back.
#[derive(Debug, thiserror::Error)]
pub enum ReadError {
    /// The server didn't answer, or refused.
    #[error(transparent)]
    Influx(#[from] InfluxError),
    /// The answer can't be used.
    #[error("{what} can't be read back: {why}")]
    Answer {
        /// Which measurement.
        what: &'static str,
        /// Why.
        why: BadAnswer,
    },
    /// A cell holds something that isn't what it should be.
    #[error("{what} can't be read back: '{found}' is no {expected}")]
    Record {
        /// Which measurement.
        what: &'static str,
        /// What should be there.
        expected: &'static str,
        /// What is there.
        found: String,
    },
    /// The bucket holds no such site.
    #[error("the bucket holds no site{}", wanted.as_ref().map(|id| format!(" '{id}'")).unwrap_or_default())]
    NoSite {
        /// The one that was asked for.
        wanted: Option<Id>,
    },
    /// The bucket holds several sites, and none was asked for.
    #[error("the bucket holds several sites: {}", found.join(", "))]
    WhichSite {
        /// Their ids.
        found: Vec<String>,
    },
    /// This machine refuses.
    #[error("nothing can be asked from this machine: {0}")]
    Here(#[from] std::io::Error),
}

impl BucketReader {
    /// Finds the site; `None`: the only one of the bucket.
    pub fn open(settings: &Settings, site: Option<&Id>) -> Result<Self, ReadError> {
        let waiting = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
        let inside = waiting.enter();
        let client = Client::new(settings)?;
        drop(inside);
        let site = find(&client, &waiting, site)?;
        Ok(Self { client, waiting, site })
    }

    /// The site as it was last written.
    #[must_use]
    pub fn site(&self) -> &Site {
        &self.site
    }

    /// When the last reading was measured.
    pub fn last_reading(&self) -> Result<Option<Timestamp>, ReadError> {
        let question = PointsQuestion {
            last: true,
            ..self.points(&schema::READING, &["flag"], Timestamp::MIN, Timestamp::MAX)
        };
        Ok(self
            .ask(&question, |row| row.need("_time").map_err(answer(schema::READING.name)))?
            .into_iter()
            .max())
    }

    /// The sensors of the site.
    #[must_use]
    pub fn sensors(&self) -> Vec<KnownSensor> {
        let known = |(key, sensor): (SensorKey, &Sensor)| KnownSensor {
            key,
            id: sensor.id.clone(),
            name: sensor.name.clone(),
            place: sensor.place.clone(),
            quantity: sensor.quantity,
            unit: sensor.unit.base(),
            every: sensor.every,
            in_site: true,
        };
        self.keys().map(known).collect()
    }

    /// Readings of some sensors in time order.
    pub fn readings(
        &self,
        sensors: &[SensorKey],
        from: Timestamp,
        to: Timestamp,
    ) -> Result<Vec<Assessed>, ReadError> {
        let wanted: BTreeMap<&str, &Sensor> = self
            .keys()
            .filter(|(key, _)| sensors.contains(key))
            .map(|(_, sensor)| (sensor.id.as_str(), sensor))
            .collect();
        let ids: Vec<&str> = wanted.keys().copied().collect();
        let question = PointsQuestion {
            only: Some(("sensor", &ids)),
            ..self.points(&schema::READING, &["value", "flag", "tests", "lag", "ahead"], from, to)
        };
        let found = self.ask(&question, |row| {
            let Some(sensor) = rows::of(&wanted, row, schema::READING.name)? else { return Ok(None) };
            rows::reading(row, sensor).map(Some)
        })?;
        let mut readings: Vec<Assessed> = found.into_iter().flatten().collect();
        readings.sort_by(|a, b| (a.reading.at, &a.reading.sensor).cmp(&(b.reading.at, &b.reading.sensor)));
        Ok(readings)
    }

    /// Hourly figures of all sensors, for every hour that overlaps the range; by hour, then sensor.
    pub fn rollups(&self, from: Timestamp, to: Timestamp) -> Result<Vec<Rollup>, ReadError> {
        let keys: BTreeMap<&str, SensorKey> =
            self.keys().map(|(key, sensor)| (sensor.id.as_str(), key)).collect();
        let sensors: BTreeMap<&str, &Sensor> =
            self.keys().map(|(_, sensor)| (sensor.id.as_str(), sensor)).collect();
        let question = self.points(&schema::ROLLUP, rows::ROLLUP_FIELDS, hour_of(from), to);
        let found = self.ask(&question, |row| {
            let Some(sensor) = rows::of(&sensors, row, schema::ROLLUP.name)? else { return Ok(None) };
            keys.get(sensor.id.as_str()).map(|key| rows::rollup(row, *key)).transpose()
        })?;
        let mut rollups: Vec<Rollup> = found.into_iter().flatten().collect();
        rollups.sort_by_key(|rollup| (rollup.hour, rollup.sensor));
        Ok(rollups)
    }

    /// Field-log entries by the time that they speak of, corrections included.
    pub fn log(&self, from: Timestamp, to: Timestamp) -> Result<Vec<LogEntry>, ReadError> {
        let mut log: Vec<LogEntry> = self.records(&schema::FIELD_LOG, from, to)?;
        log.sort_by(|a, b| (a.at, &a.key).cmp(&(b.at, &b.key)));
        Ok(log)
    }

    /// What happened to drums.
    pub fn happenings(&self, from: Timestamp, to: Timestamp) -> Result<Vec<Happening>, ReadError> {
        let question = self.points(&schema::HAPPENING, &["json"], from, to);
        let mut found: Vec<(String, Happening)> = self.ask(&question, |row| {
            let what = schema::HAPPENING.name;
            Ok((row.need("kind").map_err(answer(what))?, rows::record(row, what)?))
        })?;
        found.sort_by(|(a_kind, a), (b_kind, b)| (a.at, &a.drum, a_kind).cmp(&(b.at, &b.drum, b_kind)));
        Ok(found.into_iter().map(|(_, happening)| happening).collect())
    }

    /// Forecasts by the time that they were made.
    pub fn forecasts(&self, from: Timestamp, to: Timestamp) -> Result<Vec<Forecast>, ReadError> {
        let mut forecasts: Vec<Forecast> = self.records(&schema::FORECAST, from, to)?;
        let about = |forecast: &Forecast| match &forecast.of {
            Subject::Drum(id) => (0, id.clone()),
            Subject::Supply(id) => (1, id.clone()),
        };
        forecasts.sort_by_cached_key(|forecast| (forecast.at, about(forecast)));
        Ok(forecasts)
    }

    /// What was said of drums' marks, by the time that it was said.
    pub fn marks(&self, from: Timestamp, to: Timestamp) -> Result<Vec<MarkForecast>, ReadError> {
        let mut marks: Vec<MarkForecast> = self.records(&schema::MARK_FORECAST, from, to)?;
        marks.sort_by(|a, b| {
            (a.made_at, &a.drum).cmp(&(b.made_at, &b.drum)).then(a.mark.0.total_cmp(&b.mark.0))
        });
        Ok(marks)
    }

    /// What was learned of the clay, by when that was reckoned.
    pub fn yields(&self, from: Timestamp, to: Timestamp) -> Result<Vec<LearnedYield>, ReadError> {
        let mut yields: Vec<LearnedYield> = self.records(&schema::CLAY_YIELD, from, to)?;
        yields.sort_by_key(|learned| learned.learned_at);
        Ok(yields)
    }

    /// Notices by the time that they were decided.
    pub fn notices(&self, from: Timestamp, to: Timestamp) -> Result<Vec<Issued>, ReadError> {
        let mut notices: Vec<Issued> = self.records(&schema::NOTICE, from, to)?;
        notices.sort_by_key(|issued| (issued.notice.at, issued.notice.number));
        Ok(notices)
    }

    /// Deliveries of the notices that were decided in the range.
    pub fn deliveries(&self, from: Timestamp, to: Timestamp) -> Result<Vec<Delivery>, ReadError> {
        let mut deliveries: Vec<Delivery> = self.records(&schema::DELIVERY, from, to)?;
        deliveries.sort_by(|a, b| (a.notice, &a.contact).cmp(&(b.notice, &b.contact)));
        Ok(deliveries)
    }

    /// Answers by their arrival.
    pub fn answers(&self, from: Timestamp, to: Timestamp) -> Result<Vec<Answer>, ReadError> {
        let mut answers: Vec<Answer> = self.records(&schema::ANSWER, from, to)?;
        answers.sort_by(|a, b| (a.at, a.notice, &a.by).cmp(&(b.at, b.notice, &b.by)));
        Ok(answers)
    }

    /// How often something was put aside, for every hour that overlaps the range.
    pub fn quarantine_counts(
        &self,
        from: Timestamp,
        to: Timestamp,
    ) -> Result<Vec<QuarantineCount>, ReadError> {
        let question = self.points(&schema::QUARANTINE, &["count"], hour_of(from), to);
        let mut counts = self.ask(&question, rows::quarantine_count)?;
        counts.sort_by_key(|count| (count.hour, count.reason));
        Ok(counts)
    }

    fn keys(&self) -> impl Iterator<Item = (SensorKey, &Sensor)> {
        (0..).map(SensorKey::new).zip(&self.site.sensors)
    }

    fn points<'a>(
        &'a self,
        measurement: &'a Measurement,
        fields: &'a [&'a str],
        from: Timestamp,
        to: Timestamp,
    ) -> PointsQuestion<'a> {
        PointsQuestion { measurement, site: Some(&self.site.id), from, to, fields, only: None, last: false }
    }

    /// Points that carry themselves as JSON.
    fn records<T: serde::de::DeserializeOwned>(
        &self,
        measurement: &'static Measurement,
        from: Timestamp,
        to: Timestamp,
    ) -> Result<Vec<T>, ReadError> {
        self.ask(&self.points(measurement, &["json"], from, to), |row| rows::record(row, measurement.name))
    }

    fn ask<T>(
        &self,
        question: &PointsQuestion<'_>,
        read: impl Fn(&AnswerRow) -> Result<T, ReadError>,
    ) -> Result<Vec<T>, ReadError> {
        ask(&self.client, &self.waiting, question, read)
    }
}

fn ask<T>(
    client: &Client,
    waiting: &tokio::runtime::Runtime,
    question: &PointsQuestion<'_>,
    read: impl Fn(&AnswerRow) -> Result<T, ReadError>,
) -> Result<Vec<T>, ReadError> {
    let Some(flux) = question.flux() else { return Ok(Vec::new()) };
    let text = waiting.block_on(client.query(&flux))?;
    let bad = answer(question.measurement.name);
    Rows::new(text.as_bytes()).map(|row| read(&row.map_err(&bad)?)).collect()
}

/// The site in force: its newest parts, all written at the same time.
fn find(client: &Client, waiting: &tokio::runtime::Runtime, wanted: Option<&Id>) -> Result<Site, ReadError> {
    let question = PointsQuestion {
        measurement: &schema::SITE,
        site: wanted,
        from: Timestamp::MIN,
        to: Timestamp::MAX,
        fields: &["json", "parts"],
        only: None,
        last: true,
    };
    let mut sites: BTreeMap<String, Vec<rows::SitePart>> = BTreeMap::new();
    for (site, part) in ask(client, waiting, &question, rows::site_part)? {
        sites.entry(site).or_default().push(part);
    }
    match sites.len() {
        0 => Err(ReadError::NoSite { wanted: wanted.cloned() }),
        1 => rows::site(sites.into_values().flatten().collect()),
        _ => Err(ReadError::WhichSite { found: sites.into_keys().collect() }),
    }
}

fn answer(what: &'static str) -> impl Fn(BadAnswer) -> ReadError {
    move |why| ReadError::Answer { what, why }
}
