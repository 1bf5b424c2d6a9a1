//! A hose that comes off, and foam that only looks like it.

use claymark_model::forecast::Basis;
use claymark_model::happening::What;
use rand::RngExt;

use crate::rig::Rig;

/// Minutes from the leak's first on until it is believed and the forecast goes by the level.
fn minutes_until_believed(seed: u64, leak: f64, pump: f64) -> Option<u32> {
    let mut rig = Rig::new(seed, 160.0);
    (rig.barrel.pump, rig.barrel.foam) = (pump, 0.0);
    rig.run(5.0);
    rig.barrel.pump += leak;
    let minute = (1..=45).find(|_| {
        rig.step();
        rig.step();
        let (basis, _, draw, _) = rig.known();
        basis == Basis::Level && (0.5..1.5).contains(&(draw / rig.barrel.draw()))
    })?;
    // It stays believed until the drum is dry.
    while rig.barrel.volume > 25.0 {
        rig.run(0.1);
        assert!(rig.watch.doubt(rig.now()).is_none(), "seed {seed}, {leak} L/h: {:?}", rig.happenings);
    }
    let (_, volume, _, empty) = rig.known();
    assert!((volume - rig.barrel.volume).abs() < 3.0, "seed {seed}, {leak} L/h: {volume} L");
    let (truth, likely) = (rig.barrel.hours_left(), rig.hours_to(empty.p50));
    assert!((likely - truth).abs() < 0.15, "seed {seed}, {leak} L/h: {likely} h, truly {truth} h");
    Some(minute)
}

#[test]
fn a_leak_of_any_speed_is_believed_within_minutes() {
    for (leak, most) in [(20.0, 9), (34.0, 6), (60.0, 5), (120.0, 5), (240.0, 5)] {
        for pump in [6.0, 10.0] {
            let mut took: Vec<u32> =
                (0..12).map(|seed| minutes_until_believed(seed, leak, pump).unwrap_or(999)).collect();
            took.sort_unstable();
            assert!(took[6] <= most && took[11] <= most + 3, "{leak} L/h beside {pump}: {took:?} min");
        }
    }
}

#[test]
fn a_leak_that_was_mended_is_over_within_a_quarter_of_an_hour() {
    for seed in 0..8 {
        let mut rig = Rig::new(seed, 170.0);
        (rig.barrel.pump, rig.barrel.foam) = (8.0, 0.0);
        rig.run(4.0);
        rig.barrel.pump = 48.0;
        rig.run(1.0);
        rig.barrel.pump = 8.0;
        rig.run(0.25);
        let (basis, volume, draw, _) = rig.known();
        assert_eq!(basis, Basis::Level, "seed {seed}");
        assert!((draw - rig.barrel.draw()).abs() < 1.5, "seed {seed}: {draw} L/h");
        assert!((volume - rig.barrel.volume).abs() < 2.0, "seed {seed}: {volume} L");
    }
}

#[test]
fn foam_that_rises_and_falls_by_jumps_is_no_leak_and_is_still_doubted() {
    for seed in 0..12 {
        let mut rig = Rig::new(seed, 140.0);
        rig.barrel.foam = 0.0;
        rig.run(4.0);
        // High at first and lower by and by, as it dies: its top falls as fast as a leak would.
        for half_minute in 0..180 {
            let top = 90.0 - 0.4 * f64::from(half_minute);
            let foam = top * rig.barrel.rng.random_range(0.3..1.6);
            let level = rig.barrel.step();
            rig.hear(level + foam);
        }
        rig.settle();
        assert!(rig.watch.doubt(rig.now()).is_some(), "seed {seed}: {:?}", rig.happenings);
        rig.run(0.5);
        let changes = rig.happenings.iter().filter(|seen| matches!(seen.what, What::DrawChanged { .. }));
        assert_eq!(changes.count(), 0, "seed {seed}: {:?}", rig.happenings);
        let (basis, volume, ..) = rig.known();
        assert_eq!(basis, Basis::Level, "seed {seed}");
        assert!((volume - rig.barrel.volume).abs() < 2.0, "seed {seed}: {volume}");
    }
}
