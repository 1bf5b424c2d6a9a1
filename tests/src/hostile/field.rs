//! The edges of one field, as raw JSON.

use proptest::prelude::{Just, Strategy, any, prop_oneof};
use proptest::sample::select;
use proptest::strategy::BoxedStrategy;

/// Stands where a message's mark goes.
pub(super) const MARK: &str = "<mark>";

/// Whether a value can be taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Worth {
    /// Plain and good.
    Good,
    /// That is for the limits to say.
    Unsure,
    /// It can't mean anything.
    Bad,
}

/// A value as it stands in the message.
#[derive(Debug, Clone)]
pub(super) struct WrittenValue {
    pub(super) json: String,
    pub(super) worth: Worth,
}

/// A figure, `good` among them.
pub(super) fn figure(good: &'static str) -> BoxedStrategy<WrittenValue> {
    prop_oneof![
        24 => Just(value(good, Worth::Good)),
        4 => select(NUMBERS).prop_map(|json| value(json, Worth::Unsure)),
        2 => any::<f64>().prop_map(finite),
        2 => any::<i64>().prop_map(|integer| value(&integer.to_string(), Worth::Unsure)),
        1 => select(NO_NUMBERS).prop_map(|json| value(json, Worth::Bad)),
        1 => text_as_json().prop_map(|json| value(&json, Worth::Bad)),
        1 => no_scalar(),
    ]
    .boxed()
}

/// A text, `good` among them.
pub(super) fn text(good: &'static str) -> BoxedStrategy<WrittenValue> {
    prop_oneof![
        24 => Just(value(&quoted(good), Worth::Good)),
        6 => text_as_json().prop_map(|json| value(&json, Worth::Unsure)),
        1 => select(NO_TEXTS).prop_map(|json| value(json, Worth::Bad)),
        1 => no_text(),
        1 => no_scalar(),
    ]
    .boxed()
}

/// A text with the mark in front.
pub(super) fn marked_text() -> BoxedStrategy<WrittenValue> {
    prop_oneof![
        12 => Just(value(&format!("\"{MARK}\""), Worth::Good)),
        2 => edge_text().prop_map(|text| value(&quoted(&format!("{MARK}{text}")), Worth::Unsure)),
    ]
    .boxed()
}

/// An id of the site, `good` among them; nothing else is one.
pub(super) fn id(good: &'static str) -> BoxedStrategy<WrittenValue> {
    prop_oneof![
        40 => Just(value(&quoted(good), Worth::Good)),
        2 => text_as_json().prop_map(|json| value(&json, Worth::Bad)),
        1 => no_text(),
        1 => no_scalar(),
    ]
    .boxed()
}

/// When it was done; all good ones lie within the evening before the barn's clock begins.
pub(super) fn time() -> BoxedStrategy<WrittenValue> {
    let good = (0..3600_u32).prop_map(|second| {
        let (minute, second) = (second / 60, second % 60);
        value(&format!("\"2027-03-01T19:{minute:02}:{second:02}Z\""), Worth::Good)
    });
    prop_oneof![
        40 => good,
        2 => select(TIMES).prop_map(|text| value(&quoted(text), Worth::Unsure)),
        2 => select(NO_TIMES).prop_map(|text| value(&quoted(text), Worth::Bad)),
        1 => text_as_json().prop_map(|json| value(&json, Worth::Bad)),
        1 => select(NUMBERS).prop_map(|json| value(json, Worth::Bad)),
    ]
    .boxed()
}

/// The number of a notice. Those that may have been given already are left out: the messages mustn't answer.
pub(super) fn notice() -> BoxedStrategy<WrittenValue> {
    prop_oneof![
        3 => select(NO_NOTICES_YET).prop_map(|json| value(json, Worth::Unsure)),
        3 => select(NO_NOTICE_NUMBERS).prop_map(|json| value(json, Worth::Bad)),
        1 => text_as_json().prop_map(|json| value(&json, Worth::Bad)),
        1 => no_scalar(),
    ]
    .boxed()
}

pub(super) fn value(json: &str, worth: Worth) -> WrittenValue {
    WrittenValue { json: json.to_owned(), worth }
}

fn finite(number: f64) -> WrittenValue {
    match serde_json::Number::from_f64(number) {
        Some(number) => value(&number.to_string(), Worth::Unsure),
        None => value(&number.to_string(), Worth::Bad),
    }
}

fn quoted(text: &str) -> String {
    serde_json::to_string(text).expect("a text always makes JSON")
}

fn text_as_json() -> impl Strategy<Value = String> {
    edge_text().prop_map(|text| quoted(&text))
}

fn edge_text() -> BoxedStrategy<String> {
    let control = (0..0xa0_u32).prop_map(|code| char::from_u32(code).map_or_else(String::new, String::from));
    prop_oneof![
        6 => select(TEXTS).prop_map(str::to_owned),
        4 => control.prop_map(|control| format!("a{control}b")),
        3 => any::<String>(),
        1 => any::<char>().prop_map(|one| one.to_string().repeat(500)),
    ]
    .boxed()
}

/// Valid JSON of another type.
fn no_text() -> BoxedStrategy<WrittenValue> {
    select(&["true", "false", "0", "-1.5", "1e9"][..]).prop_map(|json| value(json, Worth::Bad)).boxed()
}

fn no_scalar() -> BoxedStrategy<WrittenValue> {
    let deep = |depth: usize| value(&format!("{}{}", "[".repeat(depth), "]".repeat(depth)), Worth::Bad);
    prop_oneof![
        4 => select(&["[]", "{}", "[1]", "{\"v\":1}", "[[[[]]]]"][..]).prop_map(|json| value(json, Worth::Bad)),
        1 => (100..200_usize).prop_map(deep),
    ]
    .boxed()
}

/// Finite, or nothing, or below what a number can hold.
const NUMBERS: &[&str] = &[
    "0",
    "-0",
    "-0.0",
    "1",
    "-1",
    "0.1",
    "1e-300",
    "5e-324",
    "2.2250738585072014e-308",
    "1e-400",
    "-1e-400",
    "1e15",
    "1e308",
    "-1e308",
    "1.7e308",
    "1.7976931348623157e308",
    "-1.7976931348623157e308",
    "2147483647",
    "2147483648",
    "4294967296",
    "9007199254740993",
    "9223372036854775807",
    "9223372036854775808",
    "-9223372036854775808",
    "-9223372036854775809",
    "18446744073709551615",
    "18446744073709551616",
    "123456789012345678901234567890123456789012345678901234567890",
    "0.0000000000000000000000000000000000000000000000000000000000001",
];

/// Infinite, or no JSON.
const NO_NUMBERS: &[&str] = &[
    "1e309",
    "-1e309",
    "1e999999999",
    "NaN",
    "Infinity",
    "-Infinity",
    "01",
    "1.",
    ".5",
    "+1",
    "0x10",
    "1_000",
    "1,5",
    "١٢٣",
    "",
];

/// No JSON, or no text that UTF-8 can hold.
const NO_TEXTS: &[&str] =
    &["\"a\u{1}b\"", "\"a\nb\"", "\"\\ud800\"", "\"\\udfff\\ud800\"", "\"\\x41\"", "\"open", "'single'"];

const TEXTS: &[&str] = &[
    "",
    " ",
    "\t\r\n",
    "\0",
    "fed well 🐟",
    "👩‍👩‍👧‍👦🏳️‍🌈🇫🇮",
    "喂食正常",
    "餌やり良好",
    "تغذية جيدة",
    "\u{202e}desrever\u{202c}",
    "\u{200f}\u{200e}\u{2066}\u{2069}\u{61c}",
    "\u{feff}byte order",
    "\u{fffe}\u{ffff}\u{10ffff}",
    "e\u{301}\u{301}\u{301}\u{301}\u{301}\u{301}\u{301}\u{301}",
    "\u{1b}[31mred\u{1b}[0m\u{7}",
    "\u{85}\u{2028}\u{2029}",
    "'; DROP TABLE reading; --",
    "=1+1",
    "<script>alert(1)</script>",
    "#panic(\"no\") $x$ *b* _i_ `r` @x <l>",
    "\\ \" ' / % {} {0} \\u0000",
    "../../../etc/passwd",
    "drum a",
    "A",
    "NaN",
    "1e309",
];

/// Of RFC 3339, and perhaps not to be believed.
const TIMES: &[&str] = &[
    "2027-03-01T19:00:00.123456789Z",
    "2027-03-01T19:00:00+14:00",
    "2027-03-01T19:00:00-12:00",
    "2026-01-01T00:00:00Z",
    "2000-02-29T00:00:00Z",
    "2027-03-01T19:00:60Z",
];

/// No times, or times that can't be.
const NO_TIMES: &[&str] = &[
    "9999-12-31T23:59:59.999999999Z",
    "2999-01-01T00:00:00Z",
    "2027-02-29T00:00:00Z",
    "2027-13-01T00:00:00Z",
    "2027-03-01T25:00:00Z",
    "2027-03-01T19:00:00",
    "2027-03-01 19:00:00Z",
    "2027-03-01t19:00:00z",
    "2027-03-01T19:00:00+99:99",
    "99999-03-01T19:00:00Z",
    "-2027-03-01T19:00:00Z",
    "2027-03-01",
    "19:00",
    "yesterday",
    "",
];

/// Integers that the store can hold.
const NO_NOTICES_YET: &[&str] = &[
    "0",
    "471100",
    "2147483648",
    "4294967296",
    "9007199254740993",
    "9223372036854775806",
    "9223372036854775807",
];

/// Integers that it can't, and what is none.
const NO_NOTICE_NUMBERS: &[&str] = &[
    "9223372036854775808",
    "18446744073709551615",
    "18446744073709551616",
    "123456789012345678901234567890",
    "-1",
    "-9223372036854775808",
    "1.5",
    "1e309",
    "null",
    "NaN",
];
