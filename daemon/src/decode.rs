//! Payloads become readings, field-log entries and answers; what can't be used goes to quarantine.
//!
//! Every message ends in at least one of the four lists of [`Decoded`]: nothing vanishes.
//! One bad record never spoils the rest of its payload.
//!
//! - `number`: a bare decimal; `pointer`: JSON by JSON Pointers; `senml`: SenML, JSON and CBOR;
//! - `time`: strict RFC 3339, and which times of people are believed; of devices', the pipeline knows;
//! - `fieldlog` and `answer`: what people send; `refusal`: what of it can't be taken.

mod answer;
mod fieldlog;
mod number;
mod pointer;
mod refusal;
mod senml;
pub(crate) mod time;

use std::collections::{HashMap, HashSet};

use claymark_clay::bounds::Figure;
use claymark_model::fieldlog::LogEntry;
use claymark_model::id::Id;
use claymark_model::quarantine::{KEPT_PAYLOAD_BYTES, Quarantined, Reason};
use claymark_model::reading::Reading;
use claymark_model::site::{Sensor, Site};
use claymark_model::units::Unit;
use claymark_notice::Answer;
use claymark_notice::query::Query;

use self::refusal::Refusal;
use crate::message::Message;

/// How a sensor's payload is read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Payload {
    /// A bare decimal number.
    Number,
    /// JSON, by JSON Pointers (RFC 6901).
    Json {
        /// Where the value stands.
        value: String,
        /// Where the time stands: strict RFC 3339.
        time: Option<String>,
        /// Where the unit stands; without it the sensor's unit holds.
        unit: Option<String>,
    },
    /// SenML (RFC 8428), JSON or CBOR: the records of this resolved name.
    Senml {
        /// The resolved name.
        name: String,
    },
}

/// A sensor and the messages that carry it; several sensors may share a topic.
#[derive(Debug, Clone, PartialEq)]
pub struct Binding {
    /// What it is.
    pub sensor: Sensor,
    /// The topic, without wildcards.
    pub topic: String,
    /// How its payload is read.
    pub payload: Payload,
}

/// What decoding needs to know.
#[derive(Debug, Clone, PartialEq)]
pub struct Settings {
    /// All sensors.
    pub bindings: Vec<Binding>,
    /// `<prefix>/log` and `<prefix>/answer` are read.
    pub prefix: String,
}

impl Settings {
    /// Sensors whose payload carries no time.
    #[must_use]
    pub fn undated(&self) -> HashSet<Id> {
        let undated = |binding: &&Binding| {
            matches!(binding.payload, Payload::Number | Payload::Json { time: None, .. })
        };
        self.bindings.iter().filter(undated).map(|binding| binding.sensor.id.clone()).collect()
    }

    /// Of each sensor whose payload carries a time what tells which of them share a clock, in the order of the file: the
    /// device, or else the topic.
    pub fn dated(&self) -> impl Iterator<Item = (&Sensor, &str)> {
        let dated = |binding: &&Binding| {
            matches!(binding.payload, Payload::Json { time: Some(_), .. } | Payload::Senml { .. })
        };
        self.bindings.iter().filter(dated).map(|binding| {
            let Binding { sensor, topic, .. } = binding;
            (sensor, sensor.device.as_ref().map_or(topic.as_str(), Id::as_str))
        })
    }
}

/// Reads the messages of one site.
#[derive(Debug, Clone)]
pub struct Decoder {
    topics: HashMap<String, Vec<Binding>>,
    log_topic: String,
    answer_topic: String,
    names: fieldlog::Names,
    site: Site,
}

/// What one message held.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Decoded {
    /// Readings in base units, in time order within a payload.
    pub readings: Vec<Reading>,
    /// Field-log entries.
    pub log: Vec<LogEntry>,
    /// Answers to notices.
    pub answers: Vec<Answer>,
    /// What couldn't be used.
    pub quarantined: Vec<Quarantined>,
    /// What people must be told of what they sent.
    pub queries: Vec<Query>,
    /// Whoever wrote the entry says that it is right as it stands.
    pub sure: bool,
}

/// Why something can't be used, before it is known from which message it came.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problem {
    /// The kind of fault.
    pub reason: Reason,
    /// What was found and what was expected.
    pub detail: String,
}

impl Problem {
    /// A problem with its details.
    pub fn new(reason: Reason, detail: impl Into<String>) -> Self {
        Self { reason, detail: detail.into() }
    }
}

impl Decoder {
    /// Reads the messages of `site` as `settings` says.
    #[must_use]
    pub fn new(site: &Site, settings: Settings) -> Self {
        let mut topics: HashMap<String, Vec<Binding>> = HashMap::new();
        for binding in settings.bindings {
            topics.entry(binding.topic.clone()).or_default().push(binding);
        }
        Self {
            topics,
            log_topic: format!("{}/log", settings.prefix),
            answer_topic: format!("{}/answer", settings.prefix),
            names: fieldlog::Names::of(site),
            site: site.clone(),
        }
    }

    /// What `message` holds.
    #[must_use]
    pub fn decode(&self, message: &Message) -> Decoded {
        let mut decoded = Decoded::default();
        let bindings = self.topics.get(&message.topic);
        let for_people = message.topic == self.log_topic || message.topic == self.answer_topic;
        if bindings.is_none() && !for_people {
            let detail = "no sensor of the site file has this topic";
            decoded.keep_aside(message, None, Problem::new(Reason::UnknownTopic, detail));
        } else if message.payload.len() > KEPT_PAYLOAD_BYTES {
            let detail = format!(
                "the payload has {} bytes, at most {KEPT_PAYLOAD_BYTES} are read",
                message.payload.len()
            );
            let problem = Problem::new(Reason::TooLarge, detail);
            if for_people {
                decoded.refuse(&self.site, message, problem.into());
            } else {
                decoded.keep_aside(message, None, problem);
            }
        } else if message.topic == self.log_topic {
            fieldlog::decode((&self.site, &self.names), message, &mut decoded);
        } else if message.topic == self.answer_topic {
            answer::decode(&self.site, message, &mut decoded);
        } else if let Some(bindings) = bindings {
            readings(bindings, message, &mut decoded);
        }
        if decoded.is_empty() {
            let detail = "nothing in this payload is a reading";
            decoded.keep_aside(message, None, Problem::new(Reason::MissingField, detail));
        }
        decoded
    }
}

impl Decoded {
    /// Puts `message` aside for `problem`, for one sensor or as a whole.
    pub fn keep_aside(&mut self, message: &Message, sensor: Option<&Id>, problem: Problem) {
        let kept = message.payload.len().min(KEPT_PAYLOAD_BYTES);
        self.quarantined.push(Quarantined {
            received_at: message.received_at,
            topic: message.topic.clone(),
            sensor: sensor.cloned(),
            reason: problem.reason,
            detail: problem.detail,
            payload: message.payload.get(..kept).unwrap_or_default().to_vec(),
            payload_length: message.payload.len(),
        });
    }

    fn keep(&mut self, message: &Message, sensor: &Sensor, read: Result<Reading, Problem>) {
        match read {
            Ok(reading) => self.readings.push(reading),
            Err(problem) => self.keep_aside(message, Some(&sensor.id), problem),
        }
    }

    fn is_empty(&self) -> bool {
        self.readings.is_empty()
            && self.log.is_empty()
            && self.answers.is_empty()
            && self.quarantined.is_empty()
    }
}

/// Lets each sensor of the topic read its part; a SenML pack is resolved once for all of them.
fn readings(bindings: &[Binding], message: &Message, decoded: &mut Decoded) {
    let mut by_name = Vec::new();
    for Binding { sensor, payload, .. } in bindings {
        match payload {
            Payload::Number => decoded.keep(message, sensor, number::decode(sensor, message)),
            Payload::Json { value, time, unit } => {
                let pointers = pointer::Pointers { value, time: time.as_deref(), unit: unit.as_deref() };
                decoded.keep(message, sensor, pointer::decode(sensor, &pointers, message));
            }
            Payload::Senml { name } => by_name.push((name.as_str(), sensor)),
        }
    }
    if !by_name.is_empty() {
        senml::decode(&by_name, message, decoded);
    }
}

/// `value` in `unit` as the sensor's base unit; refuses another dimension, what overflows, and what nothing physical
/// shows: the quality tests flag what is merely wrong.
fn in_base_unit(sensor: &Sensor, unit: Unit, value: f64) -> Result<f64, Problem> {
    if unit.dimension() != sensor.unit.dimension() {
        return Err(Problem::new(
            Reason::UnknownUnit,
            format!("the payload says {unit}, which can't be converted into the sensor's {}", sensor.unit),
        ));
    }
    let base = unit.to_base(value);
    if !base.is_finite() {
        return Err(Problem::new(
            Reason::OutOfNumberRange,
            format!("{value} {unit} is more than a number can hold in {}", unit.base()),
        ));
    }
    let figure = Figure::Measured(sensor.quantity);
    match figure.check(base) {
        Ok(()) => Ok(base),
        Err(_impossible) => {
            let (bounds, quantity) = (figure.possible(), sensor.quantity.name());
            Err(Problem::new(
                Reason::Impossible,
                format!(
                    "{base:e} {} can't be a {quantity}: {} to {} can",
                    unit.base(),
                    bounds.least,
                    bounds.most
                ),
            ))
        }
    }
}

/// The payload as text.
fn text(message: &Message) -> Result<&str, Problem> {
    std::str::from_utf8(&message.payload)
        .map_err(|fault| Problem::new(Reason::NotUtf8, format!("the payload isn't UTF-8 text: {fault}")))
}

#[cfg(test)]
mod tests;
