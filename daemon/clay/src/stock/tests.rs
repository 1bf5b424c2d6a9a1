//! Against published worked examples, and the laws of a walk through the days.

use proptest::prelude::*;

use super::order::{HeldBy, StockOutlook, economic_quantity, safety_stock, yearly_cost};
use super::*;
use claymark_model::fieldlog::LogEntry;
use claymark_model::routine::StockRules;

fn near(ours: f64, theirs: f64, tolerance: f64) {
    assert!((ours - theirs).abs() <= tolerance, "{ours} instead of {theirs}");
}

#[test]
fn the_economic_quantity_is_that_of_the_textbooks() {
    // (order cost, holding cost, demand, quantity, cost, tolerances); each row names its source.
    for (source, freight, holding, demand, quantity, cost, by) in [
        // Snyder and Shen 2019, Example 3.1, by stockpyl 1.0.2.
        ("Snyder and Shen", 8.0, 0.225, 1300.0, 304.046_780_026_4, 68.410_525_505_9, 1e-6),
        // Hillier and Lieberman 2001, in the documentation of the package SCperf.
        ("Hillier and Lieberman", 12_000.0, 0.3, 8000.0, 25_298.22, 7589.466, 0.01),
        // Hopp and Spearman, Factory Physics; the cost of the goods left out.
        ("Hopp and Spearman", 500.0, 35.0, 1000.0, 169.0309, 5916.08, 0.01),
    ] {
        let ours = economic_quantity(demand, freight, holding);
        assert!((ours - quantity).abs() <= by, "{source}: {ours} instead of {quantity}");
        near(yearly_cost(ours, demand, freight, holding), cost, by);
    }
    // Harris 1913 wrote √(240 M S/C) for a month's use M, set-up S and unit cost C at 10 % a year: 2190 (from memory).
    near(economic_quantity(12.0 * 1000.0, 2.0, 0.10 * 0.10), 2190.89, 0.01);
}

#[test]
fn ordering_by_another_quantity_costs_what_the_square_root_says() {
    // ½ (r + 1/r): 0.8 costs 1.025, 1.2 costs 1.016 67, 2 costs 1.25 (Snyder and Shen, section 3.2; from memory).
    let best = economic_quantity(1300.0, 8.0, 0.225);
    for (ratio, penalty) in [(0.8, 1.025), (1.2, 1.016_666_7), (2.0, 1.25)] {
        let cost = |quantity| yearly_cost(quantity, 1300.0, 8.0, 0.225);
        near(cost(best * ratio) / cost(best), penalty, 1e-6);
    }
}

#[test]
fn the_reorder_point_is_that_of_the_textbooks() {
    // Heizer, Render and Munson, Operations Management, inventory chapter (from memory): d, σ, L, σL, the service
    // whose z the book rounds, the point, and how far the rounding of z goes.
    for (d, sd, lead, lead_sd, service, point, by) in [
        (15.0, 5.0, 2.0, 0.0, 0.90, 39.05, 0.02),
        (10.0, 0.0, 6.0, 1.0, 0.98, 80.55, 0.02),
        (150.0, 16.0, 5.0, 1.0, 0.95, 1004.44, 1.0),
        // Computed with scipy.stats.norm.ppf.
        (10.0, 2.0, 9.0, 0.0, 0.95, 99.869_122, 1e-5),
    ] {
        near(d * lead + safety_stock(d, sd, lead, lead_sd, service), point, by);
    }
}

fn rules() -> StockRules {
    StockRules {
        counted_bags: 60.0,
        counted_on: "2027-04-01".parse().unwrap(),
        on_order: None,
        delivery_days: 10.0,
        delivery_sd_days: 2.0,
        freight: 180.0,
        bag_price: 14.0,
        holding_share_a_year: 0.25,
        pallet_bags: 40,
        floor_bags: 120,
        one_lot_days: 90.0,
        service: 0.95,
    }
}

fn here(bags: f64) -> OnHand {
    OnHand { bags, on_order: 0.0, came: 0.0, used: 0.0, guessed: 0.0 }
}

fn day(date: &str) -> Date {
    date.parse().unwrap()
}

#[test]
fn clay_is_ordered_before_a_late_delivery_can_find_the_floor_empty() {
    // One bag a day, no spread: 10 bags meanwhile and 1.645 * 2 against late lorries: the point is 13.29.
    let outlook = StockOutlook::of(&rules(), day("2027-04-20"), here(30.0), &[1.0], 0.0);
    let order = outlook.order.unwrap();
    near(order.point, 13.29, 0.01);
    near(order.safety, 3.29, 0.01);
    // 30 bags less 17 days are 13: below the point for the first time.
    assert_eq!((order.on, outlook.days_left), (day("2027-05-07"), Some(30)));
    assert_eq!(outlook.lasts_until, Some(day("2027-05-19")));
    // √(2 · 365 · 180/3.5) = 193.8; five pallets would be cheapest, two last for 90 days.
    near(order.economic, 193.8, 0.1);
    assert_eq!((order.bags, order.held_by), (80, Some(HeldBy::OneLot)));
    let ordered =
        StockOutlook::of(&rules(), day("2027-04-20"), OnHand { on_order: 40.0, ..here(30.0) }, &[1.0], 0.0);
    assert_eq!(ordered.order.unwrap().on, day("2027-06-16"), "40 days later with an order on its way");
}

#[test]
fn what_the_fish_will_use_counts_not_what_they_used() {
    // Today half a bag, but the flow doubles next week and again the week after.
    let uses: Vec<f64> = (0..60).map(|day| [0.5, 1.0, 2.0][(day / 7).min(2)]).collect();
    let outlook = StockOutlook::of(&rules(), day("2027-04-20"), here(30.0), &uses, 0.0);
    // 3.5 + 7 = 10.5 in two weeks, then 2 a day: the rest of 19.5 lasts 9 days more.
    assert_eq!(outlook.days_left, Some(23));
    // On the eleventh day 22.5 are left, and until a delivery 17 and 5.6 for safety are wanted. By the half bag of
    // today it would have been the 47th day, three weeks after the last bag.
    assert_eq!(outlook.order.unwrap().on, day("2027-05-01"), "{outlook:?}");
}

#[test]
fn an_order_is_held_down_by_the_floor_and_by_the_end_of_the_season() {
    let today = day("2027-04-20");
    let long = StockRules { one_lot_days: 1000.0, ..rules() };
    let full = StockOutlook::of(&long, today, here(30.0), &[1.0], 0.0).order.unwrap();
    assert_eq!((full.bags, full.held_by), (80, Some(HeldBy::Floor)), "3 are left, and 120 fit");
    // The fish leave after 60 days; 30 bags are here.
    let season: Vec<f64> = (0..61).map(|day| if day < 60 { 1.0 } else { 0.0 }).collect();
    let last = StockOutlook::of(&long, today, here(30.0), &season, 0.0).order.unwrap();
    assert_eq!((last.bags, last.held_by), (40, Some(HeldBy::PlanEnds)));
    let enough = StockOutlook::of(&long, today, here(60.0), &season, 0.0);
    assert_eq!((enough.order, enough.days_left), (None, None), "nothing to order any more");
    let tiny = StockRules { floor_bags: 30, ..long };
    let none = StockOutlook::of(&tiny, today, here(30.0), &[1.0], 0.0).order.unwrap();
    assert_eq!((none.bags, none.held_by), (0, Some(HeldBy::NoRoom)));
}

#[test]
fn a_late_lorry_costs_the_use_of_the_days_on_which_it_is_late() {
    // Nothing is used yet, and 0.17 bags a day from the twelfth day on, when a delivery of today is due: by hand
    // z·σL·d = 1.645·3·0.17 = 0.84 bags; by the mean of the delivery time it would be none.
    let rules = StockRules { delivery_days: 12.0, delivery_sd_days: 3.0, ..rules() };
    let uses: Vec<f64> = (0..400).map(|day| if day < 12 { 0.0 } else { 0.17 }).collect();
    let order = StockOutlook::of(&rules, day("2027-04-26"), here(0.5), &uses, 0.0).order.unwrap();
    assert_eq!(order.on, day("2027-04-26"));
    near(order.safety, 1.644_854 * 3.0 * 0.17, 1e-4);
    near(order.point, order.safety, 1e-9);
}

fn refill(key: &str, at: &str, clay: Option<f64>, water: Option<f64>) -> LogEntry {
    let at = at.parse().unwrap();
    let (clay, water) = (clay.map(Kilograms), water.map(claymark_model::units::Litres));
    let deed = Deed::Refill { drum: None, water, clay };
    LogEntry { key: key.to_owned(), at, received_at: at, by: None, replaces: None, deed }
}

fn room() -> Site {
    let drums = vec![claymark_invented::drum("a", "p1")];
    Site { drums, stock: Some(rules()), ..claymark_invented::site() }
}

#[test]
fn use_by_the_scale_that_lies_well_off_the_plan_is_told_beside_it() {
    let site = room();
    let clay = crate::Yield { ntu_per_mg_l: 0.85, sd: 0.0, since: None, exponent: 1.0 };
    let clouding = crate::Clouding { clay, background: claymark_model::units::Turbidity(2.0) };
    // 40 L/min at 65 NTU: 40·63/850·1.44 = 4.27 kg a day.
    let water = Some(claymark_model::units::LitresPerMinute(40.0));
    let known = crate::ahead::Today { clouding: Some(clouding), water, slurry: None };
    let planned = 40.0 * 63.0 / 850.0 * 1.44 / site.clay.bag.0;
    let stock = |bags: f64| {
        let mut ledger = Ledger::default();
        for at in ["2027-04-18T07:00:00Z", "2027-04-19T07:00:00Z", "2027-04-20T07:00:00Z"] {
            ledger.log(&refill(at, at, Some(bags * site.clay.bag.0), None));
        }
        crate::stock::supply::Stock::of(&site, &ledger, (day("2027-04-21"), &known)).unwrap()
    };
    let measured = stock(planned * 2.0).measured.expect("twice the plan");
    assert_eq!(measured.days, Some(3));
    near(measured.bags_a_day, planned * 2.0, 1e-9);
    near(measured.planned, planned, 1e-9);
    let (by_plan, by_scale) = (stock(planned * 2.0).outlook.days_left, measured.outlook.days_left);
    assert!(by_scale < by_plan, "{by_scale:?} {by_plan:?}");
    assert_eq!(stock(planned * 1.1).measured, None);
    assert!(stock(planned * 0.5).measured.is_some(), "half of it is off, too");
}

#[test]
fn a_mass_that_no_drum_could_hold_takes_no_bags_off_the_floor() {
    let site = room();
    let mut ledger = Ledger::default();
    ledger.log(&refill("1", "2027-04-18T07:00:00Z", Some(200.0), Some(100.0)));
    let here = OnHand::of(&site, &ledger).unwrap();
    // 100 L at the target of 18 g/L stand in for it.
    assert!(here.used.abs() < 1e-9 && (here.guessed - 1.8 / site.clay.bag.0).abs() < 1e-9, "{here:?}");
}

#[test]
fn what_went_in_of_late_is_known_after_three_days_of_weighing() {
    let site = claymark_invented::site();
    let mut ledger = Ledger::default();
    let bag = site.clay.bag.0;
    let late = |ledger: &Ledger, today| weighed_of_late(&site, ledger, day(today));
    assert_eq!(late(&ledger, "2027-04-20"), None);
    for (key, at) in
        [("1", "2027-04-18T07:00:00Z"), ("2", "2027-04-19T07:00:00Z"), ("3", "2027-04-20T07:00:00Z")]
    {
        ledger.log(&refill(key, at, Some(bag), None));
    }
    assert_eq!(late(&ledger, "2027-04-20"), None, "two days are too few, and today isn't over");
    let (bags, days) = late(&ledger, "2027-04-21").unwrap();
    assert!((bags - 1.0).abs() < 1e-9 && days == 3, "{bags} {days}");
    let (bags, days) = late(&ledger, "2027-04-22").unwrap();
    assert!((bags - 0.75).abs() < 1e-9 && days == 4, "a day without a refill counts: {bags} {days}");
    assert_eq!(late(&ledger, "2027-06-01"), None, "that is long ago");
}

proptest! {
    #[test]
    fn more_on_the_floor_never_brings_the_order_forward(
        bags in 0.0..100.0_f64, more in 0.0..50.0_f64, daily in 0.1..4.0_f64, sd in 0.0..1.0_f64,
    ) {
        let outlook = |bags| StockOutlook::of(&rules(), day("2027-04-20"), here(bags), &[daily], sd);
        let on = |bags| outlook(bags).order.map(|order| order.on);
        if let (Some(less), Some(later)) = (on(bags), on(bags + more)) {
            prop_assert!(less <= later);
        }
        prop_assert!(outlook(bags + more).days_left.is_none_or(|days| Some(days) >= outlook(bags).days_left));
    }

    #[test]
    fn a_longer_or_less_sure_delivery_never_makes_the_safety_stock_smaller(
        daily in 0.0..10.0_f64, sd in 0.0..5.0_f64, lead in 1.0..60.0_f64, lead_sd in 0.0..10.0_f64, more in 0.0..5.0_f64,
    ) {
        let stock = |lead, lead_sd| safety_stock(daily, sd, lead, lead_sd, 0.95);
        prop_assert!(stock(lead + more, lead_sd) >= stock(lead, lead_sd));
        prop_assert!(stock(lead, lead_sd + more) >= stock(lead, lead_sd));
    }
}
