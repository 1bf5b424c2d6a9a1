//! Rows of answers back into core types.

use std::collections::BTreeMap;

use jiff::{SignedDuration, Timestamp};
use serde::de::DeserializeOwned;
use serde_json::Value;

use claymark_model::quality::Flag;
use claymark_model::reading::{Assessed, Reading, TestFlags};
use claymark_model::site::{Sensor, Site};
use claymark_store::limits::Limits;
use claymark_store::reader::{QuarantineCount, Rollup, SensorKey};

use super::{ReadError, answer};
use crate::flux::answer::{AnswerRow, Cell};
use crate::{reason, schema};

/// The sensor of a row, if it is one of these and stood where it stands now, measuring the same.
pub(super) fn of<'a>(
    sensors: &BTreeMap<&str, &'a Sensor>,
    row: &AnswerRow,
    what: &'static str,
) -> Result<Option<&'a Sensor>, ReadError> {
    let tag = |name| need::<String>(row, what, name);
    let (id, place, quantity, unit) = (tag("sensor")?, tag("place")?, tag("quantity")?, tag("unit")?);
    Ok(sensors.get(id.as_str()).copied().filter(|sensor| {
        sensor.place.to_string() == place
            && sensor.quantity.name() == quantity
            && sensor.unit.base().symbol() == unit
    }))
}

pub(super) fn reading(row: &AnswerRow, sensor: &Sensor) -> Result<Assessed, ReadError> {
    let what = schema::READING.name;
    let at: Timestamp = need(row, what, "_time")?;
    let tests: i64 = need(row, what, "tests")?;
    let lag = SignedDuration::from_millis(need(row, what, "lag")?);
    Ok(Assessed {
        reading: Reading {
            ahead: row
                .find::<i64>("ahead")
                .map_err(answer(what))?
                .map_or(SignedDuration::ZERO, SignedDuration::from_millis),
            ..Reading::new(sensor.id.clone(), at, need(row, what, "value")?)
        },
        received_at: at.checked_add(lag).map_err(|_outside| no(what, "lag", lag.as_millis()))?,
        tests: u32::try_from(tests)
            .ok()
            .and_then(TestFlags::unpack)
            .ok_or_else(|| no(what, "set of test flags", tests))?,
        flag: flag(need(row, what, "flag")?)?,
    })
}

fn flag(number: i64) -> Result<Flag, ReadError> {
    u8::try_from(number)
        .ok()
        .and_then(|number| Flag::try_from(number).ok())
        .ok_or_else(|| no(schema::READING.name, "QARTOD flag", number))
}

/// Fields of [`rollup`].
pub(super) const ROLLUP_FIELDS: &[&str] = &[
    "passed",
    "not_evaluated",
    "suspect",
    "failed",
    "missing",
    "least",
    "most",
    "total",
    "low",
    "high",
    "below",
    "above",
    "longest_lag",
];

pub(super) fn rollup(row: &AnswerRow, sensor: SensorKey) -> Result<Rollup, ReadError> {
    let what = schema::ROLLUP.name;
    let count = |field| {
        let number: i64 = need(row, what, field)?;
        u64::try_from(number).map_err(|_negative| no(what, "count", number))
    };
    let figure = |field| row.find::<f64>(field).map_err(answer(what));
    let rollup = Rollup {
        sensor,
        hour: need(row, what, "_time")?,
        passed: count("passed")?,
        not_evaluated: count("not_evaluated")?,
        suspect: count("suspect")?,
        failed: count("failed")?,
        missing: count("missing")?,
        least: figure("least")?,
        most: figure("most")?,
        total: need(row, what, "total")?,
        limits: Limits { low: figure("low")?, high: figure("high")? },
        below: count("below")?,
        above: count("above")?,
        longest_lag: SignedDuration::from_millis(need(row, what, "longest_lag")?),
    };
    // A field can't be taken back: when all readings of an hour failed later, the old extremes still stand there.
    let usable = rollup.usable() > 0;
    Ok(Rollup { least: rollup.least.filter(|_| usable), most: rollup.most.filter(|_| usable), ..rollup })
}

pub(super) fn quarantine_count(row: &AnswerRow) -> Result<QuarantineCount, ReadError> {
    let what = schema::QUARANTINE.name;
    let (reason, count): (String, i64) = (need(row, what, "reason")?, need(row, what, "count")?);
    Ok(QuarantineCount {
        hour: need(row, what, "_time")?,
        reason: serde_json::from_value(Value::String(reason.clone()))
            .map_err(|_not_one| no(what, "reason", &reason))?,
        count: u64::try_from(count).map_err(|_negative| no(what, "count", count))?,
    })
}

/// A part of a site, as [`schema::SITE`] has it.
#[derive(Debug)]
pub(super) struct SitePart {
    written: Timestamp,
    part: usize,
    parts: usize,
    json: String,
}

/// A part, and the id of its site.
pub(super) fn site_part(row: &AnswerRow) -> Result<(String, SitePart), ReadError> {
    let what = schema::SITE.name;
    let (part, parts): (String, i64) = (need(row, what, "part")?, need(row, what, "parts")?);
    let found = SitePart {
        written: need(row, what, "_time")?,
        part: part.parse().map_err(|_not_one| no(what, "number of a part", &part))?,
        parts: usize::try_from(parts).map_err(|_negative| no(what, "number of parts", parts))?,
        json: need(row, what, "json")?,
    };
    Ok((need(row, what, "site")?, found))
}

/// The site from the newest of its parts; older ones are left over from when it was longer.
pub(super) fn site(mut parts: Vec<SitePart>) -> Result<Site, ReadError> {
    let what = schema::SITE.name;
    let newest = parts.iter().map(|part| part.written).max();
    parts.retain(|part| Some(part.written) == newest);
    parts.sort_by_key(|part| part.part);
    let whole = parts.first().map_or(0, |first| first.parts);
    if parts.iter().map(|part| part.part).ne(0..whole) {
        return Err(no(what, "whole site", format!("{} of {whole} parts", parts.len())));
    }
    let json: String = parts.into_iter().map(|part| part.json).collect();
    serde_json::from_str(&json).map_err(|_not_one| no(what, "site", json))
}

/// A point that carries itself.
pub(super) fn record<T: DeserializeOwned>(row: &AnswerRow, what: &'static str) -> Result<T, ReadError> {
    let json = reason::coded(need(row, what, "json")?);
    serde_json::from_str(&json).map_err(|_not_one| no(what, "record of this version", json))
}

fn need<T: Cell>(row: &AnswerRow, what: &'static str, column: &str) -> Result<T, ReadError> {
    row.need(column).map_err(answer(what))
}

fn no(what: &'static str, expected: &'static str, found: impl ToString) -> ReadError {
    let found = found.to_string().chars().take(LONGEST_SHOWN).collect();
    ReadError::Record { what, expected, found }
}

/// Of a record that can't be read.
const LONGEST_SHOWN: usize = 200;
