//! Points as line protocol, checked before they leave.
//!
//! Some servers answer "done" to a line that they then drop, and a bad escape can swallow the next line. So
//! what can't be written safely is refused here, with the reason. Times are whole milliseconds.
//!
//! Format: InfluxDB 2 documentation, "Line protocol" (elements, special characters, string length limit).

use std::ops::Range;

use jiff::Timestamp;

use crate::schema::{FieldKind, Measurement};

/// A measurement with its tags: what all points of one series begin with.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TaggedSeries {
    measurement: &'static Measurement,
    text: String,
}

/// The value of a field.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Value<'a> {
    /// 64 bits; finite.
    Float(f64),
    /// Signed, 64 bits.
    Integer(i64),
    /// True or false.
    Boolean(bool),
    /// Without control characters: records go as JSON, which escapes them.
    Text(&'a str),
}

/// Points that leave together.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Lines {
    text: String,
    /// Where each line begins.
    starts: Vec<usize>,
}

/// Why a point can't be written.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum BadPoint {
    /// Its tags aren't those of the schema.
    #[error("{measurement} has no tag '{tag}' in that place")]
    Tags {
        /// Whose.
        measurement: &'static str,
        /// As found.
        tag: String,
    },
    /// InfluxDB has no empty tags, and neither control characters nor backslashes in them are safe.
    #[error("the tag {tag} can't hold '{value}': it is empty, or has a control character or a backslash in it", value = value.escape_debug())]
    TagValue {
        /// Which tag.
        tag: &'static str,
        /// As found.
        value: String,
    },
    /// A field that the schema doesn't know, or of another kind.
    #[error("{measurement} has no field '{field}' of that kind")]
    Field {
        /// Whose.
        measurement: &'static str,
        /// As found.
        field: String,
    },
    /// A point needs a field.
    #[error("the point has no field")]
    NoField,
    /// Line protocol has no NaN and no infinity.
    #[error("the field {0} isn't a finite number")]
    NotFinite(String),
    /// A newline would end the line.
    #[error("the text of {0} has a control character in it")]
    Control(String),
    /// InfluxDB's limit.
    #[error("the text of {field} has {bytes} bytes; InfluxDB takes {LONGEST_TEXT}")]
    TooLong {
        /// Which field.
        field: String,
        /// As found.
        bytes: usize,
    },
    /// InfluxDB counts nanoseconds in 64 bits.
    #[error("{0} lies outside the times that InfluxDB can hold")]
    Time(Timestamp),
}

impl TaggedSeries {
    /// `tags` in the order of the schema, all of them.
    pub fn new(measurement: &'static Measurement, tags: &[&str]) -> Result<Self, BadPoint> {
        let mut text = measurement.name.to_owned();
        let mut values = tags.iter();
        for tag in measurement.tags {
            let value = values
                .next()
                .ok_or_else(|| BadPoint::Tags { measurement: measurement.name, tag: (*tag).to_owned() })?;
            if value.is_empty() || value.contains(|c: char| c.is_control() || c == '\\') {
                return Err(BadPoint::TagValue { tag, value: (*value).to_owned() });
            }
            text.push(',');
            text.push_str(tag);
            text.push('=');
            escape(&mut text, value, &[',', '=', ' ']);
        }
        match values.next() {
            Some(more) => Err(BadPoint::Tags { measurement: measurement.name, tag: (*more).to_owned() }),
            None => Ok(Self { measurement, text }),
        }
    }
}

impl Lines {
    /// Adds a point; when it is refused, nothing of it stays.
    pub fn push(
        &mut self,
        series: &TaggedSeries,
        at: Timestamp,
        fields: &[(&str, Value<'_>)],
    ) -> Result<(), BadPoint> {
        let start = self.text.len();
        let written = self.write(series, at, fields);
        match written {
            Ok(()) => self.starts.push(start),
            Err(_) => self.text.truncate(start),
        }
        written
    }

    /// How many.
    #[must_use]
    pub fn len(&self) -> usize {
        self.starts.len()
    }

    /// Whether there are none.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.starts.is_empty()
    }

    /// All of them, each with its newline.
    #[must_use]
    pub fn text(&self) -> &str {
        &self.text
    }

    /// Some of them, counted from 0.
    #[must_use]
    pub fn slice(&self, range: Range<usize>) -> &str {
        let offset = |line: usize| self.starts.get(line).copied().unwrap_or(self.text.len());
        self.text.get(offset(range.start)..offset(range.end)).unwrap_or_default()
    }

    /// Forgets them and keeps the room.
    pub fn clear(&mut self) {
        self.text.clear();
        self.starts.clear();
    }

    fn write(
        &mut self,
        series: &TaggedSeries,
        at: Timestamp,
        fields: &[(&str, Value<'_>)],
    ) -> Result<(), BadPoint> {
        let ms = at.as_millisecond();
        if !(EARLIEST_MS..=LATEST_MS).contains(&ms) {
            return Err(BadPoint::Time(at));
        }
        self.text.push_str(&series.text);
        let mut before = ' ';
        for (name, value) in fields {
            let known = series
                .measurement
                .fields
                .iter()
                .any(|field| field.name == *name && field.kind == value.kind());
            if !known {
                let measurement = series.measurement.name;
                return Err(BadPoint::Field { measurement, field: (*name).to_owned() });
            }
            self.text.push(before);
            self.text.push_str(name);
            self.text.push('=');
            value.write(&mut self.text, name)?;
            before = ',';
        }
        if before == ' ' {
            return Err(BadPoint::NoField);
        }
        self.text.push(' ');
        self.text.push_str(itoa::Buffer::new().format(ms));
        self.text.push('\n');
        Ok(())
    }
}

impl Value<'_> {
    fn kind(&self) -> FieldKind {
        match self {
            Self::Float(_) => FieldKind::Float,
            Self::Integer(_) => FieldKind::Integer,
            Self::Boolean(_) => FieldKind::Boolean,
            Self::Text(_) => FieldKind::Text,
        }
    }

    fn write(self, text: &mut String, field: &str) -> Result<(), BadPoint> {
        match self {
            Self::Float(number) if !number.is_finite() => return Err(BadPoint::NotFinite(field.to_owned())),
            // The shortest text that reads back as the same number.
            Self::Float(number) => text.push_str(zmij::Buffer::new().format_finite(number)),
            Self::Integer(number) => {
                text.push_str(itoa::Buffer::new().format(number));
                text.push('i');
            }
            Self::Boolean(yes) => text.push_str(if yes { "true" } else { "false" }),
            Self::Text(words) if words.len() > LONGEST_TEXT => {
                return Err(BadPoint::TooLong { field: field.to_owned(), bytes: words.len() });
            }
            Self::Text(words) if words.contains(|c: char| c < ' ') => {
                return Err(BadPoint::Control(field.to_owned()));
            }
            Self::Text(words) => {
                text.push('"');
                escape(text, words, &['"', '\\']);
                text.push('"');
            }
        }
        Ok(())
    }
}

fn escape(text: &mut String, value: &str, special: &[char]) {
    for c in value.chars() {
        if special.contains(&c) {
            text.push('\\');
        }
        text.push(c);
    }
}

/// InfluxDB 2 documentation, "Line protocol", data types: "String: Length limit 64KB".
pub(crate) const LONGEST_TEXT: usize = 64 * 1024 - 1;

/// Go's `math.MinInt64 + 2` nanoseconds, the earliest time of InfluxDB ("Line protocol", Unix timestamp), in whole ms.
pub(crate) const EARLIEST_MS: i64 = -9_223_372_036_854;
pub(crate) const LATEST_MS: i64 = 9_223_372_036_854;

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use influxdb_line_protocol::{FieldValue, parse_lines};
    use proptest::prelude::*;

    use super::*;
    use crate::schema;

    /// Text of any kind, rich in what line protocol minds.
    fn wild() -> impl Strategy<Value = String> {
        let minded = prop::sample::select(vec![
            " ", ",", "=", "\"", "\\", "\n", "\r", "\t", "\\n", "ä", "🐟", "#", "'",
        ]);
        prop::collection::vec(prop_oneof![minded.prop_map(str::to_owned), any::<String>()], 0..12)
            .prop_map(|parts| parts.concat())
    }

    proptest! {
        #[test]
        fn a_strangers_parser_finds_the_point_as_it_was_written(
            tags in prop::collection::vec(wild(), 5),
            value in any::<f64>(),
            flag in any::<i64>(),
            ms in any::<i64>(),
        ) {
            let tags: Vec<&str> = tags.iter().map(String::as_str).collect();
            let Ok(series) = TaggedSeries::new(&schema::READING, &tags) else {
                prop_assert!(tags.iter().any(|tag| tag.is_empty() || tag.contains('\\') || tag.contains(char::is_control)));
                return Ok(());
            };
            let Ok(at) = Timestamp::from_millisecond(ms % 10_000_000_000_000) else { return Ok(()) };
            let mut lines = Lines::default();
            let written = lines.push(&series, at, &[("value", Value::Float(value)), ("flag", Value::Integer(flag))]);
            if !value.is_finite() || at.as_millisecond().abs() > LATEST_MS {
                prop_assert!(written.is_err());
                prop_assert_eq!(lines.text(), "");
                return Ok(());
            }
            let parsed: Vec<_> = parse_lines(lines.text()).collect::<Result<_, _>>().unwrap();
            prop_assert_eq!(parsed.len(), 1);
            let line = &parsed[0];
            prop_assert_eq!(line.series.measurement.as_str(), "reading");
            let found: BTreeMap<String, String> = line.series.tag_set.iter().flatten()
                .map(|(key, value)| (key.to_string(), value.to_string())).collect();
            let meant: BTreeMap<String, String> = schema::READING.tags.iter().zip(&tags)
                .map(|(key, value)| ((*key).to_owned(), (*value).to_owned())).collect();
            prop_assert_eq!(found, meant);
            prop_assert_eq!(line.field_value("value"), Some(&FieldValue::F64(value)));
            prop_assert_eq!(line.field_value("flag"), Some(&FieldValue::I64(flag)));
            prop_assert_eq!(line.timestamp, Some(at.as_millisecond()));
        }

        #[test]
        fn whatever_a_note_says_comes_back_letter_by_letter(note in wild(), next in wild()) {
            let series = TaggedSeries::new(&schema::FIELD_LOG, &["note", "alder-bend", "0"]).unwrap();
            let mut lines = Lines::default();
            for said in [&note, &next] {
                // As all records go.
                let json = serde_json::to_string(said).unwrap();
                lines.push(&series, Timestamp::UNIX_EPOCH, &[("json", Value::Text(&json))]).unwrap();
            }
            prop_assert_eq!(lines.text().matches('\n').count(), 2, "a newline inside would cut the line");
            let parsed: Vec<_> = parse_lines(lines.text()).collect::<Result<_, _>>().unwrap();
            prop_assert_eq!(parsed.len(), 2);
            for (line, said) in parsed.iter().zip([&note, &next]) {
                let Some(FieldValue::String(found)) = line.field_value("json") else { panic!("a text") };
                prop_assert_eq!(found.as_str(), serde_json::to_string(said).unwrap());
            }
        }
    }
}
