//! Whether the server holds what it took: readings counted there and here.
//!
//! Some servers answer "done" and drop. So what was sent is counted again later, sensor by sensor.

use std::collections::BTreeMap;

use jiff::{SignedDuration, Timestamp};
use serde::Deserialize;

use claymark_model::id::Id;

use crate::client::{Client, InfluxError, flux_text};
use crate::flux::answer::{AnswerRow, BadAnswer, Rows};
use crate::schema::READING;
use crate::source::{PointSource, SourceError};

/// Readings of each sensor in a range, by the sensor's tags: place, quantity, id, unit.
pub type ReadingCounts = BTreeMap<[String; 4], u64>;

/// Why nothing can be said.
#[derive(Debug, thiserror::Error)]
pub enum AuditError {
    /// The server.
    #[error(transparent)]
    Influx(#[from] InfluxError),
    /// Its answer.
    #[error("the server's counts can't be understood: {0}")]
    Answer(#[from] BadAnswer),
    /// Its answer, where it knows no Flux.
    #[error("the server's export can't be understood: {0}")]
    Export(#[from] serde_json::Error),
    /// The store.
    #[error(transparent)]
    Source(#[from] SourceError),
}

/// What the server holds from `from` to just before `to`.
pub async fn held(
    client: &Client,
    site: &Id,
    from: Timestamp,
    to: Timestamp,
) -> Result<ReadingCounts, AuditError> {
    match client.query(&question(site, from, to)).await {
        Ok(answer) => counted(&answer),
        // A server without Flux; victoria-metrics answers 400.
        Err(InfluxError::Refused { status: 400 | 404 | 405 | 501, .. }) => {
            exported(client, site, from, to).await
        }
        Err(error) => Err(error.into()),
    }
}

/// What the store holds.
pub fn kept(source: &PointSource, from: Timestamp, to: Timestamp) -> Result<ReadingCounts, SourceError> {
    let counts = source.store().count_readings(from, to)?;
    let mut kept = ReadingCounts::new();
    for sensor in source.store().sensors()? {
        if let Some((_, count)) = counts.iter().find(|(key, _)| *key == sensor.key) {
            let quantity = sensor.quantity.name().to_owned();
            let unit = sensor.unit.base().symbol().to_owned();
            kept.insert([sensor.place.to_string(), quantity, sensor.id.to_string(), unit], *count);
        }
    }
    Ok(kept)
}

/// How many readings the server lacks.
#[must_use]
pub fn lacking(kept: &ReadingCounts, held: &ReadingCounts) -> u64 {
    kept.iter().map(|(sensor, count)| count.saturating_sub(held.get(sensor).copied().unwrap_or(0))).sum()
}

fn question(site: &Id, from: Timestamp, to: Timestamp) -> String {
    format!(
        "from(bucket: {{bucket}})\n  |> range(start: {from}, stop: {to})\n  \
         |> filter(fn: (r) => r._measurement == {})\n  |> filter(fn: (r) => r.site == {})\n  \
         |> filter(fn: (r) => r._field == \"flag\")\n  |> group(columns: [\"place\", \"quantity\", \"sensor\", \"unit\"])\n  \
         |> count()",
        flux_text(READING.name),
        flux_text(site.as_str()),
    )
}

fn counted(answer: &str) -> Result<ReadingCounts, AuditError> {
    let count = |row: AnswerRow| {
        let [place, quantity, sensor, unit] = TAGS.map(|tag| row.need::<String>(tag));
        let count: i64 = row.need("_value")?;
        Ok(([place?, quantity?, sensor?, unit?], u64::try_from(count).unwrap_or(0)))
    };
    Rows::new(answer.as_bytes()).map(|row| count(row?)).collect()
}

/// One series of an export.
#[derive(Deserialize)]
struct Exported {
    metric: BTreeMap<String, String>,
    timestamps: Vec<i64>,
}

async fn exported(
    client: &Client,
    site: &Id,
    from: Timestamp,
    to: Timestamp,
) -> Result<ReadingCounts, AuditError> {
    let series = format!("{}_flag{{site=\"{site}\"}}", READING.name);
    let last = to.saturating_sub(SignedDuration::from_millis(1)).unwrap_or(to);
    let seconds = |at: Timestamp| at.as_duration().as_secs_f64();
    let answer = client.export(&series, seconds(from), seconds(last)).await?;
    let mut counts = ReadingCounts::new();
    for line in answer.lines() {
        let Exported { metric, timestamps } = serde_json::from_str(line)?;
        let sensor = TAGS.map(|tag| metric.get(tag).cloned().unwrap_or_default());
        *counts.entry(sensor).or_default() += u64::try_from(timestamps.len()).unwrap_or(u64::MAX);
    }
    Ok(counts)
}

const TAGS: [&str; 4] = ["place", "quantity", "sensor", "unit"];

#[cfg(test)]
mod tests {
    use super::*;

    /// Written after InfluxData, InfluxDB 2.7 documentation, "Annotated CSV".
    #[test]
    fn counts_are_taken_from_the_answer_and_compared_sensor_by_sensor() {
        let answer = "#datatype,string,long,string,string,string,string,long\r\n\
                      #group,false,false,true,true,true,true,false\r\n\
                      #default,_result,,,,,,\r\n\
                      ,result,table,place,quantity,sensor,unit,_value\r\n\
                      ,,0,drum:a,level,drum-a-level,mm,120\r\n\
                      ,,1,tank:t1,turbidity,t1-ntu,NTU,59\r\n\r\n";
        let there = counted(answer).unwrap();
        let sensor = |tags: [&str; 4]| tags.map(str::to_owned);
        let drum = sensor(["drum:a", "level", "drum-a-level", "mm"]);
        let tank = sensor(["tank:t1", "turbidity", "t1-ntu", "NTU"]);
        assert_eq!(there, ReadingCounts::from([(drum.clone(), 120), (tank.clone(), 59)]));
        let head = sensor(["head", "turbidity", "head-ntu", "NTU"]);
        for (here, missing) in [
            (vec![(drum.clone(), 120), (tank.clone(), 59)], 0),
            (vec![(drum.clone(), 120), (tank.clone(), 60)], 1),
            (vec![(drum.clone(), 119), (tank.clone(), 60)], 1),
            (vec![(head, 7)], 7),
            (vec![], 0),
        ] {
            assert_eq!(lacking(&here.into_iter().collect(), &there), missing);
        }
        assert!(counted("").unwrap().is_empty());
    }
}
