//! What the coming days need by the plan: flow, clay, slurry, refills, and how long the fish have when a drum is dry.

use jiff::civil::Date;
use jiff::{SignedDuration, ToSpan as _};
use serde::{Deserialize, Serialize};

use crate::clay::Clouding;
use crate::clay::response::{Cascade, Residence};
use crate::id::Id;
use crate::plan::FishDay;
use crate::quality::thresholds::Span;
use crate::site::{Place, Site};
use crate::units::{GramsPerLitre, Kilograms, Litres, LitresPerMinute, Turbidity};

/// One day ahead.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct DayAhead {
    /// Which.
    pub date: Date,
    /// The batches that are there, and how old they are.
    pub fish: Vec<(Id, FishDay)>,
    /// The band of the water from the head tank.
    pub band: Span,
    /// What the clay is dosed for.
    pub target: Turbidity,
    /// Water through the head tank.
    pub flow: Option<LitresPerMinute>,
    /// What that day uses; `None`: flow or yield isn't known.
    pub needs: Option<Needs>,
    /// From the target down to the lower end of the band in the slowest tank, once no clay comes any more.
    pub after_dry: Option<SignedDuration>,
}

/// What a day uses.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Needs {
    /// Dry clay.
    pub clay: Kilograms,
    /// In bags.
    pub bags: f64,
    /// Slurry at the strength that the drums are mixed to.
    pub slurry: Litres,
    /// Drums emptied from the full line to the heel.
    pub refills: f64,
}

/// The days from `from` on; `clouding` is what is known of the clay, `now` the flow that is known today, which
/// stands in on days for which the plan says none.
#[must_use]
pub fn ahead(
    site: &Site,
    from: Date,
    days: i32,
    clouding: Option<&Clouding>,
    now: Option<LitresPerMinute>,
) -> Vec<DayAhead> {
    (0..days)
        .filter_map(|day| from.checked_add(day.days()).ok())
        .map(|date| day_ahead(site, date, clouding, now))
        .collect()
}

fn day_ahead(site: &Site, date: Date, clouding: Option<&Clouding>, now: Option<LitresPerMinute>) -> DayAhead {
    let fish: Vec<_> = site.batches_on(date).map(|(batch, fish)| (batch.id.clone(), fish)).collect();
    let band = site.limits_on(&Place::Head, date).turbidity;
    let target = Turbidity(f64::midpoint(band.min(), band.max()));
    // A plan without fish on that day wants no clay; a site without a plan goes on as it is.
    let flow = if site.batches.is_empty() { now } else { site.plan_flow_on(date).or(now) };
    let flow = flow.filter(|_| site.batches.is_empty() || !fish.is_empty());
    let needs = match (flow, clouding) {
        (None, _) if fish.is_empty() && !site.batches.is_empty() => Some(Needs::NONE),
        (Some(flow), Some(clouding)) => Needs::of(site, flow, clouding, target),
        (_, _) => None,
    };
    let background = clouding.map_or(Turbidity(site.clay.background_ntu), |clouding| clouding.background);
    let after_dry = flow.and_then(|flow| after_dry(site, date, flow, background, target, band));
    DayAhead { date, fish, band, target, flow, needs, after_dry }
}

impl Needs {
    const NONE: Self = Self { clay: Kilograms(0.0), bags: 0.0, slurry: Litres(0.0), refills: 0.0 };

    /// Demand of the whole flow, Q (N* - Nb)/(1000 κ) g/min, at the strength of the drums: the mean of their targets.
    fn of(site: &Site, flow: LitresPerMinute, clouding: &Clouding, target: Turbidity) -> Option<Self> {
        let mean = |of: fn(&crate::site::Drum) -> f64| {
            let all: Vec<f64> = site.drums.iter().map(of).collect();
            let number = f64::from(u32::try_from(all.len()).ok().filter(|number| *number > 0)?);
            Some(all.iter().sum::<f64>() / number)
        };
        let strength = GramsPerLitre(mean(|drum| drum.target.0)?);
        let usable = mean(|drum| drum.full.0 - drum.heel.0)?;
        let clay = flow.carrying(clouding.clay_for(target)).in_a_day();
        let slurry = strength.volume_holding(clay)?;
        Some(Self { clay, bags: clay.0 / site.clay.bag.0, slurry, refills: slurry.0 / usable })
    }
}

/// Head tank and rearing tank as stirred tanks in series; of all tanks the one that clears first.
fn after_dry(
    site: &Site,
    date: Date,
    flow: LitresPerMinute,
    background: Turbidity,
    target: Turbidity,
    band: Span,
) -> Option<SignedDuration> {
    let whole: f64 = site.tanks.iter().map(|tank| tank.volume.0).sum();
    let head = Residence::of(site.head_tank.volume, flow)?;
    let of_tank = |tank: &crate::site::Tank| {
        // Without a plan of its own a tank gets its share of the water by its volume.
        let own = site.tank_flow_on(&tank.id, date).unwrap_or(flow * (tank.volume.0 / whole));
        until_below(
            Cascade { head, tank: Residence::of(tank.volume, own)? },
            background,
            target,
            Turbidity(band.min()),
        )
    };
    site.tanks.iter().filter_map(of_tank).min()
}

/// From `target`, with only background flowing in, down to `limit`; `None`: it never comes there.
fn until_below(
    cascade: Cascade,
    background: Turbidity,
    target: Turbidity,
    limit: Turbidity,
) -> Option<SignedDuration> {
    let share = (target - limit).0 / (target - background).0;
    (share > 0.0 && share < 1.0).then(|| cascade.wait(share))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clay::Yield;
    use crate::plan::tests::site;
    use crate::plan::{Batch, Plan, Ramp, Row};
    use crate::site::Tank;

    fn clouding() -> Clouding {
        let clay = Yield { ntu_per_mg_l: 0.85, sd: 0.0, since: None, exponent: 1.0 };
        Clouding { clay, background: Turbidity(2.0) }
    }

    /// 4.5 m3 of tanks behind 450 L, 65 NTU: 19.2 L/min on day 0, 64 on day 30, then down to 5 NTU on day 40.
    fn room() -> Site {
        let mut site = site();
        site.tanks =
            vec![Tank { id: Id::new("t1").unwrap(), name: "All".to_owned(), volume: Litres(4500.0) }];
        site.drums = serde_json::from_value(serde_json::json!([{
            "id": "a", "name": "Drum A", "pump": "p1", "full": 175.0, "heel": 12.0, "target": 18.143_694_8,
            "strapping": { "rows": [[0.0, 0.0], [800.0, 190.0]] },
        }]))
        .unwrap();
        let row = |day, low, high, flow: f64| Row {
            day,
            turbidity: Some(Span::new(low, high).unwrap()),
            exchanges_per_h: Some(flow * 60.0 / 4500.0),
            ..Row::default()
        };
        let rows = vec![
            row(0, 50.0, 80.0, 19.2),
            row(24, 50.0, 80.0, 51.2),
            row(30, 50.0, 80.0, 64.0),
            row(40, 0.0, 10.0, 64.0),
        ];
        site.batches = vec![Batch {
            id: Id::new("spring").unwrap(),
            name: "Spring".to_owned(),
            stocked: "2027-04-01".parse().unwrap(),
            dph_at_stocking: 3,
            day_at_stocking: 0,
            ended: Some("2027-05-20".parse().unwrap()),
            tanks: vec![Id::new("t1").unwrap()],
            plan: Plan::new(Ramp::Linear, rows).unwrap(),
        }];
        site
    }

    #[test]
    fn the_time_after_the_drum_is_dry_shrinks_as_the_fish_grow() {
        // Issue 3, appendix: from 65 to 50 NTU in 87 min on day 0 (19.2 L/min) and 26 min on day 30 (64 L/min).
        let days = ahead(&room(), "2027-04-01".parse().unwrap(), 31, Some(&clouding()), None);
        let minutes = |day: usize| days[day].after_dry.unwrap().as_secs_f64() / 60.0;
        assert!((minutes(0) - 87.0).abs() < 1.0, "{}", minutes(0));
        assert!((minutes(30) - 26.0).abs() < 1.0, "{}", minutes(30));
        assert!(days.windows(2).all(|two| two[1].after_dry <= two[0].after_dry));
    }

    #[test]
    fn a_day_uses_what_flow_band_and_yield_demand() {
        let days = ahead(&room(), "2027-04-01".parse().unwrap(), 41, Some(&clouding()), None);
        // Day 24: 51.2 (65 - 2)/850 = 3.795 g/min (issue 5, appendix C: 209 mL/min at 18.14 g/L), 5.46 kg a day,
        // 301.2 L of slurry, and 163 L between full line and heel.
        let needs = days[24].needs.unwrap();
        assert!((needs.clay.0 - 3.7948 * 1.44).abs() < 1e-3, "{needs:?}");
        assert!(
            (needs.slurry.0 - 0.2091 * 1440.0).abs() < 0.2 && (needs.refills - 1.848).abs() < 2e-3,
            "{needs:?}"
        );
        assert!((needs.bags - needs.clay.0 / 25.0).abs() < 1e-12);
        // The ramp: day 34 wants 41 NTU of 64 L/min, day 40 almost nothing.
        assert!((days[34].needs.unwrap().clay.0 - 64.0 * 39.0 / 850.0 * 1.44).abs() < 1e-6);
        assert!(days[40].needs.unwrap().clay < days[34].needs.unwrap().clay);
    }

    #[test]
    fn before_and_after_the_fish_nothing_is_needed_and_without_a_yield_nothing_is_known() {
        let site = room();
        let day = |date: &str, clouding: Option<&Clouding>| {
            ahead(&site, date.parse().unwrap(), 1, clouding, None).remove(0)
        };
        assert_eq!(day("2027-03-31", Some(&clouding())).needs, Some(Needs::NONE));
        assert_eq!(day("2027-05-20", Some(&clouding())).needs, Some(Needs::NONE));
        let unknown = day("2027-04-10", None);
        assert_eq!((unknown.needs, unknown.flow.map(|flow| flow.0.round())), (None, Some(19.0)));
        let mut fixed = site.clone();
        fixed.batches.clear();
        let now = Some(LitresPerMinute(40.0));
        let goes_on = ahead(&fixed, "2027-04-10".parse().unwrap(), 1, Some(&clouding()), now).remove(0);
        assert!((goes_on.needs.unwrap().clay.0 - 40.0 * 63.0 / 850.0 * 1.44).abs() < 1e-6);
    }
}
