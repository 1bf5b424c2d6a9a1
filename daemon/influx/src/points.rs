//! Each kind of row of the store as points of the schema.

use std::collections::HashMap;

use jiff::{SignedDuration, Timestamp};
use serde::Serialize;

use claymark_clay::LearnedYield;
use claymark_model::fieldlog::LogEntry;
use claymark_model::forecast::{Forecast, Outlook, Subject};
use claymark_model::happening::Happening;
use claymark_model::id::Id;
use claymark_model::skill::{Fate, MarkForecast};
use claymark_notice::Answer;
use claymark_store::batch::{Delivery, DeliveryState, Issued};
use claymark_store::reader::{KnownSensor, QuarantineCount, RawReading, Rollup, SensorKey};

use crate::line::{BadPoint, Lines, TaggedSeries, Value};
use crate::reason;
use crate::schema::{self, Measurement};

/// Points of one site in the making.
#[derive(Debug)]
pub struct Points<'a> {
    site: &'a Id,
    sensors: &'a SensorTags,
    /// How many have the same time and tags.
    slots: HashMap<(Timestamp, String), u32>,
    /// Fit to leave.
    pub lines: Lines,
    /// Not fit to leave.
    pub unwritable: Vec<Unwritable>,
}

/// What can't be written, and why.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Unwritable {
    /// What it is.
    pub about: String,
    /// Why.
    pub reason: String,
}

/// What the points of each sensor begin with.
#[derive(Debug, Default)]
pub struct SensorTags(HashMap<SensorKey, OfSensor>);

#[derive(Debug)]
struct OfSensor {
    reading: TaggedSeries,
    rollup: TaggedSeries,
}

impl SensorTags {
    /// As the store knows them.
    pub fn of(site: &Id, known: &[KnownSensor]) -> Result<Self, BadPoint> {
        let series = |sensor: &KnownSensor| {
            let (place, unit) = (sensor.place.to_string(), sensor.unit.base().symbol());
            let tags = [&place, sensor.quantity.name(), sensor.id.as_str(), site.as_str(), unit];
            let reading = TaggedSeries::new(&schema::READING, &tags)?;
            Ok((sensor.key, OfSensor { reading, rollup: TaggedSeries::new(&schema::ROLLUP, &tags)? }))
        };
        known.iter().map(series).collect::<Result<_, _>>().map(Self)
    }

    /// Whether a sensor is among them.
    #[must_use]
    pub fn know(&self, sensor: SensorKey) -> bool {
        self.0.contains_key(&sensor)
    }
}

impl<'a> Points<'a> {
    /// None yet.
    #[must_use]
    pub fn new(site: &'a Id, sensors: &'a SensorTags) -> Self {
        Self { site, sensors, slots: HashMap::new(), lines: Lines::default(), unwritable: Vec::new() }
    }

    /// One reading.
    pub fn reading(&mut self, row: &RawReading) {
        let Some(sensor) = self.sensors.0.get(&row.sensor) else { return };
        let fields = [
            ("value", Value::Float(row.value)),
            ("flag", Value::Integer(u8::from(row.flag).into())),
            ("tests", Value::Integer(row.tests.pack().into())),
            ("lag", Value::Integer(row.lag_ms)),
            ("ahead", Value::Integer(row.ahead_ms)),
        ];
        // The last of them only where the clock was off.
        let count = if row.ahead_ms == 0 { fields.len() - 1 } else { fields.len() };
        let fields = fields.get(..count).unwrap_or_default();
        if let Err(bad) = self.lines.push(&sensor.reading, row.at, fields) {
            self.aside(&schema::READING, row.at, &bad);
        }
    }

    /// One hour of one sensor.
    pub fn rollup(&mut self, rollup: &Rollup) {
        let Some(sensor) = self.sensors.0.get(&rollup.sensor) else { return };
        let count = |count: u64| Value::Integer(i64::try_from(count).unwrap_or(i64::MAX));
        let mut fields = vec![
            ("passed", count(rollup.passed)),
            ("not_evaluated", count(rollup.not_evaluated)),
            ("suspect", count(rollup.suspect)),
            ("failed", count(rollup.failed)),
            ("missing", count(rollup.missing)),
            ("total", Value::Float(rollup.total)),
            ("below", count(rollup.below)),
            ("above", count(rollup.above)),
            ("longest_lag", Value::Integer(whole_ms(rollup.longest_lag))),
        ];
        let limits = rollup.limits;
        let maybe =
            [("least", rollup.least), ("most", rollup.most), ("low", limits.low), ("high", limits.high)];
        fields.extend(maybe.into_iter().filter_map(|(name, value)| Some((name, Value::Float(value?)))));
        if let Err(bad) = self.lines.push(&sensor.rollup, rollup.hour, &fields) {
            self.aside(&schema::ROLLUP, rollup.hour, &bad);
        }
    }

    /// One forecast.
    pub fn forecast(&mut self, forecast: &Forecast) {
        let (about, id) = match &forecast.of {
            Subject::Drum(id) => ("drum", id),
            Subject::Supply(id) => ("supply", id),
        };
        let mut numbers = Vec::new();
        if let Outlook::Known { volume, draw, empty_at, .. } = &forecast.outlook {
            numbers.extend([("volume_l", volume.0), ("draw_l_per_h", draw.0)]);
            let left = [
                ("hours_left_p05", empty_at.p05),
                ("hours_left_p50", empty_at.p50),
                ("hours_left_p95", empty_at.p95),
            ];
            let hours = |at: Timestamp| at.duration_since(forecast.at).as_secs_f64() / 3600.0;
            numbers.extend(left.into_iter().filter_map(|(name, at)| Some((name, hours(at?)))));
        }
        let more: Vec<_> = numbers.into_iter().map(|(name, value)| (name, Value::Float(value))).collect();
        let site = self.site.as_str();
        self.record(&schema::FORECAST, forecast.at, &[about, id.as_str(), site], forecast, &more);
    }

    /// All field-log entries of a time, in the store's order.
    pub fn log(&mut self, entry: &LogEntry) {
        let kind = tag_of(&entry.deed, "kind");
        let by = entry.by.as_deref().map(plain);
        let more: Vec<_> = by.iter().map(|by| ("by", Value::Text(by))).collect();
        let site = self.site.as_str();
        self.slotted(&schema::FIELD_LOG, entry.at, &[&kind, site], entry, &more);
    }

    /// What happened to a drum.
    pub fn happening(&mut self, happening: &Happening) {
        let kind = tag_of(&happening.what, "what");
        let tags = [happening.drum.as_str(), &kind, self.site.as_str()];
        self.record(&schema::HAPPENING, happening.at, &tags, happening, &[]);
    }

    /// What was said of a drum's mark, and what became of it.
    pub fn mark(&mut self, said: &MarkForecast) {
        let fate = match said.fate {
            Fate::Open => "open",
            Fate::Came { .. } => "came",
            Fate::Dropped => "dropped",
        };
        let mut more = vec![("mark_l", Value::Float(said.mark.0)), ("fate", Value::Text(fate))];
        let late = said.off().map(|off| off.as_secs_f64() / 60.0);
        more.extend(late.map(|minutes| ("late_min", Value::Float(minutes))));
        let tags = [said.drum.as_str(), said.lead.name(), self.site.as_str()];
        self.record(&schema::MARK_FORECAST, said.made_at, &tags, said, &more);
    }

    /// What was learned of the clay.
    pub fn learned(&mut self, learned: &LearnedYield) {
        let more = [
            ("ntu_per_mg_l", Value::Float(learned.clay.ntu_per_mg_l)),
            ("sd", Value::Float(learned.clay.sd)),
        ];
        self.record(&schema::CLAY_YIELD, learned.learned_at, &[self.site.as_str()], learned, &more);
    }

    /// All notices of a time, in the store's order.
    pub fn notice(&mut self, issued: &Issued) {
        let notice = &issued.notice;
        let (kind, priority) = (name_of(&notice.kind), name_of(&notice.priority));
        let subject = plain(&issued.subject);
        let more = [("number", number(notice.number)), ("subject", Value::Text(&subject))];
        self.slotted(&schema::NOTICE, notice.at, &[&kind, &priority, self.site.as_str()], issued, &more);
    }

    /// All deliveries of the notices of a time, in the store's order.
    pub fn delivery(&mut self, decided: Timestamp, delivery: &Delivery) {
        let channel = name_of(&delivery.channel);
        let state = match &delivery.state {
            DeliveryState::Pending { .. } => "pending",
            DeliveryState::Sent { .. } => "sent",
            DeliveryState::GivenUp { .. } => "given-up",
            DeliveryState::Unanswered { .. } => "unanswered",
        };
        let more = [("notice", number(delivery.notice)), ("state", Value::Text(state))];
        let tags = [channel.as_str(), delivery.contact.as_str(), self.site.as_str()];
        self.slotted(&schema::DELIVERY, decided, &tags, delivery, &more);
    }

    /// All answers of a time, in the store's order.
    pub fn answer(&mut self, answer: &Answer) {
        let more = [("notice", number(answer.notice))];
        self.slotted(&schema::ANSWER, answer.at, &[self.site.as_str()], answer, &more);
    }

    /// How often something was kept aside in an hour.
    pub fn quarantine(&mut self, count: &QuarantineCount) {
        let written = TaggedSeries::new(&schema::QUARANTINE, &[&name_of(&count.reason), self.site.as_str()])
            .and_then(|series| self.lines.push(&series, count.hour, &[("count", number(count.count))]));
        if let Err(bad) = written {
            self.aside(&schema::QUARANTINE, count.hour, &bad);
        }
    }

    /// A record whose last tag is its slot.
    fn slotted(
        &mut self,
        measurement: &'static Measurement,
        at: Timestamp,
        tags: &[&str],
        record: &impl Serialize,
        more: &[(&str, Value<'_>)],
    ) {
        let taken = self.slots.entry((at, format!("{} {}", measurement.name, tags.join(" ")))).or_insert(0);
        let slot = taken.to_string();
        *taken += 1;
        let tags: Vec<&str> = tags.iter().copied().chain([slot.as_str()]).collect();
        self.record(measurement, at, &tags, record, more);
    }

    fn record(
        &mut self,
        measurement: &'static Measurement,
        at: Timestamp,
        tags: &[&str],
        record: &impl Serialize,
        more: &[(&str, Value<'_>)],
    ) {
        let json = match serde_json::to_string(record) {
            Ok(json) => reason::told(json),
            Err(error) => {
                let about = format!("{} of {at}", measurement.name);
                self.unwritable.push(Unwritable { about, reason: error.to_string() });
                return;
            }
        };
        let fields: Vec<_> = [("json", Value::Text(&json))].into_iter().chain(more.iter().copied()).collect();
        let written =
            TaggedSeries::new(measurement, tags).and_then(|series| self.lines.push(&series, at, &fields));
        if let Err(bad) = written {
            self.aside(measurement, at, &bad);
        }
    }

    fn aside(&mut self, measurement: &Measurement, at: Timestamp, bad: &BadPoint) {
        let about = format!("{} of {at}", measurement.name);
        self.unwritable.push(Unwritable { about, reason: bad.to_string() });
    }
}

/// The name under which serde knows a unit variant.
fn name_of(value: &impl Serialize) -> String {
    let json = serde_json::to_value(value).unwrap_or_default();
    json.as_str().unwrap_or_default().to_owned()
}

/// What serde calls the variant of a tagged record.
fn tag_of(value: &impl Serialize, tag: &str) -> String {
    let json = serde_json::to_value(value).unwrap_or_default();
    json.get(tag).and_then(serde_json::Value::as_str).unwrap_or_default().to_owned()
}

fn number(number: u64) -> Value<'static> {
    Value::Integer(i64::try_from(number).unwrap_or(i64::MAX))
}

/// For people, on one line; the record beside it has it letter by letter.
fn plain(text: &str) -> String {
    text.chars().map(|c| if c.is_control() { ' ' } else { c }).take(LONGEST_PLAIN).collect()
}

fn whole_ms(duration: SignedDuration) -> i64 {
    i64::try_from(duration.as_millis()).unwrap_or(i64::MAX)
}

/// In a column of a table nobody reads more.
const LONGEST_PLAIN: usize = 500;
