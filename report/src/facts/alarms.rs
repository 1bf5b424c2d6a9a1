//! How much people were called, in the week and on each of its days.

use claymark_notice::Notice;
use claymark_notice::figures::AlarmFigures;
use jiff::Timestamp;

use super::HeldRows;
use crate::week::Week;

/// The figures that `claymark alarms` gives, of the same notices.
#[derive(Debug, Clone, PartialEq)]
pub struct WeekAlarms {
    /// Of all that is reported.
    pub week: AlarmFigures,
    /// Of each day, as far as it is past; `None`: it hasn't begun.
    pub days: Vec<Option<AlarmFigures>>,
}

impl WeekAlarms {
    /// From the notices of the week and the day before it.
    #[must_use]
    pub fn of(week: &Week, until: Timestamp, rows: &HeldRows) -> Self {
        let mut notices: Vec<&Notice> = rows.notices.iter().map(|issued| &issued.notice).collect();
        notices.sort_by_key(|notice| (notice.at, notice.number));
        let of = |from, to| AlarmFigures::of(&notices, (from, to));
        let day = |day: &crate::week::Day| (day.start < until).then(|| of(day.start, day.end.min(until)));
        Self { week: of(week.start(), until), days: week.days().iter().map(day).collect() }
    }
}
