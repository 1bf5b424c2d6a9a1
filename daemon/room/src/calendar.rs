//! The people's day: from the evening check until the next visit nobody is there.
//!
//! Staff times are civil times in the site's zone. Where a clock change makes one of them doubtful, the
//! longer night is taken: a check that falls into the fold is sent the first time round, a visit that does
//! comes the second time; a time that the gap swallows happens an hour later by the clock.

use jiff::civil::Date;
use jiff::tz::TimeZone;
use jiff::{Span, Timestamp};

use claymark_model::site::Staff;

/// Who is there.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Shift {
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

/// Who is there at `now`.
pub(crate) fn shift(staff: &Staff, zone: &TimeZone, now: Timestamp) -> Shift {
    dates_about(zone, now)
        .filter_map(|date| Some((evening(staff, zone, date)?, visit_after(staff, zone, date)?)))
        .find(|(evening, visit)| (*evening..*visit).contains(&now))
        .map_or(Shift::Present, |(evening, visit)| Shift::Away { evening, visit })
}

/// The first evening check after `now`.
pub(crate) fn next_evening(staff: &Staff, zone: &TimeZone, now: Timestamp) -> Option<Timestamp> {
    dates_about(zone, now)
        .filter_map(|date| evening(staff, zone, date))
        .filter(|evening| *evening > now)
        .min()
}

/// The visit that ends the night of the evening check at `evening`.
pub(crate) fn visit_of(staff: &Staff, zone: &TimeZone, evening: Timestamp) -> Option<Timestamp> {
    match shift(staff, zone, evening) {
        Shift::Away { visit, .. } => Some(visit),
        Shift::Present => None,
    }
}

/// The last visit before `now` that ended a night.
pub(crate) fn last_visit(staff: &Staff, zone: &TimeZone, now: Timestamp) -> Option<Timestamp> {
    let dates = dates_about(zone, now).filter_map(|date| visit_after(staff, zone, date));
    dates.filter(|visit| *visit <= now).max()
}

/// Two days back to two days on, as the people's calendar has it.
fn dates_about(zone: &TimeZone, now: Timestamp) -> impl Iterator<Item = Date> {
    let today = zone.to_datetime(now).date();
    (-2..=2).filter_map(move |days| today.checked_add(Span::new().days(days)).ok())
}

fn evening(staff: &Staff, zone: &TimeZone, date: Date) -> Option<Timestamp> {
    zone.to_ambiguous_timestamp(date.to_datetime(staff.evening_check)).compatible().ok()
}

fn visit_after(staff: &Staff, zone: &TimeZone, date: Date) -> Option<Timestamp> {
    let same_day = staff.next_visit > staff.evening_check;
    let date = if same_day { date } else { date.tomorrow().ok()? };
    zone.to_ambiguous_timestamp(date.to_datetime(staff.next_visit)).later().ok()
}

#[cfg(test)]
pub(crate) mod tests {
    use jiff::SignedDuration;
    use jiff::civil::Time;

    use super::*;
    use claymark_model::id::Id;

    pub(crate) fn id(text: &str) -> Id {
        Id::new(text).unwrap()
    }

    pub(crate) fn minute(minute: i64) -> Timestamp {
        Timestamp::from_second(1_800_000_000 + minute * 60).unwrap()
    }

    pub(crate) fn staff(evening_check: &str, next_visit: &str) -> Staff {
        let minutes = SignedDuration::from_mins;
        Staff {
            evening_check: evening_check.parse::<Time>().unwrap(),
            next_visit: next_visit.parse::<Time>().unwrap(),
            margin: minutes(60),
            mixing: minutes(15),
            travel: minutes(30),
            response: minutes(15),
        }
    }

    fn at(text: &str) -> Timestamp {
        text.parse().unwrap()
    }

    #[test]
    fn the_night_is_an_hour_shorter_in_spring_and_longer_in_autumn() {
        // Europe/Helsinki changes on 28 March and 31 October 2027 (EU rule: last Sunday, 01:00 UTC).
        let helsinki = TimeZone::get("Europe/Helsinki").unwrap();
        let staff = staff("17:00", "07:30");
        for (inside, evening, visit, hours) in [
            ("2027-03-26T22:00:00Z", "2027-03-26T15:00:00Z", "2027-03-27T05:30:00Z", 14.5),
            ("2027-03-27T22:00:00Z", "2027-03-27T15:00:00Z", "2027-03-28T04:30:00Z", 13.5),
            ("2027-10-30T22:00:00Z", "2027-10-30T14:00:00Z", "2027-10-31T05:30:00Z", 15.5),
        ] {
            let night = Shift::Away { evening: at(evening), visit: at(visit) };
            assert_eq!(shift(&staff, &helsinki, at(inside)), night);
            assert_eq!(shift(&staff, &helsinki, at(evening)), night, "the check itself belongs to the night");
            assert_eq!(shift(&staff, &helsinki, at(visit)), Shift::Present, "the visit ends it");
            assert!((at(visit).duration_since(at(evening)).as_secs_f64() / 3600.0 - hours).abs() < 1e-9);
            assert_eq!(visit_of(&staff, &helsinki, at(evening)), Some(at(visit)));
        }
        assert_eq!(
            next_evening(&staff, &helsinki, at("2027-03-27T15:00:00Z")),
            Some(at("2027-03-28T14:00:00Z"))
        );
    }

    #[test]
    fn a_doubtful_clock_time_makes_the_night_longer() {
        let helsinki = TimeZone::get("Europe/Helsinki").unwrap();
        // 03:30 happens twice on 31 October (00:30 and 01:30 UTC) and never on 28 March.
        let visit_in_fold = shift(&staff("22:00", "03:30"), &helsinki, at("2027-10-31T01:00:00Z"));
        assert_eq!(
            visit_in_fold,
            Shift::Away { evening: at("2027-10-30T19:00:00Z"), visit: at("2027-10-31T01:30:00Z") }
        );
        let check_in_fold = next_evening(&staff("03:30", "09:00"), &helsinki, at("2027-10-30T22:00:00Z"));
        assert_eq!(check_in_fold, Some(at("2027-10-31T00:30:00Z")));
        let visit_in_gap = shift(&staff("22:00", "03:30"), &helsinki, at("2027-03-28T01:00:00Z"));
        assert_eq!(
            visit_in_gap,
            Shift::Away { evening: at("2027-03-27T20:00:00Z"), visit: at("2027-03-28T01:30:00Z") }
        );
    }

    #[test]
    fn a_night_may_begin_after_midnight() {
        let utc = TimeZone::UTC;
        let staff = staff("01:00", "07:00");
        assert_eq!(
            shift(&staff, &utc, at("2027-04-20T03:00:00Z")),
            Shift::Away { evening: at("2027-04-20T01:00:00Z"), visit: at("2027-04-20T07:00:00Z") }
        );
        assert_eq!(shift(&staff, &utc, at("2027-04-20T12:00:00Z")), Shift::Present);
    }
}
