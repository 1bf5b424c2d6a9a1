//! The promises of the drum watch, on simulated drums whose physics it doesn't know.

#![expect(clippy::unwrap_used, reason = "the lints excuse test functions, but not what these call")]

mod asked;
mod doubts;
mod hints;
mod laws;
mod leaks;
mod physics;
mod rig;
mod supply;

use claymark_drum::{DrumWatch, share_draws, supply_forecast};
use claymark_model::doubt::WhyDoubted;
use claymark_model::fieldlog::Deed;
use claymark_model::forecast::{Basis, EmptyAt, Outlook};
use claymark_model::happening::What;
use claymark_model::quality::Flag;
use claymark_model::units::Litres;
use jiff::Timestamp;
use physics::{HEEL, PumpedDrum, reading};
use rand::RngExt;
use rig::{Rig, id, site, start};

#[test]
fn an_unlogged_refill_is_found_with_its_litres() {
    let (mut prompt, mut exact) = (0, 0);
    for seed in 0..20 {
        let mut rig = Rig::new(seed, 120.0);
        rig.run(6.0);
        let room = 100.0;
        let at = rig.now();
        // Poured in over four minutes.
        for _ in 0..8 {
            rig.barrel.volume += room / 8.0;
            rig.step();
        }
        rig.run(1.5);
        let refills = rig.refills();
        assert_eq!(refills.len(), 1, "seed {seed}: {:?}", rig.happenings);
        let (when, added, logged) = refills[0];
        assert!((added - room).abs() < 12.0, "seed {seed}: {added} L found, {room} L added");
        exact += u32::from((added - room).abs() < 2.0);
        let late = when.duration_since(at).as_secs_f64();
        assert!((-300.0..3600.0).contains(&late), "seed {seed}: {when} for {at}");
        prompt += u32::from(late.abs() < 300.0);
        assert!(!logged);
        let (basis, volume, _, empty) = rig.known();
        assert_eq!(basis, Basis::Level);
        assert!((volume - rig.barrel.volume).abs() < 2.0, "seed {seed}: {volume}");
        let (truth, likely) = (rig.barrel.hours_left(), rig.hours_to(empty.p50));
        assert!((likely - truth).abs() < 0.15 * truth, "seed {seed}: {likely} h, truly {truth} h");
    }
    // Foam that goes on for long hides when a refill began, and froth of the pouring counts with what is told at once.
    assert!(
        prompt >= 18 && exact >= 17,
        "{prompt} of 20 were placed within five minutes, {exact} within 2 L"
    );
}

#[test]
fn a_logged_refill_is_the_one_that_was_found() {
    let mut rig = Rig::new(5, 60.0);
    rig.run(3.0);
    rig.barrel.volume += 80.0;
    rig.log(Deed::Refill { drum: Some(id("a")), water: Some(Litres(79.0)), clay: None });
    rig.run(1.0);
    let refills = rig.refills();
    assert_eq!(refills.len(), 1, "{:?}", rig.happenings);
    assert!((refills[0].1 - 80.0).abs() < 2.0 && refills[0].2, "{refills:?}");
}

#[test]
fn a_silent_sensor_leaves_the_pump_to_reckon_with_and_then_nothing() {
    let mut rig = Rig::new(3, 150.0);
    rig.run(4.0);
    rig.run_silent(1.0);
    let (basis, volume, _, empty) = rig.known();
    assert_eq!(basis, Basis::Pump);
    assert!((volume - rig.barrel.volume).abs() < 2.0, "{volume} against {}", rig.barrel.volume);
    let share = |rig: &Rig, empty: EmptyAt| {
        (rig.hours_to(empty.p95) - rig.hours_to(empty.p05)) / rig.hours_to(empty.p50)
    };
    let early = share(&rig, empty);
    rig.run_silent(4.0);
    let (_, _, _, empty) = rig.known();
    assert!(share(&rig, empty) > early, "no wider");
    assert!(rig.watch.doubt(rig.now()).unwrap().why == WhyDoubted::Silent);
    rig.run_silent(24.0);
    assert!(matches!(rig.forecast().outlook, Outlook::Unknown { .. }));
}

#[test]
fn a_stuck_level_is_not_believed() {
    for seed in 0..10 {
        let mut rig = Rig::new(seed, 150.0);
        rig.run(4.0);
        let stuck = rig.barrel.step();
        for _ in 0..2 * 60 {
            rig.barrel.step();
            rig.hear(stuck);
        }
        rig.settle();
        let doubt = rig.watch.doubt(rig.now()).expect("an hour is enough");
        assert_eq!(doubt.why, WhyDoubted::StandsStill);
        let (basis, volume, _, empty) = rig.known();
        assert_eq!(basis, Basis::Pump);
        assert!(
            (volume - rig.barrel.volume).abs() < 4.0,
            "seed {seed}: {volume} against {}",
            rig.barrel.volume
        );
        let (truth, likely) = (rig.barrel.hours_left(), rig.hours_to(empty.p50));
        assert!((likely - truth).abs() < 0.15 * truth, "seed {seed}: {likely} h, truly {truth} h");
    }
}

#[test]
fn a_changed_pump_is_followed_whether_or_not_it_was_logged() {
    for (seed, logged) in (0..20).map(|seed| (seed, seed % 2 == 0)) {
        let mut rig = Rig::new(seed, 170.0);
        rig.set_pump(75.0);
        rig.run(5.0);
        rig.barrel.pump *= 1.4;
        if logged {
            rig.set_pump(105.0);
        }
        rig.run(if logged { 0.1 } else { 1.5 });
        let (_, _, draw, empty) = rig.known();
        assert!(
            (draw / rig.barrel.draw() - 1.0).abs() < 0.12,
            "seed {seed}: {draw} against {}",
            rig.barrel.draw()
        );
        let (truth, likely) = (rig.barrel.hours_left(), rig.hours_to(empty.p50));
        assert!((likely - truth).abs() < 0.12 * truth, "seed {seed}: {likely} h, truly {truth} h");
        let changes = rig.happenings.iter().filter(|h| matches!(h.what, What::DrawChanged { .. })).count();
        assert_eq!(changes, usize::from(!logged), "seed {seed}: {:?}", rig.happenings);
    }
}

#[test]
fn an_empty_drum_is_empty_now() {
    let mut rig = Rig::new(9, 40.0);
    rig.run(6.0);
    assert!(rig.happenings.iter().any(|h| h.what == What::RanEmpty), "{:?}", rig.happenings);
    let (_, _, _, empty) = rig.known();
    let now = Some(rig.now());
    assert_eq!([empty.p05, empty.p25, empty.p50, empty.p75, empty.p95], [now; 5]);
    rig.barrel.volume += 100.0;
    rig.run(0.5);
    assert_eq!(rig.refills().len(), 1, "{:?}", rig.happenings);
}

/// Fed as a network gap of four hours with a late burst, in the middle of which somebody refills.
fn refilled_in_a_gap(seed: u64, burst: bool) -> Rig {
    let mut rig = Rig::new(seed, 100.0);
    rig.run(4.0);
    let mut late = Vec::new();
    for i in 0..4 * 120 {
        if i == 200 {
            rig.barrel.volume += 70.0;
        }
        late.push((rig.barrel.step(), rig.barrel.now));
        rig.settle();
    }
    let now = rig.now();
    for (value, at) in late.into_iter().rev().filter(|_| burst) {
        rig.watch.reading(now, &reading("level-a", at, now, value, Flag::Pass));
    }
    rig.run(0.75);
    rig
}

#[test]
fn a_refill_in_a_network_gap_is_found_once_with_or_without_the_late_burst() {
    for (seed, burst) in (0..16).map(|seed| (seed, seed % 2 == 0)) {
        let rig = refilled_in_a_gap(seed, burst);
        let refills = rig.refills();
        assert_eq!(refills.len(), 1, "seed {seed}: {:?}", rig.happenings);
        assert!((refills[0].1 - 70.0).abs() < 2.5, "seed {seed}: {refills:?}");
        if burst {
            let at = start() + jiff::SignedDuration::from_mins(4 * 60 + 100);
            assert!(refills[0].0.duration_since(at).as_secs().abs() < 300, "seed {seed}: {refills:?}");
        }
        let (basis, _, _, empty) = rig.known();
        assert_eq!(basis, Basis::Level);
        let (truth, likely) = (rig.barrel.hours_left(), rig.hours_to(empty.p50));
        assert!((likely - truth).abs() < 0.1 * truth, "seed {seed}: {likely} h, truly {truth} h");
    }
}

#[test]
fn foam_is_no_refill_and_twenty_minutes_are_enough_for_a_first_word() {
    let (mut useful, mut asked) = (0, 0);
    for seed in 0..40 {
        let mut rig = Rig::new(seed, 150.0);
        rig.barrel.foam = 1.0;
        rig.run(0.35);
        let (truth, (_, _, _, empty)) = (rig.barrel.hours_left(), rig.known());
        asked += 1;
        useful += u32::from((rig.hours_to(empty.p50) - truth).abs() < 0.35 * truth);
        rig.run(5.0);
        assert_eq!(rig.refills(), [], "seed {seed}");
    }
    assert!(useful * 4 >= asked * 3, "{useful} of {asked} first words within 35 %");
}

#[test]
fn drums_that_share_a_pump_are_told_apart_and_added_up() {
    let room = site(&["a", "b"]);
    let mut watches = [DrumWatch::new(&room, &id("a")).unwrap(), DrumWatch::new(&room, &id("b")).unwrap()];
    let mut drawn = PumpedDrum::new(1, start(), 100.0);
    let mut idle = PumpedDrum::new(2, start(), 170.0);
    idle.pump = 0.0;
    for _ in 0..4 * 120 {
        let (a, b) = (drawn.step(), idle.step());
        let now = drawn.now;
        for watch in &mut watches {
            watch.reading(now, &reading("level-a", now, now, a, Flag::Pass));
            watch.reading(now, &reading("level-b", now, now, b, Flag::Pass));
        }
    }
    let now = drawn.now;
    share_draws(&mut watches.each_mut());
    let [a, b] = watches.each_ref().map(|watch| watch.forecast(now));
    assert!(a.in_use && !b.in_use, "{a:?} {b:?}");
    let Outlook::Known { volume, draw, empty_at, .. } = b.outlook else { panic!("{b:?}") };
    assert!((volume.0 - 170.0).abs() < 2.0 && (draw.0 - 9.6).abs() < 1.5, "{volume:?} {draw:?}");
    let alone = empty_at.p50.unwrap();
    let supply = supply_forecast(now, &room.pumps[0], &watches.each_ref());
    let Outlook::Known { volume, empty_at, .. } = supply.outlook else { panic!("{supply:?}") };
    assert!((volume.0 - drawn.volume - 170.0).abs() < 3.0, "{volume:?}");
    let sum = alone.duration_since(now).as_secs_f64() / 3600.0 + drawn.hours_left();
    let likely = empty_at.p50.unwrap().duration_since(now).as_secs_f64() / 3600.0;
    assert!((likely - sum).abs() < 0.5, "{likely} against {sum}");
}

#[test]
fn fills_run_empty_inside_a_narrow_interval() {
    let (mut inside, mut asked, mut off, mut width) = (0_u32, 0_u32, 0.0, 0.0);
    for seed in 0..120 {
        let mut rig = Rig::new(seed, 175.0);
        rig.barrel.pump = rig.barrel.rng.random_range(6.0..14.0);
        rig.barrel.fading = rig.barrel.rng.random_range(0.0..0.2);
        // Two fills tell the curve of drum and pump.
        for _ in 0..2 {
            while rig.barrel.volume > 45.0 {
                rig.step();
            }
            rig.barrel.volume = 175.0;
        }
        rig.run(6.0);
        let (now, (_, _, _, empty)) = (rig.now(), rig.known());
        while rig.barrel.volume > HEEL {
            rig.barrel.step();
        }
        let truth = rig.barrel.emptied.unwrap().duration_since(now).as_secs_f64() / 3600.0;
        let hours = |at: Option<Timestamp>| {
            at.map_or(f64::INFINITY, |at| at.duration_since(now).as_secs_f64() / 3600.0)
        };
        asked += 1;
        inside += u32::from(hours(empty.p05) <= truth && truth <= hours(empty.p95));
        off += (hours(empty.p50) / truth - 1.0).abs().min(1.0);
        width += (hours(empty.p95) - hours(empty.p05)) / truth;
    }
    let (share, error) = (f64::from(inside) / f64::from(asked), off / f64::from(asked));
    // Nothing was settled before, so the interval still stands as wide as at first.
    let width = width / f64::from(asked);
    assert!(share > 0.88 && width < 0.12, "{inside} of {asked} inside, {width:.3} of the time wide");
    assert!(error < 0.02, "p50 is off by {error:.3} of the time left, {inside} of {asked} inside");
}
