//! The water of the room as it is measured: the head tank's turbidity, fresh water, and each tank's share.
//!
//! The fresh water into the head tank has one home here: a flow sensor at the head tank if it speaks, else the last
//! bucket-and-watch check there, else the plan's figure; which of them is always said.

use claymark_model::median::median;
use std::collections::{BTreeMap, VecDeque};

use jiff::{SignedDuration, Timestamp};
use serde::{Deserialize, Serialize};

use claymark_model::fieldlog::{Deed, LogEntry, Place};
use claymark_model::id::Id;
use claymark_model::reading::Assessed;
use claymark_model::site::{Quantity, Site};
use claymark_model::units::{LitresPerMinute, Turbidity};

/// A flow, and how it is known.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct KnownFlow {
    /// The flow.
    pub flow: LitresPerMinute,
    /// How it is known.
    pub by: FlowBy,
}

/// How a flow is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "by", rename_all = "kebab-case")]
pub enum FlowBy {
    /// A flow sensor that speaks.
    Sensor,
    /// Bucket and watch.
    Check {
        /// When.
        at: Timestamp,
    },
    /// The plan.
    Plan,
    /// An equal share of the water through the head tank.
    Share,
}

/// The middle of what a sensor said lately.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Measured {
    /// Median of the last minutes.
    pub turbidity: Turbidity,
    /// When the newest of them was taken.
    pub at: Timestamp,
}

/// Keeps the last minutes of turbidity and flow at each place, and the last flow checks.
#[derive(Debug, Clone)]
pub struct WaterWatch {
    /// Of the sensors that matter: what each is and what it said.
    gauges: BTreeMap<Id, WaterSensor>,
    checks: BTreeMap<Place, Vec<FlowCheck>>,
}

#[derive(Debug, Clone)]
struct WaterSensor {
    place: Place,
    quantity: Quantity,
    /// Longer silence than this is one.
    gap: SignedDuration,
    recent: Recent,
}

/// Readings of the last minutes by their own time.
#[derive(Debug, Clone, Default)]
struct Recent(VecDeque<(Timestamp, f64)>);

/// A flow check as it was written down.
#[derive(Debug, Clone)]
pub struct FlowCheck {
    /// Of the entry.
    pub key: String,
    /// When.
    pub at: Timestamp,
    /// What was caught.
    pub flow: LitresPerMinute,
}

impl WaterWatch {
    /// Of a site; nothing has been heard yet.
    #[must_use]
    pub fn new(site: &Site) -> Self {
        let gauges =
            site.sensors.iter().filter(|s| matches!(s.quantity, Quantity::Turbidity | Quantity::Flow));
        let gauge = |sensor: &claymark_model::site::Sensor| WaterSensor {
            place: sensor.place.clone(),
            quantity: sensor.quantity,
            gap: sensor.thresholds.gap,
            recent: Recent::default(),
        };
        Self { gauges: gauges.map(|s| (s.id.clone(), gauge(s))).collect(), checks: BTreeMap::new() }
    }

    /// Takes a reading; a second time when its spike flag was settled.
    pub fn reading(&mut self, assessed: &Assessed) {
        if let Some(gauge) = self.gauges.get_mut(&assessed.reading.sensor) {
            gauge.recent.take(assessed);
        }
    }

    /// Takes an entry of the field log: flow checks matter.
    pub fn log(&mut self, entry: &LogEntry) {
        for checks in self.checks.values_mut() {
            checks.retain(|check| check.key != entry.key && entry.replaces.as_ref() != Some(&check.key));
        }
        if let Deed::FlowCheck { place: Some(place), volume: Some(volume), seconds: Some(seconds) } =
            &entry.deed
            && let Some(flow) = LitresPerMinute::caught(*volume, *seconds)
        {
            let checks = self.checks.entry(place.clone()).or_default();
            checks.push(FlowCheck { key: entry.key.clone(), at: entry.at, flow });
            checks.sort_by_key(|check| check.at);
            checks.drain(..checks.len().saturating_sub(CHECKS_KEPT));
        }
    }

    /// Fresh water into the head tank; `planned` is what the plan says, where there is one. Of the flow checks the newest
    /// counts that is `believed`.
    #[must_use]
    pub fn fresh(
        &self,
        now: Timestamp,
        planned: Option<LitresPerMinute>,
        believed: impl Fn(LitresPerMinute) -> bool,
    ) -> Option<KnownFlow> {
        let planned = planned.map(|flow| KnownFlow { flow, by: FlowBy::Plan });
        self.flow_at(now, &Place::Head, believed).or(planned)
    }

    /// What a flow sensor at that place says, if it speaks.
    #[must_use]
    pub fn sensed_flow(&self, now: Timestamp, place: &Place) -> Option<LitresPerMinute> {
        self.middle(now, place, Quantity::Flow).map(|(flow, _)| LitresPerMinute(flow))
    }

    /// The last flow check of each place.
    pub fn last_checks(&self, now: Timestamp) -> impl Iterator<Item = (&Place, &FlowCheck)> {
        let last = move |checks: &'_ [FlowCheck]| checks.iter().rposition(|check| check.at <= now);
        self.checks.iter().filter_map(move |(place, checks)| Some((place, checks.get(last(checks)?)?)))
    }

    /// What flows through a rearing tank: measured there, else as `planned`, else its equal share of the water through
    /// the head tank and all tanks.
    #[must_use]
    pub fn through_tank(
        &self,
        now: Timestamp,
        tank: &Id,
        planned: Option<LitresPerMinute>,
        (through, tanks): (LitresPerMinute, usize),
        believed: impl Fn(LitresPerMinute) -> bool,
    ) -> Option<KnownFlow> {
        let planned = planned.map(|flow| KnownFlow { flow, by: FlowBy::Plan });
        let share = || {
            let tanks = u32::try_from(tanks).ok().filter(|tanks| *tanks > 0)?;
            Some(KnownFlow { flow: through * (1.0 / f64::from(tanks)), by: FlowBy::Share })
        };
        self.flow_at(now, &Place::Tank(tank.clone()), believed).or(planned).or_else(share)
    }

    /// The turbidity at a place; `None`: no sensor there spoke lately.
    #[must_use]
    pub fn turbidity(&self, now: Timestamp, place: &Place) -> Option<Measured> {
        let (value, at) = self.middle(now, place, Quantity::Turbidity)?;
        Some(Measured { turbidity: Turbidity(value), at })
    }

    fn flow_at(
        &self,
        now: Timestamp,
        place: &Place,
        believed: impl Fn(LitresPerMinute) -> bool,
    ) -> Option<KnownFlow> {
        let sensor = self.sensed_flow(now, place).map(|flow| KnownFlow { flow, by: FlowBy::Sensor });
        let counts = |check: &&FlowCheck| check.at <= now && believed(check.flow);
        let last = || self.checks.get(place)?.iter().rev().find(counts);
        sensor.or_else(|| {
            last().map(|check| KnownFlow { flow: check.flow, by: FlowBy::Check { at: check.at } })
        })
    }

    fn middle(&self, now: Timestamp, place: &Place, quantity: Quantity) -> Option<(f64, Timestamp)> {
        let here = |gauge: &&WaterSensor| gauge.place == *place && gauge.quantity == quantity;
        self.gauges.values().filter(here).find_map(|gauge| gauge.recent.middle(now, gauge.gap))
    }
}

impl Recent {
    fn take(&mut self, assessed: &Assessed) {
        let at = assessed.reading.at;
        let place = self.0.partition_point(|(known, _)| *known < at);
        let known = self.0.get(place).is_some_and(|(known, _)| *known == at);
        match (assessed.flag.usable(), known) {
            (true, false) => self.0.insert(place, (at, assessed.reading.value)),
            (false, true) => drop(self.0.remove(place)),
            (true, true) | (false, false) => {}
        }
        let newest = self.0.back().map(|(at, _)| *at);
        while let (Some(newest), Some((oldest, _))) = (newest, self.0.front())
            && (*oldest + KEPT < newest || self.0.len() > READINGS_KEPT)
        {
            self.0.pop_front();
        }
    }

    /// Median of the last minutes before the newest reading, unless that is older than `gap`.
    fn middle(&self, now: Timestamp, gap: SignedDuration) -> Option<(f64, Timestamp)> {
        let heard = self.0.iter().rev().find(|(at, _)| *at <= now).map(|(at, _)| *at)?;
        if heard + gap < now {
            return None;
        }
        let mut values: Vec<f64> = self
            .0
            .iter()
            .filter(|(at, _)| *at + MIDDLE_OF > heard && *at <= heard)
            .map(|(_, v)| *v)
            .collect();
        median(&mut values).map(|middle| (middle, heard))
    }
}

/// The median of so long rides over bubbles and spikes.
const MIDDLE_OF: SignedDuration = SignedDuration::from_mins(10);
/// For readings that come out of order.
const KEPT: SignedDuration = SignedDuration::from_mins(20);
/// A sensor that speaks every second fills it.
const READINGS_KEPT: usize = 1200;
const CHECKS_KEPT: usize = 8;

#[cfg(test)]
mod tests {
    use super::*;
    use claymark_invented::id;
    use claymark_model::quality::Flag;
    use claymark_model::reading::{Reading, TestFlags};
    use claymark_model::units::Litres;

    fn at(minute: i64) -> Timestamp {
        Timestamp::from_second(1_800_000_000 + 60 * minute).unwrap()
    }

    fn watch() -> WaterWatch {
        let gauge = |place, quantity| WaterSensor {
            place,
            quantity,
            gap: SignedDuration::from_mins(5),
            recent: Recent::default(),
        };
        let gauges = BTreeMap::from([
            (id("head-flow"), gauge(Place::Head, Quantity::Flow)),
            (id("head-ntu"), gauge(Place::Head, Quantity::Turbidity)),
        ]);
        WaterWatch { gauges, checks: BTreeMap::new() }
    }

    fn said(sensor: &str, minute: i64, value: f64, flag: Flag) -> Assessed {
        let reading = Reading::new(id(sensor), at(minute), value);
        Assessed { reading, received_at: at(minute), tests: TestFlags::NOT_EVALUATED, flag }
    }

    fn check(key: &str, minute: i64, litres: f64, replaces: Option<&str>) -> LogEntry {
        LogEntry {
            key: key.to_owned(),
            at: at(minute),
            received_at: at(minute),
            by: None,
            replaces: replaces.map(str::to_owned),
            deed: Deed::FlowCheck {
                place: Some(Place::Head),
                volume: Some(Litres(litres)),
                seconds: Some(30.0),
            },
        }
    }

    #[test]
    fn fresh_water_is_told_by_the_sensor_then_by_bucket_and_watch_then_by_the_plan() {
        let mut water = watch();
        let plan = Some(LitresPerMinute(48.0));
        assert_eq!(water.fresh(at(0), None, |_| true), None);
        assert_eq!(water.fresh(at(0), plan, |_| true).unwrap().by, FlowBy::Plan);
        water.log(&check("k1", 0, 25.0, None));
        let by_bucket = water.fresh(at(1), plan, |_| true).unwrap();
        assert_eq!((by_bucket.flow, by_bucket.by), (LitresPerMinute(50.0), FlowBy::Check { at: at(0) }));
        assert_eq!(water.fresh(at(1), plan, |flow| flow.0 < 40.0).unwrap().by, FlowBy::Plan, "not believed");
        water.reading(&said("head-flow", 10, 51.2, Flag::Pass));
        assert_eq!(
            water.fresh(at(12), plan, |_| true).unwrap(),
            KnownFlow { flow: LitresPerMinute(51.2), by: FlowBy::Sensor }
        );
        // A silent sensor is no sensor; a corrected entry is none either.
        assert_eq!(water.fresh(at(16), plan, |_| true).unwrap().by, FlowBy::Check { at: at(0) });
        water.log(&check("k2", 1, 24.0, Some("k1")));
        assert_eq!(water.fresh(at(16), plan, |_| true).unwrap().flow, LitresPerMinute(48.0));
    }

    #[test]
    fn a_tank_without_its_own_flow_gets_the_plans_or_its_equal_share() {
        let of = |planned, tanks| {
            watch().through_tank(at(0), &id("t1"), planned, (LitresPerMinute(51.2), tanks), |_| true)
        };
        let known = |flow, by| Some(KnownFlow { flow: LitresPerMinute(flow), by });
        assert_eq!(of(None, 16), known(3.2, FlowBy::Share));
        assert_eq!(of(Some(LitresPerMinute(4.0)), 16), known(4.0, FlowBy::Plan));
        assert_eq!(of(None, 0), None);
    }

    #[test]
    fn the_middle_of_ten_minutes_rides_over_bubbles_and_forgets_what_was_struck_out() {
        let mut water = watch();
        for (minute, ntu) in [(0, 40.0), (11, 64.0), (13, 66.0), (12, 65.0), (14, 240.0)] {
            water.reading(&said("head-ntu", minute, ntu, Flag::NotEvaluated));
        }
        let seen = |water: &WaterWatch| water.turbidity(at(14), &Place::Head).unwrap().turbidity.0;
        assert!((seen(&water) - 65.5).abs() < 1e-9, "an old reading doesn't count: {}", seen(&water));
        water.reading(&said("head-ntu", 14, 240.0, Flag::Fail));
        assert!((seen(&water) - 65.0).abs() < 1e-9);
        assert_eq!(water.turbidity(at(20), &Place::Head), None);
    }
}
