//! Both levers and waiting times as they are read, in the invented room of the stories.

use claymark_clay::feed::HeadFeed;
use claymark_clay::levers::Bench;
use claymark_clay::refill::{Counted, Residual, Seen, Wanted};
use claymark_clay::response::{Cascade, Residence};
use claymark_clay::water::Measured;
use claymark_clay::{Clouding, Yield};
use claymark_model::id::Id;
use claymark_model::units::{
    GramsPerLitre, GramsPerMinute, Kilograms, Litres, LitresPerMinute, PeopleUnits, Unit,
};
use claymark_notice::content::Visit;
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
    let feed = HeadFeed {
        water,
        others: GramsPerMinute(0.0),
        clouding: Clouding { clay, background: Turbidity(2.0) },
    };
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
    let as_it_is = bench.now().unwrap();
    Dose {
        at: now(),
        drum: Id::new("a").unwrap(),
        holds: bench.held,
        strength: bench.strength,
        draw: slurry,
        with: Vec::new(),
        beside: Vec::new(),
        beside_feed: feed,
        fresh: KnownFlow { flow: water, by: FlowBy::Sensor },
        visit: Some(visit()),
        plan: None,
        now: Some(as_it_is),
        now_ends: Some(ends(as_it_is.held_lasts)),
        advice: Advice::Set(Box::new(ways(site, &bench, counted))),
        rpm_per_slurry: Some(100.0 / slurry.0),
        response: Some(response()),
        bench,
    }
}

fn visit() -> Visit {
    Visit { at: "2027-04-21T04:30:00Z".parse().unwrap(), margin: SignedDuration::from_hours(1) }
}

fn ends(lasts: Option<SignedDuration>) -> EmptyAt {
    let at = |share| Some(now() + SignedDuration::from_secs_f64(lasts.unwrap().as_secs_f64() * share));
    EmptyAt { p05: at(0.97), p25: at(0.99), p50: at(1.0), p75: at(1.01), p95: at(1.03) }
}

fn ways(site: &Site, bench: &Bench, counted: Counted) -> Ways {
    let night = bench.for_the_night(SignedDuration::from_hours(14), pounds(1.0)).unwrap();
    let refill = |way: &Way| {
        let wanted = Wanted { to: bench.full, strength: way.strength };
        Refill::of(&site.drums[0], &site.clay, wanted, bench.held, counted.clone())
    };
    let by_strength = bench.by_strength();
    Ways {
        by_pump: Bench { target: Turbidity(160.0), ..*bench }.by_pump(),
        by_pump_ends: None,
        by_strength_refill: by_strength.as_ref().ok().map(refill),
        by_strength_ends: by_strength.as_ref().ok().map(|way| ends(way.full_lasts)),
        by_strength,
        night: Some(Night::Mix(Box::new(NightMix {
            refill: refill(&night),
            slurry: night.slurry,
            pump_share: night.slurry.0 / bench.slurry.0,
            ends: ends(night.full_lasts),
            turbidity: night.turbidity,
            mix_alone: bench.feed.turbidity(bench.slurry, night.strength).unwrap(),
        }))),
    }
}

fn with_night(site: &Site, night: Night) -> Dose {
    let mut asked = evening(site);
    if let Advice::Set(ways) = &mut asked.advice {
        ways.night = Some(night);
    }
    asked
}

#[test]
fn full_but_not_enough_names_both_levers_together() {
    let site = in_pounds();
    let told = dose(&site, &evening(&site));
    for expected in [
        "6.3 lb of clay",
        "That gives 5.0",
        "167 mL/min (about 80 rpm)",
        "dry about Wed 10:45",
        "81 NTU: do both",
    ] {
        assert!(told.contains(expected), "{expected} in\n{told}");
    }
    insta::assert_snapshot!(told);
}

#[test]
fn while_the_clay_in_the_drum_does_not_come_no_lever_is_named() {
    let site = in_pounds();
    let mut asked = evening(&site);
    let book = Residual::told(pounds(4.0));
    let seen = Seen {
        strength: pounds(2.1),
        sd: pounds(0.1),
        at: now(),
        turbidity: Turbidity(35.0),
        alone: true,
        can_judge: true,
    };
    asked.advice = Advice::LookFirst(LookFirst { drum: Id::new("a").unwrap(), book, seen });
    let told = dose(&site, &asked);
    for (words, are_said) in [
        ("LOOK FIRST", true),
        ("the drum's air and its diffuser", true),
        ("this clay clouds the water less", true),
        ("Set the pump", false),
        ("set the pump", false),
        ("Mix", false),
        ("FOR THE NIGHT", false),
    ] {
        assert_eq!(told.contains(words), are_said, "'{words}' in\n{told}");
    }
}

#[test]
fn a_pump_that_draws_two_drums_is_set_for_both_and_another_pump_has_its_part() {
    let site = in_pounds();
    let mut asked = evening(&site);
    (asked.draw, asked.with) = (asked.draw * 0.5, vec![Id::new("b").unwrap()]);
    let told = dose(&site, &asked);
    assert!(
        told.contains(
            "drawn at 104 mL/min; the pump brings 209 mL/min (about 100 rpm) from it and Drum B together"
        ),
        "{told}"
    );
    assert!(told.contains("of finished slurry, and Drum B to the same:"), "{told}");
    let beside = Dose { beside: vec![Id::new("b").unwrap()], ..evening(&site) };
    let told = dose(&site, &beside);
    assert!(told.contains("Drum B feeds the head tank, too.") && told.contains("its part is done"), "{told}");
}

#[test]
fn the_night_says_what_is_so() {
    let site = in_pounds();
    for (night, words) in [
        (Night::LastsAsItIs, "As it is it lasts until Wed 08:30: nothing has to be mixed for the night.\n"),
        (Night::LastsTrimmed, "With the pump turned down as in QUICK TRIM it lasts until Wed 08:30"),
        (Night::LastsFilled, "Filled with the new mix as above it lasts until Wed 08:30"),
        (Night::Full, "It is full, and doesn't last until Wed 08:30"),
        (Night::Nothing, "No mix that can be pumped makes the full drum last until Wed 08:30"),
    ] {
        let told = dose(&site, &with_night(&site, night));
        assert!(told.contains(words), "'{words}' in\n{told}");
    }
}

#[test]
fn what_neither_lever_reaches_is_refused_with_what_they_reach() {
    let no = NoDose::OutOfReach { wanted: Turbidity(300.0), least: Turbidity(2.0), most: Turbidity(198.7) };
    let (what, remedy) = no_dose(&room::site(), no);
    assert_eq!(what, "the head tank can't be brought to 300 NTU.");
    assert!(
        remedy.starts_with("Ask for more than 2 NTU, which is the water without clay, and at most 198 NTU:"),
        "{remedy}"
    );
    let (_, remedy) = missing(MissingFigure::FreshWater);
    assert!(remedy.contains("--volume \"25 L\""), "{remedy}");
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
