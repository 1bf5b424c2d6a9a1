//! What the coming days need by the plan: flow, clay, slurry, refills, and how long the fish have when a drum is dry.

use jiff::civil::Date;
use jiff::{SignedDuration, ToSpan as _};
use serde::{Deserialize, Serialize};

use crate::Clouding;
use crate::response::{Cascade, Residence};
use claymark_model::id::Id;
use claymark_model::plan::FishDay;
use claymark_model::quality::thresholds::Span;
use claymark_model::site::{Place, Site};
use claymark_model::units::{GramsPerLitre, Kilograms, Litres, LitresPerHour, LitresPerMinute, Turbidity};

/// What is known of the room on the day from which it is looked ahead.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Today {
    /// What clay does to the water.
    pub clouding: Option<Clouding>,
    /// Water into the head tank; it stands in on days for which the plan says none.
    pub water: Option<LitresPerMinute>,
    /// Slurry that all pumps together draw.
    pub slurry: Option<LitresPerHour>,
}

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
    /// What the drums are mixed to.
    pub mixed: Mixed,
    /// Slurry of that strength.
    pub slurry: Litres,
    /// Drums emptied from the full line to the heel.
    pub refills: f64,
}

/// The strength of the drums' mixes on a day.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub enum Mixed {
    /// As the plan wants it, with the pumps as they are today, but for turns that follow the water.
    ByPlan(GramsPerLitre),
    /// To the drums' own target; the pumps follow the plan.
    ToTarget(GramsPerLitre),
}

impl Mixed {
    /// Of finished slurry.
    #[must_use]
    pub fn strength(self) -> GramsPerLitre {
        match self {
            Self::ByPlan(strength) | Self::ToTarget(strength) => strength,
        }
    }
}

/// The days from `from` on, of which something is known `today`.
#[must_use]
pub fn ahead(site: &Site, from: Date, days: i32, today: &Today) -> Vec<DayAhead> {
    let feeding = SlurryToWater::of(site, from, today);
    (0..days)
        .filter_map(|day| from.checked_add(day.days()).ok())
        .map(|date| day_ahead(site, date, today, feeding))
        .collect()
}

fn day_ahead(site: &Site, date: Date, today: &Today, feeding: Option<SlurryToWater>) -> DayAhead {
    let fish: Vec<_> = site.batches_on(date).map(|(batch, fish)| (batch.id.clone(), fish)).collect();
    let band = site.limits_on(&Place::Head, date).turbidity;
    let target = Turbidity(f64::midpoint(band.min(), band.max()));
    // A plan without fish on that day wants no clay; a site without a plan goes on as it is.
    let flow = if site.batches.is_empty() { today.water } else { site.plan_flow_on(date).or(today.water) };
    let flow = flow.filter(|_| site.batches.is_empty() || !fish.is_empty());
    let needs = match (flow, &today.clouding) {
        (None, _) if fish.is_empty() && !site.batches.is_empty() => Some(Needs::NONE),
        (Some(flow), Some(clouding)) => {
            Needs::of(site, flow, feeding, flow.carrying(clouding.clay_for(target)).in_a_day())
        }
        (_, _) => None,
    };
    let background =
        today.clouding.map_or(Turbidity(site.clay.background_ntu), |clouding| clouding.background);
    let after_dry = flow.and_then(|flow| after_dry(site, date, flow, background, target, band));
    DayAhead { date, fish, band, target, flow, needs, after_dry }
}

/// Slurry for each litre of water, as the pumps are set today: they are turned with the water.
#[derive(Debug, Clone, Copy, PartialEq)]
struct SlurryToWater {
    slurry: LitresPerHour,
    water: LitresPerMinute,
}

impl SlurryToWater {
    /// `None`: the plan has no fish, nothing is drawn, or one of both isn't known.
    fn of(site: &Site, from: Date, today: &Today) -> Option<Self> {
        let water = today.water.or_else(|| site.plan_flow_on(from)).filter(|water| water.0 > 0.0)?;
        let slurry = today.slurry.filter(|slurry| slurry.0 > 0.0 && !site.batches.is_empty())?;
        Some(Self { slurry, water })
    }

    /// c = C/Σq, with C a day's clay and Σq turned as the water is.
    fn strength(self, flow: LitresPerMinute, clay: Kilograms) -> Option<GramsPerLitre> {
        let slurry = self.slurry * (flow.0 / self.water.0);
        GramsPerLitre::of(clay, slurry.in_a_day()).filter(|strength| strength.0 > 0.0)
    }
}

impl Needs {
    const NONE: Self = Self {
        clay: Kilograms(0.0),
        bags: 0.0,
        mixed: Mixed::ByPlan(GramsPerLitre(0.0)),
        slurry: Litres(0.0),
        refills: 0.0,
    };

    /// Of a day with so much water and so much clay; without pumps whose draw is known at the mean of the drums' targets.
    fn of(
        site: &Site,
        flow: LitresPerMinute,
        feeding: Option<SlurryToWater>,
        clay: Kilograms,
    ) -> Option<Self> {
        let mean = |of: fn(&claymark_model::site::Drum) -> f64| {
            let all: Vec<f64> = site.drums.iter().map(of).collect();
            let number = f64::from(u32::try_from(all.len()).ok().filter(|number| *number > 0)?);
            Some(all.iter().sum::<f64>() / number)
        };
        let usable = mean(|drum| drum.full.0 - drum.heel.0)?;
        let target = GramsPerLitre(mean(|drum| drum.target.0)?);
        // Thicker slurry can't be pumped: from there on the pumps must go faster.
        let planned =
            feeding.and_then(|feeding| feeding.strength(flow, clay)).map(|c| c.min(site.clay.thickest));
        let mixed = planned.map_or(Mixed::ToTarget(target), Mixed::ByPlan);
        let slurry = mixed.strength().volume_holding(clay)?;
        Some(Self { clay, bags: clay.0 / site.clay.bag.0, mixed, slurry, refills: slurry.0 / usable })
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
    let of_tank = |tank: &claymark_model::site::Tank| {
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
    use crate::Yield;
    use claymark_model::plan::{Batch, Plan, Ramp, Row};
    use claymark_model::site::{Drum, Tank};

    /// κ 0.85 and 2 NTU without clay.
    fn known() -> Today {
        let clay = Yield { ntu_per_mg_l: 0.85, sd: 0.0, since: None, exponent: 1.0 };
        Today { clouding: Some(Clouding { clay, background: Turbidity(2.0) }), ..Today::default() }
    }

    /// 4.5 m3 of tanks behind 450 L, 65 NTU: 19.2 L/min on day 0, 64 on day 30, then down to 5 NTU on day 40.
    fn room() -> Site {
        let mut site = claymark_invented::site();
        site.clay.thickest = GramsPerLitre(60.0);
        site.tanks = vec![Tank { volume: Litres(4500.0), ..claymark_invented::tank(1) }];
        site.drums = vec![Drum { target: GramsPerLitre(18.143_694_8), ..claymark_invented::drum("a", "p1") }];
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
        // By hand, two stirred tanks in series: from 65 to 50 NTU in 87 min on day 0 (19.2 L/min) and 26 min on day 30 (64 L/min).
        let days = ahead(&room(), "2027-04-01".parse().unwrap(), 31, &known());
        let minutes = |day: usize| days[day].after_dry.unwrap().as_secs_f64() / 60.0;
        assert!((minutes(0) - 87.0).abs() < 1.0, "{}", minutes(0));
        assert!((minutes(30) - 26.0).abs() < 1.0, "{}", minutes(30));
        assert!(days.windows(2).all(|two| two[1].after_dry <= two[0].after_dry));
    }

    #[test]
    fn a_day_uses_what_flow_band_and_yield_demand() {
        let days = ahead(&room(), "2027-04-01".parse().unwrap(), 41, &known());
        // Day 24: 51.2 (65 - 2)/850 = 3.795 g/min (209 mL/min at 18.14 g/L), 5.46 kg a day,
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
        let day = |date: &str, today: &Today| ahead(&site, date.parse().unwrap(), 1, today).remove(0);
        assert_eq!(day("2027-03-31", &known()).needs, Some(Needs::NONE));
        assert_eq!(day("2027-05-20", &known()).needs, Some(Needs::NONE));
        let unknown = day("2027-04-10", &Today::default());
        assert_eq!((unknown.needs, unknown.flow.map(|flow| flow.0.round())), (None, Some(19.0)));
        let mut fixed = site.clone();
        fixed.batches.clear();
        let today = Today { water: Some(LitresPerMinute(40.0)), ..known() };
        let goes_on = ahead(&fixed, "2027-04-10".parse().unwrap(), 1, &today).remove(0);
        assert!((goes_on.needs.unwrap().clay.0 - 40.0 * 63.0 / 850.0 * 1.44).abs() < 1e-6);
    }

    #[test]
    fn with_pumps_whose_draw_is_known_each_day_is_mixed_as_the_plan_wants_it() {
        // By hand: day 24 at 209 mL/min wants 18.14 g/L of 51.2 L/min.
        let slurry = Some(LitresPerMinute(0.2091).per_hour());
        let today = Today { water: Some(LitresPerMinute(51.2)), slurry, ..known() };
        let days = ahead(&room(), "2027-04-25".parse().unwrap(), 17, &today);
        let needs = |day: usize| days[day].needs.unwrap();
        let strength = |day: usize| match needs(day).mixed {
            Mixed::ByPlan(strength) => strength.0,
            Mixed::ToTarget(_) => panic!("{:?}", needs(day)),
        };
        assert!(
            (strength(0) - 18.148).abs() < 0.01 && (needs(0).slurry.0 - 301.1).abs() < 0.2,
            "{:?}",
            needs(0)
        );
        // Day 30: the water has grown to 64 L/min, the pumps are turned with it, the strength stays.
        assert!((strength(6) - strength(0)).abs() < 1e-9);
        assert!((needs(6).slurry.0 - 301.1 * 64.0 / 51.2).abs() < 0.2, "{:?}", needs(6));
        // Day 34: 41 NTU instead of 65 of the same water: the same slurry, 39/63 as strong.
        assert!(
            (strength(10) - strength(6) * 39.0 / 63.0).abs() < 1e-9 && needs(10).slurry == needs(6).slurry
        );
        // What no pump can lift isn't mixed: the pumps draw more.
        let slow = Today { slurry: Some(LitresPerHour(2.0)), ..today };
        let thick = ahead(&room(), "2027-04-25".parse().unwrap(), 1, &slow).remove(0).needs.unwrap();
        assert_eq!(thick.mixed, Mixed::ByPlan(GramsPerLitre(60.0)));
        assert!((thick.slurry.0 * 0.06 - thick.clay.0).abs() < 1e-9, "{thick:?}");
    }
}
