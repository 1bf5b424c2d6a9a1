//! Which points are wanted, as Flux text.
//!
//! One form for all: a time range, filters that the storage engine can do by itself, and the fields of a point
//! side by side in one row. Flux standard library, `range`, `filter`, `last`, `pivot` and `drop`.

use std::fmt::Write;

use jiff::Timestamp;

use claymark_model::id::Id;

use crate::client::flux_text;
use crate::line::{EARLIEST_MS, LATEST_MS};
use crate::schema::Measurement;

/// Points of one measurement, each in one row of the answer: `_time`, its tags, and the fields wanted.
#[derive(Debug, Clone, Copy)]
pub struct PointsQuestion<'a> {
    /// Of which kind.
    pub measurement: &'a Measurement,
    /// Of which site; `None`: of all.
    pub site: Option<&'a Id>,
    /// From when on.
    pub from: Timestamp,
    /// Just before when.
    pub to: Timestamp,
    /// The fields wanted.
    pub fields: &'a [&'a str],
    /// Only points that have one of these values in that tag; `None`: all.
    pub only: Option<(&'a str, &'a [&'a str])>,
    /// Only the newest point of each series.
    pub last: bool,
}

impl PointsQuestion<'_> {
    /// The question, with `{bucket}` for the bucket; `None`: nothing can lie in that range, and Flux refuses an
    /// empty one.
    #[must_use]
    pub fn flux(&self) -> Option<String> {
        let (from, to) = (held(self.from), held(self.to));
        if from >= to || self.only.is_some_and(|(_, values)| values.is_empty()) {
            return None;
        }
        let mut flux = format!("from(bucket: {{bucket}})\n  |> range(start: {from}, stop: {to})");
        let mut filter = |condition: &str| {
            write!(flux, "\n  |> filter(fn: (r) => {condition})").expect("a String takes everything");
        };
        filter(&is("_measurement", self.measurement.name));
        if let Some(site) = self.site {
            filter(&is("site", site.as_str()));
        }
        filter(&any_of("_field", self.fields));
        if let Some((tag, values)) = self.only {
            filter(&any_of(tag, values));
        }
        if self.last {
            flux.push_str("\n  |> last()");
        }
        flux.push_str(SIDE_BY_SIDE);
        Some(flux)
    }
}

fn is(column: &str, value: &str) -> String {
    format!("r.{column} == {}", flux_text(value))
}

fn any_of(column: &str, values: &[&str]) -> String {
    values.iter().map(|value| is(column, value)).collect::<Vec<_>>().join(" or ")
}

/// The nearest time that InfluxDB can hold, in whole milliseconds, as the points are.
fn held(at: Timestamp) -> Timestamp {
    let ms = at.as_millisecond().clamp(EARLIEST_MS, LATEST_MS);
    Timestamp::from_millisecond(ms).expect("InfluxDB's times lie within those of a Timestamp")
}

const SIDE_BY_SIDE: &str = r#"
  |> pivot(rowKey: ["_time"], columnKey: ["_field"], valueColumn: "_value")
  |> drop(columns: ["_start", "_stop", "_measurement"])"#;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::schema;
    use claymark_invented::id;

    #[test]
    fn a_question_names_range_site_fields_and_sensors() {
        let site = id("alder-bend");
        let question = PointsQuestion {
            measurement: &schema::READING,
            site: Some(&site),
            from: "2027-04-18T21:00:00Z".parse().unwrap(),
            to: "2027-04-18T22:00:00.2509Z".parse().unwrap(),
            fields: &["value", "flag"],
            only: Some(("sensor", &["head-ntu", "t1-ntu"])),
            last: false,
        };
        let expected = r#"from(bucket: {bucket})
  |> range(start: 2027-04-18T21:00:00Z, stop: 2027-04-18T22:00:00.25Z)
  |> filter(fn: (r) => r._measurement == "reading")
  |> filter(fn: (r) => r.site == "alder-bend")
  |> filter(fn: (r) => r._field == "value" or r._field == "flag")
  |> filter(fn: (r) => r.sensor == "head-ntu" or r.sensor == "t1-ntu")
  |> pivot(rowKey: ["_time"], columnKey: ["_field"], valueColumn: "_value")
  |> drop(columns: ["_start", "_stop", "_measurement"])"#;
        assert_eq!(question.flux().unwrap(), expected);
        let (from, to) = (Timestamp::MIN, Timestamp::MAX);
        let all = PointsQuestion { site: None, only: None, last: true, from, to, ..question }.flux().unwrap();
        assert!(
            all.contains("range(start: 1677-09-21T00:12:43.146Z, stop: 2262-04-11T23:47:16.854Z)"),
            "{all}"
        );
        assert!(all.contains("\n  |> last()\n") && !all.contains("site"), "{all}");
    }

    #[test]
    fn an_empty_range_and_no_sensor_are_no_question() {
        let at: Timestamp = "2027-04-18T21:00:00Z".parse().unwrap();
        let hour = PointsQuestion {
            measurement: &schema::READING,
            site: None,
            from: at,
            to: "2027-04-18T22:00:00Z".parse().unwrap(),
            fields: &["value"],
            only: None,
            last: false,
        };
        assert!(hour.flux().is_some());
        assert!(PointsQuestion { to: at, ..hour }.flux().is_none());
        assert!(PointsQuestion { from: hour.to, to: at, ..hour }.flux().is_none());
        assert!(PointsQuestion { only: Some(("sensor", &[])), ..hour }.flux().is_none());
    }
}
