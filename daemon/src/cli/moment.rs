//! Times as people type them: `--at`, when something was done, and `--until`, when something will be.

use claymark_model::forecast::HORIZON;
use jiff::civil::{DateTime, Time};
use jiff::tz::TimeZone;
use jiff::{Timestamp, ToSpan as _};

use super::CommandFailure;
use crate::ahead::NotAhead;

/// When something was done: RFC 3339, a local date and time, or a local time of day: then its latest one that is past.
pub(super) fn moment(typed: &str, now: Timestamp, zone: &TimeZone) -> Result<Timestamp, CommandFailure> {
    past(typed, now, zone, || "Write when it was done, not when it will be done.".to_owned())
}

/// To when to look back, typed likewise; `now` is as far as anything is known.
pub(super) fn back_to(typed: &str, now: Timestamp, zone: &TimeZone) -> Result<Timestamp, CommandFailure> {
    past(typed, now, zone, || {
        let known = now.to_zoned_datetime(zone.clone()).strftime("%Y-%m-%d %H:%M");
        format!("Nothing is known after {known}: write that time or an earlier one.")
    })
}

fn past(
    typed: &str,
    now: Timestamp,
    zone: &TimeZone,
    ahead: impl FnOnce() -> String,
) -> Result<Timestamp, CommandFailure> {
    let read = typed.parse::<Timestamp>().ok().or_else(|| local(typed, now, zone));
    match read {
        Some(at) if at <= now => Ok(at),
        Some(_) => Err(CommandFailure::Wrong { what: format!("'{typed}' lies ahead."), remedy: ahead() }),
        None => Err(CommandFailure::Wrong {
            what: format!("'{typed}' isn't a time."),
            remedy: "Write a time of day (14:30), a local date and time (2027-04-20 14:30), or RFC 3339."
                .to_owned(),
        }),
    }
}

/// RFC 3339, a local date and time, a local time of day: then its next one, or "tomorrow 07:00".
pub(super) fn ahead(typed: &str, now: Timestamp, zone: &TimeZone) -> Result<Timestamp, CommandFailure> {
    let remedy = "Write a time of day (07:00), \"tomorrow 07:00\", a local date and time (2027-04-21 07:00), or RFC 3339.";
    crate::ahead::ahead(typed, now, zone).map_err(|why| match why {
        NotAhead::TooFar => CommandFailure::Wrong {
            what: format!(
                "'{typed}' is more than {} h away; forecasts don't reach so far.",
                HORIZON.as_hours()
            ),
            remedy: "Ask again when it is nearer.".to_owned(),
        },
        NotAhead::Past => {
            CommandFailure::Wrong { what: format!("'{typed}' is past."), remedy: remedy.to_owned() }
        }
        NotAhead::NoTime => {
            CommandFailure::Wrong { what: format!("'{typed}' isn't a time."), remedy: remedy.to_owned() }
        }
    })
}

fn local(typed: &str, now: Timestamp, zone: &TimeZone) -> Option<Timestamp> {
    // A whole date and time would also be read as a time, its date thrown away.
    if let (false, Ok(time)) = (typed.contains('-'), typed.parse::<Time>()) {
        let today = now.to_zoned_datetime(zone.clone()).date();
        let days = [today, today.checked_sub(1.day()).ok()?];
        return days
            .into_iter()
            .filter_map(|day| Some(day.to_datetime(time).to_zoned_datetime(zone.clone()).ok()?.timestamp()))
            .find(|at| *at <= now);
    }
    let civil: DateTime = typed.parse().ok()?;
    Some(civil.to_zoned_datetime(zone.clone()).ok()?.timestamp())
}

#[cfg(test)]
mod tests {
    use super::{ahead, back_to, moment};

    #[test]
    fn a_time_of_day_is_the_latest_one_that_is_past() {
        let zone = jiff::tz::TimeZone::get("Europe/Helsinki").unwrap();
        // 12:10 in Helsinki, summer time.
        let now = "2027-04-20T09:10:00Z".parse().unwrap();
        for (typed, meant) in [
            ("12:05", "2027-04-20T09:05:00Z"),
            ("12:10", "2027-04-20T09:10:00Z"),
            ("14:30", "2027-04-19T11:30:00Z"),
            ("2027-04-18 07:00", "2027-04-18T04:00:00Z"),
            ("2027-04-18T07:00", "2027-04-18T04:00:00Z"),
            ("2027-04-18T07:00:00+01:00", "2027-04-18T06:00:00Z"),
        ] {
            assert_eq!(moment(typed, now, &zone).ok(), meant.parse().ok(), "{typed}");
        }
        for typed in ["2027-04-20 12:11", "2027-04-21T00:00:00Z", "noon", "25:00", ""] {
            assert!(moment(typed, now, &zone).is_err(), "{typed}");
        }
        let said = |refusal: super::CommandFailure| refusal.text(false);
        let later = "2027-04-20 12:11";
        assert!(said(moment(later, now, &zone).unwrap_err()).contains("when it was done"));
        let back = said(back_to(later, now, &zone).unwrap_err());
        assert!(
            back.contains("Nothing is known after 2027-04-20 12:10: write that time or an earlier one."),
            "{back}"
        );
    }

    #[test]
    fn a_time_ahead_is_the_next_one_or_tomorrow_s() {
        let zone = jiff::tz::TimeZone::get("Europe/Helsinki").unwrap();
        // 17:10 in Helsinki, summer time.
        let now = "2027-04-20T14:10:00Z".parse().unwrap();
        for (typed, meant) in [
            ("tomorrow 07:00", "2027-04-21T04:00:00Z"),
            ("tomorrow 18:00", "2027-04-21T15:00:00Z"),
            ("07:00", "2027-04-21T04:00:00Z"),
            ("17:10", "2027-04-21T14:10:00Z"),
            ("18:30", "2027-04-20T15:30:00Z"),
            ("2027-04-22 07:00", "2027-04-22T04:00:00Z"),
            ("2027-04-21T07:00:00+01:00", "2027-04-21T06:00:00Z"),
        ] {
            assert_eq!(ahead(typed, now, &zone).ok(), meant.parse().ok(), "{typed}");
        }
        for typed in ["2027-04-20 17:09", "2027-04-23 17:11", "tomorrow", "soon", ""] {
            assert!(ahead(typed, now, &zone).is_err(), "{typed}");
        }
    }
}
