//! What the forecast must show on seasons that nothing was tuned on: intervals that mean what they say, and less
//! error than its peers.
//!
//! Which of it is asserted stands in `claymark_tests::contest::goals`.

use std::sync::LazyLock;

use claymark_model::score::Coverage;
use claymark_tests::contest::case::{Case, SaidEnd, Who};
use claymark_tests::contest::events::Recovery;
use claymark_tests::contest::goals::Goal;
use claymark_tests::contest::play::{Played, Whom};
use claymark_tests::contest::spread::ErrorSpread;
use claymark_tests::contest::tally::{
    BUCKETS, Score, bounds, coverage, in50, in90, one_of_each_fill, shared,
};
use claymark_tests::contest::{Bill, play_all};
use claymark_tests::season::rooms::RoomKind;
use claymark_tests::season::{DAYS, Simulator, seeds};

const BOTH: [Simulator; 2] = [Simulator::Mechanistic, Simulator::Drifting];

/// Seeds of each room, enough for [`LEAST_FILLS`].
const SEEDS: usize = 6;
/// Independent fills in each bucket, over all rooms.
const LEAST_FILLS: u32 = 300;

/// Seasons of both simulators, played once for all tests.
static PLAYED: LazyLock<Vec<Vec<Played>>> = LazyLock::new(|| BOTH.map(played).into());

fn played(by: Simulator) -> Vec<Played> {
    let bill =
        Bill { by, rooms: RoomKind::ALL.to_vec(), seeds: seeds::JUDGING.take(SEEDS).collect(), days: DAYS };
    let mut played = play_all(&bill, Whom { watch: true, kalman: true });
    let others = Bill { seeds: seeds::PEERS.take(2).collect(), ..bill };
    let learned = play_all(&others, Whom { watch: false, kalman: true });
    let spread = ErrorSpread::learn(learned.iter().flat_map(|played| &played.cases));
    played.iter_mut().flat_map(|played| &mut played.cases).for_each(|case| spread.lend(case));
    played
}

fn covered(played: &[Played], bucket: (f64, f64), held: fn(&SaidEnd, f64) -> bool) -> Coverage {
    coverage(Who::DrumWatch, &one_of_each_fill(played, bucket, None), held)
}

#[test]
fn intervals_hold_the_truth_as_often_as_they_say_at_every_lead_time() {
    for (by, played) in BOTH.iter().zip(PLAYED.iter()) {
        for bucket in BUCKETS {
            for (goal, held, low, high) in [
                (Goal::Coverage90, in90 as fn(&SaidEnd, f64) -> bool, 0.88, 0.92),
                (Goal::Coverage50, in50, 0.46, 0.54),
            ] {
                let covered = covered(played, bucket, held);
                let (least, most) = bounds(&covered);
                let share = covered.share().unwrap_or(f64::NAN);
                let what = format!(
                    "{by:?} {bucket:?} h: {share:.3} ({least:.3} to {most:.3}) of {} fills",
                    covered.of
                );
                goal.hold(covered.of >= LEAST_FILLS && least <= high && most >= low, &what);
            }
        }
    }
}

#[test]
fn another_simulator_moves_no_coverage_by_more_than_three_points() {
    for bucket in BUCKETS {
        for held in [in90 as fn(&SaidEnd, f64) -> bool, in50] {
            let of_both: Vec<Coverage> = PLAYED.iter().map(|played| covered(played, bucket, held)).collect();
            let shares: Vec<f64> = of_both.iter().filter_map(Coverage::share).collect();
            let variance: f64 =
                of_both.iter().zip(&shares).map(|(of, share)| share * (1.0 - share) / f64::from(of.of)).sum();
            let apart = shares.iter().copied().fold(f64::NEG_INFINITY, f64::max)
                - shares.iter().copied().fold(f64::INFINITY, f64::min);
            let noise = 1.96 * variance.sqrt();
            let what = format!("{bucket:?} h: {shares:.3?}, binomial noise {noise:.3}");
            Goal::SecondSimulator.hold(shares.len() == 2 && apart <= 0.03 + noise, &what);
        }
    }
}

#[test]
fn it_errs_less_than_any_peer_and_little_more_than_who_knows_the_pump() {
    for (by, played) in BOTH.iter().zip(PLAYED.iter()) {
        let cases = shared(played, None, &Who::ALL);
        let of = |who| Score::of(who, &cases).unwrap_or_else(|| panic!("{who:?} said nothing"));
        let ours = of(Who::DrumWatch);
        let best = |what: fn(&Score) -> f64| {
            Who::PEERS.map(|who| what(&of(who))).into_iter().fold(f64::INFINITY, f64::min)
        };
        let to_peer = ours.error / best(|score| score.error);
        Goal::ErrorToPeer.hold(to_peer <= 0.5, &format!("{by:?}: {to_peer:.2} of the best peer's error"));
        let to_limit = ours.error / of(Who::TrueCurve).error;
        Goal::ErrorToLimit.hold(to_limit <= 1.7, &format!("{by:?}: {to_limit:.2} times the limit's error"));
        let crps = ours.crps / best(|score| score.crps);
        Goal::CrpsToPeer.hold(crps <= 0.8, &format!("{by:?}: {crps:.2} of the best peer's CRPS"));
        Goal::Volume
            .hold(ours.volume.0 <= 0.6, &format!("{by:?}: the volume is off by {:.2} L", ours.volume.0));
    }
}

#[test]
fn it_has_something_to_say_and_is_soon_right_again() {
    for (by, played) in BOTH.iter().zip(PLAYED.iter()) {
        let cases: Vec<&Case> = played.iter().flat_map(|played| &played.cases).collect();
        let said = cases.iter().filter(|case| case.of(Who::DrumWatch).is_some()).count();
        let what = format!("{by:?}: a forecast at {said} of {} instants", cases.len());
        Goal::Speaks.hold(said * 100 >= cases.len() * 98, &what);
        let median = |wanted: fn(&Recovery) -> bool| {
            let mut minutes: Vec<u32> = played
                .iter()
                .flat_map(|played| &played.recoveries)
                .filter(|recovery| wanted(recovery))
                .map(|recovery| recovery.minutes.unwrap_or(u32::MAX))
                .collect();
            minutes.sort_unstable();
            minutes.get(minutes.len() / 2).copied().unwrap_or(0)
        };
        let refill = median(|recovery| recovery.refill && recovery.logged);
        Goal::AfterRefill.hold(refill <= 10, &format!("{by:?}: {refill} min after a logged refill"));
        let change = median(|recovery| !recovery.refill && recovery.logged);
        Goal::AfterChange.hold(change <= 20, &format!("{by:?}: {change} min after a logged change"));
    }
}
