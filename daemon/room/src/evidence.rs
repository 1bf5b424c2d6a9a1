//! What the rules of failures look at: traces of the sensors, drums, the journal; nothing that is told.
//!
//! - [`trace`]: the last hours of one sensor;
//! - [`shift`]: a lasting change in it, as a stirred tank would show it;
//! - [`breakpoint`]: a drum's draw before and after a time that another sensor names;
//! - [`lifted`]: times in which a probe was out of its water;
//! - [`drum`], [`water`]: drums and tanks as the rules see them; [`feed`]: what each drum brings;
//! - [`journal`]: what people wrote down of late; [`days`]: an hourly line on draw and clay.

pub(crate) mod breakpoint;
pub(crate) mod days;
pub(crate) mod drum;
pub(crate) mod feed;
pub(crate) mod journal;
pub(crate) mod lifted;
pub(crate) mod step_change;
pub(crate) mod trace;
pub(crate) mod water;

use jiff::Timestamp;

use crate::knowledge::Knowledge;
use crate::scene::Scene;
use claymark_clay::yields::YieldChange;
use claymark_model::forecast::Forecast;
use claymark_model::site::{Place, Quantity, Sensor, Site, WaterLimits};
use claymark_model::units::GramsPerLitre;
use claymark_notice::Failure;
use claymark_notice::content::Visit;
use claymark_notice::failure::Limited;
use days::Days;
use drum::DrumSight;
use journal::Journal;
use trace::Trace;
use water::{Around, Turbid};

/// Everything that a rule may look at, at one moment.
pub(crate) struct Evidence<'a> {
    pub(crate) now: Timestamp,
    pub(crate) site: &'a Site,
    /// The next visit after nobody is there: of tonight, or of the night to come.
    pub(crate) next_visit: Option<Visit>,
    /// Nobody is there.
    pub(crate) away: bool,
    /// In the order of the site file.
    pub(crate) drums: Vec<DrumSight<'a>>,
    /// Turbidity of the head tank, where a sensor tells it.
    pub(crate) head: Option<Turbid<'a>>,
    /// Turbidity of the rearing tanks that have a sensor.
    pub(crate) tanks: Vec<Turbid<'a>>,
    pub(crate) journal: &'a Journal,
    pub(crate) days: &'a Days,
    /// The last time that the clay's yield was found to have changed.
    pub(crate) yield_change: Option<YieldChange>,
    /// For which of the water's limits people are being called, since fish are in danger.
    danger: Vec<Limited>,
    known: &'a Knowledge,
    forecasts: &'a [Forecast],
}

impl<'a> Evidence<'a> {
    /// Of this look.
    pub(crate) fn of(known: &'a Knowledge, scene: &'a Scene) -> Self {
        let site = &known.site;
        let residence = residence(known, scene.now);
        let turbid = |sensor: &'a Sensor| {
            let trace = known.traces.of(&sensor.id)?;
            let residence = residence.filter(|_| sensor.place == Place::Head);
            let around = Around { background: site.clay.background_ntu, residence };
            Some(Turbid::at(scene.now, sensor, trace, &around))
        };
        let turbidity = || site.sensors.iter().filter(|sensor| sensor.quantity == Quantity::Turbidity);
        let drums = known.records.iter().zip(&scene.forecasts);
        Self {
            now: scene.now,
            site,
            next_visit: known.next_visit(scene.now),
            away: scene.visit.is_some(),
            drums: drums.map(|(record, forecast)| DrumSight::of(record, forecast, &known.journal)).collect(),
            head: turbidity().find(|sensor| sensor.place == Place::Head).and_then(turbid),
            tanks: turbidity()
                .filter(|sensor| matches!(sensor.place, Place::Tank(_)))
                .filter_map(turbid)
                .collect(),
            journal: &known.journal,
            days: &known.learned.days,
            yield_change: known.learned.change,
            danger: Vec::new(),
            known,
            forecasts: &scene.forecasts,
        }
    }

    /// The same, while people are called for these.
    pub(crate) fn in_danger(self, danger: Vec<Limited>) -> Self {
        Self { danger, ..self }
    }

    /// Whether people are being called since that endangers fish.
    pub(crate) fn is_danger(&self, of: Limited) -> bool {
        self.danger.contains(&of)
    }

    /// What the fish of a place want of their water today: by their plan, else by the site file.
    pub(crate) fn limits(&self, place: &Place) -> WaterLimits {
        self.site.limits_at(place, self.now)
    }

    /// What a drum that is filled now should hold.
    pub(crate) fn aim(&self, drum: &DrumSight<'_>) -> GramsPerLitre {
        self.known.aim(self.now, drum.record, self.forecasts).strength
    }

    /// Whether a sensor misses its readings.
    pub(crate) fn overdue(&self, sensor: &Sensor) -> bool {
        self.known.sensors.overdue(&sensor.id, self.now)
    }

    /// Since when the water of a place has been outside all along and stays near `is`.
    pub(crate) fn outside_all_along(
        &self,
        place: &Place,
        quantity: Quantity,
        (is, slack): (f64, f64),
    ) -> Option<Timestamp> {
        let (sensor, _) = self.sensor(place, quantity)?;
        self.known.all_along.since(&sensor.id, self.now, (is, slack))
    }

    /// When a sensor last spoke, min since 1970.
    pub(crate) fn last_heard(&self, sensor: &Sensor) -> Option<f64> {
        self.known.sensors.last(&sensor.id).map(trace::minutes)
    }

    /// What a flow meter read in the hour before `since` and reads now, L/min.
    pub(crate) fn flow_changed(&self, place: &Place, since: Timestamp) -> Option<(f64, f64)> {
        let (_, trace) = self.sensor(place, Quantity::Flow)?;
        let (since, now) = (trace::minutes(since), trace::minutes(self.now));
        let before = trace::middle(&trace.between(since - 60.0, since - 3.0))?;
        Some((before, trace::middle(&trace.between(now - 4.0, now))?))
    }

    /// Whether the head tank has come back to what it was before a failure, within a share of it.
    pub(crate) fn turbidity_is_back(&self, failure: &Failure, share: f64) -> bool {
        let now = trace::minutes(self.now);
        let is = self.head.as_ref().and_then(|head| trace::middle(&head.trace.between(now - 5.0, now)));
        let was = failure.turbidity_before();
        is.zip(was).is_some_and(|(is, was)| (is - was).abs() <= share * was)
    }

    /// The sensor of a quantity at a place, with its trace.
    pub(crate) fn sensor(&self, place: &Place, quantity: Quantity) -> Option<(&'a Sensor, &'a Trace)> {
        let of = |sensor: &&'a Sensor| sensor.place == *place && sensor.quantity == quantity;
        let sensor = self.site.sensors.iter().find(of)?;
        Some((sensor, self.known.traces.of(&sensor.id)?))
    }
}

/// min in which the head tank's water is exchanged once: by its flow meter as it read before anything changed,
/// else by what else is known of the fresh water.
fn residence(known: &Knowledge, now: Timestamp) -> Option<f64> {
    let meter = |sensor: &&Sensor| sensor.place == Place::Head && sensor.quantity == Quantity::Flow;
    let now_minutes = trace::minutes(now);
    let metered = known.site.sensors.iter().find(meter).and_then(|sensor| known.traces.of(&sensor.id));
    let metered =
        metered.and_then(|trace| trace::middle(&trace.between(now_minutes - METER_MINUTES, now_minutes)));
    let fresh = known.fresh_water(now).map(|fresh| fresh.flow.0);
    let flow = metered.or(fresh).filter(|flow| *flow > 0.0)?;
    Some(known.site.head_tank.volume.0 / flow)
}

/// min. The middle of so long a time isn't moved by what just happened.
const METER_MINUTES: f64 = 240.0;
