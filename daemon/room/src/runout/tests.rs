//! The rule of the run-out warning on its own, minute by minute from a table.

use super::*;
use claymark_model::doubt::WhyUnknown;
use claymark_model::forecast::Basis;
use claymark_model::forecast::Subject;
use claymark_model::units::{Litres, LitresPerHour};

fn id(text: &str) -> Id {
    Id::new(text).unwrap()
}

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

fn step(runout: &Runout, at: i64, ends: EmptyAt) -> Step {
    judge(runout, at, &forecast(at, ends))
}

fn judge(runout: &Runout, at: i64, forecast: &Forecast) -> Step {
    at_moment(at, |moment| runout.judge(moment, forecast))
}

fn observe(runout: &mut Runout, at: i64, forecast: &Forecast) {
    at_moment(at, |moment| runout.observe(moment, forecast));
}

fn at_moment<T>(at: i64, act: impl FnOnce(&Moment<'_>) -> T) -> T {
    let minutes = SignedDuration::from_mins;
    let staff = Staff {
        evening_check: "17:00".parse().unwrap(),
        next_visit: "07:30".parse().unwrap(),
        margin: minutes(60),
        mixing: minutes(15),
        travel: minutes(30),
        response: minutes(15),
    };
    let contacts = ["ann", "kim"].map(|name| Contact { id: id(name), name: name.to_owned() });
    let night = Shift::Away { evening: minute(0), visit: minute(870) };
    let shift = if at < 0 { Shift::Present } else { night };
    let answers = BTreeMap::new();
    act(&Moment { now: minute(at), shift, staff: &staff, contacts: &contacts, answers: &answers })
}

fn told(at: i64, to: Audience) -> Told {
    Told { number: 2, at: minute(at), to }
}

#[test]
fn the_first_warning_comes_when_it_is_earlier_for_a_while_or_when_time_is_up_and_not_before() {
    let ann = Audience::Only(id("ann"));
    let earlier = Again::Earlier { told: Some(minute(960)) };
    let seen_at = |since: i64| {
        let mut runout = Runout::default();
        runout.evening_told(minute(0), minute(0), Some(ends(700, 960)));
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
        // No time to wait and see: 100 min and a minute's slack before the earliest time.
        (41, 140, 200, Some(earlier.clone())),
        (41, 142, 200, None),
        // Narrower: the likely time comes closer, but the earliest time isn't earlier than told.
        (60, 705, 900, None),
        // Mixing, travel and response before the earliest time: an hour, and a minute's slack.
        (638, 700, 960, None),
        (639, 700, 960, Some(Again::Due)),
        // Not before the visit: no cause, however much earlier.
        (60, 871, 900, None),
    ] {
        let expected = due.map_or(Step::Wait, |again| Step::Warn(again, ann.clone()));
        assert_eq!(step(&seen_at(40), at, ends(p05, p50)), expected, "{at} {p05} {p50}");
    }
}

#[test]
fn an_earlier_end_that_passes_by_calls_nobody() {
    let mut runout = Runout::default();
    runout.evening_told(minute(0), minute(0), Some(ends(700, 960)));
    for (at, ends) in [(40, ends(660, 930)), (50, ends(700, 960)), (51, ends(660, 930))] {
        observe(&mut runout, at, &forecast(at, ends));
    }
    assert_eq!(step(&runout, 70, ends(660, 930)), Step::Wait);
    assert!(matches!(step(&runout, 71, ends(660, 930)), Step::Warn(Again::Earlier { .. }, _)));
}

#[test]
fn what_the_evening_told_is_not_told_again_at_once() {
    let mut runout = Runout::default();
    runout.evening_told(minute(0), minute(0), Some(ends(40, 60)));
    assert_eq!(step(&runout, 5, ends(40, 60)), Step::Wait);
    assert!(matches!(step(&runout, 10, ends(40, 60)), Step::Warn(Again::Due, _)));
}

#[test]
fn a_warning_of_the_day_is_settled_by_the_evening_check_and_the_night_begins_anew() {
    let mut runout = Runout::default();
    assert!(matches!(step(&runout, -60, ends(-35, -20)), Step::Warn(Again::Due, Audience::Everyone)));
    runout.warned(told(-60, Audience::Everyone), &Again::Due, Some(ends(-35, -20)));
    assert_eq!(step(&runout, -40, ends(-35, -20)), Step::Wait, "nobody is called on by day");
    runout.evening_told(minute(0), minute(0), Some(ends(300, 330)));
    assert!(runout.told().is_empty());
    // A check that comes late doesn't settle a warning of that same night.
    runout.warned(told(20, Audience::Only(id("ann"))), &Again::Due, Some(ends(300, 330)));
    runout.evening_told(minute(0), minute(25), Some(ends(300, 330)));
    assert_eq!(runout.told().len(), 1);
}

#[test]
fn a_drum_that_is_no_longer_known_is_called_on_for_and_never_withdrawn() {
    let mut runout = Runout::default();
    runout.warned(told(60, Audience::Only(id("ann"))), &Again::Due, Some(ends(120, 140)));
    let unknown = Forecast {
        at: minute(71),
        of: Subject::Drum(id("a")),
        in_use: true,
        outlook: Outlook::Unknown { why: WhyUnknown::FewReadings.into() },
    };
    let Step::Warn(Again::Unanswered { .. }, to) = judge(&runout, 71, &unknown) else { panic!() };
    assert_eq!(to, Audience::Only(id("kim")));
}
