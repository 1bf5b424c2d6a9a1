//! What makes a drum last the night, where as it is it doesn't: the weakest mix that does, with the pump turned down for it.

use jiff::Timestamp;

use crate::drum_record::DrumRecord;
use crate::knowledge::Knowledge;
use crate::levers::{Levers, with_pump};
use crate::mixture::Mixture;
use claymark_clay::levers::{Bench, strength_steps};
use claymark_clay::refill::{Refill, TooStrong, Wanted};
use claymark_drum::WhatIf;
use claymark_model::forecast::EmptyAt;
use claymark_model::site::Place;
use claymark_model::units::{GramsPerLitre, Turbidity};
use claymark_notice::content::{NightMix, Verdict, Visit};

impl Knowledge {
    /// For the night: what the plan wants in the middle of it, else the head tank stays as it is where that is right.
    pub(crate) fn tonight(
        &self,
        now: Timestamp,
        record: &DrumRecord,
        levers: &Levers<'_>,
        visit: &Visit,
        mixture: &Mixture,
    ) -> Option<NightMix> {
        let band = self.site.limits_at(&Place::Head, now).turbidity;
        let shown = self.water.turbidity(now, &Place::Head).map(|shown| shown.turbidity);
        let right = shown.filter(|shown| (band.min()..=band.max()).contains(&shown.0));
        let target = mixture.aim.plan.map(|plan| plan.turbidity).or(right);
        let bench = levers.trim(target.unwrap_or_else(|| Turbidity(self.site.target_turbidity(now))));
        self.night_mix(now, record, levers, &bench, visit)
    }

    /// The weakest mix of which even the earliest time is late enough, and the pump's flow for it; `None`: there is none, or
    /// nothing can be added, or the clay is in the drum and doesn't come out.
    pub(crate) fn night_mix(
        &self,
        now: Timestamp,
        record: &DrumRecord,
        levers: &Levers<'_>,
        bench: &Bench,
        visit: &Visit,
    ) -> Option<NightMix> {
        let steps = strength_steps(&self.site.units);
        let own = levers.sources.first().filter(|_| levers.look_first().is_none())?;
        let mut strength = bench.for_the_night(visit.lasts_until().duration_since(now), steps).ok()?.strength;
        for _ in 0..MOST_STEPS {
            let wanted = Wanted { to: record.drum.full, strength };
            let refill = Refill::of(&record.drum, &self.site.clay, wanted, own.volume, own.mixture.counted());
            let gives = filled_gives(&refill, strength)?;
            let way = bench.with_strength(gives).or_else(|_| bench.way(bench.slowest, gives).ok_or(()));
            let way = way.ok().filter(|way| way.slurry.0 > 0.0)?;
            let pump_share = way.slurry.0 / bench.slurry.0;
            if let Some(ends) = lasting(now, levers, pump_share, visit) {
                let refill = with_pump(refill, Some(levers), strength);
                let mix_alone = levers.shared.beside().turbidity(bench.slurry, gives)?;
                let (slurry, turbidity) = (way.slurry, way.turbidity);
                return Some(NightMix { refill, slurry, pump_share, ends, turbidity, mix_alone });
            }
            strength = bench.with_strength(strength + steps).ok()?.strength;
        }
        None
    }
}

/// When the drum is empty, if filled now it and all that the pump draws with it last at that share of the flow.
fn lasting(now: Timestamp, levers: &Levers<'_>, draw_share: f64, visit: &Visit) -> Option<EmptyAt> {
    let ends = |record: &DrumRecord| {
        record.watch.empty_if(now, WhatIf { volume: Some(record.drum.full), draw_share })
    };
    let lasts =
        |record: &DrumRecord| ends(record).is_some_and(|ends| Verdict::of(&ends, visit) == Verdict::Lasts);
    let all = levers.sources.iter().all(|source| lasts(source.record));
    ends(levers.sources.first()?.record).filter(|_| all)
}

/// Strength of the full drum: as wanted where clay goes in, else what water alone makes of what is left.
fn filled_gives(refill: &Refill, wanted: GramsPerLitre) -> Option<GramsPerLitre> {
    match refill {
        Refill::Mix(_) => Some(wanted),
        Refill::WaterOnly { gives, up_to: None, .. } | Refill::TooStrong(TooStrong { gives, .. }) => {
            Some(*gives)
        }
        Refill::WaterOnly { up_to: Some(_), .. }
        | Refill::NoRoom
        | Refill::DrumTooSmall { .. }
        | Refill::TooThick { .. }
        | Refill::LookFirst { .. }
        | Refill::WrittenDown(_) => None,
    }
}

/// The earliest time is rarely more than a few steps behind the likely one.
const MOST_STEPS: usize = 8;
