//! Who is silent together, on a clock of minutes.

use super::*;
use claymark_invented::{id, minute};
use claymark_model::quality::thresholds::Thresholds;
use claymark_model::site::{Place, Quantity, Sensor};

/// (id, place, speaks every so many minutes); silent for three of those it has a gap.
fn sensors(all: &[(&str, Place, i64)]) -> Sensors {
    let sensor = |(name, place, every): &(&str, Place, i64)| {
        let sensor = claymark_invented::sensor(name, place.clone(), Quantity::Temperature);
        let thresholds = Thresholds { gap: SignedDuration::from_mins(3 * every), ..sensor.thresholds };
        Sensor { every: SignedDuration::from_mins(*every), thresholds, ..sensor }
    };
    Sensors::new(&all.iter().map(sensor).collect::<Vec<_>>())
}

fn names(silent: &[SilentSensor]) -> Vec<&str> {
    silent.iter().map(|silent| silent.sensor.as_str()).collect()
}

#[test]
fn what_fell_silent_together_is_one_message_that_names_what_they_share() {
    let tank = || Place::Tank(id("t1"));
    let site = [("a", tank(), 1), ("b", tank(), 1), ("c", Place::Head, 1), ("d", Place::Room, 1)];
    for (falls_silent, common) in [
        (vec!["a"], Common::One),
        (vec!["a", "b"], Common::At(tank())),
        (vec!["a", "c"], Common::Together),
        (vec!["a", "b", "c", "d"], Common::Everything),
    ] {
        let mut all = sensors(&site);
        for now in 0..=30 {
            for (name, _, _) in &site {
                if now <= 10 || !falls_silent.contains(name) {
                    all.heard(&id(name), minute(now), true);
                }
            }
            let found = Silence::default().silent(&all, minute(now), minute(0));
            // A gap of three minutes, but nobody is called for less than ten.
            assert_eq!(found.is_some(), now >= 20, "{falls_silent:?} at {now}");
            if let Some((silent, found)) = found {
                assert_eq!((names(&silent), &found), (falls_silent.clone(), &common));
            }
        }
    }
}

#[test]
fn a_slow_sensor_joins_the_outage_that_was_told_without_a_message_of_its_own() {
    let mut all = sensors(&[("a", Place::Head, 1), ("b", Place::Head, 1), ("slow", Place::Room, 20)]);
    let mut silence = Silence::default();
    for (name, last) in [("a", 100), ("b", 100), ("slow", 90)] {
        all.heard(&id(name), minute(last), true);
    }
    let (silent, common) = silence.silent(&all, minute(110), minute(0)).unwrap();
    assert_eq!((names(&silent), &common), (vec!["a", "b"], &Common::Everything));
    silence.told((minute(110), "silent:a"), &silent, (common, false));
    silence.join_outages(&all, minute(150), minute(0));
    assert_eq!(silence.silent(&all, minute(150), minute(0)), None);
    // When the network is back, the slow one is missed by name.
    for now in 151..=170 {
        all.heard(&id("a"), minute(now), true);
        all.heard(&id("b"), minute(now), true);
    }
    assert_eq!(silence.holds(&all, "silent:a", minute(170)), Holds::No);
    let (heard, still_silent) = silence.back(&all, "silent:a", minute(170));
    assert_eq!((heard, names(&still_silent)), (vec![id("a"), id("b")], vec!["slow"]));
}

#[test]
fn a_late_burst_of_old_readings_does_not_end_a_silence() {
    let mut all = sensors(&[("a", Place::Head, 1), ("b", Place::Head, 1)]);
    all.heard(&id("b"), minute(60), true);
    all.heard(&id("a"), minute(60), true);
    all.heard(&id("a"), minute(40), true);
    assert_eq!(all.last(&id("a")), Some(minute(60)));
    all.heard(&id("b"), minute(80), true);
    let (silent, _) = Silence::default().silent(&all, minute(80), minute(0)).unwrap();
    assert_eq!(names(&silent), ["a"]);
}
