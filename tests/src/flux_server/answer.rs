//! Tables as annotated CSV.

use std::collections::{BTreeMap, BTreeSet};

use jiff::Timestamp;

use super::points::{PointValue, SeriesTable};
use super::question::ParsedQuestion;

/// How answers are written; both ways are allowed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Style {
    /// As InfluxDB does it: new annotations where the columns change.
    Plain,
    /// New annotations for each table, columns backwards, empty tables between, every cell quoted, LF alone.
    Awkward,
}

/// One column of a table.
struct Column {
    name: String,
    datatype: &'static str,
    group: bool,
}

impl Style {
    /// The body of an answer.
    pub(super) fn write(self, tables: &[SeriesTable], question: &ParsedQuestion) -> String {
        let mut body = String::new();
        let mut before: Option<Vec<(String, &'static str)>> = None;
        for (number, table) in tables.iter().enumerate() {
            let mut columns = columns(table, question);
            if self == Self::Awkward {
                columns.reverse();
            }
            let shape: Vec<(String, &'static str)> =
                columns.iter().map(|column| (column.name.clone(), column.datatype)).collect();
            if self == Self::Awkward || before.as_ref() != Some(&shape) {
                if before.is_some() {
                    self.line(&mut body, &[]);
                }
                self.annotate(&mut body, &columns, &BTreeMap::new());
            }
            before = Some(shape);
            for (at, fields) in &table.rows {
                let cells = columns.iter().map(|column| match column.name.as_str() {
                    "table" => number.to_string(),
                    "result" => String::new(),
                    "_time" => Timestamp::from_millisecond(*at).map(|at| at.to_string()).unwrap_or_default(),
                    name => table
                        .key
                        .get(name)
                        .cloned()
                        .or_else(|| fields.get(name).map(shown))
                        .unwrap_or_default(),
                });
                let cells: Vec<String> = std::iter::once(String::new()).chain(cells).collect();
                self.line(&mut body, &cells);
            }
            if self == Self::Awkward {
                self.line(&mut body, &[]);
                self.annotate(&mut body, &columns, &table.key);
            }
        }
        self.line(&mut body, &[]);
        body
    }

    /// Annotations and header; with a key, those of an empty table.
    fn annotate(self, body: &mut String, columns: &[Column], key: &BTreeMap<String, String>) {
        let mut line = |first: &str, cell: &dyn Fn(&Column) -> String| {
            let cells: Vec<String> =
                std::iter::once(first.to_owned()).chain(columns.iter().map(cell)).collect();
            self.line(body, &cells);
        };
        line("#datatype", &|column| column.datatype.to_owned());
        line("#group", &|column| column.group.to_string());
        line("#default", &|column| match column.name.as_str() {
            "result" => "_result".to_owned(),
            name => key.get(name).cloned().unwrap_or_default(),
        });
        line("", &|column| column.name.clone());
    }

    fn line(self, body: &mut String, cells: &[String]) {
        let quoted = |cell: &String| {
            let special = cell.contains(['"', ',', '\n', '\r']);
            if special || (self == Self::Awkward && !cell.is_empty()) {
                format!("\"{}\"", cell.replace('"', "\"\""))
            } else {
                cell.clone()
            }
        };
        body.push_str(&cells.iter().map(quoted).collect::<Vec<_>>().join(","));
        body.push_str(if self == Self::Awkward { "\n" } else { "\r\n" });
    }
}

/// `result`, `table`, the time, the group key, then the fields that any row of the table has.
fn columns(table: &SeriesTable, question: &ParsedQuestion) -> Vec<Column> {
    let column = |name: &str, datatype, group| Column { name: name.to_owned(), datatype, group };
    let mut columns = vec![
        column("result", "string", false),
        column("table", "long", false),
        column("_time", "dateTime:RFC3339", false),
    ];
    let kept = |name: &&String| !question.dropped.contains(name);
    columns.extend(table.key.keys().filter(kept).map(|name| column(name, "string", true)));
    let fields: BTreeSet<(&str, &'static str)> = table
        .rows
        .values()
        .flatten()
        .map(|(field, value)| {
            let datatype = match value {
                PointValue::Float(_) => "double",
                PointValue::Integer(_) => "long",
                PointValue::Boolean(_) => "boolean",
                PointValue::Text(_) => "string",
            };
            (field.as_str(), datatype)
        })
        .collect();
    columns.extend(fields.into_iter().map(|(name, datatype)| column(name, datatype, false)));
    columns
}

fn shown(value: &PointValue) -> String {
    match value {
        // As Go's 'f' with the least digits: no exponent.
        PointValue::Float(number) => format!("{number}"),
        PointValue::Integer(number) => number.to_string(),
        PointValue::Boolean(yes) => yes.to_string(),
        PointValue::Text(text) => text.clone(),
    }
}
