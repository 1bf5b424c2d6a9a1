//! The real room through simulated nights: no run-out is missed, and nobody is called for nothing.

use claymark_tests::contest::each_on_its_core;
use claymark_tests::contest::goals::Goal;
use claymark_tests::contest::nights::Nights;
use claymark_tests::season::rooms::RoomKind;
use claymark_tests::season::{DAYS, Simulator, seeds};

/// Half a season: the benchmark plays whole ones (`--bench forecast -- --nights`).
const HALF: u32 = DAYS / 2;

#[test]
fn no_run_out_of_a_night_is_missed_and_nobody_is_called_for_nothing() {
    for by in [Simulator::Mechanistic, Simulator::Drifting] {
        let mut all = Nights::default();
        for kind in RoomKind::ALL {
            let chosen: Vec<u64> = seeds::JUDGING.take(2).collect();
            let mut nights = Nights::default();
            for one in each_on_its_core(&chosen, |seed| Nights::of(&by.season(kind, *seed, HALF))) {
                nights.add(one);
            }
            let of = format!("{by:?} {}: {} run-outs", kind.name(), nights.run_outs);
            assert!(nights.nights > 30, "{of}");
            Goal::NightsMissed.hold(nights.missed.is_empty(), &format!("{of}, missed: {:#?}", nights.missed));
            eprintln!("{of}, {:.2} false warnings a drum and month", nights.false_a_month());
            all.add(nights);
        }
        let months = all.false_a_month();
        let what = format!("{by:?}: {months:.2} false warnings a drum and month: {:#?}", all.false_warnings);
        Goal::NightsFalse.hold(months <= 1.0, &what);
    }
}
