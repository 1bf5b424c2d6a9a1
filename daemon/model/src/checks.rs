//! The check values of `tests/data/clay_check_values.csv`, each row with its source.

use serde_json::Value;

/// One row.
pub(crate) struct Check {
    id: String,
    function: String,
    inputs: Value,
    expected: f64,
    tolerance: f64,
}

impl Check {
    pub(crate) fn inputs<const N: usize>(&self, names: [&str; N]) -> [f64; N] {
        names.map(|name| self.inputs[name].as_f64().unwrap_or_else(|| panic!("{} has no {name}", self.id)))
    }

    /// Whether `ours` is what the source says, within the tolerance of the row.
    pub(crate) fn accepts(&self, ours: f64) {
        let off = (ours - self.expected).abs();
        assert!(off <= self.tolerance, "{}: {ours}, by the source {}", self.id, self.expected);
    }
}

/// All rows of a function; there is at least one.
pub(crate) fn of(function: &str) -> Vec<Check> {
    let rows = csv::Reader::from_reader(include_str!("../../../tests/data/clay_check_values.csv").as_bytes())
        .into_records()
        .map(|row| {
            let row = row.unwrap();
            let expected: f64 = row[3].parse().unwrap();
            // "1e-6rel": relative to the value.
            let tolerance = match row[4].strip_suffix("rel") {
                Some(share) => share.parse::<f64>().unwrap() * expected.abs(),
                None => row[4].parse().unwrap(),
            };
            Check {
                id: row[0].to_owned(),
                function: row[1].to_owned(),
                inputs: serde_json::from_str(&row[2]).unwrap(),
                expected,
                // The row's figure itself is rounded to ten places.
                tolerance: tolerance + 1e-9 * expected.abs(),
            }
        });
    let found: Vec<Check> = rows.filter(|check| check.function == function).collect();
    assert!(!found.is_empty(), "no check value for {function}");
    found
}
