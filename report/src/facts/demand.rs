//! The oxygen that fish take up, day by day, against what they weigh by the plan.

use std::collections::BTreeMap;

use jiff::civil::Date;
use jiff::{Timestamp, ToSpan as _};

use claymark_clay::oxygen::demand::{Demand, DemandTrend, taken_up};
use claymark_clay::oxygen::reserve::{ComingDay, Reserve};
use claymark_clay::trend::Trend;
use claymark_model::id::Id;
use claymark_model::site::{Place, Quantity, Site};
use claymark_model::units::{Kilograms, LitresPerMinute, MilligramsPerLitre};

use super::trace::{Shares, WeekTrace, mean};
use crate::week::{Day, Week};

/// All tanks that are measured, together.
#[derive(Debug, Clone, PartialEq)]
pub struct OxygenDemand {
    /// Days of the week that are over.
    pub days: Vec<DemandDay>,
    /// How it moved; `None`: too few days are known.
    pub trend: Option<DemandTrend>,
    /// What the fish leave of what the water brings, and for how long; `None`: without a trend nobody knows.
    pub reserve: Option<Reserve>,
    /// Tanks whose oxygen is measured.
    pub measured: usize,
    /// Of how many.
    pub tanks: usize,
    /// How the water through them is known.
    pub flow: FlowFrom,
}

/// One day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DemandDay {
    /// Which.
    pub date: Date,
    /// Water through the tanks.
    pub water: Option<LitresPerMinute>,
    /// What was taken up; `None`: not all of it is known.
    pub demand: Option<Demand>,
    /// What the water can bring in a day before its oxygen comes down to what the fish want at least.
    pub most: Option<Kilograms>,
}

/// How the water through the tanks is known: the first of these that is there.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FlowFrom {
    /// A sensor at each tank.
    Tanks,
    /// The head tank's sensor, shared out as the plan has it, or by volume.
    Head,
    /// The plan.
    Plan,
}

/// Why nothing can be said.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Lack {
    /// No oxygen sensor in any rearing tank.
    TankOxygen,
    /// No oxygen sensor in the head tank.
    HeadOxygen,
    /// Neither a flow sensor nor a plan with flows.
    Flow,
}

impl OxygenDemand {
    /// The first and the last day that are known.
    #[must_use]
    pub fn ends(&self) -> Option<(Demand, Demand)> {
        let mut known = self.days.iter().filter_map(|day| day.demand);
        let first = known.next()?;
        Some((first, known.next_back().unwrap_or(first)))
    }

    /// What a day would have taken, had each kilogram of fish taken up as much as on the middle day of the week.
    #[must_use]
    pub fn by_weight(&self, day: &DemandDay) -> Option<Kilograms> {
        let demands = self.days.iter().filter_map(|day| day.demand);
        let mut each: Vec<f64> = demands.filter_map(|demand| demand.per_kilogram()).collect();
        each.sort_by(f64::total_cmp);
        let middle = each.get(each.len() / 2)?;
        Some(Kilograms(day.demand?.biomass?.0 * middle)).filter(|mass| mass.0.is_finite())
    }

    /// From the traces of the week; or what lacks for it.
    pub fn of(
        site: &Site,
        week: &Week,
        until: Timestamp,
        traces: &BTreeMap<Id, WeekTrace>,
    ) -> Result<Self, Lack> {
        let meters = Meters::of(site, week, traces)?;
        let over = week.days().iter().filter(|day| day.end <= until);
        let days: Vec<DemandDay> = over.map(|day| meters.day(day)).collect();
        let known: Vec<Demand> = days.iter().filter_map(|day| day.demand).collect();
        let trend = DemandTrend::through(&known).filter(drawable);
        let reserve = trend.as_ref().and_then(|trend| meters.reserve(&days, trend));
        Ok(Self {
            trend,
            days,
            reserve,
            measured: meters.outflows.len(),
            tanks: site.tanks.len(),
            flow: meters.flow,
        })
    }
}

/// The sensors that it takes.
struct Meters<'a> {
    site: &'a Site,
    traces: &'a BTreeMap<Id, WeekTrace>,
    inflow: &'a WeekTrace,
    outflows: Vec<(&'a Id, &'a WeekTrace)>,
    flow: FlowFrom,
}

impl<'a> Meters<'a> {
    fn of(site: &'a Site, week: &Week, traces: &'a BTreeMap<Id, WeekTrace>) -> Result<Self, Lack> {
        let trace = |place: &Place, quantity| trace_at(site, traces, place, quantity);
        let in_tank = |tank: &Id, quantity| trace(&Place::Tank(tank.clone()), quantity);
        let measured =
            |tank: &'a claymark_model::site::Tank| Some((&tank.id, in_tank(&tank.id, Quantity::Oxygen)?));
        let outflows: Vec<_> = site.tanks.iter().filter_map(measured).collect();
        if outflows.is_empty() {
            return Err(Lack::TankOxygen);
        }
        let inflow = trace(&Place::Head, Quantity::Oxygen).ok_or(Lack::HeadOxygen)?;
        let planned = || week.days().iter().any(|day| site.plan_flow_on(day.date).is_some());
        let flow = if outflows.iter().all(|(tank, _)| in_tank(tank, Quantity::Flow).is_some()) {
            FlowFrom::Tanks
        } else if trace(&Place::Head, Quantity::Flow).is_some() {
            FlowFrom::Head
        } else if planned() {
            FlowFrom::Plan
        } else {
            return Err(Lack::Flow);
        };
        Ok(Self { site, traces, inflow, outflows, flow })
    }

    fn day(&self, day: &Day) -> DemandDay {
        let inflow = known_mean(self.inflow, day).map(MilligramsPerLitre);
        let water = self.outflows.iter().map(|(tank, _)| Some(self.water(tank, day)?.0)).sum::<Option<f64>>();
        let taken = |(tank, trace): &(&Id, &WeekTrace)| {
            let outflow = MilligramsPerLitre(known_mean(trace, day)?);
            Some(taken_up(self.water(tank, day)?, inflow?, outflow).0)
        };
        let all = self.outflows.iter().map(taken).sum::<Option<f64>>().filter(|all| all.is_finite());
        let least = MilligramsPerLitre(self.site.limits_on(&Place::Head, day.date).oxygen_min_mg_l);
        let water = water.filter(|water| water.is_finite()).map(LitresPerMinute);
        DemandDay {
            date: day.date,
            water,
            demand: all.map(|taken| Demand {
                at: middle(day),
                taken: Kilograms(taken),
                biomass: self.biomass(day.date),
            }),
            most: water
                .zip(inflow)
                .map(|(water, inflow)| taken_up(water, inflow, least))
                .filter(|most| most.0.is_finite()),
        }
    }

    /// Of the last day of which both are known, for as long as the plan says what the fish weigh.
    fn reserve(&self, days: &[DemandDay], trend: &DemandTrend) -> Option<Reserve> {
        let (day, last, most) = days.iter().rev().find_map(|day| Some((day, day.demand?, day.most?)))?;
        let coming = (1..=LOOKED_AHEAD).map_while(|n| self.coming(day.date.checked_add(n.days()).ok()?));
        Reserve::of(&last, trend, most, &coming.collect::<Vec<_>>())
    }

    /// A day that comes; `None` where the plan has said weights and says none for it.
    fn coming(&self, date: Date) -> Option<ComingDay> {
        let at = date.at(12, 0, 0, 0).to_zoned_datetime(self.site.time_zone.clone()).ok()?.timestamp();
        let mut batches = self.site.batches_on(date).peekable();
        let fish = self.site.batches.is_empty() || batches.peek().is_some();
        let planned =
            batches.all(|(batch, fish)| batch.plan.last_weighed().is_none_or(|last| fish.day <= last));
        planned.then(|| ComingDay { date, at, fish, biomass: self.biomass(date) })
    }

    fn water(&self, tank: &Id, day: &Day) -> Option<LitresPerMinute> {
        let sensed = |place: &Place| {
            let trace = trace_at(self.site, self.traces, place, Quantity::Flow)?;
            known_mean(trace, day).map(LitresPerMinute)
        };
        let planned = || self.site.tank_flow_on(tank, day.date);
        match self.flow {
            FlowFrom::Tanks => sensed(&Place::Tank(tank.clone())),
            FlowFrom::Plan => planned(),
            FlowFrom::Head => {
                let of_plan = planned().zip(self.site.plan_flow_on(day.date));
                let share = of_plan.map_or_else(|| self.share_by_volume(tank), |(own, all)| own.0 / all.0);
                Some(sensed(&Place::Head)? * share)
            }
        }
    }

    fn share_by_volume(&self, tank: &Id) -> f64 {
        let whole: f64 = self.site.tanks.iter().map(|tank| tank.volume.0).sum();
        self.site.tanks.iter().filter(|known| known.id == *tank).map(|known| known.volume.0 / whole).sum()
    }

    /// Of the fish in the tanks that are measured; a batch is spread evenly over its tanks.
    fn biomass(&self, date: Date) -> Option<Kilograms> {
        let kilograms = self.site.batches_on(date).map(|(batch, fish)| {
            let measured = batch.tanks.iter().filter(|tank| self.outflows.iter().any(|(id, _)| id == tank));
            let share = number(measured.count()) / number(batch.tanks.len());
            Some(batch.plan.biomass(fish.day)?.0 * share)
        });
        kilograms.sum::<Option<f64>>().filter(|all| *all > 0.0).map(Kilograms)
    }
}

/// Out of figures that no water can have no trend comes.
fn drawable(trend: &DemandTrend) -> bool {
    let of = |trend: &Trend| trend.value.is_finite() && trend.per_hour.is_finite();
    of(&trend.taken) && trend.per_kilogram.as_ref().is_none_or(of)
}

fn trace_at<'a>(
    site: &Site,
    traces: &'a BTreeMap<Id, WeekTrace>,
    place: &Place,
    quantity: Quantity,
) -> Option<&'a WeekTrace> {
    let sensor = site.sensors.iter().find(|sensor| sensor.place == *place && sensor.quantity == quantity)?;
    traces.get(&sensor.id)
}

fn middle(day: &Day) -> Timestamp {
    day.start.saturating_add(day.end.duration_since(day.start) / 2).unwrap_or(day.start)
}

/// Of a day most of which is known.
fn known_mean(trace: &WeekTrace, day: &Day) -> Option<f64> {
    let slots = trace.between(day.start, day.end);
    let shares = Shares::of(slots);
    let enough = shares.percent(shares.known_s()).is_some_and(|percent| percent >= ENOUGH_PERCENT);
    mean(slots).filter(|_| enough)
}

#[expect(clippy::cast_precision_loss, clippy::as_conversions, reason = "tanks of a room")]
fn number(count: usize) -> f64 {
    count as f64
}

/// So many days are looked ahead: no fish stay in a rearing room for longer. Our own choice.
const LOOKED_AHEAD: i64 = 90;

/// Fish breathe more while they are fed: half a day doesn't stand for the whole. Our own choice.
const ENOUGH_PERCENT: f64 = 80.0;
