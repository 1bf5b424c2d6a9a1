//! The rule of the run-out warning on its own, minute by minute from a table.

use super::*;
use claymark_invented::id;
use claymark_model::doubt::WhyUnknown;
use claymark_model::forecast::{Basis, Subject};
use claymark_model::units::{Litres, LitresPerHour};

/// Minutes after the evening check at 17:00, which is minute 0; the visit is at minute 870.
fn minute(minute: i64) -> Timestamp {
    "2027-04-20T14:00:00Z".parse::<Timestamp>().unwrap() + SignedDuration::from_mins(minute)
}

fn ends(p05: i64, p50: i64) -> EmptyAt {
    let (p05, p50) = (Some(minute(p05)), Some(minute(p50)));
    EmptyAt { p05, p25: p05, p50, p75: p50, p95: None }
}

fn forecast(at: i64, ends: EmptyAt) -> Forecast {
    let outlook = Outlook::Known {
        basis: Basis::Level,
        volume: Litres(90.0),
        draw: LitresPerHour(9.0),
        empty_at: ends,
    };
    Forecast { at: minute(at), of: Subject::Drum(id("a")), in_use: true, outlook }
}

fn step(runout: &EndWatch, at: i64, ends: EmptyAt) -> Step {
    judge(runout, at, &forecast(at, ends))
}

fn judge(runout: &EndWatch, at: i64, forecast: &Forecast) -> Step {
    at_moment(at, |moment| runout.judge(moment, forecast))
}

fn observe(runout: &mut EndWatch, at: i64, forecast: &Forecast) {
    at_moment(at, |moment| runout.observe(moment, forecast));
}

fn at_moment<T>(at: i64, act: impl FnOnce(&Moment<'_>) -> T) -> T {
    let staff = claymark_invented::staff();
    let night = Shift::Away { evening: minute(0), visit: minute(870) };
    let shift = if at < 0 { Shift::Present } else { night };
    act(&Moment { now: minute(at), shift, staff: &staff, attended: at < 0, relieved: false })
}

#[test]
fn the_first_warning_comes_when_it_is_earlier_for_a_while_or_when_time_is_up_and_not_before() {
    let earlier = Again::Earlier { told: Some(minute(960)) };
    let seen_at = |since: i64| {
        let mut runout = EndWatch::default();
        runout.evening_told(minute(0), Some(ends(700, 960)));
        observe(&mut runout, since - 1, &forecast(since - 1, ends(700, 960)));
        observe(&mut runout, since, &forecast(since, ends(660, 930)));
        runout
    };
    for (at, p05, p50, due) in [
        // As told in the evening, and too early to act.
        (60, 700, 960, None),
        // The likely time half an hour earlier, the earliest too; but only since minute 40.
        (59, 660, 930, None),
        (60, 660, 930, Some(earlier.clone())),
        (60, 660, 931, None),
        // No time to wait and see: 115 min before the earliest time.
        (41, 155, 200, Some(earlier.clone())),
        (41, 156, 200, None),
        // Narrower: the likely time comes closer, but the earliest time isn't earlier than told.
        (60, 705, 900, None),
        // Mixing, travel and twice response before the earliest time, for one may not answer: 75 min, and a minute's slack.
        (623, 700, 960, None),
        (624, 700, 960, Some(Again::Due)),
        // Not before the visit: no cause, however much earlier.
        (60, 871, 900, None),
    ] {
        let expected = due.map_or(Step::Wait, Step::Warn);
        assert_eq!(step(&seen_at(40), at, ends(p05, p50)), expected, "{at} {p05} {p50}");
    }
}

#[test]
fn an_earlier_end_that_passes_by_calls_nobody() {
    let mut runout = EndWatch::default();
    runout.evening_told(minute(0), Some(ends(700, 960)));
    for (at, ends) in [(40, ends(660, 930)), (50, ends(700, 960)), (51, ends(660, 930))] {
        observe(&mut runout, at, &forecast(at, ends));
    }
    assert_eq!(step(&runout, 70, ends(660, 930)), Step::Wait);
    assert!(matches!(step(&runout, 71, ends(660, 930)), Step::Warn(Again::Earlier { .. })));
}

#[test]
fn what_the_evening_told_is_not_told_again_at_once() {
    let mut runout = EndWatch::default();
    runout.evening_told(minute(0), Some(ends(40, 60)));
    assert_eq!(step(&runout, 5, ends(40, 60)), Step::Wait);
    assert!(matches!(step(&runout, 10, ends(40, 60)), Step::Warn(Again::Due)));
}

#[test]
fn what_ran_dry_is_told_by_day_as_by_night_unless_another_drum_feeds_the_tanks() {
    for at in [-60, 60] {
        let mut runout = EndWatch::default();
        runout.warned(minute(at - 30), Some(ends(at - 1, at + 10)));
        let dry = EmptyAt { p95: Some(minute(at)), ..ends(at - 10, at - 5) };
        assert_eq!(step(&runout, at, dry), Step::Warn(Again::Empty), "{at}");
        let relieved = at_moment(at, |moment| {
            let moment = Moment { relieved: true, ..*moment };
            (runout.judge(&moment, &forecast(at, dry)), runout.holds(&moment, &resting(at, dry)))
        });
        assert_eq!(relieved, (Step::Wait, Some(Holds::No)));
        assert_eq!(
            at_moment(at, |moment| runout.holds(moment, &resting(at, dry))),
            Some(Holds::Since(minute(at)))
        );
    }
}

fn resting(at: i64, ends: EmptyAt) -> Forecast {
    Forecast { in_use: false, ..forecast(at, ends) }
}

#[test]
fn a_drum_that_is_no_longer_known_still_counts_as_running_dry() {
    let mut runout = EndWatch::default();
    runout.warned(minute(60), Some(ends(120, 140)));
    let unknown = Forecast {
        at: minute(71),
        of: Subject::Drum(id("a")),
        in_use: true,
        outlook: Outlook::Unknown { why: WhyUnknown::FewReadings.into() },
    };
    assert_eq!(judge(&runout, 71, &unknown), Step::Wait);
    assert_eq!(at_moment(71, |moment| runout.holds(moment, &unknown)), Some(Holds::Unknown));
}
