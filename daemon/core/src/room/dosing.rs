//! Both levers of one drum as the room stands, and how long a change of either takes to reach the fish.

use jiff::{SignedDuration, Timestamp};

use crate::clay::levers::{Bench, Cannot, Way};
use crate::clay::response::{Cascade, Pair, Residence};
use crate::drum::WhatIf;
use crate::forecast::EmptyAt;
use crate::id::Id;
use crate::notice::content::{NightMix, Visit};
use crate::refill::{Counted, PlanAim, Refill, Wanted};
use crate::room::Room;
use crate::room::calendar::{self, Shift};
use crate::room::mixing::Missing;
use crate::room::tonight::NoMix;
use crate::site::Place;
use crate::units::{Litres, LitresPerHour, LitresPerMinute, Turbidity};
use crate::water::{KnownFlow, Measured};

/// Both levers of one drum.
#[derive(Debug)]
pub struct Dose {
    /// When.
    pub at: Timestamp,
    /// Of which drum.
    pub drum: Id,
    /// What they work on.
    pub bench: Bench,
    /// Fresh water, and how it is known.
    pub fresh: KnownFlow,
    /// The strength that is counted on.
    pub counted: Counted,
    /// Until when the drum should last.
    pub visit: Option<Visit>,
    /// What a new mix is aimed at by the plan; `None`: at what the bench is for.
    pub plan: Option<PlanAim>,
    /// As things are.
    pub now: Option<Way>,
    /// When the drum is empty as things are.
    pub now_ends: Option<EmptyAt>,
    /// By the pump alone.
    pub by_pump: Result<Way, Cannot>,
    /// When the drum is empty then.
    pub by_pump_ends: Option<EmptyAt>,
    /// By the strength alone.
    pub by_strength: Result<Way, Cannot>,
    /// What to add for that.
    pub by_strength_refill: Option<Refill>,
    /// When the full drum is empty then.
    pub by_strength_ends: Option<EmptyAt>,
    /// By both, so that it lasts until the visit.
    pub night: Option<Result<NightMix, NoMix>>,
    /// The speed of the pump for each mL/min, as far as it is known.
    pub rpm_per_slurry: Option<f64>,
    /// How soon head tank and slowest rearing tank show a change; `None`: flows aren't known.
    pub response: Option<Response>,
}

/// How soon a change shows.
#[derive(Debug, Clone, PartialEq)]
pub struct Response {
    /// All water through the head tank.
    pub through: LitresPerMinute,
    /// Of the head tank.
    pub head: Residence,
    /// What the head tank shows now.
    pub head_shows: Option<Measured>,
    /// The rearing tanks, in the order of the site file.
    pub tanks: Vec<TankResponse>,
}

/// How soon a rearing tank shows a change.
#[derive(Debug, Clone, PartialEq)]
pub struct TankResponse {
    /// Which.
    pub tank: Id,
    /// The water through it, and how that is known.
    pub flow: KnownFlow,
    /// Head tank and this one in series.
    pub cascade: Cascade,
    /// What it shows now.
    pub shows: Option<Measured>,
}

impl Response {
    /// The rearing tank that shows a change last.
    #[must_use]
    pub fn slowest(&self) -> Option<&TankResponse> {
        self.tanks.iter().max_by(|a, b| a.cascade.wait(MOST).cmp(&b.cascade.wait(MOST)))
    }

    /// Water that the rearing tanks take.
    #[must_use]
    pub fn taken(&self) -> LitresPerMinute {
        self.tanks.iter().fold(LitresPerMinute(0.0), |sum, tank| sum + tank.flow.flow)
    }
}

impl TankResponse {
    /// What it shows `after` the feed's turbidity became `to`; `None`: nobody measures here, or at the head tank.
    #[must_use]
    pub fn shows_after(
        &self,
        head: Option<Measured>,
        to: Turbidity,
        after: SignedDuration,
    ) -> Option<Turbidity> {
        let from = Pair { head: head?.turbidity, tank: self.shows?.turbidity };
        Some(self.cascade.after(from, to, after).tank)
    }
}

impl Room {
    /// Both levers of a drum, for that turbidity of the head tank; else the pump for the middle of the fish's band now,
    /// a new mix for that in the middle of its life.
    pub fn dose(&self, now: Timestamp, drum: &Id, target: Option<Turbidity>) -> Result<Dose, Missing> {
        let forecasts = self.forecasts(now);
        let (desk, _) =
            self.desks.iter().zip(&forecasts).find(|(desk, _)| desk.drum.id == *drum).ok_or(Missing::Drum)?;
        let mixture = self.mixture(now, desk, &forecasts);
        let bench = self.bench(now, desk, &forecasts, mixture.strength(), target)?;
        let fresh = self.fresh_water(now).ok_or(Missing::FreshWater)?;
        let visit = self.coming_visit(now);
        let counted = mixture.counted();
        let ends = |volume: Litres, slurry: LitresPerHour| {
            let draw_share = slurry.0 / bench.slurry.0;
            desk.watch.empty_if(now, WhatIf { volume: Some(volume), draw_share })
        };
        let by_pump = bench.by_pump();
        // The pump can be turned at any time; a mix is drawn for hours, and aimed at the middle of them.
        let plan = mixture.aim.plan.filter(|_| target.is_none());
        let mix = Bench { target: plan.map_or(bench.target, |plan| plan.turbidity), ..bench };
        let by_strength = mix.by_strength();
        let refill = |way: &Way| {
            let wanted = Wanted { to: desk.drum.full, strength: way.strength };
            Refill::of(&desk.drum, &self.site.clay, wanted, bench.held, counted)
        };
        Ok(Dose {
            at: now,
            drum: drum.clone(),
            fresh,
            visit,
            plan,
            now: bench.now(),
            now_ends: ends(bench.held, bench.slurry),
            by_pump_ends: by_pump.as_ref().ok().and_then(|way| ends(bench.held, way.slurry)),
            by_pump,
            by_strength_refill: by_strength.as_ref().ok().map(refill),
            by_strength_ends: by_strength.as_ref().ok().and_then(|way| ends(desk.drum.full, way.slurry)),
            by_strength,
            night: visit.map(|visit| self.night_mix(now, desk, &mix, &visit, counted)),
            rpm_per_slurry: desk.rpm_per_slurry(&self.site, bench.slurry),
            response: self.response(now),
            counted,
            bench,
        })
    }

    /// How soon head tank and rearing tanks show a change; `None`: the fresh water isn't known.
    #[must_use]
    pub fn response(&self, now: Timestamp) -> Option<Response> {
        let slurry = self.slurry_in_all(now);
        let through = self.fresh_water(now)?.flow + slurry.per_minute();
        let head = Residence::of(self.site.head_tank.volume, through)?;
        let tanks = self.site.tanks.iter().filter_map(|tank| {
            let planned = self.site.tank_flow_on(&tank.id, self.site.date_at(now));
            let place = Place::Tank(tank.id.clone());
            let believed = |flow| self.catch_doubt(now, &place, flow).is_none();
            let tanks = (through, self.site.tanks.len());
            let flow = self.water.through_tank(now, &tank.id, planned, tanks, believed)?;
            let cascade = Cascade { head, tank: Residence::of(tank.volume, flow.flow)? };
            let shows = self.water.turbidity(now, &place);
            Some(TankResponse { tank: tank.id.clone(), flow, cascade, shows })
        });
        let head_shows = self.water.turbidity(now, &Place::Head);
        Some(Response { through, head, head_shows, tanks: tanks.collect() })
    }

    /// The visit that ends this night or the coming one, and its margin.
    #[must_use]
    pub fn coming_visit(&self, now: Timestamp) -> Option<Visit> {
        let (staff, zone) = (&self.site.staff, &self.site.time_zone);
        let at = match calendar::shift(staff, zone, now) {
            Shift::Away { visit, .. } => Some(visit),
            Shift::Present => calendar::next_evening(staff, zone, now)
                .and_then(|evening| calendar::visit_of(staff, zone, evening)),
        };
        at.map(|at| Visit { at, margin: staff.margin })
    }
}

const MOST: f64 = 0.95;
