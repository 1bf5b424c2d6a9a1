//! Points by series and time, as InfluxDB keeps them: a point written again replaces the fields that it has.

use std::collections::BTreeMap;

use influxdb_line_protocol::{FieldValue, parse_lines};

use super::question::ParsedQuestion;

/// The value of a field.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum PointValue {
    Float(f64),
    Integer(i64),
    Boolean(bool),
    Text(String),
}

/// Measurement and tags.
type SeriesKey = (String, BTreeMap<String, String>);

/// By time, ms: the fields.
type SeriesPoints = BTreeMap<i64, BTreeMap<String, PointValue>>;

/// All points.
#[derive(Debug, Default)]
pub(super) struct AllPoints(BTreeMap<SeriesKey, SeriesPoints>);

/// One series of an answer.
#[derive(Debug)]
pub(super) struct SeriesTable {
    /// The group key: measurement, tags.
    pub(super) key: BTreeMap<String, String>,
    /// By time, ms: the fields.
    pub(super) rows: SeriesPoints,
}

impl AllPoints {
    /// Takes lines with times in milliseconds: all, or none and what is wrong.
    pub(super) fn write(&mut self, lines: &str) -> Result<(), String> {
        let lines: Vec<_> =
            parse_lines(lines).collect::<Result<_, _>>().map_err(|error| error.to_string())?;
        for line in lines {
            let tags = line.series.tag_set.iter().flatten();
            let tags = tags.map(|(key, value)| (key.to_string(), value.to_string())).collect();
            let at = line.timestamp.ok_or("a point without a time")?;
            let history = self.0.entry((line.series.measurement.to_string(), tags)).or_default();
            let point = history.entry(at).or_default();
            for (field, value) in &line.field_set {
                point.insert(field.to_string(), kept(value));
            }
        }
        Ok(())
    }

    pub(super) fn count(&self) -> usize {
        self.0.values().map(SeriesPoints::len).sum()
    }

    /// What passes range and filters, one table a series.
    pub(super) fn answer(&self, question: &ParsedQuestion) -> Vec<SeriesTable> {
        let (start, stop) = question.range;
        let mut tables = Vec::new();
        for ((measurement, tags), history) in &self.0 {
            let tag_of = |column: &str| match column {
                "_measurement" => Some(measurement),
                tag => tags.get(tag),
            };
            // A tag that a series doesn't have is null, which equals nothing.
            let wanted = question
                .filters
                .iter()
                .filter(|(column, _)| column != "_field")
                .all(|(column, _)| tag_of(column).is_some_and(|value| question.wants(column, value)));
            if !wanted {
                continue;
            }
            let mut rows = SeriesPoints::new();
            for (at, fields) in history.range(start..stop) {
                let fields: BTreeMap<String, PointValue> = fields
                    .iter()
                    .filter(|(field, _)| question.wants("_field", field))
                    .map(|(field, value)| (field.clone(), value.clone()))
                    .collect();
                if !fields.is_empty() {
                    rows.insert(*at, fields);
                }
            }
            if question.last {
                rows = newest(&rows);
            }
            if !rows.is_empty() {
                let mut key = tags.clone();
                key.insert("_measurement".to_owned(), measurement.clone());
                tables.push(SeriesTable { key, rows });
            }
        }
        tables
    }
}

/// The newest value of each field, at its own time.
fn newest(rows: &SeriesPoints) -> SeriesPoints {
    let mut last: BTreeMap<&str, (i64, &PointValue)> = BTreeMap::new();
    for (at, fields) in rows {
        for (field, value) in fields {
            last.insert(field, (*at, value));
        }
    }
    let mut newest = SeriesPoints::new();
    for (field, (at, value)) in last {
        newest.entry(at).or_default().insert(field.to_owned(), value.clone());
    }
    newest
}

fn kept(value: &FieldValue<'_>) -> PointValue {
    match value {
        FieldValue::I64(number) => PointValue::Integer(*number),
        FieldValue::U64(number) => PointValue::Integer(i64::try_from(*number).unwrap_or(i64::MAX)),
        FieldValue::F64(number) => PointValue::Float(*number),
        FieldValue::Boolean(yes) => PointValue::Boolean(*yes),
        FieldValue::String(text) => PointValue::Text(text.to_string()),
    }
}
