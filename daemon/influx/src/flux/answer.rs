//! Annotated CSV, as InfluxDB 2 answers a Flux query: read row by row, believed only where it is well formed.
//!
//! InfluxData, InfluxDB 2.7 documentation, "Annotated CSV": RFC 4180 records; rows that begin with `#datatype`,
//! `#group` or `#default` annotate the columns below them; then one row of names, then rows whose first cell is
//! empty. A new set of annotations begins tables of another shape; one without rows is an empty table. An empty
//! cell takes its column's default, else it is null. A table named `error`, `reference` tells that the query
//! failed, perhaps halfway. InfluxDB's encoder writes newlines inside a text in a form of its own: ours have none.

use std::io::Read;
use std::sync::Arc;

use csv::{ReaderBuilder, StringRecord, StringRecordsIntoIter};
use jiff::Timestamp;

/// The rows of an answer, as they arrive; ends after the first error.
pub struct Rows<R> {
    records: StringRecordsIntoIter<R>,
    state: AnswerState,
}

/// One row, which knows the names and types of its cells.
#[derive(Debug, Clone)]
pub struct AnswerRow {
    shape: Arc<Shape>,
    cells: StringRecord,
}

/// What can be wrong with an answer.
#[derive(Debug, thiserror::Error)]
pub enum BadAnswer {
    /// It broke off, or isn't CSV in UTF-8.
    #[error("the answer can't be read to its end: {0}")]
    Broken(#[from] csv::Error),
    /// The database says that the query failed.
    #[error("the database gave up on the query: {0}")]
    Failed(String),
    /// Rows without the annotations that were asked for.
    #[error("expected #datatype above the rows of the answer, found '{0}'")]
    NotAnnotated(String),
    /// A row that doesn't fit its header.
    #[error("expected {expected} cells in a row of the answer, found {found}")]
    Misshapen {
        /// As its header has.
        expected: usize,
        /// As it has.
        found: usize,
    },
    /// A cell that must be there isn't.
    #[error("a row of the answer has no '{0}'")]
    Lacking(String),
    /// A cell of another type, or one that isn't what its type says.
    #[error("expected {expected} in '{column}' of the answer, found '{found}'")]
    Unexpected {
        /// The column.
        column: String,
        /// What was wanted.
        expected: &'static str,
        /// What is there: its type, or its text.
        found: String,
    },
}

/// Between the rows of an answer.
#[derive(Debug)]
enum AnswerState {
    /// Annotations are being read, the header comes next.
    Above(Annotations),
    /// Rows of this shape are being read.
    Among(Arc<Shape>),
    /// The header of an error was read, the error comes next.
    Failing,
    /// At the end, or after an error.
    Over,
}

#[derive(Debug, Default)]
struct Annotations {
    datatypes: Option<StringRecord>,
    defaults: Option<StringRecord>,
}

/// Columns of tables that look alike.
#[derive(Debug)]
struct Shape {
    names: StringRecord,
    datatypes: StringRecord,
    defaults: StringRecord,
}

impl<R: Read> Rows<R> {
    /// Reads an answer.
    pub fn new(answer: R) -> Self {
        let reader = ReaderBuilder::new().has_headers(false).flexible(true).from_reader(answer);
        Self { records: reader.into_records(), state: AnswerState::Above(Annotations::default()) }
    }

    /// Takes one record; gives a row where it is one.
    fn record(&mut self, cells: StringRecord) -> Result<Option<AnswerRow>, BadAnswer> {
        let first = cells.get(0).unwrap_or_default().to_owned();
        match std::mem::replace(&mut self.state, AnswerState::Over) {
            AnswerState::Failing => {
                return Err(BadAnswer::Failed(
                    cells.iter().find(|cell| !cell.is_empty()).unwrap_or("no reason given").to_owned(),
                ));
            }
            _ if tells_an_error(&cells) => self.state = AnswerState::Failing,
            AnswerState::Above(mut annotations) if first.starts_with('#') => {
                annotations.note(&first, cells);
                self.state = AnswerState::Above(annotations);
            }
            AnswerState::Above(annotations) => {
                self.state = AnswerState::Among(Arc::new(Shape::new(annotations, cells)?));
            }
            AnswerState::Among(_) if first.starts_with('#') => {
                let mut annotations = Annotations::default();
                annotations.note(&first, cells);
                self.state = AnswerState::Above(annotations);
            }
            AnswerState::Among(shape) => {
                if cells.len() != shape.names.len() {
                    return Err(BadAnswer::Misshapen { expected: shape.names.len(), found: cells.len() });
                }
                self.state = AnswerState::Among(Arc::clone(&shape));
                return Ok(Some(AnswerRow { shape, cells }));
            }
            AnswerState::Over => {}
        }
        Ok(None)
    }
}

impl<R: Read> Iterator for Rows<R> {
    type Item = Result<AnswerRow, BadAnswer>;

    fn next(&mut self) -> Option<Self::Item> {
        while !matches!(self.state, AnswerState::Over) {
            let taken = match self.records.next() {
                None => {
                    let failing = matches!(self.state, AnswerState::Failing);
                    self.state = AnswerState::Over;
                    return failing.then(|| Err(BadAnswer::Failed("no reason given".to_owned())));
                }
                Some(Err(broken)) => Err(broken.into()),
                Some(Ok(cells)) => self.record(cells),
            };
            match taken {
                Ok(None) => {}
                Ok(Some(row)) => return Some(Ok(row)),
                Err(error) => {
                    self.state = AnswerState::Over;
                    return Some(Err(error));
                }
            }
        }
        None
    }
}

impl Annotations {
    fn note(&mut self, name: &str, cells: StringRecord) {
        match name {
            "#datatype" => self.datatypes = Some(cells),
            "#default" => self.defaults = Some(cells),
            // The group key isn't needed: rows are told apart by their own cells.
            _ => {}
        }
    }
}

impl Shape {
    fn new(annotations: Annotations, names: StringRecord) -> Result<Self, BadAnswer> {
        let Some(datatypes) = annotations.datatypes else {
            return Err(BadAnswer::NotAnnotated(names.iter().collect::<Vec<_>>().join(",")));
        };
        let defaults = annotations.defaults.unwrap_or_default();
        // Defaults may be left out as a whole, but not for a part of the columns.
        for cells in
            [Some(&datatypes), Some(&defaults).filter(|cells| !cells.is_empty())].into_iter().flatten()
        {
            if cells.len() != names.len() {
                return Err(BadAnswer::Misshapen { expected: names.len(), found: cells.len() });
            }
        }
        Ok(Self { names, datatypes, defaults })
    }
}

impl AnswerRow {
    /// What must stand in that column.
    pub fn need<T: Cell>(&self, column: &str) -> Result<T, BadAnswer> {
        self.find(column)?.ok_or_else(|| BadAnswer::Lacking(column.to_owned()))
    }

    /// What stands in that column; `None`: null. A column that the tables of this shape don't have is null, too:
    /// Flux leaves out a field that no point of a table has.
    pub fn find<T: Cell>(&self, column: &str) -> Result<Option<T>, BadAnswer> {
        // The first cell is that of the annotations.
        let mut named = self.shape.names.iter().enumerate().skip(1);
        let Some((index, _)) = named.find(|(_, name)| *name == column) else { return Ok(None) };
        let unexpected = |found: &str| BadAnswer::Unexpected {
            column: column.to_owned(),
            expected: T::EXPECTED,
            found: found.to_owned(),
        };
        let datatype = self.shape.datatypes.get(index).unwrap_or_default();
        if !T::DATATYPES.contains(&datatype) {
            return Err(unexpected(datatype));
        }
        let default = self.shape.defaults.get(index).unwrap_or_default();
        match self.cells.get(index).filter(|text| !text.is_empty()).unwrap_or(default) {
            "" => Ok(None),
            text => T::parse(text).map(Some).ok_or_else(|| unexpected(text)),
        }
    }
}

/// What a cell can hold.
pub trait Cell: Sized {
    /// For people, with the name of the specification.
    const EXPECTED: &'static str;
    /// How `#datatype` calls it.
    const DATATYPES: &'static [&'static str];
    /// From a text that isn't empty.
    fn parse(text: &str) -> Option<Self>;
}

/// Null can't be told from an empty text.
impl Cell for String {
    const EXPECTED: &'static str = "a text (string)";
    const DATATYPES: &'static [&'static str] = &["string"];

    fn parse(text: &str) -> Option<Self> {
        Some(text.to_owned())
    }
}

impl Cell for i64 {
    const EXPECTED: &'static str = "a whole number (long)";
    const DATATYPES: &'static [&'static str] = &["long"];

    fn parse(text: &str) -> Option<Self> {
        text.parse().ok()
    }
}

/// Finite: the line protocol can't say anything else.
impl Cell for f64 {
    const EXPECTED: &'static str = "a finite number (double)";
    const DATATYPES: &'static [&'static str] = &["double"];

    fn parse(text: &str) -> Option<Self> {
        text.parse().ok().filter(|number: &f64| number.is_finite())
    }
}

impl Cell for bool {
    const EXPECTED: &'static str = "true or false (boolean)";
    const DATATYPES: &'static [&'static str] = &["boolean"];

    fn parse(text: &str) -> Option<Self> {
        text.parse().ok()
    }
}

impl Cell for Timestamp {
    const EXPECTED: &'static str = "a time (dateTime:RFC3339)";
    const DATATYPES: &'static [&'static str] = &["dateTime:RFC3339", "dateTime:RFC3339Nano"];

    fn parse(text: &str) -> Option<Self> {
        text.parse().ok()
    }
}

/// Whether these are the names above an error, with or without the cell of the annotations before them.
fn tells_an_error(cells: &StringRecord) -> bool {
    let names: Vec<&str> = cells.iter().collect();
    matches!(names.as_slice(), ["error", "reference"] | ["", "error", "reference"])
}

#[cfg(test)]
mod tests;
