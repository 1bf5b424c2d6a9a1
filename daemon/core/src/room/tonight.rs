//! Both levers for the night: the weakest mix that lasts, and the pump's flow for it; or why clay isn't the answer.

use jiff::Timestamp;

use crate::clay::levers::{Bench, Cannot, Way, strength_steps};
use crate::drum::WhatIf;
use crate::forecast::{EmptyAt, Forecast};
use crate::notice::content::{NightMix, Verdict, Visit};
use crate::refill::{Counted, Refill, Wanted};
use crate::room::Room;
use crate::room::desk::Desk;
use crate::room::mixing::Mixture;
use crate::site::Place;
use crate::units::{Litres, LitresPerHour};

/// Why no clay is to be mixed for the night.
#[derive(Debug, Clone, PartialEq)]
pub enum NoMix {
    /// The head tank is as cloudy as wanted, or cloudier, without this drum.
    DrumNotWanted,
    /// What is in the drum holds enough clay, once it is filled up with water.
    EnoughClay(Box<FilledUp>),
    /// The drum is full of slurry that is too weak.
    FullOfWeak,
    /// By the books the clay is in the drum, but the head tank doesn't get it.
    LookFirst,
    /// How long a full drum would last isn't known.
    NotKnown,
    /// Nothing that can be pumped makes the full drum last.
    Never,
}

/// A drum that is filled up with water alone, and the pump for the thinner slurry.
#[derive(Debug, Clone, PartialEq)]
pub struct FilledUp {
    /// The water; nothing in a drum that is full.
    pub fill: Litres,
    /// How the pump is then to be set.
    pub way: Result<Way, Cannot>,
    /// When it is empty then.
    pub ends: Option<EmptyAt>,
}

impl Room {
    /// For the night: what the plan wants in the middle of it, else the head tank stays as it is where that is right.
    pub(crate) fn tonight(
        &self,
        (now, forecasts): (Timestamp, &[Forecast]),
        desk: &Desk,
        visit: &Visit,
        mixture: &Mixture,
    ) -> Option<NightMix> {
        let band = self.site.limits_at(&Place::Head, now).turbidity;
        let shown = self.water.turbidity(now, &Place::Head).map(|shown| shown.turbidity);
        let right = shown.filter(|shown| (band.min()..=band.max()).contains(&shown.0));
        let target = mixture.aim.plan.map(|plan| plan.turbidity).or(right);
        let bench = self.bench(now, desk, forecasts, mixture.strength(), target).ok()?;
        self.night_mix(now, desk, &bench, visit, mixture.counted()).ok()
    }

    /// The weakest mix of which even the earliest time is late enough, and the pump's flow for it.
    pub(crate) fn night_mix(
        &self,
        now: Timestamp,
        desk: &Desk,
        bench: &Bench,
        visit: &Visit,
        counted: Counted,
    ) -> Result<NightMix, NoMix> {
        if matches!(bench.by_pump(), Ok(way) if way.slurry <= LitresPerHour(0.0)) {
            return Err(NoMix::DrumNotWanted);
        }
        let ends = |volume: Litres, way: &Way| {
            let what_if = WhatIf { volume: Some(volume), draw_share: way.slurry.0 / bench.slurry.0 };
            desk.watch.empty_if(now, what_if)
        };
        let steps = strength_steps(&self.site.units);
        let lasts = visit.lasts_until().duration_since(now);
        let mut way = bench.for_the_night(lasts, steps).or(Err(NoMix::Never))?;
        for _ in 0..MOST_STEPS {
            let full = ends(desk.drum.full, &way).ok_or(NoMix::NotKnown)?;
            if Verdict::of(&full, visit) == Verdict::Lasts {
                let wanted = Wanted { to: desk.drum.full, strength: way.strength };
                let refill = Refill::of(&desk.drum, &self.site.clay, wanted, bench.held, counted);
                return with_clay(bench, &way, refill, full, || without_clay(bench, ends));
            }
            way = bench.with_strength(way.strength + steps).or(Err(NoMix::Never))?;
        }
        Err(NoMix::Never)
    }
}

/// The mix, unless there is `enough` clay in the drum, or another reason against it.
fn with_clay(
    bench: &Bench,
    way: &Way,
    refill: Refill,
    ends: EmptyAt,
    enough: impl FnOnce() -> NoMix,
) -> Result<NightMix, NoMix> {
    match refill {
        Refill::Mix(_) => Ok(NightMix {
            refill,
            slurry: way.slurry,
            pump_share: way.slurry.0 / bench.slurry.0,
            ends,
            turbidity: way.turbidity,
            mix_alone: bench.feed.turbidity(bench.slurry, way.strength).ok_or(NoMix::NotKnown)?,
        }),
        Refill::WaterOnly { .. } | Refill::TooStrong(_) => Err(enough()),
        Refill::NoRoom if bench.strength >= way.strength => Err(enough()),
        Refill::NoRoom => Err(NoMix::FullOfWeak),
        Refill::LookFirst { .. } => Err(NoMix::LookFirst),
        Refill::DrumTooSmall { .. } | Refill::TooThick { .. } => Err(NoMix::Never),
    }
}

fn without_clay(bench: &Bench, ends: impl Fn(Litres, &Way) -> Option<EmptyAt>) -> NoMix {
    let filled = bench.full.max(bench.held);
    let way = bench.with_strength(bench.strength * (bench.held.0 / filled.0));
    NoMix::EnoughClay(Box::new(FilledUp {
        fill: filled - bench.held,
        ends: way.as_ref().ok().and_then(|way| ends(filled, way)),
        way,
    }))
}

/// The earliest time is rarely more than a few steps behind the likely one.
const MOST_STEPS: usize = 8;
