//! Reads single values: text, numbers, times, units; each says what it wanted and what it found.

use std::ops::RangeInclusive;
use std::path::PathBuf;

use jiff::civil::{Date, Time};
use jiff::tz::TimeZone;
use jiff::{SignedDuration, Span as CalendarSpan, SpanRelativeTo};
use toml::Spanned;
use toml::de::DeValue;

use claymark_model::id::Id;
use claymark_model::quality::thresholds::Span;
use claymark_model::units::{Dimension, Unit};

use crate::amount::Amount;
use crate::suggest::{closest, did_you_mean};

/// Why a value can't be used.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Wrong {
    pub(super) what: String,
    pub(super) remedy: String,
}

/// What the value is, for people.
pub(super) fn kind_of(value: &DeValue<'_>) -> &'static str {
    match value {
        DeValue::String(_) => "text",
        DeValue::Integer(_) => "a whole number",
        DeValue::Float(_) => "a number",
        DeValue::Boolean(_) => "true or false",
        DeValue::Datetime(_) => "a date or time",
        DeValue::Array(_) => "a list",
        DeValue::Table(_) => "a table",
    }
}

/// Text that isn't empty.
pub(super) fn text(value: &DeValue<'_>) -> Result<String, Wrong> {
    let DeValue::String(text) = value else { return unwanted("text in quotes", value) };
    if text.trim().is_empty() {
        return wrong("the text is empty", "Write something between the quotes.");
    }
    Ok(text.as_ref().to_owned())
}

/// A server's name or number, alone. What else was written may be a password, so it isn't repeated.
pub(super) fn host(value: &DeValue<'_>) -> Result<String, Wrong> {
    let host = text(value)?;
    if host.contains('@') {
        return wrong(
            "there is a name or a password before the host",
            "Write the host alone, name the user with user and the password's file with password_file, and \
             change the password, since it has been written down here.",
        );
    }
    if host.contains(['/', '?', '#']) || host.contains(char::is_whitespace) {
        return wrong("this isn't the name of a server", "Write the host alone: \"mail.example.org\".");
    }
    Ok(host)
}

/// A list of texts that isn't empty, each with its place.
pub(super) fn texts(value: &DeValue<'_>) -> Result<Vec<Spanned<String>>, Wrong> {
    let DeValue::Array(list) = value else { return unwanted("a list of texts", value) };
    if list.is_empty() {
        return wrong("the list is empty", "Write at least one text in quotes.");
    }
    list.iter().map(|item| Ok(Spanned::new(item.span(), text(item.get_ref())?))).collect()
}

/// true or false.
pub(super) fn yes_or_no(value: &DeValue<'_>) -> Result<bool, Wrong> {
    value.as_bool().map_or_else(|| unwanted("true or false", value), Ok)
}

/// Any finite number.
pub(super) fn number(value: &DeValue<'_>) -> Result<f64, Wrong> {
    let digits = match (value.as_integer(), value.as_float()) {
        (Some(whole), _) if whole.radix() == 10 => whole.as_str(),
        (_, Some(number)) => number.as_str(),
        _ => return unwanted("a number without quotes", value),
    };
    match digits.parse::<f64>() {
        Ok(number) if number.is_finite() => Ok(number),
        _ => wrong("this isn't a usable number", "Write a plain decimal number."),
    }
}

/// A number above zero.
pub(super) fn positive(value: &DeValue<'_>) -> Result<f64, Wrong> {
    match number(value)? {
        good if good > 0.0 => Ok(good),
        bad => wrong(format!("{bad} isn't above zero"), "Write a number above zero."),
    }
}

/// A number that isn't below zero.
pub(super) fn not_negative(value: &DeValue<'_>) -> Result<f64, Wrong> {
    match number(value)? {
        good if good >= 0.0 => Ok(good),
        bad => wrong(format!("{bad} is below zero"), "Write zero or more."),
    }
}

/// A number between the ends of a range, in the key's unit.
pub(super) fn within(range: RangeInclusive<f64>) -> impl FnOnce(&DeValue<'_>) -> Result<f64, Wrong> {
    move |value| match number(value)? {
        good if range.contains(&good) => Ok(good),
        bad => wrong(
            format!("{bad} is out of range"),
            format!("Write a number from {} to {}.", range.start(), range.end()),
        ),
    }
}

/// A whole number between `least` and `most`.
pub(super) fn whole<T>(least: T, most: T) -> impl FnOnce(&DeValue<'_>) -> Result<T, Wrong>
where
    T: TryFrom<i64> + PartialOrd + std::fmt::Display,
{
    move |value| {
        let DeValue::Integer(digits) = value else { return unwanted("a whole number", value) };
        let number =
            i64::from_str_radix(digits.as_str(), digits.radix()).ok().and_then(|n| T::try_from(n).ok());
        match number {
            Some(good) if (&least..=&most).contains(&&good) => Ok(good),
            _ => wrong(
                format!("{digits} is out of range"),
                format!("Write a whole number from {least} to {most}."),
            ),
        }
    }
}

/// Two numbers, the smaller first.
pub(super) fn span(value: &DeValue<'_>) -> Result<Span, Wrong> {
    let (min, max) = pair(value)?;
    Span::new(min, max)
        .map_err(|bad| Wrong { what: bad.to_string(), remedy: "Write [smaller, larger].".to_owned() })
}

/// Two numbers.
pub(super) fn pair(value: &DeValue<'_>) -> Result<(f64, f64), Wrong> {
    let DeValue::Array(list) = value else { return unwanted("two numbers in brackets", value) };
    match list.iter().collect::<Vec<_>>().as_slice() {
        [first, second] => Ok((number(first.get_ref())?, number(second.get_ref())?)),
        other => wrong(format!("two numbers are wanted, here are {}", other.len()), "Write [first, second]."),
    }
}

/// An id.
pub(super) fn id(value: &DeValue<'_>) -> Result<Id, Wrong> {
    Id::new(&text(value)?).map_err(|bad| Wrong {
        what: bad.to_string(),
        remedy: "Write a short lower-case word; what people read goes into name.".to_owned(),
    })
}

/// A duration above zero: "1 h", "30 min", "30 s", "7 days" of 24 hours each.
pub(super) fn duration(value: &DeValue<'_>) -> Result<SignedDuration, Wrong> {
    let duration = duration_or_none(value)?;
    if duration > SignedDuration::ZERO {
        return Ok(duration);
    }
    wrong(format!("'{}' isn't longer than nothing", text(value)?), A_DURATION)
}

/// A duration, "0 s" included.
pub(super) fn duration_or_none(value: &DeValue<'_>) -> Result<SignedDuration, Wrong> {
    let DeValue::String(text) = value else {
        return Err(Wrong {
            what: format!("a duration is wanted, this is {}", kind_of(value)),
            remedy: A_DURATION.to_owned(),
        });
    };
    let parsed = text
        .parse::<CalendarSpan>()
        .ok()
        .and_then(|span| span.to_duration(SpanRelativeTo::days_are_24_hours()).ok());
    match parsed {
        Some(duration) => Ok(duration),
        None => wrong(format!("'{text}' isn't a duration"), A_DURATION),
    }
}

/// A day of the calendar, in quotes or bare.
pub(super) fn date(value: &DeValue<'_>) -> Result<Date, Wrong> {
    let text = match (value.as_str(), value.as_datetime()) {
        (Some(text), _) => text.to_owned(),
        (_, Some(bare)) => bare.to_string(),
        _ => return unwanted("a date", value),
    };
    match text.parse::<Date>() {
        Ok(date) if text.len() == "2027-04-12".len() => Ok(date),
        _ => wrong(format!("'{text}' isn't a date"), "Write year, month and day, for instance 2027-04-12."),
    }
}

/// A local time of day, in quotes or bare.
pub(super) fn time_of_day(value: &DeValue<'_>) -> Result<Time, Wrong> {
    let text = match (value.as_str(), value.as_datetime()) {
        (Some(text), _) => text.to_owned(),
        (_, Some(bare)) => bare.to_string(),
        _ => return unwanted("a time of day in quotes", value),
    };
    let shape = text.bytes().all(|b| b.is_ascii_digit() || b == b':') && text.contains(':');
    match text.parse::<Time>() {
        Ok(time) if shape => Ok(time),
        _ => {
            wrong(format!("'{text}' isn't a time of day"), "Write hours and minutes, for instance \"17:00\".")
        }
    }
}

/// An IANA time zone.
pub(super) fn time_zone(value: &DeValue<'_>) -> Result<TimeZone, Wrong> {
    let name = text(value)?;
    TimeZone::get(&name).map_err(|_unknown| {
        let names: Vec<String> = jiff::tz::db().available().map(|known| known.to_string()).collect();
        let hint = did_you_mean(&name, names.iter().map(String::as_str));
        let by_city = names
            .iter()
            .find(|known| known.rsplit('/').next().is_some_and(|city| city.eq_ignore_ascii_case(&name)));
        let hint = by_city.map_or(hint, |known| format!("Did you mean '{known}'? "));
        Wrong {
            what: format!("there is no time zone '{name}'"),
            remedy: format!("{hint}Write its IANA name, region and city, for instance \"Europe/Helsinki\"."),
        }
    })
}

/// A unit.
pub(super) fn unit(value: &DeValue<'_>) -> Result<Unit, Wrong> {
    let name = text(value)?;
    Unit::parse(&name).map_err(|unknown| {
        let hint = did_you_mean(&name, Unit::spellings().map(|(spelling, _)| spelling));
        Wrong {
            what: unknown.to_string(),
            remedy: format!("{hint}Units are written as in the example site file."),
        }
    })
}

/// A unit of that dimension.
pub(super) fn unit_of(dimension: Dimension) -> impl Fn(&DeValue<'_>) -> Result<Unit, Wrong> {
    move |value| match unit(value)? {
        good if good.dimension() == dimension => Ok(good),
        other => wrong(
            format!("'{other}' isn't a unit of this kind"),
            format!("Write one of {}.", units_of(&[dimension])),
        ),
    }
}

/// An amount with its unit, above zero, in the base unit of the dimension: "50 lb", "20 g".
pub(super) fn amount(dimension: Dimension) -> impl Fn(&DeValue<'_>) -> Result<f64, Wrong> {
    move |value| {
        let remedy = || format!("Write a number and one of {} in quotes.", units_of(&[dimension]));
        let DeValue::String(text) = value else {
            return wrong(format!("an amount with its unit is wanted, this is {}", kind_of(value)), remedy());
        };
        let amount = Amount::parse(text).and_then(|amount| amount.in_base(dimension, None));
        match amount {
            Ok(base) if base > 0.0 => Ok(base),
            Ok(_) => wrong(format!("'{text}' isn't above zero"), remedy()),
            Err(bad) => wrong(bad.to_string(), remedy()),
        }
    }
}

/// The symbols of all units of these dimensions.
pub(super) fn units_of(dimensions: &[Dimension]) -> String {
    let mut symbols: Vec<&str> = Unit::spellings()
        .filter(|(_, unit)| dimensions.contains(&unit.dimension()))
        .map(|(_, unit)| unit.symbol())
        .collect();
    symbols.dedup();
    symbols.join(", ")
}

/// A file or folder; relative ones are meant from the site file's folder.
pub(super) fn path(value: &DeValue<'_>) -> Result<PathBuf, Wrong> {
    text(value).map(PathBuf::from)
}

/// One of a few words.
pub(super) fn one_of<T: Copy>(
    words: &'static [(&'static str, T)],
) -> impl Fn(&DeValue<'_>) -> Result<T, Wrong> {
    move |value| {
        let word = text(value)?;
        let known = || words.iter().map(|(known, _)| *known);
        words.iter().find(|(known, _)| *known == word).map(|(_, meaning)| *meaning).ok_or_else(|| {
            let hint =
                closest(&word, known()).map_or_else(String::new, |found| format!("Did you mean '{found}'? "));
            Wrong {
                what: format!("'{word}' isn't known here"),
                remedy: format!("{hint}Write one of {}.", known().collect::<Vec<_>>().join(", ")),
            }
        })
    }
}

pub(super) fn wrong<T>(what: impl Into<String>, remedy: impl Into<String>) -> Result<T, Wrong> {
    Err(Wrong { what: what.into(), remedy: remedy.into() })
}

fn unwanted<T>(wanted: &str, found: &DeValue<'_>) -> Result<T, Wrong> {
    wrong(format!("{wanted} is wanted, this is {}", kind_of(found)), format!("Write {wanted}."))
}

const A_DURATION: &str =
    "Write a number with its unit in quotes, for instance \"30 s\", \"15 min\", \"1 h\".";
