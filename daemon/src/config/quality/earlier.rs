//! Keys of quality tests that site files had up to 0.1: they are still read, and each is told with what it is called now.

use toml::Spanned;

use claymark_model::quality::thresholds::{Span, SpikeMethod};

use super::super::table::Table;
use super::super::value;

/// `range` and `expected`, now fail and suspect of `gross_range`.
pub(super) fn spans(table: &Table<'_>) -> (Option<Spanned<Span>>, Option<Spanned<Span>>) {
    let range = table.maybe_earlier("range", value::span);
    let expected = table.maybe_earlier("expected", value::span);
    told(table, "range", "gross_range = { fail = [lowest, highest] }");
    told(table, "expected", "gross_range = { fail = [lowest, highest], suspect = [lowest, highest] }");
    (range, expected)
}

/// `rate`, now `rate_of_change`.
pub(super) fn rate<'a>(table: &Table<'a>) -> Option<Table<'a>> {
    told(table, "rate", "rate_of_change = { suspect = …, per = \"1 min\" }");
    table.table_earlier("rate")
}

/// `method`, now `steps_pass`.
pub(super) fn method(spike: &Table<'_>) -> Option<SpikeMethod> {
    told(spike, "method", "steps_pass = true for \"differential\"; without it, \"average\" is meant");
    spike.maybe_earlier("method", value::one_of(METHODS)).map(Spanned::into_inner)
}

/// `tolerance`, now `eps`.
pub(super) fn tolerance(flat_line: &Table<'_>) -> Option<f64> {
    told(flat_line, "tolerance", "eps = …");
    flat_line.maybe_earlier("tolerance", value::not_negative).map(Spanned::into_inner)
}

fn told(table: &Table<'_>, key: &str, now: &str) {
    if let Some(place) = table.key_span(key) {
        table.findings.warning(
            place,
            format!("{key}: it goes by another name now, and is read all the same"),
            format!("Write {now}."),
        );
    }
}

const METHODS: &[(&str, SpikeMethod)] =
    &[("average", SpikeMethod::Average), ("differential", SpikeMethod::Differential)];
