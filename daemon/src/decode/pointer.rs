//! JSON payloads: value, and where given time and unit, by JSON Pointers (RFC 6901).

use std::borrow::Cow;
use std::collections::HashMap;

use serde::Deserialize;
use serde_json::value::RawValue;

use claymark_model::quarantine::Reason;
use claymark_model::reading::Reading;
use claymark_model::site::Sensor;
use claymark_model::units::Unit;

use super::number::{parse, retained_without_time};
use super::{Problem, in_base_unit, text, time};
use crate::message::Message;

/// Where the parts of a reading stand.
pub(super) struct Pointers<'a> {
    /// The value.
    pub value: &'a str,
    /// The time.
    pub time: Option<&'a str>,
    /// The unit.
    pub unit: Option<&'a str>,
}

/// The reading that `pointers` lead to.
pub(super) fn decode(
    sensor: &Sensor,
    pointers: &Pointers<'_>,
    message: &Message,
) -> Result<Reading, Problem> {
    let payload: &RawValue = serde_json::from_str(text(message)?)
        .map_err(|fault| Problem::new(Reason::BadJson, format!("not JSON: {fault}")))?;
    let value = number_at(payload, pointers.value)?;
    let unit = match pointers.unit {
        None => sensor.unit,
        Some(pointer) => {
            let symbol = text_at(payload, pointer)?;
            Unit::parse(&symbol).map_err(|unknown| Problem::new(Reason::UnknownUnit, unknown.to_string()))?
        }
    };
    let at = match pointers.time {
        None if message.retained => return Err(retained_without_time()),
        None => message.received_at,
        Some(pointer) => time::in_milliseconds(time::strict(&text_at(payload, pointer)?)?),
    };
    Ok(Reading::new(sensor.id.clone(), at, in_base_unit(sensor, unit, value)?))
}

fn number_at(payload: &RawValue, pointer: &str) -> Result<f64, Problem> {
    let found = find(payload, pointer)?;
    let number_like = found.get().starts_with(|first: char| first == '-' || first.is_ascii_digit());
    if number_like { parse(found.get()) } else { Err(wrong_kind(found, pointer, "a number")) }
}

fn text_at(payload: &RawValue, pointer: &str) -> Result<String, Problem> {
    let found = find(payload, pointer)?;
    serde_json::from_str(found.get()).map_err(|_not_text| wrong_kind(found, pointer, "a text"))
}

fn wrong_kind(found: &RawValue, pointer: &str, wanted: &str) -> Problem {
    let shown: String = found.get().chars().take(40).collect();
    Problem::new(Reason::MissingField, format!("at '{pointer}' stands {shown}, expected {wanted}"))
}

/// Follows the pointer through the text itself, so that a number which no float can hold elsewhere does no harm.
fn find<'a>(payload: &'a RawValue, pointer: &str) -> Result<&'a RawValue, Problem> {
    let missing = || Problem::new(Reason::MissingField, format!("nothing stands at '{pointer}'"));
    let mut here = payload;
    for token in pointer.split('/').skip(1) {
        let name = token.replace("~1", "/").replace("~0", "~");
        here = step(here, &name).ok_or_else(missing)?;
    }
    Ok(here)
}

fn step<'a>(here: &'a RawValue, name: &str) -> Option<&'a RawValue> {
    if here.get().starts_with('{') {
        let mut members: HashMap<Key<'a>, &'a RawValue> = serde_json::from_str(here.get()).ok()?;
        members.remove(name)
    } else if here.get().starts_with('[') {
        // RFC 6901 section 4: no leading zeros, no sign.
        let plain = name == "0" || (!name.starts_with('0') && name.bytes().all(|b| b.is_ascii_digit()));
        let index: usize = plain.then(|| name.parse().ok())??;
        let elements: Vec<&'a RawValue> = serde_json::from_str(here.get()).ok()?;
        elements.get(index).copied()
    } else {
        None
    }
}

/// A member's name, borrowed from the payload where it holds no escapes.
#[derive(PartialEq, Eq, Hash, Deserialize)]
struct Key<'a>(#[serde(borrow)] Cow<'a, str>);

impl std::borrow::Borrow<str> for Key<'_> {
    fn borrow(&self) -> &str {
        &self.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn found(json: &str, pointer: &str) -> Option<String> {
        let raw: &RawValue = serde_json::from_str(json).unwrap();
        find(raw, pointer).ok().map(|value| value.get().to_owned())
    }

    #[test]
    fn pointers_lead_where_rfc_6901_section_5_says() {
        // The document and the pointers of RFC 6901, section 5.
        let document =
            r#"{"foo":["bar","baz"],"":0,"a/b":1,"c%d":2,"e^f":3,"g|h":4,"i\\j":5,"k\"l":6," ":7,"m~n":8}"#;
        for (pointer, value) in [
            ("", document),
            ("/foo", r#"["bar","baz"]"#),
            ("/foo/0", r#""bar""#),
            ("/", "0"),
            ("/a~1b", "1"),
            ("/c%d", "2"),
            ("/e^f", "3"),
            ("/g|h", "4"),
            ("/i\\j", "5"),
            ("/k\"l", "6"),
            ("/ ", "7"),
            ("/m~0n", "8"),
        ] {
            assert_eq!(found(document, pointer).as_deref(), Some(value), "{pointer}");
        }
        for nowhere in ["/foo/2", "/foo/00", "/foo/-", "/bar", "/foo/0/x"] {
            assert_eq!(found(document, nowhere), None, "{nowhere}");
        }
    }
}
