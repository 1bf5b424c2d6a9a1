//! The people's day: from the evening check until the next visit nobody is there.
//!
//! Staff times are civil times in the site's zone. Where a clock change makes one of them doubtful, the
//! longer night is taken: a check that falls into the fold is sent the first time round, a visit that does
//! comes the second time; a time that the gap swallows happens an hour later by the clock.

use jiff::civil::{Date, Time};
use jiff::tz::TimeZone;
use jiff::{Span, Timestamp};

use crate::calls::WeeklyTime;
use crate::roster::{Contact, Role, VisitDay, WeekDay};
use crate::site::{Site, Staff};

/// Who is there.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shift {
    /// People are about.
    Present,
    /// Nobody is there.
    Away {
        /// The evening check of that night.
        evening: Timestamp,
        /// When people come back.
        visit: Timestamp,
    },
}

impl Staff {
    /// When people come on a date; a date of its own goes before its day of the week.
    #[must_use]
    pub fn visit_on(&self, date: Date) -> Option<Time> {
        let on = |day: VisitDay| self.other_visits.iter().find(|other| other.on == day);
        let other = on(VisitDay::Date(date)).or_else(|| on(VisitDay::Each(WeekDay::of(date))));
        other.map_or(Some(self.next_visit), |other| other.at)
    }
}

impl Site {
    /// Who is there at `now`.
    #[must_use]
    pub fn shift(&self, now: Timestamp) -> Shift {
        shift(&self.staff, &self.time_zone, now)
    }

    /// Who may be called at `now`, first person first, managers last; nobody: it is outside all hours.
    #[must_use]
    pub fn on_call(&self, now: Timestamp) -> Vec<&Contact> {
        let (on_the_wall, away) = (self.time_zone.to_datetime(now), self.shift(now) != Shift::Present);
        let mut on: Vec<&Contact> =
            self.contacts.iter().filter(|contact| contact.is_on(on_the_wall, away)).collect();
        on.sort_by_key(|contact| contact.role == Role::Manager);
        on
    }

    /// The first evening check after `now`.
    #[must_use]
    pub fn next_evening_check(&self, now: Timestamp) -> Option<Timestamp> {
        evenings(&self.staff, &self.time_zone, now).filter(|evening| *evening > now).min()
    }

    /// The first time after `from` at which the clock on the wall shows `time`.
    #[must_use]
    pub fn next_time(&self, from: Timestamp, time: Time) -> Option<Timestamp> {
        let at = |date: Date| self.time_zone.to_ambiguous_timestamp(date.to_datetime(time)).compatible().ok();
        dates_about(&self.time_zone, from).filter_map(at).filter(|at| *at > from).min()
    }

    /// The first time after `from` that is of that day of the week and that time on the wall.
    #[must_use]
    pub fn next_weekly(&self, from: Timestamp, weekly: WeeklyTime) -> Option<Timestamp> {
        let on_day = |at: &Timestamp| WeekDay::of(self.time_zone.to_datetime(*at).date()) == weekly.day;
        let times =
            std::iter::successors(self.next_time(from, weekly.at), |at| self.next_time(*at, weekly.at));
        times.take(DAYS_OF_A_WEEK).find(on_day)
    }

    /// The visit that ends the night of the evening check at `evening`.
    #[must_use]
    pub fn visit_after(&self, evening: Timestamp) -> Option<Timestamp> {
        visits(&self.staff, &self.time_zone, evening).filter(|visit| *visit > evening).min()
    }

    /// The last visit before `now` that ended a night.
    #[must_use]
    pub fn last_visit(&self, now: Timestamp) -> Option<Timestamp> {
        visits(&self.staff, &self.time_zone, now).filter(|visit| *visit <= now).max()
    }
}

fn shift(staff: &Staff, zone: &TimeZone, now: Timestamp) -> Shift {
    let night = || {
        let evening = evenings(staff, zone, now).filter(|evening| *evening <= now).max()?;
        let visit = visits(staff, zone, now).filter(|visit| *visit > evening).min()?;
        (visit > now).then_some(Shift::Away { evening, visit })
    };
    night().unwrap_or(Shift::Present)
}

/// A week back to a week on, as the people's calendar has it: on some days nobody comes.
fn dates_about(zone: &TimeZone, now: Timestamp) -> impl Iterator<Item = Date> {
    let today = zone.to_datetime(now).date();
    (-DAYS_ABOUT..=DAYS_ABOUT).filter_map(move |days| today.checked_add(Span::new().days(days)).ok())
}

fn evenings(staff: &Staff, zone: &TimeZone, now: Timestamp) -> impl Iterator<Item = Timestamp> {
    dates_about(zone, now).filter_map(|date| {
        zone.to_ambiguous_timestamp(date.to_datetime(staff.evening_check)).compatible().ok()
    })
}

fn visits(staff: &Staff, zone: &TimeZone, now: Timestamp) -> impl Iterator<Item = Timestamp> {
    dates_about(zone, now)
        .filter_map(|date| zone.to_ambiguous_timestamp(date.to_datetime(staff.visit_on(date)?)).later().ok())
}

const DAYS_OF_A_WEEK: usize = 8;
/// A site file lets fewer days than this pass without a visit.
const DAYS_ABOUT: i64 = 8;

#[cfg(test)]
mod tests;
