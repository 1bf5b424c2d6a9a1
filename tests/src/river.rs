//! Readings of a real river: `tests/data/river_main_street_2019.csv.zst`, cited in `tests/data/README.md`.
//!
//! It isn't a hatchery, but its noise, gaps and faults are real, and technicians have labelled the faults.

use std::fs::File;

use jiff::Timestamp;
use jiff::civil::DateTime;
use jiff::tz::{TimeZone, offset};

use crate::oracle::root;

/// One raw value.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RiverRow {
    /// The record's clock is UTC-7 all year ([`CLOCK_HOURS`]).
    pub at: Timestamp,
    /// What was measured.
    pub variable: Variable,
    /// As the sensor gave it: °C, mg/L or NTU.
    pub raw: f64,
    /// The technicians' code for a faulty value; `None` where they found nothing.
    pub label: Option<u8>,
}

/// What was measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Variable {
    /// Water temperature, °C.
    Temperature,
    /// Dissolved oxygen, mg/L.
    Oxygen,
    /// Turbidity, NTU by the data's own naming.
    Turbidity,
}

/// Local standard time without summer time, hours from UTC; a test checks it against sun and calendar.
pub const CLOCK_HOURS: i8 = -7;

/// Metres above the sea, about (from memory).
pub const ELEVATION_M: f64 = 1360.0;

impl Variable {
    /// All three, in the order of the record's columns.
    pub const ALL: [Self; 3] = [Self::Temperature, Self::Oxygen, Self::Turbidity];

    fn columns(self) -> (&'static str, &'static str) {
        match self {
            Self::Temperature => ("temp", "temp_qual"),
            Self::Oxygen => ("do", "do_qual"),
            Self::Turbidity => ("turb", "turb_qual"),
        }
    }
}

/// All rows in order of time; at each time one row per variable, in the order of [`Variable::ALL`].
///
/// # Panics
/// When the file isn't as it was.
#[must_use]
pub fn rows() -> Vec<RiverRow> {
    let path = root().join("tests/data/river_main_street_2019.csv.zst");
    let file = File::open(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
    let mut reader = csv::Reader::from_reader(zstd::Decoder::new(file).expect("it is compressed by zstd"));
    let header = reader.headers().expect("the first line names the columns").clone();
    let column = |name: &str| {
        header.iter().position(|column| column == name).unwrap_or_else(|| panic!("no column {name}"))
    };
    let time = column("datetime");
    let columns = Variable::ALL.map(|variable| {
        let (raw, label) = variable.columns();
        (variable, column(raw), column(label))
    });
    reader
        .records()
        .flat_map(|record| {
            let record = record.expect("a row is a row");
            let field = |at: usize| record.get(at).filter(|text| *text != "NULL");
            let at = utc(field(time).expect("each row has its time"));
            let row = |(variable, raw, label): (Variable, usize, usize)| {
                let number = |text: &str| text.parse::<f64>().expect("what isn't NULL is a number");
                let code = |text: &str| text.parse::<u8>().expect("labels are small whole numbers");
                field(raw).map(|raw| RiverRow {
                    at,
                    variable,
                    raw: number(raw),
                    label: field(label).map(code),
                })
            };
            columns.map(row)
        })
        .flatten()
        .collect()
}

fn utc(local: &str) -> Timestamp {
    DateTime::strptime("%Y-%m-%d %H:%M", local)
        .ok()
        .and_then(|time| TimeZone::fixed(offset(CLOCK_HOURS)).to_timestamp(time).ok())
        .unwrap_or_else(|| panic!("'{local}' is not a time"))
}
