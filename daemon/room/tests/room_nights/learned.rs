//! What the clay does to the water is learned while the room runs, kept, and known again after a restart.

use claymark_clay::Yield;
use claymark_model::fieldlog::Deed;
use claymark_model::site::Place;
use claymark_model::units::{Kilograms, Litres};
use jiff::SignedDuration;

use crate::night::{RoomNight, id};

/// Drum a alone is drawn at 9 L/h of 18 g/L into 45 L/min: 2.7 g/min, 59.8 mg/L; the head tank shows 64 NTU.
fn a_day() -> RoomNight {
    let mut night = RoomNight::begin_with_a_written_yield("2027-04-20T07:00");
    night.drum("b").draws(0.0);
    night.log(Deed::PumpSetting { pump: Some(id("p2")), rpm: Some(0.0) });
    night.log(Deed::FlowCheck { place: Some(Place::Head), volume: Some(Litres(44.85)), seconds: Some(60.0) });
    night.drum("a").holds(30.0).draws(9.0);
    night.until("2027-04-20T07:30");
    night.drum("a").holds(170.0);
    night.until("2027-04-20T07:40");
    night.log(Deed::Refill { drum: Some(id("a")), water: Some(Litres(143.0)), clay: Some(Kilograms(2.58)) });
    night.until("2027-04-20T23:00");
    night
}

fn counted_on(night: &RoomNight) -> Yield {
    night.room.known().clouding().expect("one is written").clay
}

#[test]
fn a_yield_that_has_settled_is_kept_once_a_day_and_counted_on() {
    let mut night = RoomNight::begin_with_a_written_yield("2027-04-20T07:00");
    night.until("2027-04-20T08:00");
    assert_eq!((counted_on(&night).ntu_per_mg_l, counted_on(&night).since), (0.85, None));
    let night = a_day();
    let [learned] = night.yields[..] else { panic!("{:?}", night.yields) };
    // By hand: 64/59.8 = 1.07.
    assert!((learned.clay.ntu_per_mg_l - 1.07).abs() < 0.03, "{learned:?}");
    assert!(
        learned.clay.sd < 0.05 && learned.clay.since.expect("a time") < learned.learned_at,
        "{learned:?}"
    );
    assert!((counted_on(&night).ntu_per_mg_l - learned.clay.ntu_per_mg_l).abs() < learned.clay.sd);
}

#[test]
fn drums_that_are_drawn_at_once_teach_together() {
    let mut night = RoomNight::begin_with_a_written_yield("2027-04-20T07:00");
    night.log(Deed::FlowCheck { place: Some(Place::Head), volume: Some(Litres(44.7)), seconds: Some(60.0) });
    for drum in ["a", "b"] {
        night.drum(drum).holds(30.0).draws(9.0);
    }
    night.until("2027-04-20T07:30");
    for drum in ["a", "b"] {
        night.drum(drum).holds(170.0);
    }
    night.until("2027-04-20T07:40");
    for drum in ["a", "b"] {
        let (water, clay) = (Some(Litres(143.0)), Some(Kilograms(2.58)));
        night.log(Deed::Refill { drum: Some(id(drum)), water, clay });
    }
    night.until("2027-04-20T23:00");
    let [learned] = night.yields[..] else { panic!("{:?}", night.yields) };
    // By hand: 5.4 g/min in 45 L/min are 120 mg/L; 64/120 = 0.53.
    assert!((learned.clay.ntu_per_mg_l - 0.53).abs() < 0.02, "{learned:?}");
}

#[test]
fn after_a_restart_what_was_learned_stands_until_as_much_is_learned_again() {
    let mut night = a_day();
    let learned = night.yields[0];
    night.restart(SignedDuration::from_mins(2));
    assert_eq!(counted_on(&night), learned.clay);
    night.until("2027-04-20T23:59");
    assert_eq!(night.yields, [learned], "nothing new, so nothing is kept");
    // A store that was lost: what is written stands again.
    night.yields.clear();
    night.restart(SignedDuration::from_mins(2));
    assert_eq!(counted_on(&night).since, None);
}
