//! One ISO 8601 week in the site's time zone.
//!
//! It runs from Monday's local midnight to the next: 167 or 169 hours when the clocks change.

use std::fmt;

use jiff::civil::{Date, ISOWeekDate, Weekday};
use jiff::tz::TimeZone;
use jiff::{SignedDuration, Timestamp, ToSpan};

/// A week with its two ends as instants.
#[derive(Debug, Clone, PartialEq)]
pub struct Week {
    monday: ISOWeekDate,
    days: Vec<Day>,
    start: Timestamp,
    end: Timestamp,
}

/// One local day of the week.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Day {
    /// Its date.
    pub date: Date,
    /// Local midnight.
    pub start: Timestamp,
    /// The next local midnight; 23, 24 or 25 hours later.
    pub end: Timestamp,
}

/// The text names no week.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum BadWeek {
    /// It isn't written like a week.
    #[error("'{0}' is not a week: write the ISO year and week, for example 2026-W47")]
    NotAWeek(String),
    /// That year has no such week.
    #[error("{year} has no week {number}: its last one is {last}")]
    NoSuchWeek {
        /// ISO year.
        year: i16,
        /// As asked.
        number: i8,
        /// The last week of that year: 52 or 53.
        last: i8,
    },
    /// It lies ahead.
    #[error("week {0} hasn't begun yet")]
    NotBegun(String),
    /// The calendar ends there.
    #[error("week {0} lies outside the calendar")]
    OutsideCalendar(String),
}

impl Week {
    /// Reads `2026-W47`.
    pub fn parse(text: &str, zone: &TimeZone) -> Result<Self, BadWeek> {
        let wrong = || BadWeek::NotAWeek(text.to_owned());
        let (year, number) = text.split_once("-W").ok_or_else(wrong)?;
        let digits =
            |part: &str, count: usize| part.len() == count && part.bytes().all(|b| b.is_ascii_digit());
        if !digits(year, 4) || !digits(number, 2) {
            return Err(wrong());
        }
        let year: i16 = year.parse().map_err(|_four_digits| wrong())?;
        let number: i8 = number.parse().map_err(|_two_digits| wrong())?;
        match ISOWeekDate::new(year, number, Weekday::Monday) {
            Ok(monday) => Self::starting(monday, zone),
            Err(_no_such_week) => {
                let last =
                    ISOWeekDate::new(year, 1, Weekday::Monday).map_err(|_year| wrong())?.weeks_in_year();
                Err(BadWeek::NoSuchWeek { year, number, last })
            }
        }
    }

    /// The last week that is over at `now`.
    pub fn last_full(now: Timestamp, zone: &TimeZone) -> Result<Self, BadWeek> {
        let today = now.to_zoned_datetime(zone.clone()).date();
        let outside = |_calendar_ends| BadWeek::OutsideCalendar(today.to_string());
        let monday = today.iso_week_date().first_of_week().map_err(outside)?;
        let before = monday.date().checked_sub(7.days()).map_err(outside)?;
        Self::starting(before.iso_week_date(), zone)
    }

    fn starting(monday: ISOWeekDate, zone: &TimeZone) -> Result<Self, BadWeek> {
        let outside = |_calendar_ends| BadWeek::OutsideCalendar(name(monday));
        let midnight = |date: Date| date.to_zoned_datetime(zone.clone()).map(|zoned| zoned.timestamp());
        let mut days = Vec::with_capacity(7);
        let mut date = monday.date();
        let start = midnight(date).map_err(outside)?;
        let mut from = start;
        for _ in 0..7 {
            let tomorrow = date.tomorrow().map_err(outside)?;
            let to = midnight(tomorrow).map_err(outside)?;
            days.push(Day { date, start: from, end: to });
            (date, from) = (tomorrow, to);
        }
        Ok(Self { monday, days, start, end: from })
    }

    /// Monday's local midnight.
    #[must_use]
    pub fn start(&self) -> Timestamp {
        self.start
    }

    /// The next Monday's local midnight.
    #[must_use]
    pub fn end(&self) -> Timestamp {
        self.end
    }

    /// How long it lasts: 167, 168 or 169 hours where clocks change by one.
    #[must_use]
    pub fn length(&self) -> SignedDuration {
        self.end.duration_since(self.start)
    }

    /// Monday to Sunday.
    #[must_use]
    pub fn days(&self) -> &[Day] {
        &self.days
    }

    /// The number of the week in its ISO year.
    #[must_use]
    pub fn number(&self) -> i8 {
        self.monday.week()
    }

    /// The ISO year, which may differ from the calendar year of some days.
    #[must_use]
    pub fn year(&self) -> i16 {
        self.monday.year()
    }

    /// Whether `at` lies in the week; its end doesn't.
    #[must_use]
    pub fn contains(&self, at: Timestamp) -> bool {
        (self.start..self.end).contains(&at)
    }
}

impl fmt::Display for Week {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&name(self.monday))
    }
}

fn name(monday: ISOWeekDate) -> String {
    format!("{:04}-W{:02}", monday.year(), monday.week())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn zone(name: &str) -> TimeZone {
        TimeZone::get(name).unwrap()
    }

    #[test]
    fn a_local_week_is_as_long_as_the_clocks_make_it() {
        // IANA time zone database; lengths agree with Python's zoneinfo.
        for (week, place, hours) in [
            ("2026-W10", "America/Chicago", 167.0),
            ("2026-W44", "America/Chicago", 169.0),
            ("2026-W47", "America/Chicago", 168.0),
            ("2026-W13", "Europe/Helsinki", 167.0),
            ("2026-W43", "Europe/Helsinki", 169.0),
            ("2026-W14", "Australia/Lord_Howe", 168.5),
            ("2026-W40", "Australia/Lord_Howe", 167.5),
        ] {
            let length = Week::parse(week, &zone(place)).unwrap().length();
            assert!((length.as_secs_f64() / 3600.0 - hours).abs() < 1e-9, "{week} in {place}: {length}");
        }
    }

    #[test]
    fn the_last_full_week_is_named_by_its_iso_year() {
        // ISO 8601 week dates: 2027-01-03 is 2026-W53-7, 2027-01-04 is 2027-W01-1, 2025-12-29 is 2026-W01-1.
        for (now, expected) in [
            ("2027-01-03T23:59:59Z", "2026-W52"),
            ("2027-01-04T00:00:00Z", "2026-W53"),
            ("2027-01-11T00:00:00Z", "2027-W01"),
            ("2026-01-05T00:00:00Z", "2026-W01"),
            ("2025-12-29T00:00:00Z", "2025-W52"),
        ] {
            let week = Week::last_full(now.parse().unwrap(), &TimeZone::UTC).unwrap();
            assert_eq!(week.to_string(), expected, "at {now}");
        }
        let helsinki =
            Week::last_full("2026-11-22T21:59:59Z".parse().unwrap(), &zone("Europe/Helsinki")).unwrap();
        assert_eq!(helsinki.to_string(), "2026-W46", "Sunday isn't over");
        let helsinki =
            Week::last_full("2026-11-22T22:00:00Z".parse().unwrap(), &zone("Europe/Helsinki")).unwrap();
        assert_eq!(helsinki.to_string(), "2026-W47");
    }

    #[test]
    fn what_is_no_week_is_refused_in_words() {
        for (text, says) in [
            ("47", "'47' is not a week: write the ISO year and week, for example 2026-W47"),
            ("2026-w47", "'2026-w47' is not a week: write the ISO year and week, for example 2026-W47"),
            ("2026-W4", "'2026-W4' is not a week: write the ISO year and week, for example 2026-W47"),
            ("2027-W53", "2027 has no week 53: its last one is 52"),
            ("2026-W54", "2026 has no week 54: its last one is 53"),
            ("2026-W00", "2026 has no week 0: its last one is 53"),
        ] {
            assert_eq!(Week::parse(text, &TimeZone::UTC).unwrap_err().to_string(), says);
        }
        assert!(Week::parse("2026-W53", &TimeZone::UTC).is_ok());
    }
}
