//! The plan of one batch, of several, and of none.

use proptest::prelude::*;

use super::*;
use crate::invented;
use crate::place::Place;
use crate::site::Site;

/// Three tanks.
fn room() -> Site {
    Site { tanks: (1..=3).map(invented::tank).collect(), ..invented::site() }
}

fn band(min: f64, max: f64) -> Option<Span> {
    Some(Span::new(min, max).unwrap())
}

fn row(day: i32, turbidity: Option<Span>) -> Row {
    Row { day, turbidity, ..Row::default() }
}

/// 50 to 80 until day 30, then down until day 40.
fn weaning(ramp: Ramp, to: Option<Span>) -> Plan {
    Plan::new(ramp, vec![row(0, band(50.0, 80.0)), row(30, band(50.0, 80.0)), row(40, to)]).unwrap()
}

fn middle(plan: &Plan, day: i32) -> f64 {
    let band = plan.band(day).unwrap();
    f64::midpoint(band.min(), band.max())
}

#[test]
fn the_band_comes_down_by_the_same_step_or_the_same_ratio_each_day() {
    // By hand: 65 NTU until day 30, then 6 NTU a day down to 5 on day 40.
    let linear = weaning(Ramp::Linear, band(0.0, 10.0));
    for (day, expected) in [(-3, 65.0), (0, 65.0), (30, 65.0), (34, 41.0), (37, 23.0), (40, 5.0), (90, 5.0)] {
        assert!((middle(&linear, day) - expected).abs() < 1e-9, "day {day}");
    }
    // Half way by equal ratio is the geometric mean: sqrt(50 * 8) = 20, sqrt(80 * 20) = 40.
    let ratio = weaning(Ramp::EqualRatio, band(8.0, 20.0)).band(35).unwrap();
    assert!((ratio.min() - 20.0).abs() < 1e-9 && (ratio.max() - 40.0).abs() < 1e-9, "{ratio:?}");
}

#[test]
fn what_hands_set_stands_until_the_next_row() {
    let plan = Plan::new(
        Ramp::Linear,
        vec![
            Row { day: 0, exchanges_per_h: Some(0.3), oxygen_min_mg_l: Some(6.0), ..Row::default() },
            Row { day: 10, exchanges_per_h: Some(0.6), temperature_c: band(20.0, 22.0), ..Row::default() },
        ],
    )
    .unwrap();
    let usual = usual();
    assert_eq!((plan.exchanges_per_h(9), plan.exchanges_per_h(10)), (Some(0.3), Some(0.6)));
    let limits = plan.limits(9, &usual);
    assert_eq!(limits.turbidity, usual.turbidity, "no row has a band: that of [water]");
    assert_eq!(limits.temperature_c, Span::new(20.0, 22.0).unwrap(), "its first row holds before it, too");
    assert!((limits.oxygen_min_mg_l - 6.0).abs() < 1e-12);
}

#[test]
fn biomass_grows_by_the_same_ratio_each_day() {
    let weighed = |day, g: f64| Row { day, biomass: Some(Kilograms(g / 1000.0)), ..Row::default() };
    let plan = Plan::new(Ramp::Linear, vec![weighed(0, 100.0), weighed(20, 1600.0)]).unwrap();
    // Four doublings in 20 days: one in five.
    for (day, grams) in [(0, 100.0), (5, 200.0), (10, 400.0), (20, 1600.0), (25, 1600.0)] {
        assert!((plan.biomass(day).unwrap().0 * 1000.0 - grams).abs() < 1e-6, "day {day}");
    }
}

#[test]
fn rows_that_make_no_plan_are_refused() {
    assert_eq!(Plan::new(Ramp::Linear, vec![]), Err(BadPlan::Empty));
    let twice = vec![row(0, None), row(5, None), row(5, None)];
    assert_eq!(Plan::new(Ramp::Linear, twice), Err(BadPlan::NotRising(3)));
    let to_zero = vec![row(0, band(50.0, 80.0)), row(10, band(0.0, 10.0))];
    assert_eq!(Plan::new(Ramp::EqualRatio, to_zero.clone()), Err(BadPlan::RatioOfNothing(2)));
    assert!(Plan::new(Ramp::Linear, to_zero).is_ok());
}

#[test]
fn fish_are_counted_in_days_of_the_wall_calendar_also_when_clocks_change() {
    let batch = batch("spring", "2027-03-20", &["t1"], weaning(Ramp::Linear, band(0.0, 10.0)));
    let on = |date: &str| batch.on(date.parse().unwrap()).map(|fish| (fish.day, fish.dph));
    assert_eq!(on("2027-03-19"), None, "not there yet");
    assert_eq!(on("2027-03-20"), Some((2, 5)), "they brought two days along");
    // Clocks go forward on 28 March 2027 in Helsinki: that day counts as one, too.
    assert_eq!(on("2027-03-29"), Some((11, 14)));
    assert_eq!(on("2027-04-30"), None, "they have left");
    assert_eq!(batch.date_of(11), Some("2027-03-29".parse().unwrap()));
}

#[test]
fn each_tank_has_the_band_of_its_fish_and_the_head_tank_what_suits_all() {
    let mut site = room();
    let at = |date: &str| date.parse::<Date>().unwrap();
    assert_eq!(site.limits_on(&tank("t1"), at("2027-04-01")), site.water, "no batch: the fixed limits");
    let young = Plan::new(Ramp::Linear, vec![row(0, band(50.0, 80.0))]).unwrap();
    let old = Plan::new(Ramp::Linear, vec![row(0, band(40.0, 60.0))]).unwrap();
    site.batches =
        vec![batch("young", "2027-03-20", &["t1"], young), batch("old", "2027-03-20", &["t2"], old)];
    let turbidity = |site: &Site, place| site.limits_on(&place, at("2027-04-01")).turbidity;
    assert_eq!(Some(turbidity(&site, tank("t1"))), band(50.0, 80.0));
    assert_eq!(Some(turbidity(&site, tank("t2"))), band(40.0, 60.0));
    assert_eq!(turbidity(&site, tank("t3")), site.water.turbidity, "an empty tank");
    assert_eq!(Some(turbidity(&site, Place::Head)), band(50.0, 60.0), "where both meet");
    let apart = Plan::new(Ramp::Linear, vec![row(0, band(5.0, 15.0))]).unwrap();
    if let Some(old) = site.batches.last_mut() {
        old.plan = apart;
    }
    assert_eq!(
        Some(turbidity(&site, Place::Head)),
        band(5.0, 80.0),
        "they don't meet: from one to the other"
    );
    assert!((site.target_turbidity("2027-04-01T09:00:00Z".parse().unwrap()) - 42.5).abs() < 1e-9);
}

#[test]
fn the_day_changes_at_midnight_on_the_wall() {
    let mut site = room();
    site.batches = vec![batch("spring", "2027-03-20", &["t1"], weaning(Ramp::Linear, band(0.0, 10.0)))];
    // Fish day 34 begins on 21 April, 00:00 in Helsinki, which is 21:00 UTC on the 20th.
    let lowest = |at: &str| site.limits_at(&tank("t1"), at.parse().unwrap()).turbidity.min();
    assert!((lowest("2027-04-20T20:59:59Z") - 35.0).abs() < 1e-9);
    assert!((lowest("2027-04-20T21:00:00Z") - 30.0).abs() < 1e-9);
}

#[test]
fn flow_is_exchanges_of_each_tanks_own_volume() {
    let mut site = room();
    assert_eq!(site.plan_flow_on("2027-04-01".parse().unwrap()), None, "no fish, no plan");
    let plan = |exchanges| {
        Plan::new(Ramp::Linear, vec![Row { exchanges_per_h: exchanges, ..Row::default() }]).unwrap()
    };
    let there = |exchanges| batch("spring", "2027-03-20", &["t1", "t2"], plan(exchanges));
    site.batches = vec![there(Some(0.6))];
    let date = "2027-04-01".parse().unwrap();
    // 0.6 times 280 L in an hour are 2.8 L/min, and so for both tanks.
    let flow = site.tank_flow_on(&Id::new("t1").unwrap(), date).unwrap();
    assert!((flow.0 - 2.8).abs() < 1e-9, "{flow:?}");
    assert!((site.plan_flow_on(date).unwrap().0 - 5.6).abs() < 1e-9);
    site.batches = vec![there(None)];
    assert_eq!(site.plan_flow_on(date), None);
}

proptest! {
    #[test]
    fn a_band_between_two_rows_lies_between_theirs_and_moves_one_way(
        from in 20.0..90.0_f64, width in 1.0..40.0_f64, to in 1.0..15.0_f64, ratio in any::<bool>(),
    ) {
        let ramp = if ratio { Ramp::EqualRatio } else { Ramp::Linear };
        let plan = Plan::new(ramp, vec![row(0, band(from, from + width)), row(10, band(to, to + width))]).unwrap();
        let lows: Vec<f64> = (0..=10).map(|day| plan.band(day).unwrap().min()).collect();
        prop_assert!(lows.windows(2).all(|pair| pair[1] <= pair[0] + 1e-9), "{lows:?}");
        prop_assert!(lows.iter().all(|low| (to - 1e-9..=from + 1e-9).contains(low)));
    }
}

fn usual() -> WaterLimits {
    WaterLimits {
        turbidity: Span::new(45.0, 85.0).unwrap(),
        temperature_c: Span::new(19.0, 21.0).unwrap(),
        oxygen_min_mg_l: 5.0,
    }
}

fn tank(id: &str) -> Place {
    Place::Tank(Id::new(id).unwrap())
}

/// Stocked at 3 dph on its fish day 2, gone on 30 April 2027.
fn batch(id: &str, stocked: &str, tanks: &[&str], plan: Plan) -> Batch {
    Batch {
        id: Id::new(id).unwrap(),
        name: id.to_owned(),
        stocked: stocked.parse().unwrap(),
        dph_at_stocking: 5,
        day_at_stocking: 2,
        ended: Some("2027-04-30".parse().unwrap()),
        tanks: tanks.iter().map(|tank| Id::new(tank).unwrap()).collect(),
        plan,
    }
}
