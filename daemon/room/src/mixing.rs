//! What to mix: the room's books, its water and its head tank brought together.

use jiff::Timestamp;

use crate::Room;
use crate::desk::Desk;
use crate::levers::with_pump;
use claymark_clay::Clouding;
use claymark_clay::feed::Feed;
use claymark_clay::refill::books::{Books, MassDoubt, Source};
use claymark_clay::refill::seen::{Feeding, HeadTank, settles_after};
use claymark_clay::refill::sheet::Sheet;
use claymark_clay::refill::{Aim, Counted, Refill, Seen, Wanted};
use claymark_clay::response::Residence;
use claymark_clay::water::{KnownFlow, WaterWatch};
use claymark_drum::WhatIf;
use claymark_model::forecast::{Forecast, Outlook};
use claymark_model::id::Id;
use claymark_model::site::{Drum, Place};
use claymark_model::units::{GramsPerLitre, GramsPerMinute, Kilograms, Litres, LitresPerHour};
use claymark_model::unseen::Unseen;
use claymark_notice::content::{DrumState, Remedy, Verdict, Visit};

/// What is known of the slurry in one drum.
#[derive(Debug)]
pub(crate) struct Mixture {
    /// By the refills that were written down.
    pub(crate) books: Books,
    /// By the head tank.
    pub(crate) seen: Option<Seen>,
    /// What a full drum should hold.
    pub(crate) aim: Aim,
    /// A refill that was written down and that no level shows.
    pub(crate) unseen: Option<Unseen>,
    /// Nothing more is to be added before somebody has looked for it.
    pub(crate) waits: bool,
}

impl Mixture {
    /// What a refill counts on.
    pub(crate) fn counted(&self) -> Counted {
        match &self.unseen {
            Some(unseen) if self.waits => Counted::Unseen(unseen.clone()),
            Some(_) | None => self.by_estimates(),
        }
    }

    fn by_estimates(&self) -> Counted {
        Counted::of(&self.books, self.seen.as_ref())
    }

    /// It is counted by the head tank.
    pub(crate) fn is_by_head(&self) -> bool {
        match self.by_estimates() {
            Counted::Known(residual) => matches!(residual.source, Source::Seen { .. }),
            Counted::LookFirst { .. } => true,
            Counted::Unseen(_) => false,
        }
    }

    /// The strength by the head tank, where that is asked for and it shows one; else by the books.
    pub(crate) fn strength(&self, by_head: bool) -> GramsPerLitre {
        match (self.by_estimates(), &self.seen) {
            (_, Some(seen)) if by_head => seen.strength,
            (Counted::Known(residual), _) if !self.is_by_head() => residual.strength,
            (Counted::LookFirst { book, .. }, _) => book.strength,
            (Counted::Known(_) | Counted::Unseen(_), _) => self.books.left.strength,
        }
    }
}

impl Room {
    /// The water of the room as it is measured.
    #[must_use]
    pub fn water(&self) -> &WaterWatch {
        &self.water
    }

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
        let (desk, forecast) = self.desks.iter().zip(&forecasts).find(|(desk, _)| desk.drum.id == *drum)?;
        Some(self.sheet_of(now, desk, forecast, &forecasts, wanted))
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
        let desk = self.desks.iter().find(|desk| desk.drum.id == *drum)?;
        let volume = desk.watch.forecast(now).outlook.volume()?;
        let aim = self.aim(now, desk, &self.forecasts(now));
        let filling = desk.filling(&self.site.clay, now, (volume, water), aim.strength);
        filling.doubt(("", now), clay, &self.site.clay)
    }

    /// Of every drum, to its full line.
    pub(crate) fn sheets(&self, now: Timestamp, forecasts: &[Forecast]) -> Vec<Sheet> {
        let drums = self.desks.iter().zip(forecasts);
        drums.map(|(desk, forecast)| self.sheet_of(now, desk, forecast, forecasts, (None, None))).collect()
    }

    fn sheet_of(
        &self,
        now: Timestamp,
        desk: &Desk,
        forecast: &Forecast,
        forecasts: &[Forecast],
        (to, strength): (Option<Litres>, Option<GramsPerLitre>),
    ) -> Sheet {
        let mixture = self.mixture(now, desk, forecasts);
        let plan = mixture.aim.plan.filter(|_| strength.is_none());
        let wanted =
            Wanted { to: to.unwrap_or(desk.drum.full), strength: strength.unwrap_or(mixture.aim.strength) };
        let (holds, counted) = (forecast.outlook.volume(), mixture.counted());
        let levers = self.levers(now, desk, forecasts).ok();
        let refill = match (holds, counted) {
            (Some(holds), counted) => {
                let refill = Refill::of(&desk.drum, &self.site.clay, wanted, holds, counted);
                Some(with_pump(refill, levers.as_ref(), wanted.strength))
            }
            (None, Counted::LookFirst { book, seen }) => Some(Refill::LookFirst { book, seen }),
            (None, Counted::Unseen(unseen)) => Some(Refill::WrittenDown(unseen)),
            (None, Counted::Known(_)) => None,
        };
        let gives = refill.as_ref().and_then(Refill::gives);
        Sheet {
            at: now,
            drum: desk.drum.id.clone(),
            wanted,
            plan,
            clouding: self.clouding(),
            holds,
            then_shows: levers.zip(gives).and_then(|(levers, gives)| levers.then_shows(gives)),
            refill,
            then_empty: desk.watch.empty_if(now, WhatIf { volume: Some(wanted.to), draw_share: 1.0 }),
            book: mixture.books.left,
            seen: mixture.seen,
            doubt: mixture.books.doubt,
            unseen: mixture.unseen,
        }
    }

    /// What can be done for a drum by hands that are there at `from`.
    pub(crate) fn remedy(
        &self,
        (now, forecasts): (Timestamp, &[Forecast]),
        desk: &Desk,
        state: &DrumState,
        (visit, from): (Option<&Visit>, Timestamp),
    ) -> Remedy {
        let mixture = self.mixture(now, desk, forecasts);
        let mut remedy = desk.remedy(&self.site, state, (visit, from), &mixture);
        let Ok(levers) = self.levers(now, desk, forecasts) else { return remedy };
        let pumped = |refill| with_pump(refill, Some(&levers), mixture.aim.strength);
        remedy.refill = remedy.refill.map(pumped);
        for slower in [&mut remedy.slower_pump, &mut remedy.slower_pump_when_full].into_iter().flatten() {
            slower.clearer = levers.clearer(slower.share);
        }
        if let (Some(visit), Verdict::WillNotLast | Verdict::MayNotLast) = (visit, remedy.full) {
            remedy.night = self.tonight(now, desk, &levers, visit, &mixture);
        }
        remedy
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
    pub(crate) fn mixture(&self, now: Timestamp, desk: &Desk, forecasts: &[Forecast]) -> Mixture {
        let unseen = desk.watch.unseen(now);
        Mixture {
            waits: unseen.as_ref().is_some_and(|unseen| unseen.is_open(now)),
            unseen,
            books: desk.books(&self.site.clay),
            seen: self.seen(now, &desk.drum, forecasts),
            aim: self.aim(now, desk, forecasts),
        }
    }

    /// The drums that feed the head tank, with their strength by the books and their draw.
    fn feeding(&self, forecasts: &[Forecast]) -> Vec<(Id, Feeding)> {
        let drawn = self.desks.iter().zip(forecasts).filter(|(_, forecast)| forecast.in_use);
        drawn
            .filter_map(|(desk, forecast)| match &forecast.outlook {
                Outlook::Known { draw, .. } => {
                    let strength = desk.books(&self.site.clay).left.strength;
                    Some((desk.drum.id.clone(), Feeding { strength, draw: *draw }))
                }
                Outlook::Unknown { .. } => None,
            })
            .collect()
    }

    /// What the head tank shows of a drum's slurry; `None` unless it has settled since the last change.
    fn seen(&self, now: Timestamp, drum: &Drum, forecasts: &[Forecast]) -> Option<Seen> {
        let feeding = self.feeding(forecasts);
        let (_, ours) = feeding.iter().find(|(id, _)| *id == drum.id)?;
        // A drum whose draw isn't known may feed it, too.
        let in_use = self.desks.iter().zip(forecasts).filter(|(_, forecast)| forecast.in_use);
        let changed = in_use.clone().filter_map(|(desk, _)| desk.changed()).max();
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
        let feed = Feed { water: fresh.flow, others: GramsPerMinute(0.0), clouding };
        let head = HeadTank { feed, fresh, shows: self.water.turbidity(now, &Place::Head)? };
        head.shows_of(ours, &feeding.iter().map(|(_, feeding)| *feeding).collect::<Vec<_>>())
    }
}
