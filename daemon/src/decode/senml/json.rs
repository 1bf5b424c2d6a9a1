//! SenML as JSON (RFC 8428, section 5).

use std::borrow::Cow;

use serde::de::{MapAccess, Visitor};
use serde::{Deserialize, Deserializer};
use serde_json::value::RawValue;

use claymark_model::quarantine::Reason;

use super::{Fields, LabelledValue};
use crate::decode::{Problem, number};

/// The records as written.
pub(super) fn read(payload: &[u8]) -> Result<Vec<Fields>, Problem> {
    let text = std::str::from_utf8(payload)
        .map_err(|fault| Problem::new(Reason::NotUtf8, format!("the payload isn't UTF-8 text: {fault}")))?;
    let pack: &RawValue = serde_json::from_str(text)
        .map_err(|fault| Problem::new(Reason::BadJson, format!("not JSON: {fault}")))?;
    let records: Vec<Members<'_>> = serde_json::from_str(pack.get()).map_err(|fault| {
        Problem::new(Reason::BadSenml, format!("a SenML pack is an array of records: {fault}"))
    })?;
    Ok(records.into_iter().map(|Members(members)| members.into_iter().map(labelled).collect()).collect())
}

fn labelled((label, value): (Cow<'_, str>, &RawValue)) -> (String, LabelledValue) {
    (label.into_owned(), field(value.get()))
}

fn field(json: &str) -> LabelledValue {
    match json.as_bytes().first() {
        Some(b'-' | b'0'..=b'9') => {
            number::parse(json).map_or_else(LabelledValue::Bad, LabelledValue::Number)
        }
        Some(b't' | b'f') => LabelledValue::Boolean,
        Some(b'"') => match serde_json::from_str(json) {
            Ok(text) => LabelledValue::Text(text),
            Err(fault) => {
                LabelledValue::Bad(Problem::new(Reason::BadJson, format!("not a JSON text: {fault}")))
            }
        },
        _ => LabelledValue::Bad(Problem::new(
            Reason::BadSenml,
            "a SenML value is a number, a text or a boolean",
        )),
    }
}

/// The members of one record in their order, each value still as text: a number that no float can hold
/// must not spoil the record's other fields, nor the pack's other records.
struct Members<'a>(Vec<(Cow<'a, str>, &'a RawValue)>);

impl<'de> Deserialize<'de> for Members<'de> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct RecordMembers;

        impl<'de> Visitor<'de> for RecordMembers {
            type Value = Members<'de>;

            fn expecting(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                formatter.write_str("a record")
            }

            fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Self::Value, A::Error> {
                let mut members = Vec::new();
                while let Some((Label(label), value)) = map.next_entry()? {
                    members.push((label, value));
                }
                Ok(Members(members))
            }
        }

        deserializer.deserialize_map(RecordMembers)
    }
}

#[derive(Deserialize)]
struct Label<'a>(#[serde(borrow)] Cow<'a, str>);
