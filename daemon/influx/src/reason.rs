//! Reasons in records: who reads InfluxDB finds a sentence where the store has a code.

use serde_json::Value;

use claymark_words::doubt;

/// A record as it leaves: each reason in it as a sentence.
pub(crate) fn told(json: String) -> String {
    with_reasons(&json, doubt::of_code).unwrap_or(json)
}

/// A record as it came back: each sentence that stands for a reason as its code.
pub(crate) fn coded(json: String) -> String {
    with_reasons(&json, doubt::code_of).unwrap_or(json)
}

/// `None` when nothing in it changes.
fn with_reasons(json: &str, change: fn(&str) -> Option<String>) -> Option<String> {
    if !json.contains(REASON) {
        return None;
    }
    let mut record: Value = serde_json::from_str(json).ok()?;
    each_reason(&mut record, change);
    Some(record.to_string())
}

fn each_reason(value: &mut Value, change: fn(&str) -> Option<String>) {
    match value {
        Value::Object(fields) => fields.iter_mut().for_each(|(name, value)| match value {
            Value::String(reason) if name == "why" => {
                if let Some(other) = change(reason) {
                    *reason = other;
                }
            }
            Value::Null
            | Value::Bool(_)
            | Value::Number(_)
            | Value::String(_)
            | Value::Array(_)
            | Value::Object(_) => each_reason(value, change),
        }),
        Value::Array(values) => values.iter_mut().for_each(|value| each_reason(value, change)),
        Value::Null | Value::Bool(_) | Value::Number(_) | Value::String(_) => {}
    }
}

/// What a record with a reason in it has in it; most have none.
const REASON: &str = r#""why":""#;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_reason_leaves_as_a_sentence_and_comes_back_as_a_code() {
        for (kept, left) in [
            (
                r#"{"drum":"a","at":"2027-04-20T14:10:00.25Z","what":{"what":"level-doubted","why":"silent"}}"#,
                r#"{"drum":"a","at":"2027-04-20T14:10:00.25Z","what":{"what":"level-doubted","why":"the level sensor is silent"}}"#,
            ),
            (
                r#"{"z":[{"why":"a:never-heard+no-draw","a":-0.0,"b":1e+300,"c":0.1}]}"#,
                r#"{"z":[{"why":"drum a: its level sensor has never been heard, and how much the pump draws isn't known","a":-0.0,"b":1e+300,"c":0.1}]}"#,
            ),
            (r#"{"why":"database or disk is full"}"#, r#"{"why":"database or disk is full"}"#),
            (r#"{"text":"\"why\":\"silent\""}"#, r#"{"text":"\"why\":\"silent\""}"#),
        ] {
            assert_eq!(told(kept.to_owned()), left);
            assert_eq!(coded(left.to_owned()), kept);
        }
    }
}
