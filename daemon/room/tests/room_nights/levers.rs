//! Both levers in a whole room: several drums at once, a pump with two drums, nights that need no mix, and clay that
//! doesn't come.

use claymark_clay::feed::HeadFeed;
use claymark_clay::refill::Refill;
use claymark_model::fieldlog::Deed;
use claymark_model::site::{Draws, Site};
use claymark_model::units::{GramsPerMinute, Kilograms, Litres, LitresPerHour, LitresPerMinute, Turbidity};
use claymark_notice::content::NightMix;
use claymark_notice::dose::{Advice, Dose, Night as ForTheNight, NoDose, Ways};

use crate::night::{RoomNight, id};

pub fn ways(dose: &Dose) -> Ways {
    let Advice::Set(ways) = &dose.advice else { panic!("{:?}", dose.advice) };
    Ways {
        by_pump: ways.by_pump,
        by_pump_ends: ways.by_pump_ends,
        by_strength: ways.by_strength,
        by_strength_refill: ways.by_strength_refill.clone(),
        by_strength_ends: ways.by_strength_ends,
        night: ways.night.clone(),
    }
}

fn dose(night: &RoomNight, drum: &str, target: Option<f64>) -> Dose {
    night.room.known().dose(night.now, &id(drum), target.map(Turbidity)).expect("all is known")
}

fn one_drum(site: &mut Site) {
    site.drums.retain(|drum| drum.id == id("a"));
    site.sensors.retain(|sensor| sensor.id != id("drum-b-level"));
}

/// Drum a alone, so full and drawn so fast, mixed to 18 g/L at noon; asked at five.
fn alone(holds: f64, draws: f64, change: impl FnOnce(&mut Site)) -> RoomNight {
    let mut night = RoomNight::begin_where("2027-04-20T10:00", |site| {
        one_drum(site);
        change(site);
    });
    // As much water for each litre of slurry: the head tank is right at 64 NTU.
    night.fresh_water(44.7 * draws / 9.0);
    let at_noon = holds + 5.0 * draws;
    night.drum("a").holds(at_noon - 60.0 + 2.0 * draws).draws(draws);
    night.until("2027-04-20T12:00");
    night.drum("a").holds(at_noon);
    night.until("2027-04-20T12:10");
    night.log(Deed::Refill { drum: Some(id("a")), water: Some(Litres(59.6)), clay: Some(Kilograms(1.08)) });
    night.until("2027-04-20T17:00");
    night
}

fn mix(dose: &Dose) -> NightMix {
    let Some(ForTheNight::Mix(mix)) = ways(dose).night else { panic!("{:?}", ways(dose).night) };
    *mix
}

#[test]
fn two_drums_that_are_drawn_share_the_correction_and_both_done_give_what_was_asked() {
    let mut night = RoomNight::begin_where("2027-04-20T10:00", |_| {});
    night.drum("a").draws(9.0);
    night.drum("b").draws(5.0);
    night.until("2027-04-20T14:00");
    for target in [35.0, 90.0] {
        let doses = ["a", "b"].map(|drum| dose(&night, drum, Some(target)));
        let (mut trimmed, mut mixed) = (GramsPerMinute(0.0), GramsPerMinute(0.0));
        let (mut slurry, mut as_it_is) = (LitresPerHour(0.0), LitresPerHour(0.0));
        for dose in &doses {
            let ways = ways(dose);
            let (pump, mix) = (ways.by_pump.expect("it can"), ways.by_strength.expect("it can"));
            trimmed = trimmed + pump.slurry.clay(pump.strength);
            mixed = mixed + mix.slurry.clay(mix.strength);
            (slurry, as_it_is) = (slurry + pump.slurry, as_it_is + mix.slurry);
            assert!((pump.turbidity.0 - target).abs() < 0.01 && (mix.turbidity.0 - target).abs() < 0.01);
            assert_eq!(dose.beside.len(), 1);
        }
        let clouding = doses[0].bench.feed.clouding;
        for (clay, slurry) in [(trimmed, slurry), (mixed, as_it_is)] {
            let water = LitresPerMinute(44.7) + slurry.per_minute();
            let all = HeadFeed { water, others: clay, clouding };
            let shows = all.turbidity(LitresPerHour(0.0), doses[0].strength).expect("it flows");
            assert!((shows.0 - target).abs() < 0.5, "{shows:?}, wanted {target}");
        }
    }
}

#[test]
fn a_pump_that_draws_two_drums_at_once_is_set_for_both() {
    let mut night = RoomNight::begin_where("2027-04-20T10:00", |site| {
        site.drums.iter_mut().for_each(|drum| drum.pump = id("p1"));
        site.pumps.iter_mut().for_each(|pump| pump.draws = Draws::Together);
    });
    night.log(Deed::PumpSetting { pump: Some(id("p1")), rpm: Some(100.0) });
    // 105 mL/min from each: 210 in all, 100 rpm by the rating.
    night.drum("a").draws(6.3);
    night.drum("b").draws(6.3);
    night.until("2027-04-20T14:00");
    for drum in ["a", "b"] {
        let dose = dose(&night, drum, None);
        let pump = dose.bench.slurry.ml_per_min();
        assert!((pump - 210.0).abs() < 6.0 && (dose.draw.ml_per_min() - 105.0).abs() < 4.0, "{pump}");
        let rpm = dose.rpm_per_slurry.expect("it was written down") * dose.bench.slurry.0;
        assert!((rpm - 100.0).abs() < 0.1, "{rpm}");
        assert_eq!((dose.with.len(), dose.beside.len()), (1, 0));
        let same = ways(&Dose { ..dose }).by_pump.expect("it can").slurry.ml_per_min();
        // 64 of 65 NTU already.
        assert!(same > 150.0, "{same}");
    }
}

#[test]
fn the_fastest_is_what_the_tube_brings_now_at_the_speed_of_the_site_file() {
    let night = |rpm: f64| {
        let mut night = alone(100.0, 9.0, |_| {});
        night.log(Deed::PumpSetting { pump: Some(id("p1")), rpm: Some(rpm) });
        night.minutes(30);
        night
    };
    // 150 mL/min at 83 rpm: 1.8 mL for each turn of 2.1 by the rating; at 200 rpm 360 mL/min.
    let worn = dose(&night(83.0), "a", None).bench.fastest.expect("a pump with a limit").ml_per_min();
    assert!((worn - 360.0).abs() < 12.0, "{worn}");
    // Nobody wrote down that it was turned up from 20 rpm: the rating stands, and no speed is told.
    let unwritten = dose(&night(20.0), "a", None);
    assert!((unwritten.bench.fastest.expect("a limit").ml_per_min() - 420.0).abs() < 1e-6);
    assert_eq!(unwritten.rpm_per_slurry, None);
}

#[test]
fn a_drum_that_lasts_gets_no_mix_for_the_night_and_one_that_lasts_filled_no_other() {
    // Until 08:30 it is 15.5 h: 139.5 L at 9 L/h.
    let lasts = dose(&alone(165.0, 9.0, |_| {}), "a", Some(64.0));
    assert_eq!(ways(&lasts).night, Some(ForTheNight::LastsAsItIs));
    let filled = dose(&alone(80.0, 9.0, |_| {}), "a", Some(64.0));
    assert_eq!(ways(&filled).night, Some(ForTheNight::LastsFilled));
}

#[test]
fn a_full_drum_is_turned_down_where_it_is_strong_enough_and_else_nothing_can_be_added() {
    let full = alone(176.0, 14.0, |_| {});
    assert_eq!(ways(&dose(&full, "a", Some(30.0))).night, Some(ForTheNight::LastsTrimmed));
    assert_eq!(ways(&dose(&full, "a", Some(64.0))).night, Some(ForTheNight::Full));
}

#[test]
fn for_the_night_the_pump_is_never_turned_up() {
    for (holds, draws, target) in [(80.0, 12.0, 64.0), (40.0, 15.0, 90.0), (60.0, 14.0, 20.0)] {
        let dose = dose(&alone(holds, draws, |_| {}), "a", Some(target));
        let mix = mix(&dose);
        assert!(mix.slurry <= dose.bench.slurry && mix.pump_share <= 1.0, "{mix:?}");
    }
}

#[test]
fn strong_slurry_lasts_the_night_with_water_only_and_a_slower_pump() {
    // By the head tank 50 L of 22.6 g/L, which trimmed to 12 NTU are drawn at 2.6 L/h and dry in 14.5 h. Filled up they are
    // 6.5 g/L, and of 10.5 L/h, which last until 08:30, 12 NTU want 5.6 g/L.
    let night = alone(50.0, 14.0, |_| {});
    let dose = dose(&night, "a", Some(12.0));
    let mix = mix(&dose);
    assert!(matches!(mix.refill, Refill::TooStrong(_) | Refill::WaterOnly { up_to: None, .. }), "{mix:?}");
    assert!((mix.turbidity.0 - 12.0).abs() < 0.01 && mix.pump_share < 1.0, "{mix:?}");
}

#[test]
fn what_neither_lever_reaches_is_refused() {
    let night = alone(100.0, 9.0, |_| {});
    for wanted in [0.0, 900.0] {
        let refused = night.room.known().dose(night.now, &id("a"), Some(Turbidity(wanted)));
        let Err(NoDose::OutOfReach { least, most, .. }) = refused else { panic!("{refused:?}") };
        assert!(least.0 == 0.0 && most.0 > 100.0 && most.0 < 900.0, "{most:?}");
        night.room.known().dose(night.now, &id("a"), Some(Turbidity(most.0 - 1.0))).expect("within reach");
    }
}

#[test]
fn clay_that_is_in_the_drum_and_does_not_come_turns_no_lever_of_any_drum() {
    // 9 L/h of 18 g/L in 45 L/min are 60 mg/L; by 90 L/min the 64 NTU would be twice what comes.
    let mut night = alone(100.0, 9.0, |_| {});
    assert!(matches!(dose(&night, "a", None).advice, Advice::Set(_)));
    night.fresh_water(20.0);
    night.minutes(5);
    let short = dose(&night, "a", None);
    let Advice::LookFirst(look) = &short.advice else { panic!("{short:?}") };
    assert!(look.seen.strength.0 < 0.85 * look.book.strength.0, "{look:?}");
    let visit = night.room.known().next_visit(night.now).expect("there is one");
    let (drums, _) = night.room.known().outlook(night.now, &visit, night.now);
    assert!(
        matches!(drums[0].remedy.refill, Some(Refill::LookFirst { .. })) && drums[0].remedy.night.is_none()
    );
}
