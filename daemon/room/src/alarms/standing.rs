//! What people were told of and that still stands, for whoever looks.

use super::Alarms;
use super::row::AlarmRow;
use crate::pace::Pace;
use claymark_notice::Priority;
use claymark_notice::alarm::AlarmState;
use claymark_notice::calling::Later;
use claymark_notice::glance::StandingAlarm;

impl Alarms {
    /// All of it, danger first, then what calls people, then the rest; the oldest first among equals.
    pub(crate) fn standing(&self, pace: &Pace<'_>) -> Vec<StandingAlarm> {
        let rows = self.rows.iter();
        let mut standing: Vec<_> = rows.filter_map(|(cause, row)| row.standing(cause, pace)).collect();
        standing.sort_by_key(|alarm| (!alarm.is_danger(), !alarm.calls, alarm.since));
        standing
    }
}

impl AlarmRow {
    fn standing(&self, cause: &str, pace: &Pace<'_>) -> Option<StandingAlarm> {
        if self.alarm.state() == AlarmState::Normal {
            return None;
        }
        let (first, last) = (self.told.first()?, self.told.last()?);
        Some(StandingAlarm {
            cause: cause.to_owned(),
            first: first.number,
            number: last.number,
            notices: self.told.len(),
            since: self.since,
            urgency: self.urgency,
            calls: self.at_night == Priority::Now,
            promise: self.promise.clone(),
            shelf: self.shelf.clone(),
            later: self.next(pace).map(|due| Later { at: due.at, to: due.to }),
        })
    }
}
