//! The week ahead, the oxygen that the fish take, the days of the plan, and how good the forecasts were.

use std::collections::BTreeMap;

use jiff::{SignedDuration, Timestamp};

use claymark_clay::refill::Refill;
use claymark_clay::{LearnedYield, Yield};
use claymark_model::fieldlog::{Deed, LogEntry};
use claymark_model::forecast::{Basis, EmptyAt, Forecast, Outlook, Subject};
use claymark_model::happening::{Happening, What};
use claymark_model::id::Id;
use claymark_model::plan::{Batch, Plan as Rearing, Ramp, Row};
use claymark_model::quality::Flag;
use claymark_model::quality::thresholds::Span;
use claymark_model::reading::{Assessed, Reading, TestFlags};
use claymark_model::routine::StockRules;
use claymark_model::score::Coverage;
use claymark_model::site::Site;
use claymark_model::skill::{Fate, Lead, MarkForecast};
use claymark_model::units::{Kilograms, Litres, LitresPerHour};
use claymark_report::facts::demand::{FlowFrom, Lack, OxygenDemand};
use claymark_report::facts::skill::{ForecastSkill, IntervalVerdict};
use claymark_report::facts::trace::WeekTrace;
use claymark_report::facts::{HeldRows, WeekFacts, WeekTraces};
use claymark_report::view::View;
use claymark_report::week::Week;

use crate::invented::{self, RoomPlan, id};

/// Two tanks of 280 L; fish day 28 on the Monday, weaned from day 30 on; 1 exchange an hour, 9.33 L/min.
fn site() -> Site {
    let mut site = invented::site(&RoomPlan { tanks: 2, drums: 1, ..RoomPlan::ORDINARY });
    let row = |day, low, high, biomass: f64| Row {
        day,
        turbidity: Some(Span::new(low, high).unwrap()),
        exchanges_per_h: Some(1.0),
        biomass: Some(Kilograms(biomass)),
        ..Row::default()
    };
    site.clay.ntu_per_mg_l = Some(0.5);
    site.batches = vec![Batch {
        id: id("spring"),
        name: "Spring batch".to_owned(),
        stocked: "2026-10-19".parse().unwrap(),
        dph_at_stocking: 3,
        day_at_stocking: 0,
        ended: None,
        tanks: site.tanks.iter().map(|tank| tank.id.clone()).collect(),
        plan: Rearing::new(
            Ramp::Linear,
            vec![row(28, 50.0, 80.0, 1.0), row(30, 50.0, 80.0, 1.2), row(40, 0.0, 30.0, 3.0)],
        )
        .unwrap(),
    }];
    site
}

fn week(site: &Site) -> Week {
    Week::parse("2026-W47", &site.time_zone).unwrap()
}

/// Traces of the named sensors, from the value on each day of the week; four minutes from reading to reading.
fn traces(site: &Site, of: &[(&str, &dyn Fn(usize) -> f64)]) -> BTreeMap<Id, WeekTrace> {
    let week = week(site);
    let mut traces = WeekTraces::new(site, &week, week.end());
    for (sensor, value) in of {
        for (number, day) in week.days().iter().enumerate() {
            for reading in 0..360 {
                let at = day.start + SignedDuration::from_mins(4 * reading);
                let reading = Reading::new(id(sensor), at, value(number));
                let tests = TestFlags::NOT_EVALUATED;
                traces.push(&Assessed { reading, received_at: at, tests, flag: Flag::Pass });
            }
        }
    }
    traces.finish()
}

fn day(number: usize) -> f64 {
    f64::from(u32::try_from(number).unwrap())
}

#[test]
fn oxygen_taken_up_is_flow_times_what_the_water_lost() {
    let site = site();
    let week = week(&site);
    let all = traces(
        &site,
        &[("head-o2", &|_| 9.0), ("tank-t1-o2", &|n| 8.0 - 0.1 * day(n)), ("tank-t2-o2", &|_| 8.5)],
    );
    let demand = OxygenDemand::of(&site, &week, week.end(), &all).unwrap();
    assert_eq!((demand.flow, demand.measured, demand.tanks), (FlowFrom::Plan, 2, 2));
    // By hand: 280/60 L/min each, (1.0 + 0.5) mg/L on Monday: 7 mg/min, 10.08 g a day; 0.672 g more each day.
    let taken: Vec<f64> = demand.days.iter().map(|day| day.demand.unwrap().taken.0 * 1000.0).collect();
    for (number, taken) in taken.iter().enumerate() {
        assert!((taken - (10.08 + 0.672 * day(number))).abs() < 1e-6, "{taken}");
    }
    let per_day = demand.trend.unwrap().taken.per_hour * 24.0 * 1000.0;
    assert!((per_day - 0.672).abs() < 1e-6, "{per_day}");
    // 560/60 L/min from 9 mg/L down to 7: 26.88 g a day.
    assert!((demand.days[0].most.unwrap().0 * 1000.0 - 26.88).abs() < 1e-6);
    let biomass: Vec<f64> = demand.days.iter().map(|day| day.demand.unwrap().biomass.unwrap().0).collect();
    assert!((biomass[0] - 1.0).abs() < 1e-9 && (biomass[2] - 1.2).abs() < 1e-9, "{biomass:?}");
    assert!((biomass[6] - 1.2 * 2.5_f64.powf(0.4)).abs() < 1e-9, "{biomass:?}");
}

#[test]
fn what_lacks_for_the_oxygen_demand_is_named_and_half_a_day_is_no_day() {
    let site = site();
    let week = week(&site);
    let of = |site: &Site, sensors: &[(&str, &dyn Fn(usize) -> f64)]| {
        OxygenDemand::of(site, &week, week.end(), &traces(site, sensors))
    };
    let without = |ending: &str| {
        let mut site = site.clone();
        site.sensors.retain(|sensor| !sensor.id.as_str().ends_with(ending));
        site
    };
    assert_eq!(of(&without("-o2"), &[]), Err(Lack::TankOxygen));
    assert_eq!(of(&without("head-o2"), &[]), Err(Lack::HeadOxygen));
    let mut no_plan = site.clone();
    no_plan.batches.clear();
    assert_eq!(of(&no_plan, &[]), Err(Lack::Flow));
    // A tank that says nothing: the others aren't taken for all.
    let silent = of(&site, &[("head-o2", &|_| 9.0), ("tank-t1-o2", &|_| 8.0)]).unwrap();
    assert!(silent.days.iter().all(|day| day.demand.is_none()) && silent.trend.is_none());
    // One tank without a sensor is left out, and half of the fish with it.
    let one = of(&without("t2-o2"), &[("head-o2", &|_| 9.0), ("tank-t1-o2", &|_| 8.0)]).unwrap();
    assert_eq!((one.measured, one.tanks), (1, 2));
    assert!((one.days[0].demand.unwrap().biomass.unwrap().0 - 0.5).abs() < 1e-9);
    // The week isn't over: Wednesday noon has two whole days.
    let noon = week.days()[2].start + SignedDuration::from_hours(12);
    let all = traces(&site, &[("head-o2", &|_| 9.0), ("tank-t1-o2", &|_| 8.0), ("tank-t2-o2", &|_| 8.0)]);
    assert_eq!(OxygenDemand::of(&site, &week, noon, &all).unwrap().days.len(), 2);
}

/// What is known on Sunday night: a drum with 62 L, filled on Saturday with 163 L of water and 2.94 kg of clay.
fn rows(site: &Site) -> HeldRows {
    let week = week(site);
    let filled = week.end() - SignedDuration::from_hours(30);
    let mut rows = HeldRows {
        forecasts: vec![Forecast {
            at: week.end() - SignedDuration::from_mins(5),
            of: Subject::Drum(id("a")),
            in_use: true,
            outlook: Outlook::Known {
                basis: Basis::Level,
                volume: Litres(62.0),
                draw: LitresPerHour(5.0),
                empty_at: EmptyAt { p05: None, p25: None, p50: None, p75: None, p95: None },
            },
        }],
        happenings: vec![Happening {
            drum: id("a"),
            at: filled,
            what: What::Refilled { added: Litres(163.0), to: Litres(175.0), logged: true },
        }],
        ..HeldRows::default()
    };
    rows.ledger.log(&LogEntry {
        key: "1".to_owned(),
        at: filled,
        received_at: filled,
        by: None,
        replaces: None,
        deed: Deed::Refill { drum: Some(id("a")), water: Some(Litres(161.87)), clay: Some(Kilograms(2.94)) },
    });
    rows
}

#[test]
fn the_week_ahead_has_its_needs_its_stock_and_what_fills_each_drum() {
    let mut site = site();
    site.stock = Some(StockRules {
        counted_bags: 3.0,
        counted_on: "2026-11-02".parse().unwrap(),
        on_order: None,
        delivery_days: 10.0,
        delivery_sd_days: 2.0,
        freight: 180.0,
        bag_price: 14.0,
        holding_share_a_year: 0.25,
        pallet_bags: 10,
        floor_bags: 120,
        one_lot_days: 90.0,
        service: 0.95,
    });
    let week = week(&site);
    let until = week.end();
    let facts = WeekFacts::of(site.clone(), week, until, &traces(&site, &[]), rows(&site));
    let ahead = &facts.ahead;
    let dates: Vec<String> = ahead.days.iter().map(|day| day.date.to_string()).collect();
    assert_eq!((dates.len(), dates[0].as_str(), dates[6].as_str()), (7, "2026-11-23", "2026-11-29"));
    assert_eq!(ahead.days[0].fish[0].1.day, 35);
    // Fish day 35: 40 NTU wanted of 9.333 L/min, no background: 9.333 · 40/500 = 0.7467 g/min, 1.0752 kg a day.
    assert!((ahead.days[0].needs.unwrap().clay.0 - 1.0752).abs() < 1e-6, "{:?}", ahead.days[0]);
    let Some(Refill::Mix(mix)) = &ahead.refills[0].refill else { panic!("{:?}", ahead.refills) };
    // 163 L at 5 L/h last until Tuesday morning; in their middle, on Monday, 5 L/h in (9.333 + 0.083) L/min want 9.04 g/L.
    // By mass balance 9.04 g/L · 175 L - 18.03 g/L · 62 L, to a step of the scale.
    assert!((ahead.refills[0].aim.strength.0 - 9.04).abs() < 0.001, "{:?}", ahead.refills[0].aim);
    assert!(
        (mix.clay.0 - 0.45).abs() < 0.026 && (mix.from, mix.to) == (Litres(62.0), Litres(175.0)),
        "{mix:?}"
    );
    // The days alike, day by day a little weaker, as the band sinks; 0.7467 g/min at 5 L/h without the slurry's own water.
    let strengths: Vec<f64> = ahead.days.iter().map(|day| day.needs.unwrap().mixed.strength().0).collect();
    // From fish day 40 on, Saturday, it is 15 NTU: 3.36 g/L.
    let expected = [8.96, 7.84, 6.72, 5.60, 4.48, 3.36, 3.36];
    assert!(strengths.iter().zip(expected).all(|(a, b)| (a - b).abs() < 1e-6), "{strengths:?}");
    let stock = ahead.stock.unwrap();
    assert!((stock.outlook.on_hand.bags - (3.0 - 2.94 / 22.7)).abs() < 1e-9 && stock.by_plan, "{stock:?}");
    assert!(stock.outlook.order.is_some(), "{stock:?}");
    let pages = serde_json::to_string(&View::of(&facts)).unwrap();
    for expected in [
        "The week ahead: Monday 23 November",
        "35 (38 dph)",
        "9.0 g/L",
        "40 NTU, Mon ",
        "mixed as each day of the plan wants it",
        "0.50 NTU for each mg/L of clay above 0 NTU, as written in the site file",
        "On the dry floor are",
        "crystalline silica",
    ] {
        assert!(pages.contains(expected), "'{expected}' isn't in {pages}");
    }
}

#[test]
fn what_was_learned_of_the_clay_by_the_end_of_the_week_stands_over_the_site_file() {
    let site = site();
    let week = week(&site);
    let learned = |hours, ntu_per_mg_l| {
        let learned_at = week.end() + SignedDuration::from_hours(hours);
        let since = Some("2026-11-12T09:00:00Z".parse().unwrap());
        LearnedYield { learned_at, clay: Yield { ntu_per_mg_l, sd: 0.016, since, exponent: 1.0 } }
    };
    let rows = HeldRows { yields: vec![learned(-30, 0.7), learned(-6, 0.8), learned(6, 0.9)], ..rows(&site) };
    let until = week.end();
    let facts = WeekFacts::of(site.clone(), week.clone(), until, &traces(&site, &[]), rows);
    // 1.0752 kg at 0.5 NTU for each mg/L.
    let clay = facts.ahead.days[0].needs.unwrap().clay.0;
    assert!((clay - 1.0752 * 0.5 / 0.8).abs() < 1e-6, "{clay}");
    let pages = serde_json::to_string(&View::of(&facts)).unwrap();
    let told =
        "0.80 NTU for each mg/L of clay above 0 NTU, learned from the readings (± 0.02, since Thu 12 Nov)";
    assert!(pages.contains(told), "{pages}");
}

#[test]
fn the_oxygen_demand_is_drawn_with_what_the_weight_of_the_fish_would_make_of_it() {
    let site = site();
    let week = week(&site);
    let all = traces(
        &site,
        &[("head-o2", &|_| 9.0), ("tank-t1-o2", &|n| 8.0 - 0.1 * day(n)), ("tank-t2-o2", &|_| 8.5)],
    );
    let until = week.end();
    let demand = OxygenDemand::of(&site, &week, until, &all).unwrap();
    // What each kilogram took up on the fourth of seven days in order of size, times what the fish weigh on a day.
    let each: Vec<f64> = demand.days.iter().map(|day| day.demand.unwrap().per_kilogram().unwrap()).collect();
    let mut sorted = each.clone();
    sorted.sort_by(f64::total_cmp);
    let by_weight = |n: usize| demand.by_weight(&demand.days[n]).unwrap().0;
    assert!((by_weight(0) - sorted[3] * 1.0).abs() < 1e-9 && (by_weight(2) - sorted[3] * 1.2).abs() < 1e-9);
    let facts = WeekFacts::of(site.clone(), week.clone(), until, &all, HeldRows::default());
    let view = View::of(&facts);
    let drawn = |alt: &str| {
        let pages = serde_json::to_value(&view).unwrap();
        assert!(pages["demand"]["picture"]["alt"].as_str().unwrap().starts_with(alt), "{}", pages["demand"]);
        let file = pages["demand"]["picture"]["file"].as_str().unwrap().to_owned();
        view.pictures().iter().find(|(name, _)| *name == file).unwrap().1.clone()
    };
    let svg = drawn(
        "Oxygen that the fish took up, day by day: 10 g on the first day that is known, 14 g on the last; the trend rises.",
    );
    assert_eq!(svg.matches("<circle").count(), 7, "a dot for each day");
    assert!(svg.contains("\ng\n</text>") && svg.contains("Mon"), "{svg}");
    // Half of the week: three days are over.
    let noon = week.days()[3].start + SignedDuration::from_hours(12);
    let facts = WeekFacts::of(site.clone(), week.clone(), noon, &all, HeldRows::default());
    let pages = serde_json::to_value(View::of(&facts)).unwrap();
    let alt = pages["demand"]["picture"]["alt"].as_str().unwrap();
    assert!(alt.ends_with("too few days for a trend."), "{alt}");
    // Nothing known, nothing drawn.
    let facts = WeekFacts::of(site.clone(), week, until, &traces(&site, &[]), HeldRows::default());
    let pages = serde_json::to_value(View::of(&facts)).unwrap();
    assert!(pages["demand"]["picture"].is_null(), "{}", pages["demand"]);
}

#[test]
fn a_drum_whose_volume_is_old_gets_no_sheet_and_a_site_without_stock_is_told_what_to_write() {
    let site = site();
    let week = week(&site);
    let mut rows = rows(&site);
    rows.forecasts[0].at = week.end() - SignedDuration::from_hours(2);
    let until = week.end();
    let facts = WeekFacts::of(site.clone(), week, until, &traces(&site, &[]), rows);
    assert_eq!((facts.ahead.refills[0].holds, facts.ahead.refills[0].refill.clone()), (None, None));
    let pages = serde_json::to_string(&View::of(&facts)).unwrap();
    assert!(pages.contains("write them under [stock]") && pages.contains("read it by eye"), "{pages}");
}

#[test]
fn each_day_of_the_fish_is_held_against_the_band_of_that_day() {
    let site = site();
    let week = week(&site);
    // Band 50 to 80 up to fish day 30 (Wednesday), then 5 lower each day: 55 NTU is inside all week, 47 from Thursday on.
    let all = traces(&site, &[("tank-t1-ntu", &|_| 55.0), ("tank-t2-ntu", &|_| 47.0)]);
    let until = week.end();
    let facts = WeekFacts::of(site.clone(), week, until, &all, HeldRows::default());
    let told: Vec<_> = facts
        .band_days
        .iter()
        .map(|day| {
            let inside = day.shares.percent(day.shares.inside_s).unwrap().round();
            (day.fish[0].1.day, day.band.min().round(), inside, day.least.clone().unwrap().1.round())
        })
        .collect();
    let expected: Vec<_> = [
        (28, 50.0, 50.0, 0.0),
        (29, 50.0, 50.0, 0.0),
        (30, 50.0, 50.0, 0.0),
        (31, 45.0, 100.0, 100.0),
        (32, 40.0, 100.0, 100.0),
        (33, 35.0, 100.0, 100.0),
        (34, 30.0, 100.0, 100.0),
    ]
    .to_vec();
    assert_eq!(told, expected);
}

/// Said at noon of each day: likely in 4 h, each quantile half an hour from the next; it came `late` minutes late.
fn said(days: i64, each_day: i64, late: impl Fn(i64) -> i64) -> Vec<MarkForecast> {
    let start: Timestamp = "2026-10-26T10:00:00Z".parse().unwrap();
    let each = (0..days).flat_map(|day| (0..each_day).map(move |n| (day, n)));
    each.map(|(day, n)| {
        let made_at = start + SignedDuration::from_hours(24 * day) + SignedDuration::from_mins(30 * n);
        let at = |minutes| made_at + SignedDuration::from_mins(minutes);
        let [p05, p25, p50, p75, p95] = [180, 210, 240, 270, 300].map(|minutes| Some(at(minutes)));
        MarkForecast {
            drum: id("a"),
            made_at,
            mark: Litres(60.0),
            lead: Lead::To6h,
            reached: EmptyAt { p05, p25, p50, p75, p95 },
            fate: Fate::Came { at: at(240 + late(day * each_day + n)) },
        }
    })
    .collect()
}

#[test]
fn forecasts_are_judged_by_independent_days_and_too_few_of_them_not_at_all() {
    let site = site();
    let of = |said: &[MarkForecast]| {
        let skill = ForecastSkill::of(&site, said);
        skill.leads.into_iter().find(|lead| lead.lead == Lead::To6h).unwrap()
    };
    // Twenty days, six marks each; one in ten misses, half lie within the inner span.
    let good = of(&said(20, 6, |n| match n % 10 {
        0 => 90,
        1..=4 => 45,
        _ => -10,
    }));
    assert_eq!((good.drum_days, good.outer), (20, Coverage { held: 108, of: 120 }));
    assert_eq!(good.inner, Coverage { held: 60, of: 120 });
    assert_eq!(good.median_off, Some(SignedDuration::from_secs(27 * 60 + 30)), "between 10 and 45 min");
    assert_eq!(good.verdict(), IntervalVerdict::Fits);
    // The bounds are those of 18 in 20 days, not of 108 in 120 near copies (scipy.stats.beta: 0.683 to 0.988).
    let bounds = good.outer_bounds().unwrap();
    assert!((bounds.low - 0.683_017).abs() < 1e-5 && (bounds.high - 0.987_651).abs() < 1e-5, "{bounds:?}");
    assert_eq!(of(&said(20, 6, |n| if n % 2 == 0 { 90 } else { 5 })).verdict(), IntervalVerdict::TooNarrow);
    assert_eq!(of(&said(60, 1, |_| 5)).verdict(), IntervalVerdict::TooWide, "all sixty held");
    assert_eq!(of(&said(9, 20, |n| if n % 2 == 0 { 90 } else { 5 })).verdict(), IntervalVerdict::TooLittle);
    let nothing = ForecastSkill::of(&site, &[]);
    assert!(!nothing.any() && nothing.leads.iter().all(|lead| lead.verdict() == IntervalVerdict::TooLittle));
}

/// A cell's text without the places at which it may break.
fn cells(row: &serde_json::Value) -> Vec<String> {
    let row = row.as_array().unwrap().iter();
    row.map(|cell| cell.as_str().unwrap().replace(['\u{200b}', '\u{a0}'], " ")).collect()
}

/// The pages of a week in which each of the tables has something to say.
fn a_full_week() -> serde_json::Value {
    let site = site();
    let week = week(&site);
    let all = traces(
        &site,
        &[
            ("head-o2", &|_| 9.0),
            ("tank-t1-o2", &|_| 8.0),
            ("tank-t2-o2", &|_| 8.5),
            // Below the band of the first days, then above that of the last ones.
            ("tank-t1-ntu", &|_| 62.0),
            ("tank-t2-ntu", &|_| 47.0),
        ],
    );
    let late = |n: i64| match n % 10 {
        0 => 90,
        1..=4 => 45,
        _ => -10,
    };
    let rows = HeldRows { marks: said(20, 6, late), ..rows(&site) };
    let until = week.end();
    let facts = WeekFacts::of(site.clone(), week, until, &all, rows);
    serde_json::to_value(View::of(&facts)).unwrap()
}

#[test]
fn every_cell_of_the_tables_of_fish_and_week_ahead_stands_in_its_column_with_its_unit() {
    let view = a_full_week();
    for (row, expected) in [
        (
            &view["ahead"]["days"][0],
            &[
                "Mon 23 Nov",
                "35 (38 dph)",
                "25 to 55",
                "9.3 L/min",
                "9.0 g/L",
                "120 L",
                "0.7",
                "1.08 kg",
                "0.05",
                "1 h 10 min",
            ][..],
        ),
        (
            &view["ahead"]["fillings"][0],
            &[
                "Drum A",
                "62 L",
                "18.0 ± 0.4 g/L",
                "0.45 kg",
                "0.02",
                "1",
                "112 L",
                "9.0 ± 0.2 g/L",
                "40 NTU, Mon 16:20",
            ],
        ),
        // Tank 2 lies below the band of the first days, tank 1 above that of the last.
        (
            &view["water"]["days"][2],
            &["Wed 18", "30 (33 dph)", "50 to 80", "50 %", "50 %", "0 %", "0 %", "Tank 2 (0 %)"],
        ),
        (
            &view["water"]["days"][6],
            &["Sun 22", "34 (37 dph)", "30 to 60", "50 %", "0 %", "50 %", "0 %", "Tank 1 (0 %)"],
        ),
        // 4.67 L/min each, 1 and 0.5 mg/L: 10.08 g of 1 kg.
        (&view["demand"]["days"][0], &["Mon 16", "28 (31 dph)", "9.3 L/min", "1.0 kg", "10 g", "10.1"]),
        // Pinball losses of the five quantiles, doubled, in the mean: 10.4 min half the time, 23.4 for four in ten, 62.4 else.
        (
            &view["skill"]["leads"][1]["cells"],
            &["3 to 6 h", "120", "20", "28 min", "50 % (27 to 73)", "90 % (68 to 99)", "21 min"],
        ),
    ] {
        assert_eq!(cells(row), expected);
    }
    let judged = view["skill"]["judged"].as_str().unwrap();
    assert!(judged.contains("since Mon 26 Oct") && judged.contains("5 L marks"), "{judged}");
    let means = view["demand"]["means"].as_str().unwrap();
    assert!(means.contains("all 2 measured of 2 tanks") && means.contains("the plan's exchanges"), "{means}");
}
