//! What a mix is aimed at: a band that moves with the fish's day, and a mix that is drawn for hours.
//!
//! A full drum is mixed so that, with the pumps as they are, the head tank is right in the middle of the mix's life:
//! before that it is a little too cloudy for the day and after it a little too clear, by as little as one mix can do.
//! All drums that are drawn at once are aimed at the same strength, c = C/Σq with the demand C = Q (N* - Nb)/(1000 κ):
//! each of them making up for what the others hold now would swing from refill to refill.

use jiff::{SignedDuration, Timestamp};

use crate::clay::feed::Feed;
use crate::drum::WhatIf;
use crate::forecast::Forecast;
use crate::id::Id;
use crate::refill::{Aim, PlanAim};
use crate::room::Room;
use crate::room::desk::Desk;
use crate::units::{GramsPerMinute, LitresPerHour, Turbidity};

impl Room {
    /// What a drum that is filled now should hold: by the plan of the fish, else by the drum's own target.
    pub(crate) fn aim(&self, now: Timestamp, desk: &Desk, forecasts: &[Forecast]) -> Aim {
        self.aim_by_plan(now, desk, forecasts).unwrap_or(Aim { strength: desk.drum.target, plan: None })
    }

    /// `None` where the plan has no band then, or water, yield or draw aren't known.
    fn aim_by_plan(&self, now: Timestamp, desk: &Desk, forecasts: &[Forecast]) -> Option<Aim> {
        let (at, draw) = self.middle_of_life(now, desk, forecasts)?;
        let turbidity = Turbidity(self.site.planned_turbidity(at)?);
        let feed = Feed {
            water: self.fresh_water(now)?.flow,
            others: GramsPerMinute(0.0),
            clouding: self.clouding()?,
        };
        let strength = feed.strength_for(turbidity, draw + self.drawn_beside(desk, forecasts))?;
        (strength.0 > 0.0).then_some(Aim { strength, plan: Some(PlanAim { turbidity, at }) })
    }

    /// The time in the middle of the life of a drum that is filled now, and what its pump will draw from it.
    fn middle_of_life(
        &self,
        now: Timestamp,
        desk: &Desk,
        forecasts: &[Forecast],
    ) -> Option<(Timestamp, LitresPerHour)> {
        if self.site.batches.is_empty() {
            return None;
        }
        let (_, own) = self.desks.iter().zip(forecasts).find(|(other, _)| other.drum.id == desk.drum.id)?;
        let draw = own.outlook.draw().filter(|draw| draw.0 > 0.0).or_else(|| {
            let expected = desk.watch.expected_draw(now)?.draw;
            (expected.0 > 0.0).then_some(expected)
        })?;
        let full = WhatIf { volume: Some(desk.drum.full), draw_share: 1.0 };
        let lasts = desk.watch.empty_if(now, full)?.p50?.duration_since(now);
        // A drum that stands by is drawn when the others on its pump are empty.
        let begins = if own.in_use { None } else { self.last_dry(&desk.drum.pump, forecasts) };
        let half = SignedDuration::from_secs_f64(lasts.as_secs_f64() / 2.0);
        Some((begins.unwrap_or(now).max(now) + half, draw))
    }

    /// When the drums that a pump draws now are empty.
    fn last_dry(&self, pump: &Id, forecasts: &[Forecast]) -> Option<Timestamp> {
        let drawn =
            self.desks.iter().zip(forecasts).filter(|(desk, one)| one.in_use && desk.drum.pump == *pump);
        drawn.filter_map(|(_, forecast)| forecast.outlook.empty_at()?.p50).max()
    }

    /// What is drawn at the same time from other drums; one that stands by will be drawn instead of those on its pump.
    fn drawn_beside(&self, desk: &Desk, forecasts: &[Forecast]) -> LitresPerHour {
        let drawn =
            |id: &Id| self.desks.iter().zip(forecasts).any(|(other, one)| other.drum.id == *id && one.in_use);
        let instead = !drawn(&desk.drum.id);
        let beside = self.desks.iter().zip(forecasts).filter(|(other, one)| {
            let same_pump = other.drum.pump == desk.drum.pump;
            other.drum.id != desk.drum.id && one.in_use && !(instead && same_pump)
        });
        let draws = beside.filter_map(|(_, forecast)| forecast.outlook.draw());
        draws.fold(LitresPerHour(0.0), |sum, draw| sum + draw)
    }
}
