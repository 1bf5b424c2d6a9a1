//! `--at`: when something was done, as people type it.

use jiff::civil::{DateTime, Time};
use jiff::tz::TimeZone;
use jiff::{Timestamp, ToSpan as _};

use super::Failure;

/// RFC 3339, a local date and time, or a local time of day: then its latest one that is past.
pub(super) fn moment(typed: &str, now: Timestamp, zone: &TimeZone) -> Result<Timestamp, Failure> {
    let read = typed.parse::<Timestamp>().ok().or_else(|| local(typed, now, zone));
    match read {
        Some(at) if at <= now => Ok(at),
        Some(_) => Err(Failure::Wrong {
            what: format!("'{typed}' lies ahead."),
            remedy: "Write when it was done, not when it will be done.".to_owned(),
        }),
        None => Err(Failure::Wrong {
            what: format!("'{typed}' isn't a time."),
            remedy: "Write a time of day (14:30), a local date and time (2027-04-20 14:30), or RFC 3339."
                .to_owned(),
        }),
    }
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
    use super::moment;

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
    }
}
