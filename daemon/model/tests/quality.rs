//! Laws of the quality tests: streaming equals the definitions read literally, a flag once given stays,
//! late readings are judged at their own time, a restart changes nothing.

#![expect(
    clippy::unwrap_used,
    clippy::indexing_slicing,
    reason = "the lints excuse test functions, but not what these call"
)]

use claymark_invented as invented;
use claymark_model::id::Id;
use claymark_model::quality::thresholds::{
    FlatLine, GrossRange, Levels, Span, Spike, SpikeMethod, Thresholds,
};
use claymark_model::quality::{Assessor, Flag};
use claymark_model::reading::{Assessed, Reading, TestFlags};
use claymark_model::site::{Place, Quantity, Sensor};
use jiff::{SignedDuration, Timestamp};
use proptest::prelude::*;

/// Readings with steps of 1 to 30 s (gaps are longer than 20 s) and values on a coarse grid, so that ties,
/// flat lines, spikes and range limits all occur.
fn readings() -> impl Strategy<Value = Vec<Reading>> {
    prop::collection::vec((500_i64..30_000, -3_i32..60), 1..80).prop_map(|steps| {
        let mut at = Timestamp::from_second(1_780_000_000).unwrap();
        steps
            .into_iter()
            .map(|(millis, quarter)| {
                at += SignedDuration::from_millis(millis);
                let value = match quarter {
                    ..15 => 12.5,
                    15..35 => 12.0 + f64::from(quarter % 4) / 4.0,
                    _ => f64::from(quarter) / 4.0,
                };
                Reading::new(Id::new("s").unwrap(), at, value)
            })
            .collect()
    })
}

fn sensor(method: SpikeMethod) -> Sensor {
    let seconds = SignedDuration::from_secs;
    let thresholds = Thresholds {
        gap: seconds(20),
        gross_range: Some(
            GrossRange::new(Span::new(0.0, 14.5).unwrap(), Some(Span::new(8.0, 14.0).unwrap())).unwrap(),
        ),
        spike: Some(Spike { method, levels: Levels::new(1.0, Some(3.0)).unwrap() }),
        rate_per_s: Some(Levels::new(0.25, Some(1.0)).unwrap()),
        flat_line: Some(FlatLine::new(0.5, seconds(30), Some(seconds(60)), seconds(10)).unwrap()),
    };
    Sensor { every: seconds(10), thresholds, ..invented::sensor("s", Place::Head, Quantity::Temperature) }
}

/// What is given out in the end, in order of time; checks on the way that nothing but the newest changes.
fn stream(assessor: &mut Assessor, readings: &[Reading]) -> Vec<Assessed> {
    let mut given: Vec<Assessed> = Vec::new();
    for reading in readings {
        let mut out = assessor.assess(reading.clone(), reading.at).into_iter();
        let new = out.next().unwrap();
        assert_eq!(new.reading, *reading);
        if let Some(settled) = out.next() {
            let old = given.last_mut().unwrap();
            assert_eq!(old.tests.spike, Flag::NotEvaluated, "only a waiting spike flag is rewritten");
            let as_before = TestFlags { spike: Flag::NotEvaluated, next_to_spike: false, ..settled.tests };
            assert_eq!(as_before, old.tests);
            assert_eq!((&settled.reading, settled.received_at), (&old.reading, old.received_at));
            *old = settled;
        }
        assert_eq!(out.next(), None);
        given.push(new);
    }
    given
}

/// The definitions, read literally over a whole series.
fn by_definition(readings: &[Reading], method: SpikeMethod) -> Vec<[Flag; 5]> {
    let seconds = |from: usize, to: usize| (readings[to].at.duration_since(readings[from].at)).as_secs_f64();
    let value = |i: usize| readings[i].value;
    let near = |i: usize| i > 0 && i < readings.len() && seconds(i - 1, i) <= 20.0;
    let level = |amount: f64, suspect: f64, fail: f64| match amount {
        _ if amount > fail => Flag::Fail,
        _ if amount > suspect => Flag::Suspect,
        _ => Flag::Pass,
    };
    let gross = |i: usize| match value(i) {
        x if !(0.0..=14.5).contains(&x) => Flag::Fail,
        x if !(8.0..=14.0).contains(&x) => Flag::Suspect,
        _ => Flag::Pass,
    };
    let spike = |i: usize| {
        if !(near(i) && near(i + 1)) {
            return Flag::NotEvaluated;
        }
        let (before, after) = (value(i) - value(i - 1), value(i + 1) - value(i));
        let deviation = match method {
            SpikeMethod::Average => ((before - after) / 2.0).abs(),
            SpikeMethod::Differential if before.signum() == after.signum() => 0.0,
            SpikeMethod::Differential => before.abs().min(after.abs()),
        };
        level(deviation, 1.0, 3.0)
    };
    let rate = |i: usize| {
        if near(i) {
            level((value(i) - value(i - 1)).abs() / seconds(i - 1, i), 0.25, 1.0)
        } else {
            Flag::NotEvaluated
        }
    };
    let flat = |i: usize| {
        let start = (0..=i).rev().take_while(|j| *j == i || near(j + 1)).last().unwrap();
        let range = |from: usize| {
            let window = &readings[from..=i];
            let low = window.iter().map(|r| r.value).fold(f64::INFINITY, f64::min);
            window.iter().map(|r| r.value).fold(f64::NEG_INFINITY, f64::max) - low
        };
        let flat_for = |limit: f64| (start..=i).any(|j| range(j) <= 0.5 && seconds(j, i) >= limit);
        match i {
            _ if flat_for(60.0) => Flag::Fail,
            _ if flat_for(30.0) => Flag::Suspect,
            _ => Flag::Pass,
        }
    };
    (0..readings.len())
        .map(|i| {
            let gap = match i {
                0 => Flag::NotEvaluated,
                _ if near(i) => Flag::Pass,
                _ => Flag::Fail,
            };
            [gap, gross(i), spike(i), rate(i), flat(i)]
        })
        .collect()
}

fn flags(assessed: &Assessed) -> [Flag; 5] {
    let TestFlags { gap, gross_range, spike, rate, flat_line, .. } = assessed.tests;
    [gap, gross_range, spike, rate, flat_line]
}

fn method() -> impl Strategy<Value = SpikeMethod> {
    prop_oneof![Just(SpikeMethod::Average), Just(SpikeMethod::Differential)]
}

proptest! {
    #[test]
    fn streaming_gives_what_the_definitions_give_over_the_whole_series(readings in readings(), method in method()) {
        let given = stream(&mut Assessor::new(&sensor(method)), &readings);
        let given: Vec<_> = given.iter().map(flags).collect();
        prop_assert_eq!(given, by_definition(&readings, method));
    }

    #[test]
    fn flags_of_a_prefix_stay_when_readings_follow_except_the_newest(readings in readings(), cut in 0_usize..80) {
        let cut = cut.min(readings.len());
        let whole = stream(&mut Assessor::new(&sensor(SpikeMethod::Average)), &readings);
        let prefix = stream(&mut Assessor::new(&sensor(SpikeMethod::Average)), &readings[..cut]);
        let settled = cut.saturating_sub(1);
        prop_assert_eq!(&whole[..settled], &prefix[..settled]);
        if let (Some(newest), true) = (prefix.last(), cut < readings.len()) {
            let now = &whole[settled];
            prop_assert_eq!(newest.tests.spike, Flag::NotEvaluated);
            prop_assert_eq!(TestFlags { spike: Flag::NotEvaluated, next_to_spike: false, ..now.tests }, newest.tests);
        }
    }

    #[test]
    fn a_restart_that_recalls_the_past_changes_no_flag(readings in readings(), cut in 0_usize..80) {
        let cut = cut.min(readings.len());
        let whole = stream(&mut Assessor::new(&sensor(SpikeMethod::Average)), &readings);
        let past = stream(&mut Assessor::new(&sensor(SpikeMethod::Average)), &readings[..cut]);
        let mut restarted = Assessor::new(&sensor(SpikeMethod::Average));
        past.iter().for_each(|assessed| restarted.recall(assessed));
        let mut given = past;
        for reading in &readings[cut..] {
            let mut out = restarted.assess(reading.clone(), reading.at).into_iter();
            let new = out.next().unwrap();
            if let Some(settled) = out.next() {
                *given.last_mut().unwrap() = settled;
            }
            given.push(new);
        }
        prop_assert_eq!(given, whole);
    }

    #[test]
    fn whatever_the_order_of_arrival_each_reading_is_judged_at_its_own_time(
        readings in readings(),
        delays in prop::collection::vec(0_usize..12, 80),
        method in method(),
    ) {
        let readings = &readings[..readings.len().min(40)];
        let mut order: Vec<usize> = (0..readings.len()).collect();
        order.sort_by_key(|i| i + delays[*i]);
        let mut assessor = Assessor::new(&sensor(method));
        let mut given: Vec<Option<Assessed>> = vec![None; readings.len()];
        for i in order {
            let mut out = assessor.assess(readings[i].clone(), readings[i].at).into_iter();
            given[i] = out.next();
            // By definition over what has arrived by now.
            let arrived: Vec<usize> = (0..readings.len()).filter(|i| given[*i].is_some()).collect();
            let expected =
                by_definition(&arrived.iter().map(|i| readings[*i].clone()).collect::<Vec<_>>(), method);
            let expected_of = |i: usize| expected[arrived.iter().position(|j| *j == i).unwrap()];
            prop_assert_eq!(flags(given[i].as_ref().unwrap()), expected_of(i));
            for settled in out {
                let j = readings.iter().position(|reading| *reading == settled.reading).unwrap();
                let old = given[j].replace(settled.clone()).unwrap();
                prop_assert_eq!(old.tests.spike, Flag::NotEvaluated);
                prop_assert_eq!(settled.tests.spike, expected_of(j)[2]);
                let as_before = TestFlags { spike: Flag::NotEvaluated, next_to_spike: false, ..settled.tests };
                prop_assert_eq!(as_before, old.tests);
            }
        }
    }
}

#[test]
fn a_copy_keeps_its_flags_and_another_value_for_the_same_time_is_told() {
    let mut assessor = Assessor::new(&sensor(SpikeMethod::Average));
    let at = |second: i64| Timestamp::from_second(1_780_000_000 + second).unwrap();
    let reading = |second: i64, value: f64| Reading::new(Id::new("s").unwrap(), at(second), value);
    let series: Vec<Reading> =
        [(0, 12.0), (10, 12.5), (20, 13.5), (30, 12.5), (40, 12.0)].map(|(s, v)| reading(s, v)).to_vec();
    let given = stream(&mut assessor, &series);
    for (known, again) in given.iter().zip(&series) {
        let copy = assessor.assess(again.clone(), at(100));
        assert_eq!(copy.len(), 1);
        assert_eq!((copy[0].tests, copy[0].flag), (known.tests, known.flag));
    }
    let other = assessor.assess(reading(20, 9.0), at(100));
    assert!(other[0].tests.time_order);
    assert_eq!((other[0].tests.rate, other[0].flag), (Flag::NotEvaluated, Flag::Suspect));
    let copy = assessor.assess(series[2].clone(), at(100));
    assert_eq!(copy[0].tests, given[2].tests, "the first value stays");
    assert_eq!(assessor.assess(reading(50, 12.0), at(100)).len(), 2, "the newest still waited");
}

#[test]
fn the_newest_reading_stays_2_until_the_next_arrives() {
    let mut assessor = Assessor::new(&sensor(SpikeMethod::Average));
    let at = |second: i64| Timestamp::from_second(1_780_000_000 + second).unwrap();
    let mut give = |second: i64, value: f64| {
        let reading = Reading::new(Id::new("s").unwrap(), at(second), value);
        assessor.assess(reading, at(second)).iter().map(|a| (a.tests.spike, a.flag)).collect::<Vec<_>>()
    };
    use Flag::{Fail, NotEvaluated, Pass, Suspect};
    assert_eq!(give(0, 12.0), [(NotEvaluated, NotEvaluated)]);
    assert_eq!(give(10, 12.0), [(NotEvaluated, NotEvaluated)], "the first one has nothing before it");
    assert_eq!(give(20, 12.0), [(NotEvaluated, NotEvaluated), (Pass, Pass)]);
    assert_eq!(give(30, 13.75), [(NotEvaluated, NotEvaluated), (Pass, Pass)]);
    assert_eq!(give(40, 12.0), [(NotEvaluated, NotEvaluated), (Suspect, Suspect)]);
    assert_eq!(give(100, 12.0), [(NotEvaluated, Suspect)], "a gap: the one before it stays 2");
    assert_eq!(give(110, 15.0), [(NotEvaluated, Fail)], "beyond the sensor's range");
}

#[test]
fn a_burst_that_was_held_back_for_hours_is_judged_as_if_it_had_come_in_time() {
    let start = Timestamp::from_second(1_780_000_000).unwrap();
    let reading = |i: i32| {
        let value = match i {
            300 => 3.0,
            400..500 => 11.0,
            _ => 12.0 + f64::from(i % 7) / 8.0,
        };
        let at = start + SignedDuration::from_secs(10) * i;
        Reading::new(Id::new("s").unwrap(), at, value)
    };
    let all: Vec<Reading> = (0..1_000).map(reading).collect();
    let in_time = stream(&mut Assessor::new(&sensor(SpikeMethod::Average)), &all);
    // The network was away for readings 200 to 799; live readings came first.
    let mut assessor = Assessor::new(&sensor(SpikeMethod::Average));
    stream(&mut assessor, &all[..200]);
    all[800..].iter().for_each(|live| drop(assessor.assess(live.clone(), live.at)));
    let mut given: Vec<Assessed> = Vec::new();
    for late in &all[200..800] {
        let mut out = assessor.assess(late.clone(), late.at).into_iter();
        let new = out.next().unwrap();
        if let Some(settled) = out.next() {
            *given.last_mut().unwrap() = settled;
        }
        given.push(new);
    }
    assert_eq!(given, in_time[200..800]);
}

#[test]
fn a_flat_line_that_was_kept_under_the_name_of_before_is_read() {
    let seconds = SignedDuration::from_secs;
    let now = FlatLine::new(0.5, seconds(30), Some(seconds(60)), seconds(10)).unwrap();
    let kept = serde_json::to_string(&now).unwrap().replace("\"eps\"", "\"tolerance\"");
    assert!(kept.contains("tolerance"), "{kept}");
    assert_eq!(serde_json::from_str::<FlatLine>(&kept).unwrap(), now);
}
