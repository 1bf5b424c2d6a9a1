//! What the fish of a site want, day by day: the plans of its batches, each in its tanks.

use jiff::Timestamp;
use jiff::civil::Date;

use crate::id::Id;
use crate::limits::WaterLimits;
use crate::place::Place;
use crate::plan::{Batch, FishDay};
use crate::site::Site;
use crate::units::{LitresPerMinute, Unit};

impl Site {
    /// The batch that stands in a tank on that day.
    #[must_use]
    pub fn batch_in(&self, tank: &Id, date: Date) -> Option<(&Batch, FishDay)> {
        self.batches.iter().filter(|batch| batch.tanks.contains(tank)).find_map(|b| Some((b, b.on(date)?)))
    }

    /// The batches that are there on that day.
    pub fn batches_on(&self, date: Date) -> impl Iterator<Item = (&Batch, FishDay)> {
        self.batches.iter().filter_map(move |batch| Some((batch, batch.on(date)?)))
    }

    /// What the fish of a place want on that day; the head tank serves all of them.
    #[must_use]
    pub fn limits_on(&self, place: &Place, date: Date) -> WaterLimits {
        if let Place::Tank(tank) = place {
            let batch = self.batch_in(tank, date);
            return batch
                .map_or_else(|| self.water.clone(), |(b, fish)| b.plan.limits(fish.day, &self.water));
        }
        self.batches_on(date)
            .map(|(batch, fish)| batch.plan.limits(fish.day, &self.water))
            .reduce(WaterLimits::shared)
            .unwrap_or_else(|| self.water.clone())
    }

    /// What the fish of a place want at that time.
    #[must_use]
    pub fn limits_at(&self, place: &Place, at: Timestamp) -> WaterLimits {
        // A site without batches is asked for each hour of each sensor: its calendar needn't be looked at.
        if self.batches.is_empty() { self.water.clone() } else { self.limits_on(place, self.date_at(at)) }
    }

    /// The turbidity that the clay is dosed for: the middle of the head tank's band at that time.
    ///
    /// A mix that lasts for hours while the band moves is aimed at the time in the middle of its life.
    #[must_use]
    pub fn target_turbidity(&self, at: Timestamp) -> f64 {
        let band = self.limits_at(&Place::Head, at).turbidity;
        f64::midpoint(band.min(), band.max())
    }

    /// The same, where the plan of a batch says it.
    #[must_use]
    pub fn planned_turbidity(&self, at: Timestamp) -> Option<f64> {
        let planned = |(batch, fish): (&Batch, FishDay)| batch.plan.band(fish.day).is_some();
        self.batches_on(self.date_at(at)).any(planned).then(|| self.target_turbidity(at))
    }

    /// What should flow through a tank on that day.
    #[must_use]
    pub fn tank_flow_on(&self, tank: &Id, date: Date) -> Option<LitresPerMinute> {
        let (batch, fish) = self.batch_in(tank, date)?;
        let volume = self.tanks.iter().find(|known| known.id == *tank)?.volume;
        let per_hour = batch.plan.exchanges_per_h(fish.day)? * volume.0;
        Some(LitresPerMinute(Unit::LitrePerHour.to_base(per_hour)))
    }

    /// What should flow through the head tank on that day, to all tanks with fish; `None` where the plan says
    /// nothing for one of them, or there are no fish.
    #[must_use]
    pub fn plan_flow_on(&self, date: Date) -> Option<LitresPerMinute> {
        let mut all = None;
        for tank in self.tanks.iter().filter(|tank| self.batch_in(&tank.id, date).is_some()) {
            all = Some(all.unwrap_or(0.0) + self.tank_flow_on(&tank.id, date)?.0);
        }
        all.map(LitresPerMinute)
    }

    /// What should flow through the head tank at that time.
    #[must_use]
    pub fn plan_flow(&self, at: Timestamp) -> Option<LitresPerMinute> {
        self.plan_flow_on(self.date_at(at))
    }

    /// The date on the people's calendar.
    #[must_use]
    pub fn date_at(&self, at: Timestamp) -> Date {
        self.time_zone.to_datetime(at).date()
    }
}
