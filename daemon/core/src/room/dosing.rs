//! Both levers of one drum's pump as the room stands, and how long a change of either takes to reach the fish.

use jiff::{SignedDuration, Timestamp};

use crate::clay::feed::Feed;
use crate::clay::levers::{Bench, Cannot, Way};
use crate::clay::response::{Cascade, Pair, Residence};
use crate::drum::WhatIf;
use crate::forecast::EmptyAt;
use crate::id::Id;
use crate::notice::content::{NightMix, Verdict, Visit};
use crate::refill::{PlanAim, Refill, Wanted};
use crate::room::Room;
use crate::room::calendar::{self, Shift};
use crate::room::desk::Desk;
use crate::room::levers::{Levers, LookFirst, Missing, Source, with_pump};
use crate::site::Place;
use crate::units::{GramsPerLitre, Litres, LitresPerHour, LitresPerMinute, Turbidity};
use crate::water::{KnownFlow, Measured};

/// Both levers of one drum's pump.
#[derive(Debug)]
pub struct Dose {
    /// When.
    pub at: Timestamp,
    /// Of which drum.
    pub drum: Id,
    /// What is in it.
    pub holds: Litres,
    /// Its strength as it is counted on.
    pub strength: GramsPerLitre,
    /// What is drawn from it.
    pub draw: LitresPerHour,
    /// Other drums that its pump draws at the same time.
    pub with: Vec<Id>,
    /// Drums of other pumps that feed the head tank at the same time: what is advised is their share of it, too.
    pub beside: Vec<Id>,
    /// What they and the fresh water bring.
    pub beside_feed: Feed,
    /// Fresh water, and how it is known.
    pub fresh: KnownFlow,
    /// What the levers of the pump work on: its share of the water.
    pub bench: Bench,
    /// Until when the drum should last.
    pub visit: Option<Visit>,
    /// What a new mix is aimed at by the plan; `None`: at what the bench is for.
    pub plan: Option<PlanAim>,
    /// As things are.
    pub now: Option<Way>,
    /// When the drum is empty as things are.
    pub now_ends: Option<EmptyAt>,
    /// What to do.
    pub advice: Advice,
    /// The speed of the pump for each L/h that it brings, as far as it is known.
    pub rpm_per_slurry: Option<f64>,
    /// How long changes take; `None`: the fresh water isn't known.
    pub response: Option<Response>,
}

/// What to do with both levers.
#[derive(Debug)]
pub enum Advice {
    /// Nothing: no lever makes good the clay that is in the drum and doesn't come.
    LookFirst(LookFirst),
    /// One of these.
    Set(Box<Ways>),
}

/// All ways to set both levers.
#[derive(Debug)]
pub struct Ways {
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
    /// By both, so that it lasts; `None`: nobody knows when the next visit is.
    pub night: Option<Night>,
}

/// What makes a drum last the night.
#[derive(Debug, Clone, PartialEq)]
pub enum Night {
    /// It lasts as it is.
    LastsAsItIs,
    /// With the pump turned down as the quick trim asks for.
    LastsTrimmed,
    /// Filled as the strength alone asks for, it lasts with the pump as it is.
    LastsFilled,
    /// Both levers together.
    Mix(Box<NightMix>),
    /// It is full, and doesn't last.
    Full,
    /// Nothing that can be pumped lasts.
    Nothing,
}

/// Why there is no dose.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum NoDose {
    /// Something isn't known.
    Missing(Missing),
    /// Neither lever reaches what is wanted.
    OutOfReach {
        /// What was wanted.
        wanted: Turbidity,
        /// The water without clay.
        least: Turbidity,
        /// The most that either lever alone makes of it.
        most: Turbidity,
    },
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
    /// a new mix for that in the middle of its life. Several pumps share what is to be done.
    pub fn dose(&self, now: Timestamp, drum: &Id, target: Option<Turbidity>) -> Result<Dose, NoDose> {
        let forecasts = self.forecasts(now);
        let desk = self.desks.iter().find(|desk| desk.drum.id == *drum);
        let desk = desk.ok_or(NoDose::Missing(Missing::Drum))?;
        let levers = self.levers(now, desk, &forecasts).map_err(NoDose::Missing)?;
        let fresh = self.fresh_water(now).ok_or(NoDose::Missing(Missing::FreshWater))?;
        let (own, siblings) = levers.sources.split_first().ok_or(NoDose::Missing(Missing::DrumState))?;
        let plan = own.mixture.aim.plan.filter(|_| target.is_none());
        let bench = levers.trim(target.unwrap_or_else(|| Turbidity(self.site.target_turbidity(now))));
        let visit = self.coming_visit(now);
        let asked = Asked { now, desk, levers: &levers, bench, plan, visit };
        let advice = match levers.look_first() {
            Some(look) => Advice::LookFirst(look),
            None => Advice::Set(Box::new(self.ways(&asked)?)),
        };
        let ids = |sources: &[Source<'_>]| sources.iter().map(|source| source.desk.drum.id.clone()).collect();
        Ok(Dose {
            at: now,
            drum: drum.clone(),
            holds: own.volume,
            strength: own.stream.strength,
            draw: own.stream.slurry,
            with: ids(siblings),
            beside: ids(&levers.others),
            beside_feed: levers.shared.beside(),
            fresh,
            visit,
            plan,
            now: bench.now(),
            now_ends: asked.ends(own.volume, bench.slurry),
            advice,
            rpm_per_slurry: levers.rpm_per_slurry,
            response: self.response(now),
            bench,
        })
    }

    fn ways(&self, asked: &Asked<'_>) -> Result<Ways, NoDose> {
        let Asked { now, desk, levers, bench, plan, visit } = *asked;
        let Some(own) = levers.sources.first() else { return Err(NoDose::Missing(Missing::DrumState)) };
        // The pump can be turned at any time; a mix is drawn for hours, and aimed at the middle of them.
        let aim = plan.map_or(bench.target, |plan| plan.turbidity);
        let (by_pump, by_strength) = (bench.by_pump(), levers.mix(aim).by_strength());
        reachable(&bench, levers, (&by_pump, &by_strength))?;
        let refill = |way: &Way| {
            let wanted = Wanted { to: desk.drum.full, strength: way.strength };
            let refill = Refill::of(&desk.drum, &self.site.clay, wanted, own.volume, own.mixture.counted());
            with_pump(refill, Some(levers), way.strength)
        };
        let mut ways = Ways {
            by_pump_ends: by_pump.as_ref().ok().and_then(|way| asked.ends(own.volume, way.slurry)),
            by_pump,
            by_strength_refill: by_strength.as_ref().ok().map(refill),
            by_strength_ends: by_strength
                .as_ref()
                .ok()
                .and_then(|way| asked.ends(desk.drum.full, way.slurry)),
            by_strength,
            night: None,
        };
        let for_night = Bench { target: aim, ..bench };
        ways.night = visit.map(|visit| match asked.lasts_without(&ways, own.volume, &visit) {
            Some(night) => night,
            None => self
                .night_mix(now, desk, levers, &for_night, &visit)
                .map_or(Night::Nothing, |mix| Night::Mix(Box::new(mix))),
        });
        Ok(ways)
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

/// What a dose is asked of.
#[derive(Clone, Copy)]
struct Asked<'a> {
    now: Timestamp,
    desk: &'a Desk,
    levers: &'a Levers<'a>,
    bench: Bench,
    plan: Option<PlanAim>,
    visit: Option<Visit>,
}

impl Asked<'_> {
    /// When the drum is empty with so much in it and the pump at that flow.
    fn ends(&self, volume: Litres, slurry: LitresPerHour) -> Option<EmptyAt> {
        let draw_share = slurry.0 / self.bench.slurry.0;
        self.desk.watch.empty_if(self.now, WhatIf { volume: Some(volume), draw_share })
    }

    /// What can be said of the night before a mix for it is looked for.
    fn lasts_without(&self, ways: &Ways, holds: Litres, visit: &Visit) -> Option<Night> {
        let lasts =
            |ends: Option<EmptyAt>| ends.is_some_and(|ends| Verdict::of(&ends, visit) == Verdict::Lasts);
        let filled = ways.by_strength_refill.as_ref().is_some_and(|refill| refill.gives().is_some());
        if lasts(self.ends(holds, self.bench.slurry)) {
            Some(Night::LastsAsItIs)
        } else if lasts(ways.by_pump_ends) {
            Some(Night::LastsTrimmed)
        } else if filled && lasts(ways.by_strength_ends) {
            Some(Night::LastsFilled)
        } else {
            (holds >= self.desk.drum.full).then_some(Night::Full)
        }
    }
}

/// Refuses what neither lever reaches: each would only point at the other.
fn reachable(
    bench: &Bench,
    levers: &Levers<'_>,
    (by_pump, by_strength): (&Result<Way, Cannot>, &Result<Way, Cannot>),
) -> Result<(), NoDose> {
    let (wanted, least) = (bench.target, bench.feed.clouding.background);
    if wanted > least && (by_pump.is_ok() || by_strength.is_ok()) {
        return Ok(());
    }
    let mix = levers.mix(wanted);
    let fastest = bench.fastest.unwrap_or(bench.slurry);
    let reached =
        [bench.feed.turbidity(fastest, bench.strength), mix.feed.turbidity(mix.slurry, mix.thickest)];
    let most = reached.into_iter().flatten().fold(least, Turbidity::max);
    Err(NoDose::OutOfReach { wanted, least, most })
}

const MOST: f64 = 0.95;
