//! Both levers of one drum's pump as the room stands, and how long a change of either takes to reach the fish.

use claymark_notice::dose::{Advice, Dose, MissingFigure, Night, NoDose, Response, TankResponse, Ways};
use jiff::Timestamp;

use crate::drum_record::DrumRecord;
use crate::knowledge::Knowledge;
use crate::levers::{Levers, Source, with_pump};
use claymark_clay::levers::{Bench, Cannot, Way};
use claymark_clay::refill::{PlanAim, Refill, Wanted};
use claymark_clay::response::{Cascade, Residence};
use claymark_drum::WhatIf;
use claymark_model::forecast::EmptyAt;
use claymark_model::id::Id;
use claymark_model::site::Place;
use claymark_model::units::{Litres, LitresPerHour, Turbidity};
use claymark_notice::content::{Verdict, Visit};

impl Knowledge {
    /// Both levers of a drum, for that turbidity of the head tank; else the pump for the middle of the fish's band now,
    /// a new mix for that in the middle of its life. Several pumps share what is to be done.
    pub fn dose(&self, now: Timestamp, drum: &Id, target: Option<Turbidity>) -> Result<Dose, NoDose> {
        let forecasts = self.forecasts(now);
        let record = self.records.iter().find(|record| record.drum.id == *drum);
        let record = record.ok_or(NoDose::MissingFigure(MissingFigure::Drum))?;
        let levers = self.levers(now, record, &forecasts).map_err(NoDose::MissingFigure)?;
        let fresh = self.fresh_water(now).ok_or(NoDose::MissingFigure(MissingFigure::FreshWater))?;
        let (own, siblings) =
            levers.sources.split_first().ok_or(NoDose::MissingFigure(MissingFigure::DrumState))?;
        let plan = own.mixture.aim.plan.filter(|_| target.is_none());
        let bench = levers.trim(target.unwrap_or_else(|| Turbidity(self.site.target_turbidity(now))));
        let visit = self.next_visit(now);
        let asked = DoseAsked { now, record, levers: &levers, bench, plan, visit };
        let advice = match levers.look_first() {
            Some(look) => Advice::LookFirst(look),
            None => Advice::Set(Box::new(self.ways(&asked)?)),
        };
        let ids =
            |sources: &[Source<'_>]| sources.iter().map(|source| source.record.drum.id.clone()).collect();
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

    fn ways(&self, asked: &DoseAsked<'_>) -> Result<Ways, NoDose> {
        let DoseAsked { now, record, levers, bench, plan, visit } = *asked;
        let Some(own) = levers.sources.first() else {
            return Err(NoDose::MissingFigure(MissingFigure::DrumState));
        };
        // The pump can be turned at any time; a mix is drawn for hours, and aimed at the middle of them.
        let aim = plan.map_or(bench.target, |plan| plan.turbidity);
        let (by_pump, by_strength) = (bench.by_pump(), levers.mix(aim).by_strength());
        reachable(&bench, levers, (&by_pump, &by_strength))?;
        let refill = |way: &Way| {
            let wanted = Wanted { to: record.drum.full, strength: way.strength };
            let refill = Refill::of(&record.drum, &self.site.clay, wanted, own.volume, own.mixture.counted());
            with_pump(refill, Some(levers), way.strength)
        };
        let mut ways = Ways {
            by_pump_ends: by_pump.as_ref().ok().and_then(|way| asked.ends(own.volume, way.slurry)),
            by_pump,
            by_strength_refill: by_strength.as_ref().ok().map(refill),
            by_strength_ends: by_strength
                .as_ref()
                .ok()
                .and_then(|way| asked.ends(record.drum.full, way.slurry)),
            by_strength,
            night: None,
        };
        let for_night = Bench { target: aim, ..bench };
        ways.night = visit.map(|visit| match asked.lasts_without(&ways, own.volume, &visit) {
            Some(night) => night,
            None => self
                .night_mix(now, record, levers, &for_night, &visit)
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
}

/// What a dose is asked of.
#[derive(Clone, Copy)]
struct DoseAsked<'a> {
    now: Timestamp,
    record: &'a DrumRecord,
    levers: &'a Levers<'a>,
    bench: Bench,
    plan: Option<PlanAim>,
    visit: Option<Visit>,
}

impl DoseAsked<'_> {
    /// When the drum is empty with so much in it and the pump at that flow.
    fn ends(&self, volume: Litres, slurry: LitresPerHour) -> Option<EmptyAt> {
        let draw_share = slurry.0 / self.bench.slurry.0;
        self.record.watch.empty_if(self.now, WhatIf { volume: Some(volume), draw_share })
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
            (holds >= self.record.drum.full).then_some(Night::Full)
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
