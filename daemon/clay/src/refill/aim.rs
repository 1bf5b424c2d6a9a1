//! What a mix is aimed at: a band that moves with the fish's day, and a mix that is drawn for hours.
//!
//! A full drum is mixed so that, with the pumps as they are, the head tank is right in the middle of the mix's life:
//! before that it is a little too cloudy for the day and after it a little too clear, by as little as one mix can do.
//! All drums that are drawn at once are aimed at the same strength, c = C/Σq with the demand C = Q (N* - Nb)/(1000 κ):
//! each of them making up for what the others hold now would swing from refill to refill.

use jiff::{SignedDuration, Timestamp};

use super::{Aim, PlanAim};
use crate::Clouding;
use crate::feed::HeadFeed;
use claymark_model::forecast::{Forecast, Subject};
use claymark_model::id::Id;
use claymark_model::site::{Drum, Site};
use claymark_model::units::{GramsPerMinute, LitresPerHour, LitresPerMinute, Turbidity};

/// How a full drum will be drawn.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Life {
    /// When it begins to be drawn.
    pub begins: Timestamp,
    /// How long it lasts from then on.
    pub lasts: SignedDuration,
    /// By its pump.
    pub draw: LitresPerHour,
}

/// Who draws what at one time.
#[derive(Debug, Clone, Copy)]
pub struct DrawnNow<'a> {
    site: &'a Site,
    forecasts: &'a [Forecast],
}

impl Life {
    /// Half of it is drawn.
    #[must_use]
    pub fn middle(&self) -> Timestamp {
        self.begins + self.lasts / 2
    }
}

impl<'a> DrawnNow<'a> {
    /// As the forecasts of one time have it.
    #[must_use]
    pub fn new(site: &'a Site, forecasts: &'a [Forecast]) -> Self {
        Self { site, forecasts }
    }

    /// What a drum's mix should hold by the plan; `None` where the plan has no band then.
    #[must_use]
    pub fn aim(&self, drum: &Drum, water: LitresPerMinute, clouding: Clouding, life: &Life) -> Option<Aim> {
        let at = life.middle();
        let turbidity = Turbidity(self.site.planned_turbidity(at)?);
        let feed = HeadFeed { water, others: GramsPerMinute(0.0), clouding };
        let strength = feed.strength_for(turbidity, life.draw + self.beside(drum))?;
        (strength.0 > 0.0).then_some(Aim { strength, plan: Some(PlanAim { turbidity, at }) })
    }

    /// When a drum begins to be drawn: one that stands by when the others on its pump are empty.
    #[must_use]
    pub fn begins(&self, drum: &Drum, now: Timestamp) -> Timestamp {
        if self.is_drawn(&drum.id) { now } else { self.last_dry(&drum.pump).unwrap_or(now).max(now) }
    }

    /// Of all drums together; `None`: of one that is drawn it isn't known.
    #[must_use]
    pub fn in_all(&self) -> Option<LitresPerHour> {
        let drawn = self.drums().filter(|(_, one)| one.in_use);
        drawn.map(|(_, one)| one.outlook.draw()).try_fold(LitresPerHour(0.0), |sum, draw| Some(sum + draw?))
    }

    /// What is drawn at the same time from other drums; one that stands by will be drawn instead of those on its pump.
    fn beside(&self, drum: &Drum) -> LitresPerHour {
        let instead = !self.is_drawn(&drum.id);
        let beside = self.drums().filter(|(other, one)| {
            other.id != drum.id && one.in_use && !(instead && other.pump == drum.pump)
        });
        let draws = beside.filter_map(|(_, one)| one.outlook.draw());
        draws.fold(LitresPerHour(0.0), |sum, draw| sum + draw)
    }

    /// When the drums that a pump draws now are empty.
    fn last_dry(&self, pump: &Id) -> Option<Timestamp> {
        let drawn = self.drums().filter(|(drum, one)| one.in_use && drum.pump == *pump);
        drawn.filter_map(|(_, one)| one.outlook.empty_at()?.p50).max()
    }

    fn is_drawn(&self, drum: &Id) -> bool {
        self.drums().any(|(other, one)| other.id == *drum && one.in_use)
    }

    fn drums(&self) -> impl Iterator<Item = (&'a Drum, &'a Forecast)> {
        let forecasts = self.forecasts;
        let of = move |drum: &'a Drum| {
            let about = |one: &&Forecast| matches!(&one.of, Subject::Drum(id) if *id == drum.id);
            Some((drum, forecasts.iter().find(about)?))
        };
        self.site.drums.iter().filter_map(of)
    }
}
