//! What hands write down is held against what else is known, and isn't believed blindly.

use claymark_clay::water::FlowBy;
use claymark_model::fieldlog::Deed;
use claymark_model::site::Place;
use claymark_model::units::{Litres, LitresPerMinute};
use claymark_notice::caught::Witness;

use crate::night::{RoomNight, id};

/// Drum a alone is drawn at 9 L/h of 18 g/L: with 45 L/min the head tank's 64 NTU are what is to be expected.
fn drawn() -> RoomNight {
    let mut night = RoomNight::begin_with_a_written_yield("2027-04-20T07:00");
    night.drum("b").draws(0.0);
    night.log(Deed::PumpSetting { pump: Some(id("p2")), rpm: Some(0.0) });
    night.drum("a").holds(170.0).draws(9.0);
    night.until("2027-04-20T09:00");
    night
}

fn catch(litres: f64) -> Deed {
    Deed::FlowCheck { place: Some(Place::Head), volume: Some(Litres(litres)), seconds: Some(60.0) }
}

#[test]
fn a_catch_of_millilitres_for_litres_is_not_believed_and_an_earlier_one_that_fits_stands() {
    let mut night = drawn();
    night.log(catch(45.0));
    night.until("2027-04-20T09:10");
    let now = night.at("2027-04-20T09:10");
    assert_eq!(night.room.known().doubtful_catches(now), []);
    night.log(catch(0.045));
    night.until("2027-04-20T09:20");
    let now = night.at("2027-04-20T09:20");
    let known = night.room.known().fresh_water(now).expect("the first check stands");
    assert_eq!(known.flow, LitresPerMinute(45.0));
    assert!(matches!(known.by, FlowBy::Check { at } if at < night.at("2027-04-20T09:05")), "{known:?}");
    let [doubt] = &night.room.known().doubtful_catches(now)[..] else { panic!("it is told") };
    assert_eq!((&doubt.place, doubt.by), (&Place::Head, Witness::Turbidity));
    assert!((30.0..70.0).contains(&doubt.expected.0), "{doubt:?}");
}

#[test]
fn half_the_water_by_hand_is_believed() {
    let mut night = drawn();
    night.log(catch(22.0));
    night.until("2027-04-20T09:10");
    let now = night.at("2027-04-20T09:10");
    assert_eq!(night.room.known().doubtful_catches(now), []);
    assert_eq!(night.room.known().fresh_water(now).map(|known| known.flow), Some(LitresPerMinute(22.0)));
}
