//! A mix is drawn for hours while the plan of the fish moves the band: it is aimed at the middle of its life.
//!
//! The figures are those of the sixth story of the room: day 34 wants 41 NTU, 64 L/min of water, the pump at 260 mL/min, what
//! is left in the drum holds 16.5 g/L. Computed by hand: C = 64 (41 - 2)/(1000 · 0.85) = 2.94 g/min, so 11.3 g/L.

use claymark_clay::refill::sheet::Sheet;
use claymark_clay::refill::{Mix, Refill, TooStrong};
use claymark_model::fieldlog::Deed;
use claymark_model::site::Place;
use claymark_model::units::{Kilograms, Litres, Turbidity};
use claymark_notice::content::Content;

use crate::levers::ways;
use crate::night::{RoomNight, id};

/// At nine the drum is filled to 154.2 L of 16.5 g/L, drawn at 260 mL/min: at 16:00 it holds 45 L.
fn filled_at_nine(fish_day: i32) -> RoomNight {
    let mut night = RoomNight::begin_on_the_ramp("2027-04-20T07:00", fish_day);
    night.drum("a").holds(61.2).draws(15.6);
    night.log(Deed::FlowCheck {
        place: Some(Place::Head),
        volume: Some(Litres(64.0 - 0.26)),
        seconds: Some(60.0),
    });
    night.until("2027-04-20T09:00");
    // 30 L of the 18 g/L that a drum is taken to hold at first, and 2.0 kg.
    night.drum("a").holds(154.2);
    night.until("2027-04-20T09:10");
    night.log(Deed::Refill { drum: Some(id("a")), water: Some(Litres(123.4)), clay: Some(Kilograms(2.0)) });
    night
}

fn sheet(night: &RoomNight) -> Sheet {
    night.room.known().sheet(night.now, &id("a"), (None, None)).expect("there is a drum a")
}

fn mix(sheet: &Sheet) -> &Mix {
    let Some(Refill::Mix(mix)) = &sheet.refill else { panic!("{sheet:?}") };
    mix
}

#[test]
fn on_the_ramp_a_refill_is_aimed_at_the_plan_and_little_clay_is_no_mistake() {
    let mut night = filled_at_nine(34);
    night.until("2027-04-20T16:00");
    let sheet = sheet(&night);
    let plan = sheet.plan.expect("the plan has a band");
    assert!((plan.turbidity.0 - 41.0).abs() < 1e-9, "{plan:?}");
    // 163 L at 15.6 L/h last for ten and a half hours.
    let middle = plan.at.duration_since(night.at("2027-04-20T21:14")).abs();
    assert!(middle.as_mins() < 20, "{plan:?}");
    let mixed = mix(&sheet);
    assert!((sheet.wanted.strength.0 - 11.3).abs() < 0.2, "{:?}", sheet.wanted);
    assert!((mixed.clay.0 - 1.23).abs() < 0.08 && (mixed.water.0 - 130.0).abs() < 2.0, "{mixed:?}");
    // Were what is left known to 1.5 g/L, the head tank would be to 1.3 NTU.
    let shows = sheet.then_shows.expect("water, yield and draw are known");
    let sd = shows.sd.0 * 1.5 / mixed.residual.sd.0;
    assert!((shows.turbidity.0 - 41.0).abs() < 1.0 && (sd - 1.3).abs() < 0.1, "{shows:?} {sd}");

    // Done, written down, and not taken for pounds.
    night.drum("a").holds(175.0);
    night.until("2027-04-20T16:10");
    night.log(Deed::Refill { drum: Some(id("a")), water: Some(Litres(129.5)), clay: Some(Kilograms(1.23)) });
    let said = night.until("2027-04-20T17:02");
    let evening = said.iter().find_map(|said| {
        if let Content::EveningCheck(check) = &said.notice.content { Some(check) } else { None }
    });
    assert_eq!(evening.expect("it is always sent").drums[0].remedy.doubt, None);
}

#[test]
fn a_mix_for_the_night_is_aimed_at_tomorrow_where_the_middle_of_its_life_lies() {
    let mut night = filled_at_nine(33);
    night.until("2027-04-20T16:00");
    let today = sheet(&night);
    // 20:30 and half of ten and a half hours are past midnight.
    night.until("2027-04-20T17:30");
    night.drum("a").holds(80.0);
    night.until("2027-04-20T20:30");
    let tomorrow = sheet(&night);
    let (today, tomorrow) = (today.plan.expect("a band"), tomorrow.plan.expect("a band"));
    assert!((today.turbidity.0 - 47.0).abs() < 1e-9 && (tomorrow.turbidity.0 - 41.0).abs() < 1e-9);
    assert!(tomorrow.at > night.at("2027-04-21T00:00"), "{tomorrow:?}");
    // The pump is turned for the fish of this minute, a mix for those of the middle of its life.
    let dose = night.room.known().dose(night.now, &id("a"), None).expect("all is known");
    assert!((dose.bench.target.0 - 47.0).abs() < 1e-9, "{:?}", dose.bench);
    let mixed = ways(&dose).by_strength.expect("it can be pumped").turbidity;
    assert!((mixed.0 - 41.0).abs() < 0.01, "{mixed:?}");
    // Who asks for a turbidity gets it.
    let asked = night.room.known().dose(night.now, &id("a"), Some(Turbidity(60.0))).expect("all is known");
    assert!((ways(&asked).by_strength.expect("it can be pumped").turbidity.0 - 60.0).abs() < 0.01);
    assert_eq!(asked.plan, None);
}

#[test]
fn a_small_mix_into_much_that_is_left_is_as_unsure_as_what_is_left() {
    let mut night = filled_at_nine(34);
    // 110 L are left.
    night.until("2027-04-20T11:50");
    let sheet = sheet(&night);
    let mixed = mix(&sheet);
    // 11.3 · 175 - 16.5 · 110 = 163 g: 0.4 lb.
    assert!((mixed.water.0 - 65.0).abs() < 1.5 && (mixed.clay.0 - 0.17).abs() < 0.05, "{mixed:?}");
    // Were what is left known to 1.5 g/L, the head tank would be to 3.3 NTU: 1.5 · 110/175 of 11.3 g/L, of 39 NTU.
    let passed_on = mixed.gives_sd.0 / mixed.residual.sd.0;
    let plan = sheet.plan.expect("the plan has a band");
    let ntu = 1.5 * passed_on / sheet.wanted.strength.0 * (plan.turbidity.0 - 2.0);
    assert!((ntu - 3.3).abs() < 0.15, "{ntu}: {mixed:?}");
}

#[test]
fn on_day_37_what_is_left_is_too_strong_and_no_clay_is_wanted() {
    let mut night = filled_at_nine(37);
    // 110 L are left.
    night.until("2027-04-20T11:50");
    let sheet = sheet(&night);
    assert!((sheet.wanted.strength.0 - 6.1).abs() < 0.2, "{:?}", sheet.wanted);
    let Some(Refill::TooStrong(TooStrong { take_out, pump_share, pump, .. })) = &sheet.refill else {
        panic!("{sheet:?}")
    };
    assert!((take_out.0 - 46.0).abs() < 3.0, "{take_out:?}");
    assert!((260.0 * pump_share - 152.0).abs() < 8.0, "{pump_share}");
    let slurry = pump.expect("water, yield and draw are known").slurry;
    assert!((slurry.ml_per_min() - 152.0).abs() < 8.0, "{slurry:?}");
}
