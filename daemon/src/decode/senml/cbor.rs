//! SenML as CBOR (RFC 8428, section 6).

#![expect(
    clippy::wildcard_enum_match_arm,
    reason = "CBOR has kinds that SenML doesn't use, and may get more"
)]

use std::io::Cursor;

use ciborium::Value;

use claymark_model::quarantine::Reason;

use super::{Fields, LabelledValue};
use crate::decode::{Problem, number};

/// The records as written.
pub(super) fn read(payload: &[u8]) -> Result<Vec<Fields>, Problem> {
    let mut reader = Cursor::new(payload);
    let pack: Value = ciborium::from_reader(&mut reader)
        .map_err(|fault| Problem::new(Reason::BadCbor, format!("not CBOR: {fault}")))?;
    // The library stops at the end of the first item and says nothing about what follows.
    let length = payload.len() as u64;
    if reader.position() != length {
        let detail = format!("the pack ends at byte {} of {length}, something follows it", reader.position());
        return Err(Problem::new(Reason::BadCbor, detail));
    }
    let Value::Array(records) = pack else {
        return Err(Problem::new(Reason::BadSenml, "a SenML pack is an array of records"));
    };
    records
        .into_iter()
        .map(|record| match record {
            Value::Map(members) => members.into_iter().map(labelled).collect(),
            _other => Err(Problem::new(Reason::BadSenml, "a SenML record is a map")),
        })
        .collect()
}

fn labelled((label, value): (Value, Value)) -> Result<(String, LabelledValue), Problem> {
    let label = match label {
        Value::Text(text) => text,
        Value::Integer(number) => {
            let number = i128::from(number);
            let known = LABELS.iter().find(|(key, _)| *key == number);
            known.map_or_else(|| number.to_string(), |(_, name)| (*name).to_owned())
        }
        _other => return Err(Problem::new(Reason::BadSenml, "a SenML label is an integer or a text")),
    };
    Ok((label, field(value)))
}

fn field(value: Value) -> LabelledValue {
    match value {
        Value::Integer(number) => decimal(&i128::from(number).to_string()),
        Value::Float(number) if number.is_finite() => LabelledValue::Number(number),
        Value::Float(number) => {
            LabelledValue::Bad(Problem::new(Reason::NotFinite, format!("'{number}' isn't a measured value")))
        }
        Value::Text(text) => LabelledValue::Text(text),
        Value::Bool(_) => LabelledValue::Boolean,
        Value::Bytes(_) => LabelledValue::Data,
        Value::Tag(DECIMAL_FRACTION, parts) => decimal_fraction(*parts),
        _other => LabelledValue::Bad(Problem::new(
            Reason::BadSenml,
            "a SenML value is a number, a text, a boolean or data",
        )),
    }
}

/// RFC 8949, section 3.4.4: an array of exponent and mantissa.
fn decimal_fraction(parts: Value) -> LabelledValue {
    let parts = parts.into_array().unwrap_or_default();
    match parts.as_slice() {
        [Value::Integer(exponent), Value::Integer(mantissa)] => {
            decimal(&format!("{}e{}", i128::from(*mantissa), i128::from(*exponent)))
        }
        _other => LabelledValue::Bad(Problem::new(
            Reason::BadCbor,
            "a decimal fraction is an array of two integers",
        )),
    }
}

fn decimal(text: &str) -> LabelledValue {
    number::parse(text).map_or_else(LabelledValue::Bad, LabelledValue::Number)
}

const DECIMAL_FRACTION: u64 = 4;
/// RFC 8428, section 6, table 4.
const LABELS: [(i128, &str); 15] = [
    (-1, "bver"),
    (-2, "bn"),
    (-3, "bt"),
    (-4, "bu"),
    (-5, "bv"),
    (-6, "bs"),
    (0, "n"),
    (1, "u"),
    (2, "v"),
    (3, "vs"),
    (4, "vb"),
    (5, "s"),
    (6, "t"),
    (7, "ut"),
    (8, "vd"),
];
