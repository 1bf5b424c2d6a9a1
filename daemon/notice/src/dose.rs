//! Both levers of one drum's pump, and how long a change of either takes to reach the fish: the answer to `claymark dose`.

use claymark_clay::feed::HeadFeed;
use claymark_clay::levers::{Bench, Cannot, Way};
use claymark_clay::refill::{PlanAim, Refill, Residual, Seen};
use claymark_clay::response::{Cascade, Residence, TurbidityPair};
use claymark_clay::water::{KnownFlow, Measured};
use claymark_model::forecast::EmptyAt;
use claymark_model::id::Id;
use claymark_model::units::{GramsPerLitre, Litres, LitresPerHour, LitresPerMinute, Turbidity};
use jiff::{SignedDuration, Timestamp};

use crate::drum::{NightMix, Visit};

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
    pub beside_feed: HeadFeed,
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
    MissingFigure(MissingFigure),
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
        let from = TurbidityPair { head: head?.turbidity, tank: self.shows?.turbidity };
        Some(self.cascade.after(from, to, after).tank)
    }
}

/// What isn't known and would have to be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum MissingFigure {
    /// There is no such drum.
    Drum,
    /// NTU per mg/L of this clay.
    Yield,
    /// Water into the head tank.
    FreshWater,
    /// What is in the drum, or what the pump draws.
    DrumState,
}

/// The books say that the clay is in the drum, and the head tank doesn't get it.
#[derive(Debug, Clone, PartialEq)]
pub struct LookFirst {
    /// Which drum.
    pub drum: Id,
    /// By the books.
    pub book: Residual,
    /// By the head tank.
    pub seen: Seen,
}

const MOST: f64 = 0.95;
