//! Batches, stock and checks by hand: one good file, and each mistake as people read it.

use claymark_model::id::Id;
use claymark_model::site::{Place, Quantity};

use super::{BASE, accepted, around, mistakes};

/// Below the good site file.
const PLAN: &str = r#"
[[batch]]
id = "spring"
name = "Spring batch"
stocked = 2027-04-12
dph = 3
fish_day = 1
ended = "2027-06-10"
tanks = ["t1"]
ramp = "linear"
day = [
  { day = 0, turbidity = [50, 80], exchanges_per_h = 0.3, biomass = "200 g" },
  { day = 30, turbidity = [50, 80], exchanges_per_h = 0.9, temperature_c = [20, 22], oxygen_min_mg_l = 6.5 },
  { day = 40, turbidity = [0, 10] },
]
[stock]
counted_bags = 18
counted_on = 2027-04-12
ordered_bags = 40
ordered_on = 2027-04-13
delivery = "12 days"
delivery_spread = "3 days"
freight = 180
bag_price = 14
pallet_bags = 40
floor_bags = 120
[[hand_check]]
what = "flow"
place = "head"
every = "7 days"
"#;

#[test]
fn a_plan_a_stock_and_a_check_are_read() {
    let site = accepted(&format!("{BASE}{PLAN}"), &around()).settings.site;
    let batch = site.batches.first().expect("it is there");
    let day = |date: &str| batch.on(date.parse().unwrap()).map(|fish| (fish.day, fish.dph));
    assert_eq!((day("2027-04-14"), day("2027-06-10")), (Some((3, 5)), None));
    let band = batch.plan.band(35).expect("planned");
    assert!((band.min() - 25.0).abs() < 1e-9 && (band.max() - 45.0).abs() < 1e-9, "half way down");
    assert_eq!(batch.tanks, [Id::new("t1").unwrap()]);
    assert!((batch.plan.biomass(0).expect("given").0 - 0.2).abs() < 1e-12, "grams become kilograms");
    let stock = site.stock.expect("it is there");
    assert!((stock.delivery_days - 12.0).abs() < 1e-9 && (stock.delivery_sd_days - 3.0).abs() < 1e-9);
    assert!((stock.on_order.expect("given").bags - 40.0).abs() < 1e-9);
    let check = site.hand_checks.first().expect("it is there");
    assert_eq!((check.what, &check.place), (Quantity::Flow, &Place::Head));
}

#[test]
fn a_batch_that_names_no_tank_stands_in_all() {
    let site =
        accepted(&format!("{BASE}{}", PLAN.replace("tanks = [\"t1\"]\n", "")), &around()).settings.site;
    assert_eq!(site.batches.first().expect("it is there").tanks.len(), site.tanks.len());
}

#[test]
fn each_mistake_in_a_plan_says_where_it_is_and_how_to_mend_it() {
    let mut told = String::new();
    for (name, from, to) in CASES {
        assert!(PLAN.contains(from), "{name}: the plan has no {from}");
        told += &format!("==== {name}\n{}", mistakes(&format!("{BASE}{}", PLAN.replacen(from, to, 1))));
    }
    insta::assert_snapshot!("plan-mistakes", told);
}

/// Name, what is replaced, by what.
const CASES: &[(&str, &str, &str)] = &[
    ("no-such-tank", "[\"t1\"]", "[\"t9\"]"),
    ("day-is-no-date", "stocked = 2027-04-12", "stocked = \"12 April\""),
    ("time-instead-of-date", "stocked = 2027-04-12", "stocked = 2027-04-12T08:00:00"),
    ("ends-before-it-begins", "\"2027-06-10\"", "\"2027-04-12\""),
    ("no-dph", "dph = 3\n", ""),
    ("days-not-rising", "day = 30", "day = 0"),
    ("ratio-to-nothing", "\"linear\"", "\"equal ratio\""),
    ("unknown-ramp", "\"linear\"", "\"lineal\""),
    ("reversed-band", "[0, 10]", "[10, 0]"),
    ("misspelt-row-key", "exchanges_per_h = 0.9", "exchange_per_h = 0.9"),
    ("litres-as-exchanges", "exchanges_per_h = 0.9", "exchanges_per_h = 240"),
    (
        "two-batches-in-one-tank",
        "[stock]",
        "[[batch]]\nid = \"b\"\nstocked = 2027-05-01\ndph = 3\ntanks = [\"t1\"]\nday = [{ day = 0 }]\n[stock]",
    ),
    ("no-rows", "day = [\n", "days = [\n"),
    ("order-without-day", "ordered_on = 2027-04-13\n", ""),
    ("pallet-larger-than-floor", "floor_bags = 120", "floor_bags = 12"),
    ("certainty", "freight = 180", "freight = 180\nin_time = 1"),
    ("no-freight", "freight = 180\n", ""),
    ("check-of-nothing", "what = \"flow\"", "what = \"colour\""),
    ("check-nowhere", "place = \"head\"", "place = \"tank:t9\""),
];
