//! When the level can't be believed: what a forecast goes by then, and what it says when nothing is left.

use claymark_model::doubt::{Grounds, Missing, NoLevel, WhyDoubted, WhyUnknown};
use claymark_model::fieldlog::Deed;
use claymark_model::forecast::{Basis, Outlook};
use claymark_model::happening::What;
use claymark_model::quality::Flag;
use claymark_model::units::Litres;

use rand::RngExt;

use crate::physics::reading;
use crate::rig::{Rig, id};

fn why(rig: &Rig) -> Grounds<WhyUnknown> {
    match rig.forecast().outlook {
        Outlook::Unknown { why } => why,
        known @ Outlook::Known { .. } => panic!("{known:?}"),
    }
}

#[test]
fn before_the_first_reading_nothing_is_known_and_it_says_so() {
    let mut rig = Rig::new(1, 150.0);
    let blind = |level| Grounds::Known(WhyUnknown::Blind { level, missing: Missing::EarlierLevel });
    assert_eq!(why(&rig), blind(NoLevel::NeverHeard));
    rig.run_silent(0.5);
    assert_eq!(why(&rig), blind(NoLevel::Doubted(WhyDoubted::Silent)));
    assert!(rig.watch.doubt(rig.now()).is_some());
}

#[test]
fn a_dip_and_a_pump_rating_stand_in_for_a_level_that_never_came() {
    let mut rig = Rig::new(1, 150.0);
    rig.run_silent(0.5);
    rig.set_pump(75.0);
    rig.log(Deed::Dip { drum: None, level: None, volume: Some(Litres(150.0)) });
    let (basis, volume, draw, empty) = rig.known();
    assert_eq!(basis, Basis::Pump);
    // 2.1 mL per revolution at 75 rpm.
    assert!((volume - 150.0).abs() < 0.1 && (draw - 9.45).abs() < 0.2, "{volume} {draw}");
    let truth = rig.barrel.hours_left();
    assert!(rig.hours_to(empty.p05) < truth && truth < rig.hours_to(empty.p95), "{truth} h: {empty:?}");
}

#[test]
fn a_refill_is_reckoned_with_while_the_sensor_is_silent() {
    let mut rig = Rig::new(2, 100.0);
    rig.run(3.0);
    rig.run_silent(1.0);
    rig.barrel.volume += 60.0;
    rig.log(Deed::Refill { drum: Some(id("a")), water: Some(Litres(60.0)), clay: None });
    rig.run_silent(1.0);
    let (basis, volume, ..) = rig.known();
    assert_eq!(basis, Basis::Pump);
    assert!((volume - rig.barrel.volume).abs() < 3.0, "{volume} against {}", rig.barrel.volume);
    rig.run(0.5);
    assert_eq!(rig.known().0, Basis::Level);
    let believed = rig.happenings.iter().filter(|happening| happening.what == What::LevelBelieved).count();
    assert_eq!(believed, 1, "{:?}", rig.happenings);
}

#[test]
fn while_the_sensor_is_silent_a_level_read_by_eye_is_believed_over_the_reckoning() {
    let mut rig = Rig::new(2, 120.0);
    rig.run(3.0);
    rig.run_silent(1.0);
    // A tube that came off while nobody saw the level.
    rig.barrel.volume -= 30.0;
    let mut told = Vec::new();
    for _ in 0..3 {
        rig.log(Deed::Dip { drum: Some(id("a")), level: None, volume: Some(Litres(rig.barrel.volume)) });
        rig.settle();
        told.push((rig.known().1, rig.barrel.volume));
        rig.run_silent(0.3);
    }
    assert!(told.iter().all(|(volume, truly)| (volume - truly).abs() < 5.0), "{told:?}");
}

#[test]
fn readings_off_the_table_or_failed_are_not_used_and_named() {
    for (value, flag, named) in
        [(905.0, Flag::Pass, WhyDoubted::OffTable), (300.0, Flag::Fail, WhyDoubted::FailsTests)]
    {
        let mut rig = Rig::new(3, 120.0);
        rig.run(3.0);
        for _ in 0..60 {
            rig.barrel.step();
            let now = rig.now();
            rig.watch.reading(now, &reading("level-a", now, now, value, flag));
        }
        rig.settle();
        let doubt = rig.watch.doubt(rig.now()).unwrap();
        assert_eq!(doubt.why, named);
        let (basis, volume, ..) = rig.known();
        assert_eq!(basis, Basis::Pump);
        assert!((volume - rig.barrel.volume).abs() < 1.5, "{volume} against {}", rig.barrel.volume);
    }
}

#[test]
fn a_reading_that_fails_after_all_is_struck_out() {
    let mut rig = Rig::new(4, 120.0);
    rig.run(2.0);
    let clean = rig.forecast();
    let now = rig.now();
    let spike = |flag| reading("level-a", now, now, 20.0, flag);
    rig.watch.reading(now, &spike(Flag::NotEvaluated));
    rig.watch.reading(now, &spike(Flag::Fail));
    let last = |rig: &Rig| match rig.watch.forecast(now).outlook {
        Outlook::Known { volume, .. } => volume.0,
        unknown @ Outlook::Unknown { .. } => panic!("{unknown:?}"),
    };
    let Outlook::Known { volume, .. } = clean.outlook else { panic!("{clean:?}") };
    assert!((last(&rig) - volume.0).abs() < 0.2, "{} against {}", last(&rig), volume.0);
}

#[test]
fn a_pump_that_was_switched_off_leaves_an_idle_drum_not_a_doubt() {
    let mut rig = Rig::new(5, 150.0);
    rig.set_pump(75.0);
    rig.run(4.0);
    let before = rig.barrel.draw();
    rig.barrel.pump = 0.0;
    rig.set_pump(0.0);
    rig.run(3.0);
    assert!(rig.watch.doubt(rig.now()).is_none());
    let forecast = rig.forecast();
    let Outlook::Known { volume, draw, .. } = forecast.outlook else { panic!("{forecast:?}") };
    assert!(!forecast.in_use);
    assert!(
        (volume.0 - rig.barrel.volume).abs() < 1.0 && (draw.0 - before).abs() < 0.5,
        "{volume:?} {draw:?}"
    );
    rig.barrel.pump = 9.4;
    rig.set_pump(75.0);
    rig.run(0.3);
    let (_, _, _, empty) = rig.known();
    assert!(rig.forecast().in_use);
    let (truth, likely) = (rig.barrel.hours_left(), rig.hours_to(empty.p50));
    assert!((likely - truth).abs() < 0.08 * truth, "{likely} h, truly {truth} h");
}

#[test]
fn hours_of_restless_foam_are_a_doubt_and_no_refill() {
    for seed in 0..10 {
        let mut rig = Rig::new(seed, 140.0);
        rig.barrel.foam = 0.0;
        rig.run(4.0);
        for _ in 0..240 {
            let foam = rig.barrel.rng.random_range(20.0..60.0);
            let level = rig.barrel.step();
            rig.hear(level + foam);
        }
        rig.settle();
        assert_eq!(rig.refills(), [], "seed {seed}");
        let doubt = rig.watch.doubt(rig.now()).unwrap();
        assert_eq!(doubt.why, WhyDoubted::JumpsAbout);
        let (basis, volume, ..) = rig.known();
        assert_eq!(basis, Basis::Pump);
        assert!(
            (volume - rig.barrel.volume).abs() < 2.0,
            "seed {seed}: {volume} against {}",
            rig.barrel.volume
        );
        rig.run(0.5);
        assert_eq!(rig.known().0, Basis::Level, "seed {seed}");
    }
}

#[test]
fn foam_that_wanders_for_hours_over_a_logged_refill_leaves_the_forecast_true() {
    let (mut by_pump, mut asked) = (0, 0);
    for seed in 0..10 {
        let mut rig = Rig::new(seed, 110.0);
        rig.barrel.foam = 0.0;
        rig.run(4.0);
        let mut foam: f64 = 90.0;
        for half_minute in 0..300 {
            if half_minute == 20 {
                rig.barrel.volume += 60.0;
                rig.log(Deed::Refill { drum: Some(id("a")), water: Some(Litres(59.0)), clay: None });
            }
            foam = (foam + rig.barrel.rng.random_range(-35.0..35.0)).clamp(5.0, 190.0);
            let level = rig.barrel.step();
            rig.hear(level + foam);
            if half_minute >= 100 && half_minute % 20 == 0 {
                let (basis, volume, _, empty) = rig.known();
                asked += 1;
                by_pump += u32::from(basis == Basis::Pump);
                assert!((volume - rig.barrel.volume).abs() < 8.0, "seed {seed}, {half_minute}: {volume}");
                let (truth, likely) = (rig.barrel.hours_left(), rig.hours_to(empty.p50));
                assert!((likely - truth).abs() < 0.12 * truth, "seed {seed}: {likely} h, truly {truth} h");
            }
        }
        rig.run(1.0);
        let (basis, volume, ..) = rig.known();
        assert_eq!(basis, Basis::Level, "seed {seed}");
        assert!((volume - rig.barrel.volume).abs() < 2.0, "seed {seed}: {volume}");
        let changes = rig.happenings.iter().filter(|seen| matches!(seen.what, What::DrawChanged { .. }));
        assert_eq!(changes.count(), 0, "seed {seed}");
    }
    assert!(by_pump * 10 >= asked * 9, "{by_pump} of {asked} went by the pump");
}

#[test]
fn foam_above_the_table_does_not_forget_a_refill_that_was_written_down() {
    let mut rig = Rig::new(3, 110.0);
    rig.barrel.foam = 0.0;
    rig.run(4.0);
    for half_minute in 0..120 {
        if half_minute == 20 {
            rig.barrel.volume += 60.0;
            rig.log(Deed::Refill { drum: Some(id("a")), water: Some(Litres(60.0)), clay: None });
        }
        let foam = rig.barrel.rng.random_range(10.0..130.0);
        let level = rig.barrel.step();
        rig.hear(level + foam);
    }
    for _ in 0..30 {
        rig.barrel.step();
        rig.hear(5_000.0);
    }
    let doubt = rig.watch.doubt(rig.now()).unwrap();
    assert_eq!(doubt.why, WhyDoubted::OffTable);
    let (basis, volume, ..) = rig.known();
    assert_eq!(basis, Basis::Pump);
    assert!((volume - rig.barrel.volume).abs() < 5.0, "{volume}, truly {}", rig.barrel.volume);
}

#[test]
fn a_level_that_is_more_restless_than_usual_is_no_foam_from_the_first_minute_on() {
    let mut doubted = Vec::new();
    for seed in 0..100 {
        let mut rig = Rig::new(seed, 175.0);
        // 1.5 L of noise, new each minute; 0.65 L are thought usual before any was seen.
        (rig.barrel.ripple, rig.barrel.ripple_lasts, rig.barrel.every) = (6.5, 1.0, 60);
        (rig.barrel.foam, rig.barrel.nonsense) = (0.0, 0.0);
        rig.set_pump(75.0);
        rig.run(4.0);
        let why = rig.happenings.iter().find(|h| matches!(h.what, What::LevelDoubted { .. }));
        doubted.extend(why.map(|why| (seed, why.what.clone())));
    }
    assert!(doubted.len() <= 1, "{doubted:?}");
}
