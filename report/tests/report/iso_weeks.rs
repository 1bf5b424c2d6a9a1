//! ISO weeks and the changes of clocks against Python's isocalendar and zoneinfo, asked live.

use claymark_report::week::Week;
use jiff::Timestamp;
use jiff::tz::TimeZone;
use serde_json::{Value, json};

// The report's tests may not link the daemon, and `claymark-tests` does.
#[path = "../../../tests/src/oracle.rs"]
mod oracle;

/// Clocks that change at night, at midnight, by half an hour, in ways of their own, and not at all.
const ZONES: [&str; 7] = [
    "America/Chicago",
    "Europe/Helsinki",
    "Australia/Lord_Howe",
    "America/Sao_Paulo",
    "Asia/Beirut",
    "Africa/Casablanca",
    "UTC",
];
/// With 53 weeks: 2015, 2020, 2026.
const YEARS: std::ops::RangeInclusive<i16> = 2014..=2026;

#[test]
fn weeks_begin_and_end_where_isocalendar_and_zoneinfo_say() {
    // A prime number of seconds apart, so that all hours of the day and of the week come up.
    let nows: Vec<i64> = (0..4000).map(|n| 1_388_600_000 + n * 98_897).collect();
    let question = json!({"zones": ZONES, "first": YEARS.start(), "last": YEARS.end(), "nows": nows});
    let answer = oracle::ask("weeks.py", &question);
    let (mut lengths, mut with_53) = (std::collections::BTreeSet::new(), 0);
    for name in ZONES {
        let zone = TimeZone::get(name).unwrap();
        for theirs in answer[name]["weeks"].as_array().unwrap() {
            let (text, second) = (theirs[0].as_str().unwrap(), |value: &Value| value.as_f64().unwrap());
            let week = Week::parse(text, &zone).unwrap();
            let ours = (week.to_string(), seconds(week.start()), seconds(week.end()));
            assert_eq!(ours, (text.to_owned(), second(&theirs[1]), second(&theirs[2])), "{text} in {name}");
            let midnights: Vec<f64> = week.days().iter().skip(1).map(|day| seconds(day.start)).collect();
            assert_eq!(json!(midnights), theirs[3], "{text} in {name}");
            lengths.insert(week.length().as_secs());
            with_53 += usize::from(text.ends_with("W53"));
        }
        for (now, before) in nows.iter().zip(answer[name]["before"].as_array().unwrap()) {
            let ours = Week::last_full(Timestamp::from_second(*now).unwrap(), &zone).unwrap();
            assert_eq!(ours.to_string(), before.as_str().unwrap(), "{now} in {name}");
        }
    }
    let listed = |year: i16| {
        let weeks = answer["UTC"]["weeks"].as_array().unwrap();
        weeks.iter().any(|week| week[0] == format!("{year}-W53"))
    };
    for year in YEARS {
        assert_eq!(Week::parse(&format!("{year}-W53"), &TimeZone::UTC).is_ok(), listed(year), "{year}");
    }
    println!("lengths of weeks, s: {lengths:?}");
    assert!(with_53 == 3 * ZONES.len() && lengths.len() >= 5, "{with_53} {lengths:?}");
}

#[expect(clippy::cast_precision_loss, clippy::as_conversions, reason = "seconds of this century")]
fn seconds(time: Timestamp) -> f64 {
    time.as_second() as f64
}
