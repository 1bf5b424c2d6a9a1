//! The sentences of the weekly report.
//!
//! In the order of its pages: [`glance`], [`ahead`], [`drums`], [`skill`], [`water`], [`demand`], [`record`]. Each takes plain facts and gives a
//! sentence; an instant is told in the site's time zone. [`cut`] tells of a scale that doesn't reach to all figures,
//! [`unmade`] of parts that couldn't be made.

pub mod ahead;
pub mod cut;
pub mod demand;
pub mod drums;
pub mod glance;
pub mod record;
pub mod skill;
pub mod unmade;
pub mod water;

use jiff::civil::Date;
use jiff::tz::TimeZone;
use jiff::{SignedDuration, Timestamp};

use crate::format::duration;

/// How something stands: always told by a word and a shape as well, never by colour alone.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Mark {
    /// As it should be.
    Good,
    /// Worth a look.
    Look,
    /// Not as it should be.
    Bad,
    /// Not known.
    Unknown,
}

impl Mark {
    /// Its shape: round, three corners, four corners, hatched.
    #[must_use]
    pub fn shape(self) -> &'static str {
        match self {
            Self::Good => "●",
            Self::Look => "▲",
            Self::Bad => "■",
            Self::Unknown => "▨",
        }
    }

    /// Its name in the page's style sheet.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Good => "good",
            Self::Look => "look",
            Self::Bad => "bad",
            Self::Unknown => "unknown",
        }
    }
}

/// "Thu 03:10".
#[must_use]
pub fn moment(at: Timestamp, zone: &TimeZone) -> String {
    at.to_zoned_datetime(zone.clone()).strftime("%a %H:%M").to_string()
}

/// "Thu 19 Nov 03:10".
#[must_use]
pub fn dated_moment(at: Timestamp, zone: &TimeZone) -> String {
    at.to_zoned_datetime(zone.clone()).strftime("%a %-d %b %H:%M").to_string()
}

/// "Mon 16".
#[must_use]
pub fn day(date: Date) -> String {
    date.strftime("%a %-d").to_string()
}

/// Seconds as a duration.
#[must_use]
pub fn seconds(s: f64) -> String {
    duration(SignedDuration::try_from_secs_f64(s.max(0.0)).unwrap_or(SignedDuration::MAX))
}

/// A share for people: whole percent, but neither 0 nor 100 unless it is exactly that.
#[must_use]
pub fn percent(share: f64) -> String {
    if share <= 0.0 {
        "0 %".to_owned()
    } else if share <= 0.5 {
        "under 1 %".to_owned()
    } else if (99.5..100.0).contains(&share) {
        "over 99 %".to_owned()
    } else {
        format!("{share:.0} %")
    }
}

/// "1 refill", "3 refills".
#[must_use]
pub fn counted(number: usize, one: &str, many: &str) -> String {
    match number {
        0 => format!("no {many}"),
        1 => format!("1 {one}"),
        number => format!("{number} {many}"),
    }
}

/// "Tank 3", "Tank 3 and Tank 7", "Tank 3, Tank 7, Tank 9 and 4 more".
#[must_use]
pub fn names(all: &[&str]) -> String {
    match all {
        [] => "none".to_owned(),
        [one] => (*one).to_owned(),
        [first @ .., last] if all.len() <= NAMED => format!("{} and {last}", first.join(", ")),
        _ => {
            let named: Vec<&str> = all.iter().take(NAMED - 1).copied().collect();
            format!("{} and {} more", named.join(", "), all.len() - named.len())
        }
    }
}

/// More names than this are counted, not told.
const NAMED: usize = 4;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_share_is_never_rounded_to_nothing_or_all() {
        for (share, says) in [
            (0.0, "0 %"),
            (0.01, "under 1 %"),
            (0.5, "under 1 %"),
            (97.4, "97 %"),
            (99.6, "over 99 %"),
            (100.0, "100 %"),
        ] {
            assert_eq!(percent(share), says);
        }
    }

    #[test]
    fn many_names_are_counted() {
        assert_eq!(names(&["A", "B"]), "A and B");
        assert_eq!(names(&["A", "B", "C", "D"]), "A, B, C and D");
        assert_eq!(names(&["A", "B", "C", "D", "E"]), "A, B, C and 2 more");
    }
}
