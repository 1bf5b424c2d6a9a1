//! Both levers and waiting times as they are read, in the invented room of the stories.

use claymark_core::clay::feed::Feed;
use claymark_core::clay::levers::Bench;
use claymark_core::clay::response::{Cascade, Residence};
use claymark_core::clay::{Clouding, Yield};
use claymark_core::id::Id;
use claymark_core::notice::content::{NightMix, Visit};
use claymark_core::refill::{Residual, Wanted};
use claymark_core::room::{FilledUp, NoMix};
use claymark_core::units::{
    GramsPerLitre, GramsPerMinute, Kilograms, Litres, LitresPerMinute, PeopleUnits, Unit,
};
use claymark_core::water::Measured;
use jiff::Timestamp;

use super::*;
use crate::notice::tests::room;

fn now() -> Timestamp {
    "2027-04-20T15:30:00Z".parse().unwrap()
}

fn pounds(per_100_l: f64) -> GramsPerLitre {
    GramsPerLitre(Unit::PoundPer100Litres.to_base(per_100_l))
}

fn in_pounds() -> Site {
    let mut site = room::site();
    site.units =
        PeopleUnits { mass: Unit::Pound, strength: Unit::PoundPer100Litres, ..PeopleUnits::default() };
    site.clay.scale_step = Kilograms(Unit::Pound.to_base(0.1));
    site
}

fn response() -> Response {
    let through = LitresPerMinute(51.2);
    let head = Residence::of(Litres(450.0), through).unwrap();
    let flow = KnownFlow { flow: LitresPerMinute(3.2), by: FlowBy::Share };
    let cascade = Cascade { head, tank: Residence::of(Litres(280.0), flow.flow).unwrap() };
    let shows = Some(Measured { turbidity: Turbidity(64.0), at: now() });
    let tank = TankResponse { tank: Id::new("t1").unwrap(), flow, cascade, shows };
    Response { through, head, head_shows: shows, tanks: vec![tank] }
}

/// 18:30, 62 L at 4.0 lb/100 L, 209 mL/min: the full drum doesn't last until 08:30.
fn evening(site: &Site) -> Dose {
    let slurry = LitresPerHour::from_ml_per_min(209.0);
    let clay = Yield { ntu_per_mg_l: 0.85, sd: 0.04, since: None, exponent: 1.0 };
    let water = LitresPerMinute(51.2) - slurry.per_minute();
    let feed =
        Feed { water, others: GramsPerMinute(0.0), clouding: Clouding { clay, background: Turbidity(2.0) } };
    let bench = Bench {
        feed,
        target: Turbidity(64.95),
        held: Litres(62.0),
        full: Litres(175.0),
        heel: Litres(12.0),
        strength: pounds(4.0),
        slurry,
        slowest: LitresPerHour::from_ml_per_min(60.0),
        fastest: Some(LitresPerHour::from_ml_per_min(400.0)),
        thickest: GramsPerLitre(60.0),
    };
    let counted = Counted::Known(Residual::told(pounds(4.0)));
    let ends = |lasts: Option<SignedDuration>| {
        let at = |share| Some(now() + SignedDuration::from_secs_f64(lasts.unwrap().as_secs_f64() * share));
        EmptyAt { p05: at(0.97), p25: at(0.99), p50: at(1.0), p75: at(1.01), p95: at(1.03) }
    };
    let as_it_is = bench.now().unwrap();
    let night = bench.for_the_night(SignedDuration::from_hours(14), pounds(1.0)).unwrap();
    let wanted = Wanted { to: bench.full, strength: night.strength };
    let by_strength = bench.by_strength();
    Dose {
        at: now(),
        drum: Id::new("a").unwrap(),
        fresh: KnownFlow { flow: water, by: FlowBy::Sensor },
        counted,
        visit: Some(Visit {
            at: "2027-04-21T04:30:00Z".parse().unwrap(),
            margin: SignedDuration::from_hours(1),
        }),
        plan: None,
        now: Some(as_it_is),
        now_ends: Some(ends(as_it_is.held_lasts)),
        by_pump: Bench { target: Turbidity(160.0), ..bench }.by_pump(),
        by_pump_ends: None,
        by_strength_refill: by_strength.as_ref().ok().map(|way| {
            let wanted = Wanted { to: bench.full, strength: way.strength };
            Refill::of(&site.drums[0], &site.clay, wanted, bench.held, counted)
        }),
        by_strength_ends: by_strength.as_ref().ok().map(|way| ends(way.full_lasts)),
        by_strength,
        night: Some(Ok(NightMix {
            refill: Refill::of(&site.drums[0], &site.clay, wanted, bench.held, counted),
            slurry: night.slurry,
            pump_share: night.slurry.0 / slurry.0,
            ends: ends(night.full_lasts),
            turbidity: night.turbidity,
            mix_alone: bench.feed.turbidity(slurry, night.strength).unwrap(),
        })),
        rpm_per_slurry: Some(100.0 / slurry.0),
        response: Some(response()),
        bench,
    }
}

#[test]
fn full_but_not_enough_names_both_levers_together() {
    let site = in_pounds();
    let told = dose(&site, &evening(&site));
    for expected in [
        "5.0 lb/100 L (6.3 lb of clay",
        "167 mL/min (about 80 rpm)",
        "dry about Wed 10:45",
        "81 NTU: do both",
    ] {
        assert!(told.contains(expected), "{expected} in\n{told}");
    }
    insta::assert_snapshot!(told);
}

#[test]
fn where_less_is_wanted_than_comes_without_the_pump_it_is_switched_off() {
    let site = in_pounds();
    for (others, why) in
        [(0.0, "2 NTU and no further, by the water's own"), (1.0, "19 NTU and no further, by what other")]
    {
        let mut asked = evening(&site);
        let feed = Feed { others: GramsPerMinute(others), ..asked.bench.feed };
        asked.by_pump = Bench { target: Turbidity(1.0), feed, ..asked.bench }.by_pump();
        asked.bench.feed = feed;
        let told = dose(&site, &asked);
        assert!(
            told.contains("Switch the pump off: the head tank clears to") && told.contains(why),
            "{told}"
        );
    }
}

#[test]
fn why_no_clay_is_mixed_for_the_night_is_told_with_what_to_do_instead() {
    let site = in_pounds();
    let way = evening(&site).now.unwrap();
    let enough = |fill, way| NoMix::EnoughClay(Box::new(FilledUp { fill: Litres(fill), way, ends: None }));
    let too_slow = Cannot::TooSlow {
        wanted: LitresPerHour::from_ml_per_min(20.0),
        slowest: LitresPerHour::from_ml_per_min(60.0),
    };
    for (none, told) in [
        (
            enough(24.6, Ok(way)),
            "Fill it up with 24 L of water.\nWhen that reaches the intake: set the pump to 209 mL/min",
        ),
        (enough(0.2, Ok(way)), "in the full drum is strong enough.\nNow set the pump to 209 mL/min"),
        (enough(0.2, Err(too_slow)), "strong enough.\nNot possible: it would take 20 mL/min"),
        (NoMix::DrumNotWanted, "No clay is wanted from this drum"),
        (
            NoMix::FullOfWeak,
            "no room for the clay that it lacks. Refill once there is room, in the night if need be.",
        ),
        (NoMix::LookFirst, "Look first"),
        (NoMix::NotKnown, "isn't known now"),
        (NoMix::Never, "plan a refill in the night"),
    ] {
        let said = dose(&site, &Dose { night: Some(Err(none)), ..evening(&site) });
        let night = said.split("FOR THE NIGHT").nth(1).unwrap();
        assert!(night.contains(told), "{told} in\n{night}");
        assert_eq!(night.contains("in the night"), told.contains("in the night"), "{night}");
    }
}

#[test]
fn waiting_times_and_what_each_tank_will_show() {
    insta::assert_snapshot!(waiting(&room::site(), &response(), Some(Turbidity(26.0))));
}

#[test]
fn an_early_reading_tells_where_a_tank_will_end_or_that_it_is_too_early() {
    let (site, response) = (room::site(), response());
    let tank = &response.tanks[0];
    let after = SignedDuration::from_mins(60);
    let ends = tank.cascade.ends(Turbidity(64.0), Turbidity(48.5), after);
    assert_eq!(
        early(&site, tank, ends, after),
        "Tank 1 shows 44 % of a change after 1 h: it is on its way to 29 NTU.\n"
    );
    let soon = SignedDuration::from_mins(5);
    let ends = tank.cascade.ends(Turbidity(64.0), Turbidity(63.0), soon);
    assert!(early(&site, tank, ends, soon).contains("too early to tell"));
}
