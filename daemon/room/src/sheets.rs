//! What to add to a drum: the refill sheet, and what can be done so that it lasts.

use claymark_clay::refill::books::MassDoubt;
use claymark_clay::refill::sheet::Sheet;
use claymark_clay::refill::{Counted, Refill, Wanted};
use claymark_drum::WhatIf;
use claymark_model::forecast::Forecast;
use claymark_model::id::Id;
use claymark_model::site::Draws;
use claymark_model::units::{GramsPerLitre, Kilograms, Litres};
use claymark_notice::content::{DrumState, Remedy, Verdict, Visit};
use claymark_notice::drum::ReadyDrum;
use jiff::{SignedDuration, Timestamp};

use crate::drum_record::DrumRecord;
use crate::knowledge::Knowledge;
use crate::levers::with_pump;

impl Knowledge {
    /// The refill sheet of a drum, to that mark or its full line, at that strength or at what the plan wants in the middle
    /// of its life, or its own target.
    #[must_use]
    pub fn sheet(
        &self,
        now: Timestamp,
        drum: &Id,
        wanted: (Option<Litres>, Option<GramsPerLitre>),
    ) -> Option<Sheet> {
        let forecasts = self.forecasts(now);
        let (record, forecast) =
            self.records.iter().zip(&forecasts).find(|(record, _)| record.drum.id == *drum)?;
        Some(self.sheet_of(now, record, forecast, &forecasts, wanted))
    }

    /// What speaks against so much clay in a refill of `drum` that was just done or is about to be, with so much water or
    /// up to the full line; `None`: nothing, or what is in it isn't known.
    #[must_use]
    pub fn mass_doubt(
        &self,
        now: Timestamp,
        drum: &Id,
        (water, clay): (Option<Litres>, Kilograms),
    ) -> Option<MassDoubt> {
        let record = self.records.iter().find(|record| record.drum.id == *drum)?;
        let volume = record.watch.forecast(now).outlook.volume()?;
        let aim = self.aim(now, record, &self.forecasts(now));
        let filling = record.filling(&self.site.clay, now, (volume, water), aim.strength);
        filling.doubt(("", now), clay, &self.site.clay)
    }

    /// Of every drum, to its full line.
    pub(crate) fn sheets(&self, now: Timestamp, forecasts: &[Forecast]) -> Vec<Sheet> {
        let drums = self.records.iter().zip(forecasts);
        drums
            .map(|(record, forecast)| self.sheet_of(now, record, forecast, forecasts, (None, None)))
            .collect()
    }

    fn sheet_of(
        &self,
        now: Timestamp,
        record: &DrumRecord,
        forecast: &Forecast,
        forecasts: &[Forecast],
        (to, strength): (Option<Litres>, Option<GramsPerLitre>),
    ) -> Sheet {
        let mixture = self.mixture(now, record, forecasts);
        let plan = mixture.aim.plan.filter(|_| strength.is_none());
        let wanted =
            Wanted { to: to.unwrap_or(record.drum.full), strength: strength.unwrap_or(mixture.aim.strength) };
        let (holds, counted) = (forecast.outlook.volume(), mixture.counted());
        let levers = self.levers(now, record, forecasts).ok();
        let refill = match (holds, counted) {
            (Some(holds), counted) => {
                let refill = Refill::of(&record.drum, &self.site.clay, wanted, holds, counted);
                Some(with_pump(refill, levers.as_ref(), wanted.strength))
            }
            (None, Counted::LookFirst { book, seen }) => Some(Refill::LookFirst { book, seen }),
            (None, Counted::Unseen(unseen)) => Some(Refill::WrittenDown(unseen)),
            (None, Counted::Known(_)) => None,
        };
        let gives = refill.as_ref().and_then(Refill::gives);
        Sheet {
            at: now,
            drum: record.drum.id.clone(),
            wanted,
            plan,
            clouding: self.clouding(),
            holds,
            then_shows: levers.zip(gives).and_then(|(levers, gives)| levers.then_shows(gives)),
            refill,
            then_empty: record.watch.empty_if(now, WhatIf { volume: Some(wanted.to), draw_share: 1.0 }),
            book: mixture.books.left,
            seen: mixture.seen,
            doubt: mixture.books.doubt,
            unseen: mixture.unseen,
        }
    }

    /// The drum of the same pump that lasts longest, where one stands ready.
    fn ready(&self, (now, forecasts): (Timestamp, &[Forecast]), record: &DrumRecord) -> Option<ReadyDrum> {
        let pump = &record.drum.pump;
        // Where the pump draws them all at once there is nothing to change over to.
        self.site.pump(pump).filter(|pump| pump.draws == Draws::One)?;
        let others = self.records.iter().zip(forecasts).filter(|(other, forecast)| {
            other.drum.pump == *pump
                && other.drum.id != record.drum.id
                && !forecast.in_use
                && other.ran_empty().is_none()
                && other.watch.doubt(now).is_none()
        });
        let ready = others.filter_map(|(other, forecast)| {
            let (holds, ends) = (forecast.outlook.volume()?, forecast.outlook.empty_at()?);
            let lasts = ends.p05.is_none_or(|earliest| earliest >= now + WORTH_IT);
            lasts.then(|| ReadyDrum { drum: other.drum.id.clone(), holds, ends })
        });
        ready.max_by_key(|ready| (ready.ends.p50.is_none(), ready.ends.p50))
    }

    /// What can be done for a drum by hands that are there at `from`.
    pub(crate) fn remedy(
        &self,
        (now, forecasts): (Timestamp, &[Forecast]),
        record: &DrumRecord,
        state: &DrumState,
        (visit, from): (Option<&Visit>, Timestamp),
    ) -> Remedy {
        let mixture = self.mixture(now, record, forecasts);
        let mut remedy = record.remedy(&self.site, state, (visit, from), &mixture);
        remedy.ready = self.ready((now, forecasts), record);
        let Ok(levers) = self.levers(now, record, forecasts) else { return remedy };
        let pumped = |refill| with_pump(refill, Some(&levers), mixture.aim.strength);
        remedy.refill = remedy.refill.map(pumped);
        for slower in [&mut remedy.slower_pump, &mut remedy.slower_pump_when_full].into_iter().flatten() {
            slower.clearer = levers.clearer(slower.share);
        }
        if let (Some(visit), Verdict::WillNotLast | Verdict::MayNotLast) = (visit, remedy.full) {
            remedy.night = self.tonight(now, record, &levers, visit, &mixture);
        }
        remedy
    }
}

/// A drum that lasts shorter is no way out.
const WORTH_IT: SignedDuration = SignedDuration::from_hours(2);
