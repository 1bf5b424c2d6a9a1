//! SenML packs (RFC 8428), JSON or CBOR, resolved into records of full name, time, unit and value.
//!
//! Wire formats: `json`, `cbor`; resolving base fields: `resolve`.

mod cbor;
mod json;
mod resolve;

use jiff::{SignedDuration, Timestamp};

use claymark_model::quarantine::Reason;
use claymark_model::reading::Reading;
use claymark_model::site::Sensor;
use claymark_model::units::Unit;

use self::resolve::{Record, RecordValue};
use super::number::retained_without_time;
use super::{Decoded, Problem, in_base_unit, time};
use crate::message::Message;

/// One labelled value of a record as it was written.
#[derive(Debug, Clone, PartialEq)]
enum LabelledValue {
    Number(f64),
    Text(String),
    Boolean,
    Data,
    /// A number that isn't one, or a kind that SenML doesn't know.
    Bad(Problem),
}

/// The labelled values of one record, labels as in JSON.
type Fields = Vec<(String, LabelledValue)>;

/// Gives each sensor the records of its name; the rest is kept aside.
pub(super) fn decode(by_name: &[(&str, &Sensor)], message: &Message, decoded: &mut Decoded) {
    let pack =
        read(&message.payload).and_then(|records| resolve::pack(records, seconds(message.received_at)));
    let pack = match pack {
        Ok(pack) => pack,
        Err(problem) => return decoded.keep_aside(message, None, problem),
    };
    let mut unclaimed = Vec::new();
    for record in pack.records {
        let mut claimed = false;
        for (_, sensor) in by_name.iter().filter(|(name, _)| *name == record.name) {
            claimed = true;
            decoded.keep(message, sensor, reading(sensor, &record, message));
        }
        if !claimed && !unclaimed.contains(&record.name) {
            unclaimed.push(record.name);
        }
    }
    for problem in pack.problems {
        decoded.keep_aside(message, None, problem);
    }
    if !unclaimed.is_empty() {
        let detail =
            format!("no sensor of the site file has this topic and the SenML name {}", unclaimed.join(", "));
        decoded.keep_aside(message, None, Problem::new(Reason::UnknownTopic, detail));
    }
}

/// JSON begins with a character, a CBOR array with a byte above 0x7F.
fn read(payload: &[u8]) -> Result<Vec<Fields>, Problem> {
    match payload.first() {
        None => Err(Problem::new(Reason::BadSenml, "an empty payload isn't a SenML pack")),
        Some(first) if *first < 0x80 => json::read(payload),
        Some(_) => cbor::read(payload),
    }
}

fn reading(sensor: &Sensor, record: &Record, message: &Message) -> Result<Reading, Problem> {
    let number = match record.value {
        RecordValue::Number(number) => number,
        RecordValue::Other(what) => {
            let detail = format!("the record {} carries {what}, a reading is a number (v)", record.name);
            return Err(Problem::new(Reason::MissingField, detail));
        }
    };
    let unit = record.unit.as_deref().map_or(Ok(sensor.unit), unit)?;
    Ok(Reading::new(sensor.id.clone(), measured_at(record, message)?, in_base_unit(sensor, unit, number)?))
}

fn measured_at(record: &Record, message: &Message) -> Result<Timestamp, Problem> {
    if record.relative && message.retained {
        return Err(retained_without_time());
    }
    if record.relative && record.at_s < seconds(message.received_at) - OLDEST_RELATIVE_S {
        let detail = "a relative time of more than a day ago: send the time itself";
        return Err(Problem::new(Reason::BadTime, detail));
    }
    // A record without any time keeps its arrival to the last digit.
    if record.relative && record.offset_s == 0.0 {
        return Ok(message.received_at);
    }
    let at = SignedDuration::try_from_secs_f64(record.at_s)
        .ok()
        .and_then(|since_1970| Timestamp::from_nanosecond(since_1970.as_nanos()).ok())
        .ok_or_else(|| Problem::new(Reason::BadTime, format!("{} s since 1970 isn't a time", record.at_s)))?;
    Ok(time::in_milliseconds(at))
}

/// A unit as SenML means it: some of its symbols are other units on a plain keyboard.
///
/// `%` is the ratio 0 to 1 (RFC 8428, section 12.1, note 2); C, F and ppm are coulomb, farad and a ratio
/// (RFC 8428, section 12.1; RFC 8798, section 3), none of which a hatchery measures.
fn unit(symbol: &str) -> Result<Unit, Problem> {
    match symbol {
        "%" => Ok(Unit::Ratio),
        "C" | "F" | "ppm" => Err(symbol.to_owned()),
        other => Unit::parse(other).map_err(|unknown| unknown.0),
    }
    .map_err(|unknown| Problem::new(Reason::UnknownUnit, format!("unknown SenML unit '{unknown}'")))
}

fn seconds(at: Timestamp) -> f64 {
    at.as_duration().as_secs_f64()
}

/// Relative times count from the arrival; a day later nobody knows how long the message lay in queues.
const OLDEST_RELATIVE_S: f64 = 86_400.0;

#[cfg(test)]
mod tests;
