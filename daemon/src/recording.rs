//! Recorded messages: one NDJSON line each, in order of arrival, optionally compressed.
//!
//! `{"at":"2027-04-20T14:03:11.250Z","topic":"alder-bend/drum/a/level","payload":"412"}`; a payload that
//! isn't UTF-8 stands as `"payload_base64"`; a message that the broker had kept says `"retained":true`.

use std::io::{BufRead, BufReader, Read};
use std::path::Path;

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use jiff::Timestamp;
use serde::{Deserialize, Serialize};

use crate::decode::time;
use crate::message::Message;

/// Reads recorded messages one by one; ends after the first error.
pub struct Recording<'a> {
    input: Box<dyn BufRead + 'a>,
    line: u64,
    latest: Option<Timestamp>,
    over: bool,
}

/// Why a recording can't be read further.
#[derive(Debug, thiserror::Error)]
pub enum RecordingError {
    /// The file stops being readable.
    #[error("line {line} can't be read: {source}")]
    Unreadable {
        /// Counted from 1.
        line: u64,
        /// What the system says.
        source: std::io::Error,
    },
    /// A line that is no message.
    #[error("line {line} isn't a recorded message: {detail}")]
    NotAMessage {
        /// Counted from 1.
        line: u64,
        /// What is wrong with it.
        detail: String,
    },
    /// Messages stand in order of arrival.
    #[error("line {line} goes back in time: {at} stands after {before}")]
    GoesBack {
        /// Counted from 1.
        line: u64,
        /// Its time.
        at: Timestamp,
        /// The time of the line before.
        before: Timestamp,
    },
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields, expecting = "struct Line")]
struct MessageLine {
    at: String,
    topic: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    payload: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    payload_base64: Option<String>,
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    retained: bool,
}

/// The line of one message, without its end; times in milliseconds.
#[must_use]
pub fn line(message: &Message) -> String {
    let (payload, payload_base64) = match std::str::from_utf8(&message.payload) {
        Ok(text) => (Some(text.to_owned()), None),
        Err(_not_text) => (None, Some(STANDARD.encode(&message.payload))),
    };
    let line = MessageLine {
        at: format!("{:.3}", message.received_at),
        topic: message.topic.clone(),
        payload,
        payload_base64,
        retained: message.retained,
    };
    serde_json::to_string(&line).expect("texts and a flag always make JSON")
}

/// Whether a file of that name holds compressed lines.
#[must_use]
pub fn is_compressed(file: &Path) -> bool {
    file.extension().is_some_and(|extension| extension == "zst")
}

impl<'a> Recording<'a> {
    /// Reads from `input`, which holds lines, or lines compressed by zstd.
    pub fn new(input: impl Read + 'a, compressed: bool) -> Result<Self, RecordingError> {
        let input: Box<dyn BufRead + 'a> = if compressed {
            let lines =
                zstd::Decoder::new(input).map_err(|source| RecordingError::Unreadable { line: 1, source })?;
            Box::new(BufReader::new(lines))
        } else {
            Box::new(BufReader::new(input))
        };
        Ok(Self { input, line: 0, latest: None, over: false })
    }

    fn read(&mut self) -> Result<Option<Message>, RecordingError> {
        let mut text = String::new();
        self.line += 1;
        let line = self.line;
        let length =
            self.input.read_line(&mut text).map_err(|source| RecordingError::Unreadable { line, source })?;
        if length == 0 {
            return Ok(None);
        }
        let message = message(&text).map_err(|detail| RecordingError::NotAMessage { line, detail })?;
        let at = message.received_at;
        if let Some(before) = self.latest.filter(|before| at < *before) {
            return Err(RecordingError::GoesBack { line, at, before });
        }
        self.latest = Some(at);
        Ok(Some(message))
    }
}

impl Iterator for Recording<'_> {
    type Item = Result<Message, RecordingError>;

    fn next(&mut self) -> Option<Self::Item> {
        if self.over {
            return None;
        }
        let read = self.read().transpose();
        self.over = !matches!(read, Some(Ok(_)));
        read
    }
}

fn message(text: &str) -> Result<Message, String> {
    let line: MessageLine = serde_json::from_str(text).map_err(|fault| fault.to_string())?;
    let payload = match (line.payload, line.payload_base64) {
        (Some(text), None) => text.into_bytes(),
        (None, Some(encoded)) => {
            STANDARD.decode(encoded).map_err(|fault| format!("payload_base64 isn't base64: {fault}"))?
        }
        (None, None) => return Err("it has neither payload nor payload_base64".to_owned()),
        (Some(_), Some(_)) => return Err("it has both payload and payload_base64".to_owned()),
    };
    let received_at = time::strict(&line.at).map_err(|problem| problem.detail)?;
    Ok(Message { topic: line.topic, payload, retained: line.retained, received_at })
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn read(lines: &str) -> Vec<Result<Message, String>> {
        let recording = Recording::new(lines.as_bytes(), false).unwrap();
        recording.map(|read| read.map_err(|fault| fault.to_string())).collect()
    }

    #[test]
    fn a_line_looks_as_the_format_says() {
        let message = Message {
            topic: "alder-bend/drum/a/level".to_owned(),
            payload: b"412".to_vec(),
            retained: false,
            received_at: "2027-04-20T14:03:11.25Z".parse().unwrap(),
        };
        assert_eq!(
            line(&message),
            r#"{"at":"2027-04-20T14:03:11.250Z","topic":"alder-bend/drum/a/level","payload":"412"}"#
        );
        let kept = Message { payload: vec![0xFF, 0x00], retained: true, ..message };
        assert_eq!(
            line(&kept),
            r#"{"at":"2027-04-20T14:03:11.250Z","topic":"alder-bend/drum/a/level","payload_base64":"/wA=","retained":true}"#
        );
    }

    #[test]
    fn time_that_goes_back_is_refused_with_its_line() {
        let found = read(concat!(
            r#"{"at":"2027-04-20T14:00:01Z","topic":"a","payload":"1"}"#,
            "\n",
            r#"{"at":"2027-04-20T14:00:01Z","topic":"a","payload":"2"}"#,
            "\n",
            r#"{"at":"2027-04-20T14:00:00Z","topic":"a","payload":"3"}"#,
            "\n",
            r#"{"at":"2027-04-20T14:00:02Z","topic":"a","payload":"4"}"#,
        ));
        assert_eq!(found.len(), 3);
        assert_eq!(
            found[2].as_ref().unwrap_err(),
            "line 3 goes back in time: 2027-04-20T14:00:00Z stands after 2027-04-20T14:00:01Z"
        );
    }

    #[test]
    fn a_line_that_is_no_message_is_refused_with_its_number() {
        for (bad, detail) in [
            (r#"{"at":"2027-04-20T14:00:00Z","topic":"a"}"#, "neither payload nor payload_base64"),
            (
                r#"{"at":"2027-04-20T14:00:00Z","topic":"a","payload":"1","payload_base64":"MQ=="}"#,
                "both payload",
            ),
            (r#"{"at":"2027-04-20T14:00:00Z","topic":"a","payload_base64":"?"}"#, "isn't base64"),
            (r#"{"at":"2027-04-20 14:00","topic":"a","payload":"1"}"#, "isn't a time as RFC 3339"),
            (r#"{"at":"2027-04-20T14:00:00Z","topic":"a","payload":1}"#, "invalid type"),
            (r#"{"at":"2027-04-20T14:00:00Z","topic":"a","payload":"1","retain":true}"#, "unknown field"),
            ("", "EOF"),
        ] {
            let lines =
                format!("{{\"at\":\"2027-04-20T14:00:00Z\",\"topic\":\"a\",\"payload\":\"1\"}}\n{bad}\n");
            let error = read(&lines).pop().unwrap().unwrap_err();
            assert!(error.starts_with("line 2 isn't a recorded message: "), "{error}");
            assert!(error.contains(detail), "{error}");
        }
    }

    #[test]
    fn a_compressed_recording_cut_short_says_where() {
        let lines = "{\"at\":\"2027-04-20T14:00:00Z\",\"topic\":\"a\",\"payload\":\"1\"}\n".repeat(1000);
        let mut packed = zstd::encode_all(lines.as_bytes(), 0).unwrap();
        assert_eq!(Recording::new(packed.as_slice(), true).unwrap().filter(Result::is_ok).count(), 1000);
        packed.truncate(packed.len() / 2);
        let last = Recording::new(packed.as_slice(), true).unwrap().last().unwrap();
        assert!(matches!(last, Err(RecordingError::Unreadable { .. })), "{last:?}");
    }

    proptest! {
        #[test]
        fn a_message_comes_back_as_it_was(
            topic in "[ -~é]{1,40}",
            payload in prop::collection::vec(any::<u8>(), 0..60),
            text in ".{0,40}",
            retained in any::<bool>(),
            ms in 0_i64..4_000_000_000_000,
            compressed in any::<bool>(),
        ) {
            let received_at = Timestamp::from_millisecond(ms).unwrap();
            let first = Message { topic: topic.clone(), payload, retained, received_at };
            let second = Message { payload: text.into_bytes(), ..first.clone() };
            let lines = format!("{}\n{}\n", line(&first), line(&second));
            // Two frames behind each other, as a daily file has after a restart.
            let stored = if compressed {
                let (one, two) = lines.split_at(lines.find('\n').unwrap() + 1);
                [one, two].map(|part| zstd::encode_all(part.as_bytes(), 0).unwrap()).concat()
            } else {
                lines.into_bytes()
            };
            let read: Vec<Message> =
                Recording::new(stored.as_slice(), compressed).unwrap().map(Result::unwrap).collect();
            prop_assert_eq!(read, vec![first, second]);
        }
    }
}
