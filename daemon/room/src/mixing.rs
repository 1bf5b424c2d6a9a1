//! What the pumps bring: the room's books, its water and its head tank brought together.

use jiff::Timestamp;

use crate::drum_record::DrumRecord;
use crate::knowledge::Knowledge;
use crate::mixture::Mixture;
use claymark_clay::Clouding;
use claymark_clay::feed::HeadFeed;
use claymark_clay::refill::Seen;
use claymark_clay::refill::seen::{Feeding, SettledHeadTank, settles_after};
use claymark_clay::response::Residence;
use claymark_clay::water::KnownFlow;
use claymark_model::forecast::Forecast;
use claymark_model::id::Id;
use claymark_model::site::{Drum, Place};
use claymark_model::units::{GramsPerMinute, LitresPerHour};

impl Knowledge {
    /// What clay does to the water here: as the data say, else as the site file does; `None`: nobody knows yet.
    #[must_use]
    pub fn clouding(&self) -> Option<Clouding> {
        Clouding::known(&self.site.clay, self.learned.yields.counted_on())
    }

    /// Fresh water into the head tank.
    #[must_use]
    pub fn fresh_water(&self, now: Timestamp) -> Option<KnownFlow> {
        self.water
            .fresh(now, self.site.plan_flow(now), |flow| self.catch_doubt(now, &Place::Head, flow).is_none())
    }

    /// What all drums that are drawn bring together.
    pub(crate) fn slurry_in_all(&self, now: Timestamp) -> LitresPerHour {
        let feeding = self.feeding(&self.forecasts(now));
        feeding.iter().fold(LitresPerHour(0.0), |sum, (_, one)| sum + one.draw)
    }

    /// The clay that all drums that are drawn bring together, by their books.
    pub(crate) fn clay_pumped(&self, now: Timestamp) -> Option<GramsPerMinute> {
        let feeding = self.feeding(&self.forecasts(now));
        feeding.into_iter().map(|(_, one)| one.draw.clay(one.strength)).reduce(|sum, clay| sum + clay)
    }

    /// What is known of the slurry in a drum, from the books and from the head tank.
    pub(crate) fn mixture(&self, now: Timestamp, record: &DrumRecord, forecasts: &[Forecast]) -> Mixture {
        let unseen = record.watch.unseen(now);
        Mixture {
            waits: unseen.as_ref().is_some_and(|unseen| unseen.is_open(now)),
            unseen,
            books: record.books(&self.site.clay),
            seen: self.seen(now, &record.drum, forecasts),
            aim: self.aim(now, record, forecasts),
        }
    }

    /// The drums that feed the head tank, with their strength by the books and their draw.
    fn feeding(&self, forecasts: &[Forecast]) -> Vec<(Id, Feeding)> {
        let drawn = self.records.iter().zip(forecasts).filter(|(_, forecast)| forecast.in_use);
        drawn
            .filter_map(|(record, forecast)| {
                let draw = forecast.outlook.draw()?;
                let strength = record.books(&self.site.clay).left.strength;
                Some((record.drum.id.clone(), Feeding { strength, draw }))
            })
            .collect()
    }

    /// What the head tank shows of a drum's slurry; `None` unless it has settled since the last change.
    fn seen(&self, now: Timestamp, drum: &Drum, forecasts: &[Forecast]) -> Option<Seen> {
        let feeding = self.feeding(forecasts);
        let (_, ours) = feeding.iter().find(|(id, _)| *id == drum.id)?;
        // A drum whose draw isn't known may feed it, too.
        let in_use = self.records.iter().zip(forecasts).filter(|(_, forecast)| forecast.in_use);
        let changed = in_use.clone().filter_map(|(record, _)| record.changed()).max();
        if in_use.count() != feeding.len() {
            return None;
        }
        let fresh = self.fresh_water(now)?;
        let slurry = feeding.iter().fold(LitresPerHour(0.0), |sum, (_, one)| sum + one.draw);
        let head = Residence::of(self.site.head_tank.volume, fresh.flow + slurry.per_minute())?;
        if changed.is_some_and(|at| at + settles_after(head) > now) {
            return None;
        }
        let clouding = self.clouding()?;
        let feed = HeadFeed { water: fresh.flow, others: GramsPerMinute(0.0), clouding };
        let head = SettledHeadTank { feed, fresh, shows: self.water.turbidity(now, &Place::Head)? };
        head.shows_of(ours, &feeding.iter().map(|(_, feeding)| *feeding).collect::<Vec<_>>())
    }
}
