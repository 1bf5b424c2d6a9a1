//! Flows that were caught with bucket and watch, held against what else tells the flow: 25 mL for 25 L must not be
//! believed blindly.

use claymark_notice::caught::{CatchDoubt, Witness};
use jiff::Timestamp;

use crate::knowledge::Knowledge;
use claymark_clay::water::FlowCheck;
use claymark_model::id::Id;
use claymark_model::site::Place;
use claymark_model::units::{GramsPerMinute, LitresPerMinute, Turbidity};

impl Knowledge {
    /// What speaks against that catch; `None`: something bears it out, or nothing else is known.
    #[must_use]
    pub fn catch_doubt(
        &self,
        now: Timestamp,
        place: &Place,
        caught: LitresPerMinute,
    ) -> Option<(LitresPerMinute, Witness)> {
        match place {
            Place::Head => self.head_catch_doubt(now, caught),
            Place::Tank(tank) => self.tank_catch_doubt(now, tank, caught),
            Place::Pump(pump) => {
                let pump = self.site.pump(pump)?;
                let most = pump.rated(pump.max_rpm?)?.per_minute();
                (caught.0 > most.0 * PUMP_BEYOND).then_some((most, Witness::PumpLimit))
            }
            Place::Drum(_) | Place::Room => None,
        }
    }

    /// The last catch of each place where it isn't believed.
    #[must_use]
    pub fn doubtful_catches(&self, now: Timestamp) -> Vec<CatchDoubt> {
        let doubt = |(place, check): (&Place, &FlowCheck)| {
            let (expected, by) = self.catch_doubt(now, place, check.flow)?;
            let (key, at, caught) = (check.key.clone(), check.at, check.flow);
            Some(CatchDoubt { key, at, place: place.clone(), caught, expected, by })
        };
        self.water.last_checks(now).filter_map(doubt).collect()
    }

    fn head_catch_doubt(
        &self,
        now: Timestamp,
        caught: LitresPerMinute,
    ) -> Option<(LitresPerMinute, Witness)> {
        let sensor = self.water.sensed_flow(now, &Place::Head).map(|flow| (flow, Witness::Sensor));
        let plan = self.site.plan_flow(now).map(|flow| (flow, Witness::Plan));
        let told: Vec<_> = sensor.into_iter().chain(plan).collect();
        if told.iter().any(|(flow, _)| agree(*flow, caught)) {
            return None;
        }
        let shown = self.water.turbidity(now, &Place::Head).map(|shown| shown.turbidity);
        // Where the clay doesn't arrive the water is clear whatever flows: what is dosed for is a witness, too.
        let turbidities = shown.into_iter().chain([Turbidity(self.site.target_turbidity(now))]);
        let by_clay: Vec<_> = turbidities
            .filter_map(|turbidity| Some((self.flow_by_clay(now, turbidity)?, Witness::Turbidity)))
            .collect();
        if by_clay.iter().any(|(flow, _)| agree(*flow, caught)) {
            return None;
        }
        told.into_iter().chain(by_clay).next()
    }

    fn tank_catch_doubt(
        &self,
        now: Timestamp,
        tank: &Id,
        caught: LitresPerMinute,
    ) -> Option<(LitresPerMinute, Witness)> {
        let sensor =
            self.water.sensed_flow(now, &Place::Tank(tank.clone())).map(|flow| (flow, Witness::Sensor));
        let planned = self.site.tank_flow_on(tank, self.site.date_at(now));
        let plan = planned.map(|flow| (flow, Witness::Plan));
        let tanks = u32::try_from(self.site.tanks.len()).ok().filter(|tanks| *tanks > 0)?;
        let share = || Some((self.fresh_water(now)?.flow * (1.0 / f64::from(tanks)), Witness::Share));
        let told: Vec<_> = sensor.into_iter().chain(plan.or_else(share)).collect();
        if told.iter().any(|(flow, _)| agree(*flow, caught)) { None } else { told.into_iter().next() }
    }

    /// The water that the clay which is fed by the books makes so turbid.
    fn flow_by_clay(&self, now: Timestamp, turbidity: Turbidity) -> Option<LitresPerMinute> {
        let each = self.clouding()?.clay_for(turbidity);
        let drawn = self.records.iter().filter(|record| record.watch.in_use()).filter_map(|record| {
            let strength = record.books(&self.site.clay).left.strength;
            Some(record.watch.expected_draw(now)?.draw.clay(strength))
        });
        let fed = drawn.fold(GramsPerMinute(0.0), |sum, clay| sum + clay);
        let in_a_litre = LitresPerMinute(1.0).carrying(each);
        (fed.0 > 0.0 && in_a_litre.0 > 0.0).then(|| LitresPerMinute(fed.0 / in_a_litre.0))
    }
}

/// A slip of the unit is a factor of a thousand, of the decimal point ten; a valve that was turned rarely makes it five.
fn agree(one: LitresPerMinute, other: LitresPerMinute) -> bool {
    one.0 > 0.0 && (1.0 / FAR..=FAR).contains(&(other.0 / one.0))
}

/// Our own choice.
const FAR: f64 = 5.0;

/// A rating is off by less than a new tube or another head of water makes it (our own choice).
const PUMP_BEYOND: f64 = 1.5;
