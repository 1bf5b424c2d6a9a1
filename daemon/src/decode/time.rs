//! Times that payloads carry: strict RFC 3339, and which of people's are believed.

use jiff::{Timestamp, Unit};

use claymark_model::device_clock::{BEARABLE, ImpossibleTime, OLDEST};
use claymark_model::quarantine::Reason;

use super::Problem;

/// Reads a date-time of RFC 3339, section 5.6, with upper-case `T` and `Z`, and nothing else.
///
/// The time library takes more than that: missing seconds, a space for the `T`, a zone name in brackets.
pub(crate) fn strict(text: &str) -> Result<Timestamp, Problem> {
    let wrong = || {
        let shown: String = text.chars().take(40).collect();
        Problem::new(
            Reason::BadTime,
            format!("'{shown}' isn't a time as RFC 3339 writes it, such as 2027-04-20T14:03:11.250Z"),
        )
    };
    if !is_rfc_3339(text) {
        return Err(wrong());
    }
    text.parse().map_err(|_out_of_range| wrong())
}

/// When people say that they did something, unless that can't be: up to a minute ahead is kept, for clocks differ.
pub(crate) fn believed(at: Timestamp, received_at: Timestamp) -> Result<Timestamp, Problem> {
    let ahead = at.duration_since(received_at);
    if ahead > BEARABLE {
        return Err(impossible(at, ImpossibleTime::Future(ahead)));
    }
    if at.as_second() < OLDEST {
        return Err(impossible(at, ImpossibleTime::Unset));
    }
    Ok(in_milliseconds(at))
}

/// Times are kept in whole milliseconds, here as in the store. Whether a device's clock can be right is judged by all
/// that it said of late.
pub(crate) fn in_milliseconds(at: Timestamp) -> Timestamp {
    at.round(Unit::Millisecond).unwrap_or(at)
}

/// What is wrong with a time.
pub(crate) fn impossible(at: Timestamp, why: ImpossibleTime) -> Problem {
    match why {
        ImpossibleTime::Future(ahead) => {
            let detail = format!(
                "{at} is {} s after its arrival, at most {} s are taken",
                ahead.as_secs(),
                BEARABLE.as_secs()
            );
            Problem::new(Reason::FutureTime, detail)
        }
        ImpossibleTime::Unset => Problem::new(
            Reason::BadTime,
            format!("{at} is before the year 2000: the sensor's clock isn't set"),
        ),
    }
}

fn is_rfc_3339(text: &str) -> bool {
    let Some((date_and_time, rest)) = text.split_at_checked(PATTERN.len()) else {
        return false;
    };
    let fits =
        |(found, wanted): (u8, u8)| if wanted == b'0' { found.is_ascii_digit() } else { found == wanted };
    let zone = match rest.strip_prefix('.') {
        None => rest,
        Some(fraction) => {
            let zone = fraction.trim_start_matches(|c: char| c.is_ascii_digit());
            if zone.len() == fraction.len() {
                return false;
            }
            zone
        }
    };
    let offset = zone
        .strip_prefix(['+', '-'])
        .is_some_and(|hours| hours.len() == OFFSET.len() && hours.bytes().zip(OFFSET.bytes()).all(fits));
    date_and_time.bytes().zip(PATTERN.bytes()).all(fits) && (zone == "Z" || offset)
}

const PATTERN: &str = "0000-00-00T00:00:00";
const OFFSET: &str = "00:00";

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_what_rfc_3339_writes_is_a_time() {
        // The first four are the examples of RFC 3339, section 5.8.
        for (text, utc) in [
            ("1985-04-12T23:20:50.52Z", "1985-04-12T23:20:50.52Z"),
            ("1996-12-19T16:39:57-08:00", "1996-12-20T00:39:57Z"),
            ("1990-12-31T15:59:59-08:00", "1990-12-31T23:59:59Z"),
            ("1937-01-01T12:00:27.87+00:20", "1937-01-01T11:40:27.87Z"),
            ("2027-04-20T14:03:11.250Z", "2027-04-20T14:03:11.25Z"),
            ("2027-04-20T14:03:11-00:00", "2027-04-20T14:03:11Z"),
        ] {
            assert_eq!(strict(text).unwrap().to_string(), utc);
        }
        for text in [
            "2027-04-20T14:03Z",
            "2027-04-20 14:03:11Z",
            "2027-04-20t14:03:11z",
            "2027-04-20T14:03:11",
            "2027-04-20T14:03:11.Z",
            "2027-04-20T14:03:11+0300",
            "2027-04-20T14:03:11+03",
            "2027-04-20T14:03:11Z[Europe/Helsinki]",
            "2027-04-20T14:03:11+03:00[UTC]",
            "2027-02-29T14:03:11Z",
            "2027-04-20T25:03:11Z",
            "+002027-04-20T14:03:11Z",
            "2027-04-20T14:03:11,5Z",
            "20270420T140311Z",
            "1777777777",
            "",
            "2027-04-20T14:03:1é",
        ] {
            assert_eq!(strict(text).unwrap_err().reason, Reason::BadTime, "{text}");
        }
    }

    #[test]
    fn a_minute_ahead_is_believed_and_a_second_more_is_not() {
        let now: Timestamp = "2027-04-20T14:00:00Z".parse().unwrap();
        let at = |text: &str| believed(text.parse().unwrap(), now).map_err(|problem| problem.reason);
        assert!(at("2027-04-20T14:01:00Z").is_ok());
        assert_eq!(at("2027-04-20T14:01:01Z"), Err(Reason::FutureTime));
        assert!(at("2027-01-01T00:00:00Z").is_ok());
        assert_eq!(at("1978-07-04T21:24:16Z"), Err(Reason::BadTime));
    }
}
