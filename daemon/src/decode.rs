//! Payloads become readings, field-log entries and answers; what can't be used goes to quarantine.

use claymark_core::site::Sensor;

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
