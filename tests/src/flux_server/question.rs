//! The one form of question that Claymark asks, taken apart stage by stage.

use jiff::Timestamp;

/// What is asked.
#[derive(Debug, Default)]
pub(super) struct ParsedQuestion {
    /// First and end, ms.
    pub(super) range: (i64, i64),
    /// All must hold: of each, the column and the values that it may have.
    pub(super) filters: Vec<(String, Vec<String>)>,
    /// Only the newest value of each field of each series.
    pub(super) last: bool,
    /// Columns that are left out.
    pub(super) dropped: Vec<String>,
}

impl ParsedQuestion {
    /// Takes it apart, or says what it doesn't understand.
    pub(super) fn parse(flux: &str) -> Result<Self, String> {
        let mut stages = flux.split("\n  |> ");
        let from = stages.next().unwrap_or_default();
        inside(from, "from(bucket: ", ")").and_then(text)?;
        let mut question = Self::default();
        let mut pivoted = false;
        for stage in stages {
            if stage.starts_with("range(") {
                question.range = range(stage)?;
            } else if stage.starts_with("filter(") {
                question.filters.push(filter(stage)?);
            } else if stage == "last()" {
                question.last = true;
            } else if stage == r#"pivot(rowKey: ["_time"], columnKey: ["_field"], valueColumn: "_value")"# {
                pivoted = true;
            } else {
                let columns = inside(stage, "drop(columns: [", "])")?;
                question.dropped = columns.split(", ").map(text).collect::<Result<_, _>>()?;
            }
        }
        if !pivoted {
            return Err("only pivoted answers are played here".to_owned());
        }
        Ok(question)
    }

    /// Whether a column with that value passes all filters of that column.
    pub(super) fn wants(&self, column: &str, value: &str) -> bool {
        self.filters
            .iter()
            .filter(|(filtered, _)| filtered == column)
            .all(|(_, values)| values.iter().any(|wanted| wanted == value))
    }
}

fn range(stage: &str) -> Result<(i64, i64), String> {
    let bounds = inside(stage, "range(start: ", ")")?;
    let (start, stop) = bounds.split_once(", stop: ").ok_or("a range has a start and a stop")?;
    let ms = |text: &str| {
        let time: Timestamp = text.parse().map_err(|error| format!("{text}: {error}"))?;
        Ok::<i64, String>(time.as_millisecond())
    };
    let (start, stop) = (ms(start)?, ms(stop)?);
    if start >= stop {
        // Flux's own words.
        return Err("error in building plan while starting program: cannot query an empty range".to_owned());
    }
    Ok((start, stop))
}

fn filter(stage: &str) -> Result<(String, Vec<String>), String> {
    let condition = inside(stage, "filter(fn: (r) => ", ")")?;
    let mut column = None;
    let mut values = Vec::new();
    for one in condition.split(" or ") {
        let (name, value) = one.split_once(" == ").ok_or_else(|| format!("{one}: only == is played here"))?;
        let name = name.strip_prefix("r.").ok_or_else(|| format!("{name}: a column of r is wanted"))?;
        if *column.get_or_insert(name) != name {
            return Err("a filter is about one column here".to_owned());
        }
        values.push(text(value)?);
    }
    Ok((column.unwrap_or_default().to_owned(), values))
}

fn inside<'a>(stage: &'a str, before: &str, after: &str) -> Result<&'a str, String> {
    stage
        .strip_prefix(before)
        .and_then(|rest| rest.strip_suffix(after))
        .ok_or_else(|| format!("{stage}: {before}…{after} is wanted"))
}

/// A string literal without escapes: Claymark's ids need none.
fn text(literal: &str) -> Result<String, String> {
    let inner = inside(literal, "\"", "\"")?;
    if inner.contains(['"', '\\']) {
        Err(format!("{literal}: escapes aren't played here"))
    } else {
        Ok(inner.to_owned())
    }
}
