//! The figures of a week's CSV against pandas on the same store, asked live: the demo's week, a week in which the clocks
//! change, and a week 53, each with silence, late readings and readings that failed.

#![expect(
    clippy::unwrap_used,
    clippy::indexing_slicing,
    reason = "the lints excuse test functions, but not what these call"
)]

use std::collections::BTreeMap;
use std::path::Path;
use std::process::Command;

use claymark_model::quality::Flag;
use claymark_model::reading::{Assessed, Reading, TestFlags};
use claymark_model::site::{Quantity, Sensor, Site};
use claymark_store::batch::CommitBatch;
use claymark_store::limits::Limits;
use claymark_store::{Reader, Writer};
use claymark_tests::binary::program;
use claymark_tests::oracle;
use jiff::civil::{Date, ISOWeekDate, Weekday};
use jiff::tz::TimeZone;
use jiff::{SignedDuration, Timestamp, ToSpan as _};
use rand::rngs::StdRng;
use rand::{RngExt as _, SeedableRng as _};
use serde_json::{Value, json};

#[test]
fn the_demos_week_is_that_of_pandas() {
    let dir = tempfile::tempdir().unwrap();
    let made =
        Command::new(program("claymark")).args(["demo", "--once", "--out"]).arg(dir.path()).output().unwrap();
    assert!(made.status.success(), "{}", String::from_utf8_lossy(&made.stderr));
    let store = dir.path().join("claymark.db");
    let site = Reader::open(&store).unwrap().site().unwrap();
    compare(&store, &site, "2027-W16", dir.path());
}

#[test]
fn a_week_in_which_the_clocks_change_and_a_week_53_are_those_of_pandas() {
    let dir = tempfile::tempdir().unwrap();
    let mut site = claymark_invented::two_tanks();
    for (week, zone, hours) in [
        ("2025-W44", "America/Chicago", 169.0),
        ("2026-W13", "Europe/Helsinki", 167.0),
        ("2020-W53", "Australia/Lord_Howe", 168.0),
    ] {
        site.time_zone = TimeZone::get(zone).unwrap();
        let store = dir.path().join(format!("{week}.db"));
        fill(&store, &site, week);
        let made = Command::new(program("claymark-report"))
            .args(["week", "--week", week, "--store"])
            .arg(&store)
            .arg("--out")
            .arg(dir.path())
            .output()
            .unwrap();
        assert!(made.status.success(), "{}", String::from_utf8_lossy(&made.stderr));
        let answer = compare(&store, &site, week, dir.path());
        let all: f64 = answer["hours"].as_array().unwrap().iter().map(|day| day.as_f64().unwrap()).sum();
        assert!((all - hours).abs() < 1e-9, "{week} in {zone}: {all} h");
    }
}

/// The sensors whose water the CSV tells.
fn of_water(site: &Site) -> impl Iterator<Item = &Sensor> {
    let told = [Quantity::Turbidity, Quantity::Temperature, Quantity::Oxygen];
    let noon = Timestamp::UNIX_EPOCH;
    site.sensors.iter().filter(move |sensor| {
        told.contains(&sensor.quantity) && Limits::of(site, sensor, noon) != Limits::default()
    })
}

fn monday(week: &str) -> Date {
    let (year, number) = week.split_once("-W").unwrap();
    ISOWeekDate::new(year.parse().unwrap(), number.parse().unwrap(), Weekday::Monday).unwrap().date()
}

/// Readings from the day before the week to the day after it: about the limits, some of them failed, with silences, some shorter
/// than the gap that is allowed.
fn fill(store: &Path, site: &Site, week: &str) {
    let midnight = |days: i32| {
        (monday(week) + days.days()).to_zoned_datetime(site.time_zone.clone()).unwrap().timestamp()
    };
    let mut rng = StdRng::seed_from_u64(20_270_424);
    let mut writer = Writer::open(store, site).unwrap();
    for sensor in of_water(site) {
        let limits = Limits::of(site, sensor, midnight(0));
        let low = limits.low.unwrap();
        let middle = limits.high.map_or(low + 1.0, |high| f64::midpoint(low, high));
        let mut readings = Vec::new();
        let (mut at, mut off) = (midnight(-1) + SignedDuration::from_secs(7), 0.0);
        while at < midnight(8) {
            off = 0.98 * off + rng.random_range(-0.25..0.25) * (middle - low);
            let dice: f64 = rng.random_range(0.0..1.0);
            let flag = match dice {
                _ if dice < 0.02 => Flag::Fail,
                _ if dice < 0.05 => Flag::Suspect,
                _ => Flag::Pass,
            };
            readings.push(Assessed {
                reading: Reading::new(sensor.id.clone(), at, middle + off),
                received_at: at + SignedDuration::from_secs(rng.random_range(0..900)),
                tests: TestFlags { gross_range: flag, ..TestFlags::NOT_EVALUATED },
                flag,
            });
            let silence = match rng.random_range(0..1000) {
                0..3 => sensor.thresholds.gap * rng.random_range(2..40),
                3..20 => sensor.thresholds.gap,
                _ => sensor.every,
            };
            at += silence;
        }
        writer.commit(&CommitBatch { readings, ..CommitBatch::default() }).unwrap();
    }
}

/// Every figure of the CSV's sensors; the oracle's answer.
fn compare(store: &Path, site: &Site, week: &str, folder: &Path) -> Value {
    let dates: Vec<Date> = (0..7).map(|n| monday(week) + n.days()).collect();
    let noon =
        |date: Date| date.at(12, 0, 0, 0).to_zoned_datetime(site.time_zone.clone()).unwrap().timestamp();
    let asked = of_water(site).map(|sensor| {
        let limits = dates.iter().map(|date| {
            let Limits { low, high } = Limits::of(site, sensor, noon(*date));
            json!([low, high])
        });
        let gap = sensor.thresholds.gap.max(sensor.every);
        json!({"id": sensor.id, "every_s": sensor.every.as_secs_f64(), "gap_s": gap.as_secs_f64(),
               "limits": limits.collect::<Vec<_>>()})
    });
    let question = json!({"store": store, "zone": site.time_zone.iana_name(), "week": week,
                          "sensors": asked.collect::<Vec<_>>()});
    let answer = oracle::ask("week.py", &question);

    let mut compared = 0;
    for row in csv::Reader::from_path(folder.join(format!("week-{week}.csv")))
        .unwrap()
        .into_deserialize::<BTreeMap<String, String>>()
    {
        let row = row.unwrap();
        let theirs = &answer["days"][&row["date"]][&row["sensor"]];
        if theirs.is_null() || row["quantity"] == "oxygen_saturation" {
            continue;
        }
        let (mean, share) = PRINTED;
        let what = format!("{week}, {} of {}", row["sensor"], row["date"]);
        for (column, name, by) in [
            ("mean", "mean", mean),
            ("in_limits_percent", "inside", share),
            ("below_limits_percent", "below", share),
            ("above_limits_percent", "above", share),
            ("doubtful_percent", "doubtful", share),
            ("no_data_percent", "missing", share),
        ] {
            let (ours, theirs) = (row[column].parse::<f64>().ok(), theirs[name].as_f64());
            let (Some(ours), Some(theirs)) = (ours, theirs) else {
                assert_eq!(ours, theirs, "{what}: {column}");
                continue;
            };
            assert!((ours - theirs).abs() <= by, "{what}: {column} {ours}, by pandas {theirs}");
            compared += 1;
        }
    }
    assert!(compared >= 7 * 6 * of_water(site).count() - 7, "{compared} figures of {week}");
    answer
}

/// As far as the figures are printed: of the mean, and of a share in percent of a day.
const PRINTED: (f64, f64) = (0.001, 0.011);
