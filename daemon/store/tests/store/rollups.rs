//! Hourly figures are what the raw readings give, whatever happened on the way.

use std::collections::{BTreeMap, HashMap};

use proptest::prelude::*;

use claymark_model::quality::Flag;
use claymark_model::reading::Assessed;
use claymark_store::Writer;
use claymark_store::limits::Limits;
use claymark_store::reader::Rollup;
use jiff::{SignedDuration, Timestamp};

use crate::fixture::{StoreFolder, at, reading, readings};

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, ..ProptestConfig::default() })]

    #[test]
    fn rollups_equal_the_raw_readings_under_duplicates_late_arrivals_and_rewrites(
        steps in proptest::collection::vec(step(), 1..120),
        batch in 1_usize..9,
        restart in 1_usize..5,
    ) {
        let barn = StoreFolder::new();
        let mut writer = barn.writer();
        for (n, chunk) in steps.chunks(batch).enumerate() {
            if n % restart == restart - 1 {
                drop(writer);
                writer = barn.writer();
            }
            writer.commit(&readings(chunk.to_vec())).unwrap();
        }
        compare(&barn);
    }
}

#[test]
fn a_commit_that_fails_leaves_the_rollups_exact() {
    let barn = StoreFolder::new();
    let mut writer = barn.writer();
    let minute = |n: i64, value| reading("t1-ntu", n * 60_000, value, Flag::Pass);
    writer.commit(&readings(vec![minute(0, 60.0)])).unwrap();
    fail_next_commit(&barn, &mut writer, minute(1, 900.0));
    writer.commit(&readings(vec![minute(2, 62.0)])).unwrap();
    compare(&barn);
}

#[test]
fn limits_are_those_of_the_site_when_the_hour_began_to_fill() {
    let barn = StoreFolder::new();
    let mut writer = barn.writer();
    let hour = |n: i64, value| reading("t1-ntu", n * 3_600_000, value, Flag::Pass);
    let minute = |n: i64, value| reading("t1-ntu", n * 60_000, value, Flag::Pass);
    writer.commit(&readings(vec![minute(0, 45.0), minute(1, 80.0), minute(2, 81.0)])).unwrap();
    let mut site = barn.site.clone();
    site.water.turbidity = claymark_model::quality::thresholds::Span::new(40.0, 70.0).unwrap();
    writer.set_site(&site).unwrap();
    writer.commit(&readings(vec![minute(3, 75.0), hour(1, 45.0), hour(2, 75.0)])).unwrap();
    let found: Vec<_> = barn
        .reader()
        .rollups(at(0), at(3 * 3_600_000))
        .unwrap()
        .iter()
        .map(|hour| (hour.limits.low, hour.limits.high, hour.below, hour.above, hour.usable()))
        .collect();
    assert_eq!(
        found,
        [
            (Some(50.0), Some(80.0), 1, 1, 4),
            (Some(40.0), Some(70.0), 0, 0, 1),
            (Some(40.0), Some(70.0), 0, 1, 1)
        ]
    );
}

#[test]
fn limits_are_those_of_the_fish_day_and_change_at_midnight_on_the_wall() {
    let mut barn = StoreFolder::new();
    // The fixture begins at 17:00 in Helsinki: fish day 1 begins seven hours later.
    barn.site.batches = serde_json::from_value(serde_json::json!([{
        "id": "spring", "name": "Spring", "stocked": "2027-04-20", "dph_at_stocking": 3, "day_at_stocking": 0,
        "ended": null, "tanks": ["t1"],
        "plan": { "ramp": "linear", "rows": [
            { "day": 0, "turbidity": { "min": 50.0, "max": 80.0 } },
            { "day": 2, "turbidity": { "min": 40.0, "max": 60.0 } },
        ] },
    }]))
    .unwrap();
    let mut writer = barn.writer();
    let hour = |n: i64| reading("t1-ntu", n * 3_600_000, 71.0, Flag::Pass);
    writer.commit(&readings(vec![hour(5), hour(6), hour(7), hour(8)])).unwrap();
    let found: Vec<_> = barn
        .reader()
        .rollups(at(0), at(9 * 3_600_000))
        .unwrap()
        .iter()
        .map(|hour| (hour.limits.low, hour.limits.high, hour.above))
        .collect();
    let (day_0, day_1) = ((Some(50.0), Some(80.0), 0), (Some(45.0), Some(70.0), 1));
    assert_eq!(found, [day_0, day_0, day_1, day_1]);
}

/// Few times and values, so that duplicates, conflicts and rewrites are common; three hours, two sensors.
fn step() -> impl Strategy<Value = Assessed> {
    let flag = prop_oneof![
        3 => Just(Flag::NotEvaluated),
        2 => Just(Flag::Pass),
        1 => Just(Flag::Suspect),
        2 => Just(Flag::Fail),
        1 => Just(Flag::Missing),
    ];
    (0_i64..30, prop_oneof![Just("t1-ntu"), Just("t1-oxygen")], flag).prop_map(|(n, sensor, flag)| {
        // One value a time in most cases: the rest is put aside as conflicts.
        let value = f64::from(i32::try_from(n * 37 % 101).unwrap()) + 0.1;
        reading(sensor, n * 400_000, value, flag)
    })
}

fn fail_next_commit(barn: &StoreFolder, writer: &mut Writer, row: Assessed) {
    let other = rusqlite::Connection::open(barn.path()).unwrap();
    other
        .execute_batch("CREATE TRIGGER refuse BEFORE INSERT ON session BEGIN SELECT RAISE(ABORT, 'no'); END")
        .unwrap();
    let mut batch = readings(vec![row]);
    batch.session_seen = Some(at(0));
    writer.commit(&batch).unwrap_err();
    other.execute_batch("DROP TRIGGER refuse").unwrap();
}

fn compare(barn: &StoreFolder) {
    let reader = barn.reader();
    let site = &barn.site;
    let mut raw: BTreeMap<_, Vec<Assessed>> = BTreeMap::new();
    let mut limits = HashMap::new();
    for sensor in reader.sensors().unwrap() {
        limits.insert(sensor.key, Limits::of(site, site.sensor(&sensor.id).unwrap(), at(0)));
        for row in reader.readings(&[sensor.key], Timestamp::UNIX_EPOCH, Timestamp::MAX) {
            let row = row.unwrap();
            let hour = row.reading.at.as_second().div_euclid(3_600);
            raw.entry((hour, sensor.key)).or_default().push(row);
        }
    }
    let kept = reader.rollups(Timestamp::UNIX_EPOCH, Timestamp::MAX).unwrap();
    let expected: Vec<Rollup> = raw
        .into_iter()
        .map(|((hour, sensor), rows)| {
            let usable: Vec<f64> =
                rows.iter().filter(|row| row.flag.usable()).map(|row| row.reading.value).collect();
            let count = |flag| rows.iter().filter(|row| row.flag == flag).count() as u64;
            let limits = limits[&sensor];
            Rollup {
                sensor,
                hour: Timestamp::from_second(hour * 3_600).unwrap(),
                passed: count(Flag::Pass),
                not_evaluated: count(Flag::NotEvaluated),
                suspect: count(Flag::Suspect),
                failed: count(Flag::Fail),
                missing: count(Flag::Missing),
                least: usable.iter().copied().reduce(f64::min),
                most: usable.iter().copied().reduce(f64::max),
                total: usable.iter().sum(),
                limits,
                below: usable.iter().filter(|value| limits.below(**value)).count() as u64,
                above: usable.iter().filter(|value| limits.above(**value)).count() as u64,
                longest_lag: rows
                    .iter()
                    .map(|row| row.received_at.duration_since(row.reading.at))
                    .max()
                    .unwrap_or(SignedDuration::ZERO),
            }
        })
        .collect();
    assert_eq!(kept.len(), expected.len());
    for (kept, expected) in kept.into_iter().zip(expected) {
        // The order of adding differs: the last digits may too.
        assert!((kept.total - expected.total).abs() <= 1e-9 * expected.total.abs(), "{kept:?} {expected:?}");
        assert_eq!(Rollup { total: expected.total, ..kept }, expected);
    }
}
